"""The board of a build day: marks taken once, contradictions kept for the lead, helpers kept to their own."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from io import BytesIO
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from PIL import Image

from buildout.builds.web.models import Build, Proposal
from buildout.builds.web.services import Sheet
from buildout.people.web.models import User
from scheduling.web.marks import read_day
from scheduling.web.models import DayMark, DayPhoto, ShareLink, SignUp
from tests.web.test_sign_ups import take

pytestmark = pytest.mark.django_db
ClientOf = Callable[[User | None], Client]


@pytest.fixture
def on_the_day(monkeypatch: pytest.MonkeyPatch, hand_build: Build) -> None:
    """The strip day is today."""
    revision = hand_build.current
    assert revision is not None
    ten = timedelta(days=10)
    monkeypatch.setattr(Sheet, "today", lambda self: timezone.now().date() + ten)


@pytest.fixture
def bram(share_link: ShareLink, on_the_day: None) -> SignUp:
    return take(share_link, "strip", "C11", 1, name="Bram Tallowfen", contact="bram@example.org")


@pytest.fixture
def sika(share_link: ShareLink, on_the_day: None) -> SignUp:
    return take(share_link, "strip", "C12", 2, name="Sika Morrowlight", contact="sika@example.org")


def of(build: Build, name: str = "board", *more: Any, day: str = "strip") -> str:
    return reverse(f"scheduling:{name}", args=[build.pk, day, *more])


def mine(row: SignUp, name: str = "my-board", *more: Any) -> str:
    return reverse(f"scheduling:{name}", args=[row.token, *more])


def in_the_net(build: Build, code: str, **fields: Any) -> None:
    """Give a task of the build's task net other values."""
    revision = build.current
    assert revision is not None
    result = json.loads(revision.result)
    next(task for task in result["tasks"]["tasks"] if task["code"] == code).update(fields)
    revision.result = json.dumps(result)
    revision.save()


COUNT = iter(range(10**9))


def say(client: Client, address: str, what: str, **more: Any) -> Any:
    key = more.pop("key", f"key-of-page-{next(COUNT)}")
    follow = more.pop("follow", False)
    return client.post(address, {"say": what, "key": key} | more, follow=follow)


def as_phone(client: Client, address: str, what: str, **more: Any) -> Any:
    key = more.pop("key", f"key-of-page-{next(COUNT)}")
    return client.post(address, {"say": what, "key": key} | more, headers={"accept": "application/json"})


def test_a_task_goes_from_start_to_finish_with_those_who_were_on_it(
    client_of: ClientOf, lead: User, hand_build: Build, bram: SignUp
) -> None:
    client, address = client_of(lead), of(hand_build, "board-mark")
    say(client, address, f"here:s{bram.pk}")
    say(client, address, "start:C11")
    page = client.get(of(hand_build)).content.decode()
    assert re.search(r"Under way since \d\d:\d\d: Bram", page)
    assert "Tallowfen" not in page
    say(client, address, "finish:C11")
    assert "✓ Finished at" in client.get(of(hand_build)).content.decode()
    kinds = list(DayMark.objects.values_list("kind", "outcome"))
    assert kinds == [("here", "taken"), ("start", "taken"), ("finish", "taken")]
    assert [person.sign_up for person in DayMark.objects.get(kind="start").people.all()] == [bram]


def test_pages_are_light_and_hold_no_inline_script_or_style(
    client_of: ClientOf, lead: User, hand_build: Build, bram: SignUp
) -> None:
    client = client_of(lead)
    files = sum(
        len(b"".join(client.get(f"/static/{name}").streaming_content)) for name in ("css/helper.css", "js/board.js")
    )
    addresses = [
        of(hand_build), of(hand_build, "board-task", "C11"), of(hand_build, "board-people"),
        of(hand_build, "board-end"), of(hand_build, "day-sheet"), mine(bram), mine(bram, "my-board-task", "C11"),
    ]  # fmt: skip
    for address in addresses:
        answer = client.get(address)
        assert answer.status_code == 200, address
        assert len(answer.content) + files < 60_000, address
        assert b" style=" not in answer.content
        assert not re.search(rb"<script(?! src=)", answer.content)


