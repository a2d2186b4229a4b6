"""What goes into and comes out of layouts, cut plans, take-off, award, lead times and budget.

Lengths in results are millimetres, areas mm², masses kg, money Decimal in the build's currency.
"""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Literal

from buildout.units.lengths import Length
from buildout.units.value import Reason, Status, Value

# ---------------------------------------------------------------- products and systems

PurchaseUnit = Literal[
    "each", "sheet", "roll", "length", "bundle", "box", "pair",
    "running foot", "running yard", "metre", "square foot", "square yard", "square metre",
    "board foot", "gallon", "litre", "visit",
]  # fmt: skip


LeadGroup = Literal["foam", "cover", "timber", "panel", "fit-out", "other"]
LEAD_GROUPS: tuple[LeadGroup, ...] = ("foam", "cover", "timber", "panel", "fit-out", "other")
"""Kinds of goods that come together, as the task template waits for them."""


class Product(Value, kw_only=True):
    """Something that is bought. Its ``id`` is the item every take-off line and quote speaks of."""

    id: str
    name: str
    form: Literal["sheet", "roll", "length", "each", "made to drawing", "volume"]
    unit: PurchaseUnit
    """Unit the take-off asks for it in."""
    head: int
    """Budget head number (see estimating.engine.heads)."""
    length: Length | None = None
    width: Length | None = None
    thickness: Length | None = None
    kerf: Length | None = None
    trim: Length | None = None
    """Taken once per edge before the first cut."""
    turns: bool = True
    """False: grain, nap or emboss forbids turning a piece by 90°."""
    density: Decimal | None = None
    """kg/m³."""
    mass_per_area: Decimal | None = None
    """kg/m²."""
    per_pack: int = 1
    stress_at_25_percent: Decimal | None = None
    """kPa, from the maker's data sheet; None says missing."""
    stress_at_50_percent: Decimal | None = None
    """kPa, where the data sheet states it: a second point of the foam's curve."""
    cushion_factor: Decimal | None = None
    """Peak stress over energy taken in a volume, from the maker's cushion curve; None: not known."""
    compression_set: Decimal | None = None
    """Per cent of thickness that stays pressed in, from the maker's data sheet; None says missing."""
    fire_document: str = ""
    emission_document: str = ""
    """Paper on what it gives off to the air; empty says missing, as for the fire paper."""
    shade_lots: bool = False
    """Dyed lot by lot, so that left-overs of an earlier lot are kept for repairs and not mixed into a new order."""
    acclimatise_days: int = 0
    """Calendar days the goods lie in the room before they are used, where no task of the template waits for that."""
    lead_group: LeadGroup = "other"
    """Which arrival of the task template it belongs to (C06–C10)."""
    spread: Decimal | None = None
    """Area covered by one unit, m², for paint, adhesive and tape-like goods."""
    also_sold: list[str] = []
    """Ids of products that are the same goods in another size. Cut plans of sheets and lengths draw on all of them;
    rolls are drawn in the one width that costs least, and a floor is laid in each width of its roll goods."""
    reckoned_price: Decimal | None = None
    """What layouts and cut plans weigh sizes of the same goods by, for one unit; without it, by length or area."""
    cuts: Literal["any straight cut", "rips, then crosscuts"] = "any straight cut"
    """Sheets: how they are cut. Rips run the whole length first, then every strip is cut across; a piece narrower
    than its strip is ripped to width afterwards."""
    note: str = ""


class FoamLayer(Value, kw_only=True):
    """One layer of a floor system, listed from the slab up."""

    product: str
    role: Literal["base", "top"]
    direction: Literal["auto", "x", "y"] = "auto"
    """Which way the sheets' long side runs; auto: whichever needs fewest sheets, with equal numbers the base
    along the room's long side and the top across it."""
    stagger: Decimal = Decimal("0.5")
    """End-joint shift of neighbouring rows as a share of the sheet length."""
    taped: bool = False
    adhesive: str = ""
    """Product id of what glues it to the layer below; empty: laid loose."""


class CoverSpec(Value, kw_only=True):
    """The one-piece cover over the foam, welded from goods of one width."""

    product: str
    goods_width: Length
    weld_lap: Length
    band_width: Length
    mass_per_area: Decimal
    """kg/m², bands included."""
    hem: Length | None = None
    """Fabric turned in at every edge and cut-out, beyond the finished edge."""
    other_widths: list[Length] = []
    """Further widths the goods come in; the cover is laid out from whichever needs the least weld, then goods."""
    overhang: Length | None = None
    """How far the finished edge lies outside the frame's outer face (turned down over it); none: flush with it."""


class FloorSystem(Value, kw_only=True):
    """An ordered stack laid on the slab inside a frame."""

    id: str
    name: str
    layers: list[FoamLayer]
    cover: CoverSpec | None = None
    frame: str = ""
    """Product id of the frame timber; empty: no frame."""
    frame_width: Length | None = None
    frame_gap: Length | None = None
    """From the wall to the frame's outer face, or to the foam where there is no frame."""
    framed: Literal["all round", "walk-on edges"] = "all round"
    """Walk-on edges: along walls the foam runs to the gap, and timber lies only on sides that are walked on. What
    stands at a single side of a room's mat is said there (``Fitout.sides``)."""
    ramp: str = ""
    """Product id of the ramped edge for sides that are walked on; empty: none."""
    ramp_run: Length | None = None
    """Horizontal length of the ramped edge."""
    barrier: str = ""
    tape: str = ""
    hook_tape: str = ""
    staples: str = ""
    """Product id of the staples that hold the hook tape."""
    smallest_width: Length
    smallest_area: Decimal = Decimal("0.093")
    """m²; no laid piece may be smaller."""
    joint_offset: Length
    """Joints of one layer stay at least this far from parallel joints below."""


