from __future__ import annotations

import re
import secrets
from collections.abc import Callable, Sequence
from datetime import date
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.utils.text import slugify

from buildout.units.dates import date_text, day_text
from buildout.units.words import one_line
from estimating.web.ledger_forms import BillForm
from scheduling.engine.calendars import WEEKDAYS as WEEKDAY_NAMES
from scheduling.engine.cautions import CAUTIONS
from scheduling.engine.skills import SKILLS
from scheduling.engine.template import driver_units, read_after
from scheduling.engine.types import TaskKind
from scheduling.web.models import AGES, LIFTING, Signature, SignUp
from scheduling.web.offers import whole_task
from scheduling.web.words import OFFERED_SKILLS, driver_words, skill_words

TIME_EXAMPLE = "Write a time of day like 08:30."
NUMBER = {"inputmode": "decimal"}


class TimeOfDay(forms.CharField):
    """08:30, 8:30 or 8.30, kept as 08:30."""

    def __init__(self, **more: Any) -> None:
        super().__init__(max_length=5, widget=forms.TextInput(attrs={"inputmode": "text", "size": 6}), **more)

    def clean(self, value: Any) -> str:
        text = str(super().clean(value) or "").strip()
        if not text:
            return ""
        found = re.fullmatch(r"(\d{1,2})[:.](\d{2})", text)
        if found is None or int(found[1]) > 23 or int(found[2]) > 59:
            raise ValidationError(TIME_EXAMPLE)
        return f"{int(found[1]):02d}:{found[2]}"


class DayInput(forms.DateInput):
    input_type = "date"

    def __init__(self) -> None:
        super().__init__(format="%Y-%m-%d")


def day_field(label: str, **more: Any) -> forms.DateField:
    return forms.DateField(
        label=label,
        widget=DayInput(),
        error_messages={"invalid": "Write a date like 2027-03-20.", "required": "A date is needed, like 2027-03-20."},
        **more,
    )


# ---------------------------------------------------------------- helpers


def request_key() -> str:
    return secrets.token_urlsafe(16)


