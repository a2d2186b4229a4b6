"""Guardians sign for minors: places held meanwhile, signatures kept, asked anew for another day, and taken out."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from buildout.builds.web.models import Build, JournalEntry
from buildout.people.web.models import User
from scheduling.engine.moved import MovedShift
from scheduling.web import consent, sign_ups
from scheduling.web.models import DayMark, Notice, ShareLink, Signature, SignUp
from scheduling.web.services import write_notices
from tests.web.test_sign_ups import FORM, join_url, key, take

pytestmark = pytest.mark.django_db
ClientOf = Callable[[User | None], Client]
MINOR = {"age": "16-17", "guardian": "Ada Tallowfen, 555 0142 818", "name": "Wren Tallowfen"}
NAMED = FORM | {
    "name": "Wren Tallowfen", "skills": [], "age": "16-17", "guardian": "Ada Tallowfen",
    "guardian_contact": "ada@example.org",
}  # fmt: skip


def page_of(row: SignUp) -> str:
    return reverse("scheduling:guardian", args=[row.guardian_token])


def mine(row: SignUp, name: str = "my", *more: Any) -> str:
    return reverse(f"scheduling:{name}", args=[row.token, *more])


def fresh(row: SignUp) -> SignUp:
    return SignUp.objects.get(pk=row.pk)


def of_day(build: Build, day: str) -> Any:
    assert build.current is not None
    return next(one for one in build.current.document["crew"]["days"] if one["id"] == day)


def put_on(build: Build, day: str, ahead: int) -> str:
    """Hold a build day in so many days from today."""
    assert build.current is not None
    of_day(build, day)["date"] = found = (timezone.now().date() + timedelta(days=ahead)).isoformat()
    build.current.save()
    return str(found)


def late(row: SignUp) -> SignUp:
    """As if it had been signed up for long ago."""
    SignUp.objects.filter(pk=row.pk).update(held_until=timezone.now().date() - timedelta(days=1))
    return fresh(row)


def test_a_guardian_reads_and_signs_without_account_or_script(
    client: Client, client_of: ClientOf, owner: User, lead: User, share_link: ShareLink, mailoutbox: list[Any]
) -> None:
    put_on(share_link.build, "strip", 20)
    client.post(join_url(share_link, "strip", "anywhere"), NAMED | {"request_key": key(1)})
    row = SignUp.objects.get()
    today = timezone.now().date()
    assert row.held_until == today + timedelta(days=7)
    mails = {mail.to[0]: mail.body for mail in mailoutbox}
    assert page_of(row) in mails["ada@example.org"]
    assert row.token not in mails["ada@example.org"]
    assert row.guardian_told is not None
    own = client.get(mine(row)).content.decode()
    assert "Your guardian has to sign" in own
    assert page_of(row) in own
    assert "mailto:ada@example.org" in own

    page = client.get(page_of(row))
    text = page.content.decode()
    assert b"<script" not in page.content
    assert "Wren Tallowfen, 16 or 17" in text
    assert f"<dd>{lead.name.split()[0]}</dd>" in text
    assert lead.name not in text
    assert "Sweep and wash the slab" in text
    assert "▲ Caution" in text
    assert FORM["contact"] not in text
    answer = client.post(page_of(row), {"sign": "", "name": "  Ada \u202e Tallowfen ", "agree": "on"})
    assert answer.status_code == 302
    client.post(page_of(row), {"sign": "", "name": "Ada Tallowfen", "agree": "on"})  # a second tap
    made = Signature.objects.get()
    assert (made.name, made.day, made.yes, made.how, made.taken_by) == ("Ada Tallowfen", "strip", True, "link", "")
    assert fresh(row).held_until is None
    assert "Signed by Ada Tallowfen" in client.get(page_of(row)).content.decode()
    assert "Ada Tallowfen has signed" in client.get(mine(row)).content.decode()
    days = reverse("scheduling:days", args=[row.build_id])
    for user in (owner, lead):
        text = client_of(user).get(days).content.decode()
        assert re.search(r"✓ Guardian has signed: Ada Tallowfen, \d+ \w{3} \d{4}, on their own page", text)
        assert "Guardians who have not signed" not in text


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"name": "", "agree": "on"}, "first and last name"),
        ({"name": "Ada", "agree": "on"}, "first and last name"),
        ({"name": "WREN  tallowfen", "agree": "on"}, "own name"),
        ({"name": "Ada Tallowfen"}, "tick this too"),
        ({"name": "a " * 5_000, "agree": "on"}, "at most 80"),
        ({"name": "Ada\x00 Tallowfen", "agree": "on"}, "Null characters"),
        ({"name": "\u202e \u202c", "agree": "on"}, "first and last name"),
        ({"name": "🥋 🥋", "agree": "on"}, "first and last name"),
    ],
)
def test_what_is_no_signature_is_said_and_kept(
    typed: dict[str, str], said: str, client: Client, share_link: ShareLink
) -> None:
    row = take(share_link, "strip", "", 1, **MINOR)
    answer = client.post(page_of(row), {"sign": "", **typed})
    assert answer.status_code == 422
    text = answer.content.decode()
    assert said in text
    assert "Not signed yet" in text
    assert not Signature.objects.exists()
    assert SignUp.objects.standing().count() == 1


@pytest.mark.parametrize("name", ["Ada <script>x</script>", "עדה לוי", "Ada 🥋 Tallowfen"])
def test_signatures_of_all_kinds_are_kept_as_text(client: Client, share_link: ShareLink, name: str) -> None:
    row = take(share_link, "strip", "", 1, **MINOR)
    client.post(page_of(row), {"sign": "", "name": name, "agree": "on"})
    assert Signature.objects.get().name == name
    assert "<script>x" not in client.get(page_of(row)).content.decode()


def test_a_guardian_says_no_with_a_word_and_the_next_moves_up(
    client: Client, client_of: ClientOf, owner: User, share_link: ShareLink
) -> None:
    row = take(share_link, "cover", "", 1, **MINOR)
    take(share_link, "cover", "", 2)
    waits = take(share_link, "cover", "", 3, wait=True)
    client.post(page_of(row), {"decline": "", "word": "an exam <b>that</b> week" + "x" * 10_000})
    row = fresh(row)
    assert row.withdrawn is not None
    assert row.word.startswith("The guardian does not agree: an exam <b>that</b> week")
    assert len(row.word) == 200
    assert fresh(waits).waiting is None
    assert "You said no" in client.get(page_of(row)).content.decode()
    assert "Your guardian does not agree" in client.get(mine(row)).content.decode()
    days = client_of(owner).get(reverse("scheduling:days", args=[row.build_id])).content.decode()
    assert "an exam &lt;b&gt;that&lt;/b&gt; week" in days
    assert "Hello Wren. Your guardian does not agree" in days  # to tell
    client.post(page_of(row), {"sign": "", "name": "Ada Tallowfen", "agree": "on"})
    assert not Signature.objects.filter(yes=True).exists()


def test_a_signature_can_be_taken_back(client: Client, share_link: ShareLink) -> None:
    row = take(share_link, "strip", "", 1, **MINOR)
    consent.sign(row, "Ada Tallowfen")
    client.post(page_of(row), {"decline": "", "word": ""})
    assert fresh(row).withdrawn is not None


def test_a_place_no_guardian_signs_for_in_time_goes_to_whoever_wants_it(client: Client, share_link: ShareLink) -> None:
    """Two places, one held for a signature: as long as it is held the day is full; then it is free for the next one."""
    minor = take(share_link, "cover", "", 1, **MINOR)
    take(share_link, "cover", "", 2)
    with pytest.raises(sign_ups.FullError):
        take(share_link, "cover", "", 3)
    minor = late(minor)
    assert "1 of 2 places free" in client.get(join_url(share_link)).content.decode()
    assert "Whoever wants it next has it" in client.get(mine(minor)).content.decode()
    third = take(share_link, "cover", "", 4)
    minor = fresh(minor)
    assert third.day_place == 1
    assert minor.waiting is not None
    assert SignUp.objects.standing().filter(day="cover").count() == 2
    assert "no longer held" not in Notice.objects.get().text
    assert "has not signed until" in Notice.objects.get().text
    # Signed too late there is no place; the next that comes free is hers.
    client.post(page_of(minor), {"sign": "", "name": "Ada Tallowfen", "agree": "on"})
    assert fresh(minor).waiting is not None
    sign_ups.withdraw(third)
    assert fresh(minor).waiting is None


def test_as_long_as_nobody_wants_it_the_place_stays(client: Client, share_link: ShareLink) -> None:
    minor = late(take(share_link, "cover", "", 1, **MINOR))
    take(share_link, "cover", "", 2)
    assert fresh(minor).waiting is None
    client.post(page_of(minor), {"sign": "", "name": "Ada Tallowfen", "agree": "on"})
    assert (fresh(minor).waiting, fresh(minor).held_until) == (None, None)


def test_who_waits_gets_it_by_itself_and_without_a_signature_nobody_moves_up_twice(share_link: ShareLink) -> None:
    from buildout.changes.web.serving import pass_on_places

    minor = take(share_link, "cover", "", 1, **MINOR)
    second = take(share_link, "cover", "", 2)
    waits = take(share_link, "cover", "", 3, wait=True)
    minor = late(minor)
    said: list[str] = []
    pass_on_places(said.append)
    assert said == ["1 moved up from a waiting list to places no guardian had signed for in time."]
    assert (fresh(waits).waiting, fresh(waits).day_place) == (None, 1)
    sign_ups.withdraw(second)
    assert fresh(minor).waiting is not None  # not signed: lets others past
    pass_on_places(said.append)
    assert len(said) == 1


def test_a_task_held_for_a_signature_is_given_on_alone(share_link: ShareLink) -> None:
    """C11 takes three, the day six: the place given on is one of the task, not one of the day's others."""
    one = late(take(share_link, "strip", "C11", 1, **MINOR))
    other = late(take(share_link, "strip", "", 2, **MINOR | {"name": "Ash Tallowfen"}))
    take(share_link, "strip", "C11", 3)
    take(share_link, "strip", "C11", 4)
    fifth = take(share_link, "strip", "C11", 5)
    assert (fresh(one).waiting is None, fresh(other).waiting is None) == (False, True)
    assert fifth.task_place == 1


