"""Helpers' pages: finding a place, taking it once, changing and giving it up; places never overflow."""

from __future__ import annotations

import copy
import re
import threading
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.db import IntegrityError, connection, transaction
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from buildout.builds.web.models import Build, JournalEntry, Revision
from buildout.people.web.models import User
from scheduling.web import sign_ups
from scheduling.web.models import Notice, ShareLink, SignUp

pytestmark = pytest.mark.django_db
FORM = {"name": "Bram Tallowfen", "contact": "555 0142 817", "note": "no nuts", "skills": ["carp"]}


def key(n: int = 0) -> str:
    return f"request-key-{n:012d}"


def take(link: ShareLink, day: str, task: str = "", n: int = 0, **more: Any) -> SignUp:
    given = {"name": f"Helper {n}", "contact": "555 0142 817", "request_key": key(n)} | more
    return sign_ups.sign_up(link, day, task, **given)


def join_url(link: ShareLink, day: str = "", task: str = "") -> str:
    if not day:
        return reverse("scheduling:join", args=[link.token])
    if task == "anywhere":
        return reverse("scheduling:join-anywhere", args=[link.token, day])
    return reverse("scheduling:join-task", args=[link.token, day, task]) if task else reverse(
        "scheduling:join-day", args=[link.token, day]
    )  # fmt: skip


# ------------------------------------------------------------------ looking


def test_the_days_say_what_a_helper_needs_to_choose(client: Client, share_link: ShareLink) -> None:
    take(share_link, "strip", "C11", 1)
    page = client.get(join_url(share_link)).content.decode()
    assert "5 of 6 places free" in page
    assert "Food: Soup" in page
    assert "sweep and wash the slab" in page
    assert "We still miss: carpentry" in page
    assert "08:30 to 16:00" in page


def test_a_day_lists_its_tasks_with_free_places_and_first_names_only(client: Client, share_link: ShareLink) -> None:
    take(share_link, "strip", "C12", 1, name="Sika Morrowlight", contact="sika@example.org")
    page = client.get(join_url(share_link, "strip")).content.decode()
    assert "Sika" in page
    assert "Morrowlight" not in page
    assert "sika@example.org" not in page
    # C12 runs in two parts one after the other, so two people do both: one of two places is left.
    assert re.search(r"Patch the walls</strong>\s*<span>09:00–12:00, 13:00–15:00</span>\s*.*?1 free", page, re.DOTALL)


def test_pages_are_light_and_need_no_script(client: Client, share_link: ShareLink) -> None:
    row = take(share_link, "strip", "C11", 1)
    css = len(b"".join(client.get("/static/css/helper.css").streaming_content))
    addresses = [
        join_url(share_link), join_url(share_link, "strip"), join_url(share_link, "strip", "C12"),
        reverse("scheduling:my", args=[row.token]), reverse("scheduling:change", args=[row.token]),
        reverse("scheduling:change-day", args=[row.token, "foam"]), reverse("scheduling:withdraw", args=[row.token]),
    ]  # fmt: skip
    for address in addresses:
        answer = client.get(address)
        assert answer.status_code == 200
        assert len(answer.content) + css < 60_000, address
        assert b"<script" not in answer.content
        assert b" style=" not in answer.content


def test_past_days_are_not_offered(client: Client, share_link: ShareLink, hand_build: Build) -> None:
    revision = hand_build.current
    assert revision is not None
    revision.document["crew"]["days"][0]["date"] = (timezone.now().date() - timedelta(days=1)).isoformat()
    revision.save()
    assert "Strip and clean" not in client.get(join_url(share_link)).content.decode()
    assert client.get(join_url(share_link, "strip")).status_code == 404
    answer = client.post(join_url(share_link, "strip", "C11"), FORM | {"request_key": key()})
    assert answer.status_code == 409
    assert not SignUp.objects.exists()


def test_a_closed_or_expired_link_says_so_kindly(client: Client, share_link: ShareLink) -> None:
    ShareLink.objects.update(expires=timezone.now() - timedelta(minutes=1))
    answer = client.get(join_url(share_link))
    assert answer.status_code == 410
    assert "This sign-up link is closed" in answer.content.decode()
    ShareLink.objects.update(expires=None, revoked=timezone.now())
    for address in (join_url(share_link), join_url(share_link, "strip"), join_url(share_link, "strip", "C11")):
        assert client.get(address).status_code == 410
    assert client.post(join_url(share_link, "strip", "C11"), FORM | {"request_key": key()}).status_code == 410
    assert not SignUp.objects.exists()


