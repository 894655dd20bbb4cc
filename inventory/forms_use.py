"""Using parts on a job, giving them back, putting them aside, taking them in from gear let go."""

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from django import forms

from inventory import stock
from inventory.models import Part, Tube
from inventory.tube_labels import milliamps
from inventory.tubes import last_reading, with_readings
from shop.fields import AmountField, use_currency

MOST = 10_000
LARGEST = Decimal("999999.99")


class HowMany(forms.IntegerField):
    """A number of pieces, from one up."""

    def __init__(self, **kwargs: Any):
        super().__init__(
            min_value=1,
            max_value=MOST,
            widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
            error_messages={
                "invalid": "Write a whole number.",
                "min_value": "Write how many, from 1 up.",
                "max_value": f"That is more than {MOST:,}. Check the number.",
            },
            **kwargs,
        )


class TubesField(forms.ModelMultipleChoiceField):
    """Pieces with labels of their own, each with what it drew."""

    widget = forms.CheckboxSelectMultiple

    def label_from_instance(self, tube: Tube) -> str:
        reading = last_reading(tube)
        drew = milliamps(reading.current) if reading else ""
        return ", ".join(filter(None, [tube.label, tube.make, "used" if tube.is_used else "", drew]))


def ask_which(form: forms.Form, part: Part | None, *, help_text: str = "") -> None:
    """Let a form ask which of a part's labelled pieces go. Tubes of a set aren't offered: they go as one.

    Where every piece has a label, as many go as are ticked, and how many isn't asked.
    """
    here = stock.labelled(part) if part else []
    single = with_readings(Tube.objects.filter(pk__in=[tube.pk for tube in here if tube.set_id is None]))
    if not single:
        return
    only = "quantity" in form.fields and not help_text and part.quantity <= len(here)
    form.fields["tubes"] = TubesField(
        single.order_by("label"),
        label="Which go",
        required=only,
        help_text=help_text or ("" if only else "None ticked: those without a label go."),
        error_messages={
            "required": "Each has a label of its own: tick what goes.",
            "invalid_choice": "One of these isn’t here any more. Choose again.",
        },
    )
    if only:
        del form.fields["quantity"]


def say_why(form: forms.Form, why: Exception) -> None:
    """Put a refusal where it can be mended: beside the labels where it asks which goes, else above the form."""
    form.add_error("tubes" if isinstance(why, stock.AskWhich) and "tubes" in form.fields else None, str(why))


class ScanForm(forms.Form):
    """What a scanner read."""

    q = forms.CharField(
        label="Drawer or part",
        max_length=300,
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "characters"}),
        error_messages={"required": "Scan a label, or type a drawer’s code or a value."},
    )


class UseForm(forms.Form):
    """Use a part on a job."""

    part = forms.ModelChoiceField(Part.objects.in_use(), widget=forms.HiddenInput)
    quantity = HowMany(label="How many", initial=1)
    price = AmountField(label="Price of one", required=False, most=LARGEST)
    charge = forms.BooleanField(label="Charge it", required=False, initial=True)
    under_warranty = forms.BooleanField(
        label="Under warranty",
        required=False,
        help_text="It is charged at nothing.",
    )
    words = forms.CharField(
        label="Why more goes than the ledger knows of",
        required=False,
        max_length=300,
        help_text="Only where the drawer has more than the ledger says.",
    )

    def __init__(self, *args: Any, currency: str, asks_of: Part | None, **kwargs: Any):
        super().__init__(*args, **kwargs)
        use_currency(self, currency)
        ask_which(self, asks_of)

    def clean(self) -> dict[str, Any]:
        said = super().clean()
        if "quantity" not in self.fields and said.get("tubes"):
            said["quantity"] = len(said["tubes"])
        return said


class AsideForm(forms.Form):
    """Put parts aside for a job."""

    part = forms.ModelChoiceField(Part.objects.in_use(), widget=forms.HiddenInput)
    quantity = HowMany(label="How many", initial=1)


class BackForm(forms.Form):
    """Give back what was used."""

    quantity = HowMany(label="How many go back")
    words = forms.CharField(label="Why", required=False, max_length=300)

    def __init__(self, *args: Any, gone: Sequence[Tube], **kwargs: Any):
        super().__init__(*args, **kwargs)
        if len(gone) > 1:
            keys = [tube.pk for tube in gone]
            self.fields["tubes"] = TubesField(
                with_readings(Tube.objects.filter(pk__in=keys)).order_by("label"),
                label="Which come back",
                required=False,
                help_text="Needed where not all of them do.",
            )


class TakeInForm(forms.Form):
    """Take in parts of gear that was kept for them."""

    part = forms.ModelChoiceField(Part.objects.in_use().counted(), widget=forms.HiddenInput)
    quantity = HowMany(label="How many", initial=1)
    cost = AmountField(
        label="What one is worth",
        most=LARGEST,
        help_text="A share of the value at which the gear was kept; 0 where none was set.",
        error_messages={"required": "Write what one is worth, or 0."},
    )

    def __init__(self, *args: Any, currency: str, **kwargs: Any):
        super().__init__(*args, **kwargs)
        use_currency(self, currency)
