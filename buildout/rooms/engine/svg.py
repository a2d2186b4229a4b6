"""Write a drawing as SVG for the screen and the printed page.

Every shape carries the class ``d-<role>`` (spaces become dashes) and plain presentation attributes, so the
picture reads well on its own, in print, and under a content security policy that forbids inline styles. Ink is
``currentColor``: it follows the page's text colour in light and dark. A style sheet may override by class:

    .drawing          the whole picture
    .d-accent         things that ask for attention (suspect readings, highlights)
    .d-paper          ground blanked behind lettering; fill it with the page's paper colour
    .d-on-paper       signs with blanked ground; fill likewise
    .d-<role>         anything of one role

What carries a ± in its title can be reached with the keyboard, once for each title, and is named there by it.

Sizes are paper millimetres; the picture scales to the width it is given.
"""

from __future__ import annotations

import math
from html import escape
from typing import NamedTuple

from buildout.rooms.engine.drawing import Drawing, Hatch, Role
from buildout.rooms.engine.geometry import Point
from buildout.rooms.engine.lettering import BLANK, text_reach, text_width
from buildout.rooms.engine.sheet import Laid, Letters, Mark, Primitive, Round, lay_out

ACCENT = "#a8321a"
PAPER = "#ffffff"
FONT = "Helvetica, Arial, 'Liberation Sans', sans-serif"


class Pen(NamedTuple):
    """How a role is drawn on paper: line weight in mm, dashes in mm, colour, share of ink in a plain fill."""

    weight: float = 0.25
    dashes: str = ""
    accent: bool = False
    tint: float = 0.0
    quiet: float = 1.0
    """Opacity of the line."""


PENS: dict[Role, Pen] = {
    "wall": Pen(0.5, tint=0.5),
    "stud wall": Pen(0.5, tint=0.5),
    "low wall": Pen(0.3, tint=0.06),
    "opening": Pen(0.25),
    "door": Pen(0.35),
    "swing": Pen(0.18),
    "window": Pen(0.25),
    "column": Pen(0.5, tint=0.75),
    "keep clear": Pen(0.18, "1.6 1.0"),
    "mat field": Pen(0.3, "4 1 0.8 1"),
    "service": Pen(0.25),
    "mark": Pen(0.25),
    "reading": Pen(0.13, "0.8 0.8", quiet=0.7),
    "suspect": Pen(0.45, "2.4 1.2", accent=True),
    "datum": Pen(0.3),
    "frame": Pen(0.25, tint=0.1),
    "ramp": Pen(0.35, tint=0.12),
    "piece": Pen(0.2),
    "whole piece": Pen(0.2, tint=0.04),
    "joint": Pen(0.25),
    "lower joint": Pen(0.15, "1.2 0.9", quiet=0.7),
    "first line": Pen(0.7, "7 1.2 1.2 1.2"),
    "cover": Pen(0.45),
    "band": Pen(0.2, "2 1"),
    "weld": Pen(0.3, "5 1 1 1"),
    "cutout": Pen(0.35),
    "panel": Pen(0.3, tint=0.04),
    "low panel": Pen(0.3, tint=0.1),
    "removable panel": Pen(0.3, "2 1", tint=0.04),
    "end panel": Pen(0.3, tint=0.14),
    "cap": Pen(0.3, tint=0.2),
    "cleat": Pen(0.2, "3 1"),
    "floor line": Pen(0.5),
    "section cut": Pen(0.5, tint=0.5),
    "stock": Pen(0.4),
    "cut piece": Pen(0.25, tint=0.06),
    "offcut": Pen(0.2, "1.6 1.0"),
    "dimension": Pen(0.16),
    "label": Pen(0.2),
    "small label": Pen(0.2),
    "note": Pen(0.2),
    "grid": Pen(0.1, quiet=0.5),
    "hidden": Pen(0.2, "1.6 1.0"),
    "outline": Pen(0.4),
    "highlight": Pen(0.6, accent=True),
    "removed": Pen(0.3, "1.6 1.0", quiet=0.7),
    "added": Pen(0.5, accent=True),
}