class SignUpForm(forms.Form):
    name = forms.CharField(
        label="Your name",
        max_length=80,
        widget=forms.TextInput(attrs={"autocomplete": "name"}),
        error_messages={"required": "Please write your name, for example Bram Tallowfen."},
    )
    contact = forms.CharField(
        label="Phone or e-mail",
        max_length=160,
        help_text="Only the organisers see it. For example 555 0142 817 or bram@example.org",
        widget=forms.TextInput(attrs={"autocomplete": "email", "autocapitalize": "none"}),
        error_messages={"required": "One way to reach you is needed, for example 555 0142 817 or bram@example.org."},
    )
    skills = forms.MultipleChoiceField(
        label="I am good at",
        required=False,
        choices=[(skill, SKILLS[skill]) for skill in OFFERED_SKILLS],
        widget=forms.CheckboxSelectMultiple,
        error_messages={"invalid_choice": "Please tick from the list."},
    )
    note = forms.CharField(
        label="Anything we should know",
        required=False,
        max_length=300,
        help_text="Food you cannot eat, a bad back. Only the organisers see it.",
        widget=forms.Textarea(attrs={"rows": 2}),
    )
    lifting = forms.ChoiceField(
        label="I can lift",
        choices=LIFTING,
        required=False,
        widget=forms.RadioSelect,
        error_messages={"invalid_choice": "Please choose from the list."},
    )
    no_power_tools = forms.BooleanField(label="No powered tools, please", required=False)
    age = forms.ChoiceField(
        label="My age",
        choices=AGES,
        required=False,
        widget=forms.RadioSelect,
        error_messages={"invalid_choice": "Please choose from the list."},
    )
    guardian = forms.CharField(
        label="Under 18: your parent or guardian",
        required=False,
        max_length=80,
        help_text="First and last name, for example Ada Tallowfen. They get a page of their own to read and sign. "
        "At 14 and 15 they come along.",
    )
    guardian_contact = forms.CharField(
        label="Their phone or e-mail",
        required=False,
        max_length=110,
        help_text="For example 555 0142 818 or ada@example.org",
        widget=forms.TextInput(attrs={"autocapitalize": "none"}),
    )
    practised = forms.BooleanField(
        label="I am practised in this",
        error_messages={"required": "This task is for practised people only. Tick the box, or choose another task."},
    )
    request_key = forms.RegexField(r"^[A-Za-z0-9_-]{16,40}$", widget=forms.HiddenInput)

    def __init__(self, *args: Any, needed: list[str] | None = None, **more: Any) -> None:
        """``needed``: skills of a task that is for practised people only; None where anybody may take part."""
        super().__init__(*args, **more)
        self.needed = needed
        for name in ("guardian", "guardian_contact"):
            self.fields[name].unmarked = True  # type: ignore[attr-defined]  # needed, but under 18 only
        if needed is None:
            del self.fields["practised"]
        elif skill_words(needed):
            self.fields["practised"].label = f"I am practised in {' and '.join(skill_words(needed))}"

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        data["lifting"] = data.get("lifting") or "any"
        data["age"] = data.get("age") or "adult"
        data["power_tools"] = not data.pop("no_power_tools", False)
        if data["age"] != "adult":
            self._check_guardian(data)
        else:
            data["guardian"] = ""
        data.pop("guardian_contact", None)
        if data.pop("practised", False) and "skills" in data:
            data["skills"] = list(dict.fromkeys([*data["skills"], *(self.needed or [])]))
        return data

    def _check_guardian(self, data: dict[str, Any]) -> None:
        """Puts name and contact of the guardian together, or says what is missing."""
        name, contact = data.get("guardian"), data.get("guardian_contact")
        if name is not None:
            name = one_line(name)
            if len(name.split()) < 2:
                said = "Under 18 a parent or guardian has to sign: first and last name, for example Ada Tallowfen."
                self.add_error("guardian", said)
            elif name.casefold() == str(data.get("name", "")).casefold():
                self.add_error("guardian", "This is your own name. Write your parent's or guardian's.")
        if contact is not None:
            try:
                contact = checked_contact(contact)
            except ValidationError:
                said = "Write how to reach them, a phone number like 555 0142 818 or an e-mail like ada@example.org."
                self.add_error("guardian_contact", said)
        data["guardian"] = f"{name}, {contact}"

    def clean_name(self) -> str:
        name = one_line(self.cleaned_data["name"])
        if not any(letter.isalpha() for letter in name):
            raise ValidationError("Please write your name, for example Bram Tallowfen.")
        return name

    def clean_contact(self) -> str:
        return checked_contact(self.cleaned_data["contact"])


def checked_contact(typed: object) -> str:
    contact = str(typed).strip()
    if "@" in contact:
        try:
            validate_email(contact)
        except ValidationError:
            raise ValidationError("That is not an e-mail address. Write it like bram@example.org.") from None
        return contact
    digits = re.sub(r"\D", "", contact)
    if not re.fullmatch(r"[+\d][\d\s()./-]*", contact) or not 6 <= len(digits) <= 15:
        raise ValidationError("Write a phone number like 555 0142 817 or an e-mail address like bram@example.org.")
    return contact


class SignatureForm(forms.Form):
    """A guardian's signature: the full name, typed, and a tick."""

    name = forms.CharField(
        label="Your full name",
        max_length=80,
        help_text="This is your signature. For example: Ada Tallowfen",
        widget=forms.TextInput(attrs={"autocomplete": "name"}),
        error_messages={"required": "Please sign with your first and last name, for example Ada Tallowfen."},
    )
    agree = forms.BooleanField(error_messages={"required": "Please tick this too, or say no below."})

    def __init__(self, *args: Any, minor: SignUp, agree: str, **more: Any) -> None:
        super().__init__(*args, **more)
        self.minor = minor
        self.fields["agree"].label = agree

    def clean_name(self) -> str:
        name = one_line(self.cleaned_data["name"])
        if len([part for part in name.split() if any(letter.isalpha() for letter in part)]) < 2:
            raise ValidationError("Please sign with your first and last name, for example Ada Tallowfen.")
        if name.casefold() == " ".join(self.minor.name.split()).casefold():
            raise ValidationError(f"This is {self.minor.first_name}'s own name. A parent or guardian has to sign.")
        return name


