"""What one part of a build file says about another: names that must exist, numbers that must be in order.

These checks run on a document that already fits the schema. Whether a room closes, a column stands inside
or a crew can do the work is not decided here: the chain's links say that with a status and reasons.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal
from itertools import pairwise

from buildout.changes.engine.build_file import BuildFile, Commitments, Plan
from buildout.changes.engine.problems import Problem, pointer
from buildout.rooms.engine.neighbours import SHARED
from buildout.rooms.engine.types import KeepClear, Reading, Room, WallFeature
from buildout.units.lengths import Length
from buildout.units.quantities import QuantityError, convert
from estimating.engine.offers import PIECES
from estimating.engine.types import LEAD_GROUPS, Product, PurchaseUnit, Quote, QuoteLine
from scheduling.engine.calendars import WEEKDAYS
from scheduling.engine.cautions import CAUTIONS
from scheduling.engine.tasks import template_of
from scheduling.engine.template import default_template, driver_units, read_after, ring_text, shortest_loop
from scheduling.engine.types import BuildDay, Crew

Part = str | int

TIME_OF_DAY = re.compile(r"([01]\d|2[0-3]):[0-5]\d", re.ASCII)


class _Notes:
    """Collects problems under a path."""

    def __init__(self) -> None:
        self.found: list[Problem] = []

    def add(self, path: Sequence[Part], message: str, example: str = "") -> None:
        self.found.append(Problem(pointer=pointer(*path), message=message, example=example))

    def unknown(self, path: Sequence[Part], field: str, value: str, what: str, known: Iterable[str]) -> None:
        names = sorted(known)
        near = difflib.get_close_matches(value, names, n=1)
        if near:
            hint = f" Did you mean {near[0]!r}?"
        elif names:
            shown = ", ".join(names[:8]) + (", …" if len(names) > 8 else "")
            hint = f" There are: {shown}."
        else:
            hint = f" There is no {what} yet."
        example = near[0] if near else (names[0] if names else "")
        self.add(path, f'"{field}": there is no {what} {value!r}.{hint}', f'"{example}"' if example else "")

    def refer(self, path: Sequence[Part], value: str, what: str, known: Iterable[str], *, empty: bool = False) -> bool:
        """Check that a name exists; an empty one is fine when ``empty``."""
        if empty and value == "":
            return True
        names = list(known)
        if value in names:
            return True
        self.unknown(path, _field(path), value, what, names)
        return False

    def once(self, path: Sequence[Part], names: Sequence[str], what: str, field: str | None) -> None:
        """Check that no name is used twice in a list; ``field`` is where the name stands in an entry."""
        first: dict[str, int] = {}
        for at, name in enumerate(names):
            if name in first:
                where = [*path, at] if field is None else [*path, at, field]
                message = f'"{_field(where)}": {what} {name!r} is already entry {first[name] + 1}. Give each its own.'
                self.add(where, message, f'"{name}-2"')
            first.setdefault(name, at)

    def ordered(self, path: Sequence[Part], named: Sequence[tuple[str, Decimal | int]], example: str) -> None:
        for (low_name, low), (high_name, high) in pairwise(named):
            if low > high:
                words = " ≤ ".join(name for name, _ in named)
                message = f'"{high_name}" is {high}, below "{low_name}" {low}. Keep {words}.'
                self.add([*path, high_name], message, example)


def _field(path: Sequence[Part]) -> str:
    names = [part for part in path if isinstance(part, str)]
    return names[-1] if names else ""


# ---------------------------------------------------------------- a plan


def check_references(plan: Plan) -> list[Problem]:
    """Everything in a plan that does not agree with the rest of it. Pointers lead from the plan."""
    notes = _Notes()
    products = {product.id: product for product in plan.products}
    _dates(notes, plan)
    _hours(notes, plan)
    notes.once(["rooms"], [room.id for room in plan.rooms], "room", "id")
    for at, room in enumerate(plan.rooms):
        _room(notes, ["rooms", at], room)
    _other_sides(notes, plan.rooms)
    _products(notes, plan)
    _systems(notes, plan, products)
    _fitouts(notes, plan)
    _needs(notes, plan, products)
    _offers(notes, plan, products)
    _money(notes, plan)
    _crew(notes, plan)
    _tasks(notes, plan)
    return notes.found


def _dates(notes: _Notes, plan: Plan) -> None:
    dates = plan.dates
    if dates.opening_wish <= dates.lease_start:
        message = f'"opening_wish" {dates.opening_wish} is not after "lease_start" {dates.lease_start}.'
        notes.add(["dates", "opening_wish"], message, '"2027-05-03"')
    if dates.announced is not None and dates.announced <= dates.lease_start:
        message = f'"announced" {dates.announced} is not after "lease_start" {dates.lease_start}.'
        notes.add(["dates", "announced"], message, '"2027-05-10"')
    notes.once(["dates", "holidays"], [str(day.date) for day in dates.holidays], "holiday", "date")


# ---------------------------------------------------------------- rooms


def wall_names(room: Room) -> list[str]:
    """The walls of a room, ``A-B`` in corner order.

    >>> wall_names(Room(id="r", name="Room", corners=["A", "B", "C"]))
    ['A-B', 'B-C', 'C-A']
    """
    return [f"{a}-{b}" for a, b in zip(room.corners, room.corners[1:] + room.corners[:1], strict=True)]


def point_names(room: Room) -> list[str]:
    """Every point a reading of the room may start or end at."""
    names = [*room.corners, *room.marks]
    for column in room.columns:
        if column.shape == "round":
            names.append(column.id)
        else:
            names += [f"{column.id}.{corner}" for corner in ("SW", "SE", "NE", "NW")]
    return names


def _room(notes: _Notes, path: list[Part], room: Room) -> None:
    corners, walls, points = room.corners, wall_names(room), point_names(room)
    for at, name in enumerate(corners):
        if not name.strip() or "-" in name or "." in name:
            notes.add([*path, "corners", at], '"corners": a corner is named by a letter or a short word.', '"A"')
    notes.once([*path, "corners"], corners, "corner", None)
    for at, name in enumerate(room.marks):
        if name in corners:
            message = f'"marks": {name!r} is a corner already. Name the mark differently.'
            notes.add([*path, "marks", at], message, '"M"')
    notes.once([*path, "marks"], room.marks, "mark", None)
    for field, things in (
        ("columns", room.columns), ("readings", room.readings), ("walls", room.walls),
        ("features", room.features), ("keep_clear", room.keep_clear), ("tools", room.tools), ("levels", room.levels),
    ):  # fmt: skip
        notes.once([*path, field], [thing.id for thing in things], "this name", "id")
    if room.datum is not None:
        for field, name in (("origin", room.datum.origin), ("along", room.datum.along)):
            notes.refer([*path, "datum", field], name, "corner", corners)
        if room.datum.origin == room.datum.along:
            notes.add([*path, "datum", "along"], '"along" must be another corner than "origin".', f'"{corners[-1]}"')
    if room.height is not None:
        _positive(notes, [*path, "height"], room.height, "10' 0\"")
    for at, wall in enumerate(room.walls):
        notes.refer([*path, "walls", at, "id"], wall.id, "wall", walls)
        _positive(notes, [*path, "walls", at, "height"], wall.height, "10' 0\"")
    for at, column in enumerate(room.columns):
        here = [*path, "columns", at]
        if column.id in corners or column.id in room.marks:
            notes.add([*here, "id"], f'"id": {column.id!r} already names another point of this room.', '"K1"')
        if column.shape == "round" and column.diameter is None:
            notes.add([*here, "diameter"], '"diameter" is missing: a round column needs it.', '"diameter": "10 3/4 in"')
        if column.shape == "rectangular":
            for field in ("width", "depth"):
                if getattr(column, field) is None:
                    message = f'"{field}" is missing: a rectangular column needs width and depth.'
                    notes.add([*here, field], message, f'"{field}": "12 in"')
        for field in ("width", "depth", "diameter"):
            _positive(notes, [*here, field], getattr(column, field), "12 in")
        notes.refer([*here, "parallel_to"], column.parallel_to, "wall", walls, empty=True)
    for at, reading in enumerate(room.readings):
        _reading(notes, [*path, "readings", at], room, reading, points)
    for at, level in enumerate(room.levels):
        for k, name in enumerate([*level.edge, level.up_to]):
            spot: list[Part] = ["edge", k] if k < len(level.edge) else ["up_to"]
            notes.refer([*path, "levels", at, *spot], name, "point", points, empty=k == len(level.edge))
        _positive(notes, [*path, "levels", at, "rise"], level.rise, "6 in")
    runs: tuple[tuple[str, Sequence[WallFeature | KeepClear]], ...] = (
        ("features", room.features),
        ("keep_clear", room.keep_clear),
    )
    for field, strips in runs:
        for at, strip in enumerate(strips):
            here = [*path, field, at]
            if notes.refer([*here, "wall"], strip.wall, "wall", walls):
                notes.refer([*here, "zero"], strip.zero, "corner of that wall", strip.wall.split("-"))
            if strip.end is not None and strip.end.mm <= strip.start.mm:
                message = f'"end" {strip.end.text} is not beyond "start" {strip.start.text}.'
                notes.add([*here, "end"], message, '"6\' 8\\""')
    for at, feature in enumerate(room.features):
        here = [*path, "features", at]
        if feature.sill is not None and feature.head is not None and feature.head.mm <= feature.sill.mm:
            message = f'"head" {feature.head.text} is not above "sill" {feature.sill.text}.'
            notes.add([*here, "head"], message, '"6\' 10\\""')
        _positive(notes, [*here, "thickness"], feature.thickness, "4 5/8 in")
    for at, keep in enumerate(room.keep_clear):
        _positive(notes, [*path, "keep_clear", at, "depth"], keep.depth, "4' 0\"")


def _other_sides(notes: _Notes, rooms: Sequence[Room]) -> None:
    """What rooms say of each other: the other side of a door, the wall a wall backs on to."""
    known = {room.id: room for room in rooms}
    named: dict[tuple[str, str], tuple[str, str]] = {}
    for at, room in enumerate(rooms):
        for k, feature in enumerate(room.features):
            side = feature.other_side
            here: list[Part] = ["rooms", at, "features", k, "other_side"]
            if side is None or not _next_room(notes, here, room, side.room, known, "a door"):
                continue
            openings = {f.id: f for f in known[side.room].features if f.kind in SHARED}
            if feature.kind not in SHARED:
                notes.add([*here, "feature"], f'"other_side": only {", ".join(SHARED)} have another side.')
            elif notes.refer([*here, "feature"], side.feature, f"opening of {known[side.room].name}", openings):
                back = openings[side.feature].other_side
                if back is not None and (back.room, back.feature) != (room.id, feature.id):
                    message = f'"feature": {side.feature!r} of {known[side.room].name} names another door as its own.'
                    notes.add([*here, "feature"], message)
                first = named.setdefault((side.room, side.feature), (room.id, feature.id))
                if first != (room.id, feature.id):
                    message = f'"feature": {side.feature!r} is the other side of {first[1]!r} already.'
                    notes.add([*here, "feature"], message)
        for k, wall in enumerate(room.walls):
            back_on = wall.backs_on
            here = ["rooms", at, "walls", k, "backs_on"]
            if back_on is None or not _next_room(notes, here, room, back_on.room, known, "a wall"):
                continue
            notes.refer([*here, "wall"], back_on.wall, "wall", wall_names(known[back_on.room]))
            _positive(notes, [*here, "thickness"], back_on.thickness, "4 7/8 in")


def _next_room(
    notes: _Notes, here: Sequence[Part], room: Room, other: str, known: Mapping[str, Room], what: str
) -> bool:
    if other == room.id:
        notes.add([*here, "room"], f'"room": {what} leads to another room than its own, {room.name}.')
        return False
    return notes.refer([*here, "room"], other, "room", known)


def _reading(notes: _Notes, path: list[Part], room: Room, reading: Reading, points: Sequence[str]) -> None:
    opening = reading.kind in ("clear width", "clear height")
    bare = opening and not reading.start and not reading.end
    if not bare:
        for field, name in (("start", reading.start), ("end", reading.end)):
            notes.refer([*path, field], name, "point", points)
        if reading.start == reading.end:
            message = f'"end": a reading goes to another point than {reading.start!r}.'
            notes.add([*path, "end"], message, f'"{room.corners[0]}"')
    if reading.kind in ("offset", "running", "square"):
        notes.refer([*path, "point"], reading.point, "point", points)
    if reading.kind == "square" and len(reading.legs) != 2:
        message = '"legs": a square check needs how far its two marks are from the corner.'
        notes.add([*path, "legs"], message, "3 ft and 4 ft")
    if opening:
        notes.refer([*path, "feature"], reading.feature, "opening", [f.id for f in room.features])
    if reading.kind in ("distance", "square", "height", "clear width", "clear height"):
        _positive(notes, [*path, "value"], reading.value, "12' 3 1/4\"")


def _positive(notes: _Notes, path: list[Part], value: Length | None, example: str) -> None:
    if value is not None and value.mm <= 0:
        notes.add(path, f'"{_field(path)}" must be more than nothing.', _quoted(example))


def _quoted(text: str) -> str:
    return '"' + text.replace('"', '\\"') + '"'


# ---------------------------------------------------------------- products and systems


def _products(notes: _Notes, plan: Plan) -> None:
    notes.once(["products"], [product.id for product in plan.products], "product", "id")
    needed = {"sheet": ("length", "width"), "roll": ("width",), "length": ("length",)}
    forms = {product.id: product.form for product in plan.products}
    for at, product in enumerate(plan.products):
        here: list[Part] = ["products", at]
        for field in needed.get(product.form, ()):
            if getattr(product, field) is None:
                message = f'"{field}" is missing: a product of the form {product.form!r} is cut to size from it.'
                notes.add([*here, field], message, f'"{field}": "96 in"')
        for field in ("length", "width", "thickness"):
            _positive(notes, [*here, field], getattr(product, field), "96 in")
        if product.spread is not None and product.spread <= 0:
            notes.add([*here, "spread"], '"spread" must be more than nothing.', '"28"')
        for number, name in enumerate(product.also_sold):
            if notes.refer([*here, "also_sold", number], name, "product", forms) and forms[name] != product.form:
                message = f'"also_sold": {name!r} is sold as {forms[name]!r}, {product.id!r} as {product.form!r}.'
                notes.add([*here, "also_sold", number], message)


def _systems(notes: _Notes, plan: Plan, products: dict[str, Product]) -> None:
    for field, systems in (
        ("floor_systems", plan.floor_systems), ("fold_away_systems", plan.fold_away_systems),
        ("wall_systems", plan.wall_systems),
    ):  # fmt: skip
        notes.once([field], [system.id for system in systems], "system", "id")
    for at, floor in enumerate(plan.floor_systems):
        here: list[Part] = ["floor_systems", at]
        for number, layer in enumerate(floor.layers):
            layer_path = [*here, "layers", number]
            if notes.refer([*layer_path, "product"], layer.product, "product", products):
                _flat(notes, [*layer_path, "product"], products[layer.product])
            notes.refer([*layer_path, "adhesive"], layer.adhesive, "product", products, empty=True)
            if not 0 <= layer.stagger < 1:
                notes.add([*layer_path, "stagger"], f'"stagger" is {layer.stagger}; give a share below 1.', '"0.5"')
        roles = [layer.role for layer in floor.layers]
        if "top" in roles and "base" in roles and roles.index("top") < len(roles) - 1 - roles[::-1].index("base"):
            notes.add([*here, "layers"], '"layers" go from the slab up: base before top.', '[{"role": "base"}, …]')
        for name in ("frame", "ramp", "barrier", "tape", "hook_tape", "staples"):
            notes.refer([*here, name], getattr(floor, name), "product", products, empty=True)
        if floor.frame and floor.frame_width is None:
            notes.add(
                [*here, "frame_width"], '"frame_width" is missing: the frame needs it.', '"frame_width": "3 1/2 in"'
            )
        if floor.ramp and floor.ramp_run is None:
            notes.add([*here, "ramp_run"], '"ramp_run" is missing: the ramp needs it.', '"ramp_run": "12 in"')
        if floor.cover is not None:
            notes.refer([*here, "cover", "product"], floor.cover.product, "product", products)
            if floor.cover.weld_lap.mm >= floor.cover.goods_width.mm:
                message = '"weld_lap" must be less than "goods_width".'
                notes.add([*here, "cover", "weld_lap"], message, '"1 1/4 in"')
    for at, fold in enumerate(plan.fold_away_systems):
        here = ["fold_away_systems", at]
        notes.refer([*here, "product"], fold.product, "product", products)
        for name in ("mat_length", "mat_width"):
            _positive(notes, [*here, name], getattr(fold, name), "8' 0\"")
        if fold.sections < 1:
            notes.add([*here, "sections"], '"sections" is the number of parts a mat folds into.', '"sections": 4')
    for at, wall in enumerate(plan.wall_systems):
        here = ["wall_systems", at]
        for name in ("board", "foam", "face"):
            notes.refer([*here, name], getattr(wall, name), "product", products)
        for name in ("cleat", "anchor", "cap", "adhesive", "staples"):
            notes.refer([*here, name], getattr(wall, name), "product", products, empty=True)
        for name in ("module", "height", "low_height", "thickness"):
            _positive(notes, [*here, name], getattr(wall, name), "48 in")
        if wall.narrowest_end.mm > wall.module.mm:
            notes.add([*here, "narrowest_end"], '"narrowest_end" must not exceed "module".', '"12 in"')
        if wall.anchor and wall.anchor_spacing is None:
            message = '"anchor_spacing" is missing: it gives the number of anchors.'
            notes.add([*here, "anchor_spacing"], message, '"anchor_spacing": "16 in"')


def _flat(notes: _Notes, path: list[Part], product: Product) -> None:
    if product.form not in ("sheet", "roll"):
        message = f'"product": {product.id!r} is sold as {product.form!r}; a floor layer is laid from sheets or rolls.'
        notes.add(path, message)


def _fitouts(notes: _Notes, plan: Plan) -> None:
    rooms = {room.id: room for room in plan.rooms}
    notes.once(["fitouts"], [fitout.room for fitout in plan.fitouts], "the fit-out of room", "room")
    for at, fitout in enumerate(plan.fitouts):
        here: list[Part] = ["fitouts", at]
        known = {
            "floor": [system.id for system in plan.floor_systems],
            "fold_away": [system.id for system in plan.fold_away_systems],
            "walls": [system.id for system in plan.wall_systems],
        }
        for field, ids in known.items():
            notes.refer([*here, field], getattr(fitout, field), "system", ids, empty=True)
        if not notes.refer([*here, "room"], fitout.room, "room", rooms):
            continue
        room = rooms[fitout.room]
        for number, wall in enumerate(fitout.panelled):
            notes.refer([*here, "panelled", number], wall, "wall", wall_names(room))
        said = [choice.side for choice in fitout.sides]
        for number, side in enumerate(said):
            if side in said[:number]:
                notes.add([*here, "sides", number, "side"], f'"side": {side!r} is chosen twice. Keep one of them.')
        features = [feature.id for feature in room.features]
        for number, feature in enumerate(fitout.removable):
            notes.refer([*here, "removable", number], feature, "feature", features)


# ---------------------------------------------------------------- needs, quotes, money


def unit_fault(product: Product, unit: PurchaseUnit, line: QuoteLine | None = None) -> str:
    """Why a quantity of a product cannot be turned into ``unit``; empty when it can."""
    if unit == product.unit or {unit, product.unit} <= set(PIECES):
        return ""
    if {unit, product.unit} & {"gallon", "litre"} and product.form != "volume":
        return "it is not poured"
    width, long, thickness, pack = product.width, product.length, product.thickness, product.per_pack
    if line is not None:
        width, long = line.goods_width or width, line.goods_length or long
        thickness, pack = line.goods_thickness or thickness, line.per_pack or pack
    try:
        convert(
            Decimal(1),
            product.unit,
            unit,
            goods_width_mm=width.mm if width is not None else None,
            sheet=(long.mm, width.mm) if product.form == "sheet" and long and width else None,
            roll_length_mm=long.mm if product.form == "roll" and long is not None else None,
            piece_length_mm=long.mm if product.form == "length" and long is not None else None,
            thickness_mm=thickness.mm if thickness is not None else None,
            per_pack=pack if pack > 1 else None,
            spread=product.spread,
            spread_unit=product.unit,
        )
    except QuantityError as error:
        return str(error)
    return ""


def _needs(notes: _Notes, plan: Plan, products: dict[str, Product]) -> None:
    notes.once(["needs"], [need.id for need in plan.needs], "need", "id")
    asked: dict[str, str] = {}
    for at, need in enumerate(plan.needs):
        here: list[Part] = ["needs", at]
        if need.asked and asked.setdefault(need.asked, need.id) != need.id:
            message = (
                f'"asked": the plan buys this already, as {asked[need.asked]!r} ({need.why}). Keep one of the two.'
            )
            notes.add([*here, "asked"], message, '""')
        if not notes.refer([*here, "product"], need.product, "product", products):
            continue
        fault = unit_fault(products[need.product], need.unit)
        if fault:
            unit = products[need.product].unit
            message = f'"unit": {need.product!r} is counted by the {unit}; {need.unit!r} does not fit: {fault}.'
            notes.add([*here, "unit"], message, f'"{unit}"')
    notes.once(["ready_made"], [bought.product for bought in plan.ready_made], "ready-made", "product")
    codes = [row.code for row in default_template()]
    for at, bought in enumerate(plan.ready_made):
        notes.refer(["ready_made", at, "product"], bought.product, "product", products)
        for number, item in enumerate(bought.items):
            notes.refer(["ready_made", at, "items", number], item, "product", products)
        for number, code in enumerate(bought.tasks):
            notes.refer(["ready_made", at, "tasks", number], code, "task", codes)
    drivers = {row.driver for row in default_template()} - {"1"}
    for name in plan.quantities:
        if name not in drivers:
            notes.unknown(["quantities", name], name, name, "quantity in the task list called", drivers)


def _offers(notes: _Notes, plan: Plan, products: dict[str, Product]) -> None:
    suppliers = [supplier.id for supplier in plan.suppliers]
    quotes = {quote.id: quote for quote in plan.quotes}
    notes.once(["suppliers"], suppliers, "supplier", "id")
    notes.once(["quotes"], [quote.id for quote in plan.quotes], "quote", "id")
    for at, supplier in enumerate(plan.suppliers):
        _percent(notes, ["suppliers", at, "deposit_percent"], supplier.deposit_percent)
    for at, quote in enumerate(plan.quotes):
        _quote(notes, ["quotes", at], quote, plan.currency, suppliers, products)
    for item, quote_id in plan.award.force.items():
        here: list[Part] = ["award", "force", item]
        if notes.refer([*here[:2], item], item, "product", products) and notes.refer(here, quote_id, "quote", quotes):
            offered = [line.item for line in quotes[quote_id].lines]
            if item not in offered:
                message = f'"{item}": quote {quote_id!r} does not offer it. It offers: {", ".join(offered)}.'
                notes.add(here, message)
    for number, quote_id in enumerate(plan.award.exclude):
        notes.refer(["award", "exclude", number], quote_id, "quote", quotes)
    there: set[str] = set()
    for number, unsplit in enumerate(plan.award.together):
        for at, item in enumerate(unsplit):
            notes.refer(["award", "together", number, at], item, "product", products)
            if item in there:
                notes.add(["award", "together", number, at], f'"{item}" stands in two sets; one is enough.', "")
            there.add(item)
    for group in plan.award.need_by:
        if group not in LEAD_GROUPS:
            message = f'"{group}" is not a kind of goods; they are {", ".join(LEAD_GROUPS)}.'
            notes.add(["award", "need_by", group], message, '{"foam": "2027-03-13"}')
    if plan.award.most_suppliers is not None and plan.award.most_suppliers < 1:
        notes.add(["award", "most_suppliers"], '"most_suppliers" must be 1 or more, or null for no limit.', "4")


def _quote(
    notes: _Notes, path: list[Part], quote: Quote, currency: str, suppliers: list[str], products: dict[str, Product]
) -> None:
    notes.refer([*path, "supplier"], quote.supplier, "supplier", suppliers)
    if quote.currency != currency:
        message = f'"currency" is {quote.currency}, but this build counts in {currency}. Ask for a quote in {currency}.'
        notes.add([*path, "currency"], message, f'"{currency}"')
    if quote.valid_until < quote.quoted:
        message = f'"valid_until" {quote.valid_until} is before "quoted" {quote.quoted}.'
        notes.add([*path, "valid_until"], message, '"2027-03-31"')
    leads = [(name, getattr(quote, name)) for name in ("lead_days_low", "lead_days_likely", "lead_days_high")]
    notes.ordered(path, leads, "5, 8, 12")
    if quote.freight.form == "free over" and quote.freight.free_over is None:
        message = '"free_over" is missing: say from what sum the freight is free.'
        notes.add([*path, "freight", "free_over"], message, '"free_over": "1500"')
    zones = [zone.name for zone in quote.freight.zones]
    if quote.freight.form == "by zone" and quote.freight.zone not in zones:
        message = f'"zone": there is no zone {quote.freight.zone!r} among {", ".join(zones) or "none"}.'
        notes.add([*path, "freight", "zone"], message, f'"{zones[0]}"' if zones else '"B"')
    for name in ("deposit_percent", "tax_percent"):
        _percent(notes, [*path, name], getattr(quote, name) or Decimal(0))
    for number, discount in enumerate(quote.discounts):
        _percent(notes, [*path, "discounts", number, "percent"], discount.percent)
        for at, item in enumerate(discount.items):
            here = [*path, "discounts", number, "items", at]
            offered = [line.item for line in quote.lines]
            if notes.refer(here, item, "product", products) and item not in offered:
                notes.add(here, f'"items": this quote does not offer {item!r}. It offers: {", ".join(offered)}.', "")
    for number, line in enumerate(quote.lines):
        here = [*path, "lines", number]
        if notes.refer([*here, "item"], line.item, "product", products):
            product = products[line.item]
            fault = unit_fault(product, line.unit, line)
            if fault:
                counted = f"{line.item!r} is counted by the {product.unit}"
                message = f'"unit": {counted}; {line.unit!r} does not fit: {fault}.'
                notes.add([*here, "unit"], message, f'"{product.unit}"')
        if line.pack <= 0:
            notes.add([*here, "pack"], '"pack" must be more than nothing.', '"5"')
        _positive(notes, [*here, "goods_width"], line.goods_width, "54 in")
        _positive(notes, [*here, "goods_length"], line.goods_length, "50 yd")
        _positive(notes, [*here, "goods_thickness"], line.goods_thickness, "2 in")
        for place, (below, above) in enumerate(pairwise(line.breaks), 1):
            if above.start <= below.start:
                message = (
                    f'"breaks" are out of order: entry {place + 1} starts at {above.start}, '
                    f"not after entry {place} at {below.start}. List them from the smallest quantity up."
                )
                example = '[{"start": "1", "price": "9.00"}, {"start": "24", "price": "8.20"}]'
                notes.add([*here, "breaks", place, "start"], message, example)


def _percent(notes: _Notes, path: list[Part], value: Decimal) -> None:
    if value > 100:
        notes.add(path, f'"{_field(path)}" is {value}; a share of more than 100 % cannot be.', '"40"')


def _money(notes: _Notes, plan: Plan) -> None:
    _percent(notes, ["money", "tax_percent"], plan.money.tax_percent)
    notes.once(["money", "heads"], [str(head.head) for head in plan.money.heads], "budget head", "head")
    for at, head in enumerate(plan.money.heads):
        _percent(notes, ["money", "heads", at, "contingency_percent"], head.contingency_percent)


# ---------------------------------------------------------------- people and tasks


def _minutes(text: str) -> int:
    hours, _, minutes = text.partition(":")
    return int(hours) * 60 + int(minutes)


def _crew(notes: _Notes, plan: Plan) -> None:
    crew = plan.crew
    notes.once(["crew", "core"], [person.id for person in crew.core], "person", "id")
    notes.once(["crew", "days"], [day.id for day in crew.days], "build day", "id")
    notes.once(["crew", "days"], [str(day.date) for day in crew.days], "a build day on", "date")
    if crew.core_hours_per_weekday > 24:
        notes.add(["crew", "core_hours_per_weekday"], '"core_hours_per_weekday" exceeds a day.', '"3"')
    for weekday, hours in crew.core_hours_by_weekday.items():
        where: list[Part] = ["crew", "core_hours_by_weekday", weekday]
        notes.refer(where, weekday, "weekday", WEEKDAYS)
        if not 0 <= hours <= 24:
            notes.add(where, f'"{weekday}": {hours} hours do not fit a day.', '"3"')
    for at, day in enumerate(crew.days):
        here: list[Part] = ["crew", "days", at]
        for field in ("quiet_until", "quiet_from"):
            written = getattr(day, field)
            if written and not TIME_OF_DAY.fullmatch(written):
                message = f'"{field}": {written!r} is not a time of day from 00:00 to 23:59 with two digits each.'
                notes.add([*here, field], message, '"09:00"')
        _day(notes, here, day)
    _helpers(notes, crew)
    skills = {skill for row in default_template() for skill in row.skills} | {"none"}
    for name, share in crew.skill_shares.items():
        path: list[Part] = ["crew", "skill_shares", name]
        notes.refer(path, name, "skill", skills)
        if share > 1:
            notes.add(path, f'"{name}" is {share}; a share goes from 0 to 1.', '"0.2"')
    shares = [(f"no_show_{name}", getattr(crew, f"no_show_{name}")) for name in ("low", "likely", "high")]
    notes.ordered(["crew"], shares, "0.05, 0.12, 0.30")
    if crew.no_show_high >= 1:
        message = f'"no_show_high" is {crew.no_show_high}; a share goes from 0 to below 1.'
        notes.add(["crew", "no_show_high"], message, '"0.30"')


def _helpers(notes: _Notes, crew: Crew) -> None:
    days = [day.id for day in crew.days]
    core = {person.id for person in crew.core}
    notes.once(["crew", "helpers"], [helper.id for helper in crew.helpers], "helper", "id")
    for at, helper in enumerate(crew.helpers):
        if helper.id in core:
            message = f'"id": {helper.id!r} is in the core team already. Give each person one id.'
            notes.add(["crew", "helpers", at, "id"], message, f'"{helper.id}-2"')
        for number, day in enumerate(helper.days):
            notes.refer(["crew", "helpers", at, "days", number], day, "build day", days)
        if not 0 <= helper.sure <= 1:
            message = f'"sure" is {helper.sure}; how sure it is that somebody comes goes from 0 to 1.'
            notes.add(["crew", "helpers", at, "sure"], message, '"0.88"')


def _hours(notes: _Notes, plan: Plan) -> None:
    for at, hours in enumerate(plan.dates.hall_hours):
        here: list[Part] = ["dates", "hall_hours", at]
        for name in ("start", "end", "quiet_from"):
            written = getattr(hours, name)
            if not TIME_OF_DAY.fullmatch(written) and (written or name != "quiet_from"):
                message = f'"{name}": {written!r} is not a time of day from 00:00 to 23:59 with two digits each.'
                notes.add([*here, name], message, '"08:00"')
        if any(not 0 <= day <= 6 for day in hours.weekdays):
            notes.add([*here, "weekdays"], '"weekdays" are numbers from 0, Monday, to 6, Sunday.', "[0, 1, 2, 3, 4]")


def _day(notes: _Notes, path: list[Part], day: BuildDay) -> None:
    start, end, meal = _minutes(day.start), _minutes(day.end), _minutes(day.meal_start)
    if end <= start:
        notes.add([*path, "end"], f'"end" {day.end} is not after "start" {day.start}.', '"16:00"')
    elif day.meal_minutes and not start <= meal <= meal + day.meal_minutes <= end:
        meal_time = f"{day.meal_start} with {day.meal_minutes} minutes"
        message = f'"meal_start" {meal_time} does not lie within {day.start} to {day.end}.'
        notes.add([*path, "meal_start"], message, '"12:00"')


def _tasks(notes: _Notes, plan: Plan) -> None:
    edits = plan.tasks
    template = [row.code for row in default_template()]
    own = [task.code for task in edits.own]
    codes = [*template, *own]
    days = [day.id for day in plan.crew.days]
    notes.once(["tasks", "rates"], [rate.code for rate in edits.rates], "a rate for task", "code")
    notes.once(["tasks", "own"], own, "task", "code")
    notes.once(["tasks", "pins"], [pin.task for pin in edits.pins], "a pin for task", "task")
    for at, rate in enumerate(edits.rates):
        here: list[Part] = ["tasks", "rates", at]
        notes.refer([*here, "code"], rate.code, "task", template)
        notes.ordered(here, [("low", rate.low), ("likely", rate.likely), ("high", rate.high)], "2, 4, 7")
        if rate.low <= 0:
            notes.add([*here, "low"], '"low" must be more than nothing, or the task never ends.', '"2"')
    notes.once(["tasks", "changed"], [one.code for one in edits.changed], "a change of task", "code")
    for at, change in enumerate(edits.changed):
        here = ["tasks", "changed", at]
        notes.refer([*here, "code"], change.code, "task", template)
        _after(notes, here, change.after or [], codes)
        for number, caution in enumerate(change.cautions or []):
            notes.refer([*here, "cautions", number], caution, "caution", CAUTIONS)
    for at, code in enumerate(edits.off):
        notes.refer(["tasks", "off", at], code, "task", template)
    for at, task in enumerate(edits.own):
        here = ["tasks", "own", at]
        if task.code in template:
            message = f'"code": {task.code!r} is a task of the list already. Choose another code.'
            notes.add([*here, "code"], message, '"X01"')
        if task.driver:
            notes.refer([*here, "driver"], task.driver, "quantity in the task list called", driver_units())
            given = [("low", task.low or 0), ("likely", task.likely or 0), ("high", task.high or 0)]
            notes.ordered(here, given, "2, 4, 7")
            if not task.low:
                notes.add([*here, "low"], '"low" must be more than nothing, or the task never ends.', '"2"')
        elif task.hours <= 0:
            notes.add([*here, "hours"], '"hours" must be more than nothing.', '"2"')
        _after(notes, here, task.after, codes)
        for number, caution in enumerate(task.cautions):
            notes.refer([*here, "cautions", number], caution, "caution", CAUTIONS)
        for number, item in enumerate(task.needs):
            notes.refer([*here, "needs", number], item, "product", [product.id for product in plan.products])
    for at, pin in enumerate(edits.pins):
        notes.refer(["tasks", "pins", at, "task"], pin.task, "task", codes)
        notes.refer(["tasks", "pins", at, "day"], pin.day, "build day", days)
    _rings(notes, plan)
    _wishes(notes, plan, codes)
    for code, day in edits.done.items():
        notes.refer(["tasks", "done", code], code, "task", codes)
        if day > plan.as_of:
            message = f'"{code}" is said to be done on {day}, after the day this plan is for ({plan.as_of}).'
            notes.add(["tasks", "done", code], message, f'"{plan.as_of}"')
    for code, share in edits.begun.items():
        notes.refer(["tasks", "begun", code], code, "task", codes)
        if not 0 < share < 1:
            message = f'"{code}" is said to be done by {share}. Write the share that is done, between 0 and 1.'
            notes.add(["tasks", "begun", code], message, '"0.4"')
        if code in edits.done:
            message = f'"{code}" is said to be done and to be begun. Take one of the two out.'
            notes.add(["tasks", "begun", code], message, '"done" alone')


def _after(notes: _Notes, here: list[Part], after: list[str], codes: list[str]) -> None:
    for number, before in enumerate(after):
        try:
            notes.refer([*here, "after", number], read_after(before).task, "task", codes)
        except ValueError as error:
            notes.add([*here, "after", number], f"{error}.", '"C11+4h"')


def _rings(notes: _Notes, plan: Plan) -> None:
    """Predecessors that make a task wait for itself; the list has no ring, so each goes through an edited task."""
    rows, _ = template_of(plan.tasks, [])
    after = {code: [lag.task for lag in row.after] for code, row in rows.items()}
    names = {code: row.name for code, row in rows.items()}
    edited = [("changed", at, one.code) for at, one in enumerate(plan.tasks.changed) if one.after]
    edited += [("own", at, one.code) for at, one in enumerate(plan.tasks.own) if one.after]
    seen: set[frozenset[str]] = set()
    for section, at, code in edited:
        ring = shortest_loop(after, code)
        if ring and frozenset(ring) not in seen:
            seen.add(frozenset(ring))
            message = f"A ring of predecessors: {ring_text(ring, names)}. Take one of them out."
            notes.add(["tasks", section, at, "after"], message)


def _wishes(notes: _Notes, plan: Plan, codes: list[str]) -> None:
    """Holds, appointments and people on tasks. A person may be a sign-up, which only the book knows."""
    edits = plan.tasks
    notes.once(["tasks", "not_before"], [hold.task for hold in edits.not_before], "a hold for task", "task")
    notes.once(["tasks", "appointments"], [one.task for one in edits.appointments], "an appointment for task", "task")
    for at, hold in enumerate(edits.not_before):
        notes.refer(["tasks", "not_before", at, "task"], hold.task, "task", codes)
    for at, booked in enumerate(edits.appointments):
        notes.refer(["tasks", "appointments", at, "task"], booked.task, "task", codes)
    for at, pin in enumerate(edits.people):
        notes.refer(["tasks", "people", at, "task"], pin.task, "task", codes)


# ---------------------------------------------------------------- commitments and history


def check_commitments(plan: Plan, commitments: Commitments) -> list[Problem]:
    """Facts that do not agree with the plan they follow from. Pointers lead from the commitments."""
    notes = _Notes()
    products = {product.id: product for product in plan.products}
    quotes = {quote.id: quote for quote in plan.quotes}
    notes.once(["orders"], [order.number for order in commitments.orders], "order", "number")
    notes.once(["sign_ups"], [sign_up.id for sign_up in commitments.sign_ups], "sign-up", "id")
    for at, order in enumerate(commitments.orders):
        here: list[Part] = ["orders", at]
        notes.refer([*here, "supplier"], order.supplier, "supplier", [s.id for s in plan.suppliers])
        if notes.refer([*here, "quote"], order.quote, "quote", quotes):
            supplier = quotes[order.quote].supplier
            if supplier != order.supplier:
                message = f'"quote": {order.quote!r} is from {supplier!r}, the order goes to {order.supplier!r}.'
                notes.add([*here, "quote"], message)
        for field in ("tax_percent", "deposit_percent"):
            _percent(notes, [*here, field], getattr(order, field) or Decimal(0))
        if (order.balance_days or 0) < 0:
            notes.add([*here, "balance_days"], f'"balance_days": {order.balance_days} is below nought.', "30")
        if order.state == "received" and order.received is None:
            notes.add(
                [*here, "received"], '"received" is missing: give the day the goods came.', '"received": "2027-02-09"'
            )
        for field in ("promised", "received"):
            day = getattr(order, field)
            if day is not None and day < order.placed:
                notes.add([*here, field], f'"{field}" {day} is before "placed" {order.placed}.', f'"{order.placed}"')
        for number, line in enumerate(order.lines):
            line_path = [*here, "lines", number]
            if line.received > 0 and line.came is None and order.received is None:
                message = f'"came" is missing: {line.received:f} {line.unit} were received; give the last day.'
                notes.add([*line_path, "came"], message, '"came": "2027-02-09"')
            if notes.refer([*line_path, "item"], line.item, "product", products):
                fault = unit_fault(products[line.item], line.unit)
                if fault:
                    message = f'"unit": {line.unit!r} does not fit {line.item!r}: {fault}.'
                    notes.add([*line_path, "unit"], message, f'"{products[line.item].unit}"')
    for at, charge in enumerate(commitments.charges):
        notes.refer(["charges", at, "item"], charge.item, "product", products)
        notes.refer(
            ["charges", at, "supplier"], charge.supplier, "supplier", [s.id for s in plan.suppliers], empty=True
        )
        _percent(notes, ["charges", at, "tax_percent"], charge.tax_percent or Decimal(0))
        if charge.amount <= 0:
            notes.add(["charges", at, "amount"], f'"amount": {charge.amount} must be above zero.', '"25.00"')
    codes = [*(row.code for row in default_template()), *(task.code for task in plan.tasks.own)]
    days = [day.id for day in plan.crew.days]
    for at, sign_up in enumerate(commitments.sign_ups):
        notes.refer(["sign_ups", at, "day"], sign_up.day, "build day", days)
        notes.refer(["sign_ups", at, "task"], sign_up.task, "task", codes, empty=True)
    return notes.found


def check_build(build: BuildFile) -> list[Problem]:
    """Everything in a build file that does not agree with the rest of it. Pointers lead from the top."""
    found = [_under("/plan", problem) for problem in check_references(build.plan)]
    return found + [_under("/commitments", problem) for problem in check_commitments(build.plan, build.commitments)]


def _under(prefix: str, problem: Problem) -> Problem:
    return Problem(pointer=prefix + problem.pointer, message=problem.message, example=problem.example)
