"""Reports on products: fire, emissions, data sheet. Each is attached, named in the plan without paper, or missing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Literal, NamedTuple

from buildout.builds.web.models import Build
from estimating.engine.types import Product
from estimating.web.asking_models import Paper


class Report(NamedTuple):
    """What is there of one kind of report on one product."""

    product: Product
    about: str
    title: str
    named: str
    """What the plan says of it: a number, a class."""
    paper: Paper | None

    @property
    def state(self) -> Literal["attached", "named, paper missing", "missing"]:
        if self.paper is not None:
            return "attached"
        return "named, paper missing" if self.named else "missing"

    @property
    def day(self) -> date | None:
        """Day that stands on it, else the day it was taken in."""
        if self.paper is None:
            return None
        return self.paper.dated or self.paper.added.date()


def reports_on(build: Build, products: Sequence[Product]) -> dict[str, list[Report]]:
    """Every kind of report on each product, by product id; of several papers the one taken in last."""
    newest: dict[tuple[str, str], Paper] = {}
    for paper in Paper.objects.filter(build=build).exclude(product="").defer("data").order_by("added", "pk"):
        newest[paper.product, paper.about] = paper
    return {
        product.id: [
            Report(product, about, str(title), _named(product, about), newest.get((product.id, about)))
            for about, title in Paper.About.choices
        ]
        for product in products
    }


def on_what_burns(names: Sequence[str], reports: Mapping[str, Sequence[Report]]) -> list[Report]:
    """Fire and emission documents of goods people lie on, product by product."""
    counts = (Paper.About.FIRE, Paper.About.EMISSION)
    return [report for name in names for report in reports.get(name, ()) if report.about in counts]


def _named(product: Product, about: str) -> str:
    if about == Paper.About.FIRE:
        return product.fire_document
    return product.emission_document if about == Paper.About.EMISSION else ""
