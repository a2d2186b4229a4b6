"""The waiting list, swapping, people under 18, being removed, calendars, and very many at once."""

from __future__ import annotations

import json
import re
import threading
import urllib.error
import urllib.parse
import urllib.request
from collections.abc import Callable
from datetime import UTC, date, timedelta
from io import StringIO
from itertools import pairwise
from typing import Any

import pytest
from django.core.management import call_command
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from buildout.builds.web.models import Build, JournalEntry
from buildout.people.web.models import User
from scheduling.web import floods, sign_ups
from scheduling.web.models import Notice, ShareLink, SignUp, Swap
from scheduling.web.services import signed_up
from tests.web.test_sign_ups import FORM, join_url, key, take

pytestmark = pytest.mark.django_db


def mine(row: SignUp, name: str = "my", *more: Any) -> str:
    return reverse(f"scheduling:{name}", args=[row.token, *more])


def test_who_waits_moves_up_in_order_and_is_told(client: Client, share_link: ShareLink, mailoutbox: list[Any]) -> None:
    first, _ = take(share_link, "cover", "", 1), take(share_link, "cover", "", 2)
    page = client.post(join_url(share_link, "cover", "anywhere"), FORM | {"request_key": key(3)})
    assert page.status_code == 409
    assert "Put me on the waiting list" in page.content.decode()
    client.post(join_url(share_link, "cover", "anywhere"), FORM | {"request_key": key(3), "wait": "1"})
    third, fourth = SignUp.objects.get(request_key=key(3)), take(share_link, "cover", "", 4, wait=True)
    assert third.waiting is not None
    assert "You are next" in client.get(mine(third)).content.decode()
    assert "1 before you" in client.get(mine(fourth)).content.decode()
    sign_ups.withdraw(first)
    third, fourth = SignUp.objects.get(pk=third.pk), SignUp.objects.get(pk=fourth.pk)
    assert (third.waiting, third.day_place) == (None, 1)
    assert fourth.waiting is not None
    assert "A place has come free" in client.get(mine(third)).content.decode()
    assert Notice.objects.get().sign_up == third


def test_a_full_task_lets_others_past(share_link: ShareLink) -> None:
    three = [take(share_link, "strip", "C11", n) for n in (1, 2, 3)]
    waits = take(share_link, "strip", "C11", 4, wait=True)
    others = [take(share_link, "strip", "", n) for n in (5, 6, 7)]
    anywhere = take(share_link, "strip", "", 8, wait=True)
    sign_ups.withdraw(others[0])
    waits.refresh_from_db()
    anywhere.refresh_from_db()
    assert waits.waiting is not None
    assert anywhere.waiting is None
    sign_ups.withdraw(three[1])
    waits = SignUp.objects.get(pk=waits.pk)
    assert (waits.waiting, waits.task_place) == (None, 2)


def test_two_helpers_swap_only_when_both_agree(client: Client, share_link: ShareLink) -> None:
    one = take(share_link, "strip", "C11", 1, name="Bram Tallowfen")
    other = take(share_link, "foam", "", 2, name="Sika Morrowlight")
    page = client.get(mine(one, "swap")).content.decode()
    assert "Sika" in page
    assert "Morrowlight" not in page
    client.post(mine(one, "swap"), {"with": other.pk})
    one.refresh_from_db()
    assert one.day == "strip"
    assert "Bram asks to swap" in client.get(mine(other)).content.decode()
    swap = Swap.objects.get()
    # Nobody else can answer for Sika.
    assert client.post(mine(one, "answer-swap", swap.pk), {"yes": ""}).status_code == 409
    for _ in range(2):
        client.post(mine(other, "answer-swap", swap.pk), {"yes": ""})
    one.refresh_from_db()
    other.refresh_from_db()
    assert (one.day, one.task, one.changes) == ("foam", "", 1)
    assert (other.day, other.task, other.task_place, other.changes) == ("strip", "C11", 1, 1)
    assert SignUp.objects.standing().count() == 2


def test_who_is_asked_and_who_is_answered_gets_a_mail(
    share_link: ShareLink, settings: Any, mailoutbox: list[Any], django_capture_on_commit_callbacks: Any
) -> None:
    settings.PUBLIC_URL = "https://build.example.org"
    one = take(share_link, "strip", "C11", 1, name="Bram Tallowfen", contact="bram@example.org")
    other = take(share_link, "foam", "", 2, name="Sika Morrowlight", contact="sika@example.org")
    mailoutbox.clear()
    with django_capture_on_commit_callbacks(execute=True):
        swap = sign_ups.ask_to_swap(one, other.pk)
    with django_capture_on_commit_callbacks(execute=True):
        sign_ups.answer_swap(other, swap.pk, yes=True)
    asked, answered = mailoutbox
    assert (asked.to, answered.to) == (["sika@example.org"], ["bram@example.org"])
    assert "Bram asks to swap" in asked.subject
    assert f"https://build.example.org/my/{other.token}/" in asked.body
    assert "Sika said yes" in answered.body
    assert all(notice.told for notice in Notice.objects.all())


