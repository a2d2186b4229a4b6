"""What to ring up about, by hand."""

from __future__ import annotations

from datetime import date
from decimal import Decimal as D

from buildout.units.value import Reason
from estimating.engine.award import award
from estimating.engine.quote_gaps import SampleOut, quote_gaps, sample_gaps
from estimating.engine.types import AwardRules, Break, Quote, QuoteLine, Supplier, TakeOff, TakeOffLine

DAY = date(2027, 1, 18)


def gaps(
    prices: dict[str, str],
    *,
    valid: date = date(2027, 3, 1),
    ordered: frozenset[str] = frozenset(),
    of: int | None = None,
) -> list[Reason]:
    need = TakeOffLine(
        item="ply", name="Plywood", head=11, unit="sheet", net=D(10), allowance=D(0), waste=D(0), quantity=D(10),
        needed=D(10), trace=[],
    )  # fmt: skip
    quotes = [
        Quote(
            id=f"{who}-1", supplier=who, currency="XXX", quoted=DAY, valid_until=valid,
            lines=[QuoteLine(item="ply", unit="sheet", breaks=[Break(start=D(1), price=D(price))],
                             quoted_for=None if of is None else D(of))],
            lead_days_low=1, lead_days_likely=2, lead_days_high=3,
        )
        for who, price in prices.items()
    ]  # fmt: skip
    suppliers = [Supplier(id=who, name=who.upper()) for who in prices]
    take_off = TakeOff(status="proven", lines=[need], drivers={}, reasons=[])
    chosen = award(take_off, quotes, suppliers, AwardRules(), DAY, "XXX", D(0))
    return quote_gaps([need], quotes, suppliers, chosen, D(0), DAY, DAY, set(ordered))


def test_prices_near_each_other_say_nothing() -> None:
    assert gaps({"a": "30", "b": "36", "c": "40"}) == []


def test_a_price_out_of_line_is_named_beside_the_others() -> None:
    # 10 sheets: 300, 330 and 700; the middle is 330, and 700 > 1.5 × 330 = 495 while 300 × 1.5 = 450 > 330.
    [reason] = gaps({"a": "30", "b": "33", "c": "70"})
    assert reason.where == "c-1/ply"
    assert "comes to ¤700.00; the others ask about ¤330.00" in reason.text
    # Of two nobody can say which is right: 300 against 700 marks both. A very low one is as odd as a very high one.
    assert [reason.where for reason in gaps({"a": "30", "c": "70"})] == ["a-1/ply", "c-1/ply"]
    assert [reason.where for reason in gaps({"a": "3", "b": "33", "c": "35"})] == ["a-1/ply"]


def test_one_quote_only_and_about_to_lapse() -> None:
    found = gaps({"a": "30"}, valid=date(2027, 1, 21))
    assert [reason.code for reason in found] == ["about to lapse", "one quote only"]
    assert "runs out in 3 days, on 21 Jan 2027" in found[0].text


def test_what_is_on_an_order_needs_no_call() -> None:
    assert gaps({"a": "30"}, valid=DAY, ordered=frozenset({"ply"})) == []


def test_a_quote_that_no_longer_covers_the_quantity() -> None:
    # 10 sheets are needed; asked for 8 when the quotes came. The chosen one is a warning, the other a note.
    found = gaps({"a": "30", "b": "33"}, of=8)
    assert [(r.code, r.where, r.severity) for r in found] == [
        ("quantity outgrown", "a-1/ply", "warning"), ("quantity outgrown", "b-1/ply", "note")
    ]  # fmt: skip
    assert "quoted Plywood for 8 sheets; 10 sheets are needed now" in found[0].text
    assert gaps({"a": "30", "b": "33"}, of=10) == []
    assert gaps({"a": "30", "b": "33"}, of=8, ordered=frozenset({"ply"})) == []


def test_a_quantity_that_fell() -> None:
    # Asked for 12, needed 10: under nine tenths. Asked for 11: near enough.
    found = gaps({"a": "30", "b": "33"}, of=12)
    assert [(r.code, r.severity) for r in found] == [("quantity fell", "warning"), ("quantity fell", "note")]
    assert "quoted Plywood for 12 sheets; only 10 sheets are needed now" in found[0].text
    assert gaps({"a": "30", "b": "33"}, of=11) == []


def test_samples_waited_for_too_long() -> None:
    # On 18 Jan: asked on the 8th makes ten days, on the 9th nine.
    samples = [SampleOut("Vinyl", "B", date(2027, 1, 9)), SampleOut("Tape", "A", date(2027, 1, 8)),
               SampleOut("Foam", "C", date(2027, 1, 2))]  # fmt: skip
    assert [reason.text for reason in sample_gaps(samples, DAY)] == [
        "16 days without the sample of Foam from C", "10 days without the sample of Tape from A"
    ]  # fmt: skip
