"""Price tables out of files: encodings, separators, decimal commas, formulas, rows that cannot be read."""

from __future__ import annotations

from decimal import Decimal
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from estimating.engine.price_list import (
    LARGEST_TABLE,
    ColumnPlan,
    PriceList,
    TableError,
    day_of,
    guess_columns,
    item_of,
    lead_of,
    read_prices,
    read_table,
)
from estimating.engine.price_text import BreaksError, read_breaks
from estimating.engine.types import TakeOffLine


def line(item: str, name: str, unit: str) -> TakeOffLine:
    q = Decimal(10)
    fields: dict[str, Any] = {
        "item": item, "name": name, "head": 8, "unit": unit, "net": q, "allowance": Decimal(0), "waste": Decimal(0),
        "quantity": q, "trace": [],
    }  # fmt: skip
    return TakeOffLine(**fields)


NEED = [
    line("base-51mm", "Base foam 2 in, 48 × 108", "sheet"), line("vinyl", "Upholstery vinyl 54 in", "running yard"),
    line("tape", "Joint tape", "roll"),
]  # fmt: skip


def read(text: str, items: dict[str, str] | None = None, currency: str = "USD") -> PriceList:
    table = read_table(text.encode())
    return read_prices(table, guess_columns(table), NEED, currency, items)


PRICES = (
    "Item;Qty;Unit;Price\nBase foam 2 in;1;sheet;91,40\nBase foam 2 in;24;sheet;82,10\nJoint täpe;1;roll;1.009,40\n"
)


@pytest.mark.parametrize(
    ("encoding", "shown"),
    [("utf-8", "UTF-8"), ("utf-8-sig", "UTF-8"), ("utf-16", "UTF-16"), ("utf-16-le", "UTF-16"),
     ("utf-16-be", "UTF-16"), ("cp1252", "Windows-1252")],
)  # fmt: skip
@pytest.mark.parametrize("mark", [";", ",", "\t", "|"])
def test_whatever_wrote_it(encoding: str, shown: str, mark: str) -> None:
    text = (
        "\r\n".join(mark.join(["Item", "Unit", "Note"]) for _ in range(1)) + "\r\n" + mark.join(["Täpe", "roll", "é"])
    )
    table = read_table((text + "\r\n").encode(encoding))
    assert (table.encoding, table.separator) == (shown, mark)
    assert table.rows == [["Item", "Unit", "Note"], ["Täpe", "roll", "é"]]


def test_decimal_commas_and_rows_of_one_item_become_one_table() -> None:
    found = read(PRICES)
    assert [(made.item, made.unit, made.breaks) for made in found.lines] == [
        ("base-51mm", "sheet", [{"start": "1", "price": "91.40"}, {"start": "24", "price": "82.10"}])
    ]
    assert [(row.number, row.state) for row in found.rows] == [(1, "left out"), (2, "taken"), (3, "taken"), (4, "bad")]
    assert "“Joint täpe” is nothing the take-off asks for" in found.rows[3].said
    again = read(PRICES, {"Joint täpe": "tape"})
    assert again.lines[1].breaks == [{"start": "1", "price": "1009.40"}]


def test_prices_in_columns_hold_from_the_quantity_in_their_heading() -> None:
    found = read("Description,UOM,1-23,24-59,60+\nBase foam 2 in,sht,91.40,82.10,74.65\nJoint tape,RL,9.40,,\n")
    assert [b["start"] for b in found.lines[0].breaks] == ["1", "24", "60"]
    assert [b["price"] for b in found.lines[0].breaks] == ["91.40", "82.10", "74.65"]
    # The tape has a price up to 23 and none beyond: asked about, not guessed.
    assert found.rows[2].state == "bad"
    assert "Nothing is said for more than 23" in found.rows[2].said


