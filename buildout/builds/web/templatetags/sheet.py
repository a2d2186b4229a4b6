"""How pages write lengths, areas, money and state. Loaded into every template."""

from __future__ import annotations

from datetime import date, datetime
from decimal import Decimal
from typing import Any, NamedTuple

from django import template
from django.forms.boundfield import BoundWidget
from django.forms.utils import flatatt
from django.template.defaultfilters import length as default_length
from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString

from buildout.builds.web.models import Member, Role
from buildout.builds.web.services import Sheet
from buildout.units.dates import date_text
from buildout.units.lengths import format_area, format_length, format_mass, format_run, format_small
from buildout.units.money import format_money
from buildout.units.words import counted

register = template.Library()

POUND_PER_SQUARE_FOOT = 0.09290304 / 0.45359237


class SheetEntry(NamedTuple):
    no: str
    name: str
    url: str


SHEETS = (
    ("1", "Overview", "changes:overview", (Role.OWNER, Role.PARTNER, Role.LEAD)),
    ("2", "Rooms", "rooms:list", (Role.OWNER,)),
    ("3", "Systems", "estimating:systems", (Role.OWNER,)),
    ("4", "Take-off", "estimating:take-off", (Role.OWNER,)),
    ("5", "Quotes", "estimating:quotes", (Role.OWNER,)),
    ("6", "Orders", "estimating:orders", (Role.OWNER,)),
    ("7", "Crew days", "scheduling:days", (Role.OWNER, Role.LEAD)),
    ("8", "Budget", "estimating:budget", (Role.OWNER, Role.PARTNER)),
    ("9", "Progress", "scheduling:progress", (Role.OWNER, Role.PARTNER, Role.LEAD)),
    ("10", "Journal", "changes:journal", (Role.OWNER, Role.PARTNER)),
)
"""The list of sheets: number, name, address, who has it."""


@register.filter
def sheet_list(member: Member) -> list[SheetEntry]:
    return [
        SheetEntry(no, name, reverse(url, args=[member.build_id]))
        for no, name, url, roles in SHEETS
        if member.role in roles
    ]


@register.filter
def length(value: Any, units: str = "") -> Any:
    """Millimetres as people read them: ``{{ wall.length|length:sheet.units }}``. Without units it counts, as in Django.

    It takes the place of Django's filter of that name, which is wanted on the same pages.
    """
    if not units:
        return default_length(value)
    return "" if value is None or value == "" else format_length(Decimal(str(value)), units)  # type: ignore[arg-type]


@register.filter
def run(mm: Any, units: str = "feet-inches") -> str:
    """A long run of joints, welds or timber, to the inch or centimetre: nobody buys it closer than that."""
    return "" if mm is None or mm == "" else format_run(Decimal(str(mm)), units)  # type: ignore[arg-type]


@register.filter
def fine_run(mm: Any, units: str = "feet-inches") -> str:
    """A long run that is known to a sixteenth of an inch or a millimetre, such as a perimeter from readings."""
    return "" if mm is None or mm == "" else format_run(Decimal(str(mm)), units, denominator=16, places=3)  # type: ignore[arg-type]


@register.filter
def metres(mm: Any) -> str:
    """A length in metres whatever people measure with: how joints are stated so that systems can be compared."""
    return "" if mm is None else f"{float(mm) / 1000:.1f} m"


@register.filter
def small(mm: Any, units: str = "feet-inches") -> str:
    """A residual or tolerance: ``{{ reading.residual|small:sheet.units }}``."""
    return "" if mm is None else format_small(Decimal(str(mm)), units)  # type: ignore[arg-type]


@register.filter
def spare(mm: Any, units: str = "feet-inches") -> str:
    """What is left over or too little, its sign left to the words around it."""
    if mm is None:
        return ""
    size = abs(Decimal(str(mm)))
    return format_small(size, units) if size < Decimal("609.6") else format_length(size, units)  # type: ignore[arg-type]


@register.filter
def area(mm2: Any, units: str = "feet-inches") -> str:
    return "" if mm2 is None else format_area(float(mm2), units)  # type: ignore[arg-type]


@register.filter
def mass(kg: Any, units: str = "feet-inches") -> str:
    return "" if kg is None else format_mass(float(kg), units)  # type: ignore[arg-type]


@register.filter
def area_mass(kg_per_m2: Any, units: str = "feet-inches") -> str:
    if kg_per_m2 is None:
        return ""
    if units == "metric":
        return f"{float(kg_per_m2):.1f} kg/m²"
    return f"{float(kg_per_m2) * POUND_PER_SQUARE_FOOT:.2f} lb/sq ft"


@register.filter(name="counted")
def counted_filter(amount: Any, unit: str) -> str:
    """A quantity with its unit as people say it: 77 sheets, 1 roll, 2,738 sq ft."""
    return "" if amount is None or amount == "" else counted(Decimal(str(amount)), unit)


@register.filter
def money(amount: Any, currency: str = "USD") -> str:
    return "" if amount is None or amount == "" else format_money(Decimal(str(amount)), currency)


@register.filter
def quantity(value: Any) -> str:
    """A quantity without trailing zeros: 84, 12.5, 2,738."""
    if value is None or value == "":
        return ""
    number = Decimal(str(value))
    return f"{number.normalize():,f}" if number != number.to_integral() else f"{number:,.0f}"


@register.filter
def iso_date(text: Any) -> date | None:
    """A date out of JSON totals, for the date filter."""
    return date.fromisoformat(text) if isinstance(text, str) and text else text or None


@register.filter
def moment(at: datetime | None, sheet: Sheet) -> str:
    """When something happened, by the clock at the build: ``{{ entry.at|moment:sheet }}``."""
    return "" if at is None else f"{date_text(sheet.local(at))}, {sheet.local(at):%H:%M}"


@register.filter
def clock(minutes: int) -> str:
    """Minutes after midnight as 08:30."""
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


@register.filter
def percent(share: Any) -> str:
    return "" if share is None else f"{float(share) * 100:.0f} %"


@register.filter
def get(mapping: Any, key: Any) -> Any:
    """``{{ names|get:item }}``: a value by a key that is itself a variable."""
    return mapping.get(key) if mapping is not None else None


@register.filter
def tick(choice: BoundWidget) -> SafeString:
    """The box or button of one choice, as its widget writes it; lists of them are long, and a template each is slow."""
    box = choice.data
    value = "" if box["value"] is None else format_html(' value="{}"', box["value"])
    return format_html('<input type="{}" name="{}"{}{}>', box["type"], box["name"], value, flatatt(box["attrs"]))