def test_unknown_link_day_and_task(client: Client, share_link: ShareLink) -> None:
    assert client.get("/join/nosuchlink/").status_code == 404
    assert client.get(join_url(share_link, "nosuchday")).status_code == 404
    assert client.get(join_url(share_link, "strip", "Z99")).status_code == 404
    assert client.get("/my/nosuchlink/").status_code == 404


def test_wrong_methods(client: Client, share_link: ShareLink) -> None:
    row = take(share_link, "strip")
    assert client.post(join_url(share_link)).status_code == 405
    assert client.post(reverse("scheduling:my", args=[row.token])).status_code == 405
    assert client.get(reverse("scheduling:move", args=[row.token])).status_code == 405
    assert client.get(reverse("scheduling:seen", args=[row.token, 1])).status_code == 405


# ------------------------------------------------------------------ signing up


def test_signing_up_takes_the_lowest_places_and_leads_to_the_personal_page(
    client: Client, share_link: ShareLink
) -> None:
    answer = client.post(join_url(share_link, "strip", "C11"), FORM | {"request_key": key()}, follow=True)
    row = SignUp.objects.get()
    assert answer.redirect_chain == [(reverse("scheduling:my", args=[row.token]), 302)]
    assert (row.day, row.task, row.day_place, row.task_place) == ("strip", "C11", 1, 1)
    assert (row.name, row.contact, row.skills, row.note) == ("Bram Tallowfen", "555 0142 817", ["carp"], "no nuts")
    page = answer.content.decode()
    assert "You are in, Bram" in page
    assert "Sweep and wash the slab" in page
    assert f"http://testserver/my/{row.token}/" in page
    assert 'class="qr"' in page
    assert JournalEntry.objects.get().text.startswith("Bram signed up for ")


def test_wherever_needed_takes_a_day_place_only(client: Client, share_link: ShareLink) -> None:
    client.post(join_url(share_link, "strip", "anywhere"), FORM | {"request_key": key()})
    row = SignUp.objects.get()
    assert (row.task, row.day_place, row.task_place) == ("", 1, None)


def test_a_double_tap_makes_one_sign_up(client: Client, share_link: ShareLink) -> None:
    first = client.post(join_url(share_link, "strip", "C11"), FORM | {"request_key": key()})
    second = client.post(join_url(share_link, "strip", "C11"), FORM | {"request_key": key()})
    assert first["Location"] == second["Location"]
    assert SignUp.objects.count() == 1


def test_two_people_of_the_same_name(client: Client, share_link: ShareLink) -> None:
    client.post(join_url(share_link, "strip", "C11"), FORM | {"request_key": key(1)})
    client.post(join_url(share_link, "strip", "C11"), FORM | {"request_key": key(2)})
    assert sorted(SignUp.objects.values_list("day_place", "task_place")) == [(1, 1), (2, 2)]


@pytest.mark.parametrize(
    ("field", "value", "said"),
    [
        ("name", "", "for example Bram Tallowfen"),
        ("name", "  \t ", "for example Bram Tallowfen"),
        ("name", "12345 !!", "for example Bram Tallowfen"),
        ("contact", "", "555 0142 817 or bram@example.org"),
        ("contact", "call me", "555 0142 817"),
        ("contact", "12", "555 0142 817"),
        ("contact", "bram@", "Write it like bram@example.org"),
        ("contact", "<b>1</b>", "555 0142 817"),
        ("skills", ["flying"], "tick from the list"),
        ("note", "x" * 301, "at most 300"),
    ],
)
def test_bad_input_is_explained_and_typed_values_stay(
    client: Client, share_link: ShareLink, field: str, value: Any, said: str
) -> None:
    answer = client.post(join_url(share_link, "strip", "C11"), FORM | {field: value, "request_key": key()})
    page = answer.content.decode()
    assert answer.status_code == 422
    assert said in page
    kept = "no nuts" if field != "note" else "Bram Tallowfen"
    assert kept in page
    assert not SignUp.objects.exists()


