"""What a request for quotation says of each kind of goods, and that the text leaves nothing out.

What is asked of which goods is common practice, no published source.
"""

from __future__ import annotations

import json
from datetime import date
from decimal import Decimal

import pytest

from buildout.changes.engine.reading import check_plan
from estimating.engine.rfq import MATERIAL_FACTS, Rfq, Site, asked_line, general_terms, material_of, rfq_text
from estimating.engine.types import Product, TakeOffLine
from tests.conftest import DEMO

REPLY = date(2027, 2, 5)
PLAN = check_plan(json.loads(DEMO.read_text())["plan"])
PRODUCTS = {product.id: product for product in PLAN.products}


@pytest.mark.parametrize(
    ("product", "material"),
    [
        ("base-51mm", "base foam"), ("top-54in", "top foam"), ("joint-tape", "tape"), ("cover", "cover"),
        ("timber-2x4", "timber"), ("ply-half", "timber"), ("panel-foam", "panel foam"), ("vinyl", "upholstery"),
        ("cleat", "fixings"), ("anchors", "fixings"), ("adhesive", "fixings"), ("hook-tape", "fixings"),
        ("mirror", "fit-out"), ("first-aid-kit", "other"), ("sprung-deck", "timber"),
    ],
)  # fmt: skip
def test_which_goods_an_item_is(product: str, material: str) -> None:
    assert material_of(PRODUCTS[product], PLAN.floor_systems, PLAN.wall_systems) == material


def foam_line(*, sample: bool = True) -> tuple[Product, TakeOffLine]:
    product = PRODUCTS["base-51mm"]
    q = Decimal(84)
    return product, TakeOffLine(
        item=product.id, name=product.name, head=8, unit="sheet", net=q, allowance=Decimal(0), waste=Decimal(0),
        quantity=q, trace=[], mass=Decimal("11.5"),
    )  # fmt: skip


def test_a_request_names_all_that_a_quote_needs() -> None:
    product, line = foam_line()
    asked = asked_line(line, product, "base foam", "feet-inches", date(2027, 3, 20), "grey", sample=True)
    site = Site(place="14 Galley Lane", door="roller door 10 ft", unloading="lift-gate", contact="Orla, 555 0100")
    terms = general_terms(site, "XXX", REPLY)
    rfq = Rfq(
        name="RFQ-3", build="Old Type", day=date(2027, 1, 18), reply_by=REPLY, to="Cloudberry",
        attention="Wilf Tansley",
        lines=[asked], terms=terms, drawings=["Main hall, cover diagram, revision 4"], buyer="Orla Fennimarsh",
    )  # fmt: skip
    text = rfq_text(rfq)
    for needed in (
        "RFQ-3", "5 Feb 2027", "84 sheets", 'Length × width × thickness: 108" × 48" × 2"', "grey",
        "Tolerance", "data sheet; fire document\n", "20 Mar 2027",
        "Sample: please send one", "14 Galley Lane", "roller door 10 ft", "lorry with a lift-gate", "Orla, 555 0100",
        "in XXX, delivered, freight and tax shown apart", "7 Mar 2027 or later", "Payment", "working days",
        "never sent without asking", "Returns", "Packing", "dye lot", "in transit", "revision 4", "Wilf Tansley",
    ):  # fmt: skip
        assert needed in text, needed
    for stated in MATERIAL_FACTS["base foam"]:
        assert stated in text


def test_the_quote_is_to_hold_thirty_days_from_the_reply() -> None:
    assert ("Valid until", "7 Mar 2027 or later") in general_terms(Site(), "XXX", REPLY)  # 5 Feb + 30 days


def test_what_is_not_known_is_not_said() -> None:
    bare = Product(id="x", name="X", form="each", unit="each", head=8)
    q = Decimal(2)
    line = TakeOffLine(
        item="x", name="X", head=8, unit="each", net=q, allowance=Decimal(0), waste=Decimal(0), quantity=q, trace=[]
    )
    names = [name for name, _ in asked_line(line, bare, "other", "metric", None, "", sample=False).facts]
    assert names == ["Quantity", "Colour and grade", "Tolerance", "Documents"]
    assert "Way in" not in dict(general_terms(Site(), "XXX", REPLY))


def test_figures_are_told_in_the_units_of_the_build_first() -> None:
    """30.4 / 16.0185 = 1.90; 45 / 6.8948 = 6.53; 1.63 × 0.09290304 / 0.45359237 = 0.334."""
    foam, line = foam_line()
    said = dict(asked_line(line, foam, "base foam", "feet-inches", None, "", sample=False).facts)
    assert said["Density"] == "about 1.9 lb/cu ft (30.4 kg/m³)"
    assert said["Stress at 25 % compression"] == "6.5 psi (45 kPa)"
    metric = dict(asked_line(line, foam, "base foam", "metric", None, "", sample=False).facts)
    assert metric["Density"] == "about 30.4 kg/m³ (1.9 lb/cu ft)"
    area = Decimal(2738)
    cover = TakeOffLine(
        item="cover", name="Cover", head=9, unit="square foot", net=area, allowance=Decimal(0), waste=Decimal(0),
        quantity=area, trace=[], cutouts=2,
    )  # fmt: skip
    said = dict(asked_line(cover, PRODUCTS["cover"], "cover", "feet-inches", None, "", sample=False).facts)
    assert said["Mass"] == "0.33 lb/sq ft (1.63 kg/m²)"
    assert said["Quantity"] == "2,738 sq ft in all, made to the drawing", "nobody packs it or makes a part of it"
    steel = Product(id="x", name="X", form="each", unit="each", head=8, density=Decimal(7850))
    said = dict(asked_line(line, steel, "other", "feet-inches", None, "", sample=False).facts)
    assert said["Density"] == "about 490 lb/cu ft (7850 kg/m³)"  # 7850 / 16.0185 = 490.06