def test_another_day_is_asked_for_anew_and_another_task_is_not(
    client: Client, share_link: ShareLink, mailoutbox: list[Any]
) -> None:
    row = take(share_link, "strip", "", 1, **MINOR | {"guardian": "Ada Tallowfen, ada@example.org"})
    consent.sign(row, "Ada Tallowfen")
    client.post(mine(row, "move"), {"day": "strip", "task": "C11"})
    assert fresh(row).task == "C11"
    assert "has signed" in client.get(mine(row)).content.decode()
    client.post(mine(row, "move"), {"day": "foam", "task": ""})
    row = fresh(row)
    assert row.held_until is not None
    assert [mail.to for mail in mailoutbox] == [["ada@example.org"]]
    assert "You signed for another day" in client.get(page_of(row)).content.decode()
    assert "Your guardian has to sign" in client.get(mine(row)).content.decode()
    client.post(page_of(row), {"sign": "", "name": "Ada Tallowfen", "agree": "on"})
    assert Signature.objects.filter(yes=True).count() == 2
    client.post(mine(row, "move"), {"day": "strip", "task": ""})  # signed for already
    assert fresh(row).held_until is None


def test_a_day_moved_to_another_date_is_asked_for_anew(client: Client, share_link: ShareLink) -> None:
    build = share_link.build
    row = take(share_link, "strip", "", 1, **MINOR)
    consent.sign(row, "Ada Tallowfen")
    put_on(build, "strip", 40)
    build.refresh_from_db()
    moved = MovedShift(
        sign_up=row.ref, task="", task_name="", kind="day moved", old_day="strip", new_day="strip", old_date=None,
        new_date=timezone.now().date() + timedelta(days=40), text="Your day is moved.",
    )  # fmt: skip
    write_notices(build, [moved])
    assert "Your guardian has to sign anew for that date" in Notice.objects.get().text
    assert fresh(row).held_until == timezone.now().date() + timedelta(days=7)
    assert "You signed for another day" in client.get(page_of(row)).content.decode()


