"""Where guardians read what somebody under 18 would do, and sign or say no: by their own link, or to the crew lead."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST

from buildout.builds.web import services as builds
from buildout.builds.web.models import Member, Role
from buildout.builds.web.services import Sheet
from buildout.units.dates import day_text
from scheduling.engine.cautions import CAUTIONS
from scheduling.web import consent, guardians
from scheduling.web.board import lead_desk
from scheduling.web.forms import SignatureForm, TakenSignatureForm
from scheduling.web.helpers import OwnLinkEndedError, own_link
from scheduling.web.keeping import kept_until, link_until
from scheduling.web.models import Signature, SignUp
from scheduling.web.offers import DayOffer, day_offers, known_by_name
from scheduling.web.views import user_of


def _day_context(row: SignUp, offer: DayOffer, sheet: Sheet) -> dict[str, Any]:
    """What a guardian has to know of the day before signing."""
    tasks = guardians.permitted(row, offer)
    codes = dict.fromkeys(code for task in tasks for code in task.caution_codes if code in CAUTIONS)
    chosen = offer.task(row.task) if row.task else None
    leads = known_by_name(sheet) | {one.ref: one.first_name for one in offer.sign_ups}
    leaders = Member.objects.filter(build=row.build, role=Role.LEAD).select_related("user").order_by("pk")
    return {
        "build": row.build,
        "row": row,
        "offer": offer,
        "place": sheet.document.get("place"),
        "tasks": tasks,
        "cautions": [CAUTIONS[code] for code in codes],
        "task": chosen,
        "task_lead": leads.get(chosen.lead, "") if chosen else "",
        "leads": [member.user.name.split()[0] for member in leaders if member.user.name.split()],
        "agree": f"I am {row.name}'s parent or guardian. I have read the cautions and agree that "
        f"{row.first_name} helps on {day_text(offer.day.date)} with the tasks listed here"
        + (", and I come along." if row.age == "14-15" else "."),
    }


@never_cache
@require_http_methods(["GET", "POST"])
@own_link
def guardian(request: HttpRequest, token: str) -> HttpResponse:
    """No account and no script: the day, the permitted tasks, the cautions, then a signature or a no."""
    rows = SignUp.objects.select_related("build", "build__current").exclude(age="adult")
    row = get_object_or_404(rows, guardian_token=token)
    sheet = builds.sheet_of(row.build)
    if link_until(row, sheet) < sheet.today():
        raise OwnLinkEndedError(row, sheet)
    offer = next((offer for offer in day_offers(row.build, sheet) if offer.day.id == row.day), None)
    if row.withdrawn is not None or offer is None:
        gone: dict[str, Any] = {"build": row.build, "row": row, "no": row.signatures.filter(yes=False).last()}
        return render(request, "scheduling/guardian/nothing.html", gone)
    context = _day_context(row, offer, sheet)
    sent = "sign" in request.POST or "decline" in request.POST
    form = SignatureForm(request.POST if "sign" in request.POST else None, minor=row, agree=context["agree"])
    if sent and offer.day.date >= sheet.today():
        try:
            if "decline" in request.POST:
                consent.decline(row, request.POST.get("word", ""))
                return redirect("scheduling:guardian", token)
            if form.is_valid():
                consent.sign(row, form.cleaned_data["name"])
                return redirect("scheduling:guardian", token)
        except consent.ConsentError as error:
            context["told"] = str(error)
    context |= {
        "form": form,
        "signed": guardians.signature(row, offer.day.date),
        "before": row.signatures.filter(yes=True).exclude(day=row.day, date=offer.day.date).last(),
        "over": offer.day.date < sheet.today(),
        "late": row.hold_is_over(sheet.today()),
        "link_until": link_until(row, sheet),
        "kept_until": kept_until(row, sheet),
    }
    return render(request, "scheduling/guardian/page.html", context, status=422 if form.errors else 200)


@login_required
@never_cache
@require_http_methods(["GET", "POST"])
def on_the_spot(request: HttpRequest, build_id: int, day: str, sign_up_id: int) -> HttpResponse:
    """The crew lead takes the signature: of a guardian who is here, or on paper. It says who took it."""
    desk = lead_desk(request, build_id, day)
    row = next((one.sign_up for one in desk.people if one.sign_up and one.sign_up.pk == sign_up_id), None)
    if row is None or not row.minor:
        raise Http404("Nobody under 18 with this place")
    context = _day_context(row, desk.offer, desk.sheet) | {"desk": desk, "back": desk.url("board-people")}
    form = TakenSignatureForm(request.POST or None, minor=row, agree=context["agree"])
    if request.method == "POST" and form.is_valid():
        how = Signature.How(form.cleaned_data["how"])
        try:
            made = consent.sign(row, form.cleaned_data["name"], how=how, taken_by=user_of(request).name)
        except consent.ConsentError as error:
            messages.error(request, str(error))
        else:
            messages.success(request, f"{made.name} has signed for {row.first_name}.")
        return redirect(context["back"])
    context |= {"form": form, "signed": guardians.signature(row, desk.date), "board_url": desk.url("board")}
    return render(request, "scheduling/guardian/on_the_spot.html", context, status=422 if form.errors else 200)


@login_required
@require_POST
def asked(request: HttpRequest, build_id: int, sign_up_id: int) -> HttpResponse:
    """Somebody sent the guardian the text; the owner or the crew lead says so."""
    build, _ = builds.build_for(user_of(request), build_id, Role.OWNER, Role.LEAD)
    row = get_object_or_404(SignUp.objects.exclude(age="adult"), pk=sign_up_id, build=build, withdrawn=None)
    SignUp.objects.filter(pk=row.pk, guardian_told=None).update(guardian_told=timezone.now())
    messages.success(request, f"{row.first_name}'s guardian is marked as asked.")
    return redirect("scheduling:days", build_id)