def test_a_mark_sent_twice_is_taken_once(client_of: ClientOf, lead: User, hand_build: Build, bram: SignUp) -> None:
    client, address = client_of(lead), of(hand_build, "board-mark")
    for _ in range(3):
        answer = as_phone(client, address, "start:C11", key="the-same-key-1")
        assert answer.json() == {"outcome": "taken", "text": ""}
    assert DayMark.objects.count() == 1
    # The same page's other buttons are marks of their own.
    assert as_phone(client, address, "finish:C11", key="the-same-key-1").json()["outcome"] == "taken"
    assert DayMark.objects.count() == 2


def test_marks_kept_without_signal_carry_the_time_they_were_made(
    client_of: ClientOf, lead: User, hand_build: Build, bram: SignUp
) -> None:
    client, address = client_of(lead), of(hand_build, "board-mark")
    as_phone(client, address, "start:C11", ago="7200")
    as_phone(client, address, "finish:C11", ago="3600")
    start, finish = DayMark.objects.all()
    assert timedelta(hours=2) - timedelta(minutes=1) < start.received - start.at < timedelta(hours=2, minutes=1)
    assert timedelta(minutes=59) < finish.at - start.at < timedelta(minutes=61)
    # Nonsense and far too long ago are bounded.
    as_phone(client, address, "start:C12", ago="99999999")
    as_phone(client, address, "short", text="tape", ago="-5")
    last = DayMark.objects.get(kind="start", task="C12")
    assert last.received - last.at == timedelta(days=3)


def test_a_late_mark_that_contradicts_waits_for_the_lead(
    client_of: ClientOf, lead: User, hand_build: Build, bram: SignUp
) -> None:
    client, address = client_of(lead), of(hand_build, "board-mark")
    as_phone(client, address, "start:C11", ago="7200")
    as_phone(client, address, "finish:C11", ago="1800")
    answer = as_phone(Client(), mine(bram, "my-board-mark"), "stop:C11", ago="3600").json()
    assert answer["outcome"] == "conflict"
    assert "Ines finished it" in answer["text"]  # helpers see first names only, the crew lead's too
    held = DayMark.objects.get(kind="stop")
    page = client.get(of(hand_build)).content.decode()
    assert "Said differently" in page
    assert "Bram is right" in page
    helpers_page = Client().get(mine(bram)).content.decode()
    assert "The crew lead decides" in helpers_page
    assert "Bram is right" not in helpers_page
    client.post(of(hand_build, "board-settle", held.pk), {"take": ""})
    page = client.get(of(hand_build)).content.decode()
    assert "Said differently" not in page
    assert "Stopped at" in page
    # A second tap on either answer changes nothing any more.
    client.post(of(hand_build, "board-settle", held.pk), {"leave": ""})
    assert DayMark.objects.count() == 4


def test_people_are_swapped_between_tasks_and_nobody_works_at_two(
    client_of: ClientOf, lead: User, hand_build: Build, bram: SignUp, sika: SignUp
) -> None:
    client, address = client_of(lead), of(hand_build, "board-mark")
    say(client, address, f"here:s{bram.pk}")
    say(client, address, f"here:s{sika.pk}")
    say(client, address, "start:C11", people=[f"s{bram.pk}", f"s{sika.pk}"])
    page = client.get(of(hand_build, "board-task", "C12")).content.decode()
    assert "now at: Sweep and wash the slab; a tick brings Sika here" in page
    # Sika goes over; Bram stays.
    say(client, address, "start:C12", people=[f"s{sika.pk}"])
    day = read_day(hand_build, "strip")
    assert (day.tasks["C11"].state, day.tasks["C11"].people) == ("under way", [f"s{bram.pk}"])
    assert (day.tasks["C12"].state, day.tasks["C12"].people) == ("under way", [f"s{sika.pk}"])
    # Bram follows: the slab has nobody left, so it stops.
    say(client, address, "crew:C12", people=[f"s{bram.pk}", f"s{sika.pk}"])
    day = read_day(hand_build, "strip")
    assert day.tasks["C11"].state == "stopped"
    assert day.tasks["C12"].people == [f"s{bram.pk}", f"s{sika.pk}"]
    # What was said by a phone without signal, before, moves nobody.
    before = DayMark.objects.count()
    as_phone(client, address, "start:C11", people=[f"s{bram.pk}"], ago="3600")
    assert DayMark.objects.count() == before + 1
    assert read_day(hand_build, "strip").tasks["C12"].people == [f"s{bram.pk}", f"s{sika.pk}"]


