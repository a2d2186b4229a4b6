"""Write a drawing as DXF for those who draw on in a CAD program.

Model space holds the drawing at full size in millimetres, one layer per role. Lettering, ticks and symbols
have the size they have on the sheet at the scale given, so that a print at that scale looks the same.
"""

from __future__ import annotations

import io
import math
from typing import Any

from buildout.rooms.engine.drawing import Drawing, Role
from buildout.rooms.engine.geometry import Point
from buildout.rooms.engine.sheet import (
    DIMENSION_TEXT,
    GAP,
    OVER,
    TICK,
    DrawnDimension,
    Letters,
    Mark,
    Primitive,
    Round,
    lay_out,
    readable,
)
from buildout.rooms.engine.svg import PENS

MILLIMETRES = 4
"""Value of $INSUNITS for millimetres (DXF reference, header variables)."""
_WEIGHTS = (13, 15, 18, 20, 25, 30, 35, 40, 50, 53, 60, 70)
"""Line weights a DXF file may hold, hundredths of a millimetre."""
_PATTERNS = {
    "diagonal": ("ANSI31", 0.5), "back diagonal": ("ANSI31", 0.5), "cross": ("ANSI37", 0.5), "dots": ("DOTS", 1.0),
    "sparse": ("ANSI31", 1.4),
}  # fmt: skip


def layer_name(role: Role) -> str:
    """Layer a role is written on.

    >>> layer_name("mat field")
    'MAT-FIELD'
    """
    return role.upper().replace(" ", "-")


def to_dxf(drawing: Drawing, *, width: float = 420.0, height: float | None = None, scale: int | None = None) -> str:
    """Write a drawing as the text of a DXF file (R2010), units millimetres, layers by role.

    The scale, which only sizes lettering and symbols, is the one that fits a sheet ``width`` × ``height`` mm.
    Frame and title block are left out: the file is the drawing itself. The same drawing always gives the
    same text.
    """
    import ezdxf
    from ezdxf import zoom

    bare = Drawing(
        items=drawing.items, title=drawing.title, description=drawing.description, units=drawing.units, notes=[]
    )
    laid = lay_out(drawing, width, height, scale)
    laid = lay_out(bare, width, None, laid.scale)
    fixed = ezdxf.options.write_fixed_meta_data_for_testing
    ezdxf.options.write_fixed_meta_data_for_testing = True  # no dates or fresh ids in the file
    try:
        document: Any = ezdxf.new("R2010", setup=["linetypes"])
        document.header["$INSUNITS"] = MILLIMETRES
        document.header["$MEASUREMENT"] = 1
        document.header["$LTSCALE"] = laid.scale / 4
        space = document.modelspace()
        for role in sorted({mark.role for mark in laid.marks}):
            pen = PENS[role]
            weight = min(_WEIGHTS, key=lambda w: (abs(w - pen.weight * 100), w))
            document.layers.add(
                layer_name(role), color=1 if pen.accent else 7, lineweight=weight,
                linetype="DASHED" if pen.dashes else "CONTINUOUS",
            )  # fmt: skip
        for mark in laid.marks:
            if mark.role != "dimension":
                _add(space, mark, laid.scale, laid.origin)
        for drawn in laid.dimensions:
            _add_dimension(space, drawn, laid.scale, laid.origin)
        zoom.extents(space)
        text = io.StringIO()
        document.write(text)
    finally:
        ezdxf.options.write_fixed_meta_data_for_testing = fixed
    return text.getvalue()


def _on_model(p: Point, scale: int, origin: Point) -> Point:
    return round((p[0] - origin[0]) * scale, 2), round((origin[1] - p[1]) * scale, 2)


def _add(space: Any, mark: Primitive, scale: int, origin: Point) -> None:
    from ezdxf.enums import TextEntityAlignment

    def put(p: Point) -> Point:
        return _on_model(p, scale, origin)

    where = {"layer": layer_name(mark.role)}
    match mark:
        case Mark():
            for ring in mark.rings:
                space.add_lwpolyline([put(p) for p in ring], close=mark.closed, dxfattribs=where)
            if mark.filled or mark.hatch:
                hatch = space.add_hatch(color=256, dxfattribs=where)
                for k, ring in enumerate(mark.rings):
                    hatch.paths.add_polyline_path([put(p) for p in ring], is_closed=True, flags=1 if k == 0 else 16)
                _pattern(hatch, mark.hatch if not mark.filled else "fill", scale)
        case Round():
            if mark.start == mark.end:
                space.add_circle(put(mark.centre), mark.radius * scale, dxfattribs=where)
                if mark.filled or mark.hatch:
                    hatch = space.add_hatch(color=256, dxfattribs=where)
                    hatch.paths.add_edge_path().add_arc(put(mark.centre), mark.radius * scale, 0, 360)
                    _pattern(hatch, mark.hatch if not mark.filled else "fill", scale)
            else:
                space.add_arc(put(mark.centre), mark.radius * scale, mark.start, mark.end, dxfattribs=where)
        case Letters():
            text = space.add_text(
                mark.text, height=0.72 * mark.size * scale, rotation=mark.turn % 360, dxfattribs=where
            )
            align = {
                "start": TextEntityAlignment.LEFT, "middle": TextEntityAlignment.CENTER,
                "end": TextEntityAlignment.RIGHT,
            }[mark.anchor]  # fmt: skip
            text.set_placement(put(mark.at), align=align)


def _add_dimension(space: Any, drawn: DrawnDimension, scale: int, origin: Point) -> None:
    """A dimension a CAD program can pick up and move, drawn in its row with the ticks and sizes of the sheet."""
    item = drawn.item
    a, b = ((round(p[0], 2), round(p[1], 2)) for p in (item.a, item.b))
    if a == b:
        return
    off = drawn.offset * scale
    turn = math.degrees(math.atan2(b[1] - a[1], b[0] - a[0]))
    if abs(readable(turn) - turn) > 1.0:  # lettering follows the points; keep it upright
        a, b, off = b, a, -off
    made = space.add_aligned_dim(
        p1=a, p2=b, distance=round(off, 2), text=item.text, dimstyle="Standard",
        dxfattribs={"layer": layer_name(item.role)},
        override={
            "dimtxsty": "Standard", "dimtxt": 0.72 * DIMENSION_TEXT * scale, "dimtsz": TICK * scale,
            "dimexo": GAP * scale, "dimexe": OVER * scale, "dimdle": OVER * scale, "dimgap": 0.9 * scale,
            "dimtad": 1, "dimscale": 1.0, "dimtih": 0, "dimtoh": 0,
        },
    )  # fmt: skip
    if drawn.moved:
        made.set_location(_on_model(drawn.text_at, scale, origin))
    made.render()


def _pattern(hatch: Any, name: str, scale: int) -> None:
    if name in _PATTERNS:
        pattern, size = _PATTERNS[name]
        hatch.set_pattern_fill(pattern, scale=size * scale, angle=90 if name == "back diagonal" else 0)
