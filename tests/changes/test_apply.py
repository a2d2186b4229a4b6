"""Nothing that people rely on changes silently: propose, see, then apply or reject, all of it or nothing."""

from __future__ import annotations

import re
import threading
from collections.abc import Callable
from copy import deepcopy
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.core.management import call_command
from django.db import connection
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from buildout.builds.web import services as builds
from buildout.builds.web.models import Build, JournalEntry, LinkResult, Member, Proposal, Revision, Role
from buildout.changes.engine.edits import ConflictError
from buildout.changes.web import services
from buildout.people.web.models import User
from estimating.web.models import ChangeOrder, Order
from scheduling.web import sign_ups
from scheduling.web.models import Notice, ShareLink, SignUp

pytestmark = pytest.mark.django_db
ClientOf = Callable[[User | None], Client]
Rows = Callable[[], dict[str, list[tuple[str, ...]]]]
Document = dict[str, Any]
DAY = "floor"
"""The build day of the quick plan that holds its floor tasks."""


def document_of(build: Build) -> Document:
    return builds.editable(Build.objects.get(pk=build.pk))


def day_of(document: Document, name: str = DAY) -> Document:
    return next(day for day in document["crew"]["days"] if day["id"] == name)


def dearer(document: Document) -> Document:
    """Every price of the first quote up by a tenth."""
    for line in document["quotes"][0]["lines"]:
        for step in line["breaks"]:
            step["price"] = str((Decimal(str(step["price"])) * Decimal("1.1")).quantize(Decimal("0.01")))
    return document


def a_week_later(document: Document) -> Document:
    day = day_of(document)
    day["date"] = (date.fromisoformat(day["date"]) + timedelta(days=1)).isoformat()
    return document


def propose(build: Build, user: User, edit: Callable[[Document], Document], summary: str = "Edited") -> Proposal:
    build = Build.objects.get(pk=build.pk)
    made = builds.propose(build, user, edit(builds.editable(build)), summary)
    made.refresh_from_db()
    assert made.state == Proposal.State.READY, made.problem
    return made


def helper(build: Build, day: str = DAY, task: str = "", n: int = 1, **more: Any) -> SignUp:
    link, _ = ShareLink.objects.get_or_create(build=build)
    given = {"name": f"Sika {n}", "contact": "555 0142 817", "request_key": f"request-key-{n:08d}"} | more
    return sign_ups.sign_up(link, day, task, **given)


def order_of(build: Build) -> Order:
    """An order for exactly what the first quote of the award says, already placed."""
    from estimating.engine.types import Award

    award = builds.sheet_of(build).part("award", Award)
    line = next(line for line in award.lines if line.quote)
    return Order.objects.create(
        build=build, number=1, supplier=line.supplier, supplier_name=line.supplier, quote=line.quote,
        placed=date(2027, 6, 5), revision=build.current,
        lines=[{"item": line.item, "name": line.item, "quantity": str(line.quantity), "unit": line.unit,
                "unit_price": str(line.unit_price), "goods": str(line.goods)}],
    )  # fmt: skip


# ------------------------------------------------------------------ propose, reject


def test_proposing_changes_nothing_and_rejecting_leaves_nothing(
    quick_build: Build, owner: User, client_of: ClientOf, rows: Rows
) -> None:
    helper(quick_build)
    before = rows()
    made = propose(quick_build, owner, lambda d: a_week_later(dearer(d)))
    during = rows()
    ours = {"builds_proposal", "builds_linkresult"}
    assert {table for table in before if before[table] != during[table]} == ours
    assert set(before["builds_linkresult"]) <= set(during["builds_linkresult"])
    page = client_of(owner).get(made.get_absolute_url())
    assert page.status_code == 200
    client_of(owner).post(reverse("changes:reject", args=[quick_build.pk, made.pk]))
    assert rows() == before | {"people_user": rows()["people_user"]}  # signing in notes the time