class TakenSignatureForm(SignatureForm):
    """A signature the crew lead takes on the spot."""

    how = forms.ChoiceField(
        label="How",
        choices=[(Signature.How.HERE, "They are here and sign on this screen"),
                 (Signature.How.PAPER, "They signed on paper, and I have the paper")],
        widget=forms.RadioSelect,
        error_messages={"required": "Please say how they signed."},
    )  # fmt: skip


# ---------------------------------------------------------------- build days


class BuildDayForm(forms.Form):
    """One build day. ``id`` is empty for a new one."""

    id = forms.CharField(required=False, widget=forms.HiddenInput)
    name = forms.CharField(label="What is done", max_length=80, help_text="For example: Frame and foam")
    date = day_field("Date")
    start = TimeOfDay(label="Call time", initial="08:30")
    end = TimeOfDay(label="Tools down", initial="16:00")
    meal_start = TimeOfDay(label="Meal at", initial="12:00")
    meal_minutes = forms.IntegerField(label="Meal, minutes", min_value=0, max_value=180, initial=45)
    places = forms.IntegerField(
        label="Places", min_value=1, max_value=500, initial=12, help_text="How many helpers the day has room for"
    )
    place = forms.ChoiceField(
        label="Where", choices=[("hall", "In the hall"), ("garage", "In a garage or workshop")], initial="hall"
    )
    quiet_until = TimeOfDay(label="No noise before", required=False)
    quiet_from = TimeOfDay(label="No noise after", required=False)
    food = forms.CharField(label="Food", max_length=200, required=False, help_text="For example: Soup, bread, fruit")
    first_aid = forms.CharField(
        label="First aid and extinguisher", max_length=120, required=False, help_text="For example: By the entry door"
    )
    take_out = forms.BooleanField(label="Take this day out", required=False)

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        kept = self.initial.get("place", "hall")
        places: list[tuple[str, str]] = list(self.fields["place"].choices)  # type: ignore[attr-defined]
        if kept not in dict(places):
            self.fields["place"].choices = [*places, (kept, kept)]  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        start, end, meal = data.get("start"), data.get("end"), data.get("meal_start")
        loud, hush = data.get("quiet_until"), data.get("quiet_from")
        if loud and hush and hush <= loud:
            self.add_error("quiet_from", f"No noise before {loud} and after {hush} leaves no hour. For example 09:00.")
        if start and end and end <= start:
            self.add_error("end", f"The day ends at {end}, before it starts at {start}. For example 08:30 to 16:00.")
        elif start and end and meal and data.get("meal_minutes") and not start <= meal < end:
            self.add_error("meal_start", f"The meal is outside the day, {start} to {end}. For example 12:00.")
        return data

    def document(self, before: dict[str, Any], taken_ids: set[str]) -> dict[str, Any]:
        """The day as the plan writes it; what the form does not show stays."""
        data = self.cleaned_data
        day = dict(before)
        day["id"] = before.get("id") or new_id(data["name"], taken_ids)
        day["date"] = data["date"].isoformat()
        for name in (
            "name",
            "start",
            "end",
            "meal_start",
            "meal_minutes",
            "places",
            "place",
            "quiet_until",
            "quiet_from",
            "food",
            "first_aid",
        ):
            if name in before or data[name] != _usual(name):
                day[name] = data[name]
        return day


def _usual(name: str) -> Any:
    from scheduling.engine.types import BuildDay

    usual = {"start": "08:30", "end": "16:00", "meal_start": "12:00", "meal_minutes": 45, "place": "hall"}
    return usual.get(name, "" if name in BuildDay.__struct_fields__ else None)


def new_id(name: str, taken: set[str]) -> str:
    """A short name for something new, unlike all others."""
    base = slugify(name)[:30].strip("-") or "day"
    if not base[0].isalpha():
        base = f"day-{base}"
    found, number = base, 2
    while found in taken:
        found, number = f"{base}-{number}", number + 1
    taken.add(found)
    return found


BuildDayFormSet = forms.formset_factory(BuildDayForm, extra=0)


# ---------------------------------------------------------------- tasks


def amount(label: str, **more: Any) -> forms.DecimalField:
    return forms.DecimalField(
        label=label,
        min_value=Decimal("0.01"),
        max_digits=9,
        decimal_places=3,
        widget=forms.TextInput(attrs=NUMBER),
        error_messages={"invalid": "Write a number, for example 12 or 7.5.", "min_value": "Write a number above zero."},
        **more,
    )


