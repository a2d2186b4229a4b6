"""Why there is no plan, and what would make one: every way out is tried again here."""

from __future__ import annotations

from dataclasses import replace as again
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from msgspec.structs import replace

from buildout.units.value import from_plain, to_plain
from estimating.engine.types import Arrival, Arrivals
from scheduling.engine.schedule import solve
from scheduling.engine.types import (
    Appointment,
    CorePerson,
    Crew,
    Dates,
    HallHours,
    Helper,
    Lag,
    NotBefore,
    OwnTask,
    PersonPin,
    Schedule,
    SignedUp,
    TaskEdits,
    TaskPin,
)
from scheduling.engine.ways_out import Inputs, attempt
from tests.scheduling.conftest import Hall
from tests.scheduling.test_schedule import MONDAY, NOTHING_ORDERED, SATURDAY, crew_of, net_of, opening, placed, task

DATES = Dates(lease_start=MONDAY, opening_wish=date(2027, 12, 31))


def inputs(net: Any, crew: Any, **more: Any) -> Inputs:
    given = {"dates": DATES, "arrivals": NOTHING_ORDERED, "signed_up": [], "edits": TaskEdits(), "as_of": MONDAY}
    return Inputs(net=net, crew=crew, **{**given, **more})


def plan(given: Inputs) -> Schedule:
    return solve(
        given.net, given.crew, given.dates, given.arrivals, given.signed_up, given.edits, given.as_of, None
    )  # fmt: skip


def kinds(found: Schedule) -> list[tuple[str, str]]:
    return [(one.kind, one.where) for one in found.conflict]


