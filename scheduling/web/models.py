"""The sign-up book: share links, places taken, and what helpers have to be told."""

from __future__ import annotations

import re
import secrets
from datetime import date
from typing import ClassVar

from django.db import models
from django.db.models import Q
from django.utils import timezone

from buildout.builds.web.models import Build


def new_token() -> str:
    return secrets.token_urlsafe(16)


def new_ref() -> str:
    return f"s-{secrets.token_hex(5)}"


class ShareLinkQuerySet(models.QuerySet["ShareLink"]):
    def open(self) -> ShareLinkQuerySet:
        return self.filter(revoked=None).filter(Q(expires=None) | Q(expires__gt=timezone.now()))


class ShareLink(models.Model):
    """The address helpers sign up at. Anybody who has it may see days and take a place."""

    build = models.ForeignKey(Build, on_delete=models.CASCADE, related_name="share_links")
    token = models.CharField(max_length=40, unique=True, default=new_token)
    created = models.DateTimeField(default=timezone.now)
    expires = models.DateTimeField(null=True, blank=True)
    revoked = models.DateTimeField(null=True, blank=True)

    objects = ShareLinkQuerySet.as_manager()

    def __str__(self) -> str:
        return f"sign-up link of {self.build}"


AGES = (("adult", "18 or older"), ("16-17", "16 or 17"), ("14-15", "14 or 15"), ("under 14", "under 14"))
LIFTING = (("any", "heavy things, with others"), ("light", "light things only"), ("none", "no lifting, please"))


class SignUpQuerySet(models.QuerySet["SignUp"]):
    def standing(self) -> SignUpQuerySet:
        """Those who have a place."""
        return self.filter(withdrawn=None, waiting=None)

    def in_line(self) -> SignUpQuerySet:
        """Those on the waiting list, first come first."""
        return self.filter(withdrawn=None).exclude(waiting=None).order_by("waiting", "pk")


