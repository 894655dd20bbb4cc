"""The forms of money and pickup: parsing and messages."""

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from django import forms

from intake.billing import MOST_WORDS, times
from intake.credits import Creditable
from intake.forms_bench import QuantityField
from intake.models import Invoice, Job, LoosePiece, Pickup, ReadyNotice
from intake.payments import paid_by
from intake.signatures import SignatureField
from shop.fields import AmountField, use_currency

LARGEST_REVISION = 2**31 - 1


def paragraph(rows: int) -> forms.Textarea:
    return forms.Textarea(attrs={"rows": rows})


def seen_revision() -> forms.IntegerField:
    """What the person saw. Without it nothing is sent."""
    return forms.IntegerField(
        min_value=0,
        max_value=LARGEST_REVISION,
        widget=forms.HiddenInput,
        error_messages=dict.fromkeys(
            ("required", "invalid", "min_value", "max_value"), "This page is incomplete. Load it again."
        ),
    )


class ShopForm(forms.Form):
    """A form whose sums are in the shop's currency."""

    def __init__(self, *args: Any, currency: str, **kwargs: Any):
        super().__init__(*args, **kwargs)
        use_currency(self, currency)


# --- A name on the glass -----------------------------------------------------------------------------------


class SignedForm(forms.Form):
    """A signature drawn on the glass, or a tick by staff that it couldn't be. `strokes` cleans to an SVG."""

    signature = forms.CharField(required=False, label="Sign here", widget=forms.HiddenInput)
    strokes = SignatureField()
    typed = forms.BooleanField(
        required=False,
        label="They can’t sign on the glass",
        help_text="Their name as typed stands for the signature.",
    )

    def ask_signature(self, *, wanted: bool) -> None:
        """Say what is missing beside the signature; where none is wanted, what was drawn doesn't count."""
        if not wanted:
            self.errors.pop("strokes", None)
            self.cleaned_data["strokes"] = ""
        elif not self.errors.get("strokes") and not (
            self.cleaned_data.get("strokes") or self.cleaned_data.get("typed")
        ):
            self.add_error("strokes", "Sign on the glass. Where that can’t be done, tick that it can’t.")


# --- Going home as is ---------------------------------------------------------------------------------------------


class AsIsForm(forms.Form):
    revision = seen_revision()
    reason = forms.CharField(
        label="Why it goes home as it is",
        max_length=300,
        widget=paragraph(2),
        error_messages={"required": "Write down why it goes home as it is."},
    )


# --- Invoices and payments -----------------------------------------------------------------------------


class InvoiceForm(forms.Form):
    """What goes on the invoice beside its lines. `seen` is the mark of the draft that was on the screen."""

    words = forms.CharField(
        label="Findings in plain words",
        required=False,
        max_length=MOST_WORDS,
        widget=paragraph(5),
        help_text="The owner reads this on the invoice. It can’t be changed afterwards.",
    )
    fee = forms.ChoiceField(
        choices=[("", ""), ("charge", ""), ("leave", "")], required=False, widget=forms.HiddenInput
    )
    seen = forms.CharField(
        max_length=64,
        widget=forms.HiddenInput,
        error_messages={"required": "This page is incomplete. Load it again, then issue the invoice."},
    )


class PaymentForm(ShopForm):
    amount = AmountField(label="Paid", error_messages={"required": "Write the sum that was paid."})
    method = forms.ChoiceField(
        label="How it was paid",
        choices=list(paid_by().items()),
        widget=forms.RadioSelect,
        error_messages={"required": "Say how it was paid."},
    )
    tendered = AmountField(
        label="Cash handed over", required=False, help_text="For cash: the change is worked out from it."
    )
    deposit = forms.BooleanField(
        label="It is a deposit",
        required=False,
        help_text="Money taken before the invoice. It stands on the account until then.",
    )
    keep = forms.BooleanField(
        label="Keep what is over as credit",
        required=False,
        help_text="For more than is owed: the rest stays on the account until it is used or given back.",
    )
    note = forms.CharField(label="Note", max_length=200, required=False)

    def clean_amount(self) -> Decimal:
        amount = self.cleaned_data["amount"]
        if not amount:
            raise forms.ValidationError("Write the sum that was paid; it can’t be nothing.")
        return amount


class MoneyBackForm(ShopForm):
    """A sum and why: what refunds and write-offs have in common."""

    amount = AmountField(label="How much", error_messages={"required": "Write the sum."})
    reason = forms.CharField(
        label="Why", max_length=200, error_messages={"required": "Write down why. It is kept."}
    )

    def clean_amount(self) -> Decimal:
        amount = self.cleaned_data["amount"]
        if not amount:
            raise forms.ValidationError("Write the sum; it can’t be nothing.")
        return amount


class RefundForm(MoneyBackForm):
    method = forms.ChoiceField(
        label="How it goes back",
        choices=list(paid_by().items()),
        widget=forms.RadioSelect,
        error_messages={"required": "Say how the money goes back."},
    )
    field_order = ["amount", "method", "reason"]


class WriteOffForm(MoneyBackForm):
    """What is let go of what is owed."""