class TestConflicts:
    def test_a_pin_before_its_goods_come(self) -> None:
        # Foam is promised for Tuesday the 9th; laying is pinned to Saturday the 6th. Three days earlier would do.
        foam = Arrival(
            item="foam", supplier="s", low=date(2027, 2, 9), likely=date(2027, 2, 9), high=date(2027, 2, 9),
            basis="promised", lead_group="foam", name="Base foam, 2 in",
        )  # fmt: skip
        given = inputs(
            net_of(task("G09", 4, needs=["foam"]), task("X", 1), opening("G09", "X")),
            crew_of([4, 4]),
            arrivals=Arrivals(status="proven", items=[foam], reasons=[]),
            edits=TaskEdits(pins=[TaskPin(task="X", day="d2"), TaskPin(task="G09", day="d1")]),
        )
        found = plan(given)
        assert found.status == "infeasible"
        assert kinds(found) == [("delivery", "foam"), ("pin", "G09")]  # the pin of X plays no part
        assert [(way.kind, way.cost) for way in found.ways_out] == [("pin", 1.0), ("order earlier", 1.5)]
        assert found.ways_out[1].text == (
            "Get 3 days earlier, by a word with the supplier or a faster carrier: Base foam, 2 in"
        )
        to_order = again(given, arrivals=Arrivals(status="proven", items=[replace(foam, basis="to order")], reasons=[]))
        assert plan(to_order).ways_out[1].text == (
            "Get 3 days earlier, ordered sooner or by a faster carrier: Base foam, 2 in"
        )
        assert found.conflict[0].text == "Goods that come on Tue 9 Feb 2027: Base foam, 2 in"
        assert found.ways_out[0].opening == date(2027, 2, 14)
        # Without either of the two a plan exists; with both none does.
        assert attempt(given).found is False
        assert attempt(again(given, edits=TaskEdits(pins=[given.edits.pins[0]]))).found is True
        assert attempt(again(given, arrivals=NOTHING_ORDERED)).found is True

    def test_a_hold_against_an_appointment(self) -> None:
        firm = task("E", 1, (1, 2), kind="trade", place="trade", after=[Lag(task="A")])
        first = task("A", 2, place="core team", where="desk")
        edits = TaskEdits(
            not_before=[NotBefore(task="A", date=date(2027, 2, 10), why="the keys come")],
            appointments=[Appointment(task="E", date=date(2027, 2, 9))],
        )
        found = plan(inputs(net_of(first, firm, opening("E")), crew_of([], core=1, hours=3), edits=edits))
        assert kinds(found) == [("appointment", "E"), ("not before", "A")]
        assert "the keys come" in found.conflict[1].text
        assert {way.kind for way in found.ways_out} == {"appointment", "not before"}
        kept = plan(
            inputs(
                net_of(first, firm, opening("E")),
                crew_of([], core=1, hours=3),
                edits=replace(edits, appointments=[Appointment(task="E", date=date(2027, 2, 11))]),
            )
        )
        days = {one.code: one.start_day for one in kept.tasks}
        assert days == {"A": date(2027, 2, 10), "E": date(2027, 2, 11), "L10": date(2027, 2, 12)}

    def test_one_more_helper_with_the_skill_is_tried(self) -> None:
        crew = crew_of([4], skill_shares={"saw": Decimal(0)})
        given = inputs(net_of(task("W", 4, skills=["saw"]), opening("W")), crew)
        found = plan(given)
        assert kinds(found) == [("skill", "W")]
        assert found.ways_out[0].text == "One more helper who can use a saw on Day 1 on Sat 6 Feb 2027"
        assert found.ways_out[0].opening == date(2027, 2, 7)
        more = Helper(id="h", name="Bram", skills=["saw"], days=["d1"], sure=Decimal(1))
        assert plan(again(given, crew=replace(crew, helpers=[more]))).status == "proven"
        unsure = replace(more, sure=Decimal("0.5"))  # half a helper is nobody to count on
        assert plan(again(given, crew=replace(crew, helpers=[unsure]))).status == "infeasible"

    def test_one_more_who_can_saw_where_one_is_too_few(self) -> None:
        # Two cuts of five hours pinned to one day of seven; one of the core team can saw. With a second, both fit.
        pair = [task(code, 5, (1, 1), skills=["saw"]) for code in "AB"]
        crew = crew_of([4, 4], core=1, skills=["saw"], skill_shares={"saw": Decimal(0)})
        pins = TaskEdits(pins=[TaskPin(task=code, day="d1") for code in "AB"])
        given = inputs(net_of(*pair, opening("A", "B")), crew, edits=pins)
        found = plan(given)
        assert found.status == "infeasible"
        ways = {way.kind: way for way in found.ways_out}
        assert ways["helper"].text == "One more helper who can use a saw on Day 1 on Sat 6 Feb 2027"
        assert ways["helper"].opening == date(2027, 2, 7)
        # The cheapest is a word: one of the two on another day.
        assert found.ways_out[0].kind == "pin"

    def test_a_skill_nobody_has_is_one_requirement_and_asks_for_as_many_as_it_takes(self) -> None:
        # A crew of eight needs two who can saw (one for every seven), a crew of two needs one.
        big, small = task("A", 16, (8, 8), skills=["saw"]), task("B", 2, (2, 2), skills=["saw"])
        given = inputs(net_of(big, small, opening("A", "B")), crew_of([9], skill_shares={"saw": Decimal(0)}))
        found = plan(given)
        assert kinds(found) == [("skill", "A")]
        assert found.conflict[0].text == (
            "2 tasks need up to 2 at once who can use a saw; the core team and the helpers expected on any build day "
            "make 0: A Task A and B Task B"
        )
        assert [stop.code for stop in found.reasons if stop.severity == "stop"] == ["skill-missing"]
        assert found.ways_out[0].text == "2 more helpers who can use a saw on Day 1 on Sat 6 Feb 2027"
        assert found.ways_out[0].cost == 14.0  # two helpers, seven hours each
        # Each goes by what is looked for, until the owner writes a name.
        added = [edit.value for edit in found.ways_out[0].edits if edit.at[:2] == ["crew", "helpers"]]
        names = [one["name"] for value in added for one in (value if isinstance(value, list) else [value])]
        assert names == ["Somebody still to find (sawing)", "Somebody still to find (sawing, 2)"]
        for count, works in ((1, False), (2, True)):
            more = [Helper(id=f"h{n}", name="H", skills=["saw"], days=["d1"], sure=Decimal(1)) for n in range(count)]
            assert (attempt(again(given, crew=replace(given.crew, helpers=more))).found is True) == works

    def test_a_skill_nobody_has_and_too_few_days_for_it(self) -> None:
        # Ten hours of one person who can saw: seven on the day there is, the rest on a further one.
        given = inputs(
            net_of(task("A", 10, (1, 1), skills=["saw"]), opening("A")), crew_of([4], skill_shares={"saw": Decimal(0)})
        )
        found = plan(given)
        assert kinds(found) == [("skill", "A")]
        assert found.ways_out[0].text == (
            "One more helper who can use a saw on Day 1 (Sat 6 Feb) and Further day 1 (Sat 13 Feb); and "
            "1 more build day: Sat 13 Feb 2027"
        )
        # Two days of one helper, and a day of four helpers to invite (4 × 7 + 4).
        assert found.ways_out[0].cost == 2 * 7 + 32
        assert found.ways_out[0].opening == date(2027, 2, 14)

    def test_a_whole_hall_in_which_nobody_can_saw(self) -> None:
        hall = Hall()
        team = [replace(one, skills=[s for s in one.skills if s != "saw"]) for one in hall.crew.core]
        shares = hall.crew.skill_shares | {"saw": Decimal(0)}
        crew = replace(hall.crew, core=team, skill_shares=shares)
        given = Inputs(hall.net(), crew, hall.dates, hall.arrivals, [], hall.edits, hall.as_of)
        sawing = [one.code for one in given.net.tasks if "saw" in one.skills]
        assert len(sawing) > 2
        found = plan(given)
        assert [one.kind for one in found.conflict] == ["skill"]
        assert found.conflict[0].text.startswith(f"{len(sawing)} tasks need somebody who can use a saw")
        assert all(code in found.conflict[0].text for code in sawing[:3])
        helpers, team_ways = (
            [way for way in found.ways_out if ("core team" in way.text) == inside] for inside in (False, True)
        )
        assert helpers[0].text.startswith("One more helper who can use a saw on ")
        assert team_ways[0].text == "One more in the core team who can use a saw"
        assert attempt(given).found is False
        more = CorePerson(id="new", name="New", skills=["saw"])
        assert attempt(again(given, crew=replace(crew, core=[*team, more]))).found is True

    def test_people_are_called_by_name_or_by_their_day(self) -> None:
        crew = crew_of([4, 4], helpers=[Helper(id="bram-t", name="Bram", days=["d1"])])
        signed = [SignedUp(id="sika-m", day="d1")]

        def told(*people: str, pinned: bool = True) -> tuple[str, list[str]]:
            edits = TaskEdits(
                pins=[TaskPin(task="A", day="d2")] if pinned else [],
                people=[PersonPin(task="A", person=person) for person in people],
            )
            found = plan(inputs(net_of(task("A", 2), opening("A")), crew, edits=edits, signed_up=signed))
            assert kinds(found) == [("person", "A")]
            return found.conflict[0].text, [way.text for way in found.ways_out]

        assert told("bram-t") == (
            "A Task A must have Bram on it, who is not there on the build day it is held on, Day 2 on Sat 13 Feb 2027",
            ["Let A Task A be done on another day than Day 2 on Sat 13 Feb 2027", "Let somebody else do A Task A"],
        )
        text, _ = told("bram-t", "sika-m")
        assert text.startswith(
            "A Task A must have Bram and the helper who signed up for Day 1 on Sat 6 Feb 2027 on it, who are not there"
        )

    def test_the_only_one_who_can_saw_comes_on_too_few_days(self) -> None:
        # Twelve hours of one person with a saw; Bram comes on the first of two days, which has seven. On further
        # days nobody is known who can, so nothing else helps.
        bram = Helper(id="bram", name="Bram", skills=["saw"], days=["d1"], sure=Decimal(1))
        crew = crew_of([4, 4], skill_shares={"saw": Decimal(0)}, helpers=[bram])
        given = inputs(net_of(task("A", 12, (1, 1), skills=["saw"]), task("B", 1), opening("A", "B")), crew)
        found = plan(given)
        assert kinds(found) == [("skill", "A")]
        assert found.conflict[0].text == "Too few who can use a saw are there when it is needed: A Task A"
        assert found.ways_out[0].text == "One more helper who can use a saw on Day 2 on Sat 13 Feb 2027"
        assert found.ways_out[0].cost == 7.0
        both = replace(crew, helpers=[replace(bram, days=["d1", "d2"])])
        assert attempt(given).found is False
        assert attempt(again(given, crew=both)).found is True

    def test_two_stops_are_settled_together(self) -> None:
        tasks = [task("A", 2, (1, 1), skills=["saw"]), task("B", 2, (1, 1), tools="drill, bits")]
        crew = crew_of([4], skill_shares={"saw": Decimal(0)}, tools={"drill": 0})
        found = plan(inputs(net_of(*tasks, opening("A", "B")), crew))
        assert sorted(kinds(found)) == [("skill", "A"), ("tool", "B")]
        assert [(way.text, way.cost) for way in found.ways_out] == [
            ("One more helper who can use a saw on Day 1 on Sat 6 Feb 2027; and: Borrow or hire one “drill”", 7 + 3)
        ]
        assert found.ways_out[0].opening == date(2027, 2, 7)

    def test_too_few_places_says_the_fewest_more(self) -> None:
        found = plan(inputs(net_of(task("H03", 10, (9, 12)), opening("H03")), crew_of([6])))
        assert kinds(found) == [("places", "H03")]
        assert [way.text for way in found.ways_out] == ["3 more helpers on Day 1 on Sat 6 Feb 2027: 9 places"]
        assert plan(inputs(net_of(task("H03", 10, (9, 12)), opening("H03")), crew_of([9]))).status == "proven"
        assert plan(inputs(net_of(task("H03", 10, (9, 12)), opening("H03")), crew_of([8]))).status == "infeasible"

    def test_one_more_build_day_or_a_longer_one(self) -> None:
        # Nine hours of one person on a day of seven: an hour more each shift is not to be had, another Saturday is.
        found = plan(inputs(net_of(task("A", 9, (1, 1)), opening("A")), crew_of([1])))
        assert kinds(found) == [("days", "/crew/days")]
        assert "build day" in {way.kind for way in found.ways_out}
        assert all(way.cost <= later.cost for way, later in zip(found.ways_out, found.ways_out[1:], strict=False))

    def test_the_edits_of_a_way_out_make_the_plan_it_promises(self) -> None:
        """Carried out on the plan as it is written, each gives inputs with which a plan is found."""
        short = inputs(net_of(task("H03", 10, (9, 12)), opening("H03")), crew_of([6]))
        long = inputs(net_of(task("A", 9, (1, 1)), opening("A")), crew_of([1]))
        unskilled = inputs(
            net_of(task("W", 4, skills=["saw"]), opening("W")), crew_of([4], skill_shares={"saw": Decimal(0)})
        )
        pinned = inputs(
            net_of(task("A", 2), task("B", 2, after=[Lag(task="A", minutes=3 * 1440)]), opening("B")),
            crew_of([4, 4]),
            edits=TaskEdits(pins=[TaskPin(task="A", day="d2"), TaskPin(task="B", day="d1")]),
        )
        beyond = inputs(  # a helper on a day that is added together with the helper
            net_of(task("A", 10, (1, 1), skills=["saw"]), opening("A")), crew_of([4], skill_shares={"saw": Decimal(0)})
        )
        acts = set()
        for given in (short, long, unskilled, pinned, beyond):
            ways = plan(given).ways_out
            assert ways
            for way in ways:
                written = {"crew": to_plain(given.crew), "dates": to_plain(given.dates), "tasks": to_plain(given.edits)}
                for edit in way.edits:
                    acts.add(edit.act)
                    *path, last = edit.at
                    there: Any = written
                    for step in path:
                        there = there[step]
                    if edit.act == "set":
                        there[last] = edit.value
                    elif edit.act == "add":
                        there.setdefault(last, []).append(edit.value)
                    else:
                        del there[last]
                changed = again(
                    given, crew=from_plain(Crew, written["crew"]), dates=from_plain(Dates, written["dates"]),
                    edits=from_plain(TaskEdits, written["tasks"]),
                )  # fmt: skip
                assert way.edits
                assert attempt(given).found is not True
                assert attempt(changed, opening=True).found is True, way.text
        assert acts == {"set", "add", "remove"}

    def test_firm_sign_ups_are_kept_or_named(self) -> None:
        signed = [SignedUp(id="1", day="d1", task="B")]
        after = task("B", 1, after=[Lag(task="A", minutes=3 * 1440)])
        net = net_of(task("A", 1), after, opening("B"))
        soft = plan(inputs(net, crew_of([4, 4]), signed_up=signed))
        assert placed(soft)["B"][0].startswith("13 Feb")
        firm = plan(inputs(net, crew_of([4, 4], firm_sign_ups=True), signed_up=signed))
        assert kinds(firm) == [("sign-up", "B")]
        assert firm.ways_out[0].kind == "sign-up"

    def test_the_same_inputs_give_the_same_answer(self) -> None:
        given = inputs(net_of(task("A", 42, (2, 2)), opening("A")), crew_of([2]))
        assert plan(given) == plan(given)


