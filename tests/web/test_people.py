"""Inviting partner and crew leads, links that are shown once, taking a part away."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from buildout.builds.web.models import Build, JournalEntry, Member
from buildout.people.web.models import SignInLink, User

pytestmark = pytest.mark.django_db
ClientOf = Callable[[User | None], Client]
PELL = {"name": "Pell Hatherwick", "email": "Pell@Example.org", "role": "lead"}


@pytest.fixture(autouse=True)
def no_mail(settings: Any) -> None:
    settings.EMAIL_BACKEND = "django.core.mail.backends.dummy.EmailBackend"


def url(name: str, build: Build, *more: Any) -> str:
    return reverse(f"builds:{name}", args=[build.pk, *more])


def link_on(page: str) -> str:
    found = re.search(r"http://testserver(/sign-in/[^/<]+/)", page)
    assert found is not None
    return found[1]


def test_an_invited_lead_signs_in_once_by_the_link(client_of: ClientOf, owner: User, hand_build: Build) -> None:
    browser = client_of(owner)
    page = browser.post(url("invite", hand_build), PELL, follow=True).content.decode()
    link = link_on(page)
    part = Member.objects.get(user__email="pell@example.org")
    assert (part.build, part.role, part.user.name) == (hand_build, "lead", "Pell Hatherwick")
    assert not part.user.has_usable_password()
    assert "/sign-in/" not in browser.get(url("members", hand_build)).content.decode()  # shown once
    assert "Pell Hatherwick invited as crew lead" in JournalEntry.objects.values_list("text", flat=True)

    theirs = Client()
    assert "Sign in as Pell Hatherwick" in theirs.get(link).content.decode()
    theirs.post(link)
    assert theirs.get(reverse("scheduling:days", args=[hand_build.pk])).status_code == 200
    assert Client().get(link).status_code == 410


def test_a_new_link_ends_the_one_not_used(client_of: ClientOf, owner: User, hand_build: Build) -> None:
    browser = client_of(owner)
    first = link_on(browser.post(url("invite", hand_build), PELL, follow=True).content.decode())
    part = Member.objects.get(user__email="pell@example.org")
    second = link_on(browser.post(url("new-member-link", hand_build, part.pk), follow=True).content.decode())
    assert Client().get(first).status_code == 410
    assert Client().get(second).status_code == 200
    SignInLink.objects.update(expires=timezone.now() - timedelta(seconds=1))
    assert Client().get(second).status_code == 410


def test_taking_a_part_away_ends_it_at_once(client_of: ClientOf, owner: User, partner: User, hand_build: Build) -> None:
    theirs = client_of(partner)
    assert theirs.get(reverse("scheduling:progress", args=[hand_build.pk])).status_code == 200
    token = SignInLink.objects.issue(partner)
    part = Member.objects.get(build=hand_build, user=partner)
    client_of(owner).post(url("remove-member", hand_build, part.pk))
    assert theirs.get(reverse("scheduling:progress", args=[hand_build.pk])).status_code == 404
    assert Client().get(reverse("people:sign-in-link", args=[token])).status_code == 410


def test_the_owner_stays(client_of: ClientOf, owner: User, hand_build: Build) -> None:
    part = Member.objects.get(build=hand_build, user=owner)
    client_of(owner).post(url("remove-member", hand_build, part.pk))
    assert Member.objects.filter(pk=part.pk).exists()


def test_no_link_is_shown_that_opens_more_than_ones_own_builds(
    client_of: ClientOf, owner: User, stranger: User, hand_build: Build
) -> None:
    """Whoever holds a link signs in as that person, so nobody may mint one for the owner of another build."""
    browser = client_of(owner)
    page = browser.post(url("invite", hand_build), PELL | {"email": stranger.email}, follow=True).content.decode()
    assert "/sign-in/" not in page
    assert "has an account already" in page
    part = Member.objects.get(build=hand_build, user=stranger)
    assert "/sign-in/" not in browser.post(url("new-member-link", hand_build, part.pk), follow=True).content.decode()
    assert not SignInLink.objects.filter(user=stranger).exists()
    stranger.refresh_from_db()
    assert stranger.name == "Wim Farrowby"


def test_no_link_is_shown_for_somebody_with_a_password(
    client_of: ClientOf, owner: User, partner: User, hand_build: Build
) -> None:
    partner.set_password("three long words")
    partner.save()
    part = Member.objects.get(build=hand_build, user=partner)
    page = client_of(owner).post(url("new-member-link", hand_build, part.pk), follow=True).content.decode()
    assert "/sign-in/" not in page


def test_with_mail_the_link_goes_to_the_person(
    client_of: ClientOf, owner: User, stranger: User, hand_build: Build, settings: Any, mailoutbox: list[Any]
) -> None:
    settings.EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
    client_of(owner).post(url("invite", hand_build), PELL)
    assert mailoutbox[0].to == ["pell@example.org"]
    path = re.search(r"http://testserver(/sign-in/\S+)", mailoutbox[0].body)
    assert path is not None
    assert Client().get(path[1]).status_code == 200
    page = client_of(owner).post(url("invite", hand_build), PELL | {"email": stranger.email}, follow=True)
    assert mailoutbox[1].to == [stranger.email]
    assert "http://testserver/sign-in/" not in page.content.decode()


@pytest.mark.parametrize(
    ("field", "value", "said"),
    [
        ("name", "", "for example Ines Quillfeather"),
        ("email", "pell", "like ines@example.org"),
        ("email", "", "ines@example.org"),
        ("email", "lorcan@EXAMPLE.org", "has a part in this build already"),
        ("role", "owner", "valid choice"),
    ],
)
def test_bad_input(client_of: ClientOf, owner: User, hand_build: Build, field: str, value: str, said: str) -> None:
    answer = client_of(owner).post(url("invite", hand_build), PELL | {field: value})
    assert answer.status_code == 422
    assert said in answer.content.decode()
    assert Member.objects.filter(build=hand_build).count() == 3
    kept = "Pell@Example.org" if field != "email" else "Pell Hatherwick"
    assert kept in answer.content.decode()


def test_wrong_person_and_wrong_method(
    client_of: ClientOf, owner: User, partner: User, lead: User, stranger: User, hand_build: Build
) -> None:
    for user in (partner, lead, stranger):
        assert client_of(user).get(url("members", hand_build)).status_code == 404
        assert client_of(user).post(url("invite", hand_build), PELL).status_code == 404
    assert client_of(owner).get(url("invite", hand_build)).status_code == 405
    other = Member.objects.get(user=stranger)
    assert client_of(owner).post(url("remove-member", hand_build, other.pk)).status_code == 404
    assert client_of(owner).post(url("new-member-link", hand_build, other.pk)).status_code == 404


def test_number_of_queries(client_of: ClientOf, owner: User, hand_build: Build, django_assert_num_queries: Any) -> None:
    browser = client_of(owner)
    with django_assert_num_queries(4):  # session, user, member with build and revision, members with users
        browser.get(url("members", hand_build))
