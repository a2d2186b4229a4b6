"""A stored build out to a file and in again: nothing lost; bad files say where, and write nothing."""

from __future__ import annotations

import copy
import json
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from django.apps import apps
from django.core.management import CommandError, call_command
from django.db import models
from django.test import Client
from django.utils import timezone

from buildout.builds.web.models import Build, Comment, JournalEntry, LinkResult, Member, Proposal, Revision, Role
from buildout.changes.engine.chain import run_chain
from buildout.changes.engine.reading import BuildFileProblems, read_build_file
from buildout.changes.web import archive, transfer
from buildout.changes.web.services import commitments_of
from buildout.people.web.models import User
from buildout.rooms.web.models import ReadingPhoto
from buildout.units.value import to_plain
from estimating.web import order_book
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
from scheduling.web.services import signed_up

pytestmark = pytest.mark.django_db(transaction=True)


def fill_a_day(build: Build, sign_up: SignUp) -> None:
    """Marks of a build day: a start with two people, a problem with a photo, its answer."""
    now = timezone.now()
    start = DayMark.objects.create(build=build, day="foam", kind="start", task="G09", at=now, by_name="Inés", count=2)
    DayPerson.objects.create(mark=start, sign_up=sign_up)
    DayPerson.objects.create(mark=start, core="ines")
    problem = DayMark.objects.create(build=build, day="foam", kind="problem", text="Höhe?", at=now, by_name="Bram")
    DayPhoto.objects.create(mark=problem, jpeg=bytes(range(256)))
    Swap.objects.create(asker=sign_up, asked=sign_up, answered=now, accepted=True)
    DayMark.objects.create(build=build, day="foam", kind="solved", about=problem, at=now, by_name="Inés")


@pytest.fixture
def full(demo: Build) -> Build:
    """The demo with every table of a build filled."""
    owner = User.objects.get(email="orla.fennimarsh@example.org")
    order = Order.objects.get(build=demo, number=1)
    ChangeOrder.objects.create(
        order=order, number=1, reason="Wall moved – 3 in", revision=demo.current, money=Decimal("-12.345"),
        lines=[{"item": "ply-half", "before": "56", "after": "55"}],
    )  # fmt: skip
    Approval.objects.create(
        build=demo, number=1, quote="plumbob-1", supplier_name="Plumbob", total=Decimal("99.999"), asked_by=owner,
        lines=[{"item": "ply-half", "quantity": "2"}], order=order, state="approved", decided=timezone.now(),
    )  # fmt: skip
    SentDocument.objects.create(order=order, title="PO-1", body="<h1>PO-1</h1>", text="PO-1\n", pdf=b"%PDF-\0\xff")
    came = Delivery.objects.create(
        order=order, number=1, came=date(2027, 2, 9), put="Rack", taken_back=timezone.now(),
        lines=[{"item": "ply-half", "accepted": "12", "damaged": "0.5", "lots": ["K7"], "width": '48"'}],
    )  # fmt: skip
    DeliveryPhoto.objects.create(delivery=came, number=1, jpeg=b"\xff\xd8\0", shows="Corner")
    claim = Claim.objects.create(delivery=came, number=1, text="Corner crushed", asked=Decimal("12.345"), state="open")
    ReadyMadeOffer.objects.create(build=demo, number=1, name="Panels", terms={"price": "9.50"}, tasks=["K01"], by=owner)
    CutMade.objects.create(
        build=demo, number=1, product="ply-half", goods_name="Plywood", form="sheet", stock_number=3, length=2438.4,
        width=1219.2, revision=demo.current, by=owner,
        pieces=[{"piece": "hall panel A-B.02", "x": 0.0, "y": 0.0, "length": 1828.8, "width": 1219.2, "number": 1}],
    )  # fmt: skip
    bill = LedgerEntry.objects.create(
        build=demo, number=1, kind="invoice", day=date(2027, 2, 9), order=order, tax=Decimal("1.005"), by=owner,
        lines=[{"item": "ply-half", "name": "Ply", "quantity": "1", "goods": "2.50"}], amount=Decimal("3.505"),
    )  # fmt: skip
    request = Request.objects.create(
        build=demo, number=2, by=owner, reply_by=date(2027, 2, 1), site={"place": "Mill Yard"}, revision=demo.current,
        items=[{"item": "ply-half", "name": "Ply", "quantity": "55", "unit": "sheet"}],
    )  # fmt: skip
    RequestLetter.objects.create(
        request=request, supplier="plumbob", supplier_name="Plumbob", body="<h1>RFQ-2</h1>", text="RFQ-2\n",
        pdf=b"%PDF-\0\xfe", answer="declined", answered=date(2027, 1, 30),
    )  # fmt: skip
    Call.objects.create(
        build=demo, supplier="plumbob", supplier_name="Plumbob", by=owner, said="will ring – Tuesday", next_step="ring",
        due=date(2027, 2, 2),
    )  # fmt: skip
    Sample.objects.create(
        build=demo, supplier="plumbob", supplier_name="Plumbob", name="Ply", asked=date(2027, 1, 20), found="dry"
    )
    Paper.objects.create(
        build=demo,
        name="prices.csv",
        kind="csv",
        data=b"a;b\n\xff",
        size=5,
        request=request,
        by=owner,
        product="base",
        about="fire",
        dated=date(2026, 5, 4),
    )
    LedgerEntry.objects.create(build=demo, number=2, kind="payment", day=date(2027, 2, 9), settles=bill, amount=3)
    LedgerEntry.objects.create(
        build=demo, number=4, kind="credit", day=date(2027, 2, 9), settles=bill, claim=claim, amount=Decimal("-0.125")
    )
    LedgerEntry.objects.create(build=demo, number=3, kind="invoice", day=date(2027, 2, 9), reverses=bill, amount=-1)
    sign_up = SignUp.objects.filter(build=demo).first()
    assert sign_up is not None
    Notice.objects.create(sign_up=sign_up, text="Hello Bram. Später.", told=timezone.now())
    minor = SignUp.objects.filter(build=demo, age="16-17").first()
    assert minor is not None
    Signature.objects.create(
        sign_up=minor, day=minor.day, date=date(2027, 2, 20), yes=True, name="Ada Tällowfen", how="paper",
        taken_by="Inés",
    )  # fmt: skip
    fill_a_day(demo, sign_up)
    SignUp.objects.create(
        build=demo, day="gone", day_place=1, name="Ash", contact="x", request_key="ash", withdrawn=timezone.now()
    )
    Order.objects.create(
        build=demo, number=9, supplier="vanished", supplier_name="Vanished Ltd", quote="none", lines=[],
        placed=date(2027, 1, 2), state=Order.State.CANCELLED,
    )  # fmt: skip
    ReadingPhoto.objects.create(build=demo, name="0123456789abcdef01234567.jpg", jpeg=b"\xff\xd8\0", small=b"\xff\xd8")
    Comment.objects.create(build=demo, subject="budget:9", subject_text="Cover", text="a\n\tb", by=owner)
    return demo


