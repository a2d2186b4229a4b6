"""A stored build to a build file and back, complete: revisions, journal, orders, sign-ups, people by e-mail.

The tables travel in the file's ``history``. Rows keep their ``id`` only to point at each other within the
file; on the way in they get new ones, so a build can be taken over into a database that holds others.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from itertools import pairwise
from typing import Any

import msgspec
from django.core.exceptions import ValidationError
from django.db import IntegrityError, models, transaction

from buildout.builds.web.models import Build, Comment, JournalEntry, Member, Proposal, Revision, Role
from buildout.builds.web.services import office
from buildout.changes.engine.build_file import FORMAT, VERSION, EarlierRevision
from buildout.changes.engine.chain import ChainResult
from buildout.changes.engine.problems import BuildFileProblems, Problem, pointer
from buildout.changes.engine.reading import check_commitments_of, check_plan, read_build_file
from buildout.changes.web.rows import plain, value_of
from buildout.changes.web.services import commitments_of
from buildout.changes.web.stored import load_plain, plain_history
from buildout.people.web.models import User
from buildout.rooms.web.models import ReadingPhoto
from buildout.units.value import from_json, to_plain
from estimating.web.asking_models import Call, Paper, Request, RequestLetter, Sample
from estimating.web.models import (
    Approval,
    ChangeOrder,
    Claim,
    CutMade,
    Delivery,
    DeliveryPhoto,
    LedgerEntry,
    Order,
    ReadyMadeOffer,
    SentDocument,
)
from scheduling.web.models import DayMark, DayPerson, DayPhoto, Notice, ShareLink, Signature, SignUp, Swap

LARGEST_IMPORT = 90_000_000
"""Bytes; a build's tables grow with every revision kept."""

TABLES: tuple[tuple[str, type[models.Model], str], ...] = (
    ("build", Build, "pk"),
    ("members", Member, "build"),
    ("revisions", Revision, "build"),
    ("proposals", Proposal, "build"),
    ("journal", JournalEntry, "build"),
    ("comments", Comment, "build"),
    ("orders", Order, "build"),
    ("change_orders", ChangeOrder, "order__build"),
    ("sent_documents", SentDocument, "order__build"),
    ("approvals", Approval, "build"),
    ("deliveries", Delivery, "order__build"),
    ("delivery_photos", DeliveryPhoto, "delivery__order__build"),
    ("claims", Claim, "delivery__order__build"),
    ("ledger", LedgerEntry, "build"),
    ("ready_made_offers", ReadyMadeOffer, "build"),
    ("cuts_made", CutMade, "build"),
    ("calls", Call, "build"),
    ("requests", Request, "build"),
    ("request_letters", RequestLetter, "request__build"),
    ("samples", Sample, "build"),
    ("papers", Paper, "build"),
    ("reading_photos", ReadingPhoto, "build"),
    ("share_links", ShareLink, "build"),
    ("sign_ups", SignUp, "build"),
    ("signatures", Signature, "sign_up__build"),
    ("notices", Notice, "sign_up__build"),
    ("swaps", Swap, "asker__build"),
    ("day_marks", DayMark, "build"),
    ("day_people", DayPerson, "mark__build"),
    ("day_photos", DayPhoto, "mark__build"),
)
"""Name in the file, model, way to its build; what a row points at comes before it, but for ``build.current``."""

LEFT_OUT = {
    "changes.SystemComparison": "systems worked out beside each other; they are worked out again when asked for",
    "builds.LinkResult": "kept results of links; they are worked out again when needed",
    "rooms.TapeSession": "readings not proposed yet; they stay with the person who took them",
}
"""Tables that hang on a build and do not travel, and why."""


class ExportError(Exception):
    """There is nothing yet that a build file could hold."""


class ImportReport(msgspec.Struct):
    build: int
    name: str
    revisions: int
    new_people: list[str]
    new_links: int
    """Links whose secret was taken already, so that a new one was made."""
    again: int
    """Proposals handed to the worker once more."""
    tables: bool = True
    """False: the file held plans, orders and places alone, and nothing else could be taken over."""


