"""The count of the till: parsing and messages."""

from collections.abc import Sequence
from decimal import Decimal
from typing import Any, Final

from django import forms

from intake.forms_money import ShopForm
from shop.fields import AmountField, use_currency

ROWS: Final = 12  # kinds of coins and notes in one count
BLANK: Final = 3  # that are offered below those of the last count
MOST: Final = 100_000  # pieces of one kind
LARGEST: Final = Decimal("999999.999")  # of one coin or note


class CashUpForm(ShopForm):
    """How many there are of each coin and note, or what it all comes to."""

    counted = AmountField(
        label="In the till, altogether",
        required=False,
        help_text="Leave it empty if you count the pieces below.",
    )
    note = forms.CharField(
        label="Note",
        max_length=300,
        required=False,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="Needed where it differs: what you know about it.",
    )

    def __init__(self, *args: Any, values: Sequence[Decimal] = (), currency: str, **kwargs: Any):
        super().__init__(*args, currency=currency, **kwargs)
        rows = min(max(len(values) + BLANK, 8), ROWS)
        if self.is_bound:
            rows = ROWS
        for n in range(rows):
            self.fields[f"value-{n}"] = AmountField(
                label=f"Coin or note {n + 1}",
                most=LARGEST,
                required=False,
                initial=values[n] if n < len(values) else None,
            )
            self.fields[f"many-{n}"] = forms.IntegerField(
                label=f"How many of {n + 1}",
                min_value=0,
                max_value=MOST,
                required=False,
                widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
            )
        use_currency(self, currency)
        self.rows = rows

    def piece_fields(self) -> list[tuple[forms.BoundField, forms.BoundField]]:
        """Each coin or note: what it is worth, and how many there are. Empty rows below the last are left out."""
        pairs = [(self[f"value-{n}"], self[f"many-{n}"]) for n in range(self.rows)]
        if self.is_bound:
            filled = [n for n, pair in enumerate(pairs) if pair[0].data or pair[1].data]
            pairs = pairs[: max((filled[-1] if filled else 0) + 1 + BLANK, 8)]
        return pairs

    def clean(self) -> dict[str, Any]:
        said = super().clean()
        pieces: dict[Decimal, int] = {}
        for n in range(self.rows):
            value, many = said.get(f"value-{n}"), said.get(f"many-{n}")
            if many and not value and f"value-{n}" not in self.errors:
                self.add_error(f"value-{n}", "Write what one of them is worth.")
            elif many and value:
                pieces[value] = pieces.get(value, 0) + many
        said["pieces"] = pieces
        if said.get("counted") is None and not pieces and not self.errors:
            self.add_error("counted", "Count the pieces, or write what it all comes to. Nothing in it is 0.")
        return said

    def total(self) -> Decimal:
        """What was counted: the sum that was written, else the pieces."""
        counted = self.cleaned_data["counted"]
        if counted is not None:
            return counted
        return sum((value * many for value, many in self.cleaned_data["pieces"].items()), Decimal(0))