def test_a_personal_link_others_have_is_closed_and_made_anew(
    client: Client, client_of: Callable[[User | None], Client], owner: User, lead: User, share_link: ShareLink
) -> None:
    row = take(share_link, "strip", "C11", 1, name="Bram Tallowfen", contact="555 0142 817")
    old = [mine(row, name) for name in ("my", "calendar", "feed", "my-board", "change", "swap", "withdraw", "remove")]
    assert all(client.get(address).status_code == 200 for address in old)
    uid = re.search(r"UID:(\S+)", client.get(mine(row, "feed")).content.decode())
    anew = reverse("scheduling:renew-link", args=[row.build_id, row.pk])
    assert client_of(lead).post(anew).status_code == 404
    assert client_of(owner).get(anew).status_code == 405
    page = client_of(owner).post(anew, follow=True).content.decode()
    gone = row.token
    row.refresh_from_db()
    assert gone not in page
    assert "Bram&#x27;s old link is closed" in page
    assert f"/my/{row.token}/" in page  # in the text to tell, and nowhere before it is told
    assert [client.get(address).status_code for address in old] == [404] * len(old)
    assert client.post(f"/my/{gone}/withdraw/").status_code == 404
    assert client.get(mine(row)).status_code == 200
    assert (row.day, row.task, row.withdrawn) == ("strip", "C11", None)
    feed = client.get(mine(row, "feed")).content.decode()
    assert uid is not None
    assert uid[0] in feed  # a calendar takes it for the same entry
    assert f'href="webcal://testserver{mine(row, "feed")}"' in client.get(mine(row)).content.decode()


@pytest.mark.parametrize(
    ("name", "kept"),
    [
        ("\u202eevil\u202c Bram", "evil Bram"),  # what turns the writing direction would turn the whole line
        ("שירה לוי", "שירה לוי"),
        ("Bo 🥋 Tallowfen", "Bo 🥋 Tallowfen"),
        ("<b>Bram</b>", "<b>Bram</b>"),
    ],
)
def test_names_of_all_kinds_are_kept_as_text(client: Client, share_link: ShareLink, name: str, kept: str) -> None:
    answer = client.post(join_url(share_link, "strip", "anywhere"), FORM | {"name": name, "request_key": key(1)})
    row = SignUp.objects.get()
    assert answer["Location"] == mine(row)
    assert row.name == kept
    assert "<b>Bram" not in client.get(mine(row)).content.decode()


@pytest.mark.parametrize("name", ["a" * 10_000, "🥋" * 3, "\u202e\u202c", "   ", "a\x00b"])
def test_names_that_are_none_are_refused_and_kept_in_the_form(client: Client, share_link: ShareLink, name: str) -> None:
    answer = client.post(join_url(share_link, "strip", "anywhere"), FORM | {"name": name, "request_key": key(1)})
    assert answer.status_code == 422
    assert FORM["contact"] in answer.content.decode()
    assert not SignUp.objects.exists()


def test_one_may_wait_for_a_full_task_or_day_from_the_page_of_the_day(client: Client, share_link: ShareLink) -> None:
    for n in range(3):
        take(share_link, "strip", "C11", n, name=f"Bram {'abc'[n]}")
    wait_here = reverse("scheduling:join-task", args=[share_link.token, "strip", "C11"])
    page = client.get(reverse("scheduling:join-day", args=[share_link.token, "strip"])).content.decode()
    assert re.search(rf'<a class="choice full" href="{wait_here}">.*?full. Waiting list', page, re.DOTALL)
    assert "Put me on the waiting list" in client.get(wait_here).content.decode()
    client.post(wait_here, FORM | {"request_key": key(9), "wait": "1"})
    assert SignUp.objects.in_line().get().task == "C11"


def test_a_swap_into_work_somebody_may_not_do_is_refused(client: Client, share_link: ShareLink) -> None:
    one = take(share_link, "strip", "", 1)
    other = take(share_link, "foam", "G03", 2, skills=["carp", "saw"])
    answer = client.post(mine(one, "swap"), {"with": other.pk})
    assert answer.status_code == 409
    assert "practised people only" in answer.content.decode()
    assert client.post(mine(one, "swap"), {"with": "x"}).status_code == 409
    assert not Swap.objects.exists()


@pytest.mark.parametrize(
    ("age", "guardian", "contact", "task", "status"),
    [
        ("16-17", "", "", "", 422),
        ("16-17", "Ada Tallowfen", "no number", "", 422),
        ("16-17", "Ada", "555 0142 818", "", 422),
        ("16-17", "bram  TALLOWFEN", "555 0142 818", "", 422),  # signs for himself
        ("16-17", "Ada Tallowfen", "555 0142 818", "", 302),
        ("16-17", "Ada Tallowfen", "ada@example.org", "", 302),
        ("14-15", "Ada Tallowfen", "555 0142 818", "C12", 409),  # ladders
        ("under 14", "Ada Tallowfen", "555 0142 818", "", 409),
        ("nonsense", "", "", "", 422),
    ],
)
def test_people_under_18(
    client: Client, share_link: ShareLink, age: str, guardian: str, contact: str, task: str, status: int
) -> None:
    form = FORM | {"skills": [], "age": age, "guardian": guardian, "guardian_contact": contact, "request_key": key()}
    answer = client.post(join_url(share_link, "strip", task or "anywhere"), form)
    assert answer.status_code == status
    assert SignUp.objects.count() == (1 if status == 302 else 0)
    if status == 302:
        row = SignUp.objects.get()
        assert (row.guardian_name, row.guardian_contact) == (guardian, contact)


