"""Screening of a stack: steps and ramps at its edges, pressure on its foam, mass, open joints.

Screening, not a certificate: these sums rank systems and name what to look at. Only a test of the built floor can
say how it behaves in a fall, and only the local authority whether an edge is acceptable. What is not known is
said to be missing; nothing is filled in.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import Literal, NamedTuple

from buildout.rooms.engine.types import RoomPlan
from buildout.units.lengths import Length
from buildout.units.value import Reason, Value, snap
from estimating.engine import said
from estimating.engine.foam_load import FallScreening, Foam, PressureScreening, Verdict, fall, press
from estimating.engine.mat_sides import mat_sides
from estimating.engine.types import (
    CoverLayout,
    FloorLayout,
    FloorSystem,
    FoamLayout,
    FoldAwayLayout,
    FoldAwaySystem,
    MatSide,
    Product,
)

CAUTION = "Screening, not a test and not a certificate. Ask the maker for test reports on the whole build-up."

PLAIN_STEP = 6.35
BEVELLED_STEP = 12.7
"""mm: changes in level up to 1/4 in may be upright, up to 1/2 in bevelled 1:2, above that a ramp is needed
(2010 ADA Standards, 303.2–303.4)."""
RAMP_SLOPE = 12.0
"""Run over rise of the steepest ramp (2010 ADA Standards, 405.2)."""
RIGHT_OVER = 1.0
"""mm to each side within which two joints lie one over the other."""
HANDRAIL_RISE = 152.4
HIGHEST_RISE = 762.0
"""mm: above 6 in a ramp has handrails (405.8), above 30 in it takes more than one run (405.6)."""


class EdgeScreening(Value, kw_only=True):
    """One walk-on edge of the mat."""

    edge: str
    along: str
    rise: float
    """mm from the slab to the top of the mat."""
    need: Literal["nothing", "bevel", "ramp", "missing"]
    run_needed: float
    """mm of ramp or bevel an accessible route would take."""
    run_stated: float
    verdict: Verdict
    text: str


class Screening(Value, kw_only=True):
    """All screening figures of a room's floor."""

    room: str
    system: str
    thickness: float
    mass_per_area: float
    """kg/m²; 0 when missing."""
    mass: float
    """kg of everything laid, frame not counted; 0 when missing."""
    edges: list[EdgeScreening]
    pressures: list[PressureScreening]
    open_joints: float
    """mm of joint open at the top: fingers, toes, dirt."""
    leaking_joints: float
    """mm of joint that sweat can pass."""
    missing: list[str]
    caution: str = CAUTION
    reasons: list[Reason]
    joints: str = ""
    """What closes the joints and what does not."""
    fall: FallScreening | None = None
    """None where a thickness is missing or there is no foam."""
    pressed_in: float | None = None
    """mm of thickness that long use leaves pressed in: compression set × thickness, all foam; None when missing."""


def screen_floor(
    plan: RoomPlan,
    system: FloorSystem,
    floor: FloorLayout,
    products: dict[str, Product],
    cover: CoverLayout | None = None,
) -> Screening:
    """Screen a floor as laid out. Never raises for missing data: it lists what is missing.

    ``cover``: as drawn over it, for the slits it is opened along to go round columns.
    """
    missing = []
    layers = [(layer, products.get(layer.product)) for layer in system.layers]
    for layer, product in layers:
        name = product.name if product is not None else layer.product
        missing += _missing(name, product)
    known = all(product is not None and product.thickness is not None for _, product in layers) and bool(layers)
    sides = floor.sides or mat_sides(plan, system)[0]
    edges = _edges(sides, float(system.ramp_run or 0), floor.thickness if known else 0.0)
    foams = [_foam(product) for _, product in layers if product is None or not stiff(product)]
    pressures = press(foams) if foams or not layers else []
    joints = _joints(system, floor, cover)
    soft = [product for _, product in layers if product is None or not stiff(product)]
    return Screening(
        room=plan.room, system=system.id, thickness=floor.thickness, mass_per_area=floor.mass_per_area,
        mass=snap(floor.mass_per_area * floor.mat_area / 1e6, 0.001), edges=edges, pressures=pressures,
        open_joints=joints.open, leaking_joints=joints.leaking, joints=joints.text, missing=missing,
        reasons=_reasons(system.id, edges, pressures, missing, joints.text), pressed_in=_pressed_in(soft),
        fall=fall(foams),
    )  # fmt: skip


