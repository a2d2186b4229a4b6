"""The whole database out and in again, row by row; bad files change nothing."""

from __future__ import annotations

import json
import zipfile
from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from django.utils import timezone

from buildout.builds.web.models import Build, Comment, JournalEntry, LinkResult, Member, Proposal, Revision, Role
from buildout.changes.web import archive
from buildout.people.web.models import SignInLink, User
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
from scheduling.web.models import Notice, ShareLink, Signature, SignUp
from tests.changes.test_transfer import fill_a_day

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def full() -> Build:
    """A build with at least one row in every table of ours, values chosen to be lost easily."""
    user = User.objects.create_user("orla@example.org", "Orla O’Fennimarsh – 畳", "four words are easy")
    SignInLink.objects.issue(user)
    build = Build.objects.create(name="Hall “North”")
    Member.objects.create(build=build, user=user, role=Role.OWNER, last_visit=timezone.now())
    document = {"b": 1.0, "a": [1e-7, 12345678901234567890, True, None, "\u2028é"], "z": {"y": 0.1}}
    revision = Revision.objects.create(
        build=build, number=1, document=document, result='{"x":  1}\n', summary="First", by=user
    )
    build.current = revision
    build.save()
    proposal = Proposal.objects.create(build=build, base=revision, document=document, summary="Second", by=user)
    LinkResult.objects.create(key="a" * 64, link="survey", result="{}", proposal=proposal)
    LinkResult.objects.create(key="b" * 64, link="plan", result="{}")
    JournalEntry.objects.create(build=build, kind="revision", text="First", revision=revision, after={"cost": "1.50"})
    Comment.objects.create(build=build, subject="budget:9", subject_text="Cover", text="Why?\r\n\tReally", by=user)
    order = Order.objects.create(
        build=build, number=7, supplier="s", supplier_name="S", quote="q", placed=date(2027, 1, 15),
        lines=[{"quantity": "1.50"}], freight=Decimal("62.125"), tax=Decimal("-0.001"),
    )  # fmt: skip
    ChangeOrder.objects.create(order=order, number=1, reason="r", lines=[], money=Decimal("99999999999.999"))
    Approval.objects.create(build=build, number=2, quote="q", supplier_name="S – 畳", lines=[], total=Decimal("0.001"))
    SentDocument.objects.create(order=order, title="PO-7", body="<p>", text="PO-7\r\n", pdf=b"%PDF-\0\xff")
    ReadyMadeOffer.objects.create(build=build, number=1, name="Pan – 畳", terms={"price": "9.50"})
    came = Delivery.objects.create(order=order, number=1, came=date(2027, 2, 1), lines=[{"accepted": "1.50"}])
    DeliveryPhoto.objects.create(delivery=came, number=1, jpeg=b"\xff\xd8\0")
    Claim.objects.create(delivery=came, number=1, text="Crushed", asked=Decimal("0.125"))
    request = Request.objects.create(
        build=build, number=1, by=user, reply_by=date(2027, 2, 1), items=[{"quantity": "1.50"}], revision=revision
    )
    RequestLetter.objects.create(
        request=request, supplier="s", supplier_name="S – 畳", body="<p>", text="RFQ-1\r\n", pdf=b"%PDF-\0\xfe"
    )
    Call.objects.create(build=build, supplier="s", supplier_name="S", by=user, said="will ring – Tuesday")
    Sample.objects.create(build=build, supplier="s", supplier_name="S", name="Foam", asked=date(2027, 1, 20))
    Paper.objects.create(
        build=build,
        name="prices.csv",
        kind="csv",
        data=b"a;b\n\xff",
        size=5,
        request=request,
        by=user,
        product="base",
        about="fire",
        dated=date(2026, 5, 4),
    )
    CutMade.objects.create(
        build=build, number=1, product="ply", goods_name="Ply", form="sheet", stock_number=1, revision=revision,
        length=Decimal("2438.400"), width=Decimal("1219.200"), pieces=[{"x": "0.1"}], by=user,
    )  # fmt: skip
    LedgerEntry.objects.create(build=build, number=1, kind="draw", day=date(2027, 2, 1), amount=Decimal("0.125"))
    ShareLink.objects.create(build=build)
    sign_up = SignUp.objects.create(
        build=build, day="cover", day_place=3, name="Bram", contact="07700 900123", request_key="k", skills=["lift"]
    )
    Notice.objects.create(sign_up=sign_up, text="Hello")
    Signature.objects.create(sign_up=sign_up, day="cover", date=date(2027, 4, 3), yes=False, word="Schläft – nein")
    fill_a_day(build, sign_up)
    return build


def rows() -> dict[str, list[bytes]]:
    return {model._meta.label: list(archive.lines(model)) for model in archive.tables()}


def test_every_row_of_every_table_comes_back(full: Build, tmp_path: Path) -> None:
    before = rows()
    ours = [label for label in before if label.split(".")[0] in ("people", "builds", "estimating", "scheduling")]
    assert not [label for label in ours if not before[label]], "the fixture leaves a table empty"
    call_command("backup", str(tmp_path / "all.zip"), verbosity=0)
    Build.objects.all().delete()
    User.objects.all().delete()
    Build.objects.create(name="Something else")
    call_command("restore", str(tmp_path / "all.zip"), "--replace", verbosity=0)
    assert rows() == before


