"""Edits of systems, quotes and money in a plan. Each changes an editable copy in place; nothing here is stored."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from buildout.builds.web.editing import amount_text

Document = dict[str, Any]


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
