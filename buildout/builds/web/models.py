"""Builds as they are stored: numbered revisions, proposals under way, results kept, the journal."""

from __future__ import annotations

from typing import ClassVar

from django.conf import settings
from django.db import models
from django.urls import reverse
from django.utils import timezone

from buildout.people.web.models import User


class BuildQuerySet(models.QuerySet["Build"]):
    def seen_by(self, user: User) -> BuildQuerySet:
        return self.filter(members__user=user)


class Build(models.Model):
    """One school being built. What is planned lives in its revisions."""

    name = models.CharField(max_length=120)
    created = models.DateTimeField(default=timezone.now)
    current = models.ForeignKey("Revision", null=True, blank=True, on_delete=models.SET_NULL, related_name="+")

    objects = BuildQuerySet.as_manager()

    def __str__(self) -> str:
        return self.name

    def get_absolute_url(self) -> str:
        return reverse("changes:overview", args=[self.pk])


class Role(models.TextChoices):
    OWNER = "owner", "Owner"
    PARTNER = "partner", "Partner"
    LEAD = "lead", "Crew lead"


class Member(models.Model):
    """One person's part in one build."""

    build = models.ForeignKey(Build, on_delete=models.CASCADE, related_name="members")
    user = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="parts")
    role = models.CharField(max_length=10, choices=Role.choices)
    last_visit = models.DateTimeField(null=True, blank=True)
    """When this person last looked; what is newer is shown to them as new."""

    class Meta:
        constraints: ClassVar = [models.UniqueConstraint(fields=["build", "user"], name="one_part_per_person")]

    def __str__(self) -> str:
        return f"{self.user} as {self.get_role_display()} of {self.build}"


class Revision(models.Model):
    """A plan as it was applied, with everything the chain made of it. Never changed afterwards."""

    build = models.ForeignKey(Build, on_delete=models.CASCADE, related_name="revisions")
    number = models.PositiveIntegerField()
    document = models.JSONField()
    """The ``plan`` part of a build file, as people wrote it."""
    result = models.TextField()
    """JSON of the chain's result."""
    totals = models.JSONField(default=dict)
    """The figures lists and the journal show, so that they need not open ``result``."""
    summary = models.CharField(max_length=300)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    created = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering: ClassVar = ["build_id", "number"]
        constraints: ClassVar = [models.UniqueConstraint(fields=["build", "number"], name="one_revision_per_number")]

    def __str__(self) -> str:
        return f"revision {self.number} of {self.build}"


class Proposal(models.Model):
    """An edit that somebody is looking at. It is deleted when rejected or applied."""

    class State(models.TextChoices):
        WAITING = "waiting", "Waiting for the worker"
        RUNNING = "running", "Being worked out"
        READY = "ready", "Ready to look at"
        FAILED = "failed", "Could not be worked out"

    build = models.ForeignKey(Build, on_delete=models.CASCADE, related_name="proposals")
    base = models.ForeignKey(Revision, null=True, blank=True, on_delete=models.CASCADE, related_name="proposals")
    """The revision this edit started from; none for the first of a build, which applies itself."""
    document = models.JSONField()
    summary = models.CharField(max_length=300)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    created = models.DateTimeField(default=timezone.now)
    state = models.CharField(max_length=10, choices=State.choices, default=State.WAITING)
    step = models.PositiveSmallIntegerField(default=0)
    step_name = models.CharField(max_length=40, blank=True)
    picked_up = models.DateTimeField(null=True, blank=True)
    finished = models.DateTimeField(null=True, blank=True)
    problem = models.TextField(blank=True)
    result = models.TextField(blank=True)
    impact = models.TextField(blank=True)
    """JSON of what differs from the base."""
    task_id = models.CharField(max_length=64, blank=True)

    def __str__(self) -> str:
        return f"proposal for {self.build}: {self.summary}"

    def get_absolute_url(self) -> str:
        return reverse("changes:proposal", args=[self.build_id, self.pk])


class LinkResult(models.Model):
    """What one link of the chain gave for one set of inputs.

    While ``proposal`` is set the row belongs to that proposal and goes with it when it is rejected. Nothing is lost
    with a row: what is asked for again is worked out again.
    """

    key = models.CharField(max_length=64, primary_key=True)
    link = models.CharField(max_length=40)
    result = models.TextField()
    proposal = models.ForeignKey(Proposal, null=True, blank=True, on_delete=models.CASCADE, related_name="link_results")
    used = models.DateTimeField(default=timezone.now, db_index=True)
    """When it was worked out, or a revision last took it up."""

    def __str__(self) -> str:
        return f"{self.link} {self.key[:12]}"


class JournalEntry(models.Model):
    """Something that happened to a build: who, when, what, why, and the totals before and after."""

    build = models.ForeignKey(Build, on_delete=models.CASCADE, related_name="journal")
    at = models.DateTimeField(default=timezone.now)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    by_name = models.CharField(max_length=120, blank=True)
    kind = models.CharField(max_length=20)
    """revision, order, sign-up, comment or people."""
    text = models.CharField(max_length=400)
    why = models.TextField(blank=True)
    revision = models.ForeignKey(Revision, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    before = models.JSONField(default=dict, blank=True)
    after = models.JSONField(default=dict, blank=True)

    class Meta:
        ordering: ClassVar = ["-at", "-pk"]

    def __str__(self) -> str:
        return self.text


class Comment(models.Model):
    """A remark on one line of a build's pages, by owner or partner."""

    build = models.ForeignKey(Build, on_delete=models.CASCADE, related_name="comments")
    subject = models.CharField(max_length=80)
    """What it is about, such as ``budget:9`` or ``order:PO-3``."""
    subject_text = models.CharField(max_length=200)
    text = models.TextField(max_length=2000)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="+")
    at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering: ClassVar = ["at", "pk"]

    def __str__(self) -> str:
        return f"{self.by} on {self.subject_text}"
