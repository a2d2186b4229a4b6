"""Asking suppliers: calls, requests for quotation as sent, samples, and the papers that come back."""

from __future__ import annotations

from typing import ClassVar

from django.db import models
from django.utils import timezone

from buildout.builds.web.models import Build, Revision
from buildout.people.web.models import User
from buildout.units.dates import date_text


class Call(models.Model):
    """What was said to or by a supplier, and what is to happen next. Kept as it was written down."""

    build = models.ForeignKey(Build, on_delete=models.CASCADE, related_name="calls")
    supplier = models.CharField(max_length=60)
    supplier_name = models.CharField(max_length=120)
    at = models.DateTimeField(default=timezone.now)
    by = models.ForeignKey(User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    spoke_with = models.CharField(max_length=120, blank=True)
    said = models.TextField(max_length=2000)
    next_step = models.CharField(max_length=200, blank=True)
    due = models.DateField(null=True, blank=True)
    done = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering: ClassVar = ["-at", "-pk"]

    def __str__(self) -> str:
        return f"{self.supplier_name}, {date_text(self.at)}"


class Request(models.Model):
    """A request for quotation: the same text to several suppliers."""

    build = models.ForeignKey(Build, on_delete=models.CASCADE, related_name="requests")
    number = models.PositiveIntegerField()
    asked = models.DateTimeField(default=timezone.now)
    by = models.ForeignKey(User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    reply_by = models.DateField()
    items = models.JSONField()
    """[{item, name, quantity, unit}], numbers as text."""
    site = models.JSONField(default=dict)
    """What was said of the place, unloading and payment; the next request starts from it."""
    revision = models.ForeignKey(Revision, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    """The revision its quantities and drawings were taken from."""

    class Meta:
        ordering: ClassVar = ["build_id", "number"]
        constraints: ClassVar = [models.UniqueConstraint(fields=["build", "number"], name="one_request_per_number")]

    @property
    def name(self) -> str:
        return f"RFQ-{self.number}"

    def __str__(self) -> str:
        return self.name


class RequestLetter(models.Model):
    """The document one supplier got, byte for byte, and what became of it."""

    class Answer(models.TextChoices):
        OPEN = "open", "Not answered"
        QUOTED = "quoted", "Answered"
        DECLINED = "declined", "Will not quote"

    request = models.ForeignKey(Request, on_delete=models.CASCADE, related_name="letters")
    supplier = models.CharField(max_length=60)
    supplier_name = models.CharField(max_length=120)
    body = models.TextField()
    """The page."""
    text = models.TextField()
    """The same for a mail."""
    pdf = models.BinaryField(null=True, blank=True)
    """The same for paper; none where no PDF could be made."""
    answer = models.CharField(max_length=10, choices=Answer.choices, default=Answer.OPEN)
    answered = models.DateField(null=True, blank=True)
    quote = models.CharField(max_length=60, blank=True)

    class Meta:
        ordering: ClassVar = ["request_id", "supplier_name"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["request", "supplier"], name="one_letter_per_supplier")
        ]

    @property
    def title(self) -> str:
        return f"{self.request.name}, {self.supplier_name}"

    def __str__(self) -> str:
        return f"{self.request.name} to {self.supplier_name}"


class Sample(models.Model):
    """A piece asked for, to be judged and kept to check deliveries against."""

    build = models.ForeignKey(Build, on_delete=models.CASCADE, related_name="samples")
    supplier = models.CharField(max_length=60)
    supplier_name = models.CharField(max_length=120)
    item = models.CharField(max_length=60, blank=True)
    name = models.CharField(max_length=120)
    asked = models.DateField()
    received = models.DateField(null=True, blank=True)
    found = models.CharField(max_length=300, blank=True)
    """What it was like, and where it is kept."""

    class Meta:
        ordering: ClassVar = ["received", "asked", "pk"]

    def __str__(self) -> str:
        return f"{self.name} from {self.supplier_name}"


class Paper(models.Model):
    """What a supplier sent, as it came: a quote, a table of prices, or the report on one of their products."""

    class Kind(models.TextChoices):
        PDF = "pdf", "PDF"
        JPEG = "jpeg", "picture (JPEG)"
        PNG = "png", "picture (PNG)"
        CSV = "csv", "table (CSV)"

    class About(models.TextChoices):
        FIRE = "fire", "Fire document"
        EMISSION = "emission", "Emission document"
        SHEET = "sheet", "Data sheet"

    build = models.ForeignKey(Build, on_delete=models.CASCADE, related_name="papers")
    supplier = models.CharField(max_length=60, blank=True)
    quote = models.CharField(max_length=60, blank=True)
    """Id of the quote it belongs to; empty until it is typed in."""
    request = models.ForeignKey(Request, null=True, blank=True, on_delete=models.SET_NULL, related_name="papers")
    name = models.CharField(max_length=120)
    kind = models.CharField(max_length=4, choices=Kind.choices)
    data = models.BinaryField()
    size = models.PositiveIntegerField()
    columns = models.JSONField(default=dict, blank=True)
    """Of a table: which column is what."""
    product = models.CharField(max_length=60, blank=True)
    """Id of the product it reports on; empty: it is no such report."""
    about = models.CharField(max_length=8, choices=About.choices, blank=True)
    dated = models.DateField(null=True, blank=True)
    """Day that stands on a report."""
    added = models.DateTimeField(default=timezone.now)
    by = models.ForeignKey(User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")

    class Meta:
        ordering: ClassVar = ["-added", "-pk"]

    def __str__(self) -> str:
        return self.name