_HATCHES: dict[Hatch, tuple[float, str]] = {
    "diagonal": (1.4, "M-.35 .35L.35-.35M0 1.4L1.4 0M1.05 1.75L1.75 1.05"),
    "back diagonal": (1.4, "M-.35 1.05L.35 1.75M0 0L1.4 1.4M1.05-.35L1.75 .35"),
    "cross": (1.6, "M0 0L1.6 1.6M0 1.6L1.6 0"),
    "dots": (1.8, "M.4 .45h.1M1.3 1.35h.1"),
    "sparse": (4.0, "M-1 1L1-1M0 4L4 0M3 5L5 3"),
}


def to_svg(
    drawing: Drawing,
    *,
    width: float = 297.0,
    height: float | None = None,
    scale: int | None = None,
    id_prefix: str = "d",
) -> str:
    """Write a drawing on a sheet ``width`` × ``height`` mm (``height`` None: as high as needed).

    The picture's own size is that of its sheet, so that a print of it is to scale; a style sheet may stretch it to
    what holds it. Give each drawing on one page its own ``id_prefix``. The result holds no script, no style element
    and no style attribute.
    """
    laid = lay_out(drawing, width, height, scale)
    used = sorted({m.hatch for m in laid.marks if not isinstance(m, Letters) and m.hatch in _HATCHES})
    reached = {m.title for m in laid.marks if isinstance(m, Letters) and "±" in m.title}
    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" class="drawing" width="{_n(laid.width)}mm" '
        f'height="{_n(laid.height)}mm"'
        f' viewBox="0 0 {_n(laid.width)} {_n(laid.height)}" role="{"group" if reached else "img"}"'
        f' aria-labelledby="{id_prefix}-title {id_prefix}-desc" color="#1b1b1b" font-family="{FONT}"'
        ' stroke-linecap="butt" stroke-linejoin="miter" stroke-miterlimit="1.6">',
        f'<title id="{id_prefix}-title">{escape(drawing.title)}</title>',
        f'<desc id="{id_prefix}-desc">{escape(_described(drawing, laid))}</desc>',
    ]
    if used:
        out.append("<defs>" + "".join(_pattern(name, id_prefix) for name in used) + "</defs>")
    for mark in laid.marks:
        text = _write(mark, id_prefix)
        if isinstance(mark, Letters) and mark.title in reached:
            reached.remove(mark.title)
            text = text.replace("<g>", f'<g tabindex="0" role="img" aria-label="{escape(mark.title)}">', 1)
        out.append(text)
    out.append("</svg>")
    return "\n".join(out)


def _described(drawing: Drawing, laid: Laid) -> str:
    return f"{drawing.description} Drawn at {laid.scale_text}."


def _pattern(name: Hatch, prefix: str) -> str:
    size, path = _HATCHES[name]
    return (
        f'<pattern id="{prefix}-{name.replace(" ", "-")}" width="{_n(size)}" height="{_n(size)}" '
        f'patternUnits="userSpaceOnUse"><path d="{path}" fill="none" stroke="currentColor" '
        f'stroke-width="{"0.35" if name == "dots" else "0.16"}"/></pattern>'
    )


def _n(value: float) -> str:
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def _class(role: Role, more: str = "") -> str:
    accent = " d-accent" if PENS[role].accent else ""
    return f'class="d-{role.replace(" ", "-")}{accent}{more}"'


def _ink(role: Role) -> str:
    return ACCENT if PENS[role].accent else "currentColor"


def _stroke(role: Role, weight: float | None) -> str:
    pen = PENS[role]
    text = f'stroke="{_ink(role)}" stroke-width="{_n(weight if weight is not None else pen.weight)}"'
    if pen.dashes and weight is None:
        text += f' stroke-dasharray="{pen.dashes}"'
    if pen.quiet != 1.0:
        text += f' stroke-opacity="{_n(pen.quiet)}"'
    return text


