"""Suppliers, quotes with their break tables, and what the owner decides beside the cheapest award."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from buildout.builds.web.models import Build, Proposal
from buildout.builds.web.services import Sheet
from buildout.people.web.models import User
from estimating.engine.price_text import BreaksError, read_breaks, write_breaks

ClientOf = Callable[[User | None], Client]
Proposed = Callable[[Build], dict[str, Any]]


def url(name: str, build: Build, *args: Any) -> str:
    return reverse(f"estimating:{name}", args=[build.pk, *args])


# ------------------------------------------------------------------ break tables, no database


def test_breaks_are_read_as_typed() -> None:
    assert read_breaks("1: 91.40; 24: 82.10; 60: 74.65") == [
        {"start": "1", "price": "91.40"}, {"start": "24", "price": "82.10"}, {"start": "60", "price": "74.65"}
    ]  # fmt: skip
    assert read_breaks("12.50") == [{"start": "1", "price": "12.50"}], "one price for any quantity"
    assert read_breaks(" 0.5 : 3 ;\n 2:2.9 ;") == [{"start": "0.5", "price": "3"}, {"start": "2", "price": "2.9"}]


@pytest.mark.parametrize("text", ["1: 91.40; 24: 82.10", "5: 149", "0.5: 3; 2: 2.9"])
def test_breaks_are_written_as_they_are_read(text: str) -> None:
    assert write_breaks(read_breaks(text)) == text


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "at least one price"),
        ("24: 82.10; 1: 91.40", "from small to large"),
        ("1: 5; 1: 4", "from small to large"),
        ("0: 5", "holds from the smallest quantity"),
        ("1: cheap", "not a quantity and a price"),
        ("1 = 5", "not a quantity and a price"),
        ("1: 5; 24", "not a quantity and a price"),
        ("1: -5", "a number that cannot be"),
        ("1: NaN", "a number that cannot be"),
        ("1: 1e30", "a number that cannot be"),
        ("1: 1e-999999999999", "a number that cannot be"),
        ("1e999999999999: 5", "a number that cannot be"),
        ("1: Infinity", "a number that cannot be"),
        ("1: 1_000", "not a quantity and a price"),
        ("1: " + "9" * 10_000, "a number that cannot be"),
    ],
)
def test_breaks_that_cannot_be(text: str, said: str) -> None:
    with pytest.raises(BreaksError, match=said):
        read_breaks(text)


# ------------------------------------------------------------------ the sheet


@pytest.mark.django_db
class TestSheet:
    @pytest.mark.parametrize(
        ("name", "args"),
        [
            ("quotes", ()), ("award-csv", ()), ("new-quote", ()), ("quote", ("cloudberry-1",)), ("new-supplier", ()),
            ("supplier", ("cloudberry",)),
        ],
    )  # fmt: skip
    def test_for_the_owner_alone(
        self, name: str, args: tuple[str, ...], client_of: ClientOf, demo_build: Build, owner: User, partner: User,
        lead: User, stranger: User,
    ) -> None:  # fmt: skip
        address = url(name, demo_build, *args)
        assert client_of(owner).get(address).status_code == 200
        for other in (partner, lead, stranger):
            assert client_of(other).get(address).status_code == 404
            assert client_of(other).post(address, {}).status_code in (404, 405)
        assert client_of(owner).delete(address).status_code == 405

    def test_queries(self, client_of: ClientOf, demo_build: Build, owner: User, django_assert_num_queries: Any) -> None:
        browser = client_of(owner)
        for name, args, queries in (("quotes", (), 8), ("quote", ("cloudberry-1",), 4)):
            with django_assert_num_queries(queries):
                browser.get(url(name, demo_build, *args))

    def test_a_quote_can_be_chosen_once_for_an_item(self, client_of: ClientOf, demo_build: Build, owner: User) -> None:
        """One quote may offer vinyl by the yard and by the roll; who gets it is then no question."""
        page = client_of(owner).get(url("quotes", demo_build))
        form = page.context["rules"]
        chosen = {name: [value for value, _ in form.fields[name].choices] for name in form.forced}
        assert "cover" in form.forced.values(), "two sellers quote it"
        assert "vinyl" not in form.forced.values(), "one seller quotes it twice"
        assert all(len(set(values)) == len(values) for values in chosen.values())

    def test_totals_by_supplier_add_up_and_freight_is_told_as_it_is_charged(
        self, client_of: ClientOf, demo_build: Build, owner: User
    ) -> None:
        revision = demo_build.current
        assert revision is not None
        forms = (
            ({"form": "by weight", "amount": "21.40", "per": "100 lb", "at_least": "60"},
             "¤21.40 for 100 lb, at least ¤60.00"),
            ({"form": "by zone", "zone": "B", "zones": [{"name": "A", "amount": "1"}, {"name": "B", "amount": "240"}]},
             "¤240.00, zone B"),
            ({"form": "per unit", "amount": "2.50"}, "¤2.50 a unit"),
        )  # fmt: skip
        for quote, (freight, _) in zip(revision.document["quotes"], forms, strict=False):
            quote["freight"] = freight
        revision.save()
        answer = client_of(owner).get(url("quotes", demo_build))
        for _, said in forms:
            assert said in answer.content.decode()
        found, sums = answer.context["award"], dict(answer.context["sums"])
        assert (sums["Goods"] + sums["Freight"], sums["Tax"]) == (found.total, found.tax)
        assert sums["Total"] == found.total + found.tax

    def test_the_award_says_what_the_next_best_costs(self, client_of: ClientOf, demo_build: Build, owner: User) -> None:
        page = client_of(owner).get(url("quotes", demo_build)).content.decode()
        assert "Moonrake Covers<small>costs ¤" in page
        assert "left out by you" in page
        assert "Not quoted by anybody" in page
        assert "nobody else quoted" in page

    def test_a_quote_past_its_day_is_called_expired(
        self, client_of: ClientOf, demo_build: Build, owner: User, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        from datetime import date

        monkeypatch.setattr(Sheet, "today", lambda self: date(2027, 3, 1))
        page = client_of(owner).get(url("quotes", demo_build)).content.decode()
        assert "ran out on 26 Feb" in page, "valid on the day the plan was worked out, not today"
        monkeypatch.setattr(Sheet, "as_of", property(lambda self: date(2027, 3, 1)))
        page = client_of(owner).get(url("quotes", demo_build)).content.decode()
        assert ">expired<" in page


def filled(browser: Client, address: str) -> dict[str, Any]:
    """What a browser would send if the quote were sent back as it stands."""
    context = browser.get(address).context
    data: dict[str, Any] = {"lines": str(len(context["lines"]))}
    for form in (context["form"], context["freight"], *context["lines"]):
        for field in form:
            value = field.value()
            if value is not None and value is not False:
                data[field.html_name] = "on" if value is True else value
    return data


NEW = {
    "supplier": "cloudberry", "currency": "XXX", "quoted": "2027-01-18", "valid_until": "2027-03-01",
    "lead_days_low": "10", "lead_days_likely": "12", "lead_days_high": "18", "lines": "2",
    "freight-form": "free over", "freight-amount": "90", "freight-free_over": "2000", "freight-service": "kerbside",
    "line-0-item": "joint-tape", "line-0-unit": "roll", "line-0-form": "all units", "line-0-breaks": "1: 9.40; 10: 8",
    "line-0-pack": "1",
    "line-1-item": "", "line-1-unit": "each", "line-1-form": "all units", "line-1-breaks": "",
}  # fmt: skip


@pytest.mark.django_db
class TestQuote:
    @pytest.mark.parametrize("quote", ["cloudberry-1", "tansybrook-1", "ninefold-1", "plumbob-1", "sedgewhistle-1"])
    def test_sent_back_as_it_stands_nothing_changes(
        self, quote: str, client_of: ClientOf, demo_build: Build, owner: User, queued: None, proposed: Proposed
    ) -> None:
        from buildout.changes.engine.reading import check_plan

        browser = client_of(owner)
        address = url("quote", demo_build, quote)
        assert browser.post(address, filled(browser, address)).status_code == 302
        assert demo_build.current is not None
        assert check_plan(proposed(demo_build)) == check_plan(demo_build.current.document)

    def test_a_new_one(
        self, client_of: ClientOf, demo_build: Build, owner: User, queued: None, proposed: Proposed
    ) -> None:
        answer = client_of(owner).post(url("new-quote", demo_build), NEW)
        assert answer.status_code == 302, answer.content.decode()
        quote = proposed(demo_build)["quotes"][-1]
        assert quote["id"] == "cloudberry-2027-01-18"
        assert quote["freight"] == {
            "form": "free over", "amount": "90", "free_over": "2000", "service": "kerbside"
        }  # fmt: skip
        assert quote["lines"] == [
            {
                "item": "joint-tape", "unit": "roll", "form": "all units", "pack": "1",
                "breaks": [{"start": "1", "price": "9.40"}, {"start": "10", "price": "8"}],
            }
        ]  # fmt: skip
        assert Proposal.objects.get().summary == "Added quote of Cloudberry Foam Converters, 2027-01-18"

    @pytest.mark.parametrize(
        ("typed", "field", "said"),
        [
            ({"currency": "EUR"}, "currency", "this build counts in XXX"),
            ({"currency": "foam"}, "currency", "FOAM"),
            ({"valid_until": "2027-01-01"}, "valid_until", "before the date of the quote"),
            ({"lead_days_high": "5"}, "lead_days_high", "5 is less than 12"),
            ({"lead_days_low": "soon"}, "lead_days_low", "Enter a whole number"),
            ({"freight-free_over": ""}, "freight-free_over", "from what sum of goods"),
            ({"line-0-breaks": "10: 8; 1: 9.40"}, "line-0-breaks", "from small to large"),
            ({"line-0-unit": "gallon"}, "line-0-unit", "does not fit"),
            ({"line-0-pack": "0"}, "line-0-pack", "must be more than nothing"),
            ({"line-0-item": "unobtainium"}, "line-0-item", "Select a valid choice"),
            ({"line-0-item": ""}, "line-0-item", "Choose what these prices are for"),
            ({"line-0-set_up": "12,50"}, "line-0-set_up", "plain number with a decimal point"),
            ({"supplier": "nobody"}, "supplier", "Select a valid choice"),
        ],
    )
    def test_what_is_wrong_is_said_at_its_field_and_typed_values_are_kept(
        self, typed: dict[str, str], field: str, said: str, client_of: ClientOf, demo_build: Build, owner: User
    ) -> None:
        answer = client_of(owner).post(url("new-quote", demo_build), NEW | {"note": "Spoke to Wilf"} | typed)
        page = answer.content.decode()
        assert answer.status_code == 422
        assert said in page
        assert f"id_{field}_error" in page
        assert "Spoke to Wilf" in page
        value = next(iter(typed.values()))
        if value and field.split("-")[-1] not in ("item", "supplier", "unit", "currency"):
            assert value in page
        assert not Proposal.objects.exists()

    def test_a_quote_without_lines(self, client_of: ClientOf, demo_build: Build, owner: User) -> None:
        empty = NEW | {"line-0-item": "", "line-0-breaks": ""}
        answer = client_of(owner).post(url("new-quote", demo_build), empty)
        assert answer.status_code == 422
        assert "A quote needs at least one line" in answer.content.decode()

    def test_the_number_of_lines_is_bounded(self, client_of: ClientOf, demo_build: Build, owner: User) -> None:
        answer = client_of(owner).post(url("new-quote", demo_build), NEW | {"lines": "999999999", "currency": "EUR"})
        assert answer.status_code == 422
        assert answer.content.decode().count('-breaks"') < 400

    def test_a_line_taken_out(
        self, client_of: ClientOf, demo_build: Build, owner: User, queued: None, proposed: Proposed
    ) -> None:
        browser = client_of(owner)
        address = url("quote", demo_build, "cloudberry-1")
        data = filled(browser, address) | {"line-0-item": "", "line-0-breaks": ""}
        assert browser.post(address, data).status_code == 302
        quote = next(q for q in proposed(demo_build)["quotes"] if q["id"] == "cloudberry-1")
        assert [line["item"] for line in quote["lines"]] == ["top-54in"]

    def test_taken_out_with_the_rules_that_speak_of_it(
        self, client_of: ClientOf, demo_build: Build, owner: User, queued: None, proposed: Proposed
    ) -> None:
        browser = client_of(owner)
        assert browser.get(url("delete-quote", demo_build, "moonrake-2")).status_code == 405
        assert browser.post(url("delete-quote", demo_build, "moonrake-2")).status_code == 302
        document = proposed(demo_build)
        assert "moonrake-2" not in [quote["id"] for quote in document["quotes"]]
        assert document["award"] == {}
        assert browser.post(url("delete-quote", demo_build, "nope")).status_code == 404


@pytest.mark.django_db
class TestSupplier:
    def test_added_and_changed(
        self, client_of: ClientOf, demo_build: Build, owner: User, queued: None, proposed: Proposed
    ) -> None:
        browser = client_of(owner)
        typed = {"name": "Larch & Loam", "phone": "555-0199", "deposit_percent": "25", "minimum_order": "",
                 "holidays": "2027-05-31, 2027-04-12"}  # fmt: skip
        assert browser.post(url("new-supplier", demo_build), typed).status_code == 302
        supplier = proposed(demo_build)["suppliers"][-1]
        assert supplier == {
            "id": "larch-loam", "name": "Larch & Loam", "phone": "555-0199", "deposit_percent": "25",
            "holidays": ["2027-04-12", "2027-05-31"],
        }  # fmt: skip

    @pytest.mark.parametrize(
        ("typed", "field", "said"),
        [
            ({"name": ""}, "name", "This field is required"),
            ({"deposit_percent": "140"}, "deposit_percent", "100 %"),
            ({"holidays": "next week"}, "holidays", "Write a day such as 2027-03-13"),
        ],
    )
    def test_what_is_wrong(
        self, typed: dict[str, str], field: str, said: str, client_of: ClientOf, demo_build: Build, owner: User
    ) -> None:
        answer = client_of(owner).post(
            url("edit-supplier", demo_build, "cloudberry"), {"name": "C", "terms": "kept terms"} | typed
        )
        page = answer.content.decode()
        assert answer.status_code == 422
        assert said in page
        assert f"id_{field}_error" in page
        assert "kept terms" in page

    def test_one_with_quotes_is_not_taken_out(self, client_of: ClientOf, demo_build: Build, owner: User) -> None:
        answer = client_of(owner).post(url("delete-supplier", demo_build, "cloudberry"))
        assert answer.status_code == 422
        assert "Not possible as it stands" in answer.content.decode()


@pytest.mark.django_db
class TestRules:
    def test_force_and_leave_out(
        self, client_of: ClientOf, demo_build: Build, owner: User, queued: None, proposed: Proposed
    ) -> None:
        browser = client_of(owner)
        form = browser.get(url("quotes", demo_build)).context["rules"]
        cover = next(name for name, item in form.forced.items() if item == "cover")
        answer = browser.post(
            url("award-rules", demo_build),
            {cover: "moonrake-1", "exclude": ["moonrake-2", "sedgewhistle-1"], "most_suppliers": "5"},
        )
        assert answer.status_code == 302
        assert proposed(demo_build)["award"] == {
            "most_suppliers": 5, "force": {"cover": "moonrake-1"}, "exclude": ["moonrake-2", "sedgewhistle-1"]
        }  # fmt: skip

    def test_a_set_that_must_not_be_split(
        self, client_of: ClientOf, demo_build: Build, owner: User, queued: None, proposed: Proposed
    ) -> None:
        browser = client_of(owner)
        data = {"together-0": ["vinyl", "panel-foam"], "exclude": ["moonrake-2"]}
        assert browser.post(url("award-rules", demo_build), data).status_code == 302
        assert proposed(demo_build)["award"]["together"] == [["vinyl", "panel-foam"]]

    def test_what_is_worth_a_telephone_call(
        self, client_of: ClientOf, demo_build: Build, owner: User, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        from datetime import date

        monkeypatch.setattr(Sheet, "today", lambda self: date(2027, 2, 24))  # Cloudberry's quote holds until the 26th
        page = client_of(owner).get(url("quotes", demo_build)).content.decode()
        assert "Worth a telephone call" in page
        assert "The quote of Cloudberry Foam Converters runs out in 2 days" in page

    def test_lateness_is_weighed_once_days_are_written_down(
        self, client_of: ClientOf, demo_build: Build, owner: User, queued: None, proposed: Proposed
    ) -> None:
        browser = client_of(owner)
        data = {"need-foam": "2027-03-13", "day_late": "85.50", "need-cover": ""}
        assert browser.post(url("award-rules", demo_build), data).status_code == 302
        rules = proposed(demo_build)["award"]
        assert (rules["need_by"], rules["day_late"]) == ({"foam": "2027-03-13"}, "85.50")
        wrong = browser.post(url("award-rules", demo_build), data | {"need-foam": "next week"})
        assert wrong.status_code == 422
        assert "next week" in wrong.content.decode()

    def test_days_are_taken_over_from_the_schedule(
        self, client_of: ClientOf, demo_build: Build, owner: User, partner: User, queued: None, proposed: Proposed
    ) -> None:
        assert client_of(partner).post(url("need-days", demo_build)).status_code == 404
        assert client_of(owner).get(url("need-days", demo_build)).status_code == 405
        client_of(owner).post(url("need-days", demo_build))
        rules = proposed(demo_build)["award"]
        needs = Sheet(demo_build.current).part("schedule", dict)["needs"]  # type: ignore[arg-type]
        groups = {p["id"]: p.get("lead_group", "other") for p in proposed(demo_build)["products"]}
        assert rules["need_by"]["cover"] == min(day for item, day in needs.items() if groups[item] == "cover")
        assert set(rules["need_by"]) == {groups[item] for item in needs}
        rent = Decimal(proposed(demo_build)["money"]["weekly_rent"])
        assert Decimal(rules["day_late"]) == round(rent / 7, 2)

    def test_written_days_that_drifted_are_named_with_a_way_out(
        self, client_of: ClientOf, demo_build: Build, owner: User
    ) -> None:
        browser, revision = client_of(owner), demo_build.current
        assert revision is not None
        assert "out of date" not in browser.get(url("quotes", demo_build)).content.decode()
        needs = Sheet(revision).part("schedule", dict)["needs"]
        groups = {p["id"]: p.get("lead_group", "other") for p in revision.document["products"]}
        cover = date.fromisoformat(min(day for item, day in needs.items() if groups[item] == "cover"))
        foam = min(day for item, day in needs.items() if groups[item] == "foam")
        written = {"cover": f"{cover - timedelta(days=3)}", "foam": foam}
        revision.document.setdefault("award", {})["need_by"] = written
        revision.save()
        answer = browser.get(url("quotes", demo_build))
        assert [(d.goods, d.days) for d in answer.context["drifted"]] == [("cover", 3)]
        page = answer.content.decode()
        assert f"the schedule now needs it on {cover.day} {cover:%b %Y}, 3 days later" in page
        assert page.count(f'action="{url("need-days", demo_build)}"') == 2

    def test_one_item_alone_is_no_set(self, client_of: ClientOf, demo_build: Build, owner: User) -> None:
        answer = client_of(owner).post(url("award-rules", demo_build), {"together-0": ["vinyl"]})
        assert answer.status_code == 422
        assert "tick two or more" in answer.content.decode()

    def test_what_another_choice_would_cost_is_shown(self, client_of: ClientOf, demo_build: Build, owner: User) -> None:
        answer = client_of(owner).get(url("quotes", demo_build))
        page = answer.content.decode()
        choices = answer.context["choices"]
        assert {choice.kind for choice in choices.suppliers} == {"without", "with"}
        assert "Without Ninefold Cover Works" in page
        assert "Nobody else quotes" in page
        dearer = next(choice for choice in choices.suppliers if choice.supplier == "ninefold")
        assert f"{dearer.extra:,}" in page

    def test_what_cannot_be(self, client_of: ClientOf, demo_build: Build, owner: User) -> None:
        answer = client_of(owner).post(url("award-rules", demo_build), {"most_suppliers": "0", "exclude": ["nope"]})
        page = answer.content.decode()
        assert answer.status_code == 422
        assert "greater than or equal to 1" in page
        assert "Select a valid choice" in page
        assert client_of(owner).get(url("award-rules", demo_build)).status_code == 405


def test_a_new_quote_starts_from_what_they_usually_name(client_of: ClientOf, demo_build: Build, owner: User) -> None:
    browser, revision = client_of(owner), demo_build.current
    assert revision is not None
    seller = revision.document["suppliers"][0]
    seller |= {"usual_lead_days": 14, "services": ["lift-gate", "dock"], "deposit_percent": "40", "terms": "Net 30"}
    revision.save()
    page = browser.get(url("new-quote", demo_build))
    assert "Fill in what they usually name" in page.content.decode()
    assert page.context["form"]["lead_days_likely"].value() is None
    page = browser.get(url("new-quote", demo_build) + f"?supplier={seller['id']}")
    form = page.context["form"]
    assert [form[f"lead_days_{name}"].value() for name in ("low", "likely", "high")] == [14, 14, 14]
    assert (form["supplier"].value(), form["deposit_percent"].value()) == (seller["id"], "40")
    assert page.context["freight"]["service"].value() == "lift-gate"
    assert "usually names: 14 working days, brought lift-gate or dock. Terms: Net 30" in page.content.decode()
    # A quote that is there already stays as it was typed.
    assert "usually names" not in browser.get(url("quote", demo_build, "cloudberry-1")).content.decode()


def test_lead_time_and_validity_of_a_table_are_filled_in(client_of: ClientOf, demo_build: Build, owner: User) -> None:
    from django.core.files.uploadedfile import SimpleUploadedFile

    from estimating.web.asking_models import Paper

    browser = client_of(owner)
    table = b"Item,Unit,Price,Lead time,Valid until\nJoint tape,roll,9.40,10-15,2030-03-31\n"
    browser.post(url("new-paper", demo_build), {"file": SimpleUploadedFile("prices.csv", table)})
    paper = Paper.objects.get()
    form = browser.get(url("new-quote", demo_build) + f"?paper={paper.pk}").context["form"]
    assert [form[f"lead_days_{name}"].value() for name in ("low", "likely", "high")] == [10, 12, 15]
    assert form["valid_until"].value() == date(2030, 3, 31)
