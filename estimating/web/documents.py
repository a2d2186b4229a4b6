"""Purchase orders as suppliers get them."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from buildout.builds.web.services import Sheet
from buildout.units.money import format_money
from estimating.engine.types import Quote, Supplier
from estimating.web.models import Order

REQUESTS = (
    "Please acknowledge this order in writing with the day the goods will be at the door.",
    "Changes are made in writing only, as numbered change orders agreed by both sides.",
    "All goods of one kind from one batch or dye lot.",
    "Please send the fire documents and data sheets named in the quotation with the goods.",
)


def order_facts(sheet: Sheet, order: Order) -> dict[str, Any]:
    """Everything the document says, taken from the order as it was frozen."""
    suppliers = {supplier.id: supplier for supplier in sheet.section("suppliers", list[Supplier])}
    quote = next((q for q in sheet.section("quotes", list[Quote]) if q.id == order.quote), None)
    lines = [
        line | {key: Decimal(line.get(key, "0")) for key in ("quantity", "unit_price", "extras", "goods")}
        for line in order.lines
    ]
    goods = sum((line["goods"] for line in lines), Decimal(0))
    return {
        "order": order,
        "lines": lines,
        "goods": goods,
        "total": goods + order.freight + order.tax,
        "supplier": suppliers.get(order.supplier),
        "quote": quote,
        "place": sheet.document.get("place", ""),
        "requests": REQUESTS,
    }


def order_text(build_name: str, sheet: Sheet, order: Order, buyer: str) -> str:
    """The same as plain text, for mail or to be read out on the telephone."""
    facts = order_facts(sheet, order)

    def money(amount: Decimal) -> str:
        return format_money(amount, sheet.currency)

    supplier = facts["supplier"]
    text = [f"Purchase order {order.name}", f"{build_name}", f"Date: {order.placed:%d %b %Y}", ""]
    text += [f"To: {order.supplier_name}"]
    if supplier is not None and supplier.contact:
        text += [f"For the attention of {supplier.contact}"]
    if facts["quote"] is not None:
        text += [f"Your quotation of {facts['quote'].quoted:%d %b %Y} ({order.quote})"]
    text += [""]
    for number, line in enumerate(facts["lines"], 1):
        text += [
            f"{number}. {line['name']}",
            f"   {line['quantity']:f} {line['unit']} at {money(line['unit_price'])}"
            + (f", extras {money(line['extras'])}" if line["extras"] else "")
            + f": {money(line['goods'])}",
        ]
    text += ["", f"Goods: {money(facts['goods'])}", f"Freight: {money(order.freight)}", f"Tax: {money(order.tax)}"]
    text += [f"Total: {money(facts['total'])}", ""]
    if facts["place"]:
        text += [f"Deliver to: {facts['place']}"]
    if facts["quote"] is not None:
        text += [f"Delivery: {facts['quote'].freight.service}"]
    if supplier is not None and supplier.terms:
        text += [f"Terms: {supplier.terms}"]
    if order.note:
        text += ["", order.note]
    text += ["", *REQUESTS, "", buyer]
    return "\n".join(text) + "\n"