class SignUp(models.Model):
    """A helper's place on a build day. The two constraints below are what keeps places from overflowing."""

    build = models.ForeignKey(Build, on_delete=models.CASCADE, related_name="sign_ups")
    ref = models.CharField(max_length=60, default=new_ref)
    """What the plan calls the helper: it names nobody, and stays the same in every copy of the build."""
    day = models.CharField(max_length=40)
    """Build day id in the plan."""
    task = models.CharField(max_length=20, blank=True)
    """Task code; empty: wherever needed."""
    day_place = models.PositiveSmallIntegerField()
    """1 … places of the day; 0 on the waiting list."""
    task_place = models.PositiveSmallIntegerField(null=True, blank=True)
    """1 … crew of the task; none for wherever needed."""
    name = models.CharField(max_length=80)
    contact = models.CharField(max_length=160)
    skills = models.JSONField(default=list, blank=True)
    lifting = models.CharField(max_length=5, choices=LIFTING, default="any")
    power_tools = models.BooleanField(default=True)
    """False: asked to do nothing with tools that have a motor."""
    age = models.CharField(max_length=8, choices=AGES, default="adult")
    guardian = models.CharField(max_length=200, blank=True)
    """Who answers for somebody under 18: name, then telephone or e-mail."""
    guardian_token = models.CharField(max_length=40, unique=True, default=new_token)
    """Opens the guardian's own page, where they sign; of no use where nobody is under 18."""
    guardian_told = models.DateTimeField(null=True, blank=True)
    """When somebody, or a mail, asked the guardian to sign."""
    held_until = models.DateField(null=True, blank=True)
    """Last day the place is held while the guardian has not signed; none: it is held for good."""
    note = models.CharField(max_length=300, blank=True)
    waiting = models.DateTimeField(null=True, blank=True)
    """Since when somebody without a place waits for one."""
    removed = models.DateTimeField(null=True, blank=True)
    """When name, contact and notes were taken out on request."""
    token = models.CharField(max_length=40, unique=True, default=new_token)
    request_key = models.CharField(max_length=40, unique=True)
    """Sent with the form, so a double tap or a reload makes one sign-up."""
    created = models.DateTimeField(default=timezone.now)
    withdrawn = models.DateTimeField(null=True, blank=True)
    taken_out = models.DateTimeField(null=True, blank=True)
    """When the organisers took it out together with others that came in within one hour; it can be brought back."""
    word = models.CharField(max_length=200, blank=True)
    """What a helper who withdrew said about it."""
    link_until = models.DateField(null=True, blank=True)
    """Last day of a personal link that was made anew; none: it follows from the build day."""
    changes = models.PositiveSmallIntegerField(default=0)
    """How often the helper chose anew; calendars take an entry with a higher sequence for the newer one."""

    objects = SignUpQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["build_id", "day", "day_place"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["build", "day", "day_place"],
                condition=Q(withdrawn=None, waiting=None),
                name="one_helper_per_day_place",
            ),
            models.UniqueConstraint(
                fields=["build", "day", "task", "task_place"],
                condition=Q(withdrawn=None, waiting=None) & ~Q(task=""),
                name="one_helper_per_task_place",
            ),
            models.UniqueConstraint(fields=["build", "ref"], name="one_sign_up_per_ref"),
        ]

    @property
    def first_name(self) -> str:
        return self.name.split()[0] if self.name.split() else self.name

    @property
    def minor(self) -> bool:
        return self.age != "adult"

    @property
    def guardian_contact(self) -> str:
        """Telephone or e-mail of the guardian, as far as what was written holds one."""
        found = re.search(r"[^\s,;]+@[^\s,;]+|\+?\d[\d\s()./-]{4,}", self.guardian)
        return found[0].strip() if found else ""

    @property
    def guardian_name(self) -> str:
        return self.guardian.replace(self.guardian_contact, "").strip(" ,;") or "guardian"

    def hold_is_over(self, today: date) -> bool:
        """Whether the place goes to the next one who wants it: the guardian has not signed in time."""
        return self.held_until is not None and self.held_until < today

    @property
    def limits(self) -> tuple[str, str, bool]:
        """What decides which tasks the helper may do: age group, lifting, powered tools."""
        return self.age, self.lifting, self.power_tools

    @property
    def limits_words(self) -> str:
        """What the helper is not to do, for those who give out the work; empty for nothing."""
        lifting = self.get_lifting_display().capitalize() if self.lifting != "any" else ""
        return ". ".join(text for text in (lifting, "" if self.power_tools else "No powered tools") if text)

    @property
    def person(self) -> tuple[str, str]:
        """The same for two sign-ups of one person, as far as name and contact tell."""
        digits = re.sub(r"\D", "", self.contact)
        contact = self.contact if "@" in self.contact else digits or self.contact
        return " ".join(self.name.split()).casefold(), contact.strip().casefold()

    def __str__(self) -> str:
        return f"{self.first_name} on {self.day}"


class Signature(models.Model):
    """What a guardian said for one day of somebody under 18: yes with a signature, or no with a word.

    It speaks of the build day, the date it is held on, and the tasks that are permitted at that age; for another day
    or date the guardian is asked anew. The last one counts.
    """

    class How(models.TextChoices):
        LINK = "link", "on their own page"
        HERE = "here", "here in person"
        PAPER = "paper", "on paper"

    sign_up = models.ForeignKey(SignUp, on_delete=models.CASCADE, related_name="signatures")
    day = models.CharField(max_length=40)
    date = models.DateField()
    yes = models.BooleanField()
    name = models.CharField(max_length=80, blank=True)
    """As the guardian typed it; empty for a no."""
    word = models.CharField(max_length=200, blank=True)
    how = models.CharField(max_length=5, choices=How.choices, default=How.LINK)
    taken_by = models.CharField(max_length=120, blank=True)
    """The crew lead or owner who took it on the spot."""
    at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering: ClassVar = ["pk"]

    def __str__(self) -> str:
        return f"{self.name} for {self.sign_up_id}" if self.yes else f"no for {self.sign_up_id}"


class Notice(models.Model):
    """Something a helper has to be told: ready to send, marked when told and when seen."""

    sign_up = models.ForeignKey(SignUp, on_delete=models.CASCADE, related_name="notices")
    text = models.TextField()
    created = models.DateTimeField(default=timezone.now)
    told = models.DateTimeField(null=True, blank=True)
    seen = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering: ClassVar = ["-created", "-pk"]

    def __str__(self) -> str:
        return self.text[:60]