def test_going_on_after_a_stop_offers_the_crew_that_was_on_it(
    client_of: ClientOf, lead: User, hand_build: Build, bram: SignUp, sika: SignUp
) -> None:
    client, address = client_of(lead), of(hand_build, "board-mark")
    crew = [f"s{bram.pk}", f"s{sika.pk}"]
    for key in crew:
        say(client, address, f"here:{key}")
    say(client, address, "start:C11", people=crew)
    say(client, address, "stop:C11")

    def ticked() -> set[str]:
        page = client.get(of(hand_build, "board-task", "C11")).content.decode()
        return set(re.findall(r'value="(s\d+)" checked', page))

    assert ticked() == set(crew)
    say(client, address, "start:C12", people=[f"s{sika.pk}"])  # she works elsewhere now, and stays there
    assert ticked() == {f"s{bram.pk}"}


def test_leaving_a_contradiction_keeps_what_stands(
    client_of: ClientOf, lead: User, hand_build: Build, bram: SignUp
) -> None:
    client = client_of(lead)
    as_phone(client, of(hand_build, "board-mark"), "stop:C11")
    held = DayMark.objects.get()
    assert (held.outcome, held.against) == ("conflict", "Nobody has started it")
    client.post(of(hand_build, "board-settle", held.pk), {"leave": ""})
    held.refresh_from_db()
    assert held.outcome == "settled"
    assert DayMark.objects.count() == 1


def test_arrival_briefing_and_meals(
    client_of: ClientOf, lead: User, hand_build: Build, bram: SignUp, sika: SignUp
) -> None:
    client, address = client_of(lead), of(hand_build, "board-mark")
    assert say(client, address, "heard:everybody").status_code == 302
    assert not DayMark.objects.exists()
    answer = say(client, address, f"here:s{bram.pk}", **{"from": "people"})
    assert answer["Location"] == f"{of(hand_build, 'board-people')}#s{bram.pk}"  # back to where the thumb was
    page = client.get(of(hand_build, "board-people")).content.decode()
    assert "not briefed" in page
    assert 'Sika Morrowlight, <a class="call" href="mailto:sika@example.org">sika@example.org</a>' in page
    say(client, address, "here:core-mira")
    say(client, address, "heard:everybody")
    assert {p.key for p in DayMark.objects.get(kind="heard").people.all()} == {f"s{bram.pk}", "core-mira"}
    assert "Everybody here has heard" in client.get(of(hand_build, "board-people")).content.decode()
    say(client, address, "meals", count="7")
    # Two helpers and three of the core team: 5 × 1.1 = 5.5, so six meals are expected.
    page = client.get(of(hand_build)).content.decode()
    assert "7 counted" in page
    assert "6 expected for 5 people" in page
    say(client, address, f"gone:s{bram.pk}")
    assert "1 here of 5" in client.get(of(hand_build, "board-people")).content.decode()


def test_what_a_helper_wrote_stays_before_the_lead_and_nobody_else(
    client_of: ClientOf, lead: User, hand_build: Build, bram: SignUp, sika: SignUp
) -> None:
    """An allergy matters most once somebody is there."""
    sika.note = "Allergic to nuts"
    sika.save()
    client = client_of(lead)
    say(client, of(hand_build, "board-mark"), f"here:s{sika.pk}")
    for name in ("board", "board-people"):
        assert "Allergic to nuts" in client.get(of(hand_build, name)).content.decode()
    for row in (bram, sika):
        assert "Allergic" not in Client().get(mine(row)).content.decode()


def test_a_helper_marks_only_themselves(hand_build: Build, bram: SignUp, sika: SignUp) -> None:
    client, address = Client(), mine(bram, "my-board-mark")
    assert "I am here" in client.get(mine(bram)).content.decode()
    say(client, address, f"here:s{bram.pk}")
    page = client.get(mine(bram)).content.decode()
    assert "I heard the briefing" in page
    assert "no dry sweeping" in page
    say(client, address, f"heard:s{bram.pk}")
    assert "I heard the briefing" not in client.get(mine(bram)).content.decode()
    for wrong in (f"here:s{sika.pk}", "heard:everybody", "meals", "carriers", "solved:1", "reopen:C11", "nonsense"):
        answer = as_phone(client, address, wrong, count="3")
        assert (answer.status_code, answer.json()["text"]) == (422, "This is for the crew lead.")
    assert DayMark.objects.count() == 2


