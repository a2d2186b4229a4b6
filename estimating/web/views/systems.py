"""Layer, panel and fold-away systems: which room gets which, what they are made of, what came out."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from buildout.builds.web import services as builds
from buildout.builds.web.editing import PartForm, fitting_id, propose_from
from buildout.rooms.engine.types import Room
from estimating.engine.types import (
    CutPlans,
    FloorSystem,
    FoldAwaySystem,
    Product,
    RoomLayouts,
    WallSystem,
)
from estimating.web import edits
from estimating.web.forms import (
    CoverForm,
    FitoutForm,
    FloorSystemForm,
    FoldAwayForm,
    LayerForm,
    ProductForm,
    StoreForm,
    WallSystemForm,
    ZoneForm,
    product_choices,
)
from estimating.web.reports import Report, reports_on
from estimating.web.views.desk import Desk, sit_down
from estimating.web.views.screening import screenings

MOST_LAYERS = 4


class SystemKind(NamedTuple):
    section: str
    noun: str
    form: type[PartForm]


KINDS = {
    "floor": SystemKind("floor_systems", "floor system", FloorSystemForm),
    "fold-away": SystemKind("fold_away_systems", "fold-away system", FoldAwayForm),
    "walls": SystemKind("wall_systems", "wall system", WallSystemForm),
}


def _choices(products: list[Product]) -> dict[str, Any]:
    every = product_choices(products)
    lengths, sheets, rolls = (product_choices(products, form) for form in ("length", "sheet", "roll"))
    return {
        "frame": lengths, "ramp": lengths, "barrier": rolls, "tape": rolls, "hook_tape": rolls, "product": every,
        "board": sheets, "foam": [*sheets, *rolls], "face": rolls, "cleat": lengths, "anchor": every, "cap": lengths,
        "adhesive": product_choices(products, "volume"), "staples": every,
    }  # fmt: skip


@login_required
@require_GET
def systems(request: HttpRequest, build_id: int) -> HttpResponse:
    desk = sit_down(request, build_id)
    document = desk.sheet.document
    products = {product.id: product for product in desk.sheet.section("products", list[Product])}
    layouts = {layout.room: layout for layout in desk.sheet.part("layouts", list[RoomLayouts])}
    cuts = {plan.product: plan for plan in desk.sheet.part("cut_plans", CutPlans).plans}
    fitouts = {fitout["room"]: fitout for fitout in document.get("fitouts", [])}
    lists = {
        "floor": desk.sheet.section("floor_systems", list[FloorSystem]),
        "fold-away": desk.sheet.section("fold_away_systems", list[FoldAwaySystem]),
        "walls": desk.sheet.section("wall_systems", list[WallSystem]),
    }
    names = {system.id: system.name for found in lists.values() for system in found}  # type: ignore[attr-defined]
    used = {fitout.get(key, "") for fitout in fitouts.values() for key in ("floor", "fold_away", "walls")}
    rooms = [
        {
            "room": room,
            "fitout": fitouts.get(room.id, {}),
            "layout": layouts.get(room.id),
            "reasons": _reasons(layouts.get(room.id)),
        }
        for room in desk.sheet.section("rooms", list[Room])
    ]
    reports = reports_on(desk.build, list(products.values()))
    goods = [(product, reports[product.id]) for product in products.values()]
    context = desk.page(
        "3", rooms=rooms, lists=lists, names=names, used=used, products=products, cuts=cuts, goods=goods
    )
    return render(request, "estimating/systems.html", context)


def _reasons(layout: RoomLayouts | None) -> list[Any]:
    parts = (layout.floor, layout.cover, layout.walls, layout.fold_away) if layout else ()
    return [reason for part in parts if part for reason in part.reasons if reason.severity != "note"]


@login_required
@require_http_methods(["GET", "POST"])
def fitout(request: HttpRequest, build_id: int, room_id: str) -> HttpResponse:
    """Choose which systems a room gets."""
    desk = sit_down(request, build_id)
    room = next((room for room in desk.sheet.section("rooms", list[Room]) if room.id == room_id), None)
    if room is None:
        raise Http404(f"This build has no room {room_id}")
    document = builds.editable(desk.build)
    before: dict[str, Any] = next((f for f in document.get("fitouts", []) if f["room"] == room_id), {"room": room_id})
    choices = {
        key: [(system["id"], system["name"]) for system in document.get(section, [])]
        for key, section in (
            ("floor", "floor_systems"), ("fold_away", "fold_away_systems"), ("walls", "wall_systems"),
        )
    }  # fmt: skip
    data = request.POST or None
    form = FitoutForm(data, initial=before, room=room, choices=choices)
    store = StoreForm(data, prefix="store", initial=before.get("store") or {})
    there: list[dict[str, Any]] = before.get("weld_free", [])
    zones = [ZoneForm(data, prefix=f"zone-{n}", initial=there[n] if n < len(there) else {})
             for n in range(len(there) + 1)]  # fmt: skip
    parts: list[tuple[str, Any]] = [("", form), ("Where fold-away mats are kept", store)]
    parts += [(f"Zone {n} without welds of the cover", zone) for n, zone in enumerate(zones, 1)]
    valid = [part.is_valid() for _, part in parts]
    if request.method == "POST" and all(valid):
        after = {name: value for name, value in form.edited(before).items() if name not in ("store", "weld_free")}
        if store.cleaned_data.get("kind"):
            after["store"] = store.edited({})
        kept = [zone for zone in zones if not zone.empty]
        if kept:
            names = [zone.get("id", "") for zone in there]
            after["weld_free"] = [
                zone.edited(there[n]) if n < len(there) else zone.edited({"id": fitting_id("zone", names, "zone")})
                for n, zone in enumerate(zones)
                if zone in kept
            ]
        at = edits.put(document, "fitouts", room_id, after, "room")
        under = f"/fitouts/{at}"
        proposal = propose_from(
            form, desk.build, desk.user, document, f"{room.name}: systems chosen", under=under,
            within={f"{under}/weld_free/{n}": zone for n, zone in enumerate(kept)} | {f"{under}/store": store},
        )  # fmt: skip
        if proposal is not None:
            return redirect(proposal)
    return _page(request, desk, f"What {room.name} gets", parts)


def _page(
    request: HttpRequest,
    desk: Desk,
    title: str,
    parts: Sequence[tuple[str, Any]],
    *,
    caution: str = "",
    delete: str = "",
    back: str = "",
    intro: str = "",
    screened: Sequence[Any] = (),
    reports: Sequence[Report] = (),
) -> HttpResponse:
    context = desk.page(
        "3", title=title, parts=parts, caution=caution, delete=delete, intro=intro, screened=screened, reports=reports,
        back=back or reverse("estimating:systems", args=[desk.build.pk]), back_name="Systems",
    )  # fmt: skip
    status = 422 if any(form.is_bound for _, form in parts) else 200
    return render(request, "estimating/edit.html", context, status=status)


def _kind(kind: str) -> SystemKind:
    if kind not in KINDS:
        raise Http404(f"There is no kind of system called {kind}")
    return KINDS[kind]


@login_required
@require_http_methods(["GET", "POST"])
def edit_system(request: HttpRequest, build_id: int, kind: str, system_id: str) -> HttpResponse:
    """Thicknesses, widths, offsets and goods of one system."""
    return _edit_system(request, build_id, kind, system_id, "")


@login_required
@require_http_methods(["GET", "POST"])
def new_system(request: HttpRequest, build_id: int, kind: str) -> HttpResponse:
    """A system made from another one (``?like=``), ready to be changed."""
    return _edit_system(request, build_id, kind, "", request.GET.get("like", ""))


def _edit_system(request: HttpRequest, build_id: int, kind: str, system_id: str, like: str) -> HttpResponse:
    desk = sit_down(request, build_id)
    what = _kind(kind)
    document = builds.editable(desk.build)
    entries = document.get(what.section, [])
    before: dict[str, Any] = next((entry for entry in entries if entry["id"] == (system_id or like)), {})
    if not before and (system_id or like):
        raise Http404(f"There is no {what.noun} {system_id or like}")
    if like:
        before = {**before, "name": f"{before['name']}, changed"}
    goods = desk.sheet.section("products", list[Product])
    choices = _choices(goods)
    data = request.POST or None
    form = what.form(data, initial=before, choices=choices)
    parts: list[tuple[str, Any]] = [("", form)]
    layers: list[LayerForm] = []
    cover = CoverForm(data, prefix="cover", initial=before.get("cover", {}), choices={
        "product": [("", "no cover"), *choices["product"]],
    })  # fmt: skip
    if kind == "floor":
        layers = _layer_forms(data, before, choices)
        parts += [(f"Layer {n}, from the slab up" if n <= len(before.get("layers", [])) else "One more layer", layer)
                  for n, layer in enumerate(layers, 1)]  # fmt: skip
        parts.append(("Cover", cover))
    valid = [part.is_valid() for _, part in parts]  # every one, so that every one says what is wrong
    if request.method == "POST" and all(valid):
        after = form.edited(before)
        if not system_id:
            after["id"] = fitting_id(after["name"], [entry["id"] for entry in entries], "system")
        kept = layers
        if kind == "floor":
            kept = [layer for layer in layers if layer.cleaned_data.get("product")]
            old = before.get("layers", [])
            after["layers"] = [
                layer.edited(old[n] if n < len(old) else {}) for n, layer in enumerate(layers) if layer in kept
            ]
            if cover.cleaned_data.get("product"):
                after["cover"] = cover.edited(before.get("cover", {}))
            else:
                after.pop("cover", None)
        at = edits.put(document, what.section, system_id, after)
        under = f"/{what.section}/{at}"
        holds = not isinstance(form, FloorSystemForm | WallSystemForm) or form.fits_goods(after, goods)
        proposal = None if not holds else propose_from(
            form, desk.build, desk.user, document,
            f"{'Changed' if system_id else 'Added'} {what.noun}: {after['name']}", under=under,
            within={f"{under}/layers/{n}": layer for n, layer in enumerate(kept)} | {f"{under}/cover": cover},
        )  # fmt: skip
        if proposal is not None:
            return redirect(proposal)
    title = before["name"] if system_id else f"A new {what.noun}"
    delete = reverse("estimating:delete-system", args=[build_id, kind, system_id]) if system_id else ""
    screened = [row for row in screenings(desk) if system_id and row.screening.system == system_id]
    return _page(request, desk, title, parts, delete=delete, caution=_CAUTIONS[kind], screened=screened)


_CAUTIONS = {
    "floor": "Figures here are for ordering and laying. What a floor does in a fall is for the maker's data sheet and "
    "a test, not for this page. Nothing is glued or screwed to a landlord's slab without consent.",
    "fold-away": "Mats that fold are heavy and creep apart: two people carry, and the joints are checked before class.",
    "walls": "Panels hang with people thrown against them. Take anchor capacities from the maker's sheet, never fix to "
    "plaster alone, and show the fire report of the whole panel to the authority before buying.",
}


def _layer_forms(data: Any, before: dict[str, Any], choices: dict[str, Any]) -> list[LayerForm]:
    there = before.get("layers", [])
    flat = {"product": [("", "no layer"), *dict.fromkeys([*choices["foam"]])], "adhesive": choices["adhesive"]}
    return [
        LayerForm(
            data, prefix=f"layer-{n}", initial=there[n] if n < len(there) else {"role": "top"}, choices=flat,
            spare=n >= len(there),
        )
        for n in range(min(len(there) + 1, MOST_LAYERS))
    ]  # fmt: skip


@login_required
@require_POST
def delete_system(request: HttpRequest, build_id: int, kind: str, system_id: str) -> HttpResponse:
    desk = sit_down(request, build_id)
    what = _kind(kind)
    document = builds.editable(desk.build)
    try:
        name = document[what.section][edits.position(document[what.section], system_id)]["name"]
    except KeyError as missing:
        raise Http404(f"There is no {what.noun} {system_id}") from missing
    edits.remove(document, what.section, system_id)
    return _take_out(request, desk, document, f"Taken out: {what.noun} {name}")


def _take_out(request: HttpRequest, desk: Desk, document: dict[str, Any], summary: str) -> HttpResponse:
    try:
        return redirect(builds.propose(desk.build, desk.user, document, summary))
    except builds.DocumentProblems as error:
        context = desk.page(
            "3", summary=summary, problems=error.problems, back=reverse("estimating:systems", args=[desk.build.pk])
        )
        return render(request, "estimating/refused.html", context, status=422)


@login_required
@require_http_methods(["GET", "POST"])
def product(request: HttpRequest, build_id: int, product_id: str = "") -> HttpResponse:
    """Sizes, kerf and data-sheet figures of one product."""
    desk = sit_down(request, build_id)
    document = builds.editable(desk.build)
    entries = document.get("products", [])
    before = next((entry for entry in entries if entry["id"] == product_id), None)
    if product_id and before is None:
        raise Http404(f"There is no product {product_id}")
    goods = desk.sheet.section("products", list[Product])
    others = [(p.id, p.name) for p in goods if before and p.form == before["form"] and p.id != product_id]
    form = ProductForm(request.POST or None, initial=before or {}, others=others)
    if request.method == "POST" and form.is_valid():
        after = form.edited(before or {})
        if before is None:
            after = {"id": fitting_id(after["name"], [entry["id"] for entry in entries], "product"), **after}
        at = edits.put(document, "products", product_id, after)
        proposal = propose_from(
            form, desk.build, desk.user, document,
            f"{'Changed' if product_id else 'Added'} product: {after['name']}", under=f"/products/{at}",
        )  # fmt: skip
        if proposal is not None:
            return redirect(proposal)
    here = next((one for one in goods if one.id == product_id), None)
    reports = reports_on(desk.build, [here])[product_id] if here is not None else []
    return _page(request, desk, before["name"] if before else "A new product", [("", form)], reports=reports)
