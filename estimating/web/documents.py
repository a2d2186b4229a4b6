"""What suppliers get on paper: purchase orders and changes to them, frozen when they are sent.

An order's document is written when it is placed. One that came with a build file, and a change, are written when
they are first taken out; from then on everybody gets the same sheet, and of a PDF the same bytes.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django.template.loader import render_to_string

from buildout.builds.web.documents import pdf
from buildout.builds.web.services import Sheet
from buildout.units.dates import date_text
from buildout.units.money import ROUNDING_NAME, format_money, round_money
from buildout.units.words import counted
from estimating.engine.types import Quote, Supplier
from estimating.web.models import ChangeOrder, Order, SentDocument
from estimating.web.services import OrderTerms, terms_of

REQUESTS = (
    "Please acknowledge this order in writing with the day the goods will be at the door.",
    "Changes are made in writing only, as numbered change orders agreed by both sides.",
    "All goods of one kind from one batch or dye lot.",
    "Please send the fire documents and data sheets named in the quotation with the goods.",
)


def keep_order(sheet: Sheet, order: Order, buyer: str) -> SentDocument:
    """Write the order's document; there must be none yet."""
    facts = order_facts(sheet, order) | {"build": order.build, "sheet": sheet, "day": order.placed}
    return SentDocument.objects.create(
        order=order,
        title=order.name,
        body=render_to_string("estimating/order_sent.html", facts),
        text=_order_text(sheet, order, buyer),
    )


def order_document(sheet: Sheet, order: Order, buyer: str) -> SentDocument:
    """The order as it was sent."""
    return SentDocument.objects.filter(order=order, change=None).first() or keep_order(sheet, order, buyer)


def change_document(sheet: Sheet, order: Order, change: ChangeOrder, buyer: str) -> SentDocument:
    """A change as the supplier got it to read and sign."""
    found = SentDocument.objects.filter(change=change).first()
    if found is not None:
        return found
    facts = _change_facts(sheet, order, change)
    return SentDocument.objects.create(
        order=order,
        change=change,
        title=f"{order.name}-change-{change.number}",
        body=render_to_string("estimating/change_sent.html", facts | {"build": order.build, "sheet": sheet}),
        text=_change_text(sheet, order, change, facts, buyer),
    )


def pdf_of(sent: SentDocument) -> bytes | None:
    """The sheet as PDF, made once; None where PDF files cannot be made."""
    if sent.pdf is None:
        made = pdf("estimating/sent_paper.html", {"sent": sent, "build": sent.order.build})
        if made is None:
            return None
        # Of two people who ask at the same moment the first one's bytes are kept for both.
        SentDocument.objects.filter(pk=sent.pk, pdf=None).update(pdf=made)
        sent.refresh_from_db(fields=["pdf"])
    return bytes(sent.pdf or b"")


def order_facts(sheet: Sheet, order: Order) -> dict[str, Any]:
    """Everything the document says, taken from the order as it was frozen."""
    lines = [
        line | {key: Decimal(line.get(key, "0")) for key in ("quantity", "unit_price", "extras", "goods")}
        for line in order.lines
    ]
    goods = sum((line["goods"] for line in lines), Decimal(0))
    total = goods + order.freight + order.tax
    parties = _parties(sheet, order)
    return parties | {
        "lines": lines,
        "goods": goods,
        "taxed": f"Tax, {order.rate.normalize():f} % {ROUNDING_NAME}",
        "total": total,
        "payment": payment_words(parties["agreed"], total, sheet.currency),
        "requests": REQUESTS,
    }


def payment_words(agreed: OrderTerms, total: Decimal, currency: str) -> str:
    """When which part of an order is paid.

    >>> payment_words(OrderTerms(Decimal(40), 30), Decimal("1000.00"), "XXX")
    '40 % (¤400.00) with this order, the rest (¤600.00) 30 days after the goods are here'
    >>> payment_words(OrderTerms(Decimal(100)), Decimal("1000.00"), "XXX")
    'all of it (¤1,000.00) with this order'
    >>> payment_words(OrderTerms(), Decimal("1000.00"), "XXX")
    'all of it (¤1,000.00) when the goods are here'
    """
    deposit = round_money(total * agreed.deposit_percent / 100, currency)
    when = f"{counted(Decimal(agreed.balance_days), 'day')} after the goods are here" if agreed.balance_days else ""
    when = when or "when the goods are here"
    if not deposit or deposit == total:
        return f"all of it ({format_money(total, currency)}) {'with this order' if deposit else when}"
    percent = f"{agreed.deposit_percent.normalize():f} %"
    rest = format_money(total - deposit, currency)
    return f"{percent} ({format_money(deposit, currency)}) with this order, the rest ({rest}) {when}"


