"""What every app may ask of a stored build: who may see it, what it holds, how to propose an edit.

The chain lives on the top floor, which may not be imported from here; it registers itself as the
``Office`` when Django starts.
"""

from __future__ import annotations

import copy
from collections.abc import Callable, Mapping
from datetime import date, datetime
from typing import Any, Protocol, TypeVar
from zoneinfo import ZoneInfo

import msgspec
from django.http import Http404
from django.utils import timezone

from buildout.builds.web.models import Build, JournalEntry, Member, Proposal, Revision, Role
from buildout.people.web.models import User
from buildout.units.lengths import UnitSystem
from buildout.units.value import from_json, from_plain

T = TypeVar("T")


class Office(Protocol):
    """What the top floor does for the floors below."""

    def check(self, document: Mapping[str, Any]) -> None:
        """Raise ``DocumentProblems`` when a plan does not hold together."""

    def start(self, proposal: Proposal) -> None:
        """Have a proposal worked out, by the worker or at once."""


class Problem(msgspec.Struct, frozen=True):
    """Something wrong in a document, at a JSON pointer, with an example of what would be right."""

    pointer: str
    message: str
    example: str = ""


class DocumentProblems(ValueError):
    """A document that does not hold together; ``problems`` says where and why."""

    def __init__(self, problems: list[Problem]) -> None:
        super().__init__("; ".join(f"{p.pointer}: {p.message}" for p in problems))
        self.problems = problems


_office: Office | None = None


def open_office(office: Office) -> None:
    global _office
    _office = office


def office() -> Office:
    if _office is None:
        raise RuntimeError("No office is open: is buildout.changes.web installed?")
    return _office


def build_for(user: User, build_id: int, *roles: str) -> tuple[Build, Member]:
    """The build and the person's part in it, or Http404: others must not learn that it exists.

    ``roles`` lists who may come in; empty means every member.
    """
    known = Member.objects.select_related("build", "build__current").filter(user_id=user.pk)
    member = known.filter(build_id=build_id).first() if build_id < 2**63 else None  # no column holds more
    if member is None or (roles and member.role not in roles):
        raise Http404("No such build, or not for you")
    return member.build, member


def owner_build(user: User, build_id: int) -> Build:
    return build_for(user, build_id, Role.OWNER)[0]


class Sheet:
    """One revision opened for reading. Parts are decoded only when asked for, and once: nobody edits them."""

    def __init__(self, revision: Revision) -> None:
        self.revision = revision
        self.document: dict[str, Any] = revision.document
        self._raw: dict[str, msgspec.Raw] | None = None
        self._opened: dict[tuple[str, str, Any], Any] = {}

    def part(self, name: str, kind: type[T], otherwise: T | None = None) -> T:
        """Part ``name`` of the result (``award``, ``schedule`` …) as its type.

        ``otherwise`` stands in for a part that results of earlier versions did not have.
        """
        if self._raw is None:
            self._raw = msgspec.json.decode(self.revision.result, type=dict[str, msgspec.Raw])
        if otherwise is not None and name not in self._raw:
            return otherwise
        raw = self._raw[name]
        return self._once("part", name, kind, lambda: from_json(kind, bytes(raw)))

    def section(self, name: str, kind: type[T]) -> T:
        """Section ``name`` of the plan (``rooms``, ``quotes`` …) as its type."""
        return self._once("section", name, kind, lambda: from_plain(kind, self.document.get(name, [])))

    def _once(self, where: str, name: str, kind: type[T], read: Callable[[], T]) -> T:
        key = (where, name, kind)
        if key not in self._opened:
            self._opened[key] = read()
        found: T = self._opened[key]
        return found

    @property
    def units(self) -> UnitSystem:
        return "metric" if self.document.get("units") == "metric" else "feet-inches"

    @property
    def currency(self) -> str:
        return str(self.document.get("currency", "USD"))

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.document.get("time_zone", "UTC"))

    @property
    def as_of(self) -> date:
        return date.fromisoformat(self.document["as_of"])

    def today(self) -> date:
        """The calendar day at the build, whatever the server's clock says."""
        return timezone.now().astimezone(self.zone).date()

    def local(self, moment: datetime) -> datetime:
        return moment.astimezone(self.zone)


def sheet_of(build: Build) -> Sheet:
    """The current revision opened. Raises Http404 while the first numbers are still being worked out."""
    if build.current is None:
        raise Http404("The first numbers of this build are still being worked out")
    return Sheet(build.current)


def editable(build: Build) -> dict[str, Any]:
    """A copy of the current plan to edit and hand to ``propose``."""
    return copy.deepcopy(sheet_of(build).document)


def propose(build: Build, user: User, document: dict[str, Any], summary: str) -> Proposal:
    """Have an edited plan worked out beside the current one; nothing people rely on changes.

    Raises ``DocumentProblems`` (and stores nothing) when the plan does not hold together.
    Answer with ``redirect(proposal)``: that page shows progress, then the impact.
    """
    office().check(document)
    proposal = Proposal.objects.create(
        build=build, base=build.current, document=document, summary=summary[:300], by=user
    )
    office().start(proposal)
    return proposal


def note(
    build: Build,
    kind: str,
    text: str,
    *,
    by: User | None = None,
    by_name: str = "",
    why: str = "",
    revision: Revision | None = None,
    before: Mapping[str, Any] | None = None,
    after: Mapping[str, Any] | None = None,
) -> JournalEntry:
    """Write one line into the journal."""
    return JournalEntry.objects.create(
        build=build,
        kind=kind,
        text=text[:400],
        by=by,
        by_name=by_name or (by.name if by else ""),
        why=why,
        revision=revision,
        before=dict(before or {}),
        after=dict(after or {}),
    )
