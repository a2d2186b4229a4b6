"""Write a drawing as DXF for those who draw on in a CAD program.

Model space holds the drawing at full size in millimetres, one layer per role. Lettering, ticks and symbols
have the size they have on the sheet at the scale given, so that a print at that scale looks the same.
"""

from __future__ import annotations

import io
from typing import Any

from buildout.rooms.engine.drawing import Drawing, Role
from buildout.rooms.engine.geometry import Point
from buildout.rooms.engine.sheet import Letters, Mark, Primitive, Round, lay_out
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
            _add(space, mark, laid.scale, laid.origin)
        zoom.extents(space)
        text = io.StringIO()
        document.write(text)
    finally:
        ezdxf.options.write_fixed_meta_data_for_testing = fixed
    return text.getvalue()


def _add(space: Any, mark: Primitive, scale: int, origin: Point) -> None:
    from ezdxf.enums import TextEntityAlignment

    def put(p: Point) -> Point:
        return round((p[0] - origin[0]) * scale, 2), round((origin[1] - p[1]) * scale, 2)

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


def _pattern(hatch: Any, name: str, scale: int) -> None:
    if name in _PATTERNS:
        pattern, size = _PATTERNS[name]
        hatch.set_pattern_fill(pattern, scale=size * scale, angle=90 if name == "back diagonal" else 0)
