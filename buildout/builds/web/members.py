"""Who has a part in a build: the owner invites partner and crew leads, gives them a new link, takes a part away.

A sign-in link is shown to the owner only for accounts that cannot do anything outside the owner's own builds:
whoever holds the link signs in as that person.
"""

from __future__ import annotations

from typing import Any

from django import forms
from django.conf import settings
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_POST

from buildout.builds.web import services as builds
from buildout.builds.web.mail import mail, mail_is_set_up
from buildout.builds.web.models import Build, Member, Role
from buildout.people.web.models import SignInLink, User


class InviteForm(forms.Form):
    name = forms.CharField(
        label="Name",
        max_length=120,
        help_text="For example Ines Quillfeather",
        error_messages={"required": "A name is needed, for example Ines Quillfeather."},
    )
    email = forms.EmailField(
        label="E-mail",
        help_text="For example ines@example.org",
        error_messages={
            "required": "An e-mail address is needed, for example ines@example.org.",
            "invalid": "That is not an e-mail address. Write it like ines@example.org.",
        },
    )
    role = forms.ChoiceField(
        label="Part",
        choices=[
            (Role.PARTNER.value, "Partner: sees budget, progress and forecast, may comment, changes nothing"),
            (Role.LEAD.value, "Crew lead: sees crew days with the helpers' contacts, no money"),
        ],
        widget=forms.RadioSelect,
        initial=Role.PARTNER.value,
    )

    def __init__(self, *args: Any, build: Build, **more: Any) -> None:
        super().__init__(*args, **more)
        self.build = build

    def clean_email(self) -> str:
        email = str(self.cleaned_data["email"]).lower()
        if Member.objects.filter(build=self.build, user__email__iexact=email).exists():
            raise forms.ValidationError(f"{email} has a part in this build already; see the list.")
        return email


def may_be_shown(user: User, owner: User) -> bool:
    """Whether a link that signs in as ``user`` opens nothing but the owner's own builds."""
    if user.has_usable_password():
        return False
    elsewhere = user.parts.exclude(build__members__in=Member.objects.filter(user=owner, role=Role.OWNER))
    return not elsewhere.exists()


def _hand_out(request: HttpRequest, build: Build, user: User, owner: User) -> None:
    """Issue a sign-in link: by mail where mail is set up, and on the owner's next page where that is safe."""
    shown, mailed = may_be_shown(user, owner), mail_is_set_up()
    if not shown and not mailed:
        messages.success(request, f"{user.name} has an account already and signs in as before.")
        return
    path = reverse("people:sign-in-link", args=[SignInLink.objects.issue(user)])
    address = f"{settings.PUBLIC_URL}{path}" if settings.PUBLIC_URL else request.build_absolute_uri(path)
    if mailed:
        text = f"{owner.name} invites you to {build.name}.\nSign in with this link, once, within 14 days:\n{address}\n"
        mailed = mail(f"{build.name}: your sign-in link", text, user.email)
        if mailed:
            messages.success(request, f"The link was mailed to {user.email}.")
        elif not shown:
            messages.error(request, f"The mail to {user.email} could not be sent. Try again later.")
    if shown:
        request.session["sign-in-link"] = {"build": build.pk, "name": user.name, "address": address}


@login_required
@never_cache
@require_GET
def members(request: HttpRequest, build_id: int) -> HttpResponse:
    build = builds.owner_build(_user(request), build_id)
    return _page(request, build, InviteForm(build=build))


def _page(request: HttpRequest, build: Build, form: InviteForm, status: int = 200) -> HttpResponse:
    fresh = request.session.pop("sign-in-link", None)
    parts = Member.objects.filter(build=build).select_related("user").order_by("pk")
    member = next(part for part in parts if part.user_id == request.user.pk)
    context: dict[str, Any] = {"build": build, "member": member, "parts": parts, "form": form}
    if build.current is not None:
        context["sheet"] = builds.Sheet(build.current)
    if fresh and fresh["build"] == build.pk:
        context["fresh"] = fresh
    return render(request, "builds/members.html", context, status=status)


def _user(request: HttpRequest) -> User:
    assert isinstance(request.user, User)  # noqa: S101 - login_required stands before every caller
    return request.user


@login_required
@never_cache
@require_POST
def invite(request: HttpRequest, build_id: int) -> HttpResponse:
    owner = _user(request)
    build = builds.owner_build(owner, build_id)
    form = InviteForm(request.POST, build=build)
    if not form.is_valid():
        return _page(request, build, form, status=422)
    data = form.cleaned_data
    with transaction.atomic():
        user = User.objects.filter(email__iexact=data["email"]).first()
        if user is None:
            user = User.objects.create_user(data["email"], data["name"])
        part = Member.objects.create(build=build, user=user, role=data["role"])
        builds.note(build, "people", f"{user.name} invited as {part.get_role_display().lower()}", by=owner)
        _hand_out(request, build, user, owner)
    return redirect("builds:members", build_id)


@login_required
@require_POST
def new_member_link(request: HttpRequest, build_id: int, member_id: int) -> HttpResponse:
    """A fresh sign-in link for somebody who lost theirs; links not used yet stop working."""
    owner = _user(request)
    build = builds.owner_build(owner, build_id)
    part = get_object_or_404(Member.objects.select_related("user"), pk=member_id, build=build)
    with transaction.atomic():
        part.user.sign_in_links.filter(used=None).delete()
        _hand_out(request, build, part.user, owner)
    return redirect("builds:members", build_id)


@login_required
@require_POST
def remove_member(request: HttpRequest, build_id: int, member_id: int) -> HttpResponse:
    """Take somebody's part away: at once, also where they are signed in."""
    owner = _user(request)
    build = builds.owner_build(owner, build_id)
    part = get_object_or_404(Member.objects.select_related("user"), pk=member_id, build=build)
    if part.role == Role.OWNER:
        messages.error(request, "The owner stays. A build without an owner could not be changed by anybody.")
        return redirect("builds:members", build_id)
    with transaction.atomic():
        part.delete()
        if not part.user.parts.exists():
            part.user.sign_in_links.all().delete()
        builds.note(build, "people", f"{part.user.name} has no part in the build any more", by=owner)
    messages.success(request, f"{part.user.name} can no longer see this build.")
    return redirect("builds:members", build_id)