def screen_fold_away(
    plan: RoomPlan,
    layout: FoldAwayLayout,
    product: Product | None,
    floor: FloorLayout | None = None,
    system: FloorSystem | None = None,
    mats: FoldAwaySystem | None = None,
) -> Screening:
    """Screen fold-away mats: their step, their mass and the joints between them.

    ``floor`` and its ``system``: what stays under them, such as a sprung deck; it adds to the step, not to the mass.
    ``mats``: their own system, which says into how many parts one folds.
    """
    name = product.name if product is not None else layout.product
    missing = _missing(name, product, mass=bool(layout.mass))
    thickness = float(product.thickness) if product is not None and product.thickness is not None else 0.0
    under = floor is not None and system is not None and bool(floor.layers)
    sides = (floor.sides if floor is not None and under else []) or mat_sides(plan, system if under else None)[0]
    run = float(system.ramp_run or 0) if system is not None and under else 0.0
    rise = thickness + (floor.thickness if floor is not None and under else 0.0)
    edges = _edges(sides, run, rise if thickness else 0.0)
    foams = [_foam(product)]
    pressures = press(foams)
    joints = _joints_of_mats(layout, mats)
    area = layout.covered / 1e6
    return Screening(
        room=plan.room, system=layout.system, thickness=thickness,
        mass_per_area=snap(layout.mass / area, 0.001) if area else 0.0, mass=layout.mass, edges=edges,
        pressures=pressures, open_joints=joints.open, leaking_joints=joints.leaking, joints=joints.text,
        missing=missing, reasons=_reasons(layout.system, edges, pressures, missing, joints.text),
        pressed_in=_pressed_in([product]), fall=fall(foams),
    )  # fmt: skip


def stiff(product: Product) -> bool:
    """A deck of timber: beside foam it does not yield, and no data sheet of it states how it would.

    What springs under it is not foam under a knee; that is for its maker to say.
    """
    return product.lead_group == "timber"


def _foam(product: Product | None) -> Foam:
    if product is None:
        return Foam("", None, None)

    def known(value: Decimal | Length | None) -> float | None:
        return float(value) if value is not None and float(value) > 0 else None

    return Foam(
        product.name, known(product.thickness), known(product.stress_at_25_percent),
        known(product.stress_at_50_percent), known(product.cushion_factor),
    )  # fmt: skip


def _missing(name: str, product: Product | None, *, mass: bool | None = None) -> list[str]:
    """What a layer's data sheet should say and nobody typed. ``mass``: of mats, known from their layout."""
    found = []
    if product is None or product.thickness is None:
        found.append(f"thickness of {name}")
    if mass is None:
        mass = product is not None and (product.mass_per_area is not None or product.density is not None)
    if not mass:
        found.append(f"density or mass per area of {name}")
    if product is not None and stiff(product):
        return found
    if product is None or not product.stress_at_25_percent:
        found.append(f"stress at 25 % of {name}")
    if product is None or product.compression_set is None:
        found.append(f"compression set of {name}")
    return found


class _Joints(NamedTuple):
    open: float
    leaking: float
    text: str


def _joints(system: FloorSystem, floor: FloorLayout, cover: CoverLayout | None) -> _Joints:
    """Joints that fingers, toes and dirt get into, and joints that sweat gets through: not the same ones.

    A welded cover closes both but for the slits it is opened along. Tape closes a joint to fingers, yet it is no seal.
    A layer glued down lets nothing through except where a joint below lies right under its own. Common practice, no
    published source.
    """
    if not floor.layers:
        return _Joints(0.0, 0.0, "")
    top, spec = floor.layers[-1], system.layers[-1]
    if system.cover is not None:
        slits = sum(relief.slit_length for relief in cover.reliefs) if cover is not None else 0.0
        text = "A welded cover lies over every joint"
        text += f"; sweat could pass along its slits round columns, {said.run(slits)} in all." if slits else "."
        return _Joints(0.0, snap(slits), text)
    length = top.joint_length
    if not length:
        return _Joints(0.0, 0.0, "The top is one piece.")
    leaking = length
    text = f"{said.run(length)} of joint on top, " + ("taped" if spec.taped else "open")
    if spec.adhesive and len(floor.layers) > 1:
        leaking = _over_joints(top, floor.layers[-2])
        under = f"sweat could pass where a joint below lies right under one, {said.run(leaking)}" if leaking else ""
        text += f". The layer is glued down; {under or 'no joint below lies right under one'}."
    else:
        text += ". Tape keeps fingers and toes out, but it is no seal." if spec.taped else "; nothing closes it."
    return _Joints(0.0 if spec.taped else length, leaking, text)


def _over_joints(top: FoamLayout, below: FoamLayout) -> float:
    """Length of joints of a layer that lie right over joints of the one below, mm."""
    import shapely

    lines = shapely.union_all([shapely.LineString([j.a, j.b]) for j in below.joints]).buffer(RIGHT_OVER)
    parts = [
        part.length
        for joint in top.joints
        for part in shapely.get_parts(shapely.intersection(shapely.LineString([joint.a, joint.b]), lines))
    ]
    return snap(sum(length for length in parts if length > 4 * RIGHT_OVER))  # shorter: where they only cross


def _joints_of_mats(layout: FoldAwayLayout, mats: FoldAwaySystem | None) -> _Joints:
    """Joints between mats and the grooves where they fold: both gather dirt, only the first let sweat through.

    A flap under a joint catches what goes through it. Common practice, no published source.
    """
    between = _shared_edges(layout)
    folds = layout.count * (mats.sections - 1) * float(mats.mat_width) if mats is not None else 0.0
    text = f"{said.run(between)} of joint between mats"
    text += f" and {said.run(folds)} of groove where they fold" if folds else ""
    closed = layout.under_lap_length > 0
    text += ". A flap lies under every joint, so sweat stays on it." if closed else "; nothing lies under the joints."
    return _Joints(snap(between + folds, 1.0), 0.0 if closed else between, text if between or folds else "")


