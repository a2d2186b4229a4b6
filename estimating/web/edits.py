"""Edits of systems, quotes and money in a plan. Each changes an editable copy in place; nothing here is stored."""

from __future__ import annotations

import re
from decimal import Decimal, InvalidOperation
from typing import Any

from buildout.builds.web.editing import amount_text

Document = dict[str, Any]
Breaks = list[dict[str, str]]

BREAKS_EXAMPLE = "1: 91.40; 24: 82.10; 60: 74.65"


class BreaksError(ValueError):
    """A break table that cannot be read; the message carries an example."""


def position(entries: list[dict[str, Any]], name: str, key: str = "id") -> int:
    """Where the entry called ``name`` stands. Raises ``KeyError``."""
    for at, entry in enumerate(entries):
        if entry[key] == name:
            return at
    raise KeyError(name)


def put(document: Document, section: str, old: str, entry: dict[str, Any], key: str = "id") -> int:
    """Replace the entry called ``old``, or add one when there is none; returns its position."""
    entries = document.setdefault(section, [])
    for at, there in enumerate(entries):
        if old and there[key] == old:
            entries[at] = entry
            return at
    entries.append(entry)
    return len(entries) - 1


def remove(document: Document, section: str, name: str) -> None:
    del document[section][position(document[section], name)]


def remove_quote(document: Document, quote: str) -> None:
    """Take a quote out, with the rules that speak of it."""
    remove(document, "quotes", quote)
    rules = document.get("award", {})
    rules["force"] = {item: forced for item, forced in rules.get("force", {}).items() if forced != quote}
    rules["exclude"] = [excluded for excluded in rules.get("exclude", []) if excluded != quote]
    document["award"] = {name: value for name, value in rules.items() if value not in ({}, [])}


def set_quantities(document: Document, stated: dict[str, str]) -> None:
    document["quantities"] = dict(sorted(stated.items()))


def set_award_rules(
    document: Document,
    force: dict[str, str],
    exclude: list[str],
    most: int | None,
    together: list[list[str]],
    need_by: dict[str, str],
    day_late: Decimal | None,
) -> None:
    rules: dict[str, Any] = {}
    if most is not None:
        rules["most_suppliers"] = most
    if force:
        rules["force"] = dict(sorted(force.items()))
    if exclude:
        rules["exclude"] = sorted(exclude)
    if together:
        rules["together"] = together
    if need_by:
        rules["need_by"] = need_by
    if day_late:
        rules["day_late"] = amount_text(day_late)
    document["award"] = rules


def set_money(document: Document, money: dict[str, Any], heads: list[dict[str, Any]]) -> None:
    document["money"] = {**money, "heads": heads}


def read_breaks(text: str) -> Breaks:
    """Read a break table as typed: quantity from which a unit price holds, smallest first.

    >>> read_breaks("1: 91.40; 24: 82.10")
    [{'start': '1', 'price': '91.40'}, {'start': '24', 'price': '82.10'}]

    Raises ``BreaksError`` naming the entry that is unclear or out of order.
    """
    found: Breaks = []
    last = Decimal(0)
    for entry in (part.strip() for part in re.split(r"[;\n]+", text)):
        if not entry:
            continue
        start_text, mark, price_text = (part.strip() for part in entry.partition(":"))
        if not mark and not found and ";" not in text:
            start_text, price_text = "1", entry  # one price for any quantity
        start, price = _number(start_text, entry), _number(price_text, entry)
        if start <= 0:
            raise BreaksError(
                f"“{entry}” begins at {start_text}. The first price holds from the smallest quantity sold, "
                f"for example {BREAKS_EXAMPLE}"
            )
        if start <= last:
            raise BreaksError(
                f"“{entry}” comes after {last:f}. List quantities from small to large, for example {BREAKS_EXAMPLE}"
            )
        last = start
        found.append({"start": f"{start:f}", "price": f"{price:f}"})
    if not found:
        raise BreaksError(f"Give at least one price, for example {BREAKS_EXAMPLE}")
    return found


def _number(text: str, entry: str) -> Decimal:
    try:
        number = Decimal(text)
    except InvalidOperation:
        raise BreaksError(
            f"“{entry}” is not a quantity and a price with a colon between them, for example {BREAKS_EXAMPLE}"
        ) from None
    if not number.is_finite() or number < 0 or number > 10**9:
        raise BreaksError(f"“{entry}” has a number that cannot be, for example {BREAKS_EXAMPLE}")
    return number


def write_breaks(breaks: Breaks) -> str:
    """A break table as people type it.

    >>> write_breaks([{"start": "1", "price": "91.40"}, {"start": "24", "price": "82.10"}])
    '1: 91.40; 24: 82.10'
    """
    return "; ".join(f"{b['start']}: {b['price']}" for b in breaks)
