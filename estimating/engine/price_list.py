"""A supplier's table of prices read from a file: bytes → text → cells → quote lines, with what became of every row.

Nothing is run and nothing is guessed silently: a cell that starts like a formula is text, a row that cannot be read
keeps its place and says why.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator, Mapping
from datetime import date, datetime
from decimal import Decimal
from typing import Literal

from buildout.units.value import Value
from estimating.engine.price_text import BreaksError, clipped, plain_number, read_breaks
from estimating.engine.prices import LARGEST
from estimating.engine.types import PurchaseUnit, TakeOffLine

LARGEST_TABLE = 500_000
"""Bytes."""
MOST_ROWS = 2_000
MOST_COLUMNS = 40

Meaning = Literal["", "item", "from", "unit", "price", "pack", "currency", "lead", "valid", "note"]
MEANINGS: Mapping[Meaning, str] = {
    "": "left aside", "item": "what it is", "from": "from which quantity", "unit": "priced by", "price": "price",
    "pack": "sold in multiples of", "currency": "currency", "lead": "lead time", "valid": "valid until", "note": "note",
}  # fmt: skip
"""What a column can be, and the words for it. Several price columns: each holds from the quantity in its heading."""

_HEADINGS: tuple[tuple[Meaning, str], ...] = (
    ("valid", r"valid|expir|until"),
    ("lead", r"lead|delivery (time|days|weeks)|working days|ready in"),
    ("price", r"price|rate|cost|\d\s*(\+|[-–]\s*\d|and more|and up)"),
    ("from", r"from|qty|quantity|min|break|starting"),
    ("unit", r"unit|uom|per|sold by"),
    ("pack", r"pack|multiple|bundle"),
    ("currency", r"curr"),
    ("item", r"item|descr|product|article|name|goods|material"),
    ("note", r"note|remark|comment"),
)
_SPELLINGS: Mapping[PurchaseUnit, str] = {
    "each": "each ea pc pcs piece pieces unit", "sheet": "sheet sheets sht", "roll": "roll rolls rl",
    "length": "length lengths stick bar", "bundle": "bundle bundles bdl", "box": "box boxes bx",
    "pair": "pair pairs pr", "running foot": "runningfoot runningfeet runningft linft linearfoot lf ft foot feet",
    "running yard": "runningyard runningyards runningyd linyd linearyard ly yd yard yards",
    "metre": "metre metres meter m lm", "square foot": "squarefoot squarefeet sqft sf ft2 ft²",
    "square yard": "squareyard squareyards sqyd sy yd2 yd²", "square metre": "squaremetre squaremeter sqm m2 m²",
    "board foot": "boardfoot boardfeet boardft bdft bf fbm", "gallon": "gallon gallons gal",
    "litre": "litre litres liter l",
}  # fmt: skip
_UNITS: Mapping[str, PurchaseUnit] = {word: unit for unit, words in _SPELLINGS.items() for word in words.split()}
_SIGNS: Mapping[str, str] = {"€": "EUR", "£": "GBP"}
"""Currency signs that mean one currency only."""


class TableError(ValueError):
    """A file that is not a table; the message says what would be one."""


class PriceTable(Value, kw_only=True):
    """A file as it was read."""

    encoding: str
    separator: str
    rows: list[list[str]]
    """Cells as text, empty rows left out."""
    numbers: list[int]
    """Where each row stands in the file, counted from 1."""
    cut: int = 0
    """Rows beyond the most that are read."""


class ColumnPlan(Value, kw_only=True):
    """Which column is what, and how numbers are written."""

    columns: list[Meaning]
    heading: bool = True
    """The first row names the columns."""
    decimal: Literal[".", ","] = "."


class PriceRow(Value, kw_only=True):
    """What became of one row."""

    number: int
    cells: list[str]
    state: Literal["taken", "bad", "left out"]
    said: str
    item: str = ""


class PriceLine(Value, kw_only=True):
    """A quote line made of one or more rows."""

    item: str
    unit: PurchaseUnit
    breaks: list[dict[str, str]]
    pack: str = "1"
    note: str = ""


class PriceList(Value, kw_only=True):
    rows: list[PriceRow]
    lines: list[PriceLine]
    lead_days: list[int] = []
    """Shortest, likely and longest over the rows taken, working days; empty: no row says. A whole order comes with its
    last line, so the longest of each."""
    valid_until: date | None = None
    """The first day on which a price taken runs out."""


# ---------------------------------------------------------------- bytes to cells


def read_table(data: bytes) -> PriceTable:
    """Read a file whatever wrote it: UTF-8, UTF-16 or Windows-1252; commas, semicolons or tabs.

    >>> read_table("item;price\\nTape;9,40\\n".encode("cp1252")).rows
    [['item', 'price'], ['Tape', '9,40']]

    Raises ``TableError`` for what is no table of text.
    """
    if len(data) > LARGEST_TABLE:
        raise TableError(
            f"The table is {len(data) / 1_000_000:.1f} MB; half a megabyte is the most. Send the part with the prices."
        )
    text, encoding = _decode(data)
    separator = _separator(text)
    rows: list[list[str]] = []
    numbers: list[int] = []
    cut = 0
    try:
        for number, cells in enumerate(_records(text, separator), 1):
            clean = [" ".join(cell.replace("\u00a0", " ").split()) for cell in cells[:MOST_COLUMNS]]
            if not any(clean):
                continue
            if len(rows) >= MOST_ROWS:
                cut += 1
                continue
            rows.append(clean)
            numbers.append(number)
    except csv.Error as error:
        raise TableError(f"The table cannot be read to its end: {error}. Save it again as CSV.") from error
    if not rows:
        raise TableError("The table is empty. It needs a row for each item, with a price.")
    return PriceTable(encoding=encoding, separator=separator, rows=rows, numbers=numbers, cut=cut)


MOST_LINES_OF_A_CELL = 20


def _records(text: str, separator: str) -> Iterator[list[str]]:
    """Cells of one row after the other. A quotation mark that is never closed spoils its own line, no other.

    >>> list(_records('a,"two\\nlines",1\\nb,"broken,2\\nc,d,3', ","))
    [['a', 'two\\nlines', '1'], ['b', 'broken,2'], ['c', 'd', '3']]
    """
    lines = re.split("\r\n|\r|\n", text)
    at = 0
    while at < len(lines):
        cells, taken = _one_row(lines[at : at + MOST_LINES_OF_A_CELL], separator)
        yield cells
        at += taken


def _one_row(lines: list[str], separator: str) -> tuple[list[str], int]:
    """The first row of ``lines`` and how many of them it takes."""
    for upto in range(1, len(lines) + 1):
        part = [f"{line}\n" for line in lines[: upto - 1]] + [lines[upto - 1]]
        try:
            return next(csv.reader(part, delimiter=separator, strict=True), []), upto
        except csv.Error as error:
            if "unexpected end" not in str(error):
                break
    return next(csv.reader(lines[:1], delimiter=separator), []), 1


def _decode(data: bytes) -> tuple[str, str]:
    wide = {b"\xff\xfe": "utf-16", b"\xfe\xff": "utf-16"}.get(data[:2])
    if wide is None and len(data) >= 4 and data[1:200:2].count(0) > len(data[1:200:2]) // 2:
        wide = "utf-16-le"
    elif wide is None and len(data) >= 4 and data[0:200:2].count(0) > len(data[0:200:2]) // 2:
        wide = "utf-16-be"
    for name, shown in ((wide, "UTF-16"), ("utf-8-sig", "UTF-8"), ("cp1252", "Windows-1252")):
        if name is None:
            continue
        try:
            text = data.decode(name)
        except UnicodeDecodeError:
            continue
        if any(ord(c) < 32 and c not in "\t\r\n\f\v" for c in text):
            break
        return text, shown
    raise TableError("This is not a table of text. Save the sheet as CSV (comma or semicolon) and send that.")


def _separator(text: str) -> str:
    """The mark that cuts most rows into the same number of cells, more than one."""
    best = (0, 0, ",")
    for order, mark in enumerate((";", "\t", ",", "|")):
        try:
            counts = [len(row) for row in csv.reader(io.StringIO(text[:20_000], newline=""), delimiter=mark) if row]
        except csv.Error:
            continue
        usual = max(set(counts), key=lambda n: (counts.count(n), n), default=1)
        if usual > 1:
            best = max(best, (counts.count(usual), -order, mark))
    return best[2]


# ---------------------------------------------------------------- which column is what


def guess_columns(table: PriceTable) -> ColumnPlan:
    """A first reading of the headings, to be looked over by a person."""
    width = max(len(row) for row in table.rows)
    first = table.rows[0] + [""] * (width - len(table.rows[0]))
    heading = not any(_looks_like_price(cell) for cell in first)
    found: list[Meaning] = [""] * width
    if heading:
        for at, cell in enumerate(first):
            for meaning, pattern in _HEADINGS:
                if re.search(pattern, cell.lower()) and (meaning == "price" or meaning not in found):
                    found[at] = meaning
                    break
    _fill_in(table.rows[1:] if heading else table.rows, found)
    return ColumnPlan(columns=found, heading=heading, decimal=_decimal_mark(table))


def _fill_in(body: list[list[str]], found: list[Meaning]) -> None:
    """What the headings leave open, from what stands below them."""
    cells = [[row[at] for row in body if at < len(row) and row[at]] for at in range(len(found))]
    free = [at for at, meaning in enumerate(found) if not meaning and cells[at]]
    numbers = [at for at in free if 2 * sum(map(_looks_like_price, cells[at])) > len(cells[at])]
    units = [at for at in free if 2 * sum(unit_of(cell) is not None for cell in cells[at]) > len(cells[at])]
    words = [at for at in free if at not in numbers and at not in units]
    if "unit" not in found and units:
        found[units[0]] = "unit"
    if "item" not in found and words:
        found[words[0]] = "item"
    if "price" not in found and numbers:
        found[numbers[-1]] = "price"
        if "from" not in found and len(numbers) > 1:
            found[numbers[0]] = "from"


def _looks_like_price(cell: str) -> bool:
    return bool(re.fullmatch(r"[^\w\s]?\s*\d[\d.,' ]*\s*[A-Z€£$¤]{0,3}", cell))


def _decimal_mark(table: PriceTable) -> Literal[".", ","]:
    cells = [cell for row in table.rows for cell in row if not re.search(r"\d[./-]\d+[./-]\d", cell)]  # no days
    comma = sum(bool(re.search(r"\d,\d{1,2}(?!\d)", cell)) for cell in cells)
    point = sum(bool(re.search(r"\d\.\d{1,2}(?!\d)", cell)) for cell in cells)
    return "," if comma > point else "."


def unit_of(text: str) -> PurchaseUnit | None:
    """A unit as sellers write it.

    >>> unit_of("per sq. yd"), unit_of("Bd Ft"), unit_of("EA"), unit_of("skid")
    ('square yard', 'board foot', 'each', None)
    """
    word = re.sub(r"[^a-z0-9²]", "", re.sub(r"^(per|price per|/)\s*", "", text.strip().lower()))
    return _UNITS.get(word)


def item_of(text: str, lines: list[TakeOffLine]) -> str:
    """The item a description speaks of: its id or its name, or the only one that shares most of its words."""
    plain = " ".join(text.lower().split())
    for line in lines:
        if plain in (line.item.lower(), " ".join(line.name.lower().split())):
            return line.item
    words = _words(text)
    scored = sorted(
        ((len(words & _words(f"{line.name} {line.item}")) / len(words), line.item) for line in lines), reverse=True
    ) if words else []  # fmt: skip
    if scored and scored[0][0] >= 0.6 and (len(scored) == 1 or scored[0][0] > scored[1][0]):
        return scored[0][1]
    return ""


def _words(text: str) -> set[str]:
    return {word for word in re.split(r"[^a-z0-9/]+", text.lower()) if len(word) > 1}


# ---------------------------------------------------------------- rows to lines


def read_prices(
    table: PriceTable, plan: ColumnPlan, lines: list[TakeOffLine], currency: str, items: Mapping[str, str] | None = None
) -> PriceList:
    """Quote lines out of the good rows, and what became of every row. ``items``: description → item, as a person chose.

    Rows of one item make one price table; where that has a gap, an overlap or two prices for one quantity, all of its
    rows are bad and the rest of the file is kept.
    """
    chosen, asked = items or {}, {line.item: line for line in lines}
    outcomes: dict[int, PriceRow] = {}
    groups: dict[tuple[str, PurchaseUnit], list[tuple[int, str, str, str, str]]] = {}
    starts = _heading_starts(table, plan)
    leads: dict[int, list[int]] = {}
    lapse: dict[int, date] = {}
    unread: dict[int, list[str]] = {}
    for at, cells in enumerate(table.rows):
        number = table.numbers[at]
        if at == 0 and plan.heading:
            outcomes[at] = PriceRow(number=number, cells=cells, state="left out", said="names the columns")
            continue
        try:
            found = _row(cells, plan, starts, lines, asked, currency, chosen)
        except _BadRowError as error:
            outcomes[at] = PriceRow(number=number, cells=cells, state="bad", said=str(error), item=error.item)
            continue
        item, unit, prices, pack, note = found
        for start, price in prices:
            groups.setdefault((item, unit), []).append((at, start, price, pack, note))
        outcomes[at] = PriceRow(number=number, cells=cells, state="taken", said="", item=item)
        for column, meaning in enumerate(plan.columns):
            typed = cells[column] if column < len(cells) else ""
            if not typed or meaning not in ("lead", "valid"):
                continue
            days, day = (lead_of(typed), None) if meaning == "lead" else ([], day_of(typed))
            if days:
                leads[at] = days
            elif day:
                lapse[at] = day
            else:
                example = "10 or 10-15 working days" if meaning == "lead" else "2027-03-31"
                unread.setdefault(at, []).append(f"“{typed[:40]}” is not read: type it yourself, for example {example}")
    made = []
    by_item: dict[str, list[PurchaseUnit]] = {}
    for item, unit in groups:
        by_item.setdefault(item, []).append(unit)
    for (item, unit), parts in groups.items():
        places = sorted({part[0] for part in parts})
        try:
            if len(by_item[item]) > 1:
                units = " and by the ".join(by_item[item])
                raise BreaksError(f"{asked[item].name} is priced by the {units}: keep one of them")
            text = "; ".join(f"{start}: {price}" for _, start, price, _, _ in sorted(parts, key=_start_of))
            breaks = read_breaks(text)
            packs = {pack for _, _, _, pack, _ in parts}
            if len(packs) > 1:
                raise BreaksError("it is sold in packs of different size in different rows")
        except BreaksError as error:
            for at in places:
                outcomes[at] = _told(outcomes[at], "bad", f"{asked[item].name}: {error}")
            continue
        note = next((part[4] for part in parts if part[4]), "")
        made.append(PriceLine(item=item, unit=unit, breaks=breaks, pack=parts[0][3], note=note))
        for at in places:
            outcomes[at] = _told(
                outcomes[at], "taken", "; ".join([f"{asked[item].name}, by the {unit}", *unread.get(at, [])])
            )
    taken = [at for at, row in outcomes.items() if row.state == "taken"]
    spans = [leads[at] for at in taken if at in leads]
    return PriceList(
        rows=[outcomes[at] for at in sorted(outcomes)],
        lines=made,
        lead_days=[max(span[n] for span in spans) for n in range(3)] if spans else [],
        valid_until=min((lapse[at] for at in taken if at in lapse), default=None),
    )


def lead_of(text: str) -> list[int]:
    """Shortest, likely and longest in working days, a week being five; empty when it cannot be read.

    >>> lead_of("10"), lead_of("2-3 weeks"), lead_of("10 / 12 / 20 working days"), lead_of("soon")
    ([10, 10, 10], [10, 12, 15], [10, 12, 20], [])
    """
    found = re.fullmatch(
        r"(?:about|ca\.?|approx\.?|from)?\s*(\d{1,3})(?:\s*(?:[-–—/]|to)\s*(\d{1,3}))?(?:\s*(?:[-–—/]|to)\s*(\d{1,3}))?"
        r"\s*((?:working |business )?days?|d|weeks?|wks?|w)?\.?",
        text.strip().lower(),
    )
    if not found:
        return []
    days = [int(part) for part in found.groups()[:3] if part]
    times = 5 if (found[4] or "").startswith("w") and not (found[4] or "").startswith("working") else 1
    days = [day * times for day in days]
    span = days if len(days) == 3 else [days[0], (days[0] + days[-1]) // 2, days[-1]]
    return span if span == sorted(span) else []


def day_of(text: str) -> date | None:
    """A day that can be read one way only.

    >>> [str(day_of(text)) for text in ("2027-03-31", "31.3.2027", "31/03/2027", "March 31, 2027", "03/04/2027")]
    ['2027-03-31', '2027-03-31', '2027-03-31', '2027-03-31', 'None']
    """
    plain = " ".join(text.replace(",", " ").split())
    slashed = re.fullmatch(r"(\d{1,2})/(\d{1,2})/(\d{4})", plain)
    ways = ["%Y-%m-%d", "%d.%m.%Y", "%d %b %Y", "%d %B %Y", "%b %d %Y", "%B %d %Y", "%d-%b-%Y"]
    if slashed and (slashed[1] == slashed[2] or max(int(slashed[1]), int(slashed[2])) > 12):
        ways += ["%d/%m/%Y", "%m/%d/%Y"]  # either the same day, or one of them is no month
    for way in ways:
        try:
            return datetime.strptime(plain, way).date()  # noqa: DTZ007 - a day, no moment
        except ValueError:
            continue
    return None


def _told(row: PriceRow, state: Literal["taken", "bad"], said: str) -> PriceRow:
    return PriceRow(number=row.number, cells=row.cells, state=state, said=said, item=row.item)


def _start_of(part: tuple[int, str, str, str, str]) -> tuple[Decimal, int]:
    return Decimal(re.split(r"[–+]", part[1])[0]), part[0]


class _BadRowError(ValueError):
    def __init__(self, said: str, item: str = "") -> None:
        super().__init__(said)
        self.item = item


def _heading_starts(table: PriceTable, plan: ColumnPlan) -> dict[int, str]:
    """Price column → the quantity its heading speaks of."""
    found: dict[int, str] = {}
    prices = [at for at, meaning in enumerate(plan.columns) if meaning == "price"]
    for at in prices:
        cell = table.rows[0][at] if plan.heading and at < len(table.rows[0]) else ""
        span = re.search(r"(\d+(?:\.\d+)?)\s*(?:[-–—]|to)\s*(\d+(?:\.\d+)?)", cell)
        single = re.search(r"(\d+(?:\.\d+)?)", cell)
        if span:
            found[at] = f"{span[1]}–{span[2]}"
        elif single:
            found[at] = f"{single[1]}+"
    return found


def _row(
    cells: list[str], plan: ColumnPlan, starts: dict[int, str], lines: list[TakeOffLine],
    asked: Mapping[str, TakeOffLine], currency: str, chosen: Mapping[str, str],
) -> tuple[str, PurchaseUnit, list[tuple[str, str]], str, str]:  # fmt: skip
    def cell(meaning: Meaning) -> str:
        return next((cells[at] for at, m in enumerate(plan.columns) if m == meaning and at < len(cells)), "")

    text = cell("item")
    if not text:
        raise _BadRowError("it does not say what it is for")
    item = chosen[text] if text in chosen else item_of(text, lines)
    if item not in asked:
        raise _BadRowError(f"“{clipped(text)}” is nothing the take-off asks for: choose the item, or leave it")
    if text[0] in "=@" and text not in chosen:
        raise _BadRowError(f"“{clipped(text)}” is a formula, not a description: choose the item it stands for", item)
    said = cell("unit")
    unit = unit_of(said) if said else asked[item].unit
    if unit is None:
        raise _BadRowError(f"“{clipped(said)}” is not a unit that is known, such as sheet, sq yd or board ft", item)
    other = cell("currency").strip().upper()
    if other and _SIGNS.get(other, other) != currency:
        raise _BadRowError(f"priced in {clipped(other)}, this build counts in {currency}", item)
    start = cell("from")
    if start:
        start = _from(start, plan.decimal, item)
    columns = [at for at, meaning in enumerate(plan.columns) if meaning == "price"]
    if not columns:
        raise _BadRowError("no column is said to hold the price", item)
    prices = []
    for at in columns:
        typed = cells[at] if at < len(cells) else ""
        if not typed and len(columns) > 1:
            continue
        prices.append((start or starts.get(at, "1") if len(columns) > 1 else start or "1",
                       _price(typed, plan.decimal, currency, item)))  # fmt: skip
    if not prices:
        raise _BadRowError("it has no price", item)
    pack = cell("pack")
    if pack:
        pack = _number(pack, plan.decimal, item)
        if Decimal(pack) <= 0:
            raise _BadRowError(f"“{pack}” cannot be a pack", item)
    return item, unit, prices, pack or "1", cell("note")[:200]


def _from(text: str, decimal: str, item: str) -> str:
    ends = re.fullmatch(r"(.+?)\s*(?:[-–—]|to)\s*(.+)", text)
    if ends and not _is_formula(text):
        return f"{_number(ends[1], decimal, item)}–{_number(ends[2], decimal, item)}"
    return f"{_number(re.sub(r'(from|≥|>=|[+]|and more|and up)', ' ', text), decimal, item)}+"


def _is_formula(text: str) -> bool:
    return text[:1] in ("=", "@") or (text[:1] in ("+", "-") and not re.match(r"^[+-]\s*[\d.,]", text))


def _price(text: str, decimal: str, currency: str, item: str) -> str:
    if not text:
        raise _BadRowError("it has no price", item)
    if _is_formula(text):
        raise _BadRowError(f"“{text[:40]}” is a formula, not a price: type the figure it stands for", item)
    for sign, code in _SIGNS.items():
        if sign in text and code != currency:
            raise _BadRowError(f"priced in {code}, this build counts in {currency}", item)
    codes = [word for word in re.findall(r"[A-Z]{3}", text) if word != currency]
    if codes:
        raise _BadRowError(f"priced in {codes[0]}, this build counts in {currency}", item)
    plain = re.sub(rf"{currency}|[€£$¤¥]|/.*$", "", text).strip()
    number = _number(plain, decimal, item, shown=text)
    if Decimal(number) < 0:
        raise _BadRowError(f"“{clipped(text)}” is below zero: a price cannot be; type it as a discount", item)
    if Decimal(number) > LARGEST:
        raise _BadRowError(f"“{clipped(text)}” is more than one unit can cost", item)
    return number


def _number(text: str, decimal: str, item: str, shown: str = "") -> str:
    plain = re.sub(r"[\s'’]", "", text.replace("−", "-"))
    if _is_formula(plain):
        raise _BadRowError(f"“{(shown or text)[:40]}” is a formula, not a number: type the figure it stands for", item)
    thousands = "," if decimal == "." else "."
    grouped = re.fullmatch(rf"[+-]?\d{{1,3}}(?:{re.escape(thousands)}\d{{3}})+(?:{re.escape(decimal)}\d+)?", plain)
    if grouped:
        plain = plain.replace(thousands, "")
    plain = plain.replace(decimal, ".") if thousands not in plain else "?"
    number = plain_number(plain)
    if number is None:
        example = "12.50" if decimal == "." else "12,50"
        raise _BadRowError(f"“{(shown or text)[:40]}” is not a number such as {example}", item)
    return f"{number:f}"