# ---------------------------------------------------------------- out


def export_build(build: Build, *, history: bool = True) -> dict[str, Any]:
    """The whole build as a build file's JSON. Without ``history``: plan, commitments and earlier plans alone.

    Raises ``ExportError`` for a build that has no plan yet.
    """
    with transaction.atomic():
        revisions = list(build.revisions.order_by("number").defer("result"))
        current = next((r for r in revisions if r.pk == build.current_id), None)
        first = build.proposals.order_by("pk").first()
        if current is not None:
            document = current.document
        elif first is not None:
            document = first.document
        else:
            raise ExportError(f"Build {build.pk} has no plan yet; there is nothing to export.")
        found: dict[str, Any] = {
            "format": FORMAT,
            "version": VERSION,
            "plan": document,
            "commitments": _commitments(build, document),
        }
        if history:
            found["history"] = {name: list(_rows(build, model, way)) for name, model, way in TABLES}
            found["history"]["people"] = _people(found["history"])
        else:
            found["earlier"] = _earlier(revisions)
        return found


def _commitments(build: Build, document: dict[str, Any]) -> dict[str, Any]:
    """Orders and places as the chain takes them. What the plan no longer knows is in the tables alone."""
    found: dict[str, Any] = to_plain(commitments_of(build, document.get("currency", "USD")))
    try:
        plan = check_plan(document)
        check_commitments_of(plan, found)
    except BuildFileProblems as error:
        gone = {tuple(problem.pointer.split("/")[1:3]) for problem in error.problems}
        for table in ("orders", "charges", "sign_ups"):
            found[table] = [row for at, row in enumerate(found[table]) if (table, str(at)) not in gone]
    return found


def _earlier(revisions: list[Revision]) -> list[dict[str, Any]]:
    import jsonpatch

    steps = []
    for before, after in pairwise(revisions):
        patch = jsonpatch.make_patch(after.document, before.document).patch
        by = before.by.name if before.by else ""
        steps.append(to_plain(EarlierRevision(summary=before.summary, by=by, patch=patch)))
    return steps[::-1]


def _rows(build: Build, model: type[models.Model], way: str) -> Iterator[dict[str, Any]]:
    for row in model._base_manager.filter(**{way: build.pk}).order_by("pk"):
        found: dict[str, Any] = {}
        for field in model._meta.concrete_fields:
            raw = getattr(row, field.attname)
            if field.primary_key:
                found["id"] = plain(raw)
            elif field.related_model is Build:
                continue
            elif field.related_model is User:
                found[field.name] = None if raw is None else getattr(row, field.name).email
            else:
                found[field.name] = plain(raw)
        yield found


def _user_fields(model: type[models.Model]) -> list[str]:
    return [field.name for field in model._meta.concrete_fields if field.related_model is User]


def _people(tables: dict[str, list[dict[str, Any]]]) -> list[dict[str, Any]]:
    emails = {
        row[field] for name, model, _ in TABLES for row in tables[name] for field in _user_fields(model) if row[field]
    }
    return [
        {"email": user.email, "name": user.name} for user in User.objects.filter(email__in=emails).order_by("email")
    ]


# ---------------------------------------------------------------- in