class FoldAwaySystem(Value, kw_only=True):
    """Loose mats that cover a room and fold away."""

    id: str
    name: str
    product: str
    mat_length: Length
    mat_width: Length
    sections: int = 1
    """Parts a mat folds into across its length, one on the other."""
    under_lap: Length | None = None
    """Width of the hook-and-loop flap under each edge where two mats meet; none: mats only butt."""


class WallSystem(Value, kw_only=True):
    """Upholstered panels: a plywood back, foam, a vinyl face, hung on cleats."""

    id: str
    name: str
    module: Length
    height: Length
    low_height: Length
    """Panel height along a low wall, below its cap."""
    thickness: Length
    """Of a panel; its cleat's, where stated, holds it off the wall besides."""
    bottom: Length
    """Panel bottom above the slab (finished mat + gap)."""
    narrowest_end: Length
    reveal: Length
    """Distance kept from a door casing."""
    board: str
    foam: str
    face: str
    """Product ids: plywood back, panel foam, upholstery vinyl."""
    foam_edge: Length
    """How much larger the foam is cut than the board at each edge, to be pressed in by the face fabric."""
    turn_back_side: Length
    turn_back_end: Length
    start: Literal["opening", "corner", "middle"] = "opening"
    """Where whole panels begin on a stretch of wall: beside its opening, at its first corner, or in its middle with
    equal end panels."""
    cleat: str = ""
    cleat_drop: Length | None = None
    """From a panel's top down to its cleat; none: 5 in."""
    spacer_rise: Length | None = None
    """From a panel's bottom up to the spacer that keeps it plumb; none: 6 in."""
    staples: str = ""
    """Product id of the staples that hold the face fabric."""
    anchor: str = ""
    anchor_spacing: Length | None = None
    cap: str = ""
    adhesive: str = ""


class Pin(Value, kw_only=True):
    """Something in a layout that the owner wants kept as it is. A layout honours it or says why it cannot."""

    id: str
    layer: str
    """``base``, ``top``, ``frame``, ``ramp``, ``cover``, ``walls``, ``caps`` or ``ends`` of low walls, ``wraps`` of
    columns, or ``fold-away``."""
    kind: Literal["direction", "line", "piece", "module", "product"]
    direction: Literal["", "x", "y"] = ""
    """Direction of the courses or welds; also which way a pinned line runs or a pinned sheet's long side lies."""
    wall: str = ""
    """The wall a line or module is pinned on; for welds the wall they run along; for frame and ramp the edge of the mat
    field, for wraps the column."""
    x: Length | None = None
    y: Length | None = None
    """Floor: where a line lies (y for a line along x, x for a line along y) or the corner nearest the datum of a
    sheet, strip or mat, in room coordinates. Walls and caps: x is the distance of a joint, a panel or a section from
    the wall's first corner; frame and ramp: from where the first timber of that run begins; wraps: round the jacket
    from its first seam."""
    module: Length | None = None
    """Width of a wall's panels; of one panel, or the length of a section or timber, where that is pinned as a piece."""
    product: str = ""
    why: str = ""


class RouteStep(Value, kw_only=True):
    """One narrow place on the way of a rolled cover from the kerb to the room, in the order it is met."""

    id: str
    name: str
    kind: Literal["opening", "turn"]
    width: Length
    """Clear width of the opening, or of the passage before a right-angle turn."""
    height: Length | None = None
    """Clear height; None: not measured."""
    into: Length | None = None
    """Clear width of the passage after the turn."""


class Zone(Value, kw_only=True):
    """A rectangle on the floor, in room coordinates, where no weld of the cover should lie."""

    id: str
    x: Length
    y: Length
    """Its corner nearest the datum."""
    length: Length
    """Along x."""
    width: Length
    why: str = ""


SideEdge = Literal["frame", "ramp", "foam"]
"""frame: a timber, seen as a square step where people walk on. ramp: a ramped edge stands in front, before the timber
where the floor has one. foam: no timber, the foam runs up to the gap at the wall."""


class SideChoice(Value, kw_only=True):
    """What stands at one side of a room's mat instead of what its floor system puts there."""

    side: str
    """Name of the side as on the drawing, such as ``A-B 1``."""
    edge: SideEdge


class Store(Value, kw_only=True):
    """Where folded mats are kept."""

    kind: Literal["under a bed", "against a wall", "cupboard"]
    length: Length
    width: Length
    height: Length


class Fitout(Value, kw_only=True):
    """Which systems a room gets."""

    room: str
    floor: str = ""
    fold_away: str = ""
    walls: str = ""
    panelled: list[str] = []
    """Walls that get panels; empty: all of them."""
    removable: list[str] = []
    """Features (a roller door) that get free-standing removable panels in front instead of none."""
    column_wraps: bool = False
    sides: list[SideChoice] = []
    """Sides of the mat where something else stands than the floor system puts there."""
    pins: list[Pin] = []
    """What stays as it is, whatever would be cheaper."""
    route: list[RouteStep] = []
    """The way a rolled cover takes from the kerb to the room."""
    weld_free: list[Zone] = []
    """Where welds are kept out as far as possible: the throwing area, the centre mark."""
    mat_area: Decimal | None = None
    """m² that fold-away mats should cover; none: as much as fits."""
    store: Store | None = None
    """Where the fold-away mats are kept."""


