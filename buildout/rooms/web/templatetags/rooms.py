"""How the rooms sheets write what no other sheet has."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django import template

from buildout.units.lengths import format_length

register = template.Library()


@register.filter
def signed(mm: Any, units: str) -> str:
    """A coordinate, with a minus where it lies left of or below the datum: ``{{ point.x|signed:sheet.units }}``."""
    if mm is None:
        return ""
    text = format_length(abs(Decimal(str(mm))), units, denominator=16)  # type: ignore[arg-type]
    return f"−{text}" if mm < 0 else text