class RateForm(forms.Form):
    low = amount("Low")
    likely = amount("Likely")
    high = amount("High")
    why = forms.CharField(label="Why", max_length=300, required=False, help_text="For example: timed it last Saturday")

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        low, likely, high = data.get("low"), data.get("likely"), data.get("high")
        if low and likely and high and not low <= likely <= high:
            raise ValidationError(
                f"Low, likely, high must rise, for example 300, 500, 800; not {low}, {likely}, {high}."
            )
        return data


def codes_field() -> forms.CharField:
    return forms.CharField(
        label="Comes after",
        required=False,
        max_length=200,
        help_text="Codes with blanks between, for example F03 W05; F03+4h or F03+2d for a wait",
    )


def read_codes(text: str) -> list[str]:
    """Predecessors as the plan keeps them. Raises ``ValidationError`` with an example."""
    codes = text.replace(",", " ").replace(";", " ").split()
    for code in codes:
        try:
            read_after(code)
        except ValueError as error:
            raise ValidationError(f"{error}.") from None
    return codes


def zone_field() -> forms.CharField:
    return forms.CharField(
        label="Place it has for itself",
        required=False,
        max_length=30,
        help_text="A part of the room nobody else works in meanwhile, for example: entry",
    )


def cautions_field() -> forms.MultipleChoiceField:
    return forms.MultipleChoiceField(
        label="Cautions",
        required=False,
        choices=[
            (code, text if len(text) < 72 else f"{text[:70].rsplit(' ', 1)[0]} …") for code, text in CAUTIONS.items()
        ],
        widget=forms.CheckboxSelectMultiple,
    )


NOT_OF: dict[TaskKind, tuple[str, ...]] = {
    "trade": ("crew_min", "crew_max", "skills", "tools", "one_day"),
    "wait": ("crew_min", "crew_max", "skills", "tools", "one_day", "zone", "noisy", "dusty"),
}
"""What cannot be changed about a task of a kind, as its plan has no use for it."""


class ChangeForm(forms.Form):
    """A task of the list as this build does it."""

    crew_min = forms.IntegerField(label="People, at least", min_value=1, max_value=500)
    crew_max = forms.IntegerField(label="People, at most useful", min_value=1, max_value=500)
    skills = forms.MultipleChoiceField(
        label="Skills needed", required=False, choices=[*SKILLS.items()], widget=forms.CheckboxSelectMultiple
    )
    tools = forms.CharField(label="Tools", required=False, max_length=200, help_text="For example: saw, drill")
    after = codes_field()
    zone = zone_field()
    noisy = forms.BooleanField(label="It is noisy", required=False, help_text="Then it keeps quiet hours")
    dusty = forms.BooleanField(label="It is dusty", required=False)
    one_day = forms.BooleanField(label="In one go, not split over days", required=False)
    cautions = cautions_field()
    why = forms.CharField(label="Why", max_length=200, required=False, help_text="For example: two are enough here")

    def __init__(self, *args: Any, kind: TaskKind = "work", **more: Any) -> None:
        """``kind`` of the task: a firm brings its own crew and tools, and nobody works on a wait."""
        super().__init__(*args, **more)
        for name in NOT_OF.get(kind, ()):
            del self.fields[name]

    def clean_after(self) -> list[str]:
        return read_codes(str(self.cleaned_data["after"]))

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        least, most = data.get("crew_min"), data.get("crew_max")
        if least and most and most < least:
            self.add_error("crew_max", f"{most} are fewer than the least crew of {least}. For example 2 and 6.")
        return data

    def change(self, usual: dict[str, Any]) -> dict[str, Any]:
        """What differs from the list; nothing where it is all as usual."""
        data = self.cleaned_data
        found = {name: data[name] for name in usual if name in data and _plainly(data[name]) != _plainly(usual[name])}
        return found | ({"why": data["why"]} if found and data["why"] else {})


def _plainly(value: Any) -> Any:
    return sorted(one for one in value if one != "none") if isinstance(value, list) else value


class PinForm(forms.Form):
    day = forms.ChoiceField(label="Build day", error_messages={"invalid_choice": "Choose a build day from the list."})

    def __init__(self, *args: Any, days: list[tuple[str, str]], **more: Any) -> None:
        super().__init__(*args, **more)
        self.fields["day"].choices = days  # type: ignore[attr-defined]
        self.days = dict(days)

    @property
    def words(self) -> str:
        return f"on {self.days[self.cleaned_data['day']]}"


