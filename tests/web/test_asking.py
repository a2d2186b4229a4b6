"""Suppliers' pages, calls with their next step, requests for quotation as sent, samples."""

from __future__ import annotations

from collections.abc import Callable
from copy import deepcopy
from datetime import date
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from buildout.builds.web.models import Build, JournalEntry, Proposal
from buildout.people.web.models import User
from estimating.web.asking_models import Call, Request, RequestLetter, Sample

ClientOf = Callable[[User | None], Client]
Proposed = Callable[[Build], dict[str, Any]]
pytestmark = pytest.mark.django_db


def url(name: str, build: Build, *args: Any) -> str:
    return reverse(f"estimating:{name}", args=[build.pk, *args])


def ask(browser: Client, build: Build, **more: Any) -> Any:
    """Send a request for base foam and joint tape to two suppliers."""
    page = browser.get(url("new-request", build))
    places = {row.line.item: row.prefix for row in page.context["lines"]}
    typed = {
        "reply_by": "2027-02-05", "suppliers": ["cloudberry", "sedgewhistle"], "drawings": ["cover:hall"],
        "place": "14 Galley Lane", "unloading": "lift-gate", "door": "roller door", "contact": "Orla, 555 0100",
        f"{places['base-51mm']}-asked": "on", f"{places['base-51mm']}-wish": "charcoal",
        f"{places['base-51mm']}-sample": "on", f"{places['joint-tape']}-asked": "on",
    }  # fmt: skip
    return browser.post(url("new-request", build), typed | more)


class TestWho:
    @pytest.mark.parametrize(
        ("name", "args"),
        [("supplier", ("cloudberry",)), ("edit-supplier", ("cloudberry",)), ("new-request", ()), ("request", (1,)),
         ("request-letter", (1, "cloudberry")), ("request-text", (1, "cloudberry"))],
    )  # fmt: skip
    def test_for_the_owner_alone(
        self, name: str, args: tuple[Any, ...], client_of: ClientOf, demo_build: Build, owner: User, partner: User,
        lead: User, stranger: User,
    ) -> None:  # fmt: skip
        assert ask(client_of(owner), demo_build).status_code == 302
        address = url(name, demo_build, *args)
        assert client_of(owner).get(address + "?print").status_code == 200
        for other in (partner, lead, stranger):
            assert client_of(other).get(address).status_code == 404
        assert client_of(owner).delete(address).status_code == 405

    @pytest.mark.parametrize(
        ("name", "args"),
        [("note-call", ("cloudberry",)), ("ask-sample", ("cloudberry",)), ("request-answer", (1, "cloudberry"))],
    )
    def test_what_is_written_is_posted_by_the_owner(
        self, name: str, args: tuple[Any, ...], client_of: ClientOf, demo_build: Build, owner: User, partner: User
    ) -> None:
        ask(client_of(owner), demo_build)
        assert client_of(owner).get(url(name, demo_build, *args)).status_code == 405
        assert client_of(partner).post(url(name, demo_build, *args), {}).status_code == 404

    def test_queries(self, client_of: ClientOf, demo_build: Build, owner: User, django_assert_num_queries: Any) -> None:
        browser = client_of(owner)
        for _ in range(2):
            ask(browser, demo_build)
        browser.get(url("quotes", demo_build))  # what was said to the owner is said
        # session, person, membership with build and revision, then what the page is about
        for name, args, queries in (
            ("supplier", ("cloudberry",), 7), ("new-request", (), 4), ("request", (1,), 6), ("quotes", (), 9),
        ):  # fmt: skip
            with django_assert_num_queries(queries, info=name):
                browser.get(url(name, demo_build, *args))