class TestRules:
    def test_a_zone_is_held_by_one_task(self) -> None:
        pair = [task(code, 2, (1, 1), zone="floor") for code in "AB"]
        found = placed(plan(inputs(net_of(*pair, opening("A", "B")), crew_of([4]))))
        first, second = sorted((found["A"][:2], found["B"][:2]))
        assert (first, second[0] >= "06 Feb 10:30") == (("06 Feb 08:30", "10:30"), True)

    def test_one_saw_serves_one_task_at_a_time(self) -> None:
        pair = [task(code, 3, (1, 1), tools="saw, guide") for code in "AB"]
        one = placed(plan(inputs(net_of(*pair, opening("A", "B")), crew_of([4], tools={"saw": 1}))))
        two = placed(plan(inputs(net_of(*pair, opening("A", "B")), crew_of([4], tools={"saw": 2}))))
        assert {two[code][0] for code in "AB"} == {"06 Feb 08:30"}
        assert sorted(one[code][0] for code in "AB") == ["06 Feb 08:30", "06 Feb 13:00"]
        none = plan(inputs(net_of(*pair, opening("A", "B")), crew_of([4], tools={"saw": 0})))
        assert kinds(none) == [("tool", "A"), ("tool", "B")]
        assert none.ways_out[0].text == "Borrow or hire one “saw”"

    def test_one_carpenter_of_two_serves_one_evening_task_at_a_time(self) -> None:
        # Three hours each on evenings of three hours; both of the core team could come, one can do carpentry.
        pair = [task(code, 3, (1, 1), place="core team", skills=["carp"]) for code in "AB"]
        crew = crew_of([], core=2, hours=3, skill_shares={"carp": Decimal(0)})
        one = replace(crew, core=[replace(crew.core[0], skills=["carp"]), crew.core[1]])
        both = replace(crew, core=[replace(person, skills=["carp"]) for person in crew.core])
        starts = [
            sorted(placed(plan(inputs(net_of(*pair, opening("A", "B")), team)))[code][0] for code in "AB")
            for team in (one, both)
        ]
        assert starts == [["01 Feb 18:00", "02 Feb 18:00"], ["01 Feb 18:00", "01 Feb 18:00"]]

    def test_a_longest_wait(self) -> None:
        # B may start at most two hours after A, but lasts three: A waits for the afternoon too.
        tasks = [task("A", 1, (1, 1)), task("B", 3, (1, 1), after=[Lag(task="A", most=120)]), task("C", 3, (4, 4))]
        hold = TaskEdits(not_before=[NotBefore(task="B", date=SATURDAY)])
        found = {
            one.code: one for one in plan(inputs(net_of(*tasks, opening("B", "C")), crew_of([4]), edits=hold)).tasks
        }
        assert 0 <= found["B"].start - found["A"].end <= 120

    def test_a_longest_wait_after_work_that_is_done(self) -> None:
        # A was done on Sunday, so over at midnight; 4 build-day people lay B on Saturday at half past eight: 5 days and
        # 8.5 hours later. Six days allow it, five do not, and half a day was over before today.
        def within(most: int) -> Schedule:
            late = task("B", 8, (4, 4), after=[Lag(task="A", most=most, most_in_hours=True)])
            done = TaskEdits(done={"A": MONDAY - timedelta(days=1)})
            given = inputs(net_of(task("A", 2), late, opening("A", "B")), crew_of([4, 4]), edits=done)
            return plan(again(given, as_of=MONDAY + timedelta(days=1)) if most < 1440 else given)

        assert placed(within(6 * 1440))["B"][0] == "06 Feb 08:30"
        five = within(5 * 1440)
        assert [one.kind for one in five.conflict] == ["longest wait"]
        assert five.conflict[0].text == "B Task B starts at most 5 days after A Task A"
        assert [(way.kind, way.opening) for way in five.ways_out] == [("longest wait", date(2027, 2, 7))]
        over = within(720)
        assert placed(over)["B"][0] == "06 Feb 08:30"
        assert [reason.where for reason in over.reasons if reason.code == "waited-too-long"] == ["B"]

    def test_work_in_one_go_stays_on_one_day(self) -> None:
        # Six hours: two shifts of one day, not the evening shift of one and the morning of the next.
        whole = task("A", 12, (2, 2), one_day=True)
        other = task("B", 12, (3, 3))
        found = plan(inputs(net_of(other, whole, opening("A", "B")), crew_of([4, 4])))
        assert len({one.start_day for one in found.tasks if one.code.startswith("A")}) == 1
        long = plan(inputs(net_of(task("A", 30, (2, 2), one_day=True), opening("A")), crew_of([4, 4])))
        assert [stop.code for stop in long.reasons if stop.severity == "stop"] == ["no-day-long-enough"]
        # Thirty person-hours of two people; from 08:30 to 16:30 less the hour's meal are seven hours.
        assert "takes 15 hours in one go" in long.reasons[0].text
        assert "the longest build day leaves 7 hours for work" in long.reasons[0].text
        assert not any("split" in way.text for way in long.ways_out)  # the trade's rule, not the owner's

    def test_an_own_task_in_one_go_may_be_split_after_all(self) -> None:
        own = OwnTask(code="X01", name="Level the slab", hours=Decimal(14), crew=2, one_day=True)
        whole = task("X01", 14, (2, 2), kind="fixed", one_day=True)
        given = inputs(net_of(whole, opening("X01")), crew_of([4, 4]), edits=TaskEdits(own=[own]))
        none = plan(given)
        assert [stop.code for stop in none.reasons if stop.severity == "stop"] == ["no-day-long-enough"]
        way = next(way for way in none.ways_out if "be split over days" in way.text)
        asked = [(edit.act, edit.at, edit.value) for edit in way.edits]
        assert asked == [("set", ["tasks", "own", 0, "one_day"], False)]
        # Two days of seven hours are just enough, so the school opens on the day after the second Saturday.
        assert way.opening == date(2027, 2, 14)

    def test_somebody_named_is_on_one_task_at_a_time(self) -> None:
        pair = [task(code, 3, (1, 1)) for code in "AB"]
        crew = crew_of([4, 4], helpers=[Helper(id="bram", name="Bram", days=["d2"])])
        edits = TaskEdits(people=[PersonPin(task="A", person="bram"), PersonPin(task="B", person="bram")])
        found = placed(plan(inputs(net_of(*pair, opening("A", "B")), crew, edits=edits)))
        assert sorted(found[code][0] for code in "AB") == ["13 Feb 08:30", "13 Feb 13:00"]
        young = crew_of([4], helpers=[Helper(id="cas", name="Casimir", age="16-17", days=["d1"])])
        refused = plan(
            inputs(
                net_of(task("A", 3, tools="saw", cautions=["SAW"]), opening("A")),
                young,
                edits=TaskEdits(people=[PersonPin(task="A", person="cas")]),
            )
        )
        assert [stop.code for stop in refused.reasons if stop.severity == "stop"] == ["person-may-not"]

    def test_those_who_may_not_are_counted_out(self) -> None:
        # Four places, one of them for a 16-year-old: three may saw. Two sawing tasks of two people follow each other,
        # while sawing and sweeping go together.
        crew = crew_of([4], helpers=[Helper(id="cas", name="Casimir", age="16-17", days=["d1"])])
        saws = [task(code, 4, (2, 2), tools="saw") for code in "AB"]
        apart = placed(plan(inputs(net_of(*saws, opening("A", "B")), crew)))
        assert apart["A"][0] != apart["B"][0]
        mixed = [saws[0], task("B", 4, (2, 2))]
        together = placed(plan(inputs(net_of(*mixed, opening("A", "B")), crew)))
        assert together["A"][0] == together["B"][0] == "06 Feb 08:30"
        four = plan(inputs(net_of(task("A", 4, (4, 4), tools="saw"), opening("A")), crew))
        assert four.status == "infeasible"

    def test_the_landlords_hours_bind_the_hall_not_the_desk(self) -> None:
        hours = [
            HallHours(weekdays=[0, 1, 2, 3, 4], start="08:00", end="19:30"),
            HallHours(weekdays=[5], start="10:00", end="16:00"),
        ]
        dates = replace(DATES, hall_hours=hours)
        tasks = [
            task("D", 3, (1, 1), place="core team", where="desk"),
            task("H", 1.5, (1, 1), place="core team"),
            task("S", 2, (1, 1)),
        ]
        found = placed(plan(inputs(net_of(*tasks, opening("D", "H", "S")), crew_of([4], core=2, hours=3), dates=dates)))
        assert found["D"][:2] == ("01 Feb 18:00", "21:00")
        assert (found["H"][0][-5:], found["H"][1]) == ("18:00", "19:30")
        late = TaskEdits(pins=[TaskPin(task="S", day="d1")])
        saturday = plan(inputs(net_of(*tasks, opening("S")), crew_of([4]), dates=dates, edits=late))
        assert placed(saturday)["S"][0] == "06 Feb 10:00"

    def test_a_wished_date_is_kept_when_it_costs_nothing(self) -> None:
        firm = task("E", 1, (1, 2), kind="trade", place="trade")
        long = task("W", 20, (0, 0), kind="wait", place="wait")
        edits = TaskEdits(appointments=[Appointment(task="E", date=date(2027, 2, 11), firm=False)])
        found = plan(inputs(net_of(firm, long, opening("E", "W")), crew_of([]), edits=edits))
        assert next(one.start_day for one in found.tasks if one.code == "E") == date(2027, 2, 11)
        over = replace(edits, appointments=[Appointment(task="E", date=MONDAY - timedelta(days=1))])
        warned = plan(inputs(net_of(firm, opening("E")), crew_of([]), edits=over))
        assert "appointment-ignored" in {one.code for one in warned.reasons}

    def test_even_days(self) -> None:
        # Twelve person-hours twice, room for both on the first day; the opening hangs on a wait past the second:
        # one build day is enough, so evenness has nothing to share out.
        pair = [task(code, 12, (2, 4)) for code in "AB"]
        wait = task("W", 30, (0, 0), kind="wait", place="wait")
        found = plan(inputs(net_of(*pair, wait, opening("A", "B", "W")), crew_of([4, 4])))
        assert [len(day.tasks) > 0 for day in found.days] == [True, False]
        # Pins that use both days anyway: the free work goes where there is less.
        more = [task("C", 6, (2, 2)), task("D", 2, (2, 2)), task("E", 4, (2, 2))]
        edits = TaskEdits(pins=[TaskPin(task="C", day="d1"), TaskPin(task="D", day="d2")])
        even = plan(inputs(net_of(*more, wait, opening("C", "D", "E", "W")), crew_of([4, 4]), edits=edits))
        assert [day.person_hours for day in even.days] == [6, 6]
        assert [aim.name for aim in even.aims] == [
            "Earliest opening", "Few build days and evenings", "Even days", "Everything early",
        ]  # fmt: skip
        assert all(aim.bound <= aim.value for aim in even.aims)


class TestCalendar:
    def test_a_leap_day_is_a_day(self) -> None:
        # Fourteen days from Friday 25 February are 10 March in 2028 and 11 March in 2027.
        for year, end in ((2028, date(2028, 3, 10)), (2027, date(2027, 3, 11))):
            start = date(year, 2, 25)
            wait = task("W", 14, (0, 0), kind="wait", place="wait")
            dates = Dates(lease_start=start, opening_wish=date(year, 12, 31))
            found = solve(net_of(wait, opening("W")), crew_of([]), dates, NOTHING_ORDERED, [], TaskEdits(), start, None)
            assert found.opening == end

    def test_a_helper_down_for_two_days_at_once(self) -> None:
        crew = crew_of([4, 4], helpers=[Helper(id="bram", name="Bram", days=["d1", "d2"])])
        twice = replace(crew, days=[crew.days[0], replace(crew.days[1], date=crew.days[0].date, place="garage")])
        for one, expected in ((crew, 0), (twice, 1)):
            found = plan(inputs(net_of(task("A", 1), opening("A")), one))
            assert sum(reason.code == "two-days-at-once" for reason in found.reasons) == expected