def test_helpers_mark_on_the_day_only(
    monkeypatch: pytest.MonkeyPatch, hand_build: Build, share_link: ShareLink
) -> None:
    row = take(share_link, "strip", "C11", 1)
    assert "The buttons appear on the day itself" in Client().get(mine(row)).content.decode()
    answer = as_phone(Client(), mine(row, "my-board-mark"), "start:C11")
    assert answer.status_code == 422
    assert "opens for marks on" in answer.json()["text"]
    monkeypatch.setattr(Sheet, "today", lambda self: timezone.now().date() + timedelta(days=11))
    assert as_phone(Client(), mine(row, "my-board-mark"), "finish:C11").json()["outcome"] == "taken"


def test_a_problem_blocks_its_task_until_it_is_solved(
    client_of: ClientOf, lead: User, hand_build: Build, bram: SignUp
) -> None:
    client, address = client_of(lead), of(hand_build, "board-mark")
    picture = BytesIO()
    exif = Image.Exif()
    exif[0x010F] = "A telephone"
    Image.new("RGB", (3000, 2000), "brown").save(picture, "JPEG", exif=exif)
    photo = SimpleUploadedFile("crack.jpg", picture.getvalue(), "image/jpeg")
    say(Client(), mine(bram, "my-board-mark"), "problem:C11", text="The drain is blocked", photo=photo)
    kept = DayPhoto.objects.get()
    with Image.open(BytesIO(bytes(kept.jpeg))) as small:
        assert max(small.size) == 1280
        assert not small.getexif()
    page = client.get(of(hand_build)).content.decode()
    assert "<h2>Blocked</h2>" in page
    assert "The drain is blocked (Bram)" in page
    task_page = client.get(of(hand_build, "board-task", "C11")).content.decode()
    assert of(hand_build, "board-photo", kept.mark_id) in task_page
    assert client.get(of(hand_build, "board-photo", kept.mark_id))["Content-Type"] == "image/jpeg"
    assert Client().get(mine(bram, "my-board-photo", kept.mark_id)).status_code == 200
    assert client.get(of(hand_build, "board-photo", kept.mark_id, day="foam")).status_code == 404
    say(client, address, f"solved:{kept.mark_id}")
    assert "Blocked" not in client.get(of(hand_build)).content.decode()
    assert as_phone(client, address, f"solved:{kept.mark_id}").json()["outcome"] == "already"


def test_a_photo_of_a_problem_of_no_task_can_be_seen(
    client_of: ClientOf, lead: User, hand_build: Build, bram: SignUp
) -> None:
    picture = BytesIO()
    Image.new("RGB", (30, 20), "brown").save(picture, "JPEG")
    photo = SimpleUploadedFile("door.jpg", picture.getvalue(), "image/jpeg")
    say(Client(), mine(bram, "my-board-mark"), "problem", text="The door sticks", photo=photo)
    kept = DayPhoto.objects.get()
    assert of(hand_build, "board-photo", kept.mark_id) in client_of(lead).get(of(hand_build)).content.decode()
    assert mine(bram, "my-board-photo", kept.mark_id) in Client().get(mine(bram)).content.decode()


def test_what_is_missing_goes_on_the_buying_list(
    client_of: ClientOf, lead: User, hand_build: Build, bram: SignUp
) -> None:
    client, address = client_of(lead), of(hand_build, "board-mark")
    say(Client(), mine(bram, "my-board-mark"), "short:C11", text=" two rolls   of tape ")
    mark = DayMark.objects.get()
    assert (mark.text, mark.task) == ("two rolls of tape", "C11")
    assert "asked for by Bram for C11" in client.get(of(hand_build)).content.decode()
    assert "two rolls of tape" in client.get(of(hand_build, "board-end")).content.decode()
    say(client, address, f"got:{mark.pk}")
    assert "two rolls" not in client.get(of(hand_build)).content.decode()


