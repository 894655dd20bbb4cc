"""The forms of estimates and of the owner's answer: parsing and messages."""

import datetime as dt
from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any

from django import forms

from intake.billing import MOST_LINES, Row
from intake.charges import in_words
from intake.forms_bench import QuantityField, ShareField
from intake.forms_money import ShopForm, SignedForm, paragraph, seen_revision
from intake.models import Answer, Charge
from intake.models.bills import LineKind
from intake.proposals import Option
from shop.fields import AmountField, DayField
from shop.models import Shop
from shop.money import format_amount

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
    valid_until = DayField(
        label="Valid until",
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
    """A line of an estimate. One without words and without a price is left out.

    Labour without a price is priced at the shop's rate; a discount may be given in per cent instead.
    """

    kind = forms.ChoiceField(label="Kind", choices=LineKind.choices, initial=LineKind.LABOUR)
    text = forms.CharField(
        label="What for", max_length=200, error_messages={"required": "Say what it is for."}
    )
    quantity = QuantityField(label="Quantity", initial=1)
    unit_price = AmountField(label="Price each", required=False)
    percent = ShareField(label="Or per cent, for a discount", required=False)
    optional = forms.BooleanField(label="The owner may take or leave it", required=False)

    def __init__(self, *args: Any, labour_rate: Decimal, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.labour_rate = labour_rate

    def has_changed(self) -> bool:
        return any(self[name].data not in (None, "") for name in ("text", "unit_price", "percent"))

    @property
    def has_more(self) -> bool:
        """Something is written in the fields that most lines leave alone, or is wrong there."""
        return any(self[name].value() or self[name].errors for name in ("percent", "optional"))

    def clean(self) -> dict[str, Any]:
        said = super().clean()
        kind, price, percent = said.get("kind"), said.get("unit_price"), said.get("percent")
        if percent is not None and kind not in (None, LineKind.DISCOUNT):
            self.add_error("percent", "Only a discount is given in per cent. Leave this empty.")
        if percent is not None and price:
            self.add_error("percent", "Write what it takes off, or the per cent, not both.")
        if said.get("optional") and kind == LineKind.DISCOUNT:
            self.add_error("optional", "A discount is for all that is done: it can’t be an option.")
        if price is None and "unit_price" not in self.errors:
            if kind == LineKind.LABOUR and self.labour_rate:
                said["unit_price"] = self.labour_rate
            elif percent is not None:
                said["unit_price"] = Decimal(0)
            else:
                self.add_error("unit_price", "Write a price, or 0 if it costs nothing.")
        return said

    def row(self) -> Row:
        said = self.cleaned_data
        return Row(
            kind=said["kind"],
            text=said["text"],
            quantity=said["quantity"],
            unit_price=said["unit_price"],
            unit="h" if said["kind"] == LineKind.LABOUR else "",
            percent=said["percent"],
            optional=said["optional"],
        )


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
    shop: Shop, data: Any = None, rows: Sequence[Mapping[str, Any]] = (), more: int = BLANK_ROWS
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
    return kind(
        data,
        initial=list(rows) or None,
        prefix=ROWS,
        form_kwargs={"currency": shop.currency, "labour_rate": shop.labour_rate},
    )


def typed_rows(data: Mapping[str, str]) -> list[dict[str, str]]:
    """The rows as somebody typed them so far, unread: what is wrong can wait until they are sent."""
    written = data.get(f"{ROWS}-TOTAL_FORMS", "")
    count = (
        min(int(written), MOST_LINES) if written.isascii() and written.isdigit() and len(written) < 4 else 0
    )
    return [{name: data.get(f"{ROWS}-{n}-{name}", "") for name in RowForm.base_fields} for n in range(count)]


class _WordForm(forms.Form):
    """A yes or a no, and which of the options go with it."""

    yes = forms.TypedChoiceField(
        label="What does the owner say?",
        choices=[("yes", "Go ahead"), ("no", "No, leave it")],
        coerce=lambda word: word == "yes",
        widget=forms.RadioSelect,
        error_messages={"required": "Say whether it is a yes or a no."},
    )
    taken = forms.TypedMultipleChoiceField(
        label="Options that are taken",
        coerce=int,
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text="What isn’t ticked is left.",
        error_messages={"invalid_choice": "There is no such option any more. Load this page again."},
    )
    who = forms.CharField(
        label="Who said so", max_length=120, error_messages={"required": "Write down who gave the answer."}
    )

    def __init__(self, *args: Any, offered: Sequence[Option], currency: str, **kwargs: Any):
        super().__init__(*args, **kwargs)
        if not offered:
            del self.fields["taken"]
            return
        self.fields["taken"].choices = [
            (option.item.key, f"{option.item.text}: {format_amount(option.adds, currency)} more")
            for option in offered
        ]

    def said_taken(self) -> list[int]:
        return self.cleaned_data.get("taken") or []


class AnswerForm(_WordForm):
    """The owner's word on an estimate, as staff heard or read it."""

    how = forms.ChoiceField(
        label="How did they say so?",
        choices=[choice for choice in Answer.How.choices if choice[0] != Answer.How.SIGNED],
        widget=forms.RadioSelect,
        error_messages={
            "required": "Say how the answer came.",
            "invalid_choice": "Choose one of these. To have it signed, hand over the tablet.",
        },
    )
    words = forms.CharField(label="In their words", max_length=500, required=False, widget=paragraph(2))
    field_order = ["yes", "taken", "how", "who", "words"]


class SignForm(SignedForm, _WordForm):
    """The owner's word, as they read it, chose and signed it themselves. `seen` is the sum that they saw."""

    seen = AmountField(
        widget=forms.HiddenInput,
        error_messages={"required": "This page is incomplete. Load it again, then sign."},
    )
    field_order = ["yes", "taken", "who"]

    def __init__(self, *args: Any, currency: str, **kwargs: Any):
        super().__init__(*args, currency=currency, **kwargs)
        self.fields["seen"].currency = currency
        self.fields["yes"].label = "What do you say?"
        self.fields["who"].label = "Your name"
        if "taken" in self.fields:
            self.fields["taken"].label = "Options: take them or leave them"

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        self.ask_signature(wanted=True)
        return cleaned


# --- Charging what was agreed to ---------------------------------------------------------------------------


class AgreedForm(forms.Form):
    """Which lines of what was agreed to are charged now: all, unless somebody takes the tick away."""

    lines = forms.MultipleChoiceField(
        label="Charge these",
        widget=forms.CheckboxSelectMultiple,
        error_messages={
            "required": "Choose at least one line to charge.",
            "invalid_choice": "There is no such line. Load this page again.",
        },
    )
    seen = forms.CharField(widget=forms.HiddenInput, max_length=64, required=False)

    @property
    def is_fresh(self) -> bool:
        """What it was filled from is what there is: else no choice in it means anything."""
        return self.data.get("seen") == self.initial["seen"]

    def __init__(self, *args: Any, lines: Sequence[Charge], mark: str, currency: str, **kwargs: Any):
        kwargs.setdefault("initial", {"lines": [line.origin for line in lines], "seen": mark})
        super().__init__(*args, **kwargs)
        self.fields["lines"].choices = [(line.origin, in_words(line, currency)) for line in lines]
