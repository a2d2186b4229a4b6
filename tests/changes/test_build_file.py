"""Reading build files: the two that ship and are tested, and every way a file can be unusable."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable
from datetime import date
from importlib.resources import files
from pathlib import Path
from typing import Any

import jsonpatch
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from buildout.changes.engine.build_file import BuildFile
from buildout.changes.engine.problems import MOST_PROBLEMS, BuildFileProblems, Problem, pointer, problem_text
from buildout.changes.engine.reading import (
    DEEPEST,
    check_commitments_of,
    check_plan,
    load_build_file,
    parse,
    read_build_file,
    schema_problems,
)
from buildout.changes.engine.schema import build_file_schema, schema_text, shipped_schema
from buildout.changes.engine.starters import BUILD_DAYS, starter_plan, starter_systems
from buildout.units.value import from_json, to_json, to_plain

DEMO = Path(str(files("buildout.changes.engine").joinpath("data/demo.json")))
PLAIN = Path(__file__).parent.parent / "data" / "plain_room.json"
Document = dict[str, Any]


@pytest.fixture
def demo() -> Document:
    document: Document = json.loads(DEMO.read_text(encoding="utf-8"))
    return document


def problems_of(document: Any) -> list[Problem]:
    with pytest.raises(BuildFileProblems) as caught:
        read_build_file(json.dumps(document).encode())
    return caught.value.problems


def plan_problems(plan: Document) -> dict[str, Problem]:
    with pytest.raises(BuildFileProblems) as caught:
        check_plan(plan)
    return {problem.pointer: problem for problem in caught.value.problems}


# ---------------------------------------------------------------- the schema


def test_shipped_schema_is_the_generated_one() -> None:
    shipped = files("buildout.changes.engine").joinpath("data/build-file.schema.json").read_text(encoding="utf-8")
    assert shipped == schema_text(), "write it anew: python -m buildout.changes.engine.schema"


def test_schema_is_valid_draft_2020_12() -> None:
    Draft202012Validator.check_schema(shipped_schema())


def test_every_part_of_the_schema_says_what_it_is() -> None:
    definitions = build_file_schema()["$defs"]
    assert "Length" in definitions
    assert "Amount" in definitions
    assert [name for name, part in definitions.items() if not part.get("description")] == []
    assert definitions["Product"]["properties"]["density"]["description"] == "kg/m³."


@pytest.mark.parametrize("path", [DEMO, PLAIN], ids=["demo", "plain room"])
def test_shipped_files_fit_the_schema_and_read(path: Path) -> None:
    document = json.loads(path.read_text(encoding="utf-8"))
    assert list(Draft202012Validator(shipped_schema()).iter_errors(document)) == []
    build = load_build_file(path)
    assert build.plan.rooms
    assert from_json(BuildFile, to_json(build)) == build
    assert read_build_file(to_json(build)) == build


def test_lengths_and_amounts_stay_as_typed(demo: Document) -> None:
    build = read_build_file(json.dumps(demo).encode())
    written = to_plain(build)
    assert written["plan"]["rooms"][0]["readings"][3]["value"] == "36' 0 1/2\""
    assert written["plan"]["quotes"][0]["lines"][0]["breaks"][2] == {"start": "60", "price": "74.65"}


def test_the_first_revision_of_the_demo_holds_the_slip(demo: Document) -> None:
    earlier = demo["earlier"]
    assert len(earlier) == 1
    first = jsonpatch.apply_patch(demo["plan"], earlier[0]["patch"])
    assert first["rooms"][0]["readings"][3]["value"] == "35' 0 1/2\""
    check_plan(first)
    changed = [k for k in first if first[k] != demo["plan"][k]]
    assert changed == ["rooms"]


def test_the_demo_names_nobody_real(demo: Document) -> None:
    for supplier in demo["plan"]["suppliers"]:
        assert supplier["email"].endswith(".example.org")
        assert supplier["phone"].startswith("555-01")
    assert demo["plan"]["currency"] == "XXX"


# ---------------------------------------------------------------- not a document


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "empty"),
        (b"  \n", "empty"),
        (b"hello", "line 1, column 1"),
        (b'{"plan": {"name": "A",\n "rooms": [', "cut short"),
        (b'{"plan": {"name": "unfin', "cut short"),
        (b'{"plan"; 1}', "line 1, column 8"),
        (b'{"a": 1, "a": 2}', '"a" is given twice'),
        (b'{"a": NaN}', "NaN"),
        (b'{"a": -Infinity}', "Infinity"),
        (b'{"a": ' + b"9" * 5000 + b"}", "too many digits"),
        (b"\xff\xfe{\x00}\x00", "UTF-8"),
    ],
)
def test_not_json(data: bytes, says: str) -> None:
    with pytest.raises(BuildFileProblems) as caught:
        read_build_file(data)
    assert says in str(caught.value)
    assert [problem.pointer for problem in caught.value.problems] == [""]


@pytest.mark.parametrize("places", [10**30, 10**9, 1001])
def test_a_build_day_of_more_people_than_there_are_is_refused(demo: Document, places: int) -> None:
    demo["plan"]["crew"]["days"][2]["places"] = places
    found = plan_problems(demo["plan"])
    assert found["/crew/days/2/places"].message == f'"places" is {places}; the most is 1000.'


@pytest.mark.parametrize(
    ("price", "says"),
    [("1e999999999999", "too large"), ("1e-999999999999", "more places behind the point"), ("NaN", "not a number"),
     ("-Infinity", "not a number"), ("9" * 41, "too many digits"), ("-0.01", "below zero")],
)  # fmt: skip
def test_prices_that_no_page_could_write_out(demo: Document, price: str, says: str) -> None:
    demo["plan"]["quotes"][0]["lines"][0]["breaks"][0]["price"] = price
    assert says in plan_problems(demo["plan"])["/quotes/0/lines/0/breaks/0/price"].message


@pytest.mark.parametrize(
    ("pointers", "document"),
    [
        (["/plan/name"], b'{"plan": {"name": "Hall \\uD800"}}'),
        (["/plan"], b'{"plan": {"\\udfff": "\\udfff"}}'),
        (["/a/1"], b'{"a": ["\\ud83e\\udd4b", "\\udd4b\\ud83e"]}'),
    ],
)
def test_half_a_surrogate_pair_is_refused_where_it_stands(pointers: list[str], document: bytes) -> None:
    with pytest.raises(BuildFileProblems) as caught:
        parse(document)
    assert [problem.pointer for problem in caught.value.problems] == pointers
    assert "half a character" in str(caught.value)
    str(caught.value).encode()  # what is wrong can be printed


def test_a_truncated_demo_says_where_it_stops() -> None:
    data = DEMO.read_bytes()
    half = data[: len(data) // 2]
    line = half.count(b"\n") + 1
    with pytest.raises(BuildFileProblems, match=f"line {line}, column"):
        read_build_file(half)


def test_a_byte_order_mark_is_no_fault() -> None:
    assert read_build_file(b"\xef\xbb\xbf" + PLAIN.read_bytes()).plan.name


@pytest.mark.parametrize("opening", [b"[", b'{"a":'])
def test_ten_thousand_levels_are_refused(opening: bytes) -> None:
    closing = b"]" if opening == b"[" else b"}"
    for data in (opening * 10_000 + b"1" + closing * 10_000, opening * 10_000):
        with pytest.raises(BuildFileProblems, match=f"more than {DEEPEST} levels"):
            read_build_file(data)


def test_brackets_inside_text_do_not_count_as_levels(demo: Document) -> None:
    demo["plan"]["place"] = '[[{{"\\' * 100
    assert read_build_file(json.dumps(demo).encode()).plan.place.startswith("[[{{")


def test_levels_are_counted_exactly() -> None:
    for opening, closing in ((b"[", b"]"), (b'{"a":', b"}")):
        allowed = opening * DEEPEST + b"1" + closing * DEEPEST
        assert parse(allowed) is not None
        with pytest.raises(BuildFileProblems, match="levels deep"):
            parse(opening + allowed + closing)
    side_by_side = b"[" + b"[[]]," * 10_000 + b"[]]"
    assert len(parse(side_by_side)) == 10_001


def test_more_values_than_any_building_has(demo: Document) -> None:
    demo["plan"]["needs"] = [demo["plan"]["needs"][0]] * 30_000
    assert "100,000 values" in problems_of(demo)[0].message
    demo["plan"]["needs"] = []
    demo["history"] = {"journal": [{"text": "x", "number": 1}] * 60_000}
    assert len(read_build_file(json.dumps(demo).encode()).history["journal"]) == 60_000


def test_a_hundred_megabytes_are_refused_unread(tmp_path: Path) -> None:
    huge = tmp_path / "huge.json"
    with huge.open("wb") as file:
        file.truncate(100_000_000)
    with pytest.raises(BuildFileProblems, match="100 MB; a build file may have 20 MB"):
        load_build_file(huge)
    with pytest.raises(BuildFileProblems, match="20 MB"):
        read_build_file(b" " * 20_000_001)


# ---------------------------------------------------------------- the schema's faults, all at once


def test_all_faults_are_listed_each_at_its_pointer(demo: Document) -> None:
    plan = demo["plan"]
    plan["rooms"][0]["readings"][0]["value"] = "12 3 1/4"
    plan["rooms"][0]["readings"][1]["valu"] = "12'"
    plan["quotes"][0]["currency"] = "usd"
    del plan["crew"]["days"][0]["places"]
    plan["crew"]["days"][1]["start"] = "8:30"
    plan["crew"]["days"][2]["places"] = -1
    plan["needs"][0]["quantity"] = -3
    plan["needs"][1]["quantity"] = "three"
    plan["products"][0]["form"] = "shet"
    plan["products"][1]["head"] = 25
    plan["as_of"] = "2027-02-30"
    plan["time_zone"] = "Europe/Pariss"
    plan["quotes"][1]["lines"][0]["breaks"] = []
    plan["name"] = 7
    plan["rooms"][1]["id"] = "no spaces"
    plan["dates"]["announced"] = "10 May"
    expected = {
        "/plan/rooms/0/readings/0/value": "does not say feet, inches or metres",
        "/plan/rooms/0/readings/1/valu": 'Did you mean "value"?',
        "/plan/quotes/0/currency": "ISO 4217",
        "/plan/crew/days/0/places": '"places" is missing',
        "/plan/crew/days/1/start": "time of day",
        "/plan/crew/days/2/places": "the least is 0",
        "/plan/needs/0/quantity": "below zero",
        "/plan/needs/1/quantity": "not a number",
        "/plan/products/0/form": "one of",
        "/plan/products/1/head": "the most is 24",
        "/plan/as_of": "not a day of the calendar",
        "/plan/time_zone": "Did you mean Europe/Paris?",
        "/plan/quotes/1/lines/0/breaks": "at least 1 entry",
        "/plan/name": "must be text, not 7",
        "/plan/rooms/1/id": "letters, digits",
        "/plan/dates/announced": "year-month-day",
    }
    found = {problem.pointer: problem for problem in problems_of(demo)}
    assert set(found) == set(expected)
    for at, text in expected.items():
        assert text in found[at].message
        assert f'"{at.rpartition("/")[2]}"' in found[at].message, "every message names its field"
        assert found[at].example, "every message gives an example"


def test_a_flood_of_faults_is_cut_off(demo: Document) -> None:
    demo["plan"]["rooms"] = [{}] * 1000
    problems = problems_of(demo)
    assert len(problems) == MOST_PROBLEMS + 1
    assert "There are more" in problems[-1].message


def test_wrong_document_altogether() -> None:
    for document in ([], 7, "plan", None):
        assert problems_of(document)[0].pointer == ""
    assert {problem.pointer for problem in problems_of({})} == {"/plan"}
    assert {p.pointer for p in problems_of({"format": "other", "version": 2, "plan": {}})} >= {"/format", "/version"}


def test_parts_can_be_checked_alone(demo: Document) -> None:
    room = demo["plan"]["rooms"][0]
    assert schema_problems(room, "Room") == []
    room["corners"] = ["A"]
    assert [problem.pointer for problem in schema_problems(room, "Room")] == ["/corners"]


def _door(plan: Document, feature: int = 5, room: int = 0) -> Document:
    """The door of the demo's hall to its children's room, or another opening."""
    found: Document = plan["rooms"][room]["features"][feature]
    return found


# ---------------------------------------------------------------- one part against another

Edit = Callable[[Document], Any]

CROSS: list[tuple[str, Edit, str, str]] = [
    ("unknown supplier", lambda p: p["quotes"][0].update(supplier="cloudbery"), "/quotes/0/supplier", "cloudberry"),
    ("unknown product", lambda p: p["quotes"][0]["lines"][0].update(item="base"), "/quotes/0/lines/0/item", "base"),
    ("unknown goods", lambda p: p["award"].update(need_by={"mat": "2027-03-13"}), "/award/need_by/mat", "foam, cover"),
    ("unknown room", lambda p: p["fitouts"][0].update(room="attic"), "/fitouts/0/room", "children, hall"),
    ("unknown system", lambda p: p["fitouts"][0].update(floor="three-layer"), "/fitouts/0/floor", "system"),
    ("unknown wall", lambda p: p["fitouts"][0]["panelled"].append("B-D"), "/fitouts/0/panelled/5", "wall 'B-D'"),
    ("unknown feature", lambda p: p["fitouts"][0].update(removable=["gate"]), "/fitouts/0/removable/0", "gate"),
    ("reading to nowhere", lambda p: p["rooms"][0]["readings"][0].update(end="Z"), "/rooms/0/readings/0/end", "'Z'"),
    ("reading to itself", lambda p: p["rooms"][0]["readings"][0].update(end="A"), "/rooms/0/readings/0/end", "another"),
    ("reading of nothing", lambda p: p["rooms"][0]["readings"][0].update(value="0 mm"),
     "/rooms/0/readings/0/value", "more than nothing"),
    ("zero corner not on the wall", lambda p: p["rooms"][0]["features"][0].update(zero="C"),
     "/rooms/0/features/0/zero", "'C'"),
    ("feature ends before it starts", lambda p: p["rooms"][0]["features"][0].update(end="10 ft"),
     "/rooms/0/features/0/end", "not beyond"),
    ("head under sill", lambda p: p["rooms"][0]["features"][3].update(head="12 in"),
     "/rooms/0/features/3/head", "above"),
    ("round column without diameter", lambda p: p["rooms"][0]["columns"][1].pop("diameter"),
     "/rooms/0/columns/1/diameter", "missing"),
    ("corner twice", lambda p: p["rooms"][1].update(corners=["G", "H", "J", "G"]), "/rooms/1/corners/3", "'G'"),
    ("reading number twice", lambda p: p["rooms"][0]["readings"][1].update(id="1"),
     "/rooms/0/readings/1/id", "entry 1"),
    ("product twice", lambda p: p["products"].append(copy.deepcopy(p["products"][0])), "/products/41/id", "entry 1"),
    ("quote twice", lambda p: p["quotes"].append(copy.deepcopy(p["quotes"][0])), "/quotes/10/id", "entry 1"),
    ("sheet without width", lambda p: p["products"][0].pop("width"), "/products/0/width", "missing"),
    ("other size of no product", lambda p: p["products"][0].update(also_sold=["base-9"]),
     "/products/0/also_sold/0", "'base-9'"),
    ("other size in another form", lambda p: p["products"][0].update(also_sold=["timber-2x4"]),
     "/products/0/also_sold/0", "'length'"),
    ("side of a mat twice", lambda p: p["fitouts"][0].update(sides=[{"side": "A-B 1", "edge": "foam"}] * 2),
     "/fitouts/0/sides/1/side", "chosen twice"),
    ("cover fed upside down", lambda p: p["floor_systems"][0]["layers"].reverse(),
     "/floor_systems/0/layers", "base before"),
    ("layer of paint", lambda p: p["floor_systems"][0]["layers"][0].update(product="paint-wall"),
     "/floor_systems/0/layers/0/product", "sheets or rolls"),
    ("other currency", lambda p: p["quotes"][0].update(currency="EUR"), "/quotes/0/currency", "counts in XXX"),
    ("unit that cannot fit", lambda p: p["quotes"][0]["lines"][0].update(unit="visit"),
     "/quotes/0/lines/0/unit", "does not fit"),
    ("breaks out of order", lambda p: p["quotes"][0]["lines"][0]["breaks"].reverse(),
     "/quotes/0/lines/0/breaks/1/start", "out of order"),
    ("valid before quoted", lambda p: p["quotes"][0].update(valid_until="2026-12-31"),
     "/quotes/0/valid_until", "before"),
    ("lead times crossed", lambda p: p["quotes"][0].update(lead_days_low=18),
     "/quotes/0/lead_days_likely", "lead_days_low"),
    ("free over nothing said", lambda p: p["quotes"][0]["freight"].update(form="free over"),
     "/quotes/0/freight/free_over", "missing"),
    ("forced quote unknown", lambda p: p["award"].update(force={"cover": "acme"}), "/award/force/cover", "'acme'"),
    ("forced quote has not the item", lambda p: p["award"].update(force={"cover": "cloudberry-1"}),
     "/award/force/cover", "does not offer"),
    ("excluded quote unknown", lambda p: p["award"].update(exclude=["x"]), "/award/exclude/0", "'x'"),
    ("deposit above all", lambda p: p["suppliers"][0].update(deposit_percent="140"),
     "/suppliers/0/deposit_percent", "100 %"),
    ("head twice", lambda p: p["money"]["heads"][1].update(head=1), "/money/heads/1/head", "entry 1"),
    ("need in another unit", lambda p: p["needs"][0].update(unit="sheet"), "/needs/0/unit", "gallon"),
    ("quantity nobody knows", lambda p: p["quantities"].update({"strip.aera": "3"}),
     "/quantities/strip.aera", "strip.area"),
    ("day ends before it starts", lambda p: p["crew"]["days"][0].update(end="08:00"), "/crew/days/0/end", "not after"),
    ("meal at night", lambda p: p["crew"]["days"][0].update(meal_start="22:00"), "/crew/days/0/meal_start", "within"),
    ("two days on one date", lambda p: p["crew"]["days"][1].update(date="2027-01-30"), "/crew/days/1/date", "entry 1"),
    ("quiet time unclear", lambda p: p["crew"]["days"][0].update(quiet_until="9am"), "/crew/days/0/quiet_until", "9am"),
    ("share above one", lambda p: p["crew"]["skill_shares"].update(carp="20"), "/crew/skill_shares/carp", "0 to 1"),
    ("unknown skill", lambda p: p["crew"]["skill_shares"].update(dance="0.2"), "/crew/skill_shares/dance", "skill"),
    ("quiet evening", lambda p: p["crew"]["days"][0].update(quiet_from="8pm"), "/crew/days/0/quiet_from", "8pm"),
    ("helper on no day", lambda p: p["crew"].update(helpers=[{"id": "ida", "name": "Ida", "days": ["never"]}]),
     "/crew/helpers/0/days/0", "never"),
    ("helper too sure", lambda p: p["crew"].update(helpers=[{"id": "ida", "name": "Ida", "sure": "88"}]),
     "/crew/helpers/0/sure", "0 to 1"),
    ("hold of no task", lambda p: p["tasks"].update(not_before=[{"task": "Z99", "date": "2027-03-01"}]),
     "/tasks/not_before/0/task", "Z99"),
    ("appointment of no task", lambda p: p["tasks"].update(appointments=[{"task": "Z99", "date": "2027-03-01"}]),
     "/tasks/appointments/0/task", "Z99"),
    ("person on no task", lambda p: p["tasks"].update(people=[{"task": "Z99", "person": "ida"}]),
     "/tasks/people/0/task", "Z99"),
    ("hours unclear",
     lambda p: p["dates"].update(hall_hours=[{"weekdays": [5], "start": "8", "end": "21:00"}]),
     "/dates/hall_hours/0/start", "'8'"),
    ("no-show crossed", lambda p: p["crew"].update(no_show_low="0.2"), "/crew/no_show_likely", "no_show_low"),
    ("rates crossed", lambda p: p["tasks"]["rates"][0].update(high="8"), "/tasks/rates/0/high", "likely"),
    ("rate for no task", lambda p: p["tasks"]["rates"][0].update(code="E99"), "/tasks/rates/0/code", "'E99'"),
    ("pin to no day", lambda p: p["tasks"]["pins"][0].update(day="sunday"), "/tasks/pins/0/day", "sunday"),
    ("begun and done", lambda p: p["tasks"].update(done={"W11": "2026-12-01"}, begun={"W11": "0.5"}),
     "/tasks/begun/W11", "said to be done and to be begun"),
    ("begun altogether", lambda p: p["tasks"].update(begun={"W11": "1"}), "/tasks/begun/W11", "between 0 and 1"),
    ("begun of no task", lambda p: p["tasks"].update(begun={"Z99": "0.5"}), "/tasks/begun/Z99", "Z99"),
    ("done in the future", lambda p: p["tasks"]["done"].update(A01="2027-06-01"),
     "/tasks/done/A01", "after the day"),
    ("own task takes a taken code",
     lambda p: p["tasks"].update(own=[{"code": "A01", "name": "x", "hours": 1, "crew": 1}]),
     "/tasks/own/0/code", "already"),
    ("door to no room", lambda p: _door(p).update(other_side={"room": "attic", "feature": "door"}),
     "/rooms/0/features/5/other_side/room", "'attic'"),
    ("door to no door", lambda p: _door(p).update(other_side={"room": "children", "feature": "hatch"}),
     "/rooms/0/features/5/other_side/feature", "'hatch'"),
    ("door to itself", lambda p: _door(p).update(other_side={"room": "hall", "feature": "children-door"}),
     "/rooms/0/features/5/other_side/room", "another room than its own"),
    ("door that is another's", lambda p: _door(p, 0).update(other_side={"room": "children", "feature": "door"}),
     "/rooms/0/features/5/other_side/feature", "already"),
    ("door that names another",
     lambda p: _door(p, 0, 1).update(other_side={"room": "hall", "feature": "fire-exit"}),
     "/rooms/0/features/5/other_side/feature", "names another door"),
    ("wall behind no wall", lambda p: p["rooms"][0]["walls"][2]["backs_on"].update(wall="G-J"),
     "/rooms/0/walls/2/backs_on/wall", "G-J"),
    ("wall of no thickness", lambda p: p["rooms"][0]["walls"][2]["backs_on"].update(thickness="0 in"),
     "/rooms/0/walls/2/backs_on/thickness", "thickness"),
    ("opening before lease", lambda p: p["dates"].update(opening_wish="2027-01-01"),
     "/dates/opening_wish", "not after"),
]  # fmt: skip


@pytest.mark.parametrize(("edit", "at", "says"), [case[1:] for case in CROSS], ids=[case[0] for case in CROSS])
def test_parts_that_do_not_agree(demo: Document, edit: Edit, at: str, says: str) -> None:
    edit(demo["plan"])
    found = plan_problems(demo["plan"])
    assert at in found, sorted(found)
    assert says in found[at].message
    whole = {problem.pointer for problem in problems_of(demo)}
    assert f"/plan{at}" in whole


def test_commitments_must_follow_from_the_plan(demo: Document) -> None:
    plan = check_plan(demo["plan"])
    wrong = demo["commitments"]
    wrong["orders"][0].update(quote="ninefold-1", promised="2027-01-01")
    wrong["orders"][1].update(state="received")
    wrong["orders"][1]["lines"][0]["item"] = "velvet"
    wrong["sign_ups"][0]["day"] = "sunday"
    wrong["sign_ups"][1]["task"] = "Z99"
    with pytest.raises(BuildFileProblems) as caught:
        check_commitments_of(plan, wrong)
    assert {problem.pointer for problem in caught.value.problems} == {
        "/orders/0/quote", "/orders/0/promised", "/orders/1/received", "/orders/1/lines/0/item",
        "/sign_ups/0/day", "/sign_ups/1/task",
    }  # fmt: skip


@pytest.mark.parametrize(
    "patch",
    [
        [{"op": "replace", "path": "/rooms/9/name", "value": "x"}],
        [{"op": "test", "path": "/name", "value": "another"}],
        [{"op": "remove", "path": "/name"}],
        [{"op": "conjure", "path": "/name"}],
        [{"path": "/name"}],
    ],
)
def test_a_patch_that_leads_nowhere(demo: Document, patch: list[Document]) -> None:
    demo["earlier"][0]["patch"] = patch
    assert [problem.pointer for problem in problems_of(demo)] == ["/earlier/0/patch"]


# ---------------------------------------------------------------- anything at all


def _paths(value: Any, path: tuple[str | int, ...] = ()) -> list[tuple[str | int, ...]]:
    found = [path] if path else []
    entries = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, inner in entries:
        found += _paths(inner, (*path, key))
    return found


_PLAIN_DOCUMENT: Document = json.loads(PLAIN.read_text(encoding="utf-8"))
_JSON = st.recursive(
    st.none() | st.booleans() | st.integers(-5, 10**6) | st.floats(allow_nan=False) | st.text(max_size=12),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=6), inner, max_size=3),
    max_leaves=6,
)


@settings(max_examples=150, deadline=None)
@given(st.sampled_from(_paths(_PLAIN_DOCUMENT)), _JSON)
def test_whatever_is_written_anywhere_reads_or_is_explained(path: tuple[str | int, ...], value: Any) -> None:
    document = copy.deepcopy(_PLAIN_DOCUMENT)
    place: Any = document
    for key in path[:-1]:
        place = place[key]
    place[path[-1]] = value
    build = None
    try:
        build = read_build_file(json.dumps(document).encode())
    except BuildFileProblems as error:
        explained = [problem_text(problem) for problem in error.problems if problem.message]
    else:
        explained = []
        assert read_build_file(to_json(build)) == build
    assert build is not None or explained


@given(st.lists(st.text(max_size=5) | st.integers(0, 9), max_size=4))
def test_pointers_follow_rfc_6901(parts: list[str | int]) -> None:
    written = pointer(*parts)
    read = [part.replace("~1", "/").replace("~0", "~") for part in written.split("/")[1:]]
    assert read == [str(part) for part in parts]


# ---------------------------------------------------------------- a new build


@pytest.mark.parametrize("units", ["feet-inches", "metric"])
def test_every_starter_is_a_sound_plan(units: Any) -> None:
    room = _PLAIN_DOCUMENT["plan"]["rooms"][0]
    for system, name in starter_systems(units):
        plan = check_plan(starter_plan("North hall", units, "EUR", "Europe/Paris", date(2027, 1, 4), room, system))
        assert plan.name == "North hall", name
        assert plan.units == units
        assert plan.quotes == []
        assert [day.date.weekday() for day in plan.crew.days] == [5] * len(BUILD_DAYS)
        assert plan.fitouts[0].floor == system or plan.fitouts[0].fold_away == system


def test_a_starter_refuses_an_unknown_system() -> None:
    with pytest.raises(ValueError, match="two-layer-51mm"):
        starter_plan("x", "feet-inches", "EUR", "UTC", date(2027, 1, 4), {"id": "room"}, "clouds")


def test_starters_do_not_share_what_they_give() -> None:
    room = _PLAIN_DOCUMENT["plan"]["rooms"][0]
    first = starter_plan("a", "metric", "EUR", "UTC", date(2027, 1, 4), room, "judo")
    first["products"][0]["name"] = "changed"
    again = starter_plan("a", "metric", "EUR", "UTC", date(2027, 1, 4), room, "judo")
    assert again["products"][0]["name"] != "changed"