def test_a_plan_that_does_not_hold_together_is_not_even_stored(quick_build: Build, owner: User, rows: Rows) -> None:
    document = document_of(quick_build)
    day_of(document)["date"] = "soon"
    before = rows()
    with pytest.raises(builds.DocumentProblems) as found:
        builds.propose(quick_build, owner, document, "Bad")
    assert any(problem.pointer.startswith("/crew/days/") for problem in found.value.problems)
    assert rows() == before


def test_links_whose_inputs_did_not_change_are_not_run(quick_build: Build, owner: User) -> None:
    kept = set(LinkResult.objects.values_list("key", flat=True))
    made = propose(quick_build, owner, dearer)
    impact = services.read_impact(made)
    again = {name.split()[0] for name in impact.run}
    assert again & {"survey", "plan", "floor", "cover", "walls", "cut", "take-off"} == set()
    assert "award" in again
    new = LinkResult.objects.exclude(key__in=kept)
    assert {row.link for row in new} & {"survey", "plan", "floor", "cut plans", "take-off"} == set()
    assert set(new.values_list("proposal_id", flat=True)) == {made.pk}


def test_results_no_revision_took_up_in_a_long_time_are_let_go(quick_build: Build, owner: User) -> None:
    long_ago = timezone.now() - services.KEEP_UNUSED - timedelta(minutes=1)
    LinkResult.objects.update(used=long_ago)
    stale = LinkResult.objects.create(key="a" * 64, link="survey", result="{}", used=long_ago)
    fresh = LinkResult.objects.create(key="b" * 64, link="survey", result="{}")
    waiting = propose(quick_build, owner, a_week_later, "Kept for itself")
    services.apply(propose(quick_build, owner, dearer), owner, "")
    left = set(LinkResult.objects.values_list("key", flat=True))
    assert stale.pk not in left
    assert fresh.pk in left
    assert set(services.read_result(Revision.objects.latest("number").result).keys.values()) <= left
    assert set(waiting.link_results.values_list("key", flat=True)) <= left


# ------------------------------------------------------------------ apply


def test_applying_writes_revision_journal_change_orders_and_notices(
    quick_build: Build, owner: User, client_of: ClientOf
) -> None:
    first = quick_build.current
    assert first is not None
    order = order_of(quick_build)
    row = helper(quick_build, DAY, "G09")
    item = order.lines[0]["item"]

    def edit(document: Document) -> Document:
        # Half of what was ordered is taken out of the plan: a need less, or the quantity stated in the order halved.
        a_week_later(document)
        order.lines[0]["quantity"] = str(Decimal(order.lines[0]["quantity"]) * 2)
        order.save()
        return document

    made = propose(quick_build, owner, edit, "Floor day a day later")
    answer = client_of(owner).post(
        reverse("changes:apply", args=[quick_build.pk, made.pk]), {"why": "The hall is let that day"}
    )
    assert answer["Location"] == quick_build.get_absolute_url()
    quick_build.refresh_from_db()
    second = quick_build.current
    assert second is not None
    assert (first.number, second.number) == (1, 2)
    assert second.document == made.document
    assert second.by == owner
    entry = JournalEntry.objects.get(kind="revision")
    assert (entry.text, entry.why, entry.by, entry.revision) == (
        "Floor day a day later", "The hall is let that day", owner, second,
    )  # fmt: skip
    assert entry.before == first.totals
    assert entry.after == second.totals
    change = ChangeOrder.objects.get()
    assert (change.order, change.state, change.revision) == (order, ChangeOrder.State.OPEN, second)
    assert change.lines[0]["item"] == item
    assert Decimal(change.lines[0]["before"]) == 2 * Decimal(change.lines[0]["after"])
    order.refresh_from_db()
    assert Decimal(order.lines[0]["quantity"]) == Decimal(change.lines[0]["before"])  # as sent
    notice = Notice.objects.get()
    assert notice.sign_up == row
    assert "The build day moves from Sat 14 Aug to Sun 15 Aug." in notice.text
    row.refresh_from_db()
    assert (row.day, row.withdrawn) == (DAY, None)
    assert not Proposal.objects.exists()
    assert not LinkResult.objects.exclude(proposal=None).exists()