def _pressed_in(layers: Sequence[Product | None]) -> float | None:
    """Thickness lost for good, mm: every layer's compression set of its thickness; None where one is missing."""
    lost = 0.0
    for product in layers:
        if product is None or product.compression_set is None or product.thickness is None:
            return None
        lost += float(product.thickness) * float(product.compression_set) / 100
    return snap(lost)


def burning_goods(system: FloorSystem | FoldAwaySystem, floor: FloorLayout | None = None) -> list[str]:
    """Products people lie on, by id, whose fire and emission papers count: layers as laid, cover, adhesives, mats."""
    if isinstance(system, FoldAwaySystem):
        return [system.product]
    laid = [layer.product for layer in (floor.layers if floor is not None and floor.layers else system.layers)]
    found = [*laid, *(layer.adhesive for layer in system.layers), system.cover.product if system.cover else ""]
    return [name for name in dict.fromkeys(found) if name]


def change_in_level(rise: float) -> tuple[Literal["nothing", "bevel", "ramp"], float]:
    """What an accessible route needs for a rise, and how long it is, mm (2010 ADA Standards, 303 and 405).

    >>> change_in_level(63.5)  # a 2 1/2 in floor: 30 in of ramp
    ('ramp', 762.0)
    >>> change_in_level(12.7)  # a 1/2 in floor: 1/4 in plain and 1/4 in bevelled 1:2
    ('bevel', 12.7)
    >>> change_in_level(6.35)
    ('nothing', 0.0)
    """
    if rise <= PLAIN_STEP + 1e-9:
        return "nothing", 0.0
    if rise <= BEVELLED_STEP + 1e-9:
        return "bevel", snap((rise - PLAIN_STEP) * 2)
    return "ramp", snap(rise * RAMP_SLOPE)


def _edges(sides: Sequence[MatSide], run_of_ramps: float, rise: float) -> list[EdgeScreening]:
    """Every side that is walked on, whatever stands there."""
    found = []
    for side in sides:
        if side.against != "open":
            continue
        stated = run_of_ramps if side.edge == "ramp" else 0.0
        if rise <= 0:
            text = "The floor's thickness is missing, so its step cannot be told."
            found.append(
                EdgeScreening(
                    edge=side.id, along=side.along, rise=0.0, need="missing", run_needed=0.0, run_stated=stated,
                    verdict="missing", text=text,
                )
            )  # fmt: skip
            continue
        need, run = change_in_level(rise)
        words = {
            "nothing": f"a step of {said.length(rise)} may stay upright",
            "bevel": f"a step of {said.length(rise)} is bevelled 1 : 2, {said.length(run)} long",
            "ramp": f"a step of {said.length(rise)} takes a ramp of 1 : 12, {said.length(run)} long",
        }[need]
        if rise > HANDRAIL_RISE:
            words += ", with handrails"
        if rise > HIGHEST_RISE:
            words += ", in more than one run"
        enough = need == "nothing" or stated >= run - 0.5
        if not enough:
            words += f"; {said.length(stated)} is stated" if stated else "; no ramp is stated"
        if side.room_in_front is not None and side.room_in_front < run:
            words += f"; there are only {said.length(side.room_in_front)} in front of it"
        found.append(
            EdgeScreening(
                edge=side.id, along=side.along, rise=snap(rise), need=need, run_needed=run, run_stated=stated,
                verdict="fine" if enough else "look at it",
                text=f"On an accessible route {words} (2010 ADA Standards 303 and 405; local code decides).",
            )
        )  # fmt: skip
    return found


def _shared_edges(layout: FoldAwayLayout) -> float:
    """Length along which neighbouring mats meet, mm: half of what their outlines have beyond the whole's."""
    if not layout.mats:
        return 0.0
    import shapely

    mats = [shapely.Polygon(ring) for ring in layout.mats]
    whole = shapely.union_all(shapely.set_precision(mats, 0.5))
    return snap(max(0.0, (sum(m.length for m in mats) - whole.length) / 2), 1.0)


def _reasons(
    where: str, edges: list[EdgeScreening], pressures: list[PressureScreening], missing: list[str], joints: str
) -> list[Reason]:
    found = [said.note("screening", CAUTION, where)]
    if missing:
        text = f"Missing for the screening: {', '.join(missing)}."
        found.append(said.warning("screening-missing", text, where, "Ask the maker for the data sheets."))
    for edge in edges:
        if edge.verdict == "look at it":
            todo = "Lengthen the ramp where the edge lies on an accessible route, and ask the local authority."
            found.append(said.warning("screening-step", edge.text, edge.edge, todo))
    deep = [p for p in pressures if p.bottoms]
    if deep:
        text = "; ".join(f"{p.load}: {p.text}" for p in deep)
        found.append(said.note("screening-pressure", text, where))
    if joints:
        found.append(said.note("screening-joints", joints, where))
    return found