class DoneForm(forms.Form):
    on = day_field("Finished on")

    def __init__(self, *args: Any, today: date, **more: Any) -> None:
        super().__init__(*args, **more)
        self.today = today
        self.fields["on"].initial = today

    def clean_on(self) -> date:
        day: date = self.cleaned_data["on"]
        if day > self.today:
            raise ValidationError(f"That is still to come; today is {date_text(self.today)}.")
        return day


def percent_field(label: str, **more: Any) -> forms.IntegerField:
    wrong = "Write how much of it is done in per cent, for example 40."
    return forms.IntegerField(
        label=label, min_value=0, max_value=99, widget=forms.TextInput(attrs={"inputmode": "numeric"}),
        error_messages={"invalid": wrong, "required": wrong, "min_value": wrong,
                        "max_value": "What is done to the last is reported as done."},
        **more,
    )  # fmt: skip


class BegunForm(forms.Form):
    percent = percent_field("Done so far, in per cent", help_text="For example 40; 0 for nothing")


class DayEndForm(forms.Form):
    """What the boards do not know at the end of a day: how far tasks are, and what else is done by now."""

    def __init__(self, rest: Sequence[Any], unreported: Sequence[Any], *args: Any, **more: Any) -> None:
        """``rest``: tasks begun; ``unreported``: last parts of tasks that should be done by the plan."""
        super().__init__(*args, **more)
        self.codes = [task.code for task in rest]
        for task in rest:
            self.fields[f"begun-{task.code}"] = percent_field(
                f"{task.code} {task.name}: done so far, in per cent", initial=task.percent
            )
        self.ends = {whole_task(part.code): part.end_day for part in unreported}
        self.fields["done"] = forms.MultipleChoiceField(
            required=False, widget=forms.CheckboxSelectMultiple,
            choices=[
                (code, f"{code} {part.name}, planned until {day_text(part.end_day, year=False)}")
                for code, part in zip(self.ends, unreported, strict=True)
            ],
        )  # fmt: skip

    @property
    def shares(self) -> list[forms.BoundField]:
        return [self[f"begun-{code}"] for code in self.codes]

    def said(self, today: date) -> tuple[dict[str, str], dict[str, int]]:
        """(tasks ticked as done with their planned day, per cent of the begun ones)."""
        finished = {code: min(self.ends[code], today).isoformat() for code in self.cleaned_data["done"]}
        return finished, {code: self.cleaned_data[f"begun-{code}"] for code in self.codes}


class HoldForm(forms.Form):
    date = day_field("Not before")
    why = forms.CharField(label="Why", max_length=200, required=False, help_text="For example: the hall above is let")


class AppointmentForm(forms.Form):
    date = day_field("Agreed day")
    firm = forms.ChoiceField(
        label="How firm",
        choices=[("firm", "Fixed"), ("wish", "Wished")],
        initial="firm",
        help_text="A wished day gives way where nothing else allows an opening as early",
        error_messages={"invalid_choice": "Choose fixed or wished."},
    )

    def __init__(self, *args: Any, refusal: Callable[[Any], str], example: str, **more: Any) -> None:
        """``refusal`` says why a day cannot be agreed on, ``example`` is one that can."""
        super().__init__(*args, **more)
        self.refusal, self.example = refusal, example

    def clean_date(self) -> Any:
        day = self.cleaned_data["date"]
        if no := self.refusal(day):
            raise ValidationError(f"{day_text(day)} {no}. Choose another, for example {self.example}.")
        return day

    @property
    def words(self) -> str:
        how = "agreed" if self.cleaned_data["firm"] == "firm" else "wished"
        return f"{how} for {day_text(self.cleaned_data['date'])}"


class PersonForm(forms.Form):
    person = forms.ChoiceField(label="Who", error_messages={"invalid_choice": "Choose somebody from the list."})
    lead = forms.BooleanField(label="Leads this task", required=False)

    def __init__(self, *args: Any, people: list[tuple[str, str]], **more: Any) -> None:
        super().__init__(*args, **more)
        self.fields["person"].choices = people  # type: ignore[attr-defined]


