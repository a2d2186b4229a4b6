"""Rooms and systems for layout tests, made by hand: plans are given, no survey is run."""

from __future__ import annotations

import math
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
import shapely

from buildout.rooms.engine.types import MatEdge, PlacedColumn, PlacedFeature, PlanWall, RoomPlan
from buildout.units.lengths import Length
from estimating.engine.types import CoverSpec, FloorSystem, FoamLayer, Product, WallSystem

INCH = 25.4
Point = tuple[float, float]


def anticlockwise(ring: list[Point]) -> list[Point]:
    area = sum(a[0] * b[1] - b[0] * a[1] for a, b in zip(ring, ring[1:] + ring[:1], strict=True))
    return ring if area > 0 else ring[::-1]


class Rooms:
    """Makes plans. Sizes are inches; corners are given clockwise as people letter them, or any way round."""

    def plan(
        self,
        corners: dict[str, Point],
        *,
        columns: list[PlacedColumn] | None = None,
        features: list[dict[str, Any]] | None = None,
        keep_clear: dict[str, list[Point]] | None = None,
        ramps: list[str] | None = None,
        constructions: dict[str, str] | None = None,
        room: str = "room",
    ) -> RoomPlan:
        names = list(corners)
        at = {name: (x * INCH, y * INCH) for name, (x, y) in corners.items()}
        outline = anticlockwise([at[n] for n in names])
        middle = shapely.Polygon(outline)
        walls = []
        for one, two in zip(names, names[1:] + names[:1], strict=True):
            a, b = at[one], at[two]
            length = math.dist(a, b)
            normal = ((b[1] - a[1]) / length, -(b[0] - a[0]) / length)
            probe = shapely.Point((a[0] + b[0]) / 2 + normal[0], (a[1] + b[1]) / 2 + normal[1])
            if not middle.contains(probe):
                normal = (-normal[0], -normal[1])
            kind = (constructions or {}).get(f"{one}-{two}", "stud")
            walls.append(
                PlanWall(id=f"{one}-{two}", a=a, b=b, length=length, construction=kind, height=None, inward=normal)  # type: ignore[arg-type]
            )
        zones = {n: [(x * INCH, y * INCH) for x, y in z] for n, z in (keep_clear or {}).items()}
        field = middle
        for zone in zones.values():
            field = field.difference(shapely.Polygon(zone).buffer(1e-6, join_style="mitre"))
        ring = (
            anticlockwise([(round(x, 2), round(y, 2)) for x, y in field.exterior.coords[:-1]])
            if not field.is_empty
            else []
        )
        edges = []
        for number, (a, b) in enumerate(zip(ring, ring[1:] + ring[:1], strict=True), 1):
            mid = shapely.Point((a[0] + b[0]) / 2, (a[1] + b[1]) / 2)
            zone_name = next((n for n, z in zones.items() if shapely.Polygon(z).exterior.distance(mid) < 0.5), "")
            near = min(walls, key=lambda w: shapely.LineString([w.a, w.b]).distance(mid))
            on_wall = shapely.LineString([near.a, near.b]).distance(mid) < 0.5
            kind = "wall" if on_wall else "ramp"
            edges.append(
                MatEdge(
                    id=f"e{number}",
                    a=a,
                    b=b,
                    length=math.dist(a, b),
                    kind="ramp" if near.id in (ramps or []) and on_wall else kind,  # type: ignore[arg-type]
                    along=near.id if on_wall else zone_name,
                )
            )
        pillars = columns or []
        taken = shapely.union_all([shapely.Polygon(c.outline) for c in pillars]) if pillars else shapely.Polygon()
        by_id = {w.id: w for w in walls}
        return RoomPlan(
            room=room, name=room, status="proven", outline=outline, corners=at, walls=walls, columns=pillars,
            features=[self.feature(by_id[f["wall"]], **f) for f in features or []], keep_clear=zones,
            mat_field=ring, mat_edges=edges, floor_area=middle.difference(taken).area,
            mat_area=field.difference(taken).area, reasons=[],
        )  # fmt: skip

    def rectangle(self, width: float, depth: float, **more: Any) -> RoomPlan:
        return self.plan({"A": (0, 0), "B": (0, depth), "C": (width, depth), "D": (width, 0)}, **more)

    def feature(self, on: PlanWall, **given: Any) -> PlacedFeature:
        start = given["start"] * INCH
        end = given.get("end", given["start"]) * INCH
        along = ((on.b[0] - on.a[0]) / on.length, (on.b[1] - on.a[1]) / on.length)
        ends = [(on.a[0] + along[0] * s, on.a[1] + along[1] * s) for s in (start, end)]
        optional = {k: given[k] * INCH if k in given else None for k in ("sill", "head", "clear_width", "thickness")}
        return PlacedFeature(
            id=given["id"], kind=given["kind"], wall=on.id, start=start, end=end, a=ends[0], b=ends[1],
            swing=given.get("swing", ""), **optional,
        )  # fmt: skip

    def square_column(self, name: str, centre: Point, side: float) -> PlacedColumn:
        x, y, h = centre[0] * INCH, centre[1] * INCH, side * INCH / 2
        ring = [(x - h, y - h), (x + h, y - h), (x + h, y + h), (x - h, y + h)]
        return PlacedColumn(id=name, shape="rectangular", centre=(x, y), outline=ring)

    def round_column(self, name: str, centre: Point, diameter: float) -> PlacedColumn:
        x, y, r = centre[0] * INCH, centre[1] * INCH, diameter * INCH / 2
        ring = [(x + r * math.cos(k * math.tau / 64), y + r * math.sin(k * math.tau / 64)) for k in range(64)]
        return PlacedColumn(id=name, shape="round", centre=(x, y), outline=ring, diameter=diameter * INCH)

    def hall(self) -> RoomPlan:
        """An L-shaped hall out of square, two columns, two keep-clear strips, about 2,895 sq ft."""
        corners = {
            "A": (0.0, 0.0), "B": (-9.2, 744.0), "C": (327.8, 747.1),
            "D": (331.4, 386.1), "E": (764.0, 382.5), "F": (768.4, 0.0),
        }  # fmt: skip
        wall = [
            {"id": "fire-exit", "wall": "A-B", "kind": "exit door", "start": 486, "end": 526, "head": 82},
            {"id": "call-point", "wall": "A-B", "kind": "call point", "start": 537, "sill": 46},
            {"id": "extinguisher", "wall": "A-B", "kind": "extinguisher", "start": 546, "sill": 46},
            {"id": "window-1", "wall": "B-C", "kind": "window", "start": 51, "end": 113, "sill": 86, "head": 116},
            {"id": "children-door", "wall": "C-D", "kind": "door", "start": 80, "end": 118, "head": 82, "swing": "out"},
            {"id": "switch", "wall": "C-D", "kind": "switch", "start": 126, "sill": 48},
            {"id": "outlet-1", "wall": "C-D", "kind": "outlet", "start": 160, "sill": 16},
            {"id": "outlet-2", "wall": "C-D", "kind": "outlet", "start": 290, "sill": 16},
            {"id": "low-wall", "wall": "D-E", "kind": "low wall", "start": 64, "end": 282, "head": 42},
            {"id": "walk-on", "wall": "D-E", "kind": "gap", "start": 282, "end": 357},
            {"id": "panelboard", "wall": "E-F", "kind": "panelboard", "start": 80, "end": 100, "sill": 42, "head": 76},
            {"id": "thermostat", "wall": "E-F", "kind": "thermostat", "start": 181, "sill": 60},
            {"id": "outlet-3", "wall": "E-F", "kind": "outlet", "start": 48, "sill": 16},
            {"id": "roller-door", "wall": "F-A", "kind": "roller door", "start": 219, "end": 340, "head": 120},
            {"id": "outlet-5", "wall": "F-A", "kind": "outlet", "start": 480, "sill": 16},
        ]  # fmt: skip
        strip = [(780.0, 400.0), (780.0, -20.0), (720.63, -20.0), (716.0, 400.0)]
        landing = [(-20.0, 479.83), (42.06, 480.6), (41.4, 534.6), (-20.0, 533.84)]
        return self.plan(
            corners,
            columns=[
                self.square_column("K1", (258.5, 216.0), 12.25),
                self.round_column("K2", (504.0, 204.0), 10.75),
            ],
            features=wall,
            keep_clear={"aisle": strip, "landing": landing},
            constructions={"A-B": "masonry", "B-C": "masonry", "E-F": "masonry", "F-A": "masonry"},
            room="hall",
        )  # fmt: skip


