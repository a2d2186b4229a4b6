"""Efforts from quantities and rates, tasks that drop out, and the owner's edits."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from scheduling.engine.tasks import generate, template_of
from scheduling.engine.template import default_template
from scheduling.engine.types import (
    BuildDay,
    CorePerson,
    Crew,
    Lag,
    OwnTask,
    RateEdit,
    Task,
    TaskChange,
    TaskEdits,
    TaskNet,
    TaskPin,
)

CREW = Crew(
    core=[CorePerson(id=str(n), name=f"Person {n}", skills=["lead"]) for n in range(4)],
    days=[BuildDay(id=f"d{n}", date=date(2027, 3, 6 + 7 * n), name=f"Day {n}", places=20) for n in range(3)],
)


def net(drivers: dict[str, float], edits: TaskEdits | None = None, groups: dict[str, str] | None = None) -> TaskNet:
    return generate(edits or TaskEdits(), drivers, CREW, groups or {})


def task(found: TaskNet, code: str) -> Task:
    return next(task for task in found.tasks if task.code == code)


def test_effort_is_quantity_over_rate_with_the_slow_day_costing_most() -> None:
    # W11: 0.5, 0.9, 1.5 panels a person-hour; 45 panels take 45/1.5 = 30, 45/0.9 = 50, 45/0.5 = 90 person-hours.
    panels = task(net({"panel.count": 45}), "W11")
    assert (panels.low, panels.likely, panels.high) == (30, 50, 90)
    assert (panels.crew_min, panels.crew_max, panels.place) == (2, 8, "build day")


def test_of_a_task_begun_the_rest_is_left() -> None:
    # Two fifths of 30, 50, 90 person-hours are done: three fifths are left. It is the same task for the same people.
    edits = TaskEdits(begun={"W11": Decimal("0.4"), "H03": Decimal("0.5"), "W12": Decimal(1), "L03": Decimal("0.5")})
    found = net({"panel.count": 45, "cover.weight": 917}, edits)
    rest, whole = task(found, "W11"), task(net({"panel.count": 45}), "W11")
    assert (rest.low, rest.likely, rest.high) == pytest.approx((18, 30, 54))
    assert (rest.begun, rest.quantity, rest.place) == (0.4, whole.quantity, whole.place)
    assert task(found, "H03").crew_min == 23  # what is left of a cover is as heavy
    assert task(found, "W12").begun == 0  # done to the last is reported as done
    # A wait is not worked off.
    assert task(found, "L03").likely == task(net({}), "L03").likely


def test_the_carry_needs_one_person_for_every_40_lb() -> None:
    # 917 lb / 40 lb = 22.9.
    assert task(net({"cover.weight": 917}), "H03").crew_min == 23
    assert task(net({"cover.weight": 1700}), "H03").crew_min == 43
    assert task(net({"cover.weight": 1700}), "H03").crew_max == 43
    assert task(net({"cover.weight": 100}), "H03").crew_min == 4


def test_a_task_without_quantity_drops_out_and_the_larger_lag_is_inherited() -> None:
    # W13 ← W12 ← W11 (SS +2h and finish) ← W09 +12h. Without any panel work but hanging, W13 inherits all of it.
    found = net({"panel.full_count": 10, "floor.cutouts": 1}, groups={})
    hang = task(found, "W13")
    assert "W12" in found.left_out
    assert all(lag.task in {one.code for one in found.tasks} for lag in hang.after)
    # F05 is gone: F06 ← F05+4h ← SS:F04+1h becomes SS:F04 with the larger 4 h.
    painted = net({"paint.edge_length": 100, "wall.paint_area": 900}, TaskEdits(off=["F05"]))
    assert Lag(task="F04", minutes=240, from_start=True) in task(painted, "F06").after
    assert Lag(task="F04", minutes=240) in task(painted, "F06").after


def test_unknown_quantities_are_named_zero_ones_are_not() -> None:
    text = next(reason.text for reason in net({"snag.count": 0, "desk.count": 1}).reasons)
    assert "cover.weight (H03)" in text
    assert "snag.count" not in text
    assert "desk.count" not in text


def test_a_negative_quantity_is_a_warning() -> None:
    found = net({"desk.count": -1})
    assert [reason.where for reason in found.reasons if reason.code == "negative-quantity"] == ["desk.count"]
    assert "J07" in found.left_out


def test_lead_time_waits_exist_only_for_goods_that_are_bought() -> None:
    found = net({"orders.count": 1}, groups={"slab": "foam"})
    assert task(found, "C06").arrival_of == "foam"
    assert {"C07", "C08", "C09", "C10"} <= set(found.left_out)


def test_goods_are_needed_by_the_tasks_that_use_them() -> None:
    found = net(
        {"foam.pieces": 9, "base.area": 90, "cover.count": 1},
        groups={"slab": "foam", "lamp": "other", "sheet": "cover"},
    )
    assert [one.code for one in found.tasks if "slab" in one.needs] == ["C11", "G07", "G09"]
    # Nothing here uses a cover or the lamp: they must at least be there when the opening is prepared.
    assert [one.code for one in found.tasks if "sheet" in one.needs] == ["C12"]
    assert "lamp" in {item for one in found.tasks for item in one.needs}


def test_every_build_day_task_waits_for_invitations_and_a_set_up_site() -> None:
    found = net({"strip.area": 100, "panel.count": 10})
    after = {one.code: {lag.task for lag in one.after} for one in found.tasks}
    assert {"K01", "D01"} <= after["D02"]
    assert "K01" in after["W11"] or "K01" in after["W05"]
    assert "D01" not in after["W05"]  # a garage needs no site


def test_jobs_of_every_build_day_come_as_day_jobs() -> None:
    # K02 0.4 h → 24 minutes. K04: 1,600 sq ft an hour each, 8 people, 3,200 sq ft: 15 minutes. Meals: 1.1 × (60 + 12)
    # = 79.2 → 80 heads over three days, 9 a person-hour: 3 person-hours a day, one person.
    found = net({"room.floor_area": 3200})
    jobs = {job.code: job for job in found.day_jobs}
    assert (jobs["K02"].minutes, jobs["K04"].minutes, jobs["K03"].crew) == (24, 15, 1)
    assert not {"K02", "K03", "K04"} & {one.code for one in found.tasks}


def test_changed_rates_count_and_bad_ones_are_refused() -> None:
    faster = RateEdit(code="W11", low=Decimal(1), likely=Decimal(2), high=Decimal(4))
    found = net({"panel.count": 40}, TaskEdits(rates=[faster]))
    assert task(found, "W11").likely == 20
    wrong = RateEdit(code="W11", low=Decimal(4), likely=Decimal(2), high=Decimal(1))
    refused = net({"panel.count": 45}, TaskEdits(rates=[wrong]))
    assert task(refused, "W11").likely == 50
    assert "not in order" in next(reason.text for reason in refused.reasons if reason.code == "rate-refused")


def test_a_task_of_the_list_done_another_way() -> None:
    change = TaskChange(code="W11", crew_min=3, crew_max=5, skills=["carp"], tools="saw", after=["W05+2h"])
    found = task(net({"panel.count": 40}, TaskEdits(changed=[change])), "W11")
    assert (found.crew_min, found.crew_max, found.skills, found.tools) == (3, 5, ["carp"], "saw")
    usual = task(net({"panel.count": 40}), "W11")
    assert (found.low, found.likely, found.high) == (usual.low, usual.likely, usual.high)
    assert "+" not in found.tools
    row = template_of(TaskEdits(changed=[change]), [])[0]["W11"]
    assert row.after == [Lag(task="W05", minutes=120)]


def test_a_change_that_cannot_be_used_leaves_the_list_and_says_so() -> None:
    wrong = TaskChange(code="W11", crew_min=6, crew_max=2)
    found = net({"panel.count": 40}, TaskEdits(changed=[wrong]))
    assert task(found, "W11") == task(net({"panel.count": 40}), "W11")
    assert "crew 6 to 2" in next(reason.text for reason in found.reasons if reason.code == "change-refused")
    ring = net({"panel.count": 40}, TaskEdits(changed=[TaskChange(code="W11", after=["L09"])]))
    assert ring.status == "infeasible"


def test_an_own_task_with_a_driver_takes_its_hours_from_the_quantity() -> None:
    # 40 panels at 2, 4, 8 a person-hour: 20, 10 and 5 person-hours.
    own = OwnTask(
        code="X01", name="Number the panels", crew=1, crew_max=4, driver="panel.count",
        low=Decimal(2), likely=Decimal(4), high=Decimal(8),
    )  # fmt: skip
    found = task(net({"panel.count": 40}, TaskEdits(own=[own])), "X01")
    assert (found.kind, found.low, found.likely, found.high) == ("work", 5, 10, 20)
    assert (found.crew_min, found.crew_max, found.quantity, found.unit) == (1, 4, 40, "panel")
    none = net({}, TaskEdits(own=[own]))
    assert "X01" in none.left_out
    bad = net({"panel.count": 40}, TaskEdits(own=[replace(own, likely=Decimal(1))]))
    assert "2, 1, 8 cannot be planned" in next(reason.text for reason in bad.reasons if reason.where == "X01")


def test_own_tasks_come_before_the_opening() -> None:
    own = OwnTask(code="X01", name="Hang the old sign", hours=Decimal(2), crew=2, after=["J09", "nonsense!", "Q99"])
    found = net({"sign.count": 3}, TaskEdits(own=[own]))
    assert task(found, "X01").after[0] == Lag(task="J09")
    assert "X01" in {lag.task for lag in task(found, "L09").after}
    assert sorted(reason.code for reason in found.reasons if reason.where == "X01") == ["own-task", "own-task"]


@pytest.mark.parametrize(
    "edits",
    [
        TaskEdits(off=["Z1"]),
        TaskEdits(pins=[TaskPin(task="Z1", day="d1")]),
        TaskEdits(done={"Z1": date(2027, 1, 1)}),
        TaskEdits(begun={"Z1": Decimal("0.5")}),
        TaskEdits(changed=[TaskChange(code="Z1")]),
        TaskEdits(rates=[RateEdit(code="Z1", low=Decimal(1), likely=Decimal(1), high=Decimal(1))]),
    ],
)
def test_unknown_codes_are_named(edits: TaskEdits) -> None:
    assert [reason.where for reason in net({}, edits).reasons if reason.code == "unknown-task"] == ["Z1"]


def test_a_ring_made_by_own_tasks_stops() -> None:
    own = [
        OwnTask(code="X1", name="First", hours=Decimal(1), crew=1, after=["X2"]),
        OwnTask(code="X2", name="Second", hours=Decimal(1), crew=1, after=["X1"]),
    ]
    found = net({}, TaskEdits(own=own))
    assert found.status == "infeasible"
    assert "X1 First → X2 Second → X1 First: each waits for the next" in found.reasons[-1].text


def test_licensed_and_specialist_work_is_a_firms() -> None:
    mirrors = task(net({"mirror.count": 4}), "J01")
    # 4 mirrors at 0.4 a person-hour: 10 person-hours, three people, eight hours a day: 0.4167 days.
    assert (mirrors.place, mirrors.kind, mirrors.likely) == ("trade", "trade", 0.4167)


CODES = [row.code for row in default_template()]


@given(st.sets(st.sampled_from(CODES)), st.sets(st.sampled_from(sorted({row.driver for row in default_template()}))))
def test_whatever_drops_out_the_order_of_the_rest_stays(off: set[str], empty: set[str]) -> None:
    """Two tasks that stay are still one after the other, near or far, when others between them go."""
    drivers = {row.driver: 0.0 if row.driver in empty else 10.0 for row in default_template() if row.driver != "1"}
    groups = {group: group for group in ("foam", "cover", "timber", "panel", "fit-out")}
    whole = generate(TaskEdits(), dict.fromkeys(drivers, 10.0), CREW, groups)
    part = generate(TaskEdits(off=sorted(off)), drivers, CREW, groups)
    assert part.status == "proven"
    full, left = above(whole), above(part)
    for code, others in left.items():
        assert full[code] & set(left) <= others | {"K01", "D01"}


def above(found: TaskNet) -> dict[str, set[str]]:
    after = {one.code: {lag.task for lag in one.after} for one in found.tasks}

    def all_of(code: str, seen: set[str]) -> set[str]:
        for other in after[code] - seen:
            seen.add(other)
            all_of(other, seen)
        return seen

    return {code: all_of(code, set()) for code in after}


def test_goods_of_an_own_task_hold_up_no_other() -> None:
    """Panels that come ready to hang are of a kind with paint; only the task that hangs them waits for them."""
    edits = TaskEdits(own=[OwnTask(code="X01", name="Hang", hours=Decimal(3), crew=2, needs=["panels", "gone"])])
    net = generate(edits, {"paint.mask_length": 50}, Crew(core=[], days=[]), {"panels": "other", "paint": "other"})
    needs = {task.code: task.needs for task in net.tasks}
    assert needs["X01"] == ["panels"]
    assert needs["F01"] == ["paint"]
    without = generate(TaskEdits(), {"paint.mask_length": 50}, Crew(core=[], days=[]), {"panels": "other"})
    assert {task.code: task.needs for task in without.tasks}["F01"] == ["panels"]