class OwnTaskForm(forms.Form):
    code = forms.RegexField(
        r"^[A-Za-z][A-Za-z0-9_.-]{0,11}$",
        label="Code",
        help_text="Short, of your own, for example X01",
        error_messages={"invalid": "A letter first, then letters or digits, for example X01."},
    )
    name = forms.CharField(label="Task", max_length=80, help_text="For example: Paint the sign")
    hours = amount("Hours it takes with that crew", required=False)
    crew = forms.IntegerField(label="People", min_value=1, max_value=100, initial=2)
    driver = forms.ChoiceField(
        label="Or worked out from a quantity",
        required=False,
        help_text="Then it needs a rate instead of hours",
        error_messages={"invalid_choice": "Choose a quantity from the list."},
    )
    low = amount("Units per person-hour on a slow day", required=False)
    likely = amount("Units per person-hour, likely", required=False)
    high = amount("Units per person-hour on a fast day", required=False)
    crew_max = forms.IntegerField(
        label="People, at most useful", min_value=1, max_value=100, required=False, help_text="Empty: as above"
    )
    skills = forms.MultipleChoiceField(
        label="Skills needed",
        required=False,
        choices=[(skill, SKILLS[skill]) for skill in OFFERED_SKILLS],
        widget=forms.CheckboxSelectMultiple,
    )
    after = codes_field()
    zone = zone_field()
    noisy = forms.BooleanField(label="It is noisy", required=False, help_text="Then it keeps quiet hours")
    dusty = forms.BooleanField(label="It is dusty", required=False)
    one_day = forms.BooleanField(label="In one go, not split over days", required=False)
    cautions = cautions_field()

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        units = sorted(driver_units().items(), key=lambda pair: driver_words(pair[0]))
        driver: forms.ChoiceField = self.fields["driver"]  # type: ignore[assignment]
        driver.choices = [("", "no, it takes the hours above"), *((d, f"{driver_words(d)}, {u}") for d, u in units)]
        driver.unmarked = True  # type: ignore[attr-defined]

    def clean_after(self) -> list[str]:
        return read_codes(str(self.cleaned_data["after"]))

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        low, likely, high = (data.get(name) for name in ("low", "likely", "high"))
        if not data.get("driver"):
            if not data.get("hours") and "hours" not in self.errors:
                self.add_error("hours", "Write the hours, for example 2.5, or choose a quantity and write a rate.")
            return data | {"low": None, "likely": None, "high": None, "crew_max": None}
        missing = [name for name in ("low", "likely", "high") if not data.get(name) and name not in self.errors]
        for name in missing:
            self.add_error(name, "A rate is needed, for example 2, 4, 7.")
        if low and likely and high and not low <= likely <= high:
            self.add_error("likely", f"Low, likely, high must rise, for example 2, 4, 7; not {low}, {likely}, {high}.")
        if data.get("crew") and data.get("crew_max") and data["crew_max"] < data["crew"]:
            self.add_error("crew_max", f"{data['crew_max']} are fewer than {data['crew']}. For example 2 and 6.")
        return data | {"hours": None}

    def document(self, before: dict[str, Any]) -> dict[str, Any]:
        """The task as the plan writes it; what is as usual and was not written stays unwritten."""
        made = {**before}
        for name, usual in (
            ("code", None), ("name", None), ("hours", None), ("crew", None), ("skills", None), ("after", None),
            ("cautions", []), ("zone", ""), ("noisy", False), ("dusty", False), ("one_day", False),
            ("crew_max", None), ("driver", ""), ("low", None), ("likely", None), ("high", None),
        ):  # fmt: skip
            value = self.cleaned_data[name]
            value = f"{value:f}" if isinstance(value, Decimal) else value
            if value is None:
                made.pop(name, None)
            elif name in before or value != usual:
                made[name] = value
        return made


# ---------------------------------------------------------------- the buying list