def _parties(sheet: Sheet, order: Order) -> dict[str, Any]:
    suppliers = {supplier.id: supplier for supplier in sheet.section("suppliers", list[Supplier])}
    quote = next((q for q in sheet.section("quotes", list[Quote]) if q.id == order.quote), None)
    supplier = suppliers.get(order.supplier)
    return {
        "order": order,
        "supplier": supplier,
        "quote": quote,
        "agreed": terms_of(order, quote, supplier),
        "place": sheet.document.get("place", ""),
    }


def _change_facts(sheet: Sheet, order: Order, change: ChangeOrder) -> dict[str, Any]:
    earlier = [
        other for other in order.changes.all()
        if other.state == ChangeOrder.State.AGREED and other.number < change.number
    ]  # fmt: skip
    before = sum((Decimal(line["goods"]) for line in order.lines), Decimal(0))
    before += sum((other.money for other in earlier), Decimal(0))
    return _parties(sheet, order) | {
        "change": change,
        "day": sheet.local(change.created).date(),
        "goods_before": before,
        "goods_after": before + change.money,
    }


def _order_text(sheet: Sheet, order: Order, buyer: str) -> str:
    """The same as plain text, for mail or to be read out on the telephone."""
    facts = order_facts(sheet, order)

    def money(amount: Decimal) -> str:
        return format_money(amount, sheet.currency)

    text = [f"Purchase order {order.name}", order.build.name, f"Date: {date_text(order.placed)}", ""]
    text += [*_addressed(order, facts), ""]
    for number, line in enumerate(facts["lines"], 1):
        text += [
            f"{number}. {line['name']}",
            f"   {line['quantity']:f} {line['unit']} at {money(line['unit_price'])}"
            + (f", extras {money(line['extras'])}" if line["extras"] else "")
            + f": {money(line['goods'])}",
        ]
    text += [
        "",
        f"Goods: {money(facts['goods'])}",
        f"Freight: {money(order.freight)}",
        f"{facts['taxed']}: {money(order.tax)}",
    ]
    text += [f"Total: {money(facts['total'])}", ""]
    if facts["place"]:
        text += [f"Deliver to: {facts['place']}"]
    agreed: OrderTerms = facts["agreed"]
    if agreed.service:
        text += [f"Delivery: {agreed.service}"]
    text += [f"Payment: {facts['payment']}"]
    if agreed.terms:
        text += [f"Terms: {agreed.terms}"]
    if order.note:
        text += ["", order.note]
    text += ["", *REQUESTS, "", buyer]
    return "\n".join(text) + "\n"


def _addressed(order: Order, facts: dict[str, Any]) -> list[str]:
    text = [f"To: {order.supplier_name}"]
    if facts["supplier"] is not None and facts["supplier"].contact:
        text += [f"For the attention of {facts['supplier'].contact}"]
    if facts["quote"] is not None:
        text += [f"Your quotation of {date_text(facts['quote'].quoted)} ({order.quote})"]
    return text


def _change_text(sheet: Sheet, order: Order, change: ChangeOrder, facts: dict[str, Any], buyer: str) -> str:
    def money(amount: Decimal) -> str:
        return format_money(amount, sheet.currency)

    text = [
        f"Change {change.number} to purchase order {order.name}",
        order.build.name,
        f"Date: {date_text(facts['day'])}",
    ]
    text += ["", *_addressed(order, facts), "", f"{change.reason}.", ""]
    for number, line in enumerate(change.lines, 1):
        before, after = (counted(Decimal(line[key]), line["unit"]) for key in ("before", "after"))
        text += [
            f"{number}. {line['name']}",
            f"   so far {before}, from now on {after}: {money(Decimal(line['money']))}",
        ]
    text += ["", f"This change, before tax: {money(change.money)}"]
    text += [f"Goods of the order before it: {money(facts['goods_before'])}"]
    text += [f"Goods of the order after it: {money(facts['goods_after'])}", ""]
    if order.promised:
        text += [f"Day promised so far: {date_text(order.promised)}"]
    text += ["Please tell us whether this moves the delivery.", ""]
    text += ["Until both sides have agreed to it in writing the order stands as it was.", "", buyer]
    return "\n".join(text) + "\n"
