"""A ready-made offer taken into a plan, and the way back. Both edit a plan as people wrote it, ready to be proposed."""

from __future__ import annotations

import copy
from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from decimal import ROUND_CEILING, ROUND_HALF_UP, Decimal
from typing import Any

from estimating.engine.heads import OTHER
from estimating.engine.ready_made import ReadyMade
from estimating.engine.rfq import VALID_DAYS
from scheduling.engine.template import default_template

Document = dict[str, Any]
WEEK, WORKING = 7, 5
CREW = 2
"""Who receives and fixes it; nobody lifts alone."""


def name_of(number: int) -> str:
    """What an offer's product, need and quote are called in a plan."""
    return f"ready-made-{number}"


def task_of(number: int) -> str:
    """Code of the task that fixes it."""
    return f"RM{number}"


def is_taken(document: Mapping[str, Any], number: int) -> bool:
    return any(bought["product"] == name_of(number) for bought in document.get("ready_made", []))


def take_ready_made(
    document: Mapping[str, Any],
    number: int,
    name: str,
    supplier: str,
    offer: ReadyMade,
    tasks: Sequence[str],
    today: date,
) -> Document:
    """The plan with the offer in place of what it replaces; taken before, it comes in with its terms as they are now.

    Its goods enter as a product, a need and a quote, so that it is awarded, ordered and received like all others;
    ``tasks`` of the list are switched off, and its own hours come in as a task that waits for it.
    """
    edited = make_here(document, number)
    ours = {product["id"]: product for product in edited.get("products", [])}
    first: Mapping[str, Any] = next((ours[item] for item in offer.items if item in ours), {})
    head, new = first.get("head", OTHER), name_of(number)
    edited.setdefault("products", []).append({"id": new, "name": name, "form": "each", "unit": "each", "head": head})
    edited.setdefault("needs", []).append(
        {"id": new, "product": new, "quantity": "1", "unit": "each", "why": "Comes ready-made"}
    )
    as_of = date.fromisoformat(edited["as_of"])
    quoted = min(today, as_of)
    low, likely, high = (_working(days) for days in offer.lead_days)
    edited.setdefault("quotes", []).append(
        {
            "id": new,
            "supplier": _supplier(edited, supplier or f"Seller of {name}"),
            "currency": edited.get("currency", "USD"),
            "quoted": quoted.isoformat(),
            "valid_until": (offer.valid_until or max(today, as_of) + timedelta(days=VALID_DAYS)).isoformat(),
            "lead_days_low": low, "lead_days_likely": likely, "lead_days_high": high,
            "freight": {"form": "flat", "amount": _text(offer.freight)},
            "lines": [
                {
                    "item": new, "unit": "each", "form": "all units",
                    "breaks": [{"start": "1", "price": _text(offer.price)}],
                }
            ],
        }
    )  # fmt: skip
    edits = edited.setdefault("tasks", {})
    off = edits.get("off", [])
    listed = {row.code for row in default_template()}
    saved = [code for code in tasks if code in listed and code not in off]
    if saved:
        edits["off"] = sorted([*off, *saved])
    if offer.hours > 0:
        hours = (offer.hours / CREW).quantize(Decimal("0.01"), ROUND_HALF_UP)
        edits.setdefault("own", []).append(
            {
                "code": task_of(number),
                "name": f"Fix {name}"[:80],
                "hours": _text(hours),
                "crew": CREW,
                "needs": [new],
            }
        )
    if not edits:
        del edited["tasks"]
    bought: Document = {"product": new, "items": list(offer.items), "tasks": saved}
    if offer.fixings > 0:
        bought["set_aside"] = _text(offer.fixings)
        _set_aside(edited, head, offer.fixings)
    edited.setdefault("ready_made", []).append(bought)
    return edited