class TestRequest:
    def test_each_supplier_gets_the_same_text(self, client_of: ClientOf, demo_build: Build, owner: User) -> None:
        browser = client_of(owner)
        answer = ask(browser, demo_build)
        assert answer.status_code == 302
        request = Request.objects.get()
        assert (request.name, [line["item"] for line in request.items]) == ("RFQ-1", ["base-51mm", "joint-tape"])
        letters = {letter.supplier: letter for letter in request.letters.all()}
        assert sorted(letters) == ["cloudberry", "sedgewhistle"]
        one, other = letters["cloudberry"].text, letters["sedgewhistle"].text
        assert one.replace("Cloudberry Foam Converters", "S").replace("Wilf Tansley", "P") == other.replace(
            "Sedgewhistle Foam & Felt", "S"
        ).replace("Maud Ferrybank", "P")
        assert "charcoal" in one
        assert "cover diagram, revision 1" in one
        assert Sample.objects.filter(item="base-51mm").count() == 2
        assert "RFQ-1 for 2 items sent to" in JournalEntry.objects.latest("pk").text
        assert ask(browser, demo_build).url.endswith("/requests/2/")

    def test_the_page_says_what_the_text_says(self, client_of: ClientOf, demo_build: Build, owner: User) -> None:
        from html import unescape
        from re import sub

        browser = client_of(owner)
        ask(browser, demo_build)
        page = browser.get(url("request-letter", demo_build, 1, "cloudberry") + "?print").content.decode()
        words = " ".join(unescape(sub(r"<[^>]+>", " ", page)).split())
        text = browser.get(url("request-text", demo_build, 1, "cloudberry")).content.decode()
        for line in text.splitlines():
            for part in line.strip("- ").replace("Please state: ", "").split(": ", 1):
                assert " ".join(part.split()) in words, part

    def test_it_stays_as_it_was_sent(self, client_of: ClientOf, demo_build: Build, owner: User, pango: None) -> None:
        from io import BytesIO

        from pypdf import PdfReader

        browser = client_of(owner)
        ask(browser, demo_build)
        address = url("request-letter", demo_build, 1, "cloudberry")
        first = browser.get(address)
        assert first["Content-Type"] == "application/pdf"
        assert demo_build.current is not None
        demo_build.current.document = deepcopy(demo_build.current.document)  # other tests read it too
        demo_build.current.document["suppliers"][0]["name"] = "Renamed since"
        demo_build.current.save()
        assert browser.get(address).content == first.content
        words = " ".join(page.extract_text() for page in PdfReader(BytesIO(first.content)).pages)
        assert "Request for quotation RFQ-1" in words
        assert "Stress at 25 % compression" in words
        assert len(PdfReader(BytesIO(first.content)).pages) >= 2, "the cover diagram has a page of its own"

    @pytest.mark.parametrize(
        ("typed", "said"),
        [
            ({"reply_by": "2026-01-02"}, "This day is past"),
            ({"reply_by": "next week"}, "Write a day such as"),
            ({"suppliers": []}, "Tick at least one supplier"),
            ({"suppliers": ["nobody"]}, "Select a valid choice"),
            ({"unloading": "by drone"}, "Select a valid choice"),
        ],
    )
    def test_what_is_wrong_is_said_and_what_was_typed_is_kept(
        self, typed: dict[str, Any], said: str, client_of: ClientOf, demo_build: Build, owner: User
    ) -> None:
        answer = ask(client_of(owner), demo_build, **typed)
        page = answer.content.decode()
        assert answer.status_code == 422
        assert said in page
        assert "charcoal" in page
        assert "Orla, 555 0100" in page
        assert not Request.objects.exists()

    def test_nothing_ticked(self, client_of: ClientOf, demo_build: Build, owner: User) -> None:
        typed = {"reply_by": "2027-02-05", "suppliers": ["cloudberry"], "unloading": "dock", "note": "kept note"}
        answer = client_of(owner).post(url("new-request", demo_build), typed)
        assert answer.status_code == 422
        assert "tick at least one item" in answer.content.decode()
        assert "kept note" in answer.content.decode()

    def test_unquoted_items_are_ticked(self, client_of: ClientOf, demo_build: Build, owner: User) -> None:
        page = client_of(owner).get(url("new-request", demo_build) + "?unquoted")
        ticked = [row.line.item for row in page.context["lines"] if row.initial["asked"]]
        assert ticked
        assert "base-51mm" not in ticked

    def test_answered_and_not_answered(
        self, client_of: ClientOf, demo_build: Build, owner: User, queued: None, proposed: Proposed
    ) -> None:
        browser = client_of(owner)
        ask(browser, demo_build)
        address = url("request-answer", demo_build, 1, "sedgewhistle")
        assert browser.post(address, {"answer": "declined"}).status_code == 302
        assert "will not quote" in browser.get(url("request", demo_build, 1)).content.decode()
        browser.post(address, {"answer": "perhaps"})
        assert RequestLetter.objects.get(supplier="sedgewhistle").answer == "declined"
        entry = url("new-quote", demo_build) + "?request=1&supplier=cloudberry"
        page = browser.get(entry)
        assert [line.initial.get("item") for line in page.context["lines"]][:2] == ["base-51mm", "joint-tape"]
        data = {
            "supplier": "cloudberry", "currency": "XXX", "quoted": "2027-01-18", "valid_until": "2027-03-01",
            "lead_days_low": "10", "lead_days_likely": "12", "lead_days_high": "18", "lines": "4", "discounts": "1",
            "freight-form": "flat", "freight-amount": "90", "freight-service": "kerbside", "freight-per": "100 lb",
            "line-0-item": "base-51mm", "line-0-unit": "sheet", "line-0-form": "all units", "line-0-quoted_for": "84",
            "line-0-breaks": "1–23: 91.40; 24–59: 82.10; 60+: 74.65", "line-0-mass_unit": "lb",
            "line-1-item": "joint-tape", "line-1-unit": "roll", "line-1-form": "all units", "line-1-breaks": "",
        }  # fmt: skip
        sent = browser.post(entry, data)
        assert sent.status_code == 302, sent.content.decode()
        quote = proposed(demo_build)["quotes"][-1]
        assert [line["item"] for line in quote["lines"]] == ["base-51mm"], "no price for the tape: not quoted"
        assert quote["lines"][0]["quoted_for"] == "84"
        letter = RequestLetter.objects.get(supplier="cloudberry")
        assert (letter.answer, letter.quote) == ("quoted", quote["id"])


