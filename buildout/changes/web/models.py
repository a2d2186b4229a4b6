"""Options worked out beside each other; nothing people rely on hangs on them."""

from __future__ import annotations

from typing import ClassVar

from django.conf import settings
from django.db import models
from django.urls import reverse
from django.utils import timezone

from buildout.builds.web.models import Build, Revision


class SystemComparison(models.Model):
    """Two to five systems for one room, the chain run for each from one revision."""

    class State(models.TextChoices):
        WAITING = "waiting", "Waiting for the worker"
        RUNNING = "running", "Being worked out"
        READY = "ready", "Ready to look at"
        FAILED = "failed", "Could not be worked out"

    build = models.ForeignKey(Build, on_delete=models.CASCADE, related_name="comparisons")
    base = models.ForeignKey(Revision, on_delete=models.CASCADE, related_name="comparisons")
    key = models.CharField(max_length=64)
    """Content hash of everything that goes in; the same question is not worked out twice."""
    room = models.CharField(max_length=60)
    systems = models.JSONField()
    """Ids in the order chosen."""
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    created = models.DateTimeField(default=timezone.now)
    state = models.CharField(max_length=10, choices=State.choices, default=State.WAITING)
    step = models.PositiveSmallIntegerField(default=0)
    step_name = models.CharField(max_length=120, blank=True)
    finished = models.DateTimeField(null=True, blank=True)
    problem = models.TextField(blank=True)
    result = models.TextField(blank=True)
    """JSON of the comparison."""

    class Meta:
        ordering: ClassVar = ["-pk"]
        constraints: ClassVar = [models.UniqueConstraint(fields=["build", "key"], name="one_comparison_per_question")]

    def __str__(self) -> str:
        return f"systems of {self.room} compared"

    def get_absolute_url(self) -> str:
        return reverse("changes:options", args=[self.build_id, self.pk])
