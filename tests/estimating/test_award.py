"""The award: enumerated cases, rules, bad quotes, and that every answer adds up."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from itertools import product as every

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from buildout.units.lengths import Length
from buildout.units.money import round_money
from estimating.engine.award import Terms, award
from estimating.engine.offers import offers_for
from estimating.engine.prices import cheapest, goods, whole_packs
from estimating.engine.types import (
    Award,
    AwardRules,
    Break,
    Freight,
    Lateness,
    Quote,
    QuoteLine,
    Supplier,
    TakeOff,
    TakeOffLine,
)

DAY = date(2027, 1, 18)
D = Decimal


def asked(item: str, quantity: object, unit: str = "each", **more: object) -> TakeOffLine:
    q = D(str(quantity))
    fields: dict[str, object] = {
        "item": item, "name": item.title(), "head": 8, "unit": unit, "net": q, "allowance": D(0), "waste": D(0),
        "quantity": q, "needed": q, "trace": [],
    }  # fmt: skip
    return TakeOffLine(**(fields | more))  # type: ignore[arg-type]


def need(*lines: TakeOffLine) -> TakeOff:
    return TakeOff(status="proven", lines=list(lines), drivers={}, reasons=[])


def table(item: str, *breaks: tuple[object, object], unit: str = "each", **more: object) -> QuoteLine:
    steps = [Break(start=D(str(a)), price=D(str(b))) for a, b in breaks]
    return QuoteLine(item=item, unit=unit, breaks=steps, **more)  # type: ignore[arg-type]


def quote(supplier: str, *lines: QuoteLine, freight: Freight | None = None, **more: object) -> Quote:
    fields: dict[str, object] = {
        "id": f"{supplier}-1", "supplier": supplier, "currency": "XXX", "quoted": date(2027, 1, 4),
        "valid_until": date(2027, 2, 28), "lines": list(lines), "freight": freight or Freight(),
        "lead_days_low": 5, "lead_days_likely": 8, "lead_days_high": 10,
    }  # fmt: skip
    return Quote(**(fields | more))  # type: ignore[arg-type]


def decide(
    take_off: TakeOff, quotes: list[Quote], rules: AwardRules | None = None, tax: str = "0", **minimum: object
) -> Award:
    names = sorted({q.supplier for q in quotes})
    suppliers = [Supplier(id=s, name=s.upper(), minimum_order=D(str(minimum.get(s, 0)))) for s in names]
    return award(take_off, quotes, suppliers, rules or AwardRules(), DAY, "XXX", D(tax))


P = quote("p", table("foam", (1, 52), (25, 48), (50, 44)), freight=Freight(amount=D(180)))
Q = quote("q", table("foam", (1, 50)), table("tape", (1, 18)), freight=Freight(amount=D(60)))
R = quote("r", table("tape", (1, 21), (12, 17)), freight=Freight(amount=D(45)))
BOTH = need(asked("foam", 48), asked("tape", 12))


def test_the_award_enumerated_in_full() -> None:
    # 48 sheets and 12 rolls. By hand: P 50 foam 50·44 + 180 = 2380, R 12 tape 12·17 + 45 = 249, together 2629.
    # Next: P 50 with Q tape 2380 + 12·18 + 60 = 2656; all at Q 48·50 + 12·18 + 60 = 2676.
    found = decide(BOTH, [P, Q, R])
    assert found.status == "proven"
    assert found.total == found.bound == D("2629.00")
    assert {line.item: (line.quote, line.quantity, line.spare) for line in found.lines} == {
        "foam": ("p-1", D(50), D(2)),
        "tape": ("r-1", D(12), D(0)),
    }
    assert [(s.quote, s.goods, s.freight) for s in found.suppliers] == [
        ("p-1", D("2200.00"), D("180.00")),
        ("r-1", D("204.00"), D("45.00")),
    ]
    # Tape at Q instead: 2656 − 2629 = 27. Foam at Q instead: 2400 + 60 + 249 = 2709, 80 more.
    extra = {line.item: (line.runner_up, line.runner_up_extra) for line in found.lines}
    assert extra == {"foam": ("q-1", D("80.00")), "tape": ("q-1", D("27.00"))}
    assert [r.code for r in found.reasons] == ["more costs less"]


def test_every_choice_of_the_enumerated_award() -> None:
    """All four ways to buy 48 sheets and 12 rolls, exactly as many and with two to spare; enumerated by hand."""
    suppliers = [Supplier(id=s, name=s.upper()) for s in "pqr"]
    offers, _ = offers_for(BOTH.lines, [P, Q, R], suppliers, AwardRules(), DAY, "XXX", D(0))
    by = {(offer.item, offer.quote): offer for offer in offers}
    terms = Terms.of([P, Q, R], suppliers, AwardRules(), D(0), "XXX")

    def cost(foam: tuple[str, int], tape: str) -> Decimal | None:
        return terms.cost({"foam": (by["foam", foam[0]], D(foam[1])), "tape": (by["tape", tape], D(12))})

    # P: 48 at 48.00 or 50 at 44.00, freight 180; Q: foam 50.00, tape 18.00, freight 60 once; R: tape 17.00, freight 45.
    exact = [
        (cost(("q-1", 48), "q-1"), 2676),  # 2400 + 216 + 60
        (cost(("q-1", 48), "r-1"), 2709),  # 2400 + 60 + 204 + 45
        (cost(("p-1", 48), "r-1"), 2733),  # 2304 + 180 + 204 + 45
        (cost(("p-1", 48), "q-1"), 2760),  # 2304 + 180 + 216 + 60
    ]
    spare = [(cost(("p-1", 50), "r-1"), 2629), (cost(("p-1", 50), "q-1"), 2656)]  # 2200 for the foam
    for found, by_hand in exact + spare:
        assert found == by_hand


@pytest.mark.parametrize(
    ("rules", "total", "quotes"),
    [
        (AwardRules(exclude=["r-1"]), "2656.00", {"p-1", "q-1"}),
        (AwardRules(most_suppliers=1), "2676.00", {"q-1"}),
        (AwardRules(force={"foam": "q-1", "tape": "r-1"}), "2709.00", {"q-1", "r-1"}),
        (AwardRules(exclude=["p-1"]), "2676.00", {"q-1"}),
    ],
)
def test_rules_change_the_award(rules: AwardRules, total: str, quotes: set[str]) -> None:
    found = decide(BOTH, [P, Q, R], rules)
    assert found.status == "proven"
    assert found.total == D(total)
    assert {s.quote for s in found.suppliers} == quotes


def test_too_few_suppliers_says_how_many_are_needed() -> None:
    found = decide(BOTH, [P, R], AwardRules(most_suppliers=1))
    assert found.status == "infeasible"
    assert found.lines == []
    stop = found.reasons[-1]
    assert (stop.code, stop.severity) == ("too few suppliers allowed", "stop")
    assert "at least 2" in stop.text


def test_a_forced_quote_that_cannot_serve_stops() -> None:
    found = decide(BOTH, [P, Q], AwardRules(force={"tape": "p-1"}))
    assert found.status == "infeasible"
    assert found.unquoted == ["tape"]
    assert any(r.code == "forced quote unusable" and r.where == "tape" for r in found.reasons)
    assert [line.item for line in found.lines] == ["foam"]


def test_incremental_slices_and_their_minimum() -> None:
    # First 30 at 61.20, next 50 at 57.30, rest at 52.90, no fewer than 20.
    line = table("base", (20, "61.20"), (31, "57.30"), (81, "52.90"), form="incremental")
    one = decide(need(asked("base", 84)), [quote("s", line)])
    assert one.total == 30 * D("61.20") + 50 * D("57.30") + 4 * D("52.90")  # 4912.60
    few = decide(need(asked("base", 7)), [quote("s", line)])
    assert (few.lines[0].quantity, few.total, few.lines[0].spare) == (D(20), D("1224.00"), D(13))


def test_packs_are_whole() -> None:
    mats = table("mat", (5, 149), pack=D(5))
    found = decide(need(asked("mat", 12)), [quote("b", mats, freight=Freight(amount=D(180)))])
    assert (found.lines[0].quantity, found.total) == (D(15), D("2415.00"))  # 3 × 745 + 180
    assert any(r.code == "whole packs" for r in found.reasons)


def test_set_up_cut_outs_and_band_of_a_cover() -> None:
    cover = asked("cover", 2750, "square foot", cutouts=2, band=D(260))
    nine = quote(
        "ninefold",
        table("cover", (1, "4.85"), (1000, "3.74"), (2500, "3.46"), unit="square foot", set_up=D(480),
              extra_per_cutout=D(65), extra_per_band_foot=D("2.30")),
        freight=Freight(amount=D(520)),
    )  # fmt: skip
    moon = quote(
        "moonrake",
        table("cover", (1, "4.60"), (1001, "3.38"), (3001, "3.05"), unit="square foot", form="incremental",
              extra_per_band_foot=D("2.95")),
        freight=Freight(amount=D(390)),
    )  # fmt: skip
    found = decide(need(cover), [nine, moon])
    # Ninefold 2750·3.46 = 9515 + 480 + 2·65 + 260·2.30 = 1208 → 10723 + 520 = 11243
    # Moonrake 1000·4.60 + 1750·3.38 = 10515 + 260·2.95 = 767 → 11282 + 390 = 11672
    assert found.total == D("11243.00")
    assert found.lines[0].extras == D("1208.00")
    assert (found.lines[0].runner_up, found.lines[0].runner_up_extra) == ("moonrake-1", D("429.00"))


def test_free_freight_and_minimum_orders_can_make_more_worth_buying() -> None:
    # 9 at 100 = 900 + 150 freight; the tenth reaches free freight at 1000: 1000 < 1050.
    free = Freight(form="free over", amount=D(150), free_over=D(1000))
    found = decide(need(asked("ply", 9)), [quote("y", table("ply", (1, 100)), freight=free)])
    assert (found.lines[0].quantity, found.total, found.status) == (D(10), D("1000.00"), "proven")
    least = decide(need(asked("ply", 9)), [quote("y", table("ply", (1, 100)))], y=1250)
    assert (least.lines[0].quantity, least.total) == (D(13), D("1300.00"))


def test_freight_per_unit() -> None:
    by_piece = Freight(form="per unit", amount=D("7.10"))
    found = decide(need(asked("base", 20)), [quote("s", table("base", (1, 60)), freight=by_piece)])
    assert found.total == D("1342.00")  # 20·60 + 20·7.10


def test_tax_is_apart_and_rounded_at_each_line() -> None:
    # Lines 10.02, 20.07, 33.33 at 8.25 %: 0.83 + 1.66 + 2.75 = 5.24 (5.23 if taxed as one sum).
    lines = [table(i, (1, p)) for i, p in (("a", "10.02"), ("b", "20.07"), ("c", "33.33"))]
    found = decide(need(*(asked(i, 1) for i in "abc")), [quote("t", *lines)], tax="8.25")
    assert (found.total, found.tax) == (D("63.42"), D("5.24"))
    assert found.suppliers[0].total == D("68.66")


def test_prices_with_tax_in_them_are_compared_without_it() -> None:
    inside = quote("gross", table("a", (1, "107.50")), tax_included=True)
    outside = quote("net", table("a", (1, "100.01")))
    found = decide(need(asked("a", 1)), [inside, outside], tax="7.5")
    assert found.lines[0].quote == "gross-1"
    assert (found.total, found.tax) == (D("100.00"), D("7.50"))


def test_ties_go_to_fewer_suppliers_then_to_the_first_name() -> None:
    lines = need(asked("a", 1), asked("b", 1))
    found = decide(lines, [quote("x", table("a", (1, 5))), quote("z", table("a", (1, 5)), table("b", (1, 5)))])
    assert {line.supplier for line in found.lines} == {"z"}
    again = decide(lines, [quote(s, table("a", (1, 5)), table("b", (1, 5))) for s in ("m", "k", "n")])
    assert {line.supplier for line in again.lines} == {"k"}


@pytest.mark.parametrize(
    ("change", "code", "said"),
    [
        ({"currency": "EUR"}, "other currency", "XXX 82.10"),
        ({"valid_until": date(2027, 1, 17)}, "quote expired", "Sun 17 Jan 2027"),
        ({"quoted": date(2027, 1, 19)}, "quote from the future", "Tue 19 Jan 2027"),
        ({"supplier": "nobody"}, "unknown supplier", "nobody"),
    ],
)
def test_quotes_that_do_not_stand_are_left_out_with_a_reason(change: dict[str, object], code: str, said: str) -> None:
    bad = msgspec.structs.replace(quote("q", table("foam", (1, 1))), **change)
    suppliers = [Supplier(id="q", name="Q"), Supplier(id="p", name="P")]
    found = award(need(asked("foam", 48)), [bad, P], suppliers, AwardRules(), DAY, "XXX", D(0))
    assert {line.quote for line in found.lines} == {"p-1"}
    reason = next(r for r in found.reasons if r.code == code)
    assert reason.where == "q-1"
    assert said in reason.text + reason.todo


def test_a_break_table_out_of_order_is_named() -> None:
    found = decide(need(asked("foam", 48)), [quote("q", table("foam", (1, 9), (60, 7), (24, 8)))])
    assert found.status == "underdetermined"
    assert found.unquoted == ["foam"]
    reason = next(r for r in found.reasons if r.code == "price table unusable")
    assert reason.where == "q-1/foam"
    assert "1, 60, 24" in reason.text


def test_a_unit_that_does_not_fit_names_quote_and_line() -> None:
    found = decide(need(asked("foam", 48)), [quote("q", table("foam", (1, 9), unit="gallon"))])
    reason = next(r for r in found.reasons if r.code == "unit does not fit")
    assert reason.where == "q-1/foam"
    assert "gallon" in reason.text
    assert found.unquoted == ["foam"]


def test_goods_of_another_width_are_compared_by_area() -> None:
    # 7 rolls asked, 6.3 needed: 6.3 × 100 ft × 4.5 ft = 2835 sq ft = 567 running ft of goods 5 ft wide.
    top = asked("top", 7, "roll", needed=D("6.3"), length=Length.read("100'"), width=Length.read('54"'))
    other = table("top", (1, "3.62"), (500, "3.21"), unit="running foot", goods_width=Length.read('60"'))
    found = decide(need(top), [quote("s", other)])
    assert found.lines[0].quantity == D(567)
    assert found.total == D("1820.07")  # 567 × 3.21
    assert "other width" in found.lines[0].conversion


def test_pieces_are_pieces_whatever_they_are_called() -> None:
    found = decide(need(asked("cleat", 7, "length")), [quote("c", table("cleat", (1, "19.40")))])
    assert found.total == D("135.80")


def test_nothing_asked_and_nothing_quoted() -> None:
    assert decide(need(), [P]).status == "empty"
    none = decide(BOTH, [])
    assert (none.status, none.unquoted, none.total) == ("underdetermined", ["foam", "tape"], D(0))
    part = decide(need(asked("foam", 48), asked("glue", 3)), [P])
    assert (part.status, part.unquoted, part.total) == ("proven", ["glue"], D("2380.00"))
    assert next(one.text for one in part.reasons if one.code == "not quoted").startswith("Nobody quotes 1 of 2 items: ")
    alone = decide(need(asked("glue", 3)), [P])
    assert next(one.text for one in alone.reasons if one.code == "not quoted").startswith("Nobody quotes 1 of 1 item: ")


money = st.decimals(1, 99, places=2)


@st.composite
def cases(draw: st.DrawFn) -> tuple[TakeOff, list[Quote], dict[str, int]]:
    items = ["a", "b", "c"]
    lines = need(*(asked(i, draw(st.integers(1, 60))) for i in items))
    quotes = []
    for supplier in ("k", "l", "m"):
        tables = []
        for item in items:
            if supplier != "k" and draw(st.booleans()):
                continue
            first = draw(money)
            steps = [
                (1, first),
                (draw(st.integers(5, 30)), first * D("0.9")),
                (draw(st.integers(31, 70)), first * D("0.8")),
            ]
            steps = [(a, round(b, 2)) for a, b in steps]
            form = draw(st.sampled_from(["all units", "incremental"]))
            tables.append(table(item, *steps, form=form, set_up=draw(st.sampled_from([D(0), D(25)]))))
        freight = draw(
            st.sampled_from(
                [Freight(amount=D(40)), Freight(form="per unit", amount=D("0.35")),
                 Freight(form="free over", amount=D(90), free_over=D(800))]
            )
        )  # fmt: skip
        quotes.append(quote(supplier, *tables, freight=freight))
    return lines, quotes, {"m": draw(st.sampled_from([0, 300]))}


@settings(max_examples=40, deadline=None)
@given(cases())
def test_no_simple_choice_is_cheaper_and_everything_adds_up(case: tuple[TakeOff, list[Quote], dict[str, int]]) -> None:
    lines, quotes, minimum = case
    found = decide(lines, quotes, tax="7.5", **minimum)
    assert found.bound <= found.total
    assert found.status == "proven"
    assert found.total == sum(s.goods + s.freight for s in found.suppliers)
    assert found.tax == sum(s.tax for s in found.suppliers)
    assert sum(s.goods for s in found.suppliers) == sum(line.goods + line.extras for line in found.lines)
    for line in found.lines:
        assert line.quantity >= line.asked
    # Every combination of one quote per item, each line at its own cheapest quantity.
    options = [
        [(q, entry, a.quantity) for q in quotes for entry in q.lines if entry.item == a.item] for a in lines.lines
    ]
    for combination in every(*options):
        total, by_quote = D(0), {}
        for q, entry, wanted in combination:
            quantity, paid = cheapest(entry, wanted, "XXX")
            paid += entry.set_up
            by_quote.setdefault(q.id, []).append((q, quantity, paid))
            total += paid
        for group in by_quote.values():
            q, spent = group[0][0], sum(paid for _, _, paid in group)
            if q.freight.form == "per unit":
                total += q.freight.amount * sum(quantity for _, quantity, _ in group)
            elif q.freight.form == "flat" or spent < (q.freight.free_over or 0):
                total += q.freight.amount
            if q.supplier == "m" and spent < minimum["m"]:
                break
        else:
            assert found.total <= total + D("0.02")


def test_bought_lines_never_cost_more_than_what_is_needed_alone() -> None:
    line = table("base", (1, "91.40"), (24, "82.10"), (60, "74.65"))
    for quantity in range(1, 80):
        bought, paid = cheapest(line, D(quantity), "XXX")
        assert bought >= quantity
        assert paid <= goods(line, whole_packs(line, D(quantity)), "XXX")


# ------------------------------------------------------------------ lateness


def late(day: str, **days: dict[str, str]) -> Lateness:
    return Lateness(day=D(day), days={item: {q: D(n) for q, n in by_quote.items()} for item, by_quote in days.items()})


def weigh(take_off: TakeOff, quotes: list[Quote], lateness: Lateness, rules: AwardRules | None = None) -> Award:
    suppliers = [Supplier(id=s, name=s.upper()) for s in sorted({q.supplier for q in quotes})]
    return award(take_off, quotes, suppliers, rules or AwardRules(), DAY, "XXX", D(0), lateness)


def test_a_quote_that_may_come_late_counts_as_dearer() -> None:
    # Foam 48·50 + 60 = 2460 at Q; P 50·44 + 180 = 2380, 80 less. Two days late at 39.99 keep P, at 40.01 they do not.
    foam = need(asked("foam", 48))
    kept = weigh(foam, [P, Q], late("39.99", foam={"p-1": "2"}))
    assert (kept.lines[0].quote, kept.total, kept.late_cost) == ("p-1", D("2380.00"), D("79.98"))
    assert (kept.bound, kept.status) == (D("2459.98"), "proven")
    assert kept.lines[0].days_late == 2
    assert kept.lines[0].runner_up_extra == D("0.02"), "80.00 dearer, 79.98 of lateness saved"
    moved = weigh(foam, [P, Q], late("40.01", foam={"p-1": "2"}))
    assert (moved.lines[0].quote, moved.total, moved.late_cost) == ("q-1", D("2460.00"), D(0))
    assert moved.lines[0].runner_up_extra == D("0.02"), "80.00 cheaper, 80.02 of lateness more"


def test_the_latest_line_counts_once() -> None:
    # Whatever is chosen for tape, foam can only come 3 days late, so 2 days of tape cost nothing more.
    lateness = late("1000", foam={"p-1": "3", "q-1": "3"}, tape={"r-1": "2"})
    found = weigh(BOTH, [P, Q, R], lateness)
    assert found.total == D("2629.00"), "the award of before"
    assert found.late_cost == D("3000.00")
    assert found.bound == D("5629.00")
    worse = weigh(BOTH, [P, Q, R], late("1000", foam={"p-1": "3", "q-1": "3"}, tape={"r-1": "4"}))
    assert {line.item: line.quote for line in worse.lines} == {"foam": "p-1", "tape": "q-1"}
    assert (worse.total, worse.late_cost) == (D("2656.00"), D("3000.00"))


@st.composite
def late_cases(draw: st.DrawFn) -> tuple[TakeOff, list[Quote], Lateness]:
    """One price a line and freight once a quote, so that one quote for each item is every choice there is."""
    items = ["a", "b", "c"]
    lines = need(*(asked(i, draw(st.integers(1, 20))) for i in items))
    quotes = [
        quote(
            supplier,
            *(table(i, (1, draw(money))) for i in items if supplier == "k" or draw(st.booleans())),
            freight=Freight(amount=D(draw(st.integers(0, 60)))),
        )
        for supplier in ("k", "l", "m")
    ]
    days = {
        item: {q.id: f"{draw(st.decimals(0, 9, places=1))}" for q in quotes if item in {e.item for e in q.lines}}
        for item in items
    }  # fmt: skip
    return lines, [q for q in quotes if q.lines], late(f"{draw(st.sampled_from(['0', '0.35', '12.50', '90']))}", **days)


@settings(max_examples=60, deadline=None)
@given(late_cases())
def test_with_lateness_no_choice_at_all_is_better(case: tuple[TakeOff, list[Quote], Lateness]) -> None:
    lines, quotes, lateness = case
    found = weigh(lines, quotes, lateness)

    def weighed(choice: tuple[tuple[Quote, QuoteLine], ...]) -> D:
        """Goods, freight once for each quote, and once the days of the latest line."""
        goods = sum((e.breaks[0].price * a.quantity for (_, e), a in zip(choice, lines.lines, strict=True)), D(0))
        freight = sum(({q.id: q.freight.amount for q, _ in choice}).values(), D(0))
        latest = max(lateness.days[e.item][q.id] for q, e in choice)
        return goods + freight + round_money(latest * lateness.day, "XXX")

    options = [[(q, e) for q in quotes for e in q.lines if e.item == a.item] for a in lines.lines]
    assert found.status == "proven"
    assert found.total + found.late_cost == min(weighed(choice) for choice in every(*options))
    chosen = {line.item: line.quote for line in found.lines}
    assert weighed(tuple(next(o for o in at if o[0].id == chosen[o[1].item]) for at in options)) == (
        found.total + found.late_cost
    )
    assert found.late_cost == round_money(max(lateness.days[i][q] for i, q in chosen.items()) * lateness.day, "XXX")


@settings(max_examples=20, deadline=None)
@given(late_cases())
def test_a_dearer_day_never_brings_goods_later(case: tuple[TakeOff, list[Quote], Lateness]) -> None:
    lines, quotes, lateness = case

    def latest(day: str) -> D:
        found = weigh(lines, quotes, msgspec.structs.replace(lateness, day=D(day)))
        return max(lateness.days[line.item][line.quote] for line in found.lines)

    assert latest("0.50") >= latest("40") >= latest("9000")