def tables_of(build: Build) -> dict[str, list[dict[str, Any]]]:
    """Every row of every table of a build, row numbers replaced by the place in the table."""
    found: dict[str, list[dict[str, Any]]] = {}
    places: dict[tuple[type[models.Model], Any], str] = {(Build, build.pk): "build 0"}
    for name, model, way in transfer.TABLES:
        queryset = model._base_manager.filter(**{way: build.pk}).order_by("pk")
        for at, row in enumerate(queryset):
            places[model, row.pk] = f"{name} {at}"
    for name, model, way in transfer.TABLES:
        rows = []
        for row in model._base_manager.filter(**{way: build.pk}).order_by("pk"):
            values: dict[str, Any] = {}
            for field in model._meta.concrete_fields:
                value = getattr(row, field.attname)
                if field.primary_key:
                    continue
                if field.related_model is User and value is not None:
                    value = getattr(row, field.name).email
                elif field.related_model is not None and value is not None:
                    value = places[field.related_model, value]  # type: ignore[index]
                values[field.name] = value
            rows.append(values)
        found[name] = rows
    return found


def everything() -> dict[str, list[bytes]]:
    return {model._meta.label: list(archive.lines(model)) for model in archive.tables()}


def test_every_table_that_hangs_on_a_build_travels_or_says_why_not() -> None:
    """A table added later must be taken along or named as left out."""
    reached: set[type[models.Model]] = {Build}
    grown = True
    while grown:
        grown = False
        for model in apps.get_models():
            points_at = {field.related_model for field in model._meta.concrete_fields if field.related_model}
            if model not in reached and points_at & reached:
                reached.add(model)
                grown = True
    travelling = {model for _, model, _ in transfer.TABLES}
    assert {model._meta.label for model in reached - travelling} == set(transfer.LEFT_OUT)