def test_without_headings() -> None:
    found = read("Joint tape,9.40\nBase foam 2 in,91.40\n")
    assert {made.item: made.breaks[0]["price"] for made in found.lines} == {"tape": "9.40", "base-51mm": "91.40"}


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("Joint tape,1,roll,=1+1", "is a formula, not a price"),
        ("Joint tape,1,roll,@SUM(A1)", "is a formula, not a price"),
        ("Joint tape,1,roll,+A1*2", "is a formula, not a price"),
        ("Joint tape,=2,roll,9", "is a formula, not a number"),
        ("=cmd|' /C calc'!A0,1,roll,9", "nothing the take-off asks for"),
        ("Joint tape,1,roll,-9.40", "below zero"),
        ("Joint tape,1,roll,", "no price"),
        ("Joint tape,1,roll,cheap", "not a number such as 12.50"),
        ("Joint tape,1,roll,9000000", "more than one unit can cost"),
        ("Joint tape,1,skid,9.40", "not a unit that is known"),
        ("Joint tape,1,roll,€9.40", "priced in EUR, this build counts in USD"),
        ("Joint tape,1,roll,9.40 CAD", "priced in CAD, this build counts in USD"),
        ("Joint tape,few,roll,9.40", "not a number"),
        (",1,roll,9.40", "does not say what it is for"),
        ("Joint tape,1,roll,1.2.3", "not a number"),
        ('=A1&" Joint tape",1,roll,9', "is a formula, not a description"),
        ("Joint tape,1,roll,NaN", "not a number"),
        ("Joint tape,1,roll,Infinity", "not a number"),
        ("Joint tape,1,roll,1e999999999999", "not a number"),
        ("Joint tape,1,roll,1e-999999999999", "not a number"),
        ("Joint tape,1e999999999999,roll,9", "not a number"),
        ("Joint tape,1,roll,123456789012345678901234567890", "more than one unit can cost"),
        ("Joint tape,0,roll,9", "begins at 0"),
    ],
)
def test_a_bad_row_is_named_and_the_rest_is_kept(row: str, said: str) -> None:
    found = read(f"Item,Qty,Unit,Price\n{row}\nBase foam 2 in,1,sheet,91.40\n")
    assert [made.item for made in found.lines] == ["base-51mm"]
    assert (found.rows[1].number, found.rows[1].state) == (2, "bad")
    assert said in found.rows[1].said
    assert found.rows[1].cells == [cell.strip() for cell in row.split(",")]


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        ("1-23,91\n30+,82", "Nothing is said for what lies between 23 and 30"),
        ("1-30,91\n24+,82", "two prices would hold for 24"),
        ("1,91\n1,82", "from small to large"),
    ],
)
def test_a_table_with_a_gap_or_an_overlap_is_bad_as_a_whole(rows: str, said: str) -> None:
    body = "\n".join(f"Joint tape,{row}" for row in rows.splitlines())
    found = read(f"Item,Qty,Price\n{body}\nBase foam 2 in,1,91.40\n")
    assert [made.item for made in found.lines] == ["base-51mm"]
    assert [row.state for row in found.rows[1:3]] == ["bad", "bad"]
    assert said in found.rows[1].said


@pytest.mark.parametrize(
    "broken", ['"Sealant, grey,1,9', '"Sealant" grey,1,9', '"Sealant, grey,1,9\n"Mop',
               "\u202e<script>alert(1)</script>\u2066\U0001f600,1,9", "x" * 10_000 + ",1,9"],
)  # fmt: skip
def test_a_row_broken_in_the_middle_takes_no_other_row_with_it(broken: str) -> None:
    rows = f'Item,Qty,Price\n"Joint tape",1,9.40\n{broken}\n"Base foam 2 in",1,"91.40"\n'
    found = read(rows)
    assert [made.item for made in found.lines] == ["tape", "base-51mm"]
    assert [row.state for row in found.rows] == ["left out", "taken", *["bad"] * (broken.count("\n") + 1), "taken"]
    assert all(len(row.said) < 200 for row in found.rows)


def test_a_cell_of_several_lines_stays_one_cell() -> None:
    found = read('Item,Price,Note\n"Joint tape",9.40,"by the roll,\nnot cut"\n"Base foam 2 in",91.40,\n')
    assert [(made.item, made.note) for made in found.lines] == [("tape", "by the roll, not cut"), ("base-51mm", "")]


def test_one_item_by_two_units_is_asked_about() -> None:
    found = read("Item,Unit,Price\nUpholstery vinyl 54 in,sq yd,9\nUpholstery vinyl 54 in,running yd,12\n")
    assert found.lines == []
    assert "keep one of them" in found.rows[1].said


def test_a_currency_column() -> None:
    found = read("Item,Price,Currency\nJoint tape,9.40,EUR\nBase foam 2 in,91.40,USD\n")
    assert [made.item for made in found.lines] == ["base-51mm"]
    assert "priced in EUR" in found.rows[1].said


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"\0\1\2\3PK\3\4" * 20, "not a table of text"), (b"", "empty"), (b"\n\n;;\n", "empty"),
        (b"a" * (LARGEST_TABLE + 1), "half a megabyte is the most"), (b"x\x07y", "not a table of text"),
    ],
)  # fmt: skip
def test_what_is_no_table(data: bytes, said: str) -> None:
    with pytest.raises(TableError, match=said):
        read_table(data)