def test_bad_input_is_said_and_nothing_is_kept(
    client_of: ClientOf, lead: User, hand_build: Build, bram: SignUp
) -> None:
    client, address = client_of(lead), of(hand_build, "board-mark")
    text_file = SimpleUploadedFile("x.jpg", b"not a picture", "image/jpeg")
    for what, more, words in (
        ("start:Z99", {}, "There is no task Z99"),
        ("problem", {}, "Say what it is in a few words"),
        ("problem:Z99", {"text": "x"}, "There is no task Z99"),
        ("problem", {"text": "x", "photo": text_file}, "not a picture"),
        ("here:s999999", {}, "first say who has arrived"),
        ("solved:999", {}, "not on the list"),
        ("meals", {}, "Write a number"),
        ("meals", {"count": "many"}, "is not a number"),
        ("dance", {}, "does not know this button"),
        ("start:C11", {"key": "short"}, "without its key"),
    ):
        answer = as_phone(client, address, what, **more)
        assert answer.status_code == 422, what
        assert words in answer.json()["text"]
    assert not DayMark.objects.exists()
    page = client.post(address, {"say": "problem", "key": "12345678"}, follow=True).content.decode()
    assert "Say what it is in a few words" in page


def test_the_cover_is_carried_only_with_enough_hands(
    client_of: ClientOf, lead: User, hand_build: Build, share_link: ShareLink, monkeypatch: pytest.MonkeyPatch
) -> None:
    client, address = client_of(lead), of(hand_build, "board-mark", day="cover")
    in_the_net(hand_build, "H03", crew_min=12)
    row = take(share_link, "cover", "H03", 5)
    ahead = client.get(of(hand_build, day="cover")).content.decode()
    assert "12 carriers needed" in ahead
    assert "4 who can lift are expected so far" in ahead  # three of the core team and one helper
    # Whoever chooses a day reads how many are still missing; somebody who lifts nothing heavy is none of them.
    days, day = (
        reverse("scheduling:join", args=[share_link.token]),
        reverse("scheduling:join-day", args=[share_link.token, "cover"]),
    )
    for page in (days, day):
        assert "<b>8 more who can lift</b> are needed" in client.get(page).content.decode()
    row.lifting = "light"
    row.save()
    for page in (days, day):
        assert "<b>9 more who can lift</b> are needed" in client.get(page).content.decode()
    row.lifting = "any"
    row.save()
    assert "Start:" not in ahead
    assert "is still to come" in client.get(of(hand_build, "board-end", day="cover")).content.decode()
    assert "The board opens for marks on" in say(client, address, f"here:s{row.pk}", follow=True).content.decode()
    cover_day = timezone.now().date() + timedelta(days=24)
    monkeypatch.setattr(Sheet, "today", lambda self: cover_day)
    say(client, address, f"here:s{row.pk}")
    page = client.get(of(hand_build, day="cover")).content.decode()
    assert "Pull the cover: 12 needed, 1 here" in page
    assert "11 too few. Do not carry" in page
    assert "Waits for 11 more carriers" in page
    assert "Start: pull the cover" not in page
    task = of(hand_build, "board-task", "H03", day="cover")
    alone = client.get(task).content.decode()
    assert "Do not carry:</strong> 11 too few" in alone
    assert "Start all the same" not in alone
    assert "Counted again, enough are here: start" in alone  # for when the count is kept on a phone without signal
    say(client, address, "carriers", count="40")
    assert "Do not carry" not in client.get(task).content.decode()
    page = client.get(of(hand_build, day="cover")).content.decode()
    assert "40 counted" in page
    assert "✓ Enough hands" in page


