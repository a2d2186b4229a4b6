"""What people type on site before it becomes part of the plan."""

from __future__ import annotations

from typing import ClassVar

from django.conf import settings
from django.db import models
from django.utils import timezone

from buildout.builds.web.models import Build


class TapeSession(models.Model):
    """Readings one person has taken in one room and not proposed yet, or whose proposal is not applied yet.

    They are kept as the plan keeps readings, each with the number it will have there, so that those that have
    become part of the plan are recognised and leave the session by themselves.
    """

    build = models.ForeignKey(Build, on_delete=models.CASCADE, related_name="tape_sessions")
    room = models.CharField(max_length=80)
    """The room's short name in the plan."""
    user = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="tape_sessions")
    readings = models.JSONField(default=list)
    updated = models.DateTimeField(default=timezone.now)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["build", "room", "user"], name="one_tape_session_per_room_and_person")
        ]

    def __str__(self) -> str:
        return f"{len(self.readings)} readings in {self.room} of {self.build} by {self.user}"


class ReadingPhoto(models.Model):
    """A photo of a reading, made small, with nothing in it about where and by what it was taken."""

    build = models.ForeignKey(Build, on_delete=models.CASCADE, related_name="reading_photos")
    name = models.CharField(max_length=40)
    """What readings know it by: it follows from what it shows."""
    jpeg = models.BinaryField()
    small = models.BinaryField()
    """For tables."""

    class Meta:
        constraints: ClassVar = [models.UniqueConstraint(fields=["build", "name"], name="one_photo_per_name")]

    def __str__(self) -> str:
        return f"photo {self.name} of {self.build}"