class Need(Value, kw_only=True):
    """A quantity that no drawing gives: paint, first-aid kit, signs. Stated by the owner."""

    id: str
    product: str
    quantity: Decimal
    unit: PurchaseUnit
    why: str = ""
    asked: str = ""
    """Key of the word on a build day's board that asked for it; empty: nobody asked there."""


class BoughtReady(Value, kw_only=True):
    """Something bought ready-made in place of goods that would be worked on here."""

    product: str
    """What is bought; a need of the same name asks for it."""
    items: list[str]
    """Goods it takes the place of: neither bought nor cut."""
    tasks: list[str] = []
    """Tasks of the list that were switched off for it, so that going back switches them on again."""
    set_aside: Decimal = Decimal(0)
    """Put under its budget head for what fixes it."""


class Remnant(Value, kw_only=True):
    """A left-over kept in stock. Cut plans use it before anything new is drawn."""

    id: str
    product: str
    length: Length
    width: Length | None = None
    lot: str = ""
    """Shade lot it is of."""
    note: str = ""


# ---------------------------------------------------------------- layouts


class Piece(Value, kw_only=True):
    """One laid piece. ``outline`` in room coordinates; ``box`` is the blank it is cut from (length, width)."""

    id: str
    layer: str
    row: int
    outline: list[tuple[float, float]]
    area: float
    box: tuple[float, float]
    whole: bool
    """A full stock sheet, laid uncut."""


class Joint(Value, kw_only=True):
    a: tuple[float, float]
    b: tuple[float, float]


class FoamLayout(Value, kw_only=True):
    layer: str
    """``base`` or ``top``."""
    product: str
    direction: Literal["x", "y"]
    origin: tuple[float, float]
    pieces: list[Piece]
    joints: list[Joint]
    joint_length: float
    area: float
    sheets_bound: int
    """No layout of this layer can use fewer stock pieces (area bound)."""
    cut_count: int = 0
    """Pieces that are not whole stock."""
    tape_length: float = 0.0
    """Joints that are taped, mm; 0 where the layer is not."""
    first_line: Joint | None = None
    """The course line to snap first; courses are laid from it, pieces in the order of ``pieces``."""
    first_line_from: str = ""
    """The side it is measured from, and how far from that side's two ends."""


class FramePiece(Value, kw_only=True):
    id: str
    edge: str
    length: float
    """Frame: along its outer edge. Ramp: along the longer of its two edges."""
    kind: Literal["frame", "ramp"]
    start_mitre: float = 0.0
    end_mitre: float = 0.0
    """Degrees its ends are off a square cut; above 0 the edge away from the mat's middle is the longer one there."""
    a: tuple[float, float] = (0.0, 0.0)
    b: tuple[float, float] = (0.0, 0.0)
    """Where ``length`` lies, anticlockwise: on the frame's outer face, for a ramp on the edge of the mat field."""


class MatSide(Value, kw_only=True):
    """One side of the mat field: what is there, and what the floor is edged with."""

    id: str
    a: tuple[float, float]
    b: tuple[float, float]
    """Anticlockwise: the mat lies to the left of a → b."""
    length: float
    along: str
    """Wall, low wall, gap or keep-clear strip."""
    against: Literal["wall", "low wall", "open"]
    edge: SideEdge
    chosen: bool = False
    """Somebody said so; otherwise the floor system does."""
    room_in_front: float | None = None
    """Free depth before an open side up to a wall, a column or more mat, mm, as far as one looks; None where nothing
    is drawn beyond it."""


class FloorLayout(Value, kw_only=True):
    room: str
    system: str
    status: Status
    bound: float
    """Fewest sheets over all layers that area allows."""
    value: float
    """Stock pieces the layers draw on: whole ones, and those that a first fit packs the cut pieces of a layer into."""
    outer: list[tuple[float, float]] = []
    """The frame's outer face."""
    field: list[tuple[float, float]]
    """Polygon inside the frame that the foam fills."""
    holes: list[list[tuple[float, float]]]
    layers: list[FoamLayout]
    frame: list[FramePiece]
    frame_length: float
    ramp_length: float
    edge_length: float
    """Run of cut foam edge, mm, one layer."""
    cutouts: int
    mat_area: float
    """Inside the frame's outer face, cut-outs taken out: what the cover covers."""
    thickness: float
    mass_per_area: float
    """kg/m², cover included; 0 where densities are missing."""
    reasons: list[Reason]
    pinned: dict[str, str] = {}
    """Products pinned instead of the system's: ``frame`` or ``ramp`` to product id."""
    sides: list[MatSide] = []
    """What stands at every side of the mat, anticlockwise."""
    stopped_by: str = ""
    """Where the search stopped, in words; only where more stock is used than the area asks for."""

    @property
    def gap(self) -> float:
        """By what share of the stock used the bound lies lower."""
        return (self.value - self.bound) / self.value if self.value else 0.0


class Weld(Value, kw_only=True):
    a: tuple[float, float]
    b: tuple[float, float]
    length: float