def test_a_form_without_its_key_can_be_sent_again(client: Client, share_link: ShareLink) -> None:
    answer = client.post(join_url(share_link, "strip", "C11"), FORM | {"request_key": "x"})
    assert answer.status_code == 422
    fresh = re.search(r'name="request_key" value="([^"]+)"', answer.content.decode())
    assert fresh is not None
    answer = client.post(join_url(share_link, "strip", "C11"), FORM | {"request_key": fresh[1]})
    assert answer.status_code == 302


def test_work_for_practised_people_asks_for_it(client: Client, share_link: ShareLink) -> None:
    address = join_url(share_link, "foam", "G03")
    page = client.get(address).content.decode()
    assert "I am practised in carpentry and sawing" in page
    assert "Saws: trained named person only" in page
    assert "Only for people practised in carpentry, sawing" in client.get(join_url(share_link, "foam")).content.decode()
    answer = client.post(address, FORM | {"request_key": key()})
    assert answer.status_code == 422
    assert "for practised people only" in answer.content.decode()
    assert client.post(address, FORM | {"request_key": key(), "practised": "on"}).status_code == 302
    assert SignUp.objects.get().skills == ["carp", "saw"]


def test_one_cannot_change_over_to_work_one_is_not_practised_in(client: Client, share_link: ShareLink) -> None:
    row = take(share_link, "foam", "H01", 1, skills=["carp"])
    page = client.get(reverse("scheduling:change-day", args=[row.token, "foam"])).content.decode()
    assert 'value="G03"' not in page
    assert "not open to you" in page
    answer = client.post(reverse("scheduling:move", args=[row.token]), {"day": "foam", "task": "G03"})
    assert answer.status_code == 409
    with pytest.raises(sign_ups.NoPlaceError):
        take(share_link, "foam", "G03", 2, skills=["saw"])
    able = take(share_link, "foam", "H01", 3, skills=["saw", "carp"])
    assert sign_ups.move(able, "foam", "G03").task == "G03"


def test_licensed_work_is_not_offered(client: Client, share_link: ShareLink, hand_build: Build) -> None:
    from buildout.builds.web.services import Sheet
    from buildout.units.value import to_json
    from scheduling.engine.types import Schedule

    revision = hand_build.current
    assert revision is not None
    parts = {name: Sheet(revision).part(name, dict) for name in ("schedule", "tasks", "forecast")}
    electrician = Sheet(revision).part("schedule", Schedule).tasks[0]
    row = {name: getattr(electrician, name) for name in electrician.__struct_fields__}
    row |= {"code": "E09", "name": "Wire the lights", "skills": ["lic"]}
    parts["schedule"]["tasks"].append(row)
    revision.result = to_json(parts).decode()
    revision.save()
    assert "Wire the lights" not in client.get(join_url(share_link, "strip")).content.decode()
    assert client.get(join_url(share_link, "strip", "E09")).status_code == 404


def test_names_are_written_as_text(client: Client, share_link: ShareLink) -> None:
    take(share_link, "strip", "", 1, name="<script>alert(1)</script>")
    assert "<script>alert" not in client.get(join_url(share_link, "strip")).content.decode()


def test_a_full_task_offers_the_rest_of_the_day_with_typed_values_kept(client: Client, share_link: ShareLink) -> None:
    for n in range(3):
        take(share_link, "strip", "C11", n)
    answer = client.post(join_url(share_link, "strip", "C11"), FORM | {"request_key": key(9)})
    page = answer.content.decode()
    assert answer.status_code == 409
    assert "Somebody took the last place of this task" in page
    assert 'value="Bram Tallowfen"' in page
    assert f'formaction="{join_url(share_link, "strip", "C12")}"' in page
    assert f'formaction="{join_url(share_link, "strip", "anywhere")}"' in page
    assert SignUp.objects.count() == 3
    assert client.post(join_url(share_link, "strip", "C12"), FORM | {"request_key": key(9)}).status_code == 302


def test_a_full_day_offers_other_days(client: Client, share_link: ShareLink) -> None:
    for n in range(2):
        take(share_link, "cover", "", n)
    assert "All 2 places are taken" in client.get(join_url(share_link)).content.decode()
    answer = client.post(join_url(share_link, "cover", "H03"), FORM | {"request_key": key(9)})
    assert answer.status_code == 409
    assert "See the other days" in answer.content.decode()