def test_a_build_comes_back_row_by_row(full: Build, tmp_path: Path) -> None:
    path = tmp_path / "build.json"
    before = tables_of(full)
    assert all(rows for name, rows in before.items() if name != "proposals"), "a table is empty"
    call_command("export_build", str(full.pk), "--output", str(path))
    # The database emptied, and other work in it meanwhile, so that no row number stays what it was.
    Build.objects.all().delete()
    User.objects.all().delete()
    for name in ("one", "two"):
        other = Build.objects.create(name=name)
        Member.objects.create(build=other, user=User.objects.create_user(f"{name}@example.net", name), role=Role.OWNER)
        Order.objects.create(build=other, number=1, supplier="s", quote="q", placed=date(2027, 1, 1), lines=[])
    call_command("import_build", str(path), verbosity=0)
    back = Build.objects.get(name=full.name)
    assert back.pk != full.pk
    assert tables_of(back) == before
    assert {user.email for user in User.objects.filter(parts__build=back)} == {
        "orla.fennimarsh@example.org", "lucan.dapplewood@example.org", "ines.quillfeather@example.org"
    }  # fmt: skip
    assert not User.objects.get(email="orla.fennimarsh@example.org").has_usable_password()


def test_out_again_gives_the_same_file(full: Build) -> None:
    first = transfer.export_build(full)
    Build.objects.all().delete()
    report = transfer.import_build(json.dumps(first).encode())
    again = transfer.export_build(Build.objects.get(pk=report.build))

    assert {key: again[key] for key in again if key != "history"} == {
        key: first[key] for key in first if key != "history"
    }
    assert {name: len(rows) for name, rows in again["history"].items()} == {
        name: len(rows) for name, rows in first["history"].items()
    }


def test_an_exported_file_computes_to_what_is_stored(full: Build) -> None:
    """The file is a build file like any other: the chain on it gives the stored revision's figures."""
    from buildout.changes.engine.impact import totals

    file = read_build_file(json.dumps(transfer.export_build(full)).encode(), limit=transfer.LARGEST_IMPORT)
    assert to_plain(file.commitments) == to_plain(commitments_of(full, file.plan.currency))
    assert full.current is not None
    figures = totals(run_chain(file.plan, file.commitments))
    for key in ("floor_area", "mat_area", "sheets", "panels", "goods", "opening", "p50", "p80"):
        assert figures[key] == full.current.totals[key], key


def test_a_build_taken_in_twice_keeps_links_apart(full: Build) -> None:
    data = json.dumps(transfer.export_build(full)).encode()
    report = transfer.import_build(data)
    sign_ups, minors = (SignUp.objects.filter(build=full, **more).count() for more in ({}, {"age": "16-17"}))
    assert minors > 0
    assert report.new_links == ShareLink.objects.filter(build=full).count() + sign_ups + minors
    assert report.new_people == []
    tokens = list(SignUp.objects.values_list("token", flat=True))
    tokens += SignUp.objects.values_list("guardian_token", flat=True)
    assert len(tokens) == len(set(tokens)) == 4 * sign_ups


def put_on(build: Build, task: str, row: SignUp) -> None:
    """Have the plan put a helper of the sign-up book on a task."""
    assert build.current is not None
    build.current.document.setdefault("tasks", {})["people"] = [{"task": task, "person": row.ref, "lead": True}]
    build.current.save()


def test_who_is_put_on_a_task_is_the_same_helper_in_every_copy(full: Build) -> None:
    """Also where both copies stand in one database, and where the file was written before helpers had a name there."""
    row = SignUp.objects.filter(build=full, withdrawn=None).exclude(task="").order_by("-pk").first()
    assert row is not None
    put_on(full, row.task, row)
    data = transfer.export_build(full)
    SignUp.objects.filter(build=full).order_by("pk").first().delete()  # type: ignore[union-attr]
    report = transfer.import_build(json.dumps(data).encode())
    back = Build.objects.get(pk=report.build)
    twin = SignUp.objects.get(build=back, ref=row.ref)
    assert (twin.name, twin.day, twin.task) == (row.name, row.day, row.task)
    assert twin.pk != row.pk
    assert row.ref in [one.id for one in signed_up(back)]
    # A plain file, too: no names, but the same place is on the same task.
    plain = transfer.import_build(json.dumps(transfer.export_build(back, history=False)).encode())
    assert SignUp.objects.get(build_id=plain.build, ref=row.ref).task == row.task
    # A file of an older version: the plan called helpers by the number of their row.
    for entry in data["history"]["sign_ups"]:
        del entry["ref"]
    data["plan"]["tasks"]["people"][0]["person"] = str(row.pk)
    next(r for r in data["history"]["revisions"] if r["document"]["tasks"].get("people"))["document"] = data["plan"]
    older = transfer.import_build(json.dumps(data).encode())
    assert SignUp.objects.get(build_id=older.build, ref=str(row.pk)).name == row.name