class CreditForm(forms.Form):
    """How many of each line of an invoice are credited. Nothing typed at a line leaves it as it is."""

    reason = forms.CharField(
        label="Why it is credited",
        max_length=300,
        help_text="It stands on the credit note.",
        error_messages={"required": "Write down why it is credited."},
    )
    charge_again = forms.BooleanField(
        label="Charge the same again",
        required=False,
        help_text="Puts these lines back on the job at their full price, to be mended and invoiced anew.",
    )

    def __init__(self, *args: Any, invoice: Invoice, rows: Sequence[Creditable], **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.rows = rows
        if invoice.job_id is None:
            del self.fields["charge_again"]
        for row in rows:
            if row.quantity > 0:
                self.fields[self._name(row)] = QuantityField(
                    label=f"Credit of “{row.line.text}”",
                    required=False,
                    min_value=Decimal(0),
                    initial=row.quantity,
                )

    @staticmethod
    def _name(row: Creditable) -> str:
        return f"line-{row.line.pk}"

    def shown_rows(self) -> list[dict[str, Any]]:
        """The lines with what they came to, what is credited already, and the field for more."""
        return [
            {
                "text": row.line.text,
                "times": times(row.line),
                "came_to": row.left.gross,
                "credited": f"{row.credited.normalize():f}" if row.credited else "",
                "field": self[self._name(row)] if row.quantity > 0 else None,
                "left": f"{row.quantity.normalize():f}",
            }
            for row in self.rows
        ]

    def taken(self) -> dict[int, Decimal]:
        named = {self._name(row): row.line.pk for row in self.rows}
        return {key: self.cleaned_data[name] for name, key in named.items() if self.cleaned_data.get(name)}

    def clean(self) -> dict[str, Any]:
        said = super().clean()
        said.setdefault("charge_again", False)
        for row in self.rows:
            quantity = said.get(self._name(row))
            if quantity is not None and quantity > row.quantity:
                self.add_error(
                    self._name(row), f"At most {row.quantity.normalize():f} of it can still be credited."
                )
        if not self.errors and not self.taken():
            self.add_error(None, "Write beside at least one line how much of it is credited.")
        return said


# --- Told, and handed back ---------------------------------------------------------------------------------


class ReadyNoticeForm(forms.ModelForm):
    class Meta:
        model = ReadyNotice
        fields = ["how", "words"]
        widgets = {"how": forms.RadioSelect}
        error_messages = {"how": {"required": "Say how the owner was told."}}

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.fields["how"].choices = ReadyNotice.How.choices
        self.fields["how"].initial = ReadyNotice.How.PHONE


class PickupForm(SignedForm):
    """Ticks for all that goes home, a sentence for what doesn't, and who takes it."""

    revision = seen_revision()
    known = forms.CharField(
        required=False, max_length=4000, widget=forms.HiddenInput
    )  # what they sign to know
    gear = forms.BooleanField(
        required=False, error_messages={"required": "Tick off the gear itself; without it nothing goes home."}
    )
    how = forms.ChoiceField(
        label="How it goes home",
        choices=Pickup._meta.get_field("how").choices,
        initial="counter",
        widget=forms.RadioSelect,
    )
    handed_to = forms.CharField(
        label="Who takes it", max_length=120, error_messages={"required": "Write down who takes it."}
    )
    carrier = forms.CharField(
        label="Carrier and parcel number", max_length=120, required=False, help_text="Only by mail."
    )
    waiver = forms.CharField(
        label="Why it may go home with money owed",
        max_length=300,
        required=False,
        help_text="Your decision as the owner of the shop. It is kept with your name.",
    )

    def __init__(self, *args: Any, job: Job, pieces: Sequence[LoosePiece], **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.pieces = pieces
        self.fields["gear"].label = str(job.gear)
        for piece in pieces:
            self.fields[f"went-{piece.pk}"] = forms.BooleanField(required=False, label=piece.name)
            self.fields[f"why-{piece.pk}"] = forms.CharField(
                required=False,
                max_length=150,
                label=f"Why “{piece.name}” stays here",
                widget=forms.TextInput(attrs={"placeholder": "Stays here? Why"}),
            )

    def piece_fields(self) -> list[tuple[forms.BoundField, forms.BoundField]]:
        """For each loose piece: its tick, and the sentence for when it stays."""
        return [(self[f"went-{piece.pk}"], self[f"why-{piece.pk}"]) for piece in self.pieces]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        if not cleaned.get("gear"):
            self.add_error("gear", self.fields["gear"].error_messages["required"])
        for piece in self.pieces:
            if not cleaned.get(f"went-{piece.pk}") and not cleaned.get(f"why-{piece.pk}"):
                self.add_error(
                    f"why-{piece.pk}", f"Tick off “{piece.name}”, or write why it doesn’t go home."
                )
        if cleaned.get("how") == "mail" and not cleaned.get("carrier"):
            self.add_error("carrier", "Write down the carrier and the parcel number.")
        self.ask_signature(wanted=cleaned.get("how") == "counter")
        return cleaned

    def went(self) -> set[int]:
        return {piece.pk for piece in self.pieces if self.cleaned_data.get(f"went-{piece.pk}")}

    def stayed(self) -> dict[int, str]:
        went = self.went()
        return {
            piece.pk: self.cleaned_data.get(f"why-{piece.pk}", "")
            for piece in self.pieces
            if piece.pk not in went
        }