def test_a_day_whose_places_shrank_takes_nobody_more(share_link: ShareLink, hand_build: Build) -> None:
    for n in range(4):
        take(share_link, "strip", "", n)
    sign_ups.withdraw(SignUp.objects.get(day_place=1))
    revision = hand_build.current
    assert revision is not None
    revision.document["crew"]["days"][0]["places"] = 3
    revision.save()
    # Places 2, 3 and 4 are taken; 1 is free by number, but three people are three people.
    with pytest.raises(sign_ups.NoPlaceError):
        take(share_link, "strip", "", 9)


def test_a_withdrawn_place_is_given_again(share_link: ShareLink) -> None:
    first = take(share_link, "cover", "H03", 1)
    take(share_link, "cover", "H03", 2)
    sign_ups.withdraw(first)
    again = take(share_link, "cover", "H03", 3)
    assert (again.day_place, again.task_place) == (1, 1)


def test_the_constraints_hold_by_themselves(share_link: ShareLink, hand_build: Build) -> None:
    row = take(share_link, "strip", "C11", 1)
    same = {"build": hand_build, "day": "strip", "task": "C11", "name": "X", "contact": "1"}
    with pytest.raises(IntegrityError), transaction.atomic():
        SignUp.objects.create(**same, day_place=row.day_place, task_place=2, request_key=key(2))
    with pytest.raises(IntegrityError), transaction.atomic():
        SignUp.objects.create(**same, day_place=2, task_place=row.task_place, request_key=key(3))
    with pytest.raises(IntegrityError), transaction.atomic():
        SignUp.objects.create(**same, day_place=2, task_place=2, request_key=row.request_key)


# ------------------------------------------------------------------ many at once