def import_build(
    data: bytes,
    *,
    owner: User | None = None,
    on_revision: Callable[[int, str], None] = lambda number, summary: None,
    on_step: Callable[[int, str], None] = lambda number, name: None,
) -> ImportReport:
    """Make a build out of a file: from its tables where it has them, else by working its plans out.

    ``owner`` becomes an owner of it as well. Raises ``BuildFileProblems``, having written nothing.
    """
    file = read_build_file(data, limit=LARGEST_IMPORT)
    if not file.history:
        with transaction.atomic():
            build = Build.objects.create(name=file.plan.name)
            if owner is not None:
                Member.objects.create(build=build, user=owner, role=Role.OWNER)
            steps = plain_history(data)
            load_plain(build, file, steps, by=owner, on_revision=on_revision, on_step=on_step)
        return ImportReport(build.pk, file.plan.name, len(steps), [], 0, 0, tables=False)
    document = json.loads(data.decode("utf-8-sig"))
    try:
        with transaction.atomic():
            report = _Import(document).run()
            if owner is not None:
                Member.objects.get_or_create(build_id=report.build, user=owner, defaults={"role": Role.OWNER})
    except IntegrityError as error:
        message = f"Two rows of the tables claim the same place ({' '.join(str(error).split())})."
        raise BuildFileProblems([Problem(pointer="/history", message=message)]) from error
    for proposal in Proposal.objects.filter(build_id=report.build):
        office().start(proposal)
        report.again += 1
    return report


