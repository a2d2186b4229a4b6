"""A first plan for a room just measured: enough to show area, sheets, mass and tasks before any quote is in.

Products, layer systems and rates are planning values (common practice, no published source); the owner
replaces them by what the suppliers' data sheets say.
"""

from __future__ import annotations

import copy
import json
from datetime import date, timedelta
from functools import lru_cache
from importlib.resources import files
from typing import Any

from buildout.units.lengths import UnitSystem

WEEKS_TO_OPENING = 26
BUILD_DAYS = (
    (6, "Strip and clean"),
    (8, "Paint"),
    (10, "Panel making"),
    (14, "Frame and foam"),
    (16, "Cover"),
    (17, "Panels and fit-out"),
    (19, "Finish and clean"),
    (21, "In reserve"),
)
"""Week and theme of the first build days; by week 16 goods ordered in the fifth are usually there."""
PLACES = 16
SATURDAY = 5
OWNER_SKILLS = ["lead", "admin", "measure", "carp", "saw", "uphol", "paint", "lift", "clean", "cook"]
CORE_TEAM = (
    ("owner", "Owner", OWNER_SKILLS),
    ("second", "Second pair of hands", ["lead", "measure", "lift", "clean", "carp"]),
)
"""Two people: a cover diagram is signed by two, nobody lifts alone, and eight who spread a cover need two leads."""


@lru_cache(maxsize=2)
def _catalogue(units: UnitSystem) -> dict[str, list[dict[str, Any]]]:
    text = files("buildout.changes.engine").joinpath(f"data/starter-{units}.json").read_text(encoding="utf-8")
    catalogue: dict[str, list[dict[str, Any]]] = json.loads(text)
    return catalogue


def starter_systems(units: UnitSystem) -> list[tuple[str, str]]:
    """(id, name) of every layer system a new build may start with, the usual one first.

    >>> starter_systems("metric")[0]
    ('two-layer-50mm', 'Two layers and a cover: 50 mm base, 12 mm top')
    """
    catalogue = _catalogue(units)
    return [(system["id"], system["name"]) for system in catalogue["floor_systems"] + catalogue["fold_away_systems"]]


def starter_plan(
    name: str, units: UnitSystem, currency: str, time_zone: str, as_of: date, room: dict[str, Any], system: str
) -> dict[str, Any]:
    """Make the plan document of a new build.

    ``room`` is a room as in the build file; ``system`` an id from ``starter_systems``. Raises ``ValueError``
    for an unknown system. The document still has to pass ``check_plan``: the room is the owner's own.
    """
    catalogue = copy.deepcopy(_catalogue(units))
    known = [key for key, _ in starter_systems(units)]
    if system not in known:
        raise ValueError(f"There is no layer system {system!r}. Choose one of: {', '.join(known)}.")
    folds = system in {entry["id"] for entry in catalogue["fold_away_systems"]}
    fitout: dict[str, Any] = {"room": room["id"], "fold_away" if folds else "floor": system}
    if not folds:
        fitout["walls"] = catalogue["wall_systems"][0]["id"]
    saturday = as_of + timedelta(days=(SATURDAY - as_of.weekday()) % 7)
    return {
        "name": name,
        "units": units,
        "currency": currency,
        "time_zone": time_zone,
        "as_of": as_of.isoformat(),
        "dates": {
            "lease_start": as_of.isoformat(),
            "opening_wish": (as_of + timedelta(weeks=WEEKS_TO_OPENING)).isoformat(),
        },
        "rooms": [copy.deepcopy(room)],
        **catalogue,
        "fitouts": [fitout],
        "crew": {
            "core": [{"id": key, "name": title, "skills": list(skills)} for key, title, skills in CORE_TEAM],
            "days": [
                {
                    "id": f"day-{number}",
                    "date": (saturday + timedelta(weeks=week)).isoformat(),
                    "name": theme,
                    "places": PLACES,
                }
                for number, (week, theme) in enumerate(BUILD_DAYS, 1)
            ],
        },
    }


