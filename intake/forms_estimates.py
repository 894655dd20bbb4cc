"""The forms of estimates and of the owner's answer: parsing and messages."""

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any

from django import forms

from intake.billing import MOST_LINES, Row
from intake.forms_bench import AmountField, QuantityField
from intake.forms_money import ShopForm, SignedForm, paragraph, seen_revision
from intake.models import Answer
from intake.models.bills import LineKind

ROWS = "rows"
BLANK_ROWS = 3  # that an estimate's form offers below what is written


class EstimateForm(forms.Form):
    """What stands around an estimate's lines. `after` is the number of the latest one seen."""

    words = forms.CharField(
        label="What we propose",
        required=False,
        max_length=4000,
        widget=paragraph(3),
        help_text="In plain words: what is wrong, and what it takes.",
    )
    valid_until = forms.DateField(
        label="Valid until",
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        error_messages={
            "required": "Say until when the price holds.",
            "invalid": "Choose a day, like 2026-11-25.",
        },
    )
    after = seen_revision()

    def clean_valid_until(self) -> dt.date:
        day = self.cleaned_data["valid_until"]
        if day.year > 2200:
            raise forms.ValidationError("Choose a day that somebody alive will see.")
        return day


class RowForm(ShopForm):
    """A line of an estimate. One without words and without a price is left out."""

    kind = forms.ChoiceField(label="Kind", choices=LineKind.choices, initial=LineKind.LABOUR)
    text = forms.CharField(
        label="What for", max_length=200, error_messages={"required": "Say what it is for."}
    )
    quantity = QuantityField(label="Quantity", initial=1)
    unit_price = AmountField(
        label="Price each",
        error_messages={"required": "Write a price, or 0 if it costs nothing."},
    )

    def has_changed(self) -> bool:
        return any(self[name].data not in (None, "") for name in ("text", "unit_price"))

    def row(self) -> Row:
        said = self.cleaned_data
        unit = "h" if said["kind"] == LineKind.LABOUR else ""
        return Row(said["kind"], said["text"], said["quantity"], said["unit_price"], unit)


class BaseRows(forms.BaseFormSet):
    """The lines of an estimate. Every row may stay empty, those that were filled in for the person too."""

    default_error_messages = {
        "missing_management_form": "This page is incomplete. Load it again, then write the lines.",
        "too_many_forms": f"An estimate has at most {MOST_LINES} lines. Put some together.",
    }

    def initial_form_count(self) -> int:
        return 0

    def written(self) -> list[Row]:
        """The rows that somebody wrote, once the formset is valid."""
        return [form.row() for form in self.forms if form.has_changed()]


def rows_formset(
    currency: str, data: Any = None, rows: Sequence[Mapping[str, Any]] = (), more: int = BLANK_ROWS
) -> BaseRows:
    """The rows as a formset: as sent, or filled in with `rows` (field name -> value), then blank ones."""
    kind = forms.formset_factory(
        RowForm,
        formset=BaseRows,
        extra=len(rows) + more,
        max_num=MOST_LINES,
        absolute_max=MOST_LINES,
        validate_max=True,
    )
    return kind(data, initial=list(rows) or None, prefix=ROWS, form_kwargs={"currency": currency})


def typed_rows(data: Mapping[str, str]) -> list[dict[str, str]]:
    """The rows as somebody typed them so far, unread: what is wrong can wait until they are sent."""
    written = data.get(f"{ROWS}-TOTAL_FORMS", "")
    count = (
        min(int(written), MOST_LINES) if written.isascii() and written.isdigit() and len(written) < 4 else 0
    )
    return [
        {name: data.get(f"{ROWS}-{n}-{name}", "") for name in ("kind", "text", "quantity", "unit_price")}
        for n in range(count)
    ]


class AnswerForm(SignedForm):
    """The owner's word on an estimate."""

    yes = forms.TypedChoiceField(
        label="What does the owner say?",
        choices=[("yes", "Go ahead"), ("no", "No, leave it")],
        coerce=lambda word: word == "yes",
        widget=forms.RadioSelect,
        error_messages={"required": "Say whether it is a yes or a no."},
    )
    how = forms.ChoiceField(
        label="How did they say so?",
        choices=Answer.How.choices,
        widget=forms.RadioSelect,
        error_messages={"required": "Say how the answer came."},
    )
    who = forms.CharField(
        label="Who said so", max_length=120, error_messages={"required": "Write down who gave the answer."}
    )
    words = forms.CharField(label="In their words", max_length=500, required=False, widget=paragraph(2))

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        self.ask_signature(wanted=cleaned.get("how") == Answer.How.SIGNED)
        return cleaned
