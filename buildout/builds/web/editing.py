"""Forms that edit one part of a plan: what is typed stays typed, what is wrong is said beside the field."""

from __future__ import annotations

import json
import types
import typing
from collections.abc import Mapping, Sequence
from datetime import date
from decimal import Decimal
from typing import Any, ClassVar

import msgspec
from django import forms
from django.http import HttpRequest

from buildout.builds.web import services as builds
from buildout.builds.web.models import Build, Proposal
from buildout.people.web.models import User
from buildout.units.lengths import Length, LengthError, parse_length

Choices = Sequence[tuple[str, str]]


def person(request: HttpRequest) -> User:
    """Who is signed in; for views behind ``login_required``."""
    if not isinstance(request.user, User):
        raise TypeError("a view without login_required asked who is signed in")
    return request.user


class LengthField(forms.CharField):
    """A length as people write it. It is kept as typed once it reads without guessing."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("widget", forms.TextInput(attrs={"autocomplete": "off", "spellcheck": "false"}))
        super().__init__(**kwargs)

    def clean(self, value: Any) -> str:
        text = str(super().clean(value) or "").strip()
        if text:
            try:
                parse_length(text)
            except LengthError as error:
                raise forms.ValidationError(str(error)) from error
        return text


def whole(text: str, otherwise: int = 0) -> int:
    """A whole number of up to nine plain digits out of an address or a form; ``otherwise`` for anything else.

    >>> whole("12"), whole("²"), whole("9" * 5000), whole("-1", 3)
    (12, 0, 0, 3)
    """
    return int(text) if text.isascii() and text.isdigit() and len(text) <= 9 else otherwise


def example(units: str, feet: str, metric: str) -> str:
    """An example as people of this build write it."""
    return metric if units == "metric" else feet


class AmountField(forms.DecimalField):
    """A plain number with a decimal point: money, a share, a count."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("widget", forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}))
        kwargs.setdefault("min_value", Decimal(0))
        kwargs.setdefault("max_value", Decimal(10) ** 12)
        kwargs.setdefault("max_digits", 18)
        super().__init__(**kwargs)
        self.error_messages["invalid"] = "Write a plain number with a decimal point, for example 12.50."

    def prepare_value(self, value: Any) -> Any:
        return f"{value:f}" if isinstance(value, Decimal) else value