def test_being_removed_leaves_nothing_of_a_person(client: Client, share_link: ShareLink) -> None:
    row = take(share_link, "strip", "C11", 1, name="Zebulon Quench", contact="zeb@example.org", note="no nuts")
    Notice.objects.create(sign_up=row, text="Hello Zebulon.")
    client.get(mine(row, "remove"))
    assert SignUp.objects.standing().exists()
    client.post(mine(row, "remove"))
    row.refresh_from_db()
    assert (row.name, row.contact, row.note) == ("Removed", "", "")
    assert not SignUp.objects.standing().exists()
    assert not Notice.objects.exists()
    assert not JournalEntry.objects.filter(text__contains="Zebulon").exists()
    assert "Zebulon" not in client.get(mine(row)).content.decode()


def test_the_owner_takes_out_whoever_asks_by_telephone(
    client_of: Callable[[User | None], Client], owner: User, lead: User, stranger: User, share_link: ShareLink
) -> None:
    """Also somebody who withdrew; who waited moves up; neither page nor journal says who it was."""
    rows = [take(share_link, "cover", "", n, name=name) for n, name in enumerate(("Bram Tallowfen", "Sika Umberleaf"))]
    sign_ups.withdraw(rows[1], "my knee")
    take(share_link, "cover", "", 3, name="Osei Ash")
    waits = take(share_link, "cover", "", 4, name="Wren Ash", wait=True)
    assert waits.waiting is not None
    build, browser = share_link.build, client_of(owner)
    days = reverse("scheduling:days", args=[build.pk])
    for row in rows:
        address = reverse("scheduling:remove-person", args=[build.pk, row.pk])
        assert address in browser.get(days).content.decode()
        assert address not in client_of(lead).get(days).content.decode()
        for user in (lead, stranger):
            assert client_of(user).post(address).status_code == 404
        assert f"everything about {row.name}?" in browser.get(address).content.decode()
        row.refresh_from_db()
        assert row.contact
        assert browser.post(address)["Location"] == days
        assert browser.post(address).status_code == 404
    browser.get(days)  # the messages are read
    page = browser.get(days).content.decode()
    assert not re.search("Tallowfen|Umberleaf|Bram|Sika|my knee", page)
    assert not build.journal.filter(text__regex="Bram|Sika").exists()
    waits.refresh_from_db()
    assert waits.waiting is None


def test_what_helpers_wrote_is_taken_out_when_its_time_is_over(
    client: Client, share_link: ShareLink, hand_build: Build
) -> None:
    """Kept 90 days after the build day: on the 90th it is still there, on the 91st it is gone; others stay."""
    row = take(share_link, "strip", "C11", 1, name="Zebulon Quench", contact="zeb@example.org", note="no nuts")
    later = take(share_link, "cover", "", 2, name="Wren Applegarth")
    day = timezone.now().date() - timedelta(days=90)
    assert hand_build.current is not None
    hand_build.current.document["crew"]["days"][0]["date"] = day.isoformat()
    hand_build.current.save()
    page = client.get(mine(row)).content.decode()
    assert f"taken out by themselves after {day + timedelta(days=90):%a %-d %b %Y}" in page
    call_command("forget_helpers")
    row.refresh_from_db()
    assert row.name == "Zebulon Quench"
    hand_build.current.document["crew"]["days"][0]["date"] = (day - timedelta(days=1)).isoformat()
    hand_build.current.save()
    said = StringIO()
    call_command("forget_helpers", stdout=said)
    assert said.getvalue() == "1 helper taken out.\n"
    row.refresh_from_db()
    later.refresh_from_db()
    assert (row.name, row.contact, row.note) == ("Removed", "", "")
    assert row.withdrawn is None  # that somebody had the place stays, for who counts how many came
    assert later.name == "Wren Applegarth"
    assert not JournalEntry.objects.filter(text__contains="Zebulon").exists()
    assert "Zebulon" not in client.get(mine(row)).content.decode()


def test_the_server_forgets_by_itself(share_link: ShareLink, hand_build: Build) -> None:
    from buildout.changes.web.serving import forget_helpers

    take(share_link, "strip", "C11", 1)
    assert hand_build.current is not None
    hand_build.current.document["crew"]["days"][0]["date"] = "2020-03-07"
    hand_build.current.save()
    said: list[str] = []
    forget_helpers(said.append)
    assert said == ["Names and contacts of 1 helper taken out: their time is over."]
    forget_helpers(said.append)
    assert len(said) == 1


def test_who_withdraws_may_leave_a_word_for_the_organisers(
    client: Client, client_of: Callable[[User | None], Client], lead: User, partner: User, share_link: ShareLink
) -> None:
    row = take(share_link, "strip", "C11", 1, name="Neve Cobblestone")
    assert "A word to the organisers" in client.get(mine(row, "withdraw")).content.decode()
    client.post(mine(row, "withdraw"), {"word": "my knee;  I can <b>bake</b> " + "x" * 300})
    row.refresh_from_db()
    assert row.withdrawn
    assert row.word.startswith("my knee; I can <b>bake</b> x")
    assert len(row.word) == 200
    page = client_of(lead).get(reverse("scheduling:days", args=[row.build_id])).content.decode()
    assert "Called off</h4>" in page
    assert "“my knee; I can &lt;b&gt;bake&lt;/b&gt;" in page
    assert "my knee" not in JournalEntry.objects.latest("pk").text
    client.post(mine(row, "remove"))
    row.refresh_from_db()
    assert row.word == ""