class BoughtForm(BillForm):
    """Something asked for on a board, bought in a shop. Without an amount it cost nothing and makes no bill."""

    paid = forms.BooleanField(label="It is paid", required=False)

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        self.fields["who"].required = self.fields["goods"].required = False
        self.fields["reference"].label = "Number on the receipt"
        self.fields["day"].label = "Bought on"
        self.fields["who"].help_text = "The shop, or who laid the money out and gets it back"
        del self.fields["due"], self.fields["note"], self.fields["printed"]

    @property
    def costs(self) -> bool:
        return bool(self.cleaned_data.get("goods"))

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if data.get("goods") and not data.get("who"):
            self.add_error("who", "A bill needs somebody to be paid, for example: Corner hardware.")
        if data.get("tax") and not data.get("goods"):
            self.add_error("goods", "Tax on nothing? Write the amount without tax, for example 12.50.")
        return data


# ---------------------------------------------------------------- crew and dates


def _evening(label: str) -> forms.DecimalField:
    return forms.DecimalField(label=label, min_value=0, max_value=12, decimal_places=1, required=False)


class CrewForm(forms.Form):
    core_hours_per_weekday = forms.DecimalField(
        label="Hours the core team works on a weekday evening", min_value=0, max_value=12, decimal_places=1, initial=3,
        help_text="Where an evening differs, write its hours below; 0 for none",
    )  # fmt: skip
    mon = _evening("Monday")
    tue = _evening("Tuesday")
    wed = _evening("Wednesday")
    thu = _evening("Thursday")
    fri = _evening("Friday")
    no_show_likely = forms.DecimalField(
        label="Of a hundred who sign up, how many do not come: likely", min_value=0, max_value=90, decimal_places=1
    )
    no_show_low = forms.DecimalField(label="at best", min_value=0, max_value=90, decimal_places=1)
    no_show_high = forms.DecimalField(label="at worst", min_value=0, max_value=90, decimal_places=1)
    tools = forms.CharField(
        label="Tools there are few of, and where tools lie",
        required=False,
        widget=forms.Textarea(attrs={"rows": 3, "spellcheck": "false"}),
        help_text="One a line: a word of the task list, how many where there are few, and after a comma where it lies. "
        "For example: saw 1, by the roller door; or: ladder, in the store",
    )
    firm_sign_ups = forms.BooleanField(
        label="A task somebody has signed up for stays on its day, whatever it costs", required=False
    )

    def clean_tools(self) -> dict[str, tuple[int | None, str]]:
        """Tool → (how many; None: enough, where it lies)."""
        found: dict[str, tuple[int | None, str]] = {}
        for number, line in enumerate(str(self.cleaned_data["tools"]).splitlines(), 1):
            if not line.strip():
                continue
            what, _, place = line.partition(",")
            word, _, count = what.strip().rpartition(" ")
            few = bool(word) and count.isdecimal() and len(count) < 4
            name = " ".join((word if few else what).split())[:40]
            if not name or (not few and not place.strip()):
                raise ValidationError(
                    f"Line {number}: write the tool and how many there are, for example: saw 1; or where it lies: "
                    "ladder, in the store."
                )
            found[name] = (int(count) if few else None, " ".join(place.split())[:120])
        return found

    @property
    def by_weekday(self) -> dict[str, str]:
        return {day: f"{hours.normalize():f}" for day in WEEKDAY_NAMES if (hours := self.cleaned_data[day]) is not None}

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        low, likely, high = (data.get(f"no_show_{name}") for name in ("low", "likely", "high"))
        if None not in (low, likely, high) and not low <= likely <= high:  # type: ignore[operator]
            raise ValidationError("At best, likely, at worst must rise, for example 5, 12, 30.")
        return data


class CorePersonForm(forms.Form):
    id = forms.CharField(required=False, widget=forms.HiddenInput)
    name = forms.CharField(label="Name", max_length=80)
    skills = forms.MultipleChoiceField(
        label="Good at", required=False, choices=[*SKILLS.items()], widget=forms.CheckboxSelectMultiple
    )
    take_out = forms.BooleanField(label="Take out", required=False)


CorePersonFormSet = forms.formset_factory(CorePersonForm, extra=0)


