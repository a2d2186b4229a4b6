from __future__ import annotations

from django.contrib import messages
from django.contrib.auth import login, logout
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST

from buildout.people.web.forms import FirstAccountForm, SignInForm
from buildout.people.web.models import SignInLink, any_account

BACKEND = "django.contrib.auth.backends.ModelBackend"


def _onward(request: HttpRequest) -> str:
    wanted = request.POST.get("next") or request.GET.get("next") or ""
    safe = url_has_allowed_host_and_scheme(wanted, {request.get_host()}, require_https=request.is_secure())
    return wanted if wanted and safe else "builds:list"


@never_cache
@require_http_methods(["GET", "POST"])
def sign_in(request: HttpRequest) -> HttpResponse:
    if not any_account():
        return redirect("people:first-account")
    form = SignInForm(request.POST or None)
    if request.method == "POST" and form.is_valid() and form.user is not None:
        login(request, form.user, backend=BACKEND)
        return redirect(_onward(request))
    status = 422 if form.is_bound else 200
    return render(request, "people/sign_in.html", {"form": form, "next": request.GET.get("next", "")}, status=status)


@never_cache
@require_http_methods(["GET", "POST"])
def sign_in_by_link(request: HttpRequest, token: str) -> HttpResponse:
    """Opening the link shows a button; pressing it signs in, so that a mail scanner's visit uses nothing up."""
    link = SignInLink.objects.usable(token)
    if link is None:
        return render(request, "people/link_spent.html", status=410)
    if request.method == "POST":
        link.mark_used()
        login(request, link.user, backend=BACKEND)
        return redirect("builds:list")
    return render(request, "people/sign_in_by_link.html", {"link": link})


@require_POST
def sign_out(request: HttpRequest) -> HttpResponse:
    logout(request)
    messages.success(request, "Signed out.")
    return redirect("people:sign-in")


@never_cache
@require_http_methods(["GET", "POST"])
def first_account(request: HttpRequest) -> HttpResponse:
    """The owner's account on an empty installation. Closed for good once any account exists."""
    if any_account():
        return redirect("people:sign-in")
    form = FirstAccountForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        with transaction.atomic():
            user = form.save()
        login(request, user, backend=BACKEND)
        return redirect("changes:new")
    return render(request, "people/first_account.html", {"form": form}, status=422 if form.is_bound else 200)