class Relief(Value, kw_only=True):
    """Where the cover is cut or patched: a cut-out with its slit, or an inner corner."""

    kind: Literal["cut-out", "inner corner"]
    at: tuple[float, float]
    slit: list[tuple[float, float]] = []
    """From the cut-out to the nearest edge; the cover is opened along it to go round the column."""
    slit_length: float = 0.0
    walked_on: bool = False
    """The slit ends on an edge that is walked on: it could end nowhere else."""


class PassageStep(Value, kw_only=True):
    """Whether the roll gets through one place of its route."""

    step: str
    name: str
    passes: bool
    longest_roll: float
    """mm: longest roll that would pass here at its own thickness; 0 when none does."""
    text: str


class Bundle(Value, kw_only=True):
    """A cover folded flat and tied, square across: shorter than any roll, so that it turns where none does."""

    side: float
    length: float
    places: int
    """Pairs of hands beside each other on both long sides, one every 2 ft."""
    steps: list[PassageStep]


class WeldLayout(Value, kw_only=True):
    """A way of running a cover's welds that was looked at: the best of its direction and width of goods."""

    direction: tuple[float, float]
    goods_width: float
    welds: list[Weld]
    weld_length: float
    kept_off: float
    """mm of it on the bands of walk-on edges and in zones that should have none."""
    goods_length: float
    over_joints: float
    """mm of it within a hand's breadth of a parallel joint of the top layer."""
    chosen: bool = False
    why: str = ""
    """Why it was chosen, or what it has more of than the one that was."""


class CoverLayout(Value, kw_only=True):
    room: str
    status: Status
    product: str
    outline: list[tuple[float, float]]
    """Finished edge: the frame's outer edge, where the band's outer edge lands."""
    cutouts: list[list[tuple[float, float]]]
    direction: tuple[float, float]
    strips: list[list[tuple[float, float]]]
    """Outlines of the goods between weld lines; a cut-out inside a strip is not taken out of it."""
    welds: list[Weld]
    weld_length: float
    bound: float
    """Least weld length over the directions tried."""
    band_length: float
    """Perimeter and cut-outs."""
    area: float
    goods_length: float
    mass: float
    rolled_diameter: float
    roll_length: float
    carriers: int
    sides: list[tuple[str, float]]
    """Named sides of the finished edge with lengths, for the fabricator's diagram."""
    diagonals: list[tuple[str, float]]
    reasons: list[Reason]
    reliefs: list[Relief] = []
    hook_length: float = 0.0
    """Hook tape opposite the band, mm."""
    staples: int = 0
    """In two rows along the hook tape."""
    passage: list[PassageStep] = []
    goods_width: float = 0.0
    """Width of the goods it is welded from, mm."""
    weld_in_zones: float = 0.0
    """mm of weld in zones that should have none."""
    weld_over_joints: float = 0.0
    """mm of weld within a hand's breadth of a parallel joint of the top layer."""
    cut_area: float = 0.0
    """mm² with hems; 0 where no hem is stated, when the finished area is all there is."""
    parting: Weld | None = None
    """Where a joint would be least harmful if the whole roll does not pass."""
    bundle: Bundle | None = None
    """How it would pass folded where no roll does; None where a roll passes, or where not even that helps."""
    ways: list[WeldLayout] = []
    """Ways of running the welds, the chosen one first."""


class CutOut(Value, kw_only=True):
    """Where a panel is cut round an outlet or a switch: the middle of its plate, mm."""

    service: str
    across: float
    """From the panel's ``start``; negative, or more than its width, where the plate's middle lies on its neighbour."""
    up: float
    """From the panel's bottom."""
    wide: float = 0.0
    high: float = 0.0
    """Size of the hole, larger than the plate all round; 0 where the plate was not measured."""


class Panel(Value, kw_only=True):
    id: str
    wall: str
    kind: Literal["full", "end", "low", "removable", "wrap", "cut-out", "cap", "wall end"]
    """A cap lies on a low wall, its ``height`` the depth across it; a wall end pads a low wall's free end."""
    start: float
    width: float
    bottom: float
    height: float
    board: tuple[float, float]
    face: tuple[float, float]
    """Blanks as (along the goods, across). A face is the visible size over foam and board edges, with its turn-back."""
    clear_of: list[str] = []
    """Services this panel is cut round."""
    cut_outs: list[CutOut] = []
    """Where, service by service."""
    foam: tuple[float, float] = (0.0, 0.0)
    """Foam blank (along the height, across)."""
    mass: float = 0.0
    """kg; 0 where a density is missing."""
    staples: int = 0
    thickness: float = 0.0
    """mm over all, of a cap, a wall end or a wrap; 0: the system's."""


class CleatLine(Value, kw_only=True):
    """A level rail or row of spacers behind the panels of a wall."""

    kind: Literal["cleat", "spacer"]
    height: float
    """mm above the slab, to the rail's middle."""
    start: float
    end: float
    spacing: float
    """mm between fixings into the wall; 0 for spacers, which sit on the panels."""
    fixings: int


class WallElevation(Value, kw_only=True):
    wall: str
    length: float
    panels: list[Panel]
    free: list[tuple[float, float, str]]
    """Runs left free (from, to, why). With the panels they add up to the wall, plus what its last panel laps past."""
    cleat_length: float
    cap_length: float
    cleats: list[CleatLine] = []
    trims: list[Panel] = []
    """Sections of low walls' caps, and the padding of low walls' free ends."""