def _fill(role: Role, hatch: Hatch, prefix: str) -> str:
    if hatch == "fill":
        return f'fill="{_ink(role)}"' + (f' fill-opacity="{_n(PENS[role].tint)}"' if PENS[role].tint else "")
    if hatch:
        return f'fill="url(#{prefix}-{hatch.replace(" ", "-")})"'
    return 'fill="none"'


def _titled(body: str, title: str) -> str:
    return f"<g><title>{escape(title)}</title>{body}</g>" if title else body


def _write(mark: Primitive, prefix: str) -> str:
    match mark:
        case Mark():
            path = "".join(_path(ring, closed=mark.closed) for ring in mark.rings)
            fill = f'fill="{_ink(mark.role)}"' if mark.filled else _fill(mark.role, mark.hatch, prefix)
            paper = ""
            if mark.clear:
                fill, paper = f'fill="{PAPER}"', " d-on-paper"
            rule = ' fill-rule="evenodd"' if len(mark.rings) > 1 else ""
            return _titled(
                f'<path {_class(mark.role, paper)} d="{path}" {fill}{rule} {_stroke(mark.role, mark.weight)}/>',
                mark.title,
            )
        case Round():
            if mark.start == mark.end:
                fill = f'fill="{_ink(mark.role)}"' if mark.filled else _fill(mark.role, mark.hatch, prefix)
                paper = ""
                if mark.clear:
                    fill, paper = f'fill="{PAPER}"', " d-on-paper"
                body = (
                    f'<circle {_class(mark.role, paper)} cx="{_n(mark.centre[0])}" cy="{_n(mark.centre[1])}" '
                    f'r="{_n(mark.radius)}" {fill} {_stroke(mark.role, mark.weight)}/>'
                )
            else:
                body = f'<path {_class(mark.role)} d="{_arc(mark)}" fill="none" {_stroke(mark.role, mark.weight)}/>'
            return _titled(body, mark.title)
        case Letters():
            return _letters(mark)


def _path(ring: tuple[Point, ...], *, closed: bool) -> str:
    steps = "L".join(f"{_n(x)} {_n(y)}" for x, y in ring)
    return f"M{steps}{'Z' if closed else ''}"


def _arc(mark: Round) -> str:
    (x, y), r = mark.centre, mark.radius
    sweep = (mark.end - mark.start) % 360
    ends = [
        (x + r * math.cos(math.radians(t)), y - r * math.sin(math.radians(t))) for t in (mark.start, mark.end)
    ]  # fmt: skip
    (ax, ay), (bx, by) = ends
    return f"M{_n(ax)} {_n(ay)}A{_n(r)} {_n(r)} 0 {1 if sweep > 180 else 0} 0 {_n(bx)} {_n(by)}"


def _letters(mark: Letters) -> str:
    x, y = mark.at
    turn = f' transform="rotate({_n(-mark.turn)} {_n(x)} {_n(y)})"' if abs(mark.turn) > 0.01 else ""
    weight = ' font-weight="600"' if mark.bold else ""
    anchor = f' text-anchor="{mark.anchor}"' if mark.anchor != "start" else ""
    ink = _ink(mark.role)
    body = (
        f'<text {_class(mark.role, " d-text")} x="{_n(x)}" y="{_n(y)}" font-size="{_n(mark.size)}"{anchor}{weight}'
        f' fill="{ink}" stroke="none"{turn}>{escape(mark.text, quote=False)}</text>'
    )
    if mark.clear:
        wide = text_width(mark.text, mark.size, bold=mark.bold)
        left = {"start": 0.0, "middle": -wide / 2, "end": -wide}[mark.anchor] - BLANK
        low, high = text_reach(mark.text, mark.size)
        body = (
            f'<rect class="d-paper" x="{_n(x + left)}" y="{_n(y - high - BLANK)}" width="{_n(wide + 2 * BLANK)}" '
            f'height="{_n(high - low + 2 * BLANK)}" fill="{PAPER}" stroke="none"{turn}/>' + body
        )
    return _titled(body, mark.title)
