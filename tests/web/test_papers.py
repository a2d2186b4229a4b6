"""Papers from suppliers: what they are is said by their bytes; tables are read row by row into a quote."""

from __future__ import annotations

from collections.abc import Callable
from io import BytesIO
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from buildout.builds.web.models import Build
from buildout.people.web.models import User
from estimating.web.asking_models import Paper
from estimating.web.papers import LARGEST_PAPER, PaperError, read_paper

ClientOf = Callable[[User | None], Client]
Proposed = Callable[[Build], dict[str, Any]]
PDF = b"%PDF-1.7\n1 0 obj<<>>endobj\ntrailer<<>>\n%%EOF\n"
TABLE = (
    "Artikel;ab Menge;Einheit;Preis\nBase foam;1;sheet;91,40\nBase foam;24;sheet;82,10\n"
    "Joint tape;1;roll;=9+1\nSealant;1;each;4,00\n"
)


def url(name: str, build: Build, *args: Any) -> str:
    return reverse(f"estimating:{name}", args=[build.pk, *args])


def picture(kind: str) -> bytes:
    from PIL import Image

    out = BytesIO()
    Image.new("RGB", (40, 30), "white").save(out, kind)
    return out.getvalue()


def send(browser: Client, build: Build, data: bytes, name: str, query: str = "", **more: str) -> Any:
    return browser.post(url("new-paper", build) + query, {"file": SimpleUploadedFile(name, data), **more})


class TestWhatItIs:
    @pytest.mark.parametrize(
        ("data", "kind"),
        [(PDF, "pdf"), (picture("JPEG"), "jpeg"), (picture("PNG"), "png"), (TABLE.encode("utf-16"), "csv")],
    )
    def test_the_bytes_say(self, data: bytes, kind: str) -> None:
        assert read_paper(BytesIO(data), len(data)) == (kind, data)

    @pytest.mark.parametrize(
        ("data", "said"),
        [
            (b"MZ\x90\0\3\0\0\0", "Neither a PDF nor"), (b"", "empty"), (PDF[:30], "cut off"),
            (picture("PNG")[:60], "broken or cut off"), (picture("JPEG")[:-40], "broken or cut off"),
            (b"GIF89a\1\0\1\0\0\0", "Neither a PDF nor"),
            (b"\0" * 600_000, "neither a PDF"),
        ],
    )  # fmt: skip
    def test_what_it_is_not(self, data: bytes, said: str) -> None:
        with pytest.raises(PaperError, match=said):
            read_paper(BytesIO(data), len(data))

    def test_a_large_scan_is_refused_unread(self) -> None:
        class Unreadable(BytesIO):
            def read(self, *args: Any) -> bytes:
                raise AssertionError("it was read")

        with pytest.raises(PaperError, match="50 MB; 12 MB is the most"):
            read_paper(Unreadable(), 50_000_000)
        assert LARGEST_PAPER < 50_000_000