class WallLayout(Value, kw_only=True):
    room: str
    system: str
    status: Status
    elevations: list[WallElevation]
    wraps: list[Panel]
    """Parts of column jackets, without boards; ``wall`` names the column."""
    full_count: int
    """Whole and removable panels."""
    low_count: int
    special_count: int
    """End panels and those cut round a service."""
    panel_run: float
    panel_area: float
    reasons: list[Reason]
    faces: list[tuple[float, float, int]] = []
    """Fabric blanks by size: along the goods, across, how many. Wraps are counted in."""
    pinned: dict[str, str] = {}
    """Products pinned instead of the system's: ``board``, ``foam``, ``face`` or ``cap`` to product id."""
    corner_fabric: float = 0.0
    """mm² of the blanks that is folded in at corners: part of the allowance."""
    staples: int = 0
    mass: float = 0.0
    """kg of all panels hung on walls; 0 where a density is missing. Caps and wraps are told apart."""
    trim_mass: float = 0.0
    """kg of all caps and padded ends of low walls; 0 where a density is missing."""
    wrap_mass: float = 0.0
    """kg of all column wraps; 0 where a density is missing."""


class FoldAwayLayout(Value, kw_only=True):
    room: str
    system: str
    product: str
    status: Status
    mats: list[list[tuple[float, float]]]
    """Outline of every mat as laid out, room coordinates."""
    count: int
    covered: float
    """mm²."""
    uncovered: float
    mass: float
    reasons: list[Reason]
    under_laps: int = 0
    """Edges where two mats meet and one laps under the other."""
    under_lap_length: float = 0.0
    mat_mass: float = 0.0
    """kg of one mat; 0 when missing."""
    folded: tuple[float, float, float] = (0.0, 0.0, 0.0)
    """Length, width and height of one folded mat, mm."""
    stacks: int = 0
    """Stacks in the store that hold all mats; 0 without a store or where they do not fit."""
    stored: int = 0
    """Mats that the store holds."""
    bound: int = 0
    """No layout holds more mats than this, by area; or what is wanted, where that is fewer."""
    stopped_by: str = ""
    """Where the search stopped, in words; only where fewer mats lie than the bound."""


class RoomLayouts(Value, kw_only=True):
    """All that is laid out in one room."""

    room: str
    floor: FloorLayout | None = None
    cover: CoverLayout | None = None
    walls: WallLayout | None = None
    fold_away: FoldAwayLayout | None = None


# ---------------------------------------------------------------- cut plans


class CutDemand(Value, kw_only=True):
    piece: str
    length: float
    width: float
    count: int = 1


class CutPiece(Value, kw_only=True):
    """A piece where it is cut: its lower left corner in the stock and its sides, mm."""

    piece: str
    x: float
    y: float
    length: float
    width: float
    turned: bool = False
    number: int = 0
    """Place in the order in which pieces come off; 0 for left-overs."""


class SawCut(Value, kw_only=True):
    """One straight cut, in cutting order, from a to b in the stock's own coordinates (mm)."""

    number: int
    kind: Literal["rip", "crosscut"]
    """Along the stock's length, or across it."""
    a: tuple[float, float]
    b: tuple[float, float]
    frees: list[str] = []
    """Pieces that have their final size after this cut."""


class MadeCut(Value, kw_only=True):
    """Stock that was cut already: a fact, taken from the site. Lengths in mm."""

    id: str
    product: str
    length: float
    width: float
    pieces: list[CutPiece]
    remnant: str = ""
    """Id of the remnant it was cut from; empty: from new stock."""
    rest_of: str = ""
    """Id of the earlier cut whose left-over it was cut from."""
    at: tuple[float, float] = (0.0, 0.0)
    """Where that left-over's lower left corner lies in what the earlier cut was made from."""
    sold_as: str = ""
    """Which size of the goods it is, where they are sold in several; empty: the product's own."""


class CutStock(Value, kw_only=True):
    """One sheet, length or run of roll with what is cut from it."""

    number: int
    length: float
    width: float
    pieces: list[CutPiece]
    offcuts: list[CutPiece]
    source: Literal["new", "remnant", "already cut", "remnant already cut"] = "new"
    product: str = ""
    """Which of the sizes the goods are sold in; empty: the plan's own product."""
    taken: str = ""
    """Id of the remnant, of its left-over, or of the cut already made."""
    cuts: list[SawCut] = []
    rest_of: str = ""
    """Id of the cut already made whose left-over it is: then it is a part of that stock, and not counted again."""
    at: tuple[float, float] = (0.0, 0.0)
    """Where in that stock its lower left corner lies."""


class CutPlan(Value, kw_only=True):
    product: str
    form: Literal["sheet", "roll", "length"]
    status: Status
    value: float
    """Stock pieces used; for rolls the length drawn in mm."""
    bound: float
    """No plan can use less than this."""
    stock: list[CutStock]
    used_area: float
    """Pieces, mm²; for lengths the run in mm, here and below."""
    offcut_area: float = 0.0
    """Left-overs large enough to book in and keep."""
    kerf_area: float = 0.0
    """Turned to dust, trim cuts included."""
    scrap_area: float = 0.0
    """Left-overs too small to keep."""
    waste_area: float
    """offcut + kerf + scrap: what the stock drawn is more than the pieces."""
    waste_share: float
    reasons: list[Reason]
    bought: dict[str, int] = {}
    """Stock to buy by product, what was cut already from new stock included; remnants are not in it."""
    cost: float = 0.0
    cost_bound: float = 0.0
    """Where sizes are weighed against each other: what the new stock is reckoned at, and what no plan can undercut."""
    stopped_by: str = ""
    """Limits of the search that kept it from proving more, in words; only where it did not."""