class Systems:
    """Foam, cover and panel systems, with the sizes the trade uses unless others are given (inches)."""

    def products(
        self, *, base: tuple[float, float] = (108, 48), roll: tuple[float | None, float] = (1200, 54), kerf: float = 0
    ) -> dict[str, Product]:
        def good(id_: str, form: str, unit: str, *size: float | None, **more: Any) -> Product:
            names = ("length", "width", "thickness")
            sizes = {n: self.inches(s) for n, s in zip(names, size, strict=False) if s is not None}
            return Product(id=id_, name=id_.capitalize(), form=form, unit=unit, head=8, **sizes, **more)  # type: ignore[arg-type]

        made = [
            good("base", "sheet", "sheet", *base, 2, kerf=self.inches(kerf), density=Decimal("30.4")),
            good("top", "roll", "roll", *roll, 0.5, density=Decimal("32")),
            good("cover", "made to drawing", "square foot"),
            good("timber", "length", "length", 144, 3.5),
            good("wedge", "length", "length", 144, 12),
            good("ply", "sheet", "sheet", 96, 48, 0.5, turns=False),
            good("panel-foam", "sheet", "sheet", 81, 54, 1.5),
            good("vinyl", "roll", "running yard", 1800, 54, turns=False),
            good("cleat", "length", "length", 96),
            good("cap", "length", "length", 96),
            good("fold-mat", "each", "each", mass_per_area=Decimal("3.2")),
        ]
        return {product.id: product for product in made}

    def inches(self, value: float) -> Length:
        return Length(f"{value:g} in", Decimal(str(value)) * Decimal("25.4"))

    def floor(
        self,
        *,
        layers: list[FoamLayer] | None = None,
        frame: bool = True,
        gap: float = 0.5,
        smallest_width: float = 6,
        joint_offset: float = 6,
        smallest_area: str = "0.093",
        goods_width: float = 61,
    ) -> FloorSystem:
        usual = [FoamLayer(product="base", role="base"), FoamLayer(product="top", role="top", taped=True)]
        return FloorSystem(
            id="two-layer", name="Two layers and a cover", layers=usual if layers is None else layers,
            cover=CoverSpec(
                product="cover", goods_width=self.inches(goods_width), weld_lap=self.inches(1.25),
                band_width=self.inches(4), mass_per_area=Decimal("1.6275"),
            ),
            frame="timber" if frame else "", frame_width=self.inches(3.5) if frame else None,
            frame_gap=self.inches(gap), ramp="wedge", ramp_run=self.inches(12),
            smallest_width=self.inches(smallest_width), smallest_area=Decimal(smallest_area),
            joint_offset=self.inches(joint_offset),
        )  # fmt: skip

    def walls(self, **changed: Any) -> WallSystem:
        usual: dict[str, Any] = {
            "module": 48, "height": 72, "low_height": 39, "thickness": 2, "bottom": 2.75, "narrowest_end": 12,
            "reveal": 0.75, "foam_edge": 0.125, "turn_back_side": 1, "turn_back_end": 2, "anchor_spacing": 16,
        } | changed  # fmt: skip
        return WallSystem(
            id="panels", name="Panels", board="ply", foam="panel-foam", face="vinyl", cleat="cleat", cap="cap",
            **{name: self.inches(value) for name, value in usual.items()},
        )  # fmt: skip


@pytest.fixture(scope="session")
def rooms() -> Rooms:
    return Rooms()


@pytest.fixture(scope="session")
def systems() -> Systems:
    return Systems()


@pytest.fixture(scope="session")
def make() -> Callable[[float], float]:
    """Inches to millimetres."""
    return lambda inches: inches * INCH