def test_a_swap_asks_the_minors_guardian_anew(client: Client, share_link: ShareLink) -> None:
    minor = take(share_link, "strip", "", 1, **MINOR)
    consent.sign(minor, "Ada Tallowfen")
    other = take(share_link, "foam", "", 2)
    swap = sign_ups.ask_to_swap(other, minor.pk)
    client.post(mine(minor, "answer-swap", swap.pk), {"yes": ""})
    assert (fresh(minor).day, fresh(other).day) == ("foam", "strip")
    assert fresh(minor).held_until is not None
    assert fresh(other).held_until is None


def test_the_lead_takes_a_signature_on_the_spot_and_says_who(
    client_of: ClientOf, owner: User, lead: User, partner: User, share_link: ShareLink
) -> None:
    build = share_link.build
    put_on(build, "strip", 0)
    row = late(take(share_link, "strip", "", 1, **MINOR))
    adult = take(share_link, "strip", "", 2)
    here = reverse("scheduling:board-guardian", args=[build.pk, "strip", row.pk])
    people, paper, board = (
        reverse(f"scheduling:{name}", args=[build.pk, "strip"]) for name in ("board-people", "day-sheet", "board")
    )
    browser = client_of(lead)
    assert "Guardian has not signed" in browser.get(people).content.decode()
    assert here in browser.get(people).content.decode()
    assert "■ Guardian has not signed" in browser.get(paper).content.decode()
    assert "Guardian has not signed:</strong> Wren" in browser.get(board).content.decode()
    assert client_of(partner).get(here).status_code == 404
    assert client_of(None).get(here).status_code == 302
    assert browser.get(reverse("scheduling:board-guardian", args=[build.pk, "strip", adult.pk])).status_code == 404
    assert browser.post(here, {"name": "Ada Tallowfen", "agree": "on"}).status_code == 422  # how?
    assert browser.post(here, {"name": "Ada Tallowfen", "agree": "on", "how": "paper"})["Location"] == people
    made = Signature.objects.get()
    assert (made.name, made.how, made.taken_by) == ("Ada Tallowfen", "paper", lead.name)
    for address in (people, paper):
        text = browser.get(address).content.decode()
        assert f"on paper, taken by {lead.name}" in text
        assert "has not signed" not in text


