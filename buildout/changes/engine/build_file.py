"""The build file: one JSON document that holds everything the chain needs to know.

``plan`` is what people decide and measure, ``commitments`` are facts that follow from it (orders
placed, places taken), ``earlier`` tells how the plan got here, as JSON Patches (RFC 6902) that lead
from the later revision back to the earlier one, and ``history`` carries the tables of an exported build.
"""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Any, Literal

from buildout.rooms.engine.types import Room
from buildout.units.lengths import UnitSystem
from buildout.units.value import Value
from estimating.engine.types import (
    AwardRules,
    BoughtReady,
    Charge,
    Fitout,
    FloorSystem,
    FoldAwaySystem,
    MadeCut,
    MoneyPlan,
    Need,
    PlacedOrder,
    Product,
    Quote,
    Remnant,
    Supplier,
    WallSystem,
)
from scheduling.engine.types import Crew, Dates, SignedUp, TaskEdits

FORMAT = "buildout build file"
VERSION = 1


class Plan(Value, kw_only=True):
    """Everything the owner measures, chooses, is told or decides."""

    name: str
    place: str = ""
    units: UnitSystem = "feet-inches"
    currency: str = "USD"
    """ISO 4217."""
    time_zone: str = "UTC"
    as_of: date
    """The day this plan is worked out for. Links take it as their "today"."""
    dates: Dates
    rooms: list[Room] = []
    products: list[Product] = []
    floor_systems: list[FloorSystem] = []
    fold_away_systems: list[FoldAwaySystem] = []
    wall_systems: list[WallSystem] = []
    fitouts: list[Fitout] = []
    needs: list[Need] = []
    ready_made: list[BoughtReady] = []
    remnants: list[Remnant] = []
    """Left-overs in stock that cut plans use first."""
    quantities: dict[str, Decimal] = {}
    """Stated task drivers that no drawing gives (``strip.area``, ``elec.points`` …)."""
    suppliers: list[Supplier] = []
    quotes: list[Quote] = []
    award: AwardRules = AwardRules()
    money: MoneyPlan = MoneyPlan()
    crew: Crew
    tasks: TaskEdits = TaskEdits()


class Commitments(Value, kw_only=True):
    """Facts that follow from the plan: orders placed and places taken."""

    orders: list[PlacedOrder] = []
    charges: list[Charge] = []
    """Asked for orders or lines that were called off."""
    sign_ups: list[SignedUp] = []
    cuts: list[MadeCut] = []
    """Stock that was cut already; later plans work with what is left of it."""


class EarlierRevision(Value, kw_only=True):
    """How to get the revision before: apply ``patch`` to the plan of the one after it."""

    summary: str
    by: str = ""
    patch: list[dict[str, Any]]


class BuildFile(Value, kw_only=True):
    """The whole file."""

    format: Literal["buildout build file"] = "buildout build file"
    version: Literal[1] = 1
    plan: Plan
    commitments: Commitments = Commitments()
    earlier: list[EarlierRevision] = []
    """Latest first."""
    history: dict[str, list[dict[str, Any]]] = {}