def test_nobody_is_offered_a_swap_with_themselves(client: Client, share_link: ShareLink) -> None:
    row = take(share_link, "strip", "C11", 1, name="Ida Larkspur", contact="555 0142 001")
    take(share_link, "foam", "", 2, name="Ida Larkspur", contact="555 0142 001")
    take(share_link, "foam", "", 3, name="Ida Larkspur", contact="555 0142 002")  # another of the same name
    assert client.get(mine(row, "swap")).content.decode().count("Ask Ida") == 1


def test_a_poster_for_one_day_leads_to_that_day(
    client: Client, client_of: Callable[[User | None], Client], lead: User, partner: User, share_link: ShareLink
) -> None:
    address = reverse("scheduling:day-poster", args=[share_link.build_id, "strip"])
    page = client_of(lead).get(f"{address}?print").content.decode()
    way_in = join_url(share_link, "strip")
    assert way_in in page
    assert "Sweep and wash the slab" in page
    assert "Lay base foam" not in page
    assert client.get(way_in).status_code == 200
    assert client_of(lead).get(reverse("scheduling:day-poster", args=[share_link.build_id, "no"])).status_code == 404
    assert client_of(partner).get(address).status_code == 404
    assert client_of(lead).post(address).status_code == 405


def test_a_robot_is_stopped_and_nobody_loses_a_place(
    client: Client, share_link: ShareLink, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sign_ups, "MOST_AN_HOUR", 6)
    for n in range(20):
        client.post(join_url(share_link, "cover", "anywhere"), FORM | {"request_key": key(n), "wait": "1"})
    assert (SignUp.objects.standing().count(), SignUp.objects.in_line().count()) == (2, 4)
    answer = client.post(join_url(share_link, "foam", "anywhere"), FORM | {"request_key": key(99)})
    assert answer.status_code == 409
    assert "takes no more for now" in answer.content.decode()


def test_a_flood_stops_at_the_limit_and_an_hour_later_helpers_get_in(client: Client, share_link: ShareLink) -> None:
    first = take(share_link, "strip", "C11", 1, name="Bram Tallowfen")
    SignUp.objects.bulk_create(
        SignUp(
            build=share_link.build, day="foam", day_place=0, name=f"Robot {n}", contact=f"555 02{n:04} 817",
            waiting=timezone.now(), request_key=f"robot-number-{n:06d}",
        )
        for n in range(sign_ups.MOST_AN_HOUR - 2)
    )  # fmt: skip
    answers = [
        client.post(join_url(share_link, "strip", "anywhere"), FORM | {"request_key": key(n + 50), "wait": "1"})
        for n in range(5)
    ]
    assert [answer.status_code for answer in answers] == [302, 409, 409, 409, 409]
    assert "Nobody who is on it has lost a place" in answers[-1].content.decode()
    assert SignUp.objects.count() == sign_ups.MOST_AN_HOUR
    first.refresh_from_db()
    assert (first.name, first.withdrawn, first.waiting) == ("Bram Tallowfen", None, None)
    SignUp.objects.update(created=timezone.now() - timedelta(hours=2))
    late = client.post(join_url(share_link, "cover", "anywhere"), FORM | {"request_key": key(99)})
    assert late.status_code == 302
    assert SignUp.objects.standing().filter(day="cover").count() == 1


