"""How the crew pages write tasks and waits: ``{% load days %}``."""

from __future__ import annotations

from django import template

from scheduling.web import offers

register = template.Library()


@register.filter
def whole_task(code: str) -> str:
    return offers.whole_task(code)


@register.filter
def waiting(minutes: int) -> str:
    """A lag in the largest unit that fits: 2 days, 4 hours, 30 minutes."""
    for size, unit in ((1440, "day"), (60, "hour"), (1, "minute")):
        if minutes % size == 0:
            count = minutes // size
            return f"{count} {unit}" + ("s" if count != 1 else "")
    raise AssertionError("unreachable")
