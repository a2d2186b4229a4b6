"""Cuts as they were made: ticked on site, taken back while nothing counts on them, handed to the chain as facts."""

from __future__ import annotations

from collections.abc import Sequence

from django.db import IntegrityError, transaction
from django.db.models import Max
from django.utils import timezone

from buildout.builds.web import services as builds
from buildout.builds.web.models import Build
from buildout.people.web.models import User
from buildout.units.value import from_plain, to_plain
from estimating.engine.types import CutPiece, CutPlan, CutStock, MadeCut, Product, Remnant
from estimating.web.models import CutMade


def enter_cuts(build: Build, cuts: Sequence[MadeCut], products: Sequence[Product], by: User | None) -> None:
    """Write cuts that a build file tells of; which revision drew them it does not say."""
    known = {product.id: product for product in products}
    names = {cut.id: f"cut-{number}" for number, cut in enumerate(cuts, 1)}
    for number, cut in enumerate(cuts, 1):
        product = known.get(cut.product)
        CutMade.objects.create(
            build=build, number=number, product=cut.product, goods_name=product.name if product else cut.product,
            form=product.form if product else "sheet", stock_number=number, length=round(cut.length, 3),
            width=round(cut.width, 3), pieces=[to_plain(piece) for piece in cut.pieces], remnant=cut.remnant,
            rest_of=names.get(cut.rest_of, ""), at_x=round(cut.at[0], 3), at_y=round(cut.at[1], 3),
            sold_as=cut.sold_as, by=by,
        )  # fmt: skip


class NotCuttableError(ValueError):
    """This stock cannot be ticked; the message says why."""


def ticked(build: Build) -> list[CutMade]:
    """Every cut that stands, oldest first."""
    return list(build.cuts_made.filter(taken_back=None))


def made_cuts(build: Build) -> list[MadeCut]:
    """Cuts that stand, as the chain takes them."""
    return [
        MadeCut(
            id=cut.name, product=cut.product, length=float(cut.length), width=float(cut.width), remnant=cut.remnant,
            pieces=from_plain(list[CutPiece], cut.pieces), rest_of=cut.rest_of,
            at=(float(cut.at_x), float(cut.at_y)), sold_as=cut.sold_as,
        )
        for cut in ticked(build)
    ]  # fmt: skip


def takeable(plan: CutPlan, one: CutStock, known: set[str]) -> bool:
    """New stock, booked remnants and what an earlier cut left over can be ticked; a remnant no longer there cannot."""
    return one.source == "new" or (one.source == "remnant" and (bool(one.rest_of) or one.taken in known))


def tick(build: Build, plan: CutPlan, one: CutStock, remnants: Sequence[Remnant], name: str, user: User) -> CutMade:
    """Write down that this stock was cut as drawn.

    Raises ``NotCuttableError`` for stock that was cut before, is ticked already, or comes from what is not in stock.
    """
    if one.source.endswith("already cut"):
        raise NotCuttableError(f"Number {one.number} was cut before; the plan counts on it.")
    if not takeable(plan, one, {remnant.id for remnant in remnants}):
        raise NotCuttableError(f"Number {one.number} is cut from {one.taken}, which is no longer in stock.")
    try:
        with transaction.atomic():
            last = build.cuts_made.aggregate(last=Max("number"))["last"] or 0
            made = CutMade.objects.create(
                build=build, number=last + 1, product=plan.product, goods_name=name[:200],
                form=plan.form, length=round(one.length, 3), width=round(one.width, 3),
                pieces=[to_plain(piece) for piece in one.pieces], stock_number=one.number, revision=build.current,
                remnant=one.taken if one.source == "remnant" and not one.rest_of else "", rest_of=one.rest_of,
                at_x=round(one.at[0], 3), at_y=round(one.at[1], 3), sold_as=one.product, by=user,
            )  # fmt: skip
            builds.note(build, "cut", f"{made}: cut, {len(one.pieces)} pieces", by=user, revision=build.current)
    except IntegrityError:
        raise NotCuttableError(f"Number {one.number} is ticked already.") from None
    return made


@transaction.atomic
def untick(build: Build, product: str, stock_number: int, user: User) -> bool:
    """Take a tick of the current revision back; False when there is none."""
    standing = build.cuts_made.filter(taken_back=None, product=product, stock_number=stock_number)
    cut = standing.filter(revision=build.current).first()
    if cut is None:
        return False
    cut.taken_back = timezone.now()
    cut.save(update_fields=["taken_back"])
    builds.note(build, "cut", f"{cut}: not cut after all", by=user, revision=build.current)
    return True