def together(jobs: list[Callable[[], Any]]) -> list[Any]:
    """Run jobs in threads that start at one moment; what they raise comes back in place of a result."""
    gate = threading.Barrier(len(jobs))
    results: list[Any] = [None] * len(jobs)

    def run(number: int) -> None:
        try:
            gate.wait()
            results[number] = jobs[number]()
        except Exception as error:
            results[number] = error
        finally:
            connection.close()

    threads = [threading.Thread(target=run, args=(n,)) for n in range(len(jobs))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return results


@pytest.mark.django_db(transaction=True)
def test_many_reach_for_the_last_places_and_each_is_given_once(share_link: ShareLink) -> None:
    """Five places and twelve helpers at one moment: five get in, seven are told, on SQLite and PostgreSQL alike."""
    results = together([lambda n=n: take(share_link, "foam", "", n) for n in range(12)])
    got = [row for row in results if isinstance(row, SignUp)]
    assert sorted(row.day_place for row in got) == [1, 2, 3, 4, 5]
    assert sum(isinstance(row, sign_ups.NoPlaceError) for row in results) == 7
    assert SignUp.objects.standing().count() == 5


@pytest.mark.django_db(transaction=True)
def test_many_reach_for_the_last_place_of_a_task(share_link: ShareLink) -> None:
    results = together([lambda n=n: take(share_link, "strip", "C12", n) for n in range(8)])
    assert sorted(row.task_place for row in results if isinstance(row, SignUp)) == [1, 2]
    assert sum(isinstance(row, sign_ups.NoPlaceError) for row in results) == 6


@pytest.mark.django_db(transaction=True)
def test_one_helper_tapping_many_times_at_once_is_signed_up_once(share_link: ShareLink) -> None:
    address, data = join_url(share_link, "strip", "C11"), FORM | {"request_key": key()}
    results = together([lambda: Client().post(address, data)["Location"] for _ in range(8)])
    assert len(set(results)) == 1
    assert SignUp.objects.count() == 1


@pytest.mark.django_db(transaction=True)
def test_helpers_swapping_places_at_once_never_share_one(share_link: ShareLink) -> None:
    rows = [take(share_link, "strip", "C11" if n < 3 else "C12", n) for n in range(5)]
    moves = [lambda row=row: sign_ups.move(row, "cover", "H03") for row in rows]
    results = together(moves)
    assert sum(isinstance(row, SignUp) for row in results) == 2
    assert sorted(SignUp.objects.filter(day="cover").values_list("day_place", flat=True)) == [1, 2]
    assert SignUp.objects.standing().count() == 5


@pytest.mark.postgresql
@pytest.mark.django_db(transaction=True)
def test_places_hold_without_the_lock_too(share_link: ShareLink, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the build's row is not held, the constraints and another look still give each place once."""
    if connection.vendor != "postgresql":
        pytest.skip("SQLite lets one writer in at a time")
    monkeypatch.setattr("django.db.models.query.QuerySet.select_for_update", lambda self, **_: self)
    monkeypatch.setattr(sign_ups, "TRIES", 20)
    results = together([lambda n=n: take(share_link, "foam", "", n) for n in range(8)])
    taken = sorted(SignUp.objects.values_list("day_place", flat=True))
    assert taken == list(range(1, len(taken) + 1))
    assert sum(isinstance(row, SignUp) for row in results) == len(taken)


# ------------------------------------------------------------------ a helper's own page


def test_changing_task_and_day(client: Client, share_link: ShareLink) -> None:
    row = take(share_link, "strip", "C11", 1)
    page = client.get(reverse("scheduling:change-day", args=[row.token, "strip"])).content.decode()
    assert "This is what you have now" in page
    client.post(reverse("scheduling:move", args=[row.token]), {"day": "strip", "task": "C12"})
    row.refresh_from_db()
    assert (row.day, row.task, row.day_place, row.task_place, row.changes) == ("strip", "C12", 1, 1, 1)
    client.post(reverse("scheduling:move", args=[row.token]), {"day": "foam", "task": ""})
    row.refresh_from_db()
    assert (row.day, row.task, row.day_place, row.task_place, row.changes) == ("foam", "", 1, None, 2)


def test_a_place_that_cannot_be_had_leaves_the_old_one(client: Client, share_link: ShareLink) -> None:
    row = take(share_link, "strip", "C11", 1)
    for n in (2, 3):
        take(share_link, "cover", "", n)
    answer = client.post(reverse("scheduling:move", args=[row.token]), {"day": "cover", "task": "H03"})
    assert answer.status_code == 409
    assert "Your old place is still yours" in answer.content.decode()
    # One may wait for the full day and keep what one has; not where nobody can sign up just now.
    change, wait = reverse("scheduling:change", args=[row.token]), join_url(share_link, "cover", "anywhere")
    assert f'href="{wait}"' in client.get(change).content.decode()
    ShareLink.objects.update(revoked=timezone.now())
    assert f'href="{wait}"' not in client.get(change).content.decode()
    assert client.post(reverse("scheduling:move", args=[row.token]), {"day": "no", "task": ""}).status_code == 409
    row.refresh_from_db()
    assert (row.day, row.task) == ("strip", "C11")


def test_withdrawing_asks_first_and_counts_once(client: Client, share_link: ShareLink) -> None:
    row = take(share_link, "strip", "C11", 1)
    address = reverse("scheduling:withdraw", args=[row.token])
    client.get(address)
    row.refresh_from_db()
    assert row.withdrawn is None
    client.post(address)
    client.post(address)
    row.refresh_from_db()
    assert row.withdrawn is not None
    assert row.changes == 1
    page = client.get(reverse("scheduling:my", args=[row.token])).content.decode()
    assert "You withdrew" in page
    assert join_url(share_link) in page
    answer = client.post(reverse("scheduling:move", args=[row.token]), {"day": "foam", "task": ""})
    assert answer.status_code == 409
    assert client.get(reverse("scheduling:change", args=[row.token])).status_code == 302


def test_notices_stay_until_read(client: Client, share_link: ShareLink) -> None:
    row, other = take(share_link, "strip", "C11", 1), take(share_link, "strip", "C11", 2)
    notice = Notice.objects.create(sign_up=row, text="The build day moves to Saturday.")
    mine = reverse("scheduling:my", args=[row.token])
    assert "The build day moves" in client.get(mine).content.decode()
    client.get(mine)
    notice.refresh_from_db()
    assert notice.seen is None
    client.post(reverse("scheduling:seen", args=[other.token, notice.pk]))
    notice.refresh_from_db()
    assert notice.seen is None
    client.post(reverse("scheduling:seen", args=[row.token, notice.pk]))
    notice.refresh_from_db()
    assert notice.seen is not None
    assert "The build day moves" not in client.get(mine).content.decode()


def test_a_day_that_is_gone_is_said_on_the_page(client: Client, share_link: ShareLink, hand_build: Build) -> None:
    row = take(share_link, "strip", "C11", 1)
    revision = hand_build.current
    assert revision is not None
    del revision.document["crew"]["days"][0]
    revision.save()
    page = client.get(reverse("scheduling:my", args=[row.token])).content.decode()
    assert "your day is not held any more" in page
    assert client.get(reverse("scheduling:calendar", args=[row.token])).status_code == 404
    client.post(reverse("scheduling:move", args=[row.token]), {"day": "foam", "task": "H01"})
    row.refresh_from_db()
    assert (row.day, row.task, row.day_place) == ("foam", "H01", 1)


def test_a_calendar_takes_out_a_day_that_is_not_held_any_more(
    client: Client, share_link: ShareLink, hand_build: Build
) -> None:
    from icalendar import Calendar

    row = take(share_link, "strip", "C11", 1)

    def event() -> Any:
        return Calendar.from_ical(client.get(reverse("scheduling:feed", args=[row.token])).content).walk("VEVENT")[0]

    was = event()
    old = hand_build.current
    assert old is not None
    document = copy.deepcopy(old.document)
    del document["crew"]["days"][0]
    hand_build.current = Revision.objects.create(
        build=hand_build, number=old.number + 1, document=document, result=old.result, summary="Without", totals={}
    )
    hand_build.save()
    now = event()
    assert (now["UID"], now["STATUS"]) == (was["UID"], "CANCELLED")
    assert now.decoded("dtstart") == was.decoded("dtstart")
    assert now["SEQUENCE"] > was["SEQUENCE"]
    assert not now.walk("VALARM")


def test_the_calendar_file_keeps_its_identity(client: Client, share_link: ShareLink, hand_build: Build) -> None:
    from icalendar import Calendar

    revision = hand_build.current
    assert revision is not None
    revision.document["time_zone"] = "America/Halifax"
    revision.save()
    row = take(share_link, "strip", "C11", 1)

    def event() -> Any:
        answer = client.get(reverse("scheduling:calendar", args=[row.token]))
        assert answer["Content-Type"].startswith("text/calendar")
        calendar = Calendar.from_ical(answer.content)
        assert calendar["NAME"] == hand_build.name
        return calendar.walk("VEVENT")[0]

    first = event()
    assert first["UID"].endswith("@buildout")
    assert first.decoded("dtstart").strftime("%H:%M %Z") in ("08:30 AST", "08:30 ADT")
    assert str(row.token) in first["DESCRIPTION"]
    sign_ups.move(row, "foam", "H01")
    second = event()
    assert second["UID"] == first["UID"]
    assert second["SEQUENCE"] > first["SEQUENCE"]
    sign_ups.withdraw(row)
    third = event()
    assert third["STATUS"] == "CANCELLED"
    assert third["SEQUENCE"] > second["SEQUENCE"]


def test_a_helper_by_mail_gets_the_personal_link(
    client: Client, share_link: ShareLink, mailoutbox: list[Any], settings: Any
) -> None:
    client.post(join_url(share_link, "strip", "C11"), FORM | {"contact": "bram@example.org", "request_key": key(1)})
    row = SignUp.objects.get()
    assert mailoutbox[0].to == ["bram@example.org"]
    assert f"/my/{row.token}/" in mailoutbox[0].body
    client.post(join_url(share_link, "strip", "C11"), FORM | {"request_key": key(2)})
    assert len(mailoutbox) == 1
    settings.PUBLIC_URL = "https://build.example.org"
    assert f"https://build.example.org/my/{row.token}/" in client.get(f"/my/{row.token}/").content.decode()


def test_numbers_of_queries(
    client: Client, share_link: ShareLink, owner: User, django_assert_num_queries: Callable[[int], Any]
) -> None:
    row = take(share_link, "strip", "C11", 1)
    with django_assert_num_queries(2):  # the link with its build and revision; the sign-ups
        client.get(join_url(share_link))
    with django_assert_num_queries(2):
        client.get(join_url(share_link, "strip"))
    with django_assert_num_queries(5):  # the row with its build and revision; sign-ups; notices; swaps both ways
        client.get(reverse("scheduling:my", args=[row.token]))
