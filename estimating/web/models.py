"""The order book: orders as they were sent, and the change orders that followed."""

from __future__ import annotations

from decimal import Decimal
from typing import ClassVar

from django.db import models
from django.utils import timezone

from buildout.builds.web.models import Build, Revision
from buildout.people.web.models import User


class OrderQuerySet(models.QuerySet["Order"]):
    def standing(self) -> OrderQuerySet:
        """Orders that bind somebody: placed, confirmed or received."""
        return self.exclude(state=Order.State.CANCELLED)


class Order(models.Model):
    """A purchase order. Its lines are frozen when it is placed; later changes are change orders."""

    class State(models.TextChoices):
        PLACED = "placed", "Placed"
        CONFIRMED = "confirmed", "Confirmed"
        RECEIVED = "received", "Received"
        CANCELLED = "cancelled", "Cancelled"

    build = models.ForeignKey(Build, on_delete=models.CASCADE, related_name="orders")
    number = models.PositiveIntegerField()
    supplier = models.CharField(max_length=60)
    supplier_name = models.CharField(max_length=120)
    quote = models.CharField(max_length=60)
    state = models.CharField(max_length=10, choices=State.choices, default=State.PLACED)
    placed = models.DateField()
    promised = models.DateField(null=True, blank=True)
    received = models.DateField(null=True, blank=True)
    window = models.CharField(max_length=120, blank=True)
    """When on the day the goods are expected."""
    receiver = models.CharField(max_length=120, blank=True)
    """Who is there to take them in."""
    room = models.CharField(max_length=80, blank=True)
    """Short name of the room they are put in."""
    put = models.CharField(max_length=200, blank=True)
    """Where in it."""
    space = models.JSONField(default=dict, blank=True)
    """{length, width, height} of that place as typed; empty: not measured."""
    lines = models.JSONField()
    """[{item, name, quantity, unit, unit_price, goods}], numbers as text."""
    freight = models.DecimalField(max_digits=14, decimal_places=3, default=0)
    tax = models.DecimalField(max_digits=14, decimal_places=3, default=0)
    """In all, as it was placed."""
    tax_percent = models.DecimalField(max_digits=9, decimal_places=4, null=True, blank=True)
    """The rate it was placed at; its quote may say another since. None: placed before the rate was kept."""
    deposit_percent = models.DecimalField(max_digits=9, decimal_places=4, null=True, blank=True)
    """Of the whole, to be paid with the order. None: placed before its terms were kept; its quote says."""
    balance_days = models.PositiveIntegerField(default=0)
    """Days from the goods' arrival to the rest of the money."""
    terms = models.TextField(blank=True)
    """The supplier's terms as they were then."""
    service = models.CharField(max_length=60, blank=True)
    """How the goods are brought."""
    note = models.TextField(blank=True)
    revision = models.ForeignKey(Revision, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    """The revision it was drawn from."""

    objects = OrderQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["build_id", "number"]
        constraints: ClassVar = [models.UniqueConstraint(fields=["build", "number"], name="one_order_per_number")]

    @property
    def name(self) -> str:
        return f"PO-{self.number}"

    @property
    def rate(self) -> Decimal:
        """Tax in percent: as it was placed, else what its tax comes to of goods and freight."""
        if self.tax_percent is not None:
            return self.tax_percent
        taxed = sum((Decimal(line["goods"]) for line in self.lines), self.freight)
        return round(self.tax / taxed * 100, 3) if taxed else Decimal(0)

    def __str__(self) -> str:
        return f"{self.name} to {self.supplier_name}"


class ChangeOrder(models.Model):
    """A numbered change to a placed order, agreed with the supplier before it counts."""

    class State(models.TextChoices):
        OPEN = "open", "To be agreed"
        AGREED = "agreed", "Agreed"
        REFUSED = "refused", "Refused by the supplier"
        WITHDRAWN = "withdrawn", "Overtaken by a later plan"

    order = models.ForeignKey(Order, on_delete=models.CASCADE, related_name="changes")
    number = models.PositiveIntegerField()
    reason = models.CharField(max_length=300)
    lines = models.JSONField()
    """[{item, name, unit, before, after, money, text}], numbers as text."""
    money = models.DecimalField(max_digits=14, decimal_places=3, default=0)
    state = models.CharField(max_length=10, choices=State.choices, default=State.OPEN)
    created = models.DateTimeField(default=timezone.now)
    decided = models.DateTimeField(null=True, blank=True)
    revision = models.ForeignKey(Revision, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")

    class Meta:
        ordering: ClassVar = ["order_id", "number"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["order", "number"], name="one_change_order_per_number")
        ]

    def __str__(self) -> str:
        return f"{self.order.name} change {self.number}"


class SentDocument(models.Model):
    """What a supplier got on paper: an order as placed, or one change to it. Written once, given out again as it is."""

    order = models.ForeignKey(Order, on_delete=models.CASCADE, related_name="documents")
    change = models.OneToOneField(ChangeOrder, null=True, blank=True, on_delete=models.CASCADE, related_name="document")
    """None: the order itself."""
    title = models.CharField(max_length=120)
    body = models.TextField()
    """What stands on the sheet, as HTML."""
    text = models.TextField()
    """The same for a mail."""
    pdf = models.BinaryField(null=True, blank=True)
    """Made when it is first taken out; the same bytes from then on. None where no PDF could be made yet."""
    made = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering: ClassVar = ["order_id", "pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["order"], condition=models.Q(change=None), name="one_document_per_order")
        ]

    def __str__(self) -> str:
        return self.title


class Approval(models.Model):
    """What the partner is asked before an order above the agreed limit goes out, and the answer."""

    class State(models.TextChoices):
        OPEN = "open", "Waits for an answer"
        APPROVED = "approved", "Approved"
        REFUSED = "refused", "Refused"
        WITHDRAWN = "withdrawn", "Asked anew"

    build = models.ForeignKey(Build, on_delete=models.CASCADE, related_name="approvals")
    number = models.PositiveIntegerField()
    quote = models.CharField(max_length=60)
    supplier_name = models.CharField(max_length=120)
    lines = models.JSONField()
    """[{item, name, quantity, unit, goods}], numbers as text."""
    total = models.DecimalField(max_digits=14, decimal_places=3)
    """With freight and tax."""
    why = models.CharField(max_length=500, blank=True)
    """Said by whoever asks."""
    state = models.CharField(max_length=10, choices=State.choices, default=State.OPEN)
    asked_by = models.ForeignKey(User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    asked = models.DateTimeField(default=timezone.now)
    decided_by = models.ForeignKey(User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    decided = models.DateTimeField(null=True, blank=True)
    answer = models.CharField(max_length=500, blank=True)
    order = models.ForeignKey(Order, null=True, blank=True, on_delete=models.SET_NULL, related_name="approvals")
    """The order it was used for; it covers no other."""

    class Meta:
        ordering: ClassVar = ["build_id", "number"]
        constraints: ClassVar = [models.UniqueConstraint(fields=["build", "number"], name="one_approval_per_number")]

    def __str__(self) -> str:
        return f"approval {self.number} of {self.build}"


class Delivery(models.Model):
    """One arrival of goods of an order, as counted and looked at. A wrong booking is taken back, never altered."""

    order = models.ForeignKey(Order, on_delete=models.CASCADE, related_name="deliveries")
    number = models.PositiveIntegerField()
    came = models.DateField()
    taken_by = models.CharField(max_length=120, blank=True)
    put = models.CharField(max_length=200, blank=True)
    """Where it was put."""
    slip = models.CharField(max_length=300, blank=True)
    """What was noted on the delivery slip before signing."""
    lines = models.JSONField()
    """[{item, name, unit, accepted, damaged, lots, width, thickness, note}], numbers and lengths as text."""
    booked = models.DateTimeField(default=timezone.now)
    taken_back = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering: ClassVar = ["order_id", "number"]
        constraints: ClassVar = [models.UniqueConstraint(fields=["order", "number"], name="one_delivery_per_number")]

    @property
    def name(self) -> str:
        return f"Delivery {self.number}"

    def __str__(self) -> str:
        return f"{self.order.name} delivery {self.number}"


class ReadyMadeOffer(models.Model):
    """Something offered ready-made, to be set beside making it. It enters no award and no budget by itself."""

    build = models.ForeignKey(Build, on_delete=models.CASCADE, related_name="ready_made_offers")
    number = models.PositiveIntegerField()
    name = models.CharField(max_length=120)
    supplier_name = models.CharField(max_length=120, blank=True)
    terms = models.JSONField()
    """The offer as the engine reads it, numbers as text."""
    tasks = models.JSONField(default=list, blank=True)
    """Codes of the tasks it saves."""
    note = models.CharField(max_length=500, blank=True)
    by = models.ForeignKey(User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    made = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering: ClassVar = ["build_id", "number"]
        constraints: ClassVar = [models.UniqueConstraint(fields=["build", "number"], name="one_ready_made_per_number")]

    def __str__(self) -> str:
        return self.name


class DeliveryPhoto(models.Model):
    """A photo of goods as they came, made small, with nothing in it about where and by what it was taken."""

    delivery = models.ForeignKey(Delivery, on_delete=models.CASCADE, related_name="photos")
    number = models.PositiveIntegerField()
    jpeg = models.BinaryField()
    shows = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering: ClassVar = ["delivery_id", "number"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["delivery", "number"], name="one_delivery_photo_per_number")
        ]

    def __str__(self) -> str:
        return f"photo {self.number} of {self.delivery}"


class Claim(models.Model):
    """What is asked of a supplier or carrier for goods that came short, damaged or wrong."""

    class State(models.TextChoices):
        OPEN = "open", "Waits for an answer"
        SETTLED = "settled", "Settled"
        DROPPED = "dropped", "Dropped"

    delivery = models.ForeignKey(Delivery, on_delete=models.CASCADE, related_name="claims")
    number = models.PositiveIntegerField()
    text = models.CharField(max_length=500)
    asked = models.DecimalField(max_digits=14, decimal_places=3, null=True, blank=True)
    """Money asked for; None: goods, not money."""
    state = models.CharField(max_length=10, choices=State.choices, default=State.OPEN)
    made = models.DateTimeField(default=timezone.now)
    answered = models.DateTimeField(null=True, blank=True)
    answer = models.CharField(max_length=500, blank=True)

    class Meta:
        ordering: ClassVar = ["delivery_id", "number"]
        constraints: ClassVar = [models.UniqueConstraint(fields=["delivery", "number"], name="one_claim_per_number")]

    def __str__(self) -> str:
        return f"claim {self.number} of {self.delivery}"


class LedgerEntry(models.Model):
    """An invoice, credit note, payment or draw from contingency. Never edited: a wrong one is reversed by another.

    Amounts of a credit note are below nought, as is a payment that came back.
    """

    class Kind(models.TextChoices):
        INVOICE = "invoice", "Invoice"
        CREDIT = "credit", "Credit note"
        PAYMENT = "payment", "Payment"
        DRAW = "draw", "Drawn from contingency"

    build = models.ForeignKey(Build, on_delete=models.CASCADE, related_name="ledger")
    number = models.PositiveIntegerField()
    kind = models.CharField(max_length=10, choices=Kind.choices)
    day = models.DateField()
    due = models.DateField(null=True, blank=True)
    order = models.ForeignKey(Order, null=True, blank=True, on_delete=models.RESTRICT, related_name="ledger")
    settles = models.ForeignKey("self", null=True, blank=True, on_delete=models.RESTRICT, related_name="payments")
    """The invoice a payment or a credit note is for; the credit note that money came back for."""
    reverses = models.OneToOneField("self", null=True, blank=True, on_delete=models.RESTRICT, related_name="reversal")
    claim = models.ForeignKey(Claim, null=True, blank=True, on_delete=models.RESTRICT, related_name="credits")
    """What a credit note answers."""
    head = models.PositiveIntegerField(null=True, blank=True)
    who = models.CharField(max_length=120, blank=True)
    reference = models.CharField(max_length=80, blank=True)
    """Number on the paper."""
    lines = models.JSONField(default=list, blank=True)
    """[{item, name, quantity, goods}], numbers as text."""
    goods = models.DecimalField(max_digits=14, decimal_places=3, default=0)
    freight = models.DecimalField(max_digits=14, decimal_places=3, default=0)
    tax = models.DecimalField(max_digits=14, decimal_places=3, default=0)
    amount = models.DecimalField(max_digits=14, decimal_places=3)
    note = models.CharField(max_length=300, blank=True)
    by = models.ForeignKey(User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    entered = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering: ClassVar = ["build_id", "number"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["build", "number"], name="one_ledger_entry_per_number")
        ]

    @property
    def counts(self) -> bool:
        """Neither a reversal nor reversed."""
        return self.reverses_id is None and not hasattr(self, "reversal")

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {self.number}"


from estimating.web import asking_models as asking_models  # noqa: E402 - Django finds tables from here


class CutMade(models.Model):
    """A sheet, length or run of roll that was cut on site as a revision drew it. A wrong tick is taken back."""

    build = models.ForeignKey(Build, on_delete=models.CASCADE, related_name="cuts_made")
    number = models.PositiveIntegerField()
    product = models.CharField(max_length=60)
    """Whose cut plan it was drawn in."""
    goods_name = models.CharField(max_length=200)
    form = models.CharField(max_length=10)
    stock_number = models.PositiveIntegerField()
    """Its number in the cut plan of ``revision``."""
    revision = models.ForeignKey(Revision, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    length = models.DecimalField(max_digits=14, decimal_places=3)
    width = models.DecimalField(max_digits=14, decimal_places=3)
    pieces = models.JSONField()
    """[{piece, x, y, length, width, turned, number}], mm."""
    remnant = models.CharField(max_length=80, blank=True)
    rest_of = models.CharField(max_length=20, blank=True)
    """Name of the earlier cut whose left-over it was cut from; ``at_x``, ``at_y``: where in it that lies, mm."""
    at_x = models.DecimalField(max_digits=14, decimal_places=3, default=0)
    at_y = models.DecimalField(max_digits=14, decimal_places=3, default=0)
    sold_as = models.CharField(max_length=60, blank=True)
    """Which size of the goods it is, where they are sold in several; empty: the product's own."""
    by = models.ForeignKey(User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    ticked = models.DateTimeField(default=timezone.now)
    taken_back = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering: ClassVar = ["build_id", "number"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["build", "number"], name="one_cut_per_number"),
            models.UniqueConstraint(
                fields=["build", "revision", "product", "stock_number"], name="cut_once",
                condition=models.Q(taken_back=None),
            ),
        ]  # fmt: skip

    @property
    def name(self) -> str:
        return f"cut-{self.number}"

    def __str__(self) -> str:
        return f"{self.goods_name}, {self.form} {self.stock_number}"