class CutPlans(Value, kw_only=True):
    status: Status
    plans: list[CutPlan]
    reasons: list[Reason]


# ---------------------------------------------------------------- take-off


class TraceStep(Value, kw_only=True):
    """Where part of a quantity comes from."""

    room: str
    source: str
    """Layer, wall, frame, cut plan or stated need."""
    pieces: list[str]
    amount: float
    unit: str
    text: str


class TakeOffLine(Value, kw_only=True):
    item: str
    name: str
    head: int
    unit: PurchaseUnit
    net: Decimal
    """As fixed in place, in ``unit``."""
    allowance: Decimal
    """Material the design itself needs beyond the visible size."""
    waste: Decimal
    quantity: Decimal
    """What must be bought: net + allowance + waste, rounded up to whole units where sold whole."""
    trace: list[TraceStep]
    needed: Decimal = Decimal(0)
    """Before rounding up to whole units, in ``unit``; what goods sold by other units are worked out from."""
    length: Length | None = None
    width: Length | None = None
    per_pack: int = 1
    spread: Decimal | None = None
    """Size of one unit (of its product), so that quotes in other units can be compared."""
    cutouts: int = 0
    """Cut-outs in goods made to drawing."""
    band: Decimal = Decimal(0)
    """Feet of edge band on goods made to drawing."""
    thickness: Length | None = None
    mass: Decimal | None = None
    """kg of one ``unit``, from the product's density or mass per area; None: not known."""


class TakeOff(Value, kw_only=True):
    status: Status
    lines: list[TakeOffLine]
    drivers: dict[str, float]
    """Quantities that feed tasks, in the units of the task table (sqft, lf, lb, each …)."""
    reasons: list[Reason]


# ---------------------------------------------------------------- suppliers, quotes, award


FreightService = Literal["kerbside", "lift-gate", "inside", "dock", "pick-up"]


class FreightZone(Value, kw_only=True):
    """What bringing goods into one zone of the supplier's own map costs."""

    name: str
    amount: Decimal


class Freight(Value, kw_only=True):
    """What a supplier charges for bringing the goods."""

    form: Literal["flat", "per unit", "by weight", "by zone", "free over"] = "flat"
    """``free over``: flat, and included from a sum of goods on."""
    amount: Decimal = Decimal(0)
    """Flat sum, or for one unit, or for one ``per``."""
    free_over: Decimal | None = None
    """Sum of goods, before any discount, from which it is included."""
    per: Literal["lb", "100 lb", "kg", "100 kg"] = "100 lb"
    """By weight: what ``amount`` is asked for."""
    at_least: Decimal = Decimal(0)
    """Per unit and by weight: the least that is charged."""
    zones: list[FreightZone] = []
    zone: str = ""
    """By zone: the one the site lies in."""
    service: FreightService = "kerbside"


class Contact(Value, kw_only=True):
    """One more person to ask for at a supplier."""

    name: str
    phone: str = ""
    email: str = ""
    about: str = ""
    """What they look after, for instance: invoices."""


class Supplier(Value, kw_only=True):
    """Somebody who sells, with the terms that hold for all their quotes."""

    id: str
    name: str
    contact: str = ""
    phone: str = ""
    email: str = ""
    contacts: list[Contact] = []
    """Others than the first."""
    services: list[FreightService] = []
    """Ways they bring goods; empty: not asked yet."""
    usual_lead_days: int | None = None
    """Working days they usually name."""
    terms: str = ""
    deposit_percent: Decimal = Decimal(0)
    balance_days: int = 0
    """Days from the goods' arrival to the rest of the money."""
    minimum_order: Decimal = Decimal(0)
    restocking_percent: Decimal | None = None
    """Of the price, kept when goods are taken off an order or given back; None: not said."""
    holidays: list[date] = []
    note: str = ""


class Break(Value, kw_only=True):
    """From this quantity on, this unit price. The first break starts at the smallest quantity sold."""

    start: Decimal
    price: Decimal


class QuoteLine(Value, kw_only=True):
    """One item of a quote with its price breaks."""

    item: str
    unit: PurchaseUnit
    form: Literal["all units", "incremental"] = "all units"
    breaks: list[Break]
    set_up: Decimal = Decimal(0)
    pack: Decimal = Decimal(1)
    """Sold in whole multiples of this many units."""
    goods_width: Length | None = None
    """Needed to turn running units into area; for board feet the width the seller reckons with."""
    goods_length: Length | None = None
    """Length of their roll, sheet or piece where it is not the product's."""
    goods_thickness: Length | None = None
    """For board feet: the thickness the seller reckons with, usually larger than the real one."""
    per_pack: int | None = None
    """Pieces in their bundle or box where it is not the product's."""
    mass: Decimal | None = None
    """Of one unit, as they state it."""
    mass_unit: Literal["lb", "kg"] = "lb"
    quoted_for: Decimal | None = None
    """How much they were asked for, in the unit of the take-off; None: not said."""
    substitute: str = ""
    """What they offer instead of the item asked for; empty: the item itself."""
    substitute_accepted: bool = False
    """The owner has seen its papers and sample and takes it. Until then it is not compared."""
    extra_per_cutout: Decimal = Decimal(0)
    extra_per_band_foot: Decimal = Decimal(0)
    note: str = ""


