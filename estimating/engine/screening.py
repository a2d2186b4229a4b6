"""Screening of a stack: steps and ramps at its edges, pressure on its foam, mass, open joints.

Screening, not a certificate: these sums rank systems and name what to look at. Only a test of the built floor can
say how it behaves in a fall, and only the local authority whether an edge is acceptable. What is not known is
said to be missing; nothing is filled in.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from buildout.rooms.engine.types import RoomPlan
from buildout.units.value import Reason, Value, snap
from estimating.engine import said
from estimating.engine.mat_sides import mat_sides
from estimating.engine.types import FloorLayout, FloorSystem, FoldAwayLayout, FoldAwaySystem, MatSide, Product

CAUTION = "Screening, not a test and not a certificate. Ask the maker for test reports on the whole build-up."

PLAIN_STEP = 6.35
BEVELLED_STEP = 12.7
"""mm: changes in level up to 1/4 in may be upright, up to 1/2 in bevelled 1:2, above that a ramp is needed
(2010 ADA Standards, 303.2–303.4)."""
RAMP_SLOPE = 12.0
"""Run over rise of the steepest ramp (2010 ADA Standards, 405.2)."""
HANDRAIL_RISE = 152.4
HIGHEST_RISE = 762.0
"""mm: above 6 in a ramp has handrails (405.8), above 30 in it takes more than one run (405.6)."""
GRAVITY = 9.80665

Load = tuple[str, float, float]
LOADS: tuple[Load, ...] = (
    ("kneeling", 80.0 * 0.4, 60.0),
    ("standing on both feet", 100.0, 200.0),
    ("standing on one heel", 100.0, 20.0),
)
"""Name, kg carried, cm² it stands on: planning assumptions, no published source."""
LITTLE_MARGIN = 1.0
"""Pressure over the foam's stress at 25 %: above it the foam is pressed in by more than a quarter."""
BOTTOMED = 3.0
"""Above this ratio the slab is likely felt; common practice, no published source."""

Verdict = Literal["fine", "look at it", "missing"]


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


class PressureScreening(Value, kw_only=True):
    """One load on the layer that yields first."""

    load: str
    pressure: float
    """kPa."""
    layer: str
    """Softest layer whose data sheet is known; empty when none is."""
    stress_at_25_percent: float
    """kPa; 0 when missing."""
    ratio: float
    """Pressure over that stress; 0 when missing."""
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
    pressed_in: float | None = None
    """mm of thickness that long use leaves pressed in: compression set × thickness, all layers; None when missing."""


def screen_floor(plan: RoomPlan, system: FloorSystem, floor: FloorLayout, products: dict[str, Product]) -> Screening:
    """Screen a floor as laid out. Never raises for missing data: it lists what is missing."""
    missing = []
    layers = [(layer, products.get(layer.product)) for layer in system.layers]
    for layer, product in layers:
        name = product.name if product is not None else layer.product
        if product is None or product.thickness is None:
            missing.append(f"thickness of {name}")
        if product is None or (product.mass_per_area is None and product.density is None):
            missing.append(f"density of {name}")
        if product is None or product.stress_at_25_percent is None:
            missing.append(f"stress at 25 % of {name}")
        if product is None or product.compression_set is None:
            missing.append(f"compression set of {name}")
    foams = [(product.name, float(product.stress_at_25_percent)) for _, product in layers
             if product is not None and product.stress_at_25_percent]  # fmt: skip
    known = all(product is not None and product.thickness is not None for _, product in layers) and bool(layers)
    sides = floor.sides or mat_sides(plan, system)[0]
    edges = _edges(sides, float(system.ramp_run or 0), floor.thickness if known else 0.0)
    pressures = _pressures(foams, complete=len(foams) == len(layers))
    top = floor.layers[-1] if floor.layers else None
    joints = top.joint_length if top is not None and system.cover is None else 0.0
    taped = bool(system.layers) and system.layers[-1].taped
    return Screening(
        room=plan.room, system=system.id, thickness=floor.thickness, mass_per_area=floor.mass_per_area,
        mass=snap(floor.mass_per_area * floor.mat_area / 1e6, 0.001), edges=edges, pressures=pressures,
        open_joints=0.0 if taped else joints, leaking_joints=0.0 if taped else joints, missing=missing,
        reasons=_reasons(system.id, edges, pressures, missing, joints, taped=taped),
        pressed_in=_pressed_in([product for _, product in layers]),
    )  # fmt: skip