@pytest.mark.django_db
class TestPapers:
    def test_for_the_owner_alone(
        self, client_of: ClientOf, demo_build: Build, owner: User, partner: User, lead: User, stranger: User
    ) -> None:
        send(client_of(owner), demo_build, TABLE.encode(), "prices.csv")
        paper = Paper.objects.get()
        for address in (url("new-paper", demo_build), url("paper", demo_build, paper.pk),
                        url("paper-file", demo_build, paper.pk)):  # fmt: skip
            assert client_of(owner).get(address).status_code == 200
            assert client_of(owner).delete(address).status_code == 405
            for other in (partner, lead, stranger):
                assert client_of(other).get(address).status_code == 404
                assert client_of(other).post(address, {}).status_code in (404, 405)
        assert client_of(owner).get(url("paper", demo_build, 999)).status_code == 404

    def test_queries(self, client_of: ClientOf, demo_build: Build, owner: User, django_assert_num_queries: Any) -> None:
        browser = client_of(owner)
        send(browser, demo_build, TABLE.encode(), "prices.csv")
        address = url("paper", demo_build, Paper.objects.get().pk)
        with django_assert_num_queries(4):
            browser.get(address)

    def test_a_name_does_not_make_a_picture(self, client_of: ClientOf, demo_build: Build, owner: User) -> None:
        answer = send(client_of(owner), demo_build, b"MZ\x90\0\3\0\0\0", "quote.pdf", supplier="cloudberry")
        page = answer.content.decode()
        assert answer.status_code == 422
        assert "Neither a PDF nor" in page
        assert 'value="cloudberry" selected' in page
        assert not Paper.objects.exists()
        nothing = client_of(owner).post(url("new-paper", demo_build), {})
        assert "Choose the file they sent" in nothing.content.decode()

    def test_a_50_mb_scan(self, client_of: ClientOf, demo_build: Build, owner: User) -> None:
        answer = send(client_of(owner), demo_build, b"%PDF-1.7\n" + b"\0" * 50_000_000, "scan.pdf")
        assert answer.status_code == 422
        assert "The file is 50 MB; 12 MB is the most" in answer.content.decode()

    def test_kept_with_a_quote_as_it_came(self, client_of: ClientOf, demo_build: Build, owner: User) -> None:
        browser = client_of(owner)
        answer = send(browser, demo_build, PDF, "Angebot.pdf", "?quote=cloudberry-1")
        assert answer.url == url("quote", demo_build, "cloudberry-1")
        paper = Paper.objects.get()
        assert (paper.quote, paper.supplier) == ("cloudberry-1", "cloudberry")
        assert "Angebot.pdf" in browser.get(answer.url).content.decode()
        file = browser.get(url("paper-file", demo_build, paper.pk))
        assert (file.content, file["Content-Type"], file["X-Content-Type-Options"]) == (
            PDF, "application/pdf", "nosniff"
        )  # fmt: skip

    def test_a_table_goes_out_as_plain_text(self, client_of: ClientOf, demo_build: Build, owner: User) -> None:
        browser = client_of(owner)
        send(browser, demo_build, TABLE.encode(), "prices.csv")
        file = browser.get(url("paper-file", demo_build, Paper.objects.get().pk))
        assert file["Content-Type"].startswith("text/plain")
        assert "prices.csv.txt" in file["Content-Disposition"]

    def test_a_table_is_read_looked_over_and_put_into_a_quote(
        self, client_of: ClientOf, demo_build: Build, owner: User, queued: None, proposed: Proposed
    ) -> None:
        browser = client_of(owner)
        sent = send(browser, demo_build, TABLE.encode("cp1252"), "prices.csv", supplier="cloudberry")
        page = browser.get(sent.url)
        form = page.context["form"]
        typed = {name: form[name].value() or "" for name in form.fields}
        wrong = browser.post(sent.url, typed | {"column-3": ""})
        assert wrong.status_code == 422
        assert "Say which column is “price”" in wrong.content.decode()
        names = {text: name for name, text in form.texts.items()}
        typed |= {"column-0": "item", "column-1": "from", "column-2": "unit", "column-3": "price", "decimal": ",",
                  names["Base foam"]: "base-51mm", names["Joint tape"]: "joint-tape", "heading": "on"}  # fmt: skip
        assert browser.post(sent.url, typed).status_code == 302
        page = browser.get(sent.url)
        states = [(row.number, row.state) for row in page.context["read"].rows]
        assert states == [(1, "left out"), (2, "taken"), (3, "taken"), (4, "bad"), (5, "bad")]
        shown = page.content.decode()
        assert "is a formula, not a price" in shown
        assert "2 rows not taken" in shown
        entry = url("new-quote", demo_build) + f"?paper={Paper.objects.get().pk}&supplier=cloudberry"
        page = browser.get(entry)
        assert "2 rows not taken" in page.content.decode()
        data: dict[str, Any] = {"lines": str(len(page.context["lines"])), "discounts": "0"}
        for part in (page.context["form"], page.context["freight"], *page.context["lines"]):
            for field in part:
                value = field.value()
                if value is not None and value is not False:
                    data[field.html_name] = "on" if value is True else value
        data |= {"valid_until": "2027-03-01", "lead_days_low": "5", "lead_days_likely": "6", "lead_days_high": "9"}
        answer = browser.post(entry, data)
        assert answer.status_code == 302, answer.content.decode()
        quote = proposed(demo_build)["quotes"][-1]
        assert quote["lines"][0]["breaks"] == [
            {"start": "1", "price": "91.40"}, {"start": "24", "price": "82.10"}
        ]  # fmt: skip
        assert Paper.objects.get().quote == quote["id"]