def test_numbers_go_on_after_the_restored_ones(full: Build, tmp_path: Path) -> None:
    archive.backup(tmp_path / "all.zip")
    archive.restore(tmp_path / "all.zip", replace=True)
    assert Build.objects.create(name="Next").pk > full.pk


def test_a_database_with_work_in_it_is_not_replaced_unasked(full: Build, tmp_path: Path) -> None:
    archive.backup(tmp_path / "all.zip")
    Build.objects.create(name="Made since")
    before = rows()
    with pytest.raises(CommandError, match="not empty"):
        call_command("restore", str(tmp_path / "all.zip"), verbosity=0)
    assert rows() == before


def test_an_empty_database_takes_a_backup_without_asking(full: Build, tmp_path: Path) -> None:
    before = rows()
    archive.backup(tmp_path / "all.zip")
    Build.objects.all().delete()
    User.objects.all().delete()
    call_command("restore", str(tmp_path / "all.zip"), verbosity=0)
    assert rows() == before


def _with(path: Path, change: dict[str, bytes | None]) -> Path:
    """A copy of a backup with some members replaced, or left out where the new content is None."""
    changed = path.with_name("changed.zip")
    with zipfile.ZipFile(path) as old, zipfile.ZipFile(changed, "w") as new:
        for name in old.namelist():
            content = change.get(name, old.read(name))
            if content is not None:
                new.writestr(name, content)
    return changed


def test_damaged_and_foreign_files_are_refused_and_change_nothing(full: Build, tmp_path: Path) -> None:
    good = tmp_path / "all.zip"
    archive.backup(good)
    before = rows()
    data = good.read_bytes()
    with zipfile.ZipFile(good) as file:
        manifest = json.loads(file.read("manifest.json"))
        orders = file.read("tables/estimating.Order.jsonl")
    (tmp_path / "short.zip").write_bytes(data[: len(data) // 2])
    (tmp_path / "text.zip").write_text("not a backup")
    (tmp_path / "empty.zip").write_bytes(b"")
    with zipfile.ZipFile(tmp_path / "other.zip", "w") as other:
        other.writestr("photo.txt", "a holiday")
    newer = manifest | {"migrations": [*manifest["migrations"], "builds.9999_later"]}
    older = manifest | {"migrations": manifest["migrations"][1:]}
    stranger = manifest | {"tables": manifest["tables"] | {"shop.Basket": {"rows": 0, "sha256": "0"}}}
    cases = [
        (tmp_path / "short.zip", "cut short"),
        (tmp_path / "text.zip", "not a backup"),
        (tmp_path / "empty.zip", "not a backup"),
        (tmp_path / "other.zip", "holds no manifest"),
        (tmp_path / "missing.zip", "cannot be read"),
    ]
    changes: list[tuple[dict[str, bytes | None], str]] = [
        ({"manifest.json": json.dumps(newer).encode()}, "newer version"),
        ({"manifest.json": json.dumps(older).encode()}, "older version"),
        ({"manifest.json": json.dumps(stranger).encode()}, "shop.Basket"),
        ({"manifest.json": json.dumps(manifest | {"version": 2}).encode()}, "not a backup this version can read"),
        ({"tables/estimating.Order.jsonl": orders.replace(b"62.125", b"62.120")}, "checksum"),
        ({"tables/estimating.Order.jsonl": None}, "estimating.Order is missing"),
    ]
    for path, message in cases:
        with pytest.raises(archive.ArchiveError, match=message):
            archive.restore(path, replace=True)
    for change, message in changes:
        with pytest.raises(archive.ArchiveError, match=message):
            archive.restore(_with(good, change), replace=True)
    assert rows() == before


def test_a_backup_that_agrees_with_itself_but_not_with_the_tables_is_rolled_back(full: Build, tmp_path: Path) -> None:
    """Checksums hold, yet a row points at a build that is not there: the database itself refuses it."""
    good = tmp_path / "all.zip"
    archive.backup(good)
    before = rows()
    with zipfile.ZipFile(good) as file:
        manifest = json.loads(file.read("manifest.json"))
        text = file.read("tables/scheduling.ShareLink.jsonl").replace(
            f'"build_id":{full.pk}'.encode(), b'"build_id":999999'
        )
    import hashlib

    manifest["tables"]["scheduling.ShareLink"]["sha256"] = hashlib.sha256(text).hexdigest()
    bad = _with(good, {"tables/scheduling.ShareLink.jsonl": text, "manifest.json": json.dumps(manifest).encode()})
    with pytest.raises(archive.ArchiveError, match="nothing was changed"):
        archive.restore(bad, replace=True)
    assert rows() == before


def test_a_backup_is_complete_or_not_there_and_private(full: Build, tmp_path: Path) -> None:
    call_command("backup", str(tmp_path / "all.zip"), verbosity=0)
    assert (tmp_path / "all.zip").stat().st_mode & 0o077 == 0
    assert [path.name for path in tmp_path.iterdir()] == ["all.zip"]
    with pytest.raises(CommandError, match="there already"):
        call_command("backup", str(tmp_path / "all.zip"), verbosity=0)
    with pytest.raises(CommandError, match="cannot be written"):
        call_command("backup", str(tmp_path / "no" / "all.zip"), verbosity=0)