class TestCalls:
    def test_written_down_and_its_next_step_comes_up(self, client_of: ClientOf, demo_build: Build, owner: User) -> None:
        browser = client_of(owner)
        typed = {"spoke_with": "Wilf", "said": "Phoned, will call back Tuesday", "next_step": "Ring again",
                 "due": "2027-01-19"}  # fmt: skip
        assert browser.post(url("note-call", demo_build, "cloudberry"), typed).status_code == 302
        call = Call.objects.get()
        assert (call.supplier_name, call.due, call.done) == ("Cloudberry Foam Converters", date(2027, 1, 19), None)
        assert "Ring again" in browser.get(url("quotes", demo_build)).content.decode()
        overview = reverse("changes:overview", args=[demo_build.pk])
        assert "Ring today" not in browser.get(overview).content.decode(), "it is for tomorrow"
        Call.objects.update(due=date(2027, 1, 15))
        assert "overdue" in browser.get(url("supplier", demo_build, "cloudberry")).content.decode()
        assert "Ring today" in browser.get(overview).content.decode()
        assert browser.post(url("step-done", demo_build, call.pk)).status_code == 302
        assert "Ring today" not in browser.get(overview).content.decode()
        assert "Phoned, will call back" in browser.get(url("supplier", demo_build, "cloudberry")).content.decode()

    def test_a_later_call_settles_what_was_agreed(self, client_of: ClientOf, demo_build: Build, owner: User) -> None:
        browser = client_of(owner)
        address = url("note-call", demo_build, "cloudberry")
        browser.post(address, {"said": "a", "next_step": "Ring again", "due": "2027-01-19"})
        browser.post(address, {"said": "b", "settles": "on"})
        assert [call.done is None for call in Call.objects.order_by("pk")] == [False, True]

    @pytest.mark.parametrize(
        ("typed", "said"),
        [
            ({"said": ""}, "Write what was said"),
            ({"due": "2027-01-19", "next_step": ""}, "Say what is to happen"),
            ({"due": "", "next_step": "ring"}, "Say on which day"),
            ({"due": "2027-01-02", "next_step": "ring"}, "This day is past"),
        ],
    )
    def test_what_is_wrong(
        self, typed: dict[str, str], said: str, client_of: ClientOf, demo_build: Build, owner: User
    ) -> None:
        whole = {"said": "kept words", "spoke_with": "kept name"} | typed
        answer = client_of(owner).post(url("note-call", demo_build, "cloudberry"), whole)
        assert answer.status_code == 422
        assert said in answer.content.decode()
        assert "kept name" in answer.content.decode()
        assert not Call.objects.exists()

    def test_of_another_build_nothing_is_done(self, client_of: ClientOf, demo_build: Build, owner: User) -> None:
        assert client_of(owner).post(url("step-done", demo_build, 999)).status_code == 404
        assert client_of(owner).post(url("note-call", demo_build, "nobody"), {"said": "x"}).status_code == 404