class _Import:
    """Reads the tables of one file. Everything wrong is gathered, then refused together."""

    def __init__(self, document: dict[str, Any]) -> None:
        self.plan = document["plan"]
        self.tables: dict[str, list[dict[str, Any]]] = document["history"]
        self.problems: list[Problem] = []
        self.made: dict[type[models.Model], dict[Any, Any]] = {}
        self.users: dict[str, User] = {}
        self.new_people: list[str] = []
        self.new_links = 0

    def run(self) -> ImportReport:
        known = [name for name, _, _ in TABLES] + ["people"]
        for name in self.tables:
            if name not in known:
                self._wrong(f'"{name}" is not a table of a build.', name, example=", ".join(known))
        if len(self.tables.get("build", [])) != 1:
            self._wrong('"build" must hold exactly one row.', "build", example='[{"name": "North hall"}]')
        self._refuse()
        self._people()
        build: Build | None = None
        for name, model, _ in TABLES:
            self.made[model] = {}
            for at, row in enumerate(self.tables.get(name, [])):
                made = self._row(name, at, model, row, build)
                if made is None:
                    continue
                self._secrets(made)
                self._refuse()
                made.save(force_insert=True)
                if isinstance(made, Build):
                    build = made
                self.made[model][row.get("id")] = made.pk
        assert build is not None  # noqa: S101 - one row was made sure of above
        self._current(build)
        self._refuse()
        revisions = len(self.tables.get("revisions", []))
        return ImportReport(build.pk, build.name, revisions, self.new_people, self.new_links, 0)

    def _wrong(self, message: str, *where: str | int, example: str = "") -> None:
        self.problems.append(Problem(pointer=pointer("history", *where), message=message, example=example))

    def _refuse(self) -> None:
        if self.problems:
            raise BuildFileProblems(self.problems)

    def _people(self) -> None:
        names = {str(row.get("email", "")).lower(): str(row.get("name", "")) for row in self.tables.get("people", [])}
        wanted = dict.fromkeys(
            str(row[field]).lower()
            for name, model, _ in TABLES
            for row in self.tables.get(name, [])
            for field in _user_fields(model)
            if row.get(field)
        )
        for email in wanted:
            user = User.objects.filter(email=email).first()
            if user is None:
                user = User(email=email, name=names.get(email) or email.split("@")[0])
                user.set_unusable_password()
                try:
                    user.clean_fields(exclude=["password"])
                except ValidationError as error:
                    self._wrong(f"{email!r} is not an e-mail address: {'; '.join(error.messages)}", "people")
                    continue
                user.save()
                self.new_people.append(email)
            self.users[email] = user
        self._refuse()

    def _row(
        self, name: str, at: int, model: type[models.Model], row: dict[str, Any], build: Build | None
    ) -> models.Model | None:
        before = len(self.problems)
        made = model()
        fields = {"id" if field.primary_key else field.name: field for field in model._meta.concrete_fields}
        for key in row:
            if key not in fields or fields[key].related_model is Build:
                self._wrong(f'"{key}" is not a field of this table.', name, at, key, example=", ".join(fields))
        if isinstance(made, SignUp) and "ref" not in row:
            made.ref = str(row.get("id"))  # files of older versions: the plan called helpers by their row
        unchecked = []
        for key, field in fields.items():
            if field.related_model is Build:
                setattr(made, field.attname, build.pk if build else None)
                unchecked.append(field.name)
            elif field.primary_key or key not in row:
                unchecked += [field.name] if field.primary_key else []
            elif field.related_model is not None:
                setattr(made, field.attname, self._target(name, at, key, field, row[key]))
                unchecked.append(field.name)
            else:
                try:
                    value = value_of(field, row[key])
                    setattr(made, field.attname, value)
                    if value is not None and value in field.empty_values:
                        unchecked.append(field.name)  # what a form must fill in may well be empty in a table
                except ValidationError as error:
                    self._wrong(f'"{key}": {"; ".join(error.messages)}', name, at, key)
                    unchecked.append(field.name)
        try:
            made.clean_fields(exclude=unchecked)
        except ValidationError as error:
            for key, messages in error.message_dict.items():
                self._wrong(f'"{key}": {" ".join(messages)}', name, at, key)
        self._meaning(name, at, made)
        return made if len(self.problems) == before else None

    def _target(self, name: str, at: int, key: str, field: Any, raw: Any) -> Any:
        if raw is None:
            if not field.null:
                self._wrong(f'"{key}" must point at a row.', name, at, key)
            return None
        if field.related_model is User:
            user = self.users.get(str(raw).lower())
            return user.pk if user is not None else None
        if name == "build":
            return None  # its revisions come later
        found = self.made.get(field.related_model, {}).get(raw)
        if found is None:
            self._wrong(f'"{key}" points at row {raw!r}, which the file does not hold.', name, at, key)
        return found

    def _meaning(self, name: str, at: int, made: models.Model) -> None:
        """What a column cannot check: plans hold together, results can be opened."""
        if isinstance(made, Revision | Proposal):
            try:
                check_plan(made.document)
            except BuildFileProblems as error:
                for problem in error.problems[:5]:
                    self._wrong(problem.message, name, at, "document", example=problem.example)
        if isinstance(made, Revision):
            try:
                from_json(ChainResult, made.result)
            except (msgspec.DecodeError, ValueError) as error:
                self._wrong(f'"result" cannot be opened: {error}.', name, at, "result")
        if isinstance(made, Proposal):
            # Its impact speaks of rows by number; those are new, so it is worked out again.
            made.state, made.result, made.impact, made.task_id = Proposal.State.WAITING, "", "", ""
            made.step, made.step_name, made.picked_up, made.finished, made.problem = 0, "", None, None, ""

    def _secrets(self, made: models.Model) -> None:
        """A link's secret stays what it was, unless another build here has it already."""
        for field in made._meta.concrete_fields:
            if field.unique and not field.primary_key and field.has_default():
                held = type(made)._base_manager.filter(**{field.name: getattr(made, field.attname)})
                if held.exists():
                    setattr(made, field.attname, field.get_default())
                    # Only guardians of minors were ever given theirs.
                    self.new_links += field.name != "guardian_token" or getattr(made, "minor", False)
        if isinstance(made, SignUp) and SignUp.objects.filter(request_key=made.request_key).exists():
            made.request_key = SignUp._meta.get_field("token").get_default()

    def _current(self, build: Build) -> None:
        raw = self.tables["build"][0].get("current")
        if raw is None:
            return
        found = self.made[Revision].get(raw)
        current = Revision.objects.get(pk=found) if found is not None else None
        if current is None:
            self._wrong(
                f'"current" points at revision row {raw!r}, which the file does not hold.', "build", 0, "current"
            )
        elif current.document != self.plan:
            self.problems.append(
                Problem(
                    pointer="/plan",
                    message="The plan is not the one of the current revision in the tables. To import a plan edited "
                    'by hand, take "history" out of the file; to import the build as exported, leave "plan" alone.',
                )
            )
        else:
            build.current = current
            build.save(update_fields=["current"])