def test_2000_sign_ups_by_a_robot_are_stopped_and_taken_out_together(
    client: Client, client_of: Callable[[User | None], Client], owner: User, lead: User, hand_build: Build,
    share_link: ShareLink,
) -> None:  # fmt: skip
    """Really 2,000 forms: the limit is said, nobody who was there loses a place, one tap takes the robot's out."""
    yesterday = timezone.now() - timedelta(days=1)
    before = [take(share_link, "strip", "C11", 1, name="Bram Tallowfen"), take(share_link, "cover", "", 2)]
    SignUp.objects.update(created=yesterday)
    days, codes = ("strip", "foam", "cover"), []
    for n in range(2000):
        address = join_url(share_link, days[n % 3], "anywhere")
        form = {"name": f"Robot {n}", "contact": f"555 01{n:04} 899", "request_key": key(n + 100), "wait": "1"}
        codes.append(client.post(address, form).status_code)
    assert codes.count(302) == sign_ups.MOST_AN_HOUR
    assert codes.count(409) == 2000 - sign_ups.MOST_AN_HOUR
    told = client.post(address, form | {"request_key": key(9000)}).content.decode()
    assert f"More than {sign_ups.MOST_AN_HOUR} sign-ups came in within an hour" in told
    # One helper came in between the robot's, and stays when the owner takes the tick off.
    real = SignUp.objects.filter(day="foam", waiting=None).first()
    assert real is not None
    owner_page = client_of(owner)
    crew_days = owner_page.get(reverse("scheduling:days", args=[hand_build.pk])).content.decode()
    assert f"{sign_ups.MOST_AN_HOUR} sign-ups came in on" in crew_days
    assert "take them out together" not in client_of(lead).get(
        reverse("scheduling:days", args=[hand_build.pk])
    ).content.decode()  # fmt: skip
    hours = owner_page.get(reverse("scheduling:by-hour", args=[hand_build.pk])).context["hours"]
    assert sum(hour.here for hour in hours) == sign_ups.MOST_AN_HOUR + 2
    for hour in hours[:-1]:
        address = reverse("scheduling:hour", args=[hand_build.pk, hour.number])
        page = owner_page.get(address)
        ticked = [row.pk for row, _ in page.context["rows"] if row.pk != real.pk]
        assert "The 2 that came in before stay" in page.content.decode() or len(hours) > 2
        owner_page.post(address, {"out": ticked})
    left = SignUp.objects.filter(withdrawn=None)
    assert {row.pk for row in left} == {*(row.pk for row in before), real.pk}
    for row in before:
        was = (row.day, row.task, row.day_place, row.task_place)
        row.refresh_from_db()
        assert (row.day, row.task, row.day_place, row.task_place) == was
    # Helpers get in at once; the robot's own pages say what happened; crew days do not list them.
    assert take(share_link, "cover", "", 9500).waiting is None
    gone = SignUp.objects.exclude(taken_out=None).first()
    assert gone is not None
    assert "Your place was taken out" in client.get(mine(gone)).content.decode()
    assert "Robot 7<" not in owner_page.get(reverse("scheduling:days", args=[hand_build.pk])).content.decode()
    # And back again: first come first, the rest waits.
    for hour in hours[:-1]:
        owner_page.post(reverse("scheduling:bring-back", args=[hand_build.pk, hour.number]))
    assert not SignUp.objects.exclude(taken_out=None).exists()
    assert SignUp.objects.filter(withdrawn=None).count() == sign_ups.MOST_AN_HOUR + 3
    for day, places in (("strip", 6), ("foam", 5), ("cover", 2)):
        assert sorted(SignUp.objects.standing().filter(day=day).values_list("day_place", flat=True)) == list(
            range(1, places + 1)
        )


def test_who_wants_no_powered_tools_is_kept_from_them(
    client: Client, client_of: Callable[[User | None], Client], owner: User, hand_build: Build, share_link: ShareLink
) -> None:
    assert hand_build.current is not None
    result = json.loads(hand_build.current.result)
    next(task for task in result["tasks"]["tasks"] if task["code"] == "H01")["tools"] = "driver, tape"
    hand_build.current.result = json.dumps(result)
    hand_build.current.save()
    form = FORM | {"no_power_tools": "on"}
    refused = client.post(join_url(share_link, "foam", "H01"), form | {"request_key": key(1)})
    assert refused.status_code == 409
    assert "done with powered tools" in refused.content.decode()
    assert re.search(r'name="no_power_tools"[^>]* checked', refused.content.decode())
    client.post(join_url(share_link, "foam", "anywhere"), form | {"request_key": key(1)})
    row = SignUp.objects.get()
    assert row.power_tools is False
    assert [one.power_tools for one in signed_up(hand_build)] == [False]
    assert "No powered tools" in client_of(owner).get(reverse("scheduling:days", args=[hand_build.pk])).content.decode()
    with pytest.raises(sign_ups.NoPlaceError, match="powered tools"):
        sign_ups.move(row, "foam", "H01")


def test_a_robot_with_one_contact_leaves_the_list_open_to_others(
    client: Client, share_link: ShareLink, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sign_ups, "MOST_A_CONTACT", 5)
    robot = FORM | {"name": "Robot", "contact": "555 0142 899", "wait": "1"}
    answers = [
        client.post(join_url(share_link, "cover", "anywhere"), robot | {"request_key": key(n)}) for n in range(8)
    ]
    assert [answer.status_code for answer in answers] == [302] * 5 + [409] * 3
    assert "5 sign-ups came in under this contact within an hour" in answers[-1].content.decode()
    other = client.post(join_url(share_link, "foam", "anywhere"), FORM | {"request_key": key(99)})
    assert other.status_code == 302
    assert SignUp.objects.standing().filter(day="foam").count() == 1


def test_the_owner_is_told_of_a_flood_and_its_mails_stop(
    client: Client, client_of: Callable[[User | None], Client], cast: dict[str, User], quick_build: Build,
    monkeypatch: pytest.MonkeyPatch, mailoutbox: list[Any], settings: Any, django_capture_on_commit_callbacks: Any,
) -> None:  # fmt: skip
    """Five forms with five addresses and a limit of three: two get a mail, the owner gets one, once an hour."""
    monkeypatch.setattr(floods, "MANY", 3)
    settings.PUBLIC_URL = "https://build.example.org"
    build, link = quick_build, ShareLink.objects.create(build=quick_build)

    def send(n: int) -> None:
        form = {"name": f"Robot {n}", "contact": f"r{n}@example.org", "request_key": key(n), "wait": "1"}
        with django_capture_on_commit_callbacks(execute=True):
            assert client.post(join_url(link, "floor", "anywhere"), form).status_code == 302

    overview = reverse("changes:overview", args=[build.pk])
    for n in range(5):
        send(n)
        SignUp.objects.update(created=timezone.now())  # all in one hour of the clock
        assert ("sign-ups came in within the hour" in client_of(cast["owner"]).get(overview).content.decode()) == (
            n >= 2
        )
    by_hour = reverse("scheduling:by-hour", args=[build.pk])
    assert [mail.to for mail in mailoutbox] == [["r0@example.org"], ["r1@example.org"], [cast["owner"].email]]
    assert "3 sign-ups came in within an hour" in mailoutbox[-1].body
    assert f"https://build.example.org{by_hour}" in mailoutbox[-1].body
    assert build.journal.filter(text__contains="came in within an hour").count() == 1
    for role in ("lead", "partner"):
        assert "sign-ups came in within" not in client_of(cast[role]).get(overview).content.decode()
    # Two taken out and one more: the third within the hour once again, and the owner knows already.
    sign_ups.take_out_together(build, list(SignUp.objects.filter(day="floor"))[:3], by=cast["owner"])
    mailoutbox.clear()
    send(9)
    assert mailoutbox == []
    # An hour later it is told anew; after a week nobody is asked any more.
    build.journal.update(at=timezone.now() - timedelta(hours=2))
    sign_ups.take_out_together(build, list(SignUp.objects.filter(withdrawn=None))[:1], by=cast["owner"])
    send(10)
    assert [mail.to for mail in mailoutbox] == [[cast["owner"].email]]
    SignUp.objects.update(created=timezone.now() - timedelta(days=8))
    assert "sign-ups came in within the hour" not in client_of(cast["owner"]).get(overview).content.decode()


