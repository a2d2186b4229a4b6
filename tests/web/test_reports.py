"""Fire and emission documents of products: attached, seen where they count, replaced, taken off again."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from io import BytesIO
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from PIL import Image

from buildout.builds.web.models import Build
from buildout.people.web.models import User
from estimating.engine.screening import burning_goods
from estimating.engine.types import FoldAwaySystem, Product
from estimating.web.asking_models import Paper
from estimating.web.reports import reports_on

pytestmark = pytest.mark.django_db
ClientOf = Callable[[User | None], Client]
PDF = b"%PDF-1.7\n1 0 obj<<>>endobj\ntrailer<<>>\n%%EOF\n"


def url(name: str, build: Build, *args: Any) -> str:
    return reverse(f"estimating:{name}", args=[build.pk, *args])


def send(
    browser: Client, build: Build, about: str = "fire", product: str = "base-51mm", data: bytes = PDF,
    name: str = "report.pdf", **more: str,
) -> Any:  # fmt: skip
    file = {"file": SimpleUploadedFile(name, data)} if data is not None else {}
    return browser.post(url("attach-report", build, product, about), file | more)


def goods(build: Build, name: str = "base-51mm") -> Product:
    from buildout.builds.web.services import sheet_of

    return next(p for p in sheet_of(build).section("products", list[Product]) if p.id == name)


def states(build: Build, name: str = "base-51mm") -> dict[str, str]:
    return {report.about: report.state for report in reports_on(build, [goods(build, name)])[name]}


def test_attached_seen_opened_replaced(client_of: ClientOf, demo_build: Build, owner: User) -> None:
    browser = client_of(owner)
    assert set(states(demo_build).values()) <= {"missing", "named, paper missing"}
    assert send(browser, demo_build, dated="2026-03-09").status_code == 302
    paper = Paper.objects.get()
    assert (paper.product, paper.about, paper.dated, paper.by) == ("base-51mm", "fire", date(2026, 3, 9), owner)
    assert states(demo_build)["fire"] == "attached"
    opened = url("paper-file", demo_build, paper.pk)
    for page in (
        browser.get(url("product", demo_build, "base-51mm")), browser.get(url("screening", demo_build, "hall")),
    ):  # fmt: skip
        text = page.content.decode()
        assert opened in text
        assert "9 Mar 2026" in text
        assert "missing" in text  # the emission document still is
    assert "Fire document: attached" in browser.get(url("systems", demo_build)).content.decode()
    file = browser.get(opened)
    assert (file["Content-Type"], file["X-Content-Type-Options"], file.content) == ("application/pdf", "nosniff", PDF)
    assert demo_build.journal.filter(text__contains="fire document attached: report.pdf", by=owner).exists()

    newer = BytesIO()
    Image.new("RGB", (40, 30), "white").save(newer, "JPEG")
    assert send(browser, demo_build, data=newer.getvalue(), name="scan.jpg").status_code == 302
    text = browser.get(url("product", demo_build, "base-51mm")).content.decode()
    assert "scan.jpg" in text
    assert "report.pdf" not in text
    assert Paper.objects.count() == 2  # the old one is kept behind it
    assert browser.post(url("report-off", demo_build, "base-51mm", "fire")).status_code == 302
    assert Paper.objects.get(name="scan.jpg").product == ""
    assert "scan.jpg" in browser.get(url("quotes", demo_build)).content.decode()
    assert "report.pdf" in browser.get(url("product", demo_build, "base-51mm")).content.decode()


def test_reports_are_no_quotes(client_of: ClientOf, demo_build: Build, owner: User) -> None:
    browser = client_of(owner)
    answer = send(browser, demo_build, name="flame-test.pdf")
    assert "flame-test.pdf is attached" in browser.get(answer["Location"]).content.decode()
    assert "flame-test.pdf" not in browser.get(url("quotes", demo_build)).content.decode()
    there = browser.get(url("paper", demo_build, Paper.objects.get().pk))
    assert there["Location"] == url("product", demo_build, "base-51mm")


@pytest.mark.parametrize(
    ("data", "more", "field", "says"),
    [
        (b"item;price\nfoam;3\n", {}, "file", "neither a PDF nor a JPEG or PNG"),
        (b"MZ\x90\0\3\0\0\0", {}, "file", "Neither a PDF nor"),
        (PDF[:30], {}, "file", "cut off"),
        (b"", {}, "file", "empty"),
        (None, {}, "file", "Choose the file"),
        (PDF, {"dated": "2031-01-01"}, "dated", "still to come"),
        (PDF, {"dated": "March"}, "dated", "such as 2027-03-13"),
    ],
)
def test_files_that_are_no_report(
    data: Any, more: dict[str, str], field: str, says: str, client_of: ClientOf, demo_build: Build, owner: User
) -> None:
    answer = send(client_of(owner), demo_build, data=data, **more)
    assert answer.status_code == 422
    assert says in answer.context["form"].errors[field][0]
    assert not Paper.objects.exists()


def test_a_file_too_large_is_refused(
    client_of: ClientOf, demo_build: Build, owner: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("estimating.web.papers.LARGEST_PAPER", 20)
    answer = send(client_of(owner), demo_build)
    assert answer.status_code == 422
    assert "12 MB is the most" in answer.content.decode()


def test_for_the_owner_alone(
    client_of: ClientOf, demo_build: Build, owner: User, partner: User, lead: User, stranger: User
) -> None:
    attach, off = (url(name, demo_build, "base-51mm", "fire") for name in ("attach-report", "report-off"))
    for other in (partner, lead, stranger):
        assert client_of(other).get(attach).status_code == 404
        assert send(client_of(other), demo_build).status_code == 404
        assert client_of(other).post(off).status_code == 404
    assert client_of(None).get(attach).status_code == 302
    browser = client_of(owner)
    assert browser.get(attach).status_code == 200
    assert browser.delete(attach).status_code == 405
    assert browser.get(off).status_code == 405
    assert browser.get(url("attach-report", demo_build, "base-51mm", "horoscope")).status_code == 404
    assert browser.get(url("attach-report", demo_build, "nope", "fire")).status_code == 404
    assert not Paper.objects.exists()
    send(browser, demo_build)
    secret = url("paper-file", demo_build, Paper.objects.get().pk)
    for other in (partner, lead, stranger):
        assert client_of(other).get(secret).status_code == 404


def test_which_goods_papers_count_for(demo_build: Build) -> None:
    from buildout.builds.web.services import sheet_of
    from estimating.engine.types import FloorSystem

    floors = {s.id: s for s in sheet_of(demo_build).section("floor_systems", list[FloorSystem])}
    assert burning_goods(floors["two-layer-51mm"]) == ["base-51mm", "top-54in", "cover"]
    folds = sheet_of(demo_build).section("fold_away_systems", list[FoldAwaySystem])
    assert burning_goods(folds[0]) == [folds[0].product]
