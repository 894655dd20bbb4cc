"""Using parts on a job, giving them back, putting them aside, taking them in from gear let go."""

from decimal import Decimal
from typing import Any

from django import forms

from inventory.models import Part
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

    def __init__(self, *args: Any, currency: str, **kwargs: Any):
        super().__init__(*args, **kwargs)
        use_currency(self, currency)


class AsideForm(forms.Form):
    """Put parts aside for a job."""

    part = forms.ModelChoiceField(Part.objects.in_use(), widget=forms.HiddenInput)
    quantity = HowMany(label="How many", initial=1)


class BackForm(forms.Form):
    """Give back what was used."""

    quantity = HowMany(label="How many go back")
    words = forms.CharField(label="Why", required=False, max_length=300)


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
