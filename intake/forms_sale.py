"""What is typed at a sale over the counter: parsing and messages."""

from collections.abc import Mapping
from decimal import Decimal
from functools import cached_property
from typing import Any

from django import forms

from intake import goods
from intake.billing import MOST_LINES, Row
from intake.counter_sale import KINDS
from intake.forms_bench import QuantityField, ShareField
from intake.forms_money import ShopForm
from intake.goods import Good
from intake.models import Person
from intake.models.bills import LineKind
from intake.payments import paid_by
from shop import money
from shop.fields import AmountField

ROWS = "rows"
BLANK_ROWS = 2
LATER = "later"


class SaleRowForm(ShopForm):
    """A line that is sold. One without words and without a price is left out."""

    kind = forms.ChoiceField(
        label="Kind", choices=[(kind.value, kind.label) for kind in KINDS], initial=LineKind.PART
    )
    text = forms.CharField(
        label="What for", max_length=200, error_messages={"required": "Say what it is: the receipt shows it."}
    )
    quantity = QuantityField(label="Quantity", initial=1)
    unit_price = AmountField(label="Price each", required=False)
    percent = ShareField(label="Or per cent off", required=False)
    unit_cost = AmountField(label="Cost each", required=False)
    good = forms.CharField(required=False, max_length=40, widget=forms.HiddenInput)  # out of which drawer

    def has_changed(self) -> bool:
        return any(self[name].data not in (None, "") for name in ("text", "unit_price", "percent"))

    def has_more(self) -> bool:
        return any(self[name].value() not in (None, "") for name in ("percent", "unit_cost"))

    def clean(self) -> dict[str, Any]:
        said = super().clean()
        kind, price, percent = said.get("kind"), said.get("unit_price"), said.get("percent")
        if percent is not None and kind not in (None, LineKind.DISCOUNT):
            self.add_error("percent", "Only a discount is given in per cent. Leave this empty.")
        if percent is not None and price:
            self.add_error("percent", "Write what it takes off, or the per cent, not both.")
        if said.get("unit_cost") is not None and kind not in (None, LineKind.PART):
            self.add_error("unit_cost", "Only a part has a cost. Leave this empty.")
        if said.get("good") and kind not in (None, LineKind.PART):
            self.add_error("kind", "What comes out of a drawer is a part.")
        if price is None and percent is None and "unit_price" not in self.errors:
            self.add_error("unit_price", "Write a price, or 0 if it costs nothing.")
        return said

    def row(self) -> Row:
        said = self.cleaned_data
        percent = said["percent"]
        return Row(
            said["kind"],
            said["text"],
            said["quantity"] if percent is None else Decimal(1),
            said["unit_price"] or Decimal(0),
            percent=percent,
            unit_cost=said["unit_cost"],
            good=said["good"],
        )


class _Rows(forms.BaseFormSet):
    default_error_messages = {
        "missing_management_form": "This page is incomplete. Load it again, then write the lines.",
        "too_many_forms": f"A sale has at most {MOST_LINES} lines. Put some together.",
    }

    def initial_form_count(self) -> int:
        return 0

    def written(self) -> list[Row]:
        """The rows that somebody wrote, once the formset is valid."""
        return [row for _, row in self._rows]

    @cached_property
    def _rows(self) -> list[tuple[SaleRowForm, Row]]:
        return [(form, form.row()) for form in self.forms if form.has_changed()]

    def say_why(self, row: Row, why: str) -> None:
        """Put a refusal beside the line that it is about, one of those that were `written`."""
        next(form for form, each in self._rows if each is row).add_error("quantity", why)

    def from_stock(self) -> None:
        """Tell each line what there is of its good."""
        keys = [form["good"].value() or "" for form in self.forms]
        here = goods.named(keys)
        for form, key in zip(self.forms, keys, strict=True):
            form.has_good, form.from_stock = bool(key), here.get(key)


def sale_rows(currency: str, data: Any = None, more: int = BLANK_ROWS) -> _Rows:
    """The rows as a formset: as sent, or blank ones."""
    kind = forms.formset_factory(
        SaleRowForm,
        formset=_Rows,
        extra=more,
        max_num=MOST_LINES,
        absolute_max=MOST_LINES,
        validate_max=True,
    )
    return kind(data, prefix=ROWS, form_kwargs={"currency": currency})


def with_one_more(data: Any) -> Any:
    """What was sent, with one more blank row."""
    data = data.copy()
    data.setdefault(f"{ROWS}-{_count(data)}-quantity", "1")
    data[f"{ROWS}-TOTAL_FORMS"] = str(min(_count(data) + 1, MOST_LINES))
    data.setdefault(f"{ROWS}-INITIAL_FORMS", "0")
    return data


def with_good(data: Any, good: Good, currency: str) -> Any:
    """What was sent, with a line for something out of a drawer: on the first line that is blank, or on one more.

    What is on a line already is counted up there, as somebody does who scans piece after piece.
    """
    data = data.copy()
    for at in range(_count(data)):
        quantity = data.get(f"{ROWS}-{at}-quantity", "")
        if data.get(f"{ROWS}-{at}-good") == good.key and quantity.isascii() and quantity.isdigit():
            data[f"{ROWS}-{at}-quantity"] = quantity if good.is_single else str(int(quantity) + 1)
            return data
    at = next((at for at in range(_count(data)) if _is_blank(data, at)), _count(data))
    if at == _count(data):
        data = with_one_more(data)
    return _filled(
        data,
        at,
        kind=LineKind.PART.value,
        text=good.name,
        quantity=str(good.pieces),
        unit_price=f"{money.round_to(good.price, currency):f}",
        good=good.key,
    )


def without(data: Any, at: str) -> Any:
    """What was sent, with nothing on one line."""
    known = at.isascii() and at.isdigit() and int(at) < MOST_LINES
    return _filled(data.copy(), int(at), kind=LineKind.PART.value, quantity="1") if known else data


def _filled(data: Any, at: int, **said: str) -> Any:
    for name in SaleRowForm.base_fields:
        data[f"{ROWS}-{at}-{name}"] = said.get(name, "")
    return data


def _is_blank(data: Any, at: int) -> bool:
    return not any(data.get(f"{ROWS}-{at}-{name}") for name in ("text", "unit_price", "percent"))


def _count(data: Any) -> int:
    written = data.get(f"{ROWS}-TOTAL_FORMS", "")
    return (
        min(int(written), MOST_LINES) if written.isascii() and written.isdigit() and len(written) < 4 else 0
    )


class SaleForm(ShopForm):
    """Who buys, and how it is paid. `seen` is the sum that was on the screen."""

    person = forms.ModelChoiceField(Person.objects.all(), required=False, widget=forms.HiddenInput)
    method = forms.ChoiceField(
        label="How it is paid",
        choices=[*paid_by().items(), (LATER, "Not paid yet")],
        widget=forms.RadioSelect,
        error_messages={"required": "Say how it is paid."},
    )
    tendered = AmountField(
        label="Cash handed over", required=False, help_text="For cash: the change is worked out from it."
    )
    seen = AmountField(required=False, widget=forms.HiddenInput)


def person_of(data: Mapping[str, str]) -> Person | None:
    """The person that was chosen so far, if there is such a one."""
    pk = data.get("person", "")
    if not (pk.isascii() and pk.isdigit() and len(pk) < 10):
        return None
    return Person.objects.with_phones().filter(pk=pk).first()
