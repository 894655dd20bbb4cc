"""What planning asks: a sum to spend. Parsing and messages."""

from decimal import Decimal
from typing import Any

from django import forms

from shop.fields import AmountField, use_currency

MOST: Decimal = Decimal(1_000_000)


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