def test_those_who_came_one_by_one_in_the_hour_of_a_robot_are_not_ticked(
    client_of: Callable[[User | None], Client], owner: User, hand_build: Build, share_link: ShareLink
) -> None:
    """Two people at five past and at half past; between them forty sign-ups, two seconds apart."""
    people = [take(share_link, "strip", "", n, name=f"Person {n}") for n in (1, 2)]
    hour = timezone.now().replace(minute=0, second=0, microsecond=0) - timedelta(hours=3)
    for row, minute in zip(people, (5, 30), strict=True):
        SignUp.objects.filter(pk=row.pk).update(created=hour + timedelta(minutes=minute))
    address = reverse("scheduling:hour", args=[hand_build.pk, int(hour.timestamp()) // 3600])
    page = client_of(owner).get(address).content.decode()
    assert page.count(" checked>") == 2  # no crowd: all, as the owner came here to take somebody out
    robots = SignUp.objects.bulk_create(
        SignUp(
            build=hand_build, day="foam", day_place=0, name=f"Robot {n}", contact="555 0142 899",
            waiting=timezone.now(), request_key=f"robot-number-{n:06d}",
        )
        for n in range(40)
    )  # fmt: skip
    for n, row in enumerate(robots):
        SignUp.objects.filter(pk=row.pk).update(created=hour + timedelta(minutes=15, seconds=2 * n))
    answer = client_of(owner).get(address)
    assert answer.context["ticked"] == {row.pk for row in robots}
    page = answer.content.decode()
    assert page.count(" checked>") == 40
    assert "The 40 that came in a crowd, many within a minute, are ticked; the others are not." in page


def test_who_may_take_out_an_hour(
    client_of: Callable[[User | None], Client], owner: User, lead: User, hand_build: Build, share_link: ShareLink
) -> None:
    row = take(share_link, "strip", "C11", 1)
    number = int(row.created.timestamp()) // 3600
    address = reverse("scheduling:hour", args=[hand_build.pk, number])
    for name, more in (("by-hour", []), ("hour", [number])):
        page = reverse(f"scheduling:{name}", args=[hand_build.pk, *more])
        assert client_of(owner).get(page).status_code == 200
        assert client_of(lead).get(page).status_code == 404
        assert client_of(None).get(page).status_code == 302
    for wrong in (0, 10**9):
        assert client_of(owner).get(reverse("scheduling:hour", args=[hand_build.pk, wrong])).status_code == 404
    assert client_of(owner).get(reverse("scheduling:bring-back", args=[hand_build.pk, number])).status_code == 405
    for wrong_tick in ([], ["x"], ["999999"], ["9" * 30]):
        answer = client_of(owner).post(address, {"out": wrong_tick}, follow=True)
        assert "Nobody was ticked" in answer.content.decode()
    row.refresh_from_db()
    assert row.withdrawn is None


def test_who_is_down_twice_for_a_day_is_told(
    client: Client, client_of: Callable[[User | None], Client], owner: User, hand_build: Build, share_link: ShareLink
) -> None:
    """Both places stand, since two people may share name and telephone; both pages and the owner's sheet say it."""
    one = take(share_link, "strip", "C11", 1, name="Bram Tallowfen", contact="555 0142 817")
    two = take(share_link, "strip", "C12", 2, name="bram  tallowfen", contact="(555) 0142-817")
    other = take(share_link, "foam", "", 3, name="Bram Tallowfen", contact="555 0142 817")
    assert "down for this day twice:</strong> here, and for Patch the walls" in client.get(mine(one)).content.decode()
    assert "here, and for Sweep and wash the slab" in client.get(mine(two)).content.decode()
    assert "twice" not in client.get(mine(other)).content.decode()
    page = client_of(owner).get(reverse("scheduling:days", args=[hand_build.pk])).content.decode()
    assert page.count("Down for this day twice") == 2
    sign_ups.withdraw(two)
    assert "twice" not in client.get(mine(one)).content.decode()


def test_two_dates_are_welcome_two_build_days_at_the_same_hours_are_told(
    client: Client, client_of: Callable[[User | None], Client], owner: User, hand_build: Build, share_link: ShareLink
) -> None:
    one = take(share_link, "strip", "C11", 1, name="Bram Tallowfen", contact="555 0142 817")
    two = take(share_link, "foam", "H01", 2, name="Bram Tallowfen", contact="555 0142 817")
    sheet = reverse("scheduling:days", args=[hand_build.pk])
    assert "twice" not in client.get(mine(one)).content.decode()
    assert "Down for this day twice" not in client_of(owner).get(sheet).content.decode()
    assert hand_build.current is not None
    days = hand_build.current.document["crew"]["days"]
    days[1] |= {"date": days[0]["date"], "place": "garage", "start": "13:00", "end": "18:00"}
    hand_build.current.save()
    told = client.get(mine(one)).content.decode()
    assert "twice:</strong> here, and for Lay base foam on “Frame and foam” of the same date, 13:00 to 18:00" in told
    assert "and for Sweep and wash the slab on “Strip and clean”" in client.get(mine(two)).content.decode()
    assert client_of(owner).get(sheet).content.decode().count("Down for this day twice") == 2
    # One in the morning and one after it ends go together.
    days[0] |= {"end": "13:00"}
    hand_build.current.save()
    assert "twice" not in client.get(mine(one)).content.decode()
    assert SignUp.objects.standing().count() == 2


def test_being_removed_takes_the_name_and_not_the_word(share_link: ShareLink, hand_build: Build) -> None:
    row = take(share_link, "strip", "C11", 1, name="Will Quench")
    tellers = (("Will signed up for Will: wash the slab", "Will"), ("Sika and Will swapped places: Will", "Will"),
               ("Willow moved up from the waiting list: Will", "Willow"))  # fmt: skip
    made = [JournalEntry.objects.create(build=hand_build, kind="sign-up", text=t, by_name=who) for t, who in tellers]
    sign_ups.remove(row)
    for entry in made:
        entry.refresh_from_db()
    assert [(entry.text, entry.by_name) for entry in made] == [
        ("A helper signed up for Will: wash the slab", "A helper"),
        ("Sika and A helper swapped places: Will", "A helper"),
        ("Willow moved up from the waiting list: Will", "Willow"),
    ]


def test_a_link_can_end_by_itself(client_of: Callable[[User | None], Client], owner: User, hand_build: Build) -> None:
    client, address = client_of(owner), reverse("scheduling:new-link", args=[hand_build.pk])
    for wrong in ("yesterday", "2001-01-01", "9999-12-31"):
        client.post(address, {"until": wrong})
        assert not ShareLink.objects.exists()
    client.post(address, {"until": (timezone.now().date() + timedelta(days=3)).isoformat()})
    link = ShareLink.objects.get()
    assert link.expires is not None
    assert link.expires > timezone.now() + timedelta(days=3)


def test_reminders_hold_each_ones_own_link(
    client_of: Callable[[User | None], Client], lead: User, partner: User, hand_build: Build, share_link: ShareLink
) -> None:
    row = take(share_link, "strip", "C11", 1)
    address = reverse("scheduling:reminders", args=[hand_build.pk, "strip"])
    page = client_of(lead).get(address).content.decode()
    assert f"/my/{row.token}/" in page
    assert "from 08:30" in page
    assert 'href="sms:5550142817?body=Hello%20Helper%2C%20Strip%20and%20clean' in page
    assert client_of(partner).get(address).status_code == 404
    assert client_of(lead).get(reverse("scheduling:reminders", args=[hand_build.pk, "no"])).status_code == 404


def test_the_calendar_keeps_wall_clock_time_across_a_clock_change(client: Client, share_link: ShareLink) -> None:
    """New York goes to summer time on the second Sunday of March (IANA time zone database, rule US from 2007)."""
    from icalendar import Calendar

    row = take(share_link, "strip", "C11", 1)
    build = row.build
    assert build.current is not None
    build.current.document["time_zone"] = "America/New_York"
    year = timezone.now().year + 1
    sunday = next(date(year, 3, n) for n in range(8, 15) if date(year, 3, n).weekday() == 6)
    hours = {}
    for day in (sunday - timedelta(days=1), sunday):
        build.current.document["crew"]["days"][0]["date"] = day.isoformat()
        build.current.save()
        made = Calendar.from_ical(client.get(mine(row, "feed")).content)
        event: Any = made.walk("VEVENT")[0]
        assert event.decoded("dtstart").strftime("%H:%M") == "08:30"
        hours[day] = event.decoded("dtstart").astimezone(UTC).hour
        assert [alarm["trigger"].dt for alarm in event.walk("VALARM")] == [timedelta(days=-7), timedelta(days=-1)]
        assert made.walk("VTIMEZONE")
    assert list(hours.values()) == [13, 12]  # 08:30 is 13:30 UTC in winter and 12:30 UTC in summer
    before = event.decoded("sequence")
    sign_ups.move(row, "foam", "")
    after: Any = Calendar.from_ical(client.get(mine(row, "feed")).content).walk("VEVENT")[0]
    assert after.decoded("sequence") == before + 1


def test_the_calendar_file_keeps_the_standard_to_the_octet(client: Client, share_link: ShareLink) -> None:
    """RFC 5545: 3.1 lines and folding, 3.3.11 escaping, 3.6 and 3.6.1 what must be there, 3.6.5 and 3.2.19 zones."""
    from icalendar import Calendar

    row = take(share_link, "strip", "C11", 1)
    assert row.build.current is not None
    document = row.build.current.document
    document["time_zone"] = "America/New_York"
    food = "Lay foam; tape seams, wipe\\down\nBring knives"
    document["crew"]["days"][0] |= {"food": food, "name": "a" * 66 + "é" + "b" * 10, "date": "2031-03-15"}
    row.build.current.save()
    raw = client.get(mine(row, "calendar")).content
    assert raw.endswith(b"\r\n")
    assert raw.count(b"\n") == raw.count(b"\r\n")
    lines = raw.split(b"\r\n")[:-1]
    assert max(map(len, lines)) <= 75
    for line in lines:
        line.decode()  # folded, but never inside a character
    unfolded = raw.replace(b"\r\n ", b"").decode().split("\r\n")
    assert any(line.startswith("SUMMARY:") and line.endswith(f"{'a' * 66}é{'b' * 10}") for line in unfolded)
    assert any("Lay foam\\; tape seams\\, wipe\\\\down\\nBring knives" in line for line in unfolded)
    event: Any = Calendar.from_ical(raw).walk("VEVENT")[0]
    assert f"Food: {food}" in event["DESCRIPTION"]

    def block(name: str) -> list[str]:
        return unfolded[unfolded.index(f"BEGIN:{name}") : unfolded.index(f"END:{name}")]

    assert {line.split(":")[0] for line in unfolded} >= {"VERSION", "PRODID", "UID", "DTSTAMP"}
    used = {zone for line in unfolded for zone in re.findall(r";TZID=([^:;]+)", line)}
    assert used == {"America/New_York"}
    assert [line for line in unfolded if line.startswith("TZID:")] == ["TZID:America/New_York"]
    for part, offset in (("STANDARD", "-0500"), ("DAYLIGHT", "-0400")):
        assert {line.split(":")[0].split(";")[0] for line in block(part)} >= {"DTSTART", "TZOFFSETFROM", "TZOFFSETTO"}
        assert f"TZOFFSETTO:{offset}" in block(part)
    assert not [line for line in unfolded if "TZID" in line and line.endswith("Z")]
    # 15 March 2031 is in summer time, which began on the 9th: 08:30 there is 12:30 UTC, four and not five hours on.
    assert event.decoded("dtstart").astimezone(UTC).strftime("%d %H:%M") == "15 12:30"


@pytest.mark.postgresql
@pytest.mark.django_db(transaction=True)
def test_200_sign_ups_at_once_for_40_places(
    hand_build: Build, share_link: ShareLink, live_server: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Over real HTTP: exactly 40 have a place, each its own; the other 160 wait in one line."""
    assert hand_build.current is not None
    hand_build.current.document["crew"]["days"][0]["places"] = 40
    hand_build.current.save()
    address = live_server.url + join_url(share_link, "strip", "anywhere")
    with urllib.request.urlopen(address) as page:  # noqa: S310 - our own server
        cookie = page.headers["Set-Cookie"].split(";")[0]
    token = cookie.partition("=")[2]
    # As many at a time as a server of ours has threads for; PostgreSQL lets no more than a hundred in.
    seats, answer_one = threading.BoundedSemaphore(64), live_server.thread.httpd.process_request_thread

    def seated(*request: Any) -> None:
        with seats:
            answer_one(*request)

    monkeypatch.setattr(live_server.thread.httpd, "process_request_thread", seated)
    gate = threading.Barrier(200)
    answers: list[int] = []

    def send(n: int) -> None:
        form = {"name": f"Helper {n}", "contact": f"555 0142 {n:03}", "request_key": key(n), "wait": "1"}
        data = urllib.parse.urlencode(form | {"csrfmiddlewaretoken": token}).encode()
        request = urllib.request.Request(address, data, {"Cookie": cookie})  # noqa: S310
        gate.wait(60)
        while True:
            try:
                with urllib.request.urlopen(request, timeout=300) as answer:  # noqa: S310
                    answers.append(answer.status)
            except urllib.error.HTTPError as error:
                answers.append(error.code)
            except OSError:
                continue  # the door was crowded; the same form is sent again, as people do
            return

    threads = [threading.Thread(target=send, args=[n]) for n in range(200)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert answers.count(200) == 200, sorted(set(answers))
    assert sorted(SignUp.objects.standing().values_list("day_place", flat=True)) == list(range(1, 41))
    line = list(SignUp.objects.in_line())
    assert len(line) == 160
    assert all(row.waiting and after.waiting and row.waiting <= after.waiting for row, after in pairwise(line))
    # In the order in which the database took them in, and all after the forty who have places.
    assert [row.pk for row in line] == sorted(row.pk for row in line)
    assert max(SignUp.objects.standing().values_list("pk", flat=True)) < line[0].pk
    sign_ups.withdraw(SignUp.objects.standing()[7])
    line[0].refresh_from_db()
    assert (line[0].waiting, line[0].day_place) == (None, 8)
    assert [row.pk for row in SignUp.objects.in_line()] == [row.pk for row in line[1:]]
    assert timezone.now() >= SignUp.objects.in_line()[0].created
