"""Hours in which many signed up at once.

Hours are counted from 1970 in UTC, which no clock change makes twice; they are shown by the clock at the build.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from django.db.models import QuerySet
from django.utils import timezone

from buildout.builds.web.models import Build
from buildout.builds.web.services import Sheet
from scheduling.web.models import SignUp

SECONDS = 3600
LAST = 2**31 // SECONDS
MANY = 100
"""So many in an hour are asked about on crew days. Common practice, no published source: a school's own people fill
a build's days in weeks."""
ASKED_DAYS = 7
"""So long after such an hour the owner is asked about it; it can be looked at for good."""
CROWD = 10
CLOSE = timedelta(minutes=1)
"""A robot's sign-ups have so many others within so long of them; people come one by one. Common practice, no published
source."""


@dataclass(frozen=True)
class Hour:
    number: int
    start: datetime
    """By the clock at the build."""
    end: datetime
    here: int
    """Sign-ups that stand or wait."""
    out: int = 0
    """Taken out together, and can be brought back."""


def hours_of(rows: Iterable[SignUp], sheet: Sheet) -> list[Hour]:
    """The hours in which sign-ups came in that stand, wait, or were taken out together; the newest first."""
    here: Counter[int] = Counter()
    out: Counter[int] = Counter()
    for row in rows:
        number = int(row.created.timestamp()) // SECONDS
        if row.withdrawn is None:
            here[number] += 1
        elif row.taken_out is not None and row.removed is None:
            out[number] += 1
    return [hour_of(number, sheet, here[number], out[number]) for number in sorted({*here, *out}, reverse=True)]


def crowded(rows: Iterable[SignUp], sheet: Sheet) -> list[Hour]:
    """The hours to ask the owner about: so many that it may have been a robot, and not long ago."""
    since = timezone.now() - timedelta(days=ASKED_DAYS)
    return [hour for hour in hours_of(rows, sheet) if hour.here >= MANY and hour.end > since]


def within_an_hour(build: Build) -> QuerySet[SignUp]:
    """What came in since an hour ago, and was not taken out as a robot's."""
    return SignUp.objects.filter(build=build, created__gt=timezone.now() - timedelta(hours=1), taken_out=None)


def hour_of(number: int, sheet: Sheet, here: int, out: int) -> Hour:
    start, end = bounds(number)
    return Hour(number, sheet.local(start), sheet.local(end), here, out)


def bounds(number: int) -> tuple[datetime, datetime]:
    """When an hour begins and ends. Raises ``ValueError`` for hours no sign-up can be of."""
    if not 0 < number <= LAST:
        raise ValueError(number)
    start = datetime.fromtimestamp(number * SECONDS, UTC)
    return start, start + timedelta(hours=1)


def crowd(rows: Sequence[SignUp]) -> set[int]:
    """The keys of those that came in a crowd, and so look like a robot's; all of them where none did."""
    times = sorted(row.created for row in rows)
    close = {
        row.pk
        for row in rows
        if bisect_right(times, row.created + CLOSE) - bisect_left(times, row.created - CLOSE) > CROWD
    }
    return close or {row.pk for row in rows}
