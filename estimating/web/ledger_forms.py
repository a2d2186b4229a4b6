"""What is typed for the ledger: invoices, credit notes, payments, draws from contingency, reversals."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django import forms

from buildout.builds.web.editing import AmountField, Choices, DayField
from buildout.units.money import format_money, round_money, smallest
from estimating.web.forms import HEAD_CHOICES


class LedgerForm(forms.Form):
    """Amounts of money are whole cents, as on any paper; nothing typed is rounded behind anybody's back."""

    counts: tuple[str, ...] = ()
    """Amounts that are no money."""

    def __init__(self, *args: Any, currency: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.currency = currency

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        for name, field in self.fields.items():
            amount = data.get(name)
            if not isinstance(field, AmountField) or name in self.counts or amount is None:
                continue
            rounded = round_money(amount, self.currency)
            if amount != rounded:
                least = format_money(smallest(self.currency), self.currency)
                self.add_error(name, f"Money goes down to {least} here: write for example {rounded:f}.")
        return data


class PaperForm(LedgerForm):
    """An invoice or credit note. Its total as printed may be typed as well, to be held against its parts."""

    printed = AmountField(
        label="Total on the paper", required=False, help_text="Held against the sum of what is typed; may stay empty"
    )

    def adds_up(self, amount: Decimal) -> bool:
        """True unless a total was typed that is not the sum of the parts."""
        told = self.cleaned_data.get("printed")
        if told is None or told == amount:
            return True
        apart = format_money(abs(told - amount), self.currency)
        self.add_error(
            "printed",
            f"The amounts typed come to {format_money(amount, self.currency)}, the paper says {apart} "
            f"{'more' if told > amount else 'less'}: look at each, freight and tax too.",
        )
        return False


class InvoiceForm(PaperForm):
    reference = forms.CharField(label="Number of the invoice", max_length=80)
    day = DayField(label="Date of the invoice")
    due = DayField(label="To be paid by", required=False)
    freight = AmountField(label="Freight", required=False)
    tax = AmountField(label="Tax", required=False)
    note = forms.CharField(label="Note", required=False, max_length=300)
    field_order = ("reference", "day", "due", "freight", "tax", "printed")


class InvoiceLineForm(LedgerForm):
    counts = ("quantity",)
    quantity = AmountField(label="Quantity invoiced", required=False)
    goods = AmountField(label="Amount without tax", required=False)

    def __init__(self, *args: Any, line: Any, billed: Decimal, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.line = line
        open_part = max(line.standing.received - billed, Decimal(0))
        self.fields["quantity"].initial = open_part
        if line.due:
            self.fields["goods"].initial = round_money(line.goods * open_part / line.due, self.currency)

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if data.get("quantity") and data.get("goods") is None and "goods" not in self.errors:
            self.add_error("goods", "Type what they ask for it, for example 315.00.")
        return data

    def billed(self) -> dict[str, str]:
        data = self.cleaned_data
        return {
            "item": self.line.item, "name": self.line.name, "quantity": f"{data['quantity'] or Decimal(0):f}",
            "goods": f"{data['goods'] or Decimal(0):f}",
        }  # fmt: skip


class CreditForm(PaperForm):
    """A supplier's credit note; amounts as on the paper, without a minus."""

    reference = forms.CharField(label="Number of the credit note", max_length=80)
    day = DayField(label="Date of the credit note")
    settles = forms.ChoiceField(label="For which invoice", required=False)
    due = DayField(label="Money back by", required=False, help_text="Only when they pay it back")
    freight = AmountField(label="Freight credited", required=False)
    tax = AmountField(label="Tax credited", required=False)
    note = forms.CharField(label="Note", required=False, max_length=300)
    field_order = ("reference", "day", "settles", "due", "freight", "tax", "printed")

    def __init__(self, *args: Any, invoices: Choices, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["settles"].choices = [("", "it does not say"), *invoices]  # type: ignore[attr-defined]


class CreditLineForm(LedgerForm):
    counts = ("quantity",)
    quantity = AmountField(
        label="Quantity credited", required=False, help_text="Nothing where the goods stay and only cost less"
    )
    goods = AmountField(label="Amount credited, without tax", required=False)

    def __init__(self, *args: Any, line: Any, billed: Decimal, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.line, self.billed = line, billed

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if (data.get("quantity") or 0) > self.billed:
            self.add_error("quantity", f"Only {self.billed.normalize():f} {self.line.unit} are invoiced.")
        if data.get("quantity") and data.get("goods") is None and "goods" not in self.errors:
            self.add_error("goods", "Type what they credit for it, for example 63.00.")
        return data

    def credited(self) -> dict[str, str]:
        data = self.cleaned_data
        return {
            "item": self.line.item, "name": self.line.name, "quantity": f"{-(data['quantity'] or Decimal(0)):f}",
            "goods": f"{-(data['goods'] or Decimal(0)):f}",
        }  # fmt: skip


class BillCreditForm(PaperForm):
    """A credit note for a bill that no order stands behind; amounts as on the paper, without a minus."""

    settles = forms.ChoiceField(label="For which bill")
    reference = forms.CharField(label="Number of the credit note", max_length=80)
    day = DayField(label="Date of the credit note")
    due = DayField(label="Money back by", required=False, help_text="Only when they pay it back")
    goods = AmountField(label="Amount credited, without tax", required=False)
    tax = AmountField(label="Tax credited", required=False)
    note = forms.CharField(label="Note", required=False, max_length=300)
    field_order = ("settles", "reference", "day", "due", "goods", "tax", "printed")

    def __init__(self, *args: Any, bills: Choices, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["settles"].choices = bills  # type: ignore[attr-defined]


class BillForm(PaperForm):
    """A bill that no order stands behind: rent, a permit, a licensed trade."""

    head = forms.TypedChoiceField(label="Budget head", coerce=int, choices=HEAD_CHOICES)
    who = forms.CharField(label="From whom", max_length=120)
    reference = forms.CharField(label="Number of the invoice", max_length=80, required=False)
    day = DayField(label="Date of the invoice")
    due = DayField(label="To be paid by", required=False)
    goods = AmountField(label="Amount without tax")
    tax = AmountField(label="Tax", required=False)
    note = forms.CharField(label="Note", required=False, max_length=300)
    field_order = ("head", "who", "reference", "day", "due", "goods", "tax", "printed")


class PaymentForm(LedgerForm):
    settles = forms.ChoiceField(label="For", required=False)
    day = DayField(label="Day it was paid")
    amount = AmountField(label="Amount paid", min_value=Decimal("0.001"))
    reference = forms.CharField(label="Reference", max_length=80, required=False)

    def __init__(self, *args: Any, invoices: Choices, otherwise: str = "", **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        first = [("", otherwise)] if otherwise else []
        self.fields["settles"].choices = [*first, *invoices]  # type: ignore[attr-defined]
        self.fields["settles"].required = not otherwise
        self.fields["settles"].unmarked = True  # type: ignore[attr-defined]


class DrawForm(LedgerForm):
    head = forms.TypedChoiceField(label="Budget head", coerce=int, choices=HEAD_CHOICES)
    day = DayField(label="Day")
    amount = AmountField(label="Amount drawn", min_value=Decimal("0.001"))
    note = forms.CharField(label="What for", max_length=300, help_text="Everybody who sees the budget reads this")


class ReverseForm(forms.Form):
    note = forms.CharField(label="Why", max_length=300)