def test_helpers_signed_up_before_are_called_by_their_row(full: Build) -> None:
    from importlib import import_module

    import_module("scheduling.web.migrations.0007_sign_up_ref").call_by_row(apps, None)
    assert SignUp.objects.exists()
    assert all(row.ref == str(row.pk) for row in SignUp.objects.all())


def test_a_proposal_under_way_is_worked_out_again(plain: Build) -> None:
    assert plain.current is not None
    document = copy.deepcopy(plain.current.document)
    document["name"] = "Weir Street, renamed"
    Proposal.objects.create(
        build=plain, base=plain.current, document=document, summary="Rename", state=Proposal.State.READY,
        impact='{"of": "other rows"}', result="old",
    )  # fmt: skip
    data = json.dumps(transfer.export_build(plain)).encode()
    Build.objects.all().delete()
    report = transfer.import_build(data)
    assert report.again == 1
    proposal = Proposal.objects.get(build_id=report.build)
    assert proposal.base == Build.objects.get(pk=report.build).current
    assert (proposal.state, proposal.summary) == (Proposal.State.READY, "Rename")
    assert '"of"' not in proposal.impact


def test_without_history_no_name_leaves_the_house(full: Build) -> None:
    found = transfer.export_build(full, history=False)
    assert "history" not in found
    assert len(found["earlier"]) == 1
    text = json.dumps(found["commitments"]) + json.dumps(found["earlier"])
    for name in SignUp.objects.values_list("name", flat=True):
        assert name not in text
    file = read_build_file(json.dumps(found).encode())
    assert len(file.commitments.orders) == 2


def test_a_plain_file_leads_through_its_earlier_plans(full: Build) -> None:
    data = json.dumps(transfer.export_build(full, history=False)).encode()
    owner = User.objects.get(email="orla.fennimarsh@example.org")
    report = transfer.import_build(data, owner=owner)
    back = Build.objects.get(pk=report.build)
    first, second = back.revisions.order_by("number")
    assert first.document["rooms"][0]["readings"][3]["value"] == "35' 0 1/2\""
    assert first.summary == full.revisions.get(number=1).summary
    assert full.current is not None
    assert second.document == full.current.document
    assert back.current == second
    assert Member.objects.get(build=back).user == owner
    assert Order.objects.filter(build=back).count() == 2
    assert SignUp.objects.filter(build=back).count() == 20


def test_what_is_charged_for_goods_called_off_comes_along_in_a_plain_file(full: Build) -> None:
    """PO-2 called off for 100.00 and of PO-1 one line for 25.00: both stand in the books of the copy as they did."""
    owner = User.objects.get(email="orla.fennimarsh@example.org")
    first, second = Order.objects.filter(build=full, number__in=(1, 2)).order_by("number")
    order_book.cancel(second, owner, Decimal(100))
    line = first.lines[1]
    off = {"item": line["item"], "name": line["name"], "unit": line["unit"], "before": line["quantity"], "after": "0",
           "money": str(Decimal(25) - Decimal(line["goods"])), "text": ""}  # fmt: skip
    change = ChangeOrder.objects.create(order=first, number=7, reason="Not needed", lines=[off])
    order_book.decide(change, owner, agreed=True)
    before = commitments_of(full, "XXX")
    assert sorted((charge.order, charge.amount) for charge in before.charges) == [
        ("PO-1", Decimal(25)), ("PO-2", Decimal(100)),
    ]  # fmt: skip
    report = transfer.import_build(json.dumps(transfer.export_build(full, history=False)).encode(), owner=owner)
    assert not report.tables
    back = Build.objects.get(pk=report.build)
    after = commitments_of(back, "XXX")
    assert after.charges == before.charges
    assert after.orders == before.orders
    gone = Order.objects.get(build=back, number=2)
    assert (gone.state, gone.supplier_name, gone.lines[0]["quantity"]) == ("cancelled", second.supplier_name, "0")
    said = JournalEntry.objects.filter(build=back, kind="order").values_list("text", flat=True)
    assert any("¤100.00 is charged for goods called off" in text for text in said)
    client = Client()
    client.force_login(owner)
    for number in (1, 2):
        assert client.get(f"/builds/{back.pk}/orders/{number}/").status_code == 200


# ---------------------------------------------------------------- bad files