class Discount(Value, kw_only=True):
    """So much off the goods and extras of an order. Several add up. Each line is rounded once."""

    percent: Decimal
    over: Decimal = Decimal(0)
    """Holds from this sum on of what it covers, reckoned before any discount."""
    items: list[str] = []
    """A bundle: holds only where all of these are bought together, and for these. Empty: the whole order."""


class Quote(Value, kw_only=True):
    """A priced offer with a validity date."""

    id: str
    supplier: str
    currency: str
    quoted: date
    valid_until: date
    lines: list[QuoteLine]
    freight: Freight = Freight()
    lead_days_low: int
    lead_days_likely: int
    lead_days_high: int
    """Working days from order to goods at the door."""
    discounts: list[Discount] = []
    deposit_percent: Decimal | None = None
    """None: the supplier's usual deposit."""
    tax_included: bool = False
    tax_percent: Decimal | None = None
    """Tax they add or have included; None: the build's own rate."""
    note: str = ""


class AwardRules(Value, kw_only=True):
    """What the owner wants of the award beside the lowest cost."""

    most_suppliers: int | None = None
    force: dict[str, str] = {}
    """item → quote id."""
    exclude: list[str] = []
    """Quote ids."""
    together: list[list[str]] = []
    """Sets of items that must come from one quote, so that they are of one shade lot."""
    need_by: dict[str, date] = {}
    """Lead group (foam, cover …) → day its first goods are needed. Written down, not read off the schedule: that one
    waits for goods, so that in its own dates nothing chosen is ever late."""
    day_late: Decimal = Decimal(0)
    """What a day of waiting for goods costs; nought: lateness is not weighed."""


class Settled(Value, kw_only=True):
    """What standing orders have decided already: the award keeps it, whatever quotes and rules say since."""

    quotes: dict[str, str] = {}
    """item → quote of the last order that has it."""
    orders: dict[str, str] = {}
    """item → number of that order."""
    freight: dict[str, Decimal] = {}
    """quote → what its orders ask for freight."""


class Lateness(Value, kw_only=True):
    """How late each offer may come, for the award to weigh."""

    day: Decimal = Decimal(0)
    """What a day costs."""
    days: dict[str, dict[str, Decimal]] = {}
    """item → quote → calendar days after the day it is needed, on average over the range of its lead time."""


class AwardLine(Value, kw_only=True):
    item: str
    quote: str
    supplier: str
    asked: Decimal
    asked_unit: PurchaseUnit
    quantity: Decimal
    """Bought, in the quote's unit (may exceed what is asked where a break makes more cost less)."""
    unit: PurchaseUnit
    conversion: str
    """How asked became bought, in words, with the arithmetic."""
    unit_price: Decimal
    goods: Decimal
    """After any discount, as ``extras``."""
    extras: Decimal
    spare: Decimal
    runner_up: str
    """Quote id of the next best choice for this line (and those it may not be split from); empty when none."""
    runner_up_extra: Decimal
    discount: Decimal = Decimal(0)
    """Taken off goods and extras already."""
    days_late: Decimal = Decimal(0)
    """Days after the day it is needed, on average; counted where lateness is weighed."""
    order: str = ""
    """The standing order it is on: nothing of it is to be decided any more."""


class AwardSupplier(Value, kw_only=True):
    supplier: str
    quote: str
    goods: Decimal
    freight: Decimal
    tax: Decimal
    total: Decimal


class Award(Value, kw_only=True):
    status: Status
    currency: str = "XXX"
    """ISO 4217; all amounts are rounded to its smallest unit."""
    bound: Decimal
    total: Decimal
    """Goods, extras and freight, tax apart."""
    late_cost: Decimal = Decimal(0)
    """What the latest line's lateness is weighed at; in no total, but counted in the choice and in ``bound``."""
    tax: Decimal
    lines: list[AwardLine]
    suppliers: list[AwardSupplier]
    unquoted: list[str]
    """Items nobody quoted (validly)."""
    reasons: list[Reason]


class SupplierChoice(Value, kw_only=True):
    """What the whole award would cost if one supplier got nothing, or had to get something."""

    supplier: str
    kind: Literal["without", "with"]
    possible: bool
    proven: bool
    """False where the search was cut short: the cost is then what was found, perhaps not the least."""
    total: Decimal
    late: Decimal = Decimal(0)
    """Part of ``extra``: what its goods come later costs; below nought where they come sooner."""
    extra: Decimal
    """More than the award, lateness counted in; may be below nought only where the award itself is not proven."""
    moved: list[tuple[str, str]]
    """(item, quote) of every line that would come from another quote."""
    missing: list[str] = []
    """Items nobody else quotes: why it is not possible."""


class RoundUp(Value, kw_only=True):
    """A needed quantity just under a break, for which the break's own quantity costs less."""

    item: str
    quote: str
    unit: PurchaseUnit
    need: Decimal
    """In whole packs, as it would be bought."""
    to: Decimal
    cost: Decimal
    cost_rounded: Decimal
    chosen: bool
    """The award buys this line from this quote."""