def test_the_earlier_revision_stays_as_it_was(quick_build: Build, owner: User, client_of: ClientOf) -> None:
    first = Revision.objects.get()
    kept = (first.document, first.result, first.totals)
    services.apply(propose(quick_build, owner, a_week_later), owner, "")
    first.refresh_from_db()
    assert (first.document, first.result, first.totals) == kept
    browser = client_of(owner)
    assert browser.get(reverse("changes:revision", args=[quick_build.pk, 1])).status_code == 200
    page = browser.get(reverse("changes:compare", args=[quick_build.pk]) + "?from=1&to=2").content.decode()
    assert "Sat 14 Aug 2027" in page
    assert "Sun 15 Aug 2027" in page


def test_a_partner_reads_who_was_put_on_a_task_by_first_name(
    quick_build: Build, owner: User, partner: User, client_of: ClientOf
) -> None:
    """No mark of the sign-up book and no surname is on the page; who was removed is not named."""
    rows = [
        SignUp.objects.create(
            build=quick_build, day=DAY, day_place=n, name=name, contact="555 0142 817", request_key=f"key-{n:017d}",
            ref=f"s-{n}{name.split()[0].lower()}",
        )
        for n, name in enumerate(("Bram Tallowfen", "Sika Umberleaf"), 1)
    ]  # fmt: skip
    rows[1].removed = timezone.now()
    rows[1].save()
    revision = Revision.objects.get()
    document = deepcopy(revision.document)
    document["tasks"]["people"] = [
        {"task": code, "person": row.ref} for code, row in zip(("H03", "D02"), rows, strict=True)
    ]
    Revision.objects.create(
        build=quick_build, number=2, document=document, result=revision.result, totals=revision.totals, by=owner
    )
    for address in (
        reverse("changes:revision", args=[quick_build.pk, 2]),
        reverse("changes:compare", args=[quick_build.pk]) + "?from=1&to=2",
    ):
        page = client_of(partner).get(address).content.decode()
        assert "person Bram" in page
        assert "somebody who is not on the list any more" in page
        assert "H03 Carry cover in" in page
        assert not re.search(r"Tallowfen|Umberleaf|Sika|s-\d", page)


