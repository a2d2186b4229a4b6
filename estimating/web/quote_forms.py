"""What is typed of suppliers and of their quotes, in whatever form they come."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any, get_args

from django import forms

from buildout.builds.web.editing import Choices, DayField, PartForm
from buildout.units.dates import date_text
from estimating.engine.price_text import (
    BREAKS_EXAMPLE,
    ZONES_EXAMPLE,
    BreaksError,
    read_breaks,
    read_zones,
    write_breaks,
    write_zones,
)
from estimating.engine.types import Contact, Discount, Freight, FreightService, Quote, QuoteLine, Supplier


class SupplierForm(PartForm):
    part = Supplier
    labels = {
        "name": "Name", "contact": "Who to ask for", "phone": "Telephone", "email": "E-mail", "terms": "Terms",
        "deposit_percent": "Deposit, %", "balance_days": "Rest of the money, days after delivery",
        "minimum_order": "Smallest order, money", "restocking_percent": "Kept when goods are taken off or back, %",
        "usual_lead_days": "Lead time they usually name, working days",
        "note": "Note",
    }  # fmt: skip
    services = forms.MultipleChoiceField(
        label="Ways they bring goods", required=False, widget=forms.CheckboxSelectMultiple,
        choices=[(way, way) for way in get_args(FreightService)],
        help_text="Kerbside: you unload from the street. Lift-gate: the driver lowers it to the ground.",
    )  # fmt: skip
    holidays = forms.CharField(
        label="Closed on",
        required=False,
        max_length=2000,
        help_text="Days with spaces between them, for example 2027-04-12 2027-05-31",
    )
    field_order = ["name", "contact", "phone", "email", "terms", "deposit_percent", "balance_days", "minimum_order",
                   "restocking_percent", "usual_lead_days", "services", "holidays", "note"]  # fmt: skip

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if isinstance(self.initial.get("holidays"), list):
            self.initial = {**self.initial, "holidays": " ".join(self.initial["holidays"])}
        self.order_fields(self.field_order)

    def clean_holidays(self) -> list[str]:
        found = []
        for word in str(self.cleaned_data["holidays"]).replace(",", " ").split():
            day = DayField(required=True)
            found.append(day.clean(word).isoformat())
        return sorted(set(found))

    def edited(self, before: Mapping[str, Any]) -> dict[str, Any]:
        after = super().edited(before)
        for name in ("holidays", "services"):
            if self.cleaned_data[name]:
                after[name] = self.cleaned_data[name]
            else:
                after.pop(name, None)
        return after


class ContactForm(PartForm):
    """One more person at a supplier; a row without a name says nothing."""

    part = Contact
    labels = {"name": "Name", "about": "Looks after", "phone": "Telephone", "email": "E-mail"}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["name"].required = False
        for field in self.fields.values():
            field.unmarked = True  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if not data.get("name") and any(data.get(name) for name in ("about", "phone", "email")):
            self.add_error("name", "Say who this is, for example: Wilf, dispatch.")
        return data


class QuoteForm(PartForm):
    part = Quote
    labels = {
        "supplier": "Supplier", "currency": "Currency", "quoted": "Date of the quote", "valid_until": "Valid until",
        "lead_days_low": "Lead time at best, working days", "lead_days_likely": "Lead time, likely",
        "lead_days_high": "Lead time at worst", "tax_included": "Prices include tax",
        "tax_percent": "Tax they reckon with, %", "deposit_percent": "Deposit they ask for, %", "note": "Note",
    }  # fmt: skip
    hints = {
        "currency": "Three letters of ISO 4217, the same as the build counts in",
        "lead_days_low": "From order to goods at the door. If they name one figure, use it three times.",
        "tax_percent": "Empty: the rate of the budget",
        "deposit_percent": "Empty: what they usually ask",
    }

    def __init__(self, *args: Any, today: date | None = None, **kwargs: Any) -> None:
        """``today``: for a quote that is new, so that one which has run out is not typed in unawares."""
        super().__init__(*args, **kwargs)
        self.today = today

    def clean_currency(self) -> str:
        return str(self.cleaned_data["currency"]).strip().upper()

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if data.get("quoted") and data.get("valid_until") and data["valid_until"] < data["quoted"]:
            self.add_error("valid_until", "This is before the date of the quote.")
        elif self.today and data.get("valid_until") and data["valid_until"] < self.today:
            said = (
                f"It ran out on {date_text(data['valid_until'])}: ask them for a new date in writing, then type that."
            )
            self.add_error("valid_until", said)
        if self.today and data.get("quoted") and data["quoted"] > self.today:
            self.add_error("quoted", f"This day is still to come; today is {date_text(self.today)}.")
        names = ("lead_days_low", "lead_days_likely", "lead_days_high")
        days = [data.get(name) for name in names]
        for low, high, name in zip(days, days[1:], names[1:], strict=False):
            if low is not None and high is not None and high < low:
                self.add_error(name, f"{high} is less than {low}. Best, likely, worst: for example 12, 15, 20.")
        return data


class FreightForm(PartForm):
    part = Freight
    labels = {
        "form": "Freight is charged", "amount": "Amount", "free_over": "Included over goods of",
        "per": "By weight: the amount is for", "at_least": "By unit or weight: never less than",
        "service": "Brought to",
    }  # fmt: skip
    hints = {"amount": "Once, for each unit, or for each 100 lb", "free_over": "Only where they include it over a sum"}
    zones = forms.CharField(
        label="By zone: what each zone costs", required=False, max_length=1000,
        help_text=f"From their zone map, for example {ZONES_EXAMPLE}",
    )  # fmt: skip
    zone = forms.CharField(label="Zone the school lies in", required=False, max_length=60)
    field_order = ["form", "amount", "free_over", "per", "at_least", "zones", "zone", "service"]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["form"].choices = [  # type: ignore[attr-defined]
            ("flat", "once for the order, or not at all"), ("per unit", "for each unit"), ("by weight", "by weight"),
            ("by zone", "by zone"), ("free over", "once, included over a sum"),
        ]  # fmt: skip
        if isinstance(self.initial.get("zones"), list):
            self.initial = {**self.initial, "zones": write_zones(self.initial["zones"])}
        self.order_fields(self.field_order)

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        data["table"] = []
        try:
            data["table"] = read_zones(str(data.get("zones", "")))
        except BreaksError as error:
            self.add_error("zones", str(error))
        if data.get("form") == "by zone" and "zones" not in self.errors:
            names = [zone["name"] for zone in data["table"]]
            if not names:
                self.add_error("zones", f"Say what each zone costs, for example {ZONES_EXAMPLE}")
            elif data.get("zone") not in names:
                self.add_error("zone", f"Say which of {', '.join(names)} the school lies in.")
        if data.get("form") == "free over" and data.get("free_over") is None and "free_over" not in self.errors:
            self.add_error("free_over", "Say from what sum of goods the freight is free, for example 1500.")
        if data.get("form") != "free over":
            data["free_over"] = None
        return data

    def edited(self, before: Mapping[str, Any]) -> dict[str, Any]:
        after = super().edited(before)
        if self.cleaned_data["form"] != "by weight":
            after.pop("per", None)
        after.pop("zones", None)
        after.pop("zone", None)
        if self.cleaned_data["table"]:
            after["zones"] = self.cleaned_data["table"]
            if self.cleaned_data["zone"]:
                after["zone"] = self.cleaned_data["zone"]
        return after


class DiscountForm(PartForm):
    """So much off; a row without a percentage says nothing."""

    part = Discount
    labels = {"percent": "Per cent off", "over": "From goods of"}
    hints = {"over": "Empty: whatever is bought", "percent": "For example 5"}
    items = forms.MultipleChoiceField(
        label="Only where all of these are bought together", required=False, widget=forms.CheckboxSelectMultiple,
        help_text="None ticked: the whole order",
    )  # fmt: skip

    def __init__(self, *args: Any, items: Choices, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["percent"].required = False
        self.fields["percent"].unmarked = True  # type: ignore[attr-defined]
        self.fields["items"].choices = list(items)  # type: ignore[attr-defined]
        self.order_fields(["percent", "over", "items"])

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if data.get("percent") is None and "percent" not in self.errors and (data.get("items") or data.get("over")):
            self.add_error("percent", "Say how much comes off, for example 5.")
        return data

    def edited(self, before: Mapping[str, Any]) -> dict[str, Any]:
        after = super().edited(before)
        after.pop("items", None)
        if self.cleaned_data["items"]:
            after["items"] = self.cleaned_data["items"]
        return after


class QuoteLineForm(PartForm):
    part = QuoteLine
    labels = {
        "item": "Item", "unit": "Priced by", "form": "Breaks", "pack": "Sold in multiples of",
        "set_up": "Set-up charge",
        "goods_width": "Width of their goods", "goods_length": "Length of their roll, sheet or piece",
        "goods_thickness": "Thickness they reckon with", "per_pack": "Pieces in their bundle or box",
        "quoted_for": "Quoted for, counted as in the take-off",
        "mass": "Weight of one", "mass_unit": "Weight in", "extra_per_cutout": "Extra for each cut-out",
        "extra_per_band_foot": "Extra for each foot of band", "substitute": "They offer instead",
        "substitute_accepted": "That is good enough: compare it", "note": "Note",
    }  # fmt: skip
    long = ()
    hints = {
        "goods_width": "Turns a running yard into area; empty: as asked",
        "goods_thickness": "For board feet, with the width: 2 in and 4 in for what is called a 2×4",
        "quoted_for": "Warns when more is needed later",
        "mass": "Where freight goes by weight and the goods' own weight is not known",
        "substitute": "Empty: exactly what was asked for",
        "substitute_accepted": "After its data sheet, its fire papers and a sample",
    }
    breaks = forms.CharField(
        label="Prices", required=False, max_length=1000,
        help_text=f"From which quantity which unit price: {BREAKS_EXAMPLE}",
    )  # fmt: skip
    field_order = ["item", "unit", "breaks", "form", "pack", "goods_width", "set_up", "extra_per_cutout",
                   "extra_per_band_foot", "goods_length", "goods_thickness", "per_pack", "quoted_for", "mass",
                   "mass_unit", "substitute", "substitute_accepted", "note"]  # fmt: skip

    def __init__(self, *args: Any, skippable: bool = False, **kwargs: Any) -> None:
        """``skippable``: a line put there for the seller to answer; without a price it says nothing."""
        super().__init__(*args, **kwargs)
        self.skippable = skippable
        self.asked = self.conversion = ""
        """What is needed of it, and how that becomes what the line sells by."""
        self.fields["item"].required = False
        for name in ("item", "breaks"):
            self.fields[name].unmarked = True  # type: ignore[attr-defined]
        self.fields["form"].choices = [  # type: ignore[attr-defined]
            ("all units", "the price reached holds for all units"),
            ("incremental", "each price only for its own range"),
        ]
        if isinstance(self.initial.get("breaks"), list):
            self.initial = {**self.initial, "breaks": write_breaks(self.initial["breaks"])}
        self.order_fields(self.field_order)

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if self.skippable and not data.get("breaks"):
            self._errors.clear()  # type: ignore[attr-defined]
            return {"item": ""}
        if data.get("item"):
            try:
                data["table"] = read_breaks(str(data.get("breaks", "")))
            except BreaksError as error:
                self.add_error("breaks", str(error))
        elif data.get("breaks"):
            self.add_error("item", "Choose what these prices are for.")
        elif not self.data.get(self.add_prefix("item")):
            self._errors.clear()  # type: ignore[attr-defined]  # a line left empty says nothing
        return data

    main = ("item", "unit", "breaks", "form", "pack", "goods_width")

    @property
    def main_fields(self) -> list[forms.BoundField]:
        return [self[name] for name in self.main]

    @property
    def more_fields(self) -> list[forms.BoundField]:
        """What few quotes say."""
        return [field for field in self if field.name not in self.main]

    @property
    def says_more(self) -> bool:
        plain: tuple[Any, ...] = (None, "", False, "0", 0, "lb")
        told = [field for field in self.more_fields if field.name != "quoted_for" or field.errors]
        return any(field.errors or field.value() not in plain for field in told)

    def edited(self, before: Mapping[str, Any]) -> dict[str, Any]:
        after = super().edited(before) | {"breaks": self.cleaned_data["table"]}
        if self.cleaned_data["mass"] is None:
            after.pop("mass_unit", None)
        if not self.cleaned_data["substitute"]:
            after.pop("substitute_accepted", None)
        elif not self.cleaned_data["substitute_accepted"]:
            after["substitute_accepted"] = False
        return after
