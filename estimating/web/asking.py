"""What the owner does with suppliers before there is a quote: calls, requests, samples. All of it is fact."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any, NamedTuple

from django.db import transaction
from django.db.models import Max
from django.template.loader import render_to_string
from django.utils import timezone

from buildout.builds.web import services as builds
from buildout.builds.web.documents import pdf
from buildout.builds.web.models import Build
from buildout.people.web.models import User
from buildout.units.dates import date_text
from buildout.units.value import to_plain
from buildout.units.words import counted, some_of
from estimating.engine.rfq import AskedLine, Rfq, Site, general_terms, rfq_text
from estimating.engine.types import Supplier
from estimating.web.asking_models import Call, Request, RequestLetter, Sample


class AttachedDrawing(NamedTuple):
    """A drawing that goes with a request."""

    title: str
    svgs: list[str]
    pieces: list[str]
    """Of a cut list: every piece with its size."""
    long: bool = False
    """Lengths and rolls take the whole width of the page."""


@transaction.atomic
def ask(
    build: Build, user: User, lines: list[AskedLine], suppliers: Sequence[Supplier], site: Site, reply_by: date,
    drawings: Sequence[AttachedDrawing],
) -> Request:  # fmt: skip
    """Send the same request to several suppliers: each letter is frozen here. Samples asked for are noted."""
    build = Build.objects.select_for_update().get(pk=build.pk)
    sheet = builds.sheet_of(build)
    today = sheet.today()
    last = Request.objects.filter(build=build).aggregate(last=Max("number"))["last"] or 0
    request = Request.objects.create(
        build=build, number=last + 1, by=user, reply_by=reply_by, site=to_plain(site), revision=sheet.revision,
        items=[
            {"item": line.item, "name": line.name, "quantity": f"{line.quantity:f}", "unit": line.unit}
            for line in lines
        ],
    )  # fmt: skip
    for supplier in suppliers:
        rfq = Rfq(
            name=request.name, build=build.name, day=today, reply_by=reply_by, to=supplier.name,
            attention=supplier.contact, lines=lines, terms=general_terms(site, sheet.currency, reply_by),
            drawings=[drawing.title for drawing in drawings], buyer=user.name,
        )  # fmt: skip
        body = render_to_string("estimating/request_sent.html", {"rfq": rfq, "drawings": drawings})
        RequestLetter.objects.create(
            request=request, supplier=supplier.id, supplier_name=supplier.name, body=body, text=rfq_text(rfq)
        )
        for line in lines:
            if line.sample:
                ask_for_sample(build, supplier.id, supplier.name, line.name, today, item=line.item)
    names = some_of([supplier.name for supplier in suppliers])
    what = f"{request.name} for {counted(len(lines), 'item')} sent to {names}, answers by {date_text(reply_by)}"
    builds.note(build, "quote", what, by=user)
    return request


def pdf_of(letter: RequestLetter) -> bytes | None:
    """The letter as PDF, made once; None where PDF files cannot be made."""
    if letter.pdf is None:
        made = pdf("estimating/sent_paper.html", {"sent": letter, "build": letter.request.build})
        if made is None:
            return None
        # Of two people who ask at the same moment the first one's bytes are kept for both.
        RequestLetter.objects.filter(pk=letter.pk, pdf=None).update(pdf=made)
        letter.refresh_from_db(fields=["pdf"])
    return bytes(letter.pdf or b"")


def note_answer(letter: RequestLetter, user: User, answer: str, day: date, quote: str = "") -> None:
    """What one supplier answered; a later word replaces it."""
    letter.answer, letter.quote = answer, quote
    letter.answered = None if answer == RequestLetter.Answer.OPEN else day
    letter.save(update_fields=["answer", "quote", "answered"])
    words = {"open": "has not answered after all", "quoted": "answered", "declined": "will not quote"}[answer]
    builds.note(letter.request.build, "quote", f"{letter.supplier_name} {words}: {letter.request.name}", by=user)


def note_call(build: Build, user: User, supplier: Supplier, typed: dict[str, Any]) -> Call:
    """Write a call down. A new one settles the steps agreed before with that supplier, when told to."""
    if typed.pop("settles", False):
        Call.objects.filter(build=build, supplier=supplier.id, done=None).update(done=timezone.now())
    return Call.objects.create(build=build, by=user, supplier=supplier.id, supplier_name=supplier.name, **typed)


def steps_due(build: Build, by: date | None = None) -> list[Call]:
    """Next steps that are still to be done, soonest first; ``by``: up to that day."""
    found = Call.objects.filter(build=build, done=None).exclude(due=None)
    if by is not None:
        found = found.filter(due__lte=by)
    return list(found.order_by("due", "pk"))


def ask_for_sample(build: Build, supplier: str, name: str, what: str, day: date, item: str = "") -> Sample:
    return Sample.objects.create(
        build=build, supplier=supplier, supplier_name=name, item=item, name=what[:120], asked=day
    )