class RuleCost(Value, kw_only=True):
    """What one rule of the owner costs: the award against the one without it, every other rule kept."""

    kind: Literal["force", "exclude", "most suppliers", "together"]
    item: str = ""
    quote: str = ""
    total: Decimal
    """Of the award without the rule: goods, extras and freight."""
    costs: Decimal
    """More than without it, lateness counted in."""
    proven: bool


class AwardChoices(Value, kw_only=True):
    """What other choices would cost than the award's."""

    suppliers: list[SupplierChoice] = []
    rules: list[RuleCost] = []
    round_ups: list[RoundUp] = []
    reasons: list[Reason] = []


# ---------------------------------------------------------------- commitments and lead times


class OrderedLine(Value, kw_only=True):
    """One item of an order, as ordered."""

    item: str
    quantity: Decimal
    unit: PurchaseUnit
    unit_price: Decimal
    goods: Decimal
    received: Decimal = Decimal(0)
    """Accepted so far. An order whose state is received counts as come in full whatever stands here."""
    came: date | None = None
    """Last day some of it came."""


class PlacedOrder(Value, kw_only=True):
    """An order as it stands, taken from the order book; a fact, never an estimate."""

    number: str
    supplier: str
    quote: str
    state: Literal["placed", "confirmed", "received"]
    placed: date
    promised: date | None = None
    received: date | None = None
    last_delivery: date | None = None
    """Last day anything of it came; a day promised before that no longer holds for the rest."""
    lines: list[OrderedLine]
    freight: Decimal = Decimal(0)
    tax_percent: Decimal | None = None
    """The rate it was placed at, whatever its quote says since. None: as its quote says."""
    tax: Decimal | None = None
    """On these lines and the freight as they stand. None: each at the rate."""
    deposit_percent: Decimal | None = None
    """It was placed at. None: as its quote says, else the supplier."""
    balance_days: int | None = None
    """From the goods' arrival to the rest of the money, as it was placed. None: as the supplier says."""


class Charge(Value, kw_only=True):
    """What a supplier asks for goods that were called off; a fact, before tax."""

    order: str
    supplier: str = ""
    """Empty: not said; where nothing of the order stands any more the file does not tell whose it was."""
    item: str
    amount: Decimal
    tax_percent: Decimal | None = None
    """The rate of the order it was asked for. None: the build's own."""


class Arrival(Value, kw_only=True):
    """When an item can be on site."""

    item: str
    supplier: str
    low: date
    likely: date
    high: date
    basis: Literal["received", "promised", "ordered", "to order", "unquoted"]
    lead_group: str
    acclimatise_days: int = 0
    """Calendar days more until it can be used."""
    name: str = ""
    """What the goods are called; empty in results worked out before names travelled with them."""

    @property
    def called(self) -> str:
        return self.name or self.item.replace("-", " ")


class Arrivals(Value, kw_only=True):
    status: Status
    items: list[Arrival]
    reasons: list[Reason]


class OrderBy(Value, kw_only=True):
    item: str
    supplier: str
    quote: str
    need: date
    """Day the schedule first uses it."""
    task: str
    lead_days: int
    """High lead time, working days."""
    acclimatise_days: int = 0
    """Counted back as well, in calendar days."""
    order_by: date
    state: Literal["to order", "overdue", "placed", "confirmed", "received"]
    late_by: int
    """Days the goods would come after the need date if ordered on the day the plan was worked out (0: in time)."""


class OrderDates(Value, kw_only=True):
    status: Status
    lines: list[OrderBy]
    reasons: list[Reason]


# ---------------------------------------------------------------- budget


class HeadPlan(Value, kw_only=True):
    """What the owner sets aside under a budget head for what no quote covers, and its contingency."""

    head: int
    allowance: Decimal = Decimal(0)
    contingency_percent: Decimal = Decimal(0)
    note: str = ""


class Incoming(Value, kw_only=True):
    """Part of the money available that is not there from the start."""

    day: date
    amount: Decimal
    what: str = ""


class MoneyPlan(Value, kw_only=True):
    """The money there is, the tax, the rent and what is set aside."""

    available: Decimal = Decimal(0)
    """In all, what arrives later counted in."""
    incoming: list[Incoming] = []
    tax_percent: Decimal = Decimal(0)
    weekly_rent: Decimal = Decimal(0)
    approval_over: Decimal | None = None
    """An order that comes to more, freight and tax counted in, waits for the partner; None: none does."""
    heads: list[HeadPlan] = []


class BudgetLine(Value, kw_only=True):
    head: int
    name: str
    quoted: Decimal
    allowance: Decimal
    contingency: Decimal
    ordered: Decimal
    total: Decimal
    """quoted + allowance + contingency."""
    made_of: list[tuple[str, Decimal]]


class Budget(Value, kw_only=True):
    status: Status
    lines: list[BudgetLine]
    goods: Decimal
    freight: Decimal
    tax: Decimal
    allowances: Decimal = Decimal(0)
    contingency: Decimal
    total: Decimal
    """goods + freight + tax + allowances + contingency; the float of head 24 is not in it."""
    available: Decimal
    left: Decimal
    kept_apart: Decimal = Decimal(0)
    """Float for the first quiet months."""
    tax_rates: list[Decimal] = []
    """Percentages that quotes and orders are taxed at here, lowest first."""
    reasons: list[Reason]