def screen_fold_away(
    plan: RoomPlan,
    layout: FoldAwayLayout,
    product: Product | None,
    floor: FloorLayout | None = None,
    system: FloorSystem | None = None,
) -> Screening:
    """Screen fold-away mats: their step, their mass and the joints between them.

    ``floor`` and its ``system``: what stays under them, such as a sprung deck; it adds to the step, not to the mass.
    """
    name = product.name if product is not None else layout.product
    missing = []
    if product is None or product.thickness is None:
        missing.append(f"thickness of {name}")
    if product is None or product.stress_at_25_percent is None:
        missing.append(f"stress at 25 % of {name}")
    if not layout.mass:
        missing.append(f"mass of {name}")
    if product is None or product.compression_set is None:
        missing.append(f"compression set of {name}")
    thickness = float(product.thickness) if product is not None and product.thickness is not None else 0.0
    foams = [(name, float(product.stress_at_25_percent))] if product and product.stress_at_25_percent else []
    joints = _shared_edges(layout)
    under = floor is not None and system is not None and bool(floor.layers)
    sides = (floor.sides if floor is not None and under else []) or mat_sides(plan, system if under else None)[0]
    run = float(system.ramp_run or 0) if system is not None and under else 0.0
    rise = thickness + (floor.thickness if floor is not None and under else 0.0)
    edges = _edges(sides, run, rise if thickness else 0.0)
    pressures = _pressures(foams, complete=bool(foams))
    area = layout.covered / 1e6
    return Screening(
        room=plan.room, system=layout.system, thickness=thickness,
        mass_per_area=snap(layout.mass / area, 0.001) if area else 0.0, mass=layout.mass, edges=edges,
        pressures=pressures, open_joints=joints, leaking_joints=joints, missing=missing,
        reasons=_reasons(layout.system, edges, pressures, missing, joints, taped=False),
        pressed_in=_pressed_in([product]),
    )  # fmt: skip


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


def pressure(kilograms: float, square_centimetres: float) -> float:
    """kPa under a load.

    >>> round(pressure(80 * 0.4, 60), 2), round(pressure(100, 20), 1)
    (52.3, 490.3)
    """
    return kilograms * GRAVITY / (square_centimetres / 1e4) / 1000


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


def _pressures(foams: list[tuple[str, float]], *, complete: bool) -> list[PressureScreening]:
    softest = min(foams, key=lambda f: (f[1], f[0])) if foams else None
    found = []
    for name, kilograms, patch in LOADS:
        value = pressure(kilograms, patch)
        if softest is None:
            text = f"{value:.1f} kPa; the foam's stress at 25 % is missing, ask for the data sheet."
            found.append(
                PressureScreening(
                    load=name, pressure=snap(value), layer="", stress_at_25_percent=0.0, ratio=0.0, verdict="missing",
                    text=text,
                )
            )  # fmt: skip
            continue
        ratio = value / softest[1]
        words = (
            "sinks in by less than a quarter"
            if ratio <= LITTLE_MARGIN
            else "sinks in beyond 25 %, try it on a sample"
            if ratio <= BOTTOMED
            else "is likely to feel the slab, try it on a sample"
        )
        text = f"{value:.1f} kPa is {ratio:.2f} × the stress at 25 % of {softest[0]}: {words}."
        if not complete:
            text += " Another layer's data sheet is missing."
        found.append(
            PressureScreening(
                load=name, pressure=snap(value), layer=softest[0], stress_at_25_percent=snap(softest[1]),
                ratio=snap(ratio), verdict="fine" if ratio <= LITTLE_MARGIN and complete else "look at it", text=text,
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
    where: str,
    edges: list[EdgeScreening],
    pressures: list[PressureScreening],
    missing: list[str],
    joints: float,
    *,
    taped: bool,
) -> list[Reason]:
    found = [said.note("screening", CAUTION, where)]
    if missing:
        text = f"Missing for the screening: {', '.join(missing)}."
        found.append(said.warning("screening-missing", text, where, "Ask the maker for the data sheets."))
    for edge in edges:
        if edge.verdict == "look at it":
            todo = "Lengthen the ramp where the edge lies on an accessible route, and ask the local authority."
            found.append(said.warning("screening-step", edge.text, edge.edge, todo))
    deep = [p for p in pressures if p.ratio > BOTTOMED]
    if deep:
        text = "; ".join(f"{p.load}: {p.text}" for p in deep)
        found.append(said.note("screening-pressure", text, where))
    if joints > 0:
        how = "taped" if taped else "open"
        found.append(said.note("screening-joints", f"{said.length(joints)} of joint on top, {how}.", where))
    return found