def broken(file: dict[str, Any], *path: str | int, to: Any) -> bytes:
    """The file with one place changed."""
    changed = copy.deepcopy(file)
    place: Any = changed
    for step in path[:-1]:
        place = place[step]
    place[path[-1]] = to
    return json.dumps(changed).encode()


def test_bad_tables_name_the_place_and_write_nothing(full: Build) -> None:
    file = transfer.export_build(full)
    before = everything()
    cases: list[tuple[bytes, str, str]] = [
        (broken(file, "history", "orders", 0, "state", to="lost"), "/history/orders/0/state", "not a valid choice"),
        (broken(file, "history", "orders", 1, "placed", to="soon"), "/history/orders/1/placed", "date"),
        (broken(file, "history", "orders", 0, "colour", to="red"), "/history/orders/0/colour", "not a field"),
        (
            broken(file, "history", "change_orders", 0, "order", to=99),
            "/history/change_orders/0/order",
            "does not hold",
        ),
        (broken(file, "history", "revisions", 0, "result", to="{"), "/history/revisions/0/result", "cannot be opened"),
        (broken(file, "history", "revisions", 0, "document", to={}), "/history/revisions/0/document", "missing"),
        (broken(file, "history", "build", to=[]), "/history/build", "exactly one row"),
        (broken(file, "history", "build", 0, "current", to=77), "/history/build/0/current", "does not hold"),
        (broken(file, "history", "baskets", to=[]), "/history/baskets", "not a table"),
        (broken(file, "history", "members", 0, "user", to="nobody"), "/history/people", "not an e-mail"),
        (broken(file, "history", "orders", 1, "number", to=1), "/history", "same place"),
        (broken(file, "plan", "name", to="Renamed by hand"), "/plan", "not the one of the current revision"),
        (broken(file, "plan", "rooms", 0, "readings", 0, "value", to="12 3 1/4"), "/plan/rooms/0/readings/0/value", ""),
        (json.dumps(file).encode()[:-500], "", "cut short"),
        (b"[" * 10_000, "", "levels deep"),
    ]
    for data, place, said in cases:
        with pytest.raises(BuildFileProblems) as caught:
            transfer.import_build(data)
        first = caught.value.problems[0]
        assert first.pointer == place
        assert said in first.message, first.message
        assert everything() == before, f"{place}: something was written"


def test_a_file_of_100_mb_is_refused_unread(tmp_path: Path) -> None:
    path = tmp_path / "huge.json"
    with path.open("wb") as file:
        file.truncate(100_000_000)
    with pytest.raises(CommandError, match="at most") as caught:
        call_command("import_build", str(path), verbosity=0)
    assert "nothing was written" in str(caught.value)


def test_the_commands_say_what_is_wrong(full: Build, tmp_path: Path) -> None:
    with pytest.raises(CommandError, match=f"There is no build 0. There are: {full.pk}"):
        call_command("export_build", "0")
    with pytest.raises(CommandError, match="cannot be read"):
        call_command("import_build", str(tmp_path / "no.json"))
    with pytest.raises(CommandError, match="cannot be written"):
        call_command("export_build", str(full.pk), "--output", str(tmp_path / "no" / "build.json"))
    (tmp_path / "bad.json").write_text('{"plan": {"name": 5}}')
    with pytest.raises(CommandError, match="/plan/name"):
        call_command("import_build", str(tmp_path / "bad.json"))
    with pytest.raises(CommandError, match="no account with the e-mail"):
        call_command("import_build", str(tmp_path / "bad.json"), "--owner", "who@example.net")
    empty = Build.objects.create(name="Nothing yet")
    with pytest.raises(CommandError, match="no plan yet"):
        call_command("export_build", str(empty.pk))


def test_what_the_plan_no_longer_knows_stays_in_the_tables(full: Build) -> None:
    """An order whose quote was taken out of the plan since: the file is still a valid build file, and complete."""
    assert full.current is not None
    document = copy.deepcopy(full.current.document)
    Order.objects.filter(build=full, number=1).update(quote="withdrawn-quote")
    Revision.objects.filter(pk=full.current.pk).update(document=document)
    found = transfer.export_build(full)
    assert [order["number"] for order in found["commitments"]["orders"]] == ["PO-2"]
    data = json.dumps(found).encode()
    Build.objects.all().delete()
    LinkResult.objects.all().delete()
    back = Build.objects.get(pk=transfer.import_build(data).build)
    assert Order.objects.filter(build=back, number=1, quote="withdrawn-quote").exists()
