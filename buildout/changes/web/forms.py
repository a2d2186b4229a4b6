from __future__ import annotations

import re
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo, available_timezones

from django import forms
from django.db import transaction
from django.utils import timezone

from buildout.builds.web import services as builds
from buildout.builds.web.models import Build, Member, Proposal, Role
from buildout.changes.engine.starters import starter_plan, starter_systems
from buildout.people.web.models import User
from buildout.units.lengths import LengthError, parse_length

ROOM_EXAMPLE = "A B 24' 1 1/2\"\nB C 20' 0\"\nC D 24' 1\"\nD A 20' 0 1/4\"\nA C 31' 4\"\nB D 31' 3 1/2\""


def system_choices() -> list[tuple[str, str]]:
    """Every starting layer system by its place in the list, named in feet and inches and in metric sizes."""
    pairs = zip(starter_systems("feet-inches"), starter_systems("metric"), strict=True)
    return [
        (str(at), inch if inch == metric else f"{inch} (in metric: {metric})")
        for at, ((_, inch), (_, metric)) in enumerate(pairs)
    ]


class NewBuildForm(forms.Form):
    """From nothing to first numbers. Every field says what it is for and shows one filled in."""

    name = forms.CharField(label="Name of the build", max_length=120, help_text="For example: Riverside Judo, new hall")
    units = forms.ChoiceField(
        label="Your tape reads", choices=[("feet-inches", "Feet and inches"), ("metric", "Metres and millimetres")]
    )
    currency = forms.CharField(
        label="Currency", max_length=3, initial="USD", help_text="Three letters of ISO 4217, for example USD, EUR, GBP"
    )
    time_zone = forms.CharField(
        label="Time zone",
        initial="America/New_York",
        help_text="For example America/New_York or Europe/London",
        widget=forms.TextInput(attrs={"list": "zones"}),
    )
    room = forms.CharField(label="First room", max_length=80, initial="Main hall")
    corners = forms.CharField(
        label="Its corners, in order, clockwise",
        initial="A B C D",
        help_text="One letter each, as on your sketch, for example A B C D. An L has six.",
    )
    readings = forms.CharField(
        label="What the tape read",
        widget=forms.Textarea(attrs={"rows": 8, "spellcheck": "false", "autocapitalize": "characters"}),
        help_text="One reading a line: from, to, length; walls first, then diagonals. Such as: A B 24' 1 1/2\"",
    )
    system = forms.ChoiceField(label="Layer system for the floor", choices=system_choices, widget=forms.RadioSelect)

    def clean_currency(self) -> str:
        code = str(self.cleaned_data["currency"]).strip().upper()
        if not re.fullmatch(r"[A-Z]{3}", code):
            raise forms.ValidationError("Three letters, for example USD, EUR or GBP.")
        return code

    def clean_time_zone(self) -> str:
        zone = str(self.cleaned_data["time_zone"]).strip()
        if zone not in available_timezones():
            raise forms.ValidationError("That is not a time zone, for example America/New_York or Europe/London.")
        return zone

    def clean_corners(self) -> list[str]:
        corners = str(self.cleaned_data["corners"]).replace(",", " ").upper().split()
        if len(corners) < 3:
            raise forms.ValidationError("A room has at least three corners, for example A B C D.")
        if len(set(corners)) != len(corners):
            raise forms.ValidationError("Each corner needs a letter of its own, for example A B C D.")
        return corners

    def clean_readings(self) -> list[dict[str, str]]:
        found = []
        errors = []
        for number, line in enumerate(str(self.cleaned_data["readings"]).splitlines(), 1):
            if not line.strip():
                continue
            parts = line.split(maxsplit=2)
            if len(parts) < 3:
                errors.append(f"Line {number}: write from, to and length, for example A B 24' 1 1/2\".")
                continue
            try:
                parse_length(parts[2])
            except LengthError as error:
                errors.append(f"Line {number}: {error}")
            found.append({"id": str(number), "start": parts[0].upper(), "end": parts[1].upper(), "value": parts[2]})
        if errors:
            raise forms.ValidationError(errors)
        return found

    @transaction.atomic
    def start(self, user: User) -> Proposal:
        """Make the build and have its first numbers worked out. Raises ``DocumentProblems``, storing nothing."""
        data = self.cleaned_data
        today = datetime.now(ZoneInfo(data["time_zone"])).date()
        room = {"id": "room-1", "name": data["room"], "corners": data["corners"], "readings": data["readings"]}
        document = starter_plan(
            name=data["name"],
            units=data["units"],
            currency=data["currency"],
            time_zone=data["time_zone"],
            as_of=today,
            room=room,
            system=starter_systems(data["units"])[int(data["system"])][0],
        )
        document["crew"]["core"][0]["name"] = user.name
        build = Build.objects.create(name=data["name"], created=timezone.now())
        Member.objects.create(build=build, user=user, role=Role.OWNER)
        return builds.propose(build, user, document, "First numbers")

    def show(self, problems: list[builds.Problem]) -> None:
        """Put what the plan's check found beside the field it came from."""
        lines: list[dict[str, Any]] = self.cleaned_data.get("readings", [])
        for problem in problems:
            text = problem.message + (f" For example {problem.example}." if problem.example else "")
            place = re.match(r"^/rooms/0/readings/(\d+)", problem.pointer)
            if place and int(place[1]) < len(lines):
                self.add_error("readings", f"Line {lines[int(place[1])]['id']}: {text}")
            elif problem.pointer.startswith("/rooms/0/corners"):
                self.add_error("corners", text)
            else:
                field = problem.pointer.strip("/").split("/")[0]
                self.add_error(field if field in self.fields else None, text)