SHIPPED = {"floor_systems": "floors", "fold_away_systems": "fold-away mats", "wall_systems": "wall panels"}
"""Sections of the shipped systems and what their systems are called."""
SAME_GOODS = ("form", "unit", "length", "width", "thickness")
"""Fields by which a build's product is the shipped one of the same id, whatever else was typed since."""

PLAIN_WORDS = {"name", "form", "unit", "role", "lead_group", "kind", "note"}
"""Fields whose words may read like a product's id but name none."""


def shipped_systems(units: UnitSystem) -> dict[str, list[tuple[str, str]]]:
    """(id, name) of every system that ships, by section of the build file.

    >>> shipped_systems("metric")["wall_systems"][0][0]
    'panels'
    """
    catalogue = _catalogue(units)
    return {section: [(system["id"], system["name"]) for system in catalogue[section]] for section in SHIPPED}


def with_shipped_system(document: dict[str, Any], units: UnitSystem, section: str, system: str) -> tuple[Any, str, int]:
    """A copy of a plan document with a shipped system and the products it needs: (document, its id, products added).

    A product that the build has under the same id and of the same size is kept as the owner has it. Ids taken by
    something else get a number behind them. Raises ``KeyError`` for an unknown section or system.
    """
    catalogue = _catalogue(units)
    if section not in SHIPPED:
        raise KeyError(section)
    found = next((one for one in catalogue[section] if one["id"] == system), None)
    if found is None:
        raise KeyError(system)
    edited = copy.deepcopy(document)
    shipped = {product["id"]: product for product in catalogue["products"]}
    needed = sorted(_named_in(found, shipped))
    there = {product["id"]: product for product in edited.get("products", [])}
    names = {key: _own_or_free(shipped[key], there) for key in needed}
    added = [key for key in needed if names[key] not in there]
    if added:
        edited.setdefault("products", []).extend(_renamed(shipped[key], names) for key in added)
    entries = edited.setdefault(section, [])
    taken = {one["id"] for part in SHIPPED for one in edited.get(part, [])}
    made = _renamed(found, names) | {"id": _free(system, taken)}
    entries.append(made)
    return edited, made["id"], len(added)


def _named_in(value: Any, shipped: dict[str, dict[str, Any]], field: str = "") -> set[str]:
    """Products named anywhere in a system, and those that these name in turn."""
    if isinstance(value, dict):
        return {key for name, one in value.items() for key in _named_in(one, shipped, name)}
    if isinstance(value, list):
        return {key for one in value for key in _named_in(one, shipped, field)}
    if field in PLAIN_WORDS or not isinstance(value, str) or value not in shipped:
        return set()
    rest = {key: product for key, product in shipped.items() if key != value}
    return {value} | _named_in(shipped[value], rest)


def _renamed(value: Any, names: dict[str, str], field: str = "") -> Any:
    if isinstance(value, dict):
        return {key: _renamed(one, names, key) for key, one in value.items()}
    if isinstance(value, list):
        return [_renamed(one, names, field) for one in value]
    if field in PLAIN_WORDS or not isinstance(value, str):
        return copy.deepcopy(value)
    return names.get(value, value)


def _own_or_free(product: dict[str, Any], there: dict[str, dict[str, Any]]) -> str:
    """Id of the build's product that is this one, else the first free one."""
    number, key = 1, product["id"]
    while key in there and any(there[key].get(field) != product.get(field) for field in SAME_GOODS):
        number += 1
        key = f"{product['id']}-{number}"
    return str(key)


def _free(key: str, taken: set[str]) -> str:
    """The id itself, or the first with a number behind it that is free.

    >>> _free("judo", {"judo", "judo-2"})
    'judo-3'
    """
    number, free = 1, key
    while free in taken:
        number += 1
        free = f"{key}-{number}"
    return free
