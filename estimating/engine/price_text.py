"""Price tables and zone tables as people type them, and what is unclear in them said back."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Any

Breaks = list[dict[str, str]]

BREAKS_EXAMPLE = "1: 91.40; 24: 82.10; 60: 74.65"
ZONES_EXAMPLE = "A: 180; B: 240; C: 310"
_RANGE = re.compile(r"^(?P<first>[0-9.]+)\s*(?:[-–—]|to)\s*(?P<last>[0-9.]+)$")


class BreaksError(ValueError):
    """A break table that cannot be read; the message carries an example."""


def read_breaks(text: str) -> Breaks:
    """Read a break table as typed: quantity from which a unit price holds, smallest first.

    >>> read_breaks("1: 91.40; 24: 82.10") == read_breaks("1–23: 91.40; 24+: 82.10")
    True

    Raises ``BreaksError`` naming the entry that is unclear, out of order, or leaves a gap or an overlap between
    ranges written with both ends.
    """
    found: Breaks = []
    last = Decimal(0)
    end: Decimal | None = None
    """Where the range before stops, when it says so."""
    for entry in (part.strip() for part in re.split(r"[;\n]+", text)):
        if not entry:
            continue
        start_text, mark, price_text = (part.strip() for part in entry.partition(":"))
        if not mark and not found and ";" not in text:
            start_text, price_text = "1", entry  # one price for any quantity
        start_text = re.sub(r"\s*(\+|and more|and up)$", "", start_text)
        ends = _RANGE.match(start_text)
        start = _number(ends["first"] if ends else start_text, entry)
        price = _price(price_text, entry)
        if start <= 0:
            raise BreaksError(
                f"“{entry}” begins at {start_text}. The first price holds from the smallest quantity sold, "
                f"for example {BREAKS_EXAMPLE}"
            )
        if start <= last:
            raise BreaksError(
                f"“{entry}” comes after {last:f}. List quantities from small to large, for example {BREAKS_EXAMPLE}"
            )
        if end is not None and start <= end:
            raise BreaksError(
                f"“{entry}” overlaps the range before it, which goes to {end:f}: two prices would hold for {start:f}. "
                f"Ask which is meant, for example 1–23: 91.40; 24–59: 82.10; 60+: 74.65"
            )
        if end is not None and start > end + 1:
            raise BreaksError(
                f"Nothing is said for what lies between {end:f} and {start:f}. Ask what it costs, then close the gap, "
                f"for example 1–23: 91.40; 24–59: 82.10; 60+: 74.65"
            )
        end = _number(ends["last"], entry) if ends else None
        if end is not None and end < start:
            raise BreaksError(f"“{entry}” ends before it begins, for example 1–23: 91.40")
        last = start
        found.append({"start": f"{start:f}", "price": f"{price:f}"})
    if not found:
        raise BreaksError(f"Give at least one price, for example {BREAKS_EXAMPLE}")
    if end is not None:
        raise BreaksError(
            f"Nothing is said for more than {end:f}. Where the last price holds for more, write {last:f}+ for it"
        )
    return found


def plain_number(text: str) -> Decimal | None:
    """A number of plain digits, a sign before it and a point in it; None for anything else.

    Powers of ten are not taken: a few characters could stand for more digits than there is room for.

    >>> plain_number("-12.50"), plain_number("1e3"), plain_number("1_000"), plain_number("NaN")
    (Decimal('-12.50'), None, None, None)
    """
    return Decimal(text) if re.fullmatch(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)", text) else None


def clipped(text: str) -> str:
    """What was typed, as far as a message has room for it."""
    return text if len(text) <= 60 else f"{text[:60]}…"


def _number(text: str, entry: str) -> Decimal:
    number = plain_number(text)
    if number is None:
        cannot = re.fullmatch(r"[+-]?(?:nan|inf|infinity|[0-9.]+e[+-]?[0-9]+)", text.lower())
        if cannot:
            raise BreaksError(f"“{clipped(entry)}” has a number that cannot be, for example {BREAKS_EXAMPLE}")
        raise BreaksError(
            f"“{clipped(entry)}” is not a quantity and a price with a colon between them, for example {BREAKS_EXAMPLE}"
        )
    if number < 0 or number > 10**9:
        raise BreaksError(f"“{clipped(entry)}” has a number that cannot be, for example {BREAKS_EXAMPLE}")
    return number


def _price(text: str, entry: str) -> Decimal:
    if re.match(r"^[-−]\s*[0-9]", text):
        raise BreaksError(
            f"“{entry}” has a number that cannot be: a price below zero. Type what is taken off as a discount, "
            f"for example {BREAKS_EXAMPLE}"
        )
    return _number(text, entry)


def read_zones(text: str) -> list[dict[str, str]]:
    """Read a zone table as typed.

    >>> read_zones("A: 180; B: 240")
    [{'name': 'A', 'amount': '180'}, {'name': 'B', 'amount': '240'}]

    Raises ``BreaksError`` naming the entry that is unclear.
    """
    found: list[dict[str, str]] = []
    for entry in (part.strip() for part in re.split(r"[;\n]+", text)):
        if not entry:
            continue
        name, mark, amount_text = (part.strip() for part in entry.rpartition(":"))
        amount = plain_number(amount_text)
        if not mark or not name or amount is None or not 0 <= amount <= 10**9:
            raise BreaksError(f"“{clipped(entry)}” is not a zone and what it costs, for example {ZONES_EXAMPLE}")
        if name in [zone["name"] for zone in found]:
            raise BreaksError(f"Zone {name} stands there twice, for example {ZONES_EXAMPLE}")
        found.append({"name": name, "amount": f"{amount:f}"})
    return found


def write_zones(zones: list[dict[str, Any]]) -> str:
    """A zone table as people type it.

    >>> write_zones([{"name": "A", "amount": "180"}])
    'A: 180'
    """
    return "; ".join(f"{zone['name']}: {zone['amount']}" for zone in zones)


def write_breaks(breaks: Breaks) -> str:
    """A break table as people type it.

    >>> write_breaks([{"start": "1", "price": "91.40"}, {"start": "24", "price": "82.10"}])
    '1: 91.40; 24: 82.10'
    """
    return "; ".join(f"{b['start']}: {b['price']}" for b in breaks)