def test_rows_beyond_the_most_are_counted() -> None:
    table = read_table(("Item,Price\n" + "Joint tape,1\n" * 2_010).encode())
    assert (len(table.rows), table.cut) == (2_000, 11)


def test_a_plan_that_names_no_price_column() -> None:
    table = read_table(b"Item,Price\nJoint tape,9.40\n")
    found = read_prices(table, ColumnPlan(columns=["item", ""]), NEED, "USD")
    assert found.rows[1].said == "no column is said to hold the price"


@pytest.mark.parametrize(
    ("text", "item"),
    [("base-51mm", "base-51mm"), ("JOINT  TAPE", "tape"), ("Vinyl upholstery 54", "vinyl"), ("Sealant", ""), ("", "")],
)
def test_which_item_a_description_means(text: str, item: str) -> None:
    assert item_of(text, NEED) == item


@settings(deadline=None, max_examples=80)
@given(st.lists(st.lists(st.text(max_size=12), min_size=1, max_size=5), max_size=12))
def test_any_text_is_read_or_refused_and_every_row_is_accounted_for(rows: list[list[str]]) -> None:
    text = "\n".join(";".join(row) for row in rows)
    try:
        table = read_table(text.encode("utf-8", "replace"))
    except TableError:
        return
    found = read_prices(table, guess_columns(table), NEED, "USD")
    assert [row.number for row in found.rows] == table.numbers
    assert all(row.said or row.state == "taken" for row in found.rows)


@settings(deadline=None, max_examples=60)
@given(
    starts=st.lists(st.integers(1, 5000), min_size=1, max_size=6, unique=True).map(sorted),
    cents=st.lists(st.integers(1, 99_999), min_size=6, max_size=6),
)  # fmt: skip
def test_ranges_with_both_ends_read_as_breaks(starts: list[int], cents: list[int]) -> None:
    """The same table as ranges and as starts; one quantity missing or doubled between two ranges is refused."""
    prices = [f"{c / 100:.2f}" for c in cents]
    ends = [f"{a}–{b - 1}" for a, b in pairwise(starts)] + [f"{starts[-1]}+"]
    plain = [{"start": str(s), "price": p} for s, p in zip(starts, prices, strict=False)]
    assert read_breaks("; ".join(f"{e}: {p}" for e, p in zip(ends, prices, strict=False))) == plain
    for shift, said in ((1, "two prices would hold"), (-1, "Nothing is said|ends before")):
        if len(starts) > 1:
            bad = [f"{starts[0]}–{starts[1] - 1 + shift}", *ends[1:]]
            if starts[1] - 1 + shift < starts[0] and shift < 0:
                said = "ends before"
            with pytest.raises(BreaksError, match=said):
                read_breaks("; ".join(f"{e}: {p}" for e, p in zip(bad, prices, strict=False)))


# ------------------------------------------------------------------ lead time and validity


def test_lead_time_and_validity_come_along() -> None:
    """A whole order comes with its last line, and lapses with its first price."""
    found = read(
        "Item,Unit,Price,Lead time,Valid until\n"
        "Base foam 2 in,sheet,91.40,10-15 working days,2027-03-31\n"
        "Joint tape,roll,9.40,2 weeks,28.2.2027\n"
    )
    assert [row.state for row in found.rows] == ["left out", "taken", "taken"]
    # 10, 12, 15 and 10, 10, 10.
    assert (found.lead_days, str(found.valid_until)) == ([10, 12, 15], "2027-02-28")


def test_a_lead_time_that_cannot_be_read_costs_no_row() -> None:
    found = read("Item,Unit,Price,Lead time,Valid until\nJoint tape,roll,9.40,soon,03/04/2027\n")
    assert found.rows[1].state == "taken"
    assert "“soon” is not read: type it yourself, for example 10 or 10-15 working days" in found.rows[1].said
    assert "“03/04/2027” is not read" in found.rows[1].said, "April or March"
    assert (found.lead_days, found.valid_until, len(found.lines)) == ([], None, 1)


def test_days_do_not_decide_how_numbers_are_written() -> None:
    text = "Item;Unit;Price;Valid until\nJoint tape;roll;9,40;15.03.2027\nSealant;each;4,00;15.03.2027\n"
    assert guess_columns(read_table(text.encode())).decimal == ","


@given(st.text(max_size=30))
def test_any_text_is_a_lead_time_and_a_day_or_is_not(text: str) -> None:
    days = lead_of(text)
    assert days == [] or (len(days) == 3 and days == sorted(days))
    assert day_of(text) is None or day_of(day_of(text).isoformat()) == day_of(text)  # type: ignore[union-attr]