class HelperForm(forms.Form):
    """Somebody the plan may count on by name. ``id`` is empty for a new one."""

    id = forms.CharField(required=False, widget=forms.HiddenInput)
    name = forms.CharField(label="First name", max_length=40)
    skills = forms.MultipleChoiceField(
        label="Good at",
        required=False,
        choices=[(skill, SKILLS[skill]) for skill in OFFERED_SKILLS],
        widget=forms.CheckboxSelectMultiple,
    )
    lifting = forms.ChoiceField(label="Lifts", choices=LIFTING, initial="any")
    no_power_tools = forms.BooleanField(label="No powered tools", required=False)
    age = forms.ChoiceField(label="Age", choices=AGES, initial="adult")
    sure = forms.DecimalField(
        label="Comes, of a hundred times", min_value=0, max_value=100, decimal_places=0, initial=88
    )
    days = forms.MultipleChoiceField(label="Can come on", required=False, widget=forms.CheckboxSelectMultiple)
    take_out = forms.BooleanField(label="Take out", required=False)

    def __init__(self, *args: Any, days: list[tuple[str, str]], **more: Any) -> None:
        super().__init__(*args, **more)
        self.fields["days"].choices = days  # type: ignore[attr-defined]

    def document(self, before: dict[str, Any], taken_ids: set[str]) -> dict[str, Any]:
        data = self.cleaned_data
        made = {**before, "id": before.get("id") or new_id(data["name"], taken_ids), "name": data["name"]}
        sure = f"{(data['sure'] / 100).normalize():f}"
        for name, value, usual in (
            ("skills", in_order(data["skills"], before.get("skills", [])), []),
            ("lifting", data["lifting"], "any"),
            ("power_tools", not data["no_power_tools"], True),
            ("age", data["age"], "adult"),
            ("days", in_order(data["days"], before.get("days", [])), []),
            ("sure", sure, "0.88"),
        ):
            if name == "sure" and name in before and Decimal(str(before[name])) == Decimal(sure):
                continue
            if name in before or value != usual:
                made[name] = value
        return made


def in_order(chosen: list[str], before: list[str]) -> list[str]:
    """What was there stays in its place, so that ticking one box is one edit."""
    return [one for one in before if one in chosen] + [one for one in chosen if one not in before]


HelperFormSet = forms.formset_factory(HelperForm, extra=0)


WEEKDAYS = (("0", "Mon"), ("1", "Tue"), ("2", "Wed"), ("3", "Thu"), ("4", "Fri"), ("5", "Sat"), ("6", "Sun"))


class HallHoursForm(forms.Form):
    """Hours on some weekdays at which the landlord lets people in."""

    weekdays = forms.MultipleChoiceField(
        label="On",
        choices=WEEKDAYS,
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": "Tick the weekdays these hours are for, or take them out."},
    )
    start = TimeOfDay(label="From")
    end = TimeOfDay(label="Until")
    quiet_from = TimeOfDay(label="No noise after", required=False)
    take_out = forms.BooleanField(label="Take these hours out", required=False)

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if data.get("take_out"):
            self.errors.clear()
            return data
        start, end = data.get("start"), data.get("end")
        if start and end and end <= start:
            self.add_error("end", f"{end} is not after {start}. For example 08:00 to 21:00.")
        return data

    def document(self) -> dict[str, Any]:
        data = self.cleaned_data
        made = {"weekdays": [int(day) for day in data["weekdays"]], "start": data["start"], "end": data["end"]}
        return made | ({"quiet_from": data["quiet_from"]} if data["quiet_from"] else {})


HallHoursFormSet = forms.formset_factory(HallHoursForm, extra=0)


class DatesForm(forms.Form):
    lease_start = day_field("Lease starts")
    opening_wish = day_field("Wished opening")
    announced = day_field("Announced opening", required=False)
    holidays = forms.CharField(
        label="Holidays",
        required=False,
        widget=forms.Textarea(attrs={"rows": 4, "spellcheck": "false"}),
        help_text="One a line, date and name, for example 2027-02-15 Town holiday",
    )

    def clean_holidays(self) -> list[dict[str, str]]:
        found = []
        for number, line in enumerate(str(self.cleaned_data["holidays"]).splitlines(), 1):
            if not line.strip():
                continue
            day, _, name = line.strip().partition(" ")
            try:
                found.append({"date": date.fromisoformat(day).isoformat(), "name": name.strip() or "Holiday"})
            except ValueError:
                raise ValidationError(f"Line {number}: write it like 2027-02-15 Town holiday.") from None
        return found

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        lease, wish = data.get("lease_start"), data.get("opening_wish")
        if lease and wish and wish <= lease:
            self.add_error("opening_wish", "The opening comes after the lease starts, for example four months later.")
        return data