def test_the_owner_has_whom_to_ask_with_the_text_ready(
    client: Client, client_of: ClientOf, owner: User, lead: User, stranger: User, share_link: ShareLink
) -> None:
    row = take(share_link, "strip", "", 1, **MINOR)
    days = reverse("scheduling:days", args=[row.build_id])
    text = client_of(owner).get(days).content.decode()
    assert "Guardians who have not signed" in text
    assert "sms:5550142818" in text
    assert page_of(row) in text
    asked = reverse("scheduling:guardian-asked", args=[row.build_id, row.pk])
    assert client_of(stranger).post(asked).status_code == 404
    assert client_of(owner).get(asked).status_code == 405
    adult = take(share_link, "strip", "", 2)
    assert client_of(lead).post(reverse("scheduling:guardian-asked", args=[row.build_id, adult.pk])).status_code == 404
    client_of(lead).post(asked)
    assert fresh(row).guardian_told is not None
    assert "Asked on" in client_of(owner).get(days).content.decode()
    reminders = reverse("scheduling:reminders", args=[row.build_id, "strip"])
    assert page_of(row) in client_of(owner).get(reminders).content.decode()


def test_nobody_else_sees_guardians(client: Client, share_link: ShareLink) -> None:
    row = take(share_link, "strip", "", 1, **MINOR)
    consent.sign(row, "Ada Tallowfen")
    other = take(share_link, "strip", "", 2)
    for address in (
        join_url(share_link), join_url(share_link, "strip"), mine(other), mine(other, "swap"), mine(other, "my-board"),
    ):  # fmt: skip
        text = client.get(address).content.decode()
        assert "Ada" not in text
        assert "Tallowfen" not in text
        assert "guardian" not in text.lower()


def test_removal_and_forgetting_take_the_signature_too(client: Client, share_link: ShareLink) -> None:
    row = take(share_link, "strip", "", 1, **MINOR)
    consent.sign(row, "Ada Tallowfen")
    address = page_of(row)
    client.post(mine(row, "remove"))
    assert not Signature.objects.exists()
    assert client.get(address).status_code == 404
    assert not JournalEntry.objects.filter(text__contains="Wren").exists()
    assert not JournalEntry.objects.filter(text__contains="Ada").exists()


def test_only_minors_have_a_guardians_page(client: Client, share_link: ShareLink) -> None:
    adult = take(share_link, "strip", "", 1)
    assert client.get(page_of(adult)).status_code == 404
    assert client.get("/guardian/nothing/").status_code == 404
    row = take(share_link, "strip", "", 2, **MINOR)
    sign_ups.withdraw(row)
    assert "does not come on this day any more" in client.get(page_of(row)).content.decode()