class TestSamples:
    def test_asked_for_and_received(self, client_of: ClientOf, demo_build: Build, owner: User) -> None:
        browser = client_of(owner)
        typed = {"what": "Top foam, grey", "asked": "2027-01-11"}
        assert browser.post(url("ask-sample", demo_build, "cloudberry"), typed).status_code == 302
        sample = Sample.objects.get()
        assert "Samples that have not come" in browser.get(url("quotes", demo_build)).content.decode()
        came = url("sample-came", demo_build, sample.pk)
        name = f"sample-{sample.pk}"
        early = browser.post(came, {f"{name}-received": "2027-01-02", f"{name}-found": "kept words"})
        assert early.status_code == 422
        assert "cannot have come earlier" in early.content.decode()
        assert "kept words" in early.content.decode()
        late = browser.post(came, {f"{name}-received": "2027-05-02"})
        assert "still to come" in late.content.decode()
        assert browser.post(came, {f"{name}-received": "2027-01-18", f"{name}-found": "soft"}).status_code == 302
        sample.refresh_from_db()
        assert (sample.received, sample.found) == (date(2027, 1, 18), "soft")
        assert "Samples that have not come" not in browser.get(url("quotes", demo_build)).content.decode()

    def test_of_nothing(self, client_of: ClientOf, demo_build: Build, owner: User) -> None:
        answer = client_of(owner).post(url("ask-sample", demo_build, "cloudberry"), {"asked": "2027-01-11"})
        assert answer.status_code == 422
        assert "Say what of" in answer.content.decode()


class TestTerms:
    def test_more_people_and_ways_of_delivery(
        self, client_of: ClientOf, demo_build: Build, owner: User, queued: None, proposed: Proposed
    ) -> None:
        browser = client_of(owner)
        address = url("edit-supplier", demo_build, "cloudberry")
        typed = {
            "name": "Cloudberry Foam Converters", "services": ["kerbside", "dock"], "usual_lead_days": "15",
            "contacts": "2", "contact-0-name": "Wilf", "contact-0-about": "dispatch", "contact-0-phone": "555-0107",
            "contact-1-name": "",
        }  # fmt: skip
        assert browser.post(address, typed).status_code == 302
        supplier = next(s for s in proposed(demo_build)["suppliers"] if s["id"] == "cloudberry")
        assert supplier["contacts"] == [{"name": "Wilf", "about": "dispatch", "phone": "555-0107"}]
        assert (supplier["services"], supplier["usual_lead_days"]) == (["kerbside", "dock"], 15)

    def test_a_telephone_without_a_name(self, client_of: ClientOf, demo_build: Build, owner: User) -> None:
        typed = {"name": "C", "contacts": "1", "contact-0-phone": "555-0107"}
        answer = client_of(owner).post(url("edit-supplier", demo_build, "cloudberry"), typed)
        assert answer.status_code == 422
        assert "Say who this is" in answer.content.decode()
        assert "555-0107" in answer.content.decode()
        assert not Proposal.objects.exists()