def test_the_end_of_the_day_and_the_plan_made_anew(
    client_of: ClientOf, owner: User, lead: User, hand_build: Build, bram: SignUp, sika: SignUp, queued: None,
    proposed: Callable[[Build], dict[str, Any]],
) -> None:  # fmt: skip
    client, address = client_of(lead), of(hand_build, "board-mark")
    say(client, address, f"here:s{bram.pk}")
    as_phone(client, address, "start:C11", ago="7200")
    as_phone(client, address, "finish:C11", ago="0")
    page = client.get(of(hand_build, "board-end")).content.decode()
    assert "1 of 2 signed up" in page
    assert "C12 Patch the walls: to do" in page
    # Planned: 3 × 3.5 h + 2 × 3 h + 2 × 2 h = 20.5 h
    assert "20.5 planned" in page
    assert "Plan the rest anew" not in page
    assert client.post(of(hand_build, "board-replan")).status_code == 404
    answer = client_of(owner).post(of(hand_build, "board-replan"))
    assert answer.status_code == 302
    assert "/proposals/" in answer["Location"]
    document = proposed(hand_build)
    day = (timezone.now().date() + timedelta(days=10)).isoformat()
    assert document["tasks"]["done"]["C11"] == day
    assert "C12" not in document["tasks"]["done"]
    assert document["as_of"] == (timezone.now().date() + timedelta(days=11)).isoformat()
    hand_build.refresh_from_db()
    assert hand_build.current is not None
    assert "C11" not in hand_build.current.document["tasks"]["done"]


@pytest.fixture
def half_patched(hand_build: Build, on_the_day: None) -> Build:
    """On the strip day two people patched walls for an hour and a half and stopped."""
    revision = hand_build.current
    assert revision is not None
    day = next(day for day in revision.document["crew"]["days"] if day["id"] == "strip")
    nine = datetime.fromisoformat(day["date"]).replace(hour=9, tzinfo=UTC)
    common = {"build": hand_build, "day": "strip", "task": "C12", "by_name": "Ines"}
    DayMark.objects.create(kind="start", at=nine, count=2, **common)
    DayMark.objects.create(kind="stop", at=nine + timedelta(minutes=90), **common)
    return hand_build


def test_what_is_half_done_is_not_planned_again(
    client_of: ClientOf, owner: User, half_patched: Build, queued: None, proposed: Callable[[Build], dict[str, Any]]
) -> None:
    # Planned: 2 people × 3 h + 2 × 2 h = 10 person-hours; 2 × 1.5 h = 3 of them are spent, which is 30 %.
    page = client_of(owner).get(of(half_patched, "board-end")).content.decode()
    assert re.search(r'name="begun-C12" value="30"', page)
    for typed in ("100", "-5", "half", ""):
        answer = client_of(owner).post(of(half_patched, "board-replan"), {"begun-C12": typed})
        assert answer.status_code == 422
        assert "in per cent, for example 40" in answer.content.decode() or typed == "100"
        assert not typed or f'value="{typed}"' in answer.content.decode()
    assert client_of(owner).post(of(half_patched, "board-replan"), {"begun-C12": "40"}).status_code == 302
    document = proposed(half_patched)
    assert document["tasks"]["begun"] == {"C12": "0.4"}
    assert "C12" not in document["tasks"]["done"]
    assert "begun: C12 40 %; slid: C11" in Proposal.objects.get(build=half_patched).summary