def test_own_links_end_and_say_how_to_get_a_new_one(
    client: Client, client_of: ClientOf, owner: User, share_link: ShareLink
) -> None:
    """Open 30 days after the build day: on the 30th still, on the 31st a page says so; removal still works."""
    row = take(share_link, "strip", "", 1, **MINOR)
    put_on(share_link.build, "strip", -30)
    ends = timezone.now().date()
    assert f"open until {ends:%a} {ends.day} {ends:%b %Y}" in client.get(mine(row)).content.decode()
    put_on(share_link.build, "strip", -31)
    names = ("my", "calendar", "feed", "my-board", "change", "swap", "withdraw")
    for address in [page_of(row), *(mine(row, name) for name in names)]:
        answer = client.get(address)
        assert answer.status_code == 410, address
        assert "This link has ended" in answer.content.decode()
    assert client.post(mine(row, "withdraw")).status_code == 410
    assert fresh(row).withdrawn is None
    assert mine(row, "remove") not in client.get(page_of(row)).content.decode()
    assert mine(row, "remove") in client.get(mine(row)).content.decode()
    client_of(owner).post(reverse("scheduling:renew-link", args=[row.build_id, row.pk]))
    row = fresh(row)
    assert client.get(mine(row)).status_code == 200
    client.post(mine(row, "remove"))
    assert fresh(row).name == "Removed"
    assert "You are removed" in client.get(mine(row)).content.decode()


def test_queries_do_not_grow_with_minors(
    client: Client, client_of: ClientOf, lead: User, share_link: ShareLink, django_assert_num_queries: Any
) -> None:
    rows = [take(share_link, "strip", "", n, **MINOR | {"name": f"Wren {n}"}) for n in range(3)]
    consent.sign(rows[0], "Ada Tallowfen")
    browser = client_of(lead)
    days = reverse("scheduling:days", args=[share_link.build_id])
    people = reverse("scheduling:board-people", args=[share_link.build_id, "strip"])
    with django_assert_num_queries(9):  # as without minors, and their signatures
        browser.get(days)
    with django_assert_num_queries(6):  # session, user, member with build and revision, sign-ups, marks, signatures
        browser.get(people)
    with django_assert_num_queries(5):  # row with build; sign-ups; crew leads; signed for this day, for others
        client.get(page_of(rows[1]))


def test_what_no_database_takes_is_turned_away_or_taken_out(
    client: Client, client_of: ClientOf, lead: User, share_link: ShareLink
) -> None:
    """NUL, marks that turn the writing direction and ten thousand characters, wherever text comes in without a form."""
    bad = "knee\x00 \u202ebad\u202c\n<b>x</b> 🥋 " + "y" * 10_000
    for address in ("/my/a%00b/", "/guardian/a%00b/", "/join/a%00b/", f"/join/{share_link.token}/a%00b/"):
        assert client.get(address).status_code == 404
    form = NAMED | {"request_key": "\x00" * 20}
    assert client.post(join_url(share_link, "strip", "anywhere"), form).status_code == 422
    row = take(share_link, "strip", "", 1, **MINOR)
    other = take(share_link, "strip", "", 2)
    put_on(share_link.build, "strip", 0)
    board = reverse("scheduling:board-mark", args=[row.build_id, "strip"])
    client_of(lead).post(board, {"say": "problem:", "key": "k" * 20 + "\x00", "text": bad})
    assert DayMark.objects.get().text.startswith("knee bad <b>x</b> 🥋 yyy")
    client_of(lead).post(board, {"say": "here:\x00", "key": "k" * 20})
    client_of(lead).post(board, {"say": "start:\x00C11", "key": "k" * 20})
    assert DayMark.objects.count() == 1
    assert client.post(mine(other, "move"), {"day": "\x00", "task": bad}).status_code in (302, 409)
    assert client.post(mine(other, "swap"), {"with": bad}).status_code == 409
    client.post(mine(other, "withdraw"), {"word": bad})
    client.post(page_of(row), {"decline": "", "word": bad})
    assert fresh(other).word.startswith("knee bad <b>x</b> 🥋 yyy")
    assert Signature.objects.get().word == fresh(other).word
    assert len(fresh(other).word) == 200
