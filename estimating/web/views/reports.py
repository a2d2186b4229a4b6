"""Reports on a product: attached, replaced, taken off again."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from buildout.builds.web import services as builds
from estimating.engine.types import Product
from estimating.web.asking_forms import ReportForm
from estimating.web.asking_models import Paper
from estimating.web.reports import Report, reports_on
from estimating.web.views.desk import Desk, sit_down


def report_of(desk: Desk, product_id: str, about: str) -> Report:
    """One report, attached or not, or Http404."""
    product = next((p for p in desk.sheet.section("products", list[Product]) if p.id == product_id), None)
    if product is None or about not in Paper.About.values:
        raise Http404(f"There is no product {product_id} with a report {about}")
    return next(report for report in reports_on(desk.build, [product])[product_id] if report.about == about)


@login_required
@require_http_methods(["GET", "POST"])
def attach(request: HttpRequest, build_id: int, product_id: str, about: str) -> HttpResponse:
    """Attach a report to a product; what was attached before is kept behind it."""
    desk = sit_down(request, build_id)
    report = report_of(desk, product_id, about)
    sent = (request.POST, request.FILES) if request.method == "POST" else ()
    form = ReportForm(*sent, today=timezone.localdate())
    if form.is_bound and form.is_valid():
        name, kind, data = form.cleaned_data["file"]
        Paper.objects.create(
            build=desk.build, name=name, kind=kind, data=data, size=len(data), by=desk.user, product=product_id,
            about=about, dated=form.cleaned_data["dated"],
        )  # fmt: skip
        how = "replaced by" if report.paper is not None else "attached:"
        builds.note(desk.build, "paper", f"{report.product.name}: {report.title.lower()} {how} {name}", by=desk.user)
        messages.success(request, f"{report.title} of {report.product.name}: {name} is attached.")
        return redirect("estimating:product", build_id, product_id)
    context = desk.page("3", report=report, form=form)
    return render(request, "estimating/report.html", context, status=422 if form.is_bound else 200)


@login_required
@require_POST
def take_off(request: HttpRequest, build_id: int, product_id: str, about: str) -> HttpResponse:
    """The paper attached is not this report: it goes back among the papers of the suppliers."""
    desk = sit_down(request, build_id)
    report = report_of(desk, product_id, about)
    if report.paper is not None:
        Paper.objects.filter(pk=report.paper.pk).update(product="", about="")
        text = f"{report.product.name}: {report.paper.name} is no {report.title.lower()} of it"
        builds.note(desk.build, "paper", text, by=desk.user)
        messages.success(request, f"{report.paper.name} is taken off; it stays among the papers under Quotes.")
    return redirect("estimating:product", build_id, product_id)