def test_what_was_done_meanwhile_is_ticked_with_the_day_it_was_planned_for(
    client_of: ClientOf, owner: User, half_patched: Build, queued: None, proposed: Callable[[Build], dict[str, Any]],
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    """A week later: sweeping was finished on its board, and of the outlets nobody has said anything."""
    strip = Sheet.today(None)  # type: ignore[arg-type]
    monkeypatch.setattr(Sheet, "today", lambda self: strip + timedelta(days=7))
    common = {"build": half_patched, "day": "strip", "task": "C11", "by_name": "Ines", "at": timezone.now()}
    DayMark.objects.create(kind="start", count=3, **common)
    DayMark.objects.create(kind="finish", **common)
    address = of(half_patched, "board-replan", day="foam")
    page = client_of(owner).get(of(half_patched, "board-end", day="foam")).content.decode()
    assert "nobody has said that it is done: 2" in page  # patching and outlets
    assert client_of(owner).post(address, {"done": ["X99"]}).status_code == 422
    assert client_of(owner).post(address, {"done": ["E01"]}).status_code == 302
    done = proposed(half_patched)["tasks"]["done"]
    assert done["E01"] == (strip + timedelta(days=3)).isoformat()  # planned to end 13 days after the plan's own day
    assert done["C11"] == strip.isoformat()
    assert "C12" not in done


def test_who_may_come_in(
    client_of: ClientOf, owner: User, lead: User, partner: User, stranger: User, hand_build: Build, bram: SignUp
) -> None:
    for name, more in (("board", []), ("board-task", ["C11"]), ("board-people", []), ("board-end", []),
                       ("day-sheet", [])):  # fmt: skip
        address = of(hand_build, name, *more)
        assert [client_of(user).get(address).status_code for user in (owner, lead, partner, stranger)] == [
            200, 200, 404, 404,
        ]  # fmt: skip
        assert client_of(None).get(address).status_code == 302
        assert client_of(lead).post(address).status_code == 405
    for user in (partner, stranger):
        assert say(client_of(user), of(hand_build, "board-mark"), "start:C11").status_code == 404
    assert client_of(lead).get(of(hand_build, "board-mark")).status_code == 405
    assert client_of(lead).get(of(hand_build, day="nosuchday")).status_code == 404
    assert client_of(lead).get(of(hand_build, "board-task", "Z99")).status_code == 404
    assert Client().get("/my/nosuchlink/board/").status_code == 404
    SignUp.objects.filter(pk=bram.pk).update(withdrawn=timezone.now())
    assert Client().get(mine(bram)).status_code == 404
    assert say(Client(), mine(bram, "my-board-mark"), "start:C11").status_code == 404
    assert not DayMark.objects.exists()


def test_a_task_waits_for_the_one_before_it(client_of: ClientOf, lead: User, hand_build: Build, bram: SignUp) -> None:
    in_the_net(hand_build, "C12", after=[{"task": "C11", "minutes": 60}])
    client, address = client_of(lead), of(hand_build, "board-mark")
    assert "Waits for C11" in client.get(of(hand_build)).content.decode()
    as_phone(client, address, "finish:C11", ago="600")
    assert "not before" in client.get(of(hand_build)).content.decode()
    DayMark.objects.update(at=timezone.now() - timedelta(minutes=61))
    assert "Waits for" not in client.get(of(hand_build)).content.decode()


def test_the_board_and_the_paper_say_where_tools_lie(
    client_of: ClientOf, lead: User, hand_build: Build, on_the_day: None
) -> None:
    in_the_net(hand_build, "C11", tools="scale, sawhorse")
    assert hand_build.current is not None
    hand_build.current.document["crew"]["tool_places"] = {"scale": "by the roller door", "saw": "in the store"}
    hand_build.current.save()
    for name in ("board", "day-sheet"):
        page = client_of(lead).get(of(hand_build, name)).content.decode()
        assert "scale (by the roller door)" in page
        assert "in the store" not in page  # a sawhorse is no saw


def test_board_paper_and_helper_see_who_leads(
    client_of: ClientOf, lead: User, hand_build: Build, bram: SignUp, on_the_day: None
) -> None:
    assert hand_build.current is not None
    core = hand_build.current.document["crew"]["core"][0]
    result = json.loads(hand_build.current.result)
    next(task for task in result["schedule"]["tasks"] if task["code"] == "C11")["lead"] = core["id"]
    hand_build.current.result = json.dumps(result)
    hand_build.current.save()
    name = core["name"].split()[0]
    for page in ("board", "day-sheet", "days"):
        address = of(hand_build, page) if page != "days" else reverse("scheduling:days", args=[hand_build.pk])
        assert f"{name} leads" in client_of(lead).get(address).content.decode()
    mine = Client().get(reverse("scheduling:my", args=[bram.token])).content.decode()
    assert f"<dt>Crew lead</dt><dd>{name}</dd>" in mine
    assert core["name"] not in mine


def test_queries_do_not_grow_with_marks_and_people(
    client_of: ClientOf, lead: User, hand_build: Build, bram: SignUp, sika: SignUp,
    django_assert_num_queries: Any,
) -> None:  # fmt: skip
    client, address = client_of(lead), of(hand_build, "board-mark")
    for what in (f"here:s{bram.pk}", "start:C11", "stop:C11", "start:C11", "finish:C11"):
        say(client, address, what)
    with django_assert_num_queries(7):  # session, user, member and build, sign-ups, marks, people, other days
        client.get(of(hand_build))


def test_the_worker_script_comes_from_the_top_of_the_site(client: Client) -> None:
    answer = client.get("/board-worker.js")
    assert answer["Content-Type"].startswith("text/javascript")
    assert answer["Cache-Control"] == "no-cache"