def test_a_failure_in_the_middle_leaves_nothing(
    quick_build: Build, owner: User, rows: Rows, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The journal is written last; when it cannot be, revision, change orders and notices are gone with it."""
    order = order_of(quick_build)
    order.lines[0]["quantity"] = str(Decimal(order.lines[0]["quantity"]) + 3)
    order.save()
    helper(quick_build, DAY, "G09")
    made = propose(quick_build, owner, a_week_later)
    before = rows()

    def no_journal(*given: Any, **more: Any) -> None:
        assert Revision.objects.count() == 2
        assert Notice.objects.count() == 1
        assert ChangeOrder.objects.count() == 1
        raise OSError("disk full")

    monkeypatch.setattr(builds, "note", no_journal)
    with pytest.raises(OSError, match="disk full"):
        services.apply(made, owner, "")
    assert rows() == before


def test_helpers_who_sign_up_while_one_looks_are_told_too(quick_build: Build, owner: User) -> None:
    made = propose(quick_build, owner, a_week_later)
    helper(quick_build, DAY, n=7, name="Late Comer")
    services.apply(made, owner, "")
    assert [notice.sign_up.name for notice in Notice.objects.all()] == ["Late Comer"]


def test_a_day_taken_out_is_told_and_the_place_is_no_commitment(quick_build: Build, owner: User) -> None:
    row = helper(quick_build, "cover")

    def without(document: Document) -> Document:
        document["crew"]["days"] = [day for day in document["crew"]["days"] if day["id"] != "cover"]
        return document

    services.apply(propose(quick_build, owner, without), owner, "")
    notice = Notice.objects.get(sign_up=row)
    assert "is not held any more" in notice.text
    assert "choose what suits you" in notice.text
    quick_build.refresh_from_db()
    assert services.commitments_of(quick_build, "XXX").sign_ups == []
    services.apply(propose(quick_build, owner, dearer), owner, "")  # and the next change goes through
    assert Notice.objects.count() == 1


def test_a_task_left_out_leaves_its_helper_wherever_needed(quick_build: Build, owner: User) -> None:
    row = helper(quick_build, DAY, "W08")

    def without(document: Document) -> Document:
        document["tasks"]["off"] = sorted([*document["tasks"]["off"], "W08"])
        return document

    services.apply(propose(quick_build, owner, without), owner, "")
    row.refresh_from_db()
    assert (row.day, row.task, row.task_place) == (DAY, "", None)
    assert "is no longer done on a build day" in Notice.objects.get().text


def test_a_change_that_leaves_no_plan_takes_nobodys_task_and_shows_the_ways_out(
    quick_build: Build, owner: User, partner: User, client_of: ClientOf
) -> None:
    """Held to a build day and not to begin before the day after: one of the two has to go."""
    row = helper(quick_build, DAY, "W08")

    def impossible(document: Document) -> Document:
        later = date.fromisoformat(day_of(document)["date"]) + timedelta(days=1)
        pins = [pin for pin in document["tasks"].get("pins", []) if pin["task"] != "W08"]
        document["tasks"]["pins"] = [*pins, {"task": "W08", "day": DAY}]
        document["tasks"]["not_before"] = [{"task": "W08", "date": later.isoformat()}]
        return document

    made = propose(quick_build, owner, impossible)
    impact = services.read_impact(made)
    assert (impact.no_plan, impact.tasks, impact.sign_ups) == (True, [], [])
    assert {one.kind for one in impact.conflict} == {"pin", "not before"}
    page = client_of(owner).get(made.get_absolute_url()).content.decode()
    assert "With this change there is no plan" in page
    assert "Everybody keeps day and task" in page
    assert page.index("What cannot all be met") < page.index("Ways out, cheapest first") < page.index("In short")

    number = next(number for number, way in enumerate(impact.ways_out) if way.kind == "not before")
    out = reverse("changes:proposal-way-out", args=[quick_build.pk, made.pk, number])
    assert client_of(partner).post(out).status_code == 404
    assert client_of(owner).get(out).status_code == 405
    answer = client_of(owner).post(out)
    both = Proposal.objects.exclude(pk=made.pk).get()
    assert answer["Location"] == both.get_absolute_url()
    assert {"task": "W08", "day": DAY} in both.document["tasks"]["pins"]  # the change itself is still in it
    assert both.document["tasks"]["not_before"] == []
    assert not services.read_impact(both).no_plan
    gone = reverse("changes:proposal-way-out", args=[quick_build.pk, made.pk, 99])
    assert "not on the list any more" in client_of(owner).post(gone, follow=True).content.decode()

    # Applied all the same, and then settled by taking the task off its day: the helper hears of the move once.
    services.apply(made, owner, "")
    row.refresh_from_db()
    assert (row.day, row.task) == (DAY, "W08")
    assert not Notice.objects.exists()

    def without_day(document: Document) -> Document:
        document["tasks"]["pins"] = [pin for pin in document["tasks"]["pins"] if pin["task"] != "W08"]
        return document

    settled = propose(quick_build, owner, without_day)
    services.apply(settled, owner, "")
    assert "Cut panel foam" in Notice.objects.get(sign_up=row).text


def test_a_notice_goes_by_mail_and_counts_as_told_only_then(
    quick_build: Build, owner: User, settings: Any, mailoutbox: list[Any], django_capture_on_commit_callbacks: Any
) -> None:
    settings.PUBLIC_URL = "https://build.example.org"
    by_mail = helper(quick_build, n=1, contact="sika@example.org")
    by_phone = helper(quick_build, n=2)
    made = propose(quick_build, owner, a_week_later)
    with django_capture_on_commit_callbacks(execute=True):
        services.apply(made, owner, "")
    assert [mail.to for mail in mailoutbox] == [["sika@example.org"]]
    assert f"https://build.example.org/my/{by_mail.token}/" in mailoutbox[0].body
    assert Notice.objects.get(sign_up=by_mail).told is not None
    assert Notice.objects.get(sign_up=by_phone).told is None


def test_without_mail_nobody_counts_as_told(
    quick_build: Build, owner: User, settings: Any, django_capture_on_commit_callbacks: Any
) -> None:
    settings.EMAIL_BACKEND = "django.core.mail.backends.dummy.EmailBackend"
    helper(quick_build, contact="sika@example.org")
    made = propose(quick_build, owner, a_week_later)
    with django_capture_on_commit_callbacks(execute=True):
        services.apply(made, owner, "")
    assert Notice.objects.get().told is None


# ------------------------------------------------------------------ more than once, more than one


def test_applying_twice_counts_once(quick_build: Build, owner: User, client_of: ClientOf) -> None:
    made = propose(quick_build, owner, dearer)
    address = reverse("changes:apply", args=[quick_build.pk, made.pk])
    assert client_of(owner).post(address).status_code == 302
    assert client_of(owner).post(address).status_code == 404
    with pytest.raises(services.NotReadyError):
        services.apply(made, owner, "")
    assert Revision.objects.count() == 2
    assert JournalEntry.objects.filter(kind="revision").count() == 1


def test_a_proposal_not_worked_out_cannot_be_applied(quick_build: Build, owner: User, client_of: ClientOf) -> None:
    made = propose(quick_build, owner, dearer)
    Proposal.objects.update(state=Proposal.State.RUNNING)
    answer = client_of(owner).post(reverse("changes:apply", args=[quick_build.pk, made.pk]), follow=True)
    assert "has not been worked out" in answer.content.decode()
    assert Revision.objects.count() == 1


def test_the_second_editor_is_told_and_carries_the_edit_over(
    quick_build: Build, owner: User, partner: User, client_of: ClientOf
) -> None:
    Member.objects.filter(user=partner).update(role=Role.OWNER)
    mine, theirs = propose(quick_build, owner, dearer, "Dearer"), propose(quick_build, partner, a_week_later, "Later")
    services.apply(theirs, partner, "")
    browser = client_of(owner)
    assert browser.post(reverse("changes:apply", args=[quick_build.pk, mine.pk])).status_code == 302
    page = browser.get(mine.get_absolute_url())
    assert page.status_code == 409
    text = page.content.decode()
    assert "Somebody applied another change meanwhile" in text
    assert "Sun 15 Aug 2027" in text  # what changed underneath
    assert Revision.objects.count() == 2
    answer = browser.post(reverse("changes:again", args=[quick_build.pk, mine.pk]))
    anew = Proposal.objects.get()
    assert answer["Location"] == anew.get_absolute_url()
    assert anew.base == Revision.objects.get(number=2)
    assert day_of(anew.document)["date"] == "2027-08-15"
    assert anew.document["quotes"] == mine.document["quotes"]
    services.apply(anew, owner, "")
    assert Revision.objects.count() == 3


def test_a_conflict_names_the_place_and_loses_nothing(
    quick_build: Build, owner: User, client_of: ClientOf, rows: Rows
) -> None:
    def places(number: int) -> Callable[[Document], Document]:
        def edit(document: Document) -> Document:
            day_of(document)["places"] = number
            return document

        return edit

    mine, theirs = propose(quick_build, owner, places(20)), propose(quick_build, owner, places(15))
    services.apply(theirs, owner, "")
    browser = client_of(owner)
    before = rows()
    answer = browser.post(reverse("changes:again", args=[quick_build.pk, mine.pk]))
    assert answer.status_code == 409
    assert "crew › days › floor › places" in answer.content.decode()
    assert rows() == before
    with pytest.raises(ConflictError) as conflict:
        services.propose_again(mine, owner)
    assert conflict.value.labels == ["crew › days › floor › places"]


@pytest.mark.django_db(transaction=True)
def test_two_apply_at_the_same_moment_and_one_gets_through(quick_build: Build, owner: User) -> None:
    proposals = [propose(quick_build, owner, dearer), propose(quick_build, owner, a_week_later)]
    gate = threading.Barrier(2)
    ended: list[str] = []

    def run(proposal: Proposal) -> None:
        try:
            gate.wait()
            services.apply(proposal, owner, "")
            ended.append("applied")
        except services.OvertakenError:
            ended.append("overtaken")
        finally:
            connection.close()

    threads = [threading.Thread(target=run, args=(proposal,)) for proposal in proposals]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(ended) == ["applied", "overtaken"]
    assert list(Revision.objects.values_list("number", flat=True)) == [1, 2]
    assert Proposal.objects.count() == 1


@pytest.mark.django_db(transaction=True)
def test_the_same_proposal_applied_by_two_taps_at_once(quick_build: Build, owner: User) -> None:
    made = propose(quick_build, owner, dearer)
    gate = threading.Barrier(3)
    ended: list[str] = []

    def run() -> None:
        try:
            gate.wait()
            services.apply(made, owner, "")
            ended.append("applied")
        except services.NotReadyError:
            ended.append("gone")
        finally:
            connection.close()

    threads = [threading.Thread(target=run) for _ in range(3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(ended) == ["applied", "gone", "gone"]
    assert Revision.objects.count() == 2


def test_a_worker_stopped_in_the_middle_is_not_waited_for_in_silence(
    quick_build: Build, owner: User, client_of: ClientOf
) -> None:
    made = Proposal.objects.create(
        build=quick_build, base=quick_build.current, document={}, summary="x", by=owner, state=Proposal.State.RUNNING,
        picked_up=timezone.now() - timedelta(minutes=9),
    )  # fmt: skip
    assert "will not come back to it" not in client_of(owner).get(made.get_absolute_url()).content.decode()
    Proposal.objects.update(picked_up=timezone.now() - timedelta(minutes=11))
    assert "will not come back to it" in client_of(owner).get(made.get_absolute_url()).content.decode()


# ------------------------------------------------------------------ whose it is


def test_others_cannot_touch_a_proposal(
    quick_build: Build, owner: User, partner: User, lead: User, stranger: User, client_of: ClientOf, rows: Rows
) -> None:
    made = propose(quick_build, owner, dearer)
    theirs = Build.objects.get(name="Another hall")
    browsers = {user: client_of(user) for user in (partner, lead, stranger)}
    before = rows()
    for browser in browsers.values():
        for name in ("apply", "reject", "again"):
            assert browser.post(reverse(f"changes:{name}", args=[quick_build.pk, made.pk])).status_code == 404
        for name in ("proposal", "progress"):
            assert browser.get(reverse(f"changes:{name}", args=[quick_build.pk, made.pk])).status_code == 404
    # The number of somebody else's proposal under one's own build opens nothing either.
    for name in ("apply", "reject", "again"):
        assert browsers[stranger].post(reverse(f"changes:{name}", args=[theirs.pk, made.pk])).status_code == 404
    assert rows() == before


def test_applying_and_rejecting_by_a_link_is_refused(quick_build: Build, owner: User, client_of: ClientOf) -> None:
    made = propose(quick_build, owner, dearer)
    for name in ("apply", "reject", "again"):
        assert client_of(owner).get(reverse(f"changes:{name}", args=[quick_build.pk, made.pk])).status_code == 405
    assert Proposal.objects.filter(pk=made.pk).exists()


# ------------------------------------------------------------------ the worker


@pytest.fixture
def by_worker(settings: Any) -> None:
    settings.TASKS = {"default": {"BACKEND": "django_tasks_db.DatabaseBackend"}}


def work() -> None:
    call_command("db_worker", batch=True, interval=0, startup_delay=False, verbosity=0)


def start(build: Build, user: User) -> Proposal:
    build = Build.objects.get(pk=build.pk)
    return builds.propose(build, user, dearer(builds.editable(build)), "Dearer")


@pytest.mark.usefixtures("by_worker")
@pytest.mark.django_db(transaction=True)
def test_the_worker_works_it_out_and_leaves_no_trace(
    quick_build: Build, owner: User, client_of: ClientOf, rows: Rows
) -> None:
    before = rows()
    made = start(quick_build, owner)
    made.refresh_from_db()
    assert made.state == Proposal.State.WAITING
    assert rows()["django_tasks_database_dbtaskresult"] != before["django_tasks_database_dbtaskresult"]
    browser = client_of(owner)
    page = browser.get(made.get_absolute_url()).content.decode()
    assert "Waiting for the worker" in page
    assert "No worker has picked this up" not in page
    Proposal.objects.update(created=timezone.now() - timedelta(seconds=20))
    assert "No worker has picked this up" in browser.get(made.get_absolute_url()).content.decode()

    work()
    made.refresh_from_db()
    assert made.state == Proposal.State.READY, made.problem
    answer = browser.get(reverse("changes:progress", args=[quick_build.pk, made.pk]))
    assert answer["HX-Redirect"] == made.get_absolute_url()
    services.reject(made)
    assert rows() == before | {"people_user": rows()["people_user"]}


@pytest.mark.usefixtures("by_worker")
@pytest.mark.django_db(transaction=True)
def test_rejecting_before_the_worker_comes_takes_the_work_away(quick_build: Build, owner: User, rows: Rows) -> None:
    before = rows()
    made = start(quick_build, owner)
    made.refresh_from_db()
    services.reject(made)
    assert rows() == before
    work()
    assert rows() == before


@pytest.mark.usefixtures("by_worker")
@pytest.mark.django_db(transaction=True)
def test_rejecting_while_the_worker_is_at_it_stops_it(
    quick_build: Build, owner: User, rows: Rows, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The worker notices at the next step, goes on to other work, and nothing of this one is left."""
    before = rows()
    start(quick_build, owner)
    real = services.compute
    steps: list[str] = []

    def compute(proposal: Proposal, on_step: Any) -> None:
        def rejecting(number: int, name: str) -> None:
            steps.append(name)
            if name == "survey":
                services.reject(Proposal.objects.get(pk=proposal.pk))
            on_step(number, name)

        real(proposal, on_step=rejecting)

    monkeypatch.setattr(services, "compute", compute)
    work()
    assert steps == ["survey"]
    assert rows() == before


@pytest.mark.usefixtures("by_worker")
@pytest.mark.django_db(transaction=True)
def test_the_first_numbers_of_a_build_apply_themselves(quick_build: Build, owner: User, rows: Rows) -> None:
    document = deepcopy(document_of(quick_build))
    build = Build.objects.create(name="New hall")
    Member.objects.create(build=build, user=owner, role=Role.OWNER)
    builds.propose(build, owner, document, "First numbers")
    work()
    build.refresh_from_db()
    assert build.current is not None
    assert build.current.number == 1
    assert build.name == document["name"]
    assert not build.proposals.exists()
    assert rows()["django_tasks_database_dbtaskresult"] == []


@pytest.mark.usefixtures("by_worker")
@pytest.mark.django_db(transaction=True)
def test_what_goes_wrong_is_said_where_its_author_looks(
    quick_build: Build, owner: User, client_of: ClientOf, monkeypatch: pytest.MonkeyPatch, caplog: Any
) -> None:
    def broken(*given: Any, **more: Any) -> None:
        raise ZeroDivisionError("division by zero")

    made = start(quick_build, owner)
    monkeypatch.setattr(services, "run_chain", broken)
    work()
    page = client_of(owner).get(made.get_absolute_url()).content.decode()
    assert "could not be worked out" in page
    assert "ZeroDivisionError: division by zero" in page
    quick_build.refresh_from_db()
    assert quick_build.current is not None
    assert quick_build.current.number == 1
    assert "could not be worked out" in caplog.text
