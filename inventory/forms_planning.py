"""What planning asks: a sum to spend, and what of it to order. Parsing and messages."""

from decimal import Decimal
from typing import Any, Final

from django import forms
from django.http import QueryDict

from inventory import ordering
from inventory.models import Offer
from shop.fields import AmountField, use_currency

MOST: Final = Decimal(1_000_000)
MOST_PICKS: Final = 500


class SumForm(forms.Form):
    """How much there is to spend."""

    money = AmountField(
        label="To spend on parts",
        most=MOST,
        error_messages={"required": "Write the sum that you have to spend, like 300."},
    )

    def __init__(self, *args: Any, currency: str, **kwargs: Any):
        super().__init__(*args, **kwargs)
        use_currency(self, currency)

    def clean_money(self) -> Decimal:
        money = self.cleaned_data["money"]
        if money < 0:
            raise forms.ValidationError("Write a sum above zero.")
        return money


class PicksForm(forms.Form):
    """What was shown to be bought: `pick` fields, each an offer's key and pieces, "12:4"."""

    def __init__(self, data: QueryDict):
        super().__init__(data)
        self.texts = data.getlist("pick")

    def clean(self) -> dict[str, Any]:
        wanted: dict[int, int] = {}
        for text in self.texts[:MOST_PICKS]:
            key, _, pieces = text.partition(":")
            if not (
                key.isascii() and key.isdigit() and pieces.isascii() and pieces.isdigit() and len(text) < 20
            ):
                raise forms.ValidationError("This page is incomplete. Load it again.")
            wanted[int(key)] = int(pieces)
        offers = Offer.objects.select_related("supplier", "part").in_bulk(wanted)
        if not offers:
            raise forms.ValidationError("Nobody sells these any more. Load the page again.")
        self.cleaned_data["picks"] = [ordering.Pick(offer, wanted[key]) for key, offer in offers.items()]
        return self.cleaned_data