class Swap(models.Model):
    """One helper asks another to change places."""

    asker = models.ForeignKey(SignUp, on_delete=models.CASCADE, related_name="swaps_asked")
    asked = models.ForeignKey(SignUp, on_delete=models.CASCADE, related_name="swaps_to_answer")
    created = models.DateTimeField(default=timezone.now)
    answered = models.DateTimeField(null=True, blank=True)
    accepted = models.BooleanField(default=False)

    class Meta:
        ordering: ClassVar = ["pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["asker"], condition=Q(answered=None), name="one_open_swap_each")
        ]

    def __str__(self) -> str:
        return f"{self.asker.first_name} asks {self.asked.first_name}"


class DayMark(models.Model):
    """Something said on a build day's board. Nothing is overwritten: how things stand follows from the marks."""

    class Kind(models.TextChoices):
        START = "start", "started"
        CREW = "crew", "changed who is on"
        STOP = "stop", "stopped"
        FINISH = "finish", "finished"
        REOPEN = "reopen", "opened again"
        PROBLEM = "problem", "reported a problem with"
        SOLVED = "solved", "solved"
        SHORT = "short", "asked for"
        GOT = "got", "got"
        BOUGHT = "bought", "bought"
        HERE = "here", "arrived"
        GONE = "gone", "left"
        HEARD = "heard", "heard the briefing"
        MEALS = "meals", "counted meals"
        CARRIERS = "carriers", "counted carriers"

    class Outcome(models.TextChoices):
        TAKEN = "taken", "Taken"
        ALREADY = "already", "Known already"
        CONFLICT = "conflict", "Contradicts what others said"
        SETTLED = "settled", "Looked at by the crew lead"

    build = models.ForeignKey(Build, on_delete=models.CASCADE, related_name="day_marks")
    day = models.CharField(max_length=40)
    kind = models.CharField(max_length=10, choices=Kind.choices)
    task = models.CharField(max_length=20, blank=True)
    text = models.CharField(max_length=400, blank=True)
    count = models.PositiveSmallIntegerField(null=True, blank=True)
    about = models.ForeignKey("self", null=True, blank=True, on_delete=models.CASCADE, related_name="answers")
    """The problem that was solved, the thing that was got."""
    at = models.DateTimeField()
    """When it was said; earlier than ``received`` for what a telephone kept while it had no signal."""
    received = models.DateTimeField(default=timezone.now)
    key = models.CharField(max_length=64, default=new_token)
    """Sent with the mark, so that sending it twice makes one."""
    outcome = models.CharField(max_length=10, choices=Outcome.choices, default=Outcome.TAKEN)
    against = models.CharField(max_length=300, blank=True)
    """What it contradicts, in words."""
    by_name = models.CharField(max_length=120)

    class Meta:
        ordering: ClassVar = ["pk"]
        indexes: ClassVar = [models.Index(fields=["build", "day"], name="marks_of_a_day")]
        constraints: ClassVar = [models.UniqueConstraint(fields=["build", "key"], name="a_mark_is_taken_once")]

    def __str__(self) -> str:
        return f"{self.by_name} {self.get_kind_display()} {self.task}".strip()


class DayPerson(models.Model):
    """Somebody a mark speaks of: a helper, or one of the core team."""

    mark = models.ForeignKey(DayMark, on_delete=models.CASCADE, related_name="people")
    sign_up = models.ForeignKey(SignUp, null=True, blank=True, on_delete=models.CASCADE, related_name="on_days")
    core = models.CharField(max_length=40, blank=True)
    """Id in the plan's core team."""

    class Meta:
        ordering: ClassVar = ["pk"]

    @property
    def key(self) -> str:
        return f"s{self.sign_up_id}" if self.sign_up_id else f"core-{self.core}"

    def __str__(self) -> str:
        return self.key


class DayPhoto(models.Model):
    """A picture sent with a problem, made small, with nothing in it about where and by what it was taken."""

    mark = models.OneToOneField(DayMark, on_delete=models.CASCADE, related_name="photo")
    jpeg = models.BinaryField()

    def __str__(self) -> str:
        return f"photo of mark {self.mark_id}"
