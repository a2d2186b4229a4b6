"""Reasons and the sizes inside them. A link does not know which units its reader prefers, so both are given."""

from __future__ import annotations

from buildout.units.lengths import format_area, format_length, format_mass, format_run, format_small
from buildout.units.value import Reason


def length(mm: float) -> str:
    """Both ways of writing a length; inches to 1/16 under two feet, feet and inches to 1/4 above.

    >>> length(152.4), length(914.4)
    ('6 in (152 mm)', '3\\' 0" (914 mm)')
    """
    foot = format_small(mm) if abs(mm) < 609.6 else format_length(mm, denominator=4)
    return f"{foot} ({format_length(mm, 'metric')})"


def run(mm: float) -> str:
    """Both ways of writing what is added up or drawn off a roll: feet and whole inches, metres.

    >>> run(161372)
    '529\\' 5" (161.37 m)'
    """
    foot = format_small(mm) if abs(mm) < 609.6 else format_run(mm)
    return f"{foot} ({format_run(mm, 'metric')})"


def area(mm2: float) -> str:
    """Both ways of writing an area.

    >>> area(268958000)
    '2,895 sq ft (269.0 m²)'
    """
    return f"{format_area(mm2)} ({format_area(mm2, 'metric')})"


def mass(kg: float) -> str:
    """Both ways of writing a mass.

    >>> mass(416)
    '917 lb (416 kg)'
    """
    return f"{format_mass(kg)} ({format_mass(kg, 'metric')})"


def count(number: int, one: str, many: str = "") -> str:
    """A number with its noun.

    >>> count(1, "piece"), count(3, "piece")
    ('1 piece', '3 pieces')
    """
    return f"{number} {one if number == 1 else many or one + 's'}"


def note(code: str, text: str, where: str, todo: str = "") -> Reason:
    return Reason(code=code, text=text, where=where, severity="note", todo=todo)


def warning(code: str, text: str, where: str, todo: str) -> Reason:
    return Reason(code=code, text=text, where=where, severity="warning", todo=todo)


def stop(code: str, text: str, where: str, todo: str) -> Reason:
    return Reason(code=code, text=text, where=where, severity="stop", todo=todo)
