"""What is typed when suppliers are asked: requests, calls, samples."""

from __future__ import annotations

from datetime import date
from typing import Any, get_args

from django import forms

from buildout.builds.web.editing import Choices, DayField, example
from buildout.units.dates import date_text
from estimating.engine.price_list import MEANINGS, ColumnPlan, Meaning
from estimating.engine.rfq import Site
from estimating.engine.types import FreightService
from estimating.web.papers import PaperError, read_paper, read_report


class RequestForm(forms.Form):
    """To whom, until when, and what holds for all lines."""

    reply_by = DayField(label="Answers wanted by")
    suppliers = forms.MultipleChoiceField(
        label="Ask these suppliers", widget=forms.CheckboxSelectMultiple, help_text="All get the same text",
        error_messages={"required": "Tick at least one supplier; three make a comparison."},
    )  # fmt: skip
    drawings = forms.MultipleChoiceField(
        label="Drawings that go with it", required=False, widget=forms.CheckboxSelectMultiple
    )
    place = forms.CharField(label="Deliver to", required=False, max_length=300)
    door = forms.CharField(label="Way in", required=False, max_length=200)
    unloading = forms.ChoiceField(label="Brought to", choices=[(way, way) for way in get_args(FreightService)])
    dock = forms.BooleanField(label="There is a loading dock", required=False)
    contact = forms.CharField(
        label="Contact on site", required=False, max_length=200, help_text="A name and a telephone that is answered"
    )
    window = forms.CharField(
        label="Goods can be taken in", required=False, max_length=200, help_text="For example: Tue to Sat, 9 to 4"
    )
    payment = forms.CharField(
        label="Payment wished for", required=False, max_length=200, help_text="Empty: they state their terms"
    )
    note = forms.CharField(
        label="Note to all", required=False, max_length=1000, widget=forms.Textarea(attrs={"rows": 2})
    )

    def __init__(
        self,
        *args: Any,
        suppliers: Choices,
        drawings: Choices,
        today: date,
        units: str = "feet-inches",
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        wide = example(units, "10 ft", "3 m")
        self.fields["door"].help_text = f"For example: roller door {wide} wide, sill level"
        self.today = today
        self.fields["suppliers"].choices = list(suppliers)  # type: ignore[attr-defined]
        self.fields["drawings"].choices = list(drawings)  # type: ignore[attr-defined]
        self.fields["unloading"].unmarked = True  # type: ignore[attr-defined]

    def clean_reply_by(self) -> date:
        day: date = self.cleaned_data["reply_by"]
        if day < self.today:
            raise forms.ValidationError(f"This day is past; today is {date_text(self.today)}.")
        return day

    @property
    def site(self) -> Site:
        data = self.cleaned_data
        texts = {name: data[name].strip() for name in ("place", "door", "contact", "window", "payment", "note")}
        return Site(unloading=data["unloading"], dock=data["dock"], **texts)


class RequestLineForm(forms.Form):
    """Whether one take-off line is asked for, and what else is said of it."""

    asked = forms.BooleanField(required=False)
    wish = forms.CharField(required=False, max_length=200)
    sample = forms.BooleanField(required=False)

    def __init__(self, *args: Any, line: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.line = line
        for name, label in (("asked", "Ask for"), ("wish", "Colour, grade, wish:"), ("sample", "Sample of")):
            self.fields[name].widget.attrs["aria-label"] = f"{label} {line.name}"


class CallForm(forms.Form):
    spoke_with = forms.CharField(label="Spoke with", required=False, max_length=120)
    said = forms.CharField(
        label="What was said", max_length=2000, widget=forms.Textarea(attrs={"rows": 3}),
        error_messages={"required": "Write what was said, for example: will call back on Tuesday."},
    )  # fmt: skip
    next_step = forms.CharField(
        label="Next step", required=False, max_length=200, help_text="For example: ring again about the sample"
    )
    due = DayField(label="On", required=False)
    settles = forms.BooleanField(label="Steps agreed before are done with this", required=False)

    def __init__(self, *args: Any, today: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.today = today

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if data.get("due") and not data.get("next_step"):
            self.add_error("next_step", "Say what is to happen on that day, for example: ring again.")
        if data.get("next_step") and not data.get("due") and "due" not in self.errors:
            self.add_error("due", "Say on which day, so that it can be put before you then.")
        if data.get("due") and data["due"] < self.today:
            self.add_error("due", f"This day is past; today is {date_text(self.today)}.")
        return data


class SampleForm(forms.Form):
    what = forms.CharField(
        label="Sample of", max_length=120, error_messages={"required": "Say what of, for example: top foam, grey."}
    )
    asked = DayField(label="Asked for on")


class SampleCameForm(forms.Form):
    received = DayField(label="Came on")
    found = forms.CharField(
        label="What it is like, where it is kept", required=False, max_length=300,
        help_text="Stacked as it will lie: barefoot, a knee, then wet with the cleaner",
    )  # fmt: skip

    def __init__(self, *args: Any, asked: date, today: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.asked, self.today = asked, today

    def clean_received(self) -> date:
        day: date = self.cleaned_data["received"]
        if day < self.asked:
            raise forms.ValidationError(f"It was asked for on {date_text(self.asked)}; it cannot have come earlier.")
        if day > self.today:
            raise forms.ValidationError(f"This day is still to come; today is {date_text(self.today)}.")
        return day


class PaperForm(forms.Form):
    file = forms.FileField(
        label="File", help_text="A PDF, a JPEG or PNG picture, or a table saved as CSV; up to 12 MB",
        error_messages={"required": "Choose the file they sent.", "empty": "The file is empty."},
    )  # fmt: skip
    supplier = forms.ChoiceField(label="From", required=False)

    def __init__(self, *args: Any, suppliers: Choices, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["supplier"].choices = [("", "choose"), *suppliers]  # type: ignore[attr-defined]

    def clean_file(self) -> tuple[str, str, bytes]:
        """(name, kind, bytes)."""
        file = self.cleaned_data["file"]
        try:
            kind, data = read_paper(file, file.size)
        except PaperError as error:
            raise forms.ValidationError(str(error)) from error
        return str(file.name)[-120:], kind, data


class ReportForm(forms.Form):
    """The report on one product, as its maker sent it."""

    file = forms.FileField(
        label="File", help_text="A PDF, or a JPEG or PNG picture of the paper; up to 12 MB",
        widget=forms.FileInput(attrs={"accept": "application/pdf,image/jpeg,image/png"}),
        error_messages={"required": "Choose the file of the report.", "empty": "The file is empty."},
    )  # fmt: skip
    dated = DayField(label="Date on the report", required=False, help_text="Reports run out: authorities ask how old")

    def __init__(self, *args: Any, today: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.today = today

    def clean_file(self) -> tuple[str, str, bytes]:
        """(name, kind, bytes)."""
        file = self.cleaned_data["file"]
        try:
            kind, data = read_report(file, file.size)
        except PaperError as error:
            raise forms.ValidationError(str(error)) from error
        return str(file.name)[-120:], kind, data

    def clean_dated(self) -> date | None:
        day: date | None = self.cleaned_data["dated"]
        if day is not None and day > self.today:
            raise forms.ValidationError(f"This day is still to come; today is {date_text(self.today)}.")
        return day


class ColumnsForm(forms.Form):
    """Which column of a table is what, and which item each description means."""

    heading = forms.BooleanField(label="The first row names the columns", required=False)
    decimal = forms.ChoiceField(
        label="Numbers are written", choices=[(".", "with a point: 1,234.50"), (",", "with a comma: 1.234,50")]
    )

    def __init__(
        self, *args: Any, plan: ColumnPlan, first: list[str], texts: list[str], items: Choices, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.columns = [f"column-{n}" for n in range(len(plan.columns))]
        for n, name in enumerate(self.columns):
            title = first[n] if n < len(first) and first[n] else f"Column {n + 1}"
            self.fields[name] = forms.ChoiceField(
                label=title[:60], required=False, choices=list(MEANINGS.items()), initial=plan.columns[n]
            )
            self.fields[name].unmarked = True  # type: ignore[attr-defined]
        self.texts = {f"text-{n}": text for n, text in enumerate(texts)}
        for name, text in self.texts.items():
            self.fields[name] = forms.ChoiceField(
                label=text[:80], required=False, choices=[("", "nothing we ask for"), *items]
            )
            self.fields[name].unmarked = True  # type: ignore[attr-defined]
        self.fields["heading"].initial, self.fields["decimal"].initial = plan.heading, plan.decimal
        self.fields["decimal"].unmarked = True  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        chosen = [data.get(name, "") for name in self.columns]
        needed: tuple[Meaning, ...] = ("item", "price")
        single: tuple[Meaning, ...] = ("item", "from", "unit", "pack", "currency", "lead", "valid")
        for meaning in needed:
            if meaning not in chosen:
                self.add_error(None, f"Say which column is “{MEANINGS[meaning]}”.")
        for meaning in single:
            if chosen.count(meaning) > 1:
                self.add_error(None, f"Two columns cannot both be “{MEANINGS[meaning]}”.")
        return data

    @property
    def plan(self) -> ColumnPlan:
        data = self.cleaned_data
        return ColumnPlan(
            columns=[data[name] for name in self.columns], heading=data["heading"], decimal=data["decimal"]
        )
