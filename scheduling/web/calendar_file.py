"""A helper's build day as an iCalendar file (RFC 5545)."""

from __future__ import annotations

import hashlib
from datetime import datetime, timedelta

from django.utils import timezone

from buildout.builds.web.services import Sheet
from buildout.units.dates import day_text
from scheduling.web.models import SignUp
from scheduling.web.offers import DayOffer
from scheduling.web.pictures import minutes

REMINDERS = (timedelta(days=7), timedelta(days=1))
"""A week and a day before. Common practice, no published source."""
LOOK_AGAIN = timedelta(hours=6)
"""How often calendars that subscribe are asked to look (RFC 7986, 5.7)."""


def calendar_file(row: SignUp, offer: DayOffer, sheet: Sheet, address: str, *, held: bool = True) -> bytes:
    """One event with an identity that never changes, so a later file replaces an earlier one.

    A withdrawn place, and a day that is not ``held`` any more, come as a cancelled event.
    """
    from icalendar import Alarm, Calendar, Event

    day, off = offer.day, row.withdrawn is not None or not held
    task = offer.task(row.task) if row.task else None
    midnight = datetime(day.date.year, day.date.month, day.date.day, tzinfo=sheet.zone)
    event = Event()
    event.add("uid", f"{hashlib.sha256(f'{row.build_id} {row.ref}'.encode()).hexdigest()[:32]}@buildout")
    event.add("sequence", sheet.revision.number + row.changes)
    event.add("dtstamp", timezone.now())
    event.add("dtstart", _at(midnight, minutes(day.start)))
    event.add("dtend", _at(midnight, minutes(day.end)))
    event.add("summary", f"{row.build.name}: {day.name}")
    where = sheet.document.get("place", "") if day.place == "hall" else day.place
    if where:
        event.add("location", where)
    job = f"{task.name}, {task.start // 60:02d}:{task.start % 60:02d}" if task else "Wherever needed"
    food = f"\nFood: {day.food}" if day.food else ""
    event.add("description", f"{job}{food}\nTo change or withdraw: {address}")
    event.add("url", address)
    event.add("status", "CANCELLED" if off else "TENTATIVE" if row.waiting else "CONFIRMED")
    if not off:
        for before in REMINDERS:
            alarm = Alarm()
            alarm.add("action", "DISPLAY")
            alarm.add("trigger", -before)
            alarm.add(
                "description",
                f"{row.build.name}: {day.name} on {day_text(day.date, year=False)}, {day.start}",
            )
            event.add_component(alarm)
    calendar = Calendar()
    calendar.add("prodid", "-//Buildout//Build days//EN")
    calendar.add("version", "2.0")
    calendar.add("name", row.build.name)  # what a subscribed calendar is called (RFC 7986, 5.1)
    calendar.add("refresh-interval", LOOK_AGAIN, parameters={"VALUE": "DURATION"})
    calendar.add("method", "CANCEL" if off else "PUBLISH")
    calendar.add_component(event)
    calendar.add_missing_timezones()
    return bytes(calendar.to_ical())


def _at(midnight: datetime, minute: int) -> datetime:
    """A time of day on the wall clock, also on the days the clocks change."""
    return (midnight.replace(tzinfo=None) + timedelta(minutes=minute)).replace(tzinfo=midnight.tzinfo)