class DayField(forms.DateField):
    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("widget", forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"}))
        super().__init__(**kwargs)
        self.error_messages["invalid"] = "Write a day such as 2027-03-13."


def amount_text(value: Any) -> str:
    """A number as the plan keeps it.

    >>> amount_text(Decimal("12.50"))
    '12.50'
    """
    return f"{Decimal(str(value)):f}"


class PartForm(forms.Form):
    """A form for one part of a plan, its fields made from the part's type.

    ``labels`` names the fields in the order they are shown. What a field must be comes from ``part``.
    """

    part: ClassVar[type[msgspec.Struct]]
    labels: ClassVar[Mapping[str, str]]
    hints: ClassVar[Mapping[str, str]] = {}
    long: ClassVar[Sequence[str]] = ("note",)
    """Fields for more than a line."""
    groups: ClassVar[Sequence[tuple[str, Sequence[str]]]] = ()
    """Legends with the names of their fields, for forms too long to be one list."""

    def __init__(self, *args: Any, choices: Mapping[str, Choices] | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        known = {field.name: field for field in msgspec.structs.fields(self.part)}
        kinds = typing.get_type_hints(self.part)
        for name, label in self.labels.items():
            field = known[name]
            required = field.default is msgspec.NODEFAULT and field.default_factory is msgspec.NODEFAULT
            made = self._field(kinds[name], required, (choices or {}).get(name), name)
            made.label, made.help_text = label, self.hints.get(name, "")
            if name not in self.initial and field.default is not msgspec.NODEFAULT:
                made.initial = field.default
            self.fields[name] = made

    def grouped(self) -> list[tuple[str, list[forms.BoundField]]]:
        """Fields by legend; what stands in no group comes first."""
        named = {name for _, names in self.groups for name in names}
        rest = [self[name] for name in self.fields if name not in named]
        found = [(legend, [self[name] for name in names if name in self.fields]) for legend, names in self.groups]
        return [("", rest), *found] if rest else found

    def _field(self, kind: Any, required: bool, choices: Choices | None, name: str) -> forms.Field:
        if isinstance(kind, types.UnionType) or typing.get_origin(kind) is typing.Union:
            kind = next(k for k in typing.get_args(kind) if k is not type(None))
            required = False
        if choices is not None:
            found = list(choices) if required else [("", "none"), *(c for c in choices if c[0])]
            return forms.ChoiceField(choices=found, required=required)
        if typing.get_origin(kind) is typing.Literal:
            values = [str(value) for value in typing.get_args(kind)]
            made = forms.ChoiceField(choices=[(value, value or "none") for value in values], required=required)
            made.unmarked = True  # type: ignore[attr-defined]  # one of them is always chosen
            return made
        if kind is Length:
            return LengthField(required=required)
        if kind is bool:
            return forms.BooleanField(required=False)
        if kind is Decimal:
            return AmountField(required=required)
        if kind is int:
            return forms.IntegerField(
                required=required, min_value=0, max_value=10**6,
                widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
            )  # fmt: skip
        if kind is date:
            return DayField(required=required)
        if name in self.long:
            return forms.CharField(required=required, max_length=4000, widget=forms.Textarea(attrs={"rows": 2}))
        return forms.CharField(required=required, max_length=200)

    def edited(self, before: Mapping[str, Any]) -> dict[str, Any]:
        """``before`` with what was typed; fields left empty are left out, as the plan's defaults say."""
        after = dict(before)
        for name in self.labels:
            value = self.cleaned_data.get(name)
            if value is None or value == "":
                after.pop(name, None)
            elif isinstance(value, Decimal):
                after[name] = amount_text(value)
            elif isinstance(value, date):
                after[name] = value.isoformat()
            else:
                after[name] = value
        return after


def fitting_id(wanted: str, taken: Sequence[str], otherwise: str) -> str:
    """A short name for a new thing that nothing else has.

    >>> fitting_id("Cloudberry Foam & Felt", ["cloudberry-foam-felt"], "supplier")
    'cloudberry-foam-felt-2'
    """
    words = "".join(c if c.isascii() and c.isalnum() else " " for c in wanted.lower()).split()
    stem = "-".join(words)[:50].strip("-") or otherwise
    name, number = stem, 1
    while name in taken:
        number += 1
        name = f"{stem}-{number}"
    return name


def show_problems(
    form: forms.BaseForm,
    problems: Sequence[builds.Problem],
    under: str,
    *,
    places: Mapping[str, str] | None = None,
    within: Mapping[str, forms.BaseForm] | None = None,
) -> None:
    """Put what the plan's check found beside the field it came from.

    ``under`` is the JSON pointer of the part the form edits. ``within`` gives forms for deeper parts, by pointer.
    ``places`` sends pointers relative to ``under`` to a field of another name; the longest that fits wins. What fits
    nowhere stands above the form.
    """
    whole = {under: form, **(within or {})}
    for problem in problems:
        fits = [pointer for pointer in whole if problem.pointer.startswith(f"{pointer}/")]
        at = max(fits, key=len, default=under)
        _show(whole[at], problem, at if fits else None, places or {})


def typed_example(example: str) -> str:
    """An example of the build file as it is typed into a field, where it is one plain value.

    >>> typed_example('"length": "96 in"'), typed_example('"6 ft"'), typed_example("1")
    ('96 in', '6 ft', '1')
    >>> typed_example('[{"role": "base"}, …]')
    '[{"role": "base"}, …]'
    """
    for text, whole in ((f"{{{example}}}", False), (example, True)):
        try:
            found = json.loads(text)
        except ValueError:
            continue
        value = found if whole else next(iter(found.values()), None)
        if isinstance(value, str) and value:
            return value
    return example


def _show(form: forms.BaseForm, problem: builds.Problem, under: str | None, places: Mapping[str, str]) -> None:
    text = problem.message
    for name, field in form.fields.items():
        text = text.replace(f'"{name}"', f"“{field.label}”")
    if problem.example:
        text += f" For example {typed_example(problem.example)}."
    name = ""
    if under is not None:
        rest = problem.pointer.removeprefix(f"{under}/")
        fits = [place for place in places if rest == place or rest.startswith(f"{place}/")]
        name = places[max(fits, key=len)] if fits else rest.split("/")[0]
    form.add_error(name if name in form.fields else None, text)


def propose_from(
    form: forms.BaseForm,
    build: Build,
    user: User,
    document: dict[str, Any],
    summary: str,
    *,
    under: str,
    places: Mapping[str, str] | None = None,
    within: Mapping[str, forms.BaseForm] | None = None,
) -> Proposal | None:
    """Propose an edited plan; None when the form now says what is wrong with it."""
    try:
        return builds.propose(build, user, document, summary)
    except builds.DocumentProblems as error:
        show_problems(form, error.problems, under, places=places, within=within)
        return None