def has_other_terms(
    document: Mapping[str, Any], number: int, name: str, supplier: str, offer: ReadyMade, tasks: Sequence[str]
) -> bool:
    """Whether an offer that is in the plan would come in otherwise today; a later day alone is no other term."""
    anew = take_ready_made(document, number, name, supplier, offer, tasks, date.fromisoformat(document["as_of"]))
    dated = offer.valid_until is not None
    return _came_in(document, number, dated=dated) != _came_in(anew, number, dated=dated)


def _came_in(document: Mapping[str, Any], number: int, *, dated: bool) -> list[Document | None]:
    """What of a plan is an offer's."""
    new = name_of(number)
    found = [
        next((dict(one) for one in document.get(section, []) if one[key] == new), None)
        for section, key in (("products", "id"), ("needs", "id"), ("quotes", "id"), ("ready_made", "product"))
    ]
    own = document.get("tasks", {}).get("own", [])
    found.append(next((dict(one) for one in own if one["code"] == task_of(number)), None))
    quote = found[2]
    if quote is not None:
        for day in ("quoted",) if dated else ("quoted", "valid_until"):
            quote.pop(day, None)
    return found


def make_here(document: Mapping[str, Any], number: int) -> Document:
    """The plan without the offer: what it replaced is bought, cut and worked on here. Its supplier stays."""
    edited = copy.deepcopy(dict(document))
    gone = name_of(number)
    bought = next((one for one in edited.get("ready_made", []) if one["product"] == gone), None)
    if bought is None:
        return edited
    head = next((product["head"] for product in edited["products"] if product["id"] == gone), OTHER)
    edited["ready_made"] = [one for one in edited["ready_made"] if one is not bought]
    for section in ("products", "needs", "quotes"):
        edited[section] = [one for one in edited.get(section, []) if one["id"] != gone]
    edits = edited.get("tasks", {})
    edits["off"] = [code for code in edits.get("off", []) if code not in bought.get("tasks", [])]
    edits["own"] = [task for task in edits.get("own", []) if task["code"] != task_of(number)]
    rules = edited.get("award", {})
    if "force" in rules:
        rules["force"] = {item: quote for item, quote in rules["force"].items() if gone not in (item, quote)}
    rules["exclude"] = [quote for quote in rules.get("exclude", []) if quote != gone]
    for owner, names in ((edits, ("off", "own")), (rules, ("force", "exclude")), (edited, ("ready_made", "needs"))):
        for name in names:
            if not owner.get(name):
                owner.pop(name, None)
    for section in ("tasks", "award"):
        if section in edited and not edited[section]:
            del edited[section]
    _set_aside(edited, head, -Decimal(bought.get("set_aside", 0)))
    return edited


def _working(days: int) -> int:
    """Calendar days as working days, not fewer."""
    return int((Decimal(days) * WORKING / WEEK).to_integral_value(ROUND_CEILING))


def _supplier(edited: Document, name: str) -> str:
    """The supplier of that name, put into the list where there is none."""
    sellers = edited.setdefault("suppliers", [])
    there = next((one["id"] for one in sellers if one["name"].casefold() == name.casefold()), None)
    if there is not None:
        return str(there)
    taken, number = {one["id"] for one in sellers}, 1
    while f"seller-{number}" in taken:
        number += 1
    sellers.append({"id": f"seller-{number}", "name": name})
    return f"seller-{number}"


def _set_aside(edited: Document, head: int, more: Decimal) -> None:
    if not more:
        return
    heads = edited.setdefault("money", {}).setdefault("heads", [])
    plan = next((one for one in heads if one["head"] == head), None)
    if plan is None:
        plan = {"head": head}
        heads.append(plan)
    left = max(Decimal(str(plan.get("allowance", 0))) + more, Decimal(0))
    plan.pop("allowance", None)
    if left:
        plan["allowance"] = _text(left)
    edited["money"]["heads"] = sorted((one for one in heads if set(one) != {"head"}), key=lambda one: one["head"])


def _text(amount: Decimal) -> str:
    return f"{amount.normalize():f}"
