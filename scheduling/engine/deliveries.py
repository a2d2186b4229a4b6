"""When goods come, counted in days, for planning and for the forecast."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import NamedTuple

from estimating.engine.types import Arrivals


class Delivery(NamedTuple):
    """Days until an item is on site: from the order while it is still to order, else from today."""

    item: str
    name: str
    supplier: str
    group: str
    placed: bool
    """An order exists, so the days count from today."""
    low: int
    likely: int
    high: int
    planned: int
    """What a plan should count on: the promised day, or the longest lead time while nothing is promised."""


def read_arrivals(arrivals: Arrivals, as_of: date) -> dict[str, Delivery]:
    """Turn arrival dates into days, by item."""
    found: dict[str, Delivery] = {}
    for arrival in arrivals.items:
        rest = arrival.acclimatise_days
        low, likely, high = ((day - as_of).days + rest for day in (arrival.low, arrival.likely, arrival.high))
        sure = arrival.basis in ("received", "promised")
        found[arrival.item] = Delivery(
            item=arrival.item,
            name=arrival.called,
            supplier=arrival.supplier,
            group=arrival.lead_group,
            placed=arrival.basis in ("received", "promised", "ordered"),
            low=min(low, likely),
            likely=likely,
            high=max(high, likely),
            planned=likely if sure else max(likely, high),
        )
    return found


class GroupWait(NamedTuple):
    """What a wait for a lead group comes to: days from the order for the rest, days from today for what is ordered."""

    from_order: int | None
    from_today: int | None


def group_wait(deliveries: Iterable[Delivery], group: str) -> GroupWait:
    """Return the longest planned waits of a lead group.

    >>> one = Delivery("foam", "Base foam", "", "foam", False, 12, 15, 20, 20)
    >>> group_wait([one], "foam")
    GroupWait(from_order=20, from_today=None)
    """
    mine = [delivery for delivery in deliveries if delivery.group == group]
    open_days = [delivery.planned for delivery in mine if not delivery.placed]
    placed_days = [delivery.planned for delivery in mine if delivery.placed]
    return GroupWait(max(open_days, default=None), max(placed_days, default=None))
