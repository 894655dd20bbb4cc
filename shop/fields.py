"""Kinds of form field: keys, amounts, percentages, days."""

from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.core.validators import RegexValidator

from shop import money, staffing
from shop.errors import Refused
from shop.models import Staff

LONGEST_PASSWORD = 200
MOST_DAYS = 3650


class PasswordField(forms.CharField):
    """A password: nothing of it is stripped, and it is never shown again."""

    def __init__(self, *, now: bool = True, **kwargs: Any):
        hint = "current-password" if now else "new-password"
        widget = forms.PasswordInput(attrs={"autocomplete": hint})
        super().__init__(max_length=LONGEST_PASSWORD, strip=False, widget=widget, **kwargs)


class SignInWordField(forms.CharField):
    """A sign-in word: capitals are taken as small letters, because tablets begin with one."""

    def __init__(self, **kwargs: Any):
        attrs = {"autocomplete": "username", "autocapitalize": "none", "spellcheck": "false"}
        super().__init__(max_length=40, widget=forms.TextInput(attrs=attrs), **kwargs)

    def to_python(self, value: Any) -> str:
        return super().to_python(value).lower()


class NewPinField(forms.CharField):
    """A PIN to be kept: 4 to 8 digits, none of those that are tried first."""

    def __init__(self, **kwargs: Any):
        widget = forms.PasswordInput(attrs={"inputmode": "numeric", "autocomplete": "off"})
        super().__init__(max_length=8, widget=widget, **kwargs)

    def validate(self, value: str) -> None:
        super().validate(value)
        if not value:
            return
        Staff().set_pin(value)
        try:
            staffing.check_pin(value)
        except Refused as refusal:
            raise ValidationError(str(refusal)) from refusal


class AmountField(forms.CharField):
    """An amount of money as people type it, in the shop's currency; None where nothing is written.

    The form says which currency (`use_currency`). `most` is what the column holds, where that is less than what
    `shop.money` reads.
    """

    default_error_messages = {"too_much": "That is more than can be kept here. Check the sum."}

    def __init__(self, *, most: Decimal | None = None, **kwargs: Any):
        super().__init__(**{"max_length": 40, **kwargs})
        self.currency = "USD"
        self.most = most
        self.widget.attrs.update({"inputmode": "decimal", "autocomplete": "off"})

    def to_python(self, value: Any) -> Decimal | None:
        text = super().to_python(value)
        if not text:
            return None
        try:
            amount = money.parse_amount(text, self.currency)
        except money.AmountError as error:
            raise ValidationError(str(error)) from error
        if self.most is not None and amount > self.most:
            raise ValidationError(self.error_messages["too_much"], code="too_much")
        return amount

    def run_validators(self, value: Any) -> None:
        """Those of a text are for what was typed; what it came to has no length."""
        if not isinstance(value, Decimal):
            super().run_validators(value)

    def prepare_value(self, value: Any) -> Any:
        return f"{money.round_to(value, self.currency):f}" if isinstance(value, Decimal) else value


def use_currency(form: forms.BaseForm, currency: str) -> None:
    """Tell a form's amounts which currency (ISO 4217) they are in."""
    for field in form.fields.values():
        if isinstance(field, AmountField):
            field.currency = currency


class PercentField(forms.DecimalField):
    """A percentage; a decimal comma will do."""

    def __init__(self, **kwargs: Any):
        widget = forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"})
        limits = {"min_value": 0, "max_value": 100, "max_digits": 7, "decimal_places": 4}
        super().__init__(widget=widget, **{**limits, **kwargs})

    def to_python(self, value: Any) -> Decimal | None:
        return super().to_python(value.replace(",", ".") if isinstance(value, str) else value)

    def prepare_value(self, value: Any) -> Any:
        return f"{value.normalize():f}" if isinstance(value, Decimal) else value


class CountryField(forms.CharField):
    """A country by the two letters of ISO 3166; small letters will do."""

    def __init__(self, **kwargs: Any):
        attrs = {"autocomplete": "off", "autocapitalize": "characters", "spellcheck": "false"}
        super().__init__(
            label="Country",
            required=False,
            max_length=2,
            validators=[RegexValidator(r"^[A-Z]{2}$", "Use the two letters of ISO 3166, e.g. PT.")],
            widget=forms.TextInput(attrs=attrs),
            **kwargs,
        )

    def to_python(self, value: Any) -> str:
        return super().to_python(value).upper()


class DayField(forms.DateField):
    """A day, by the tablet's own calendar."""

    def __init__(self, **kwargs: Any):
        super().__init__(widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"), **kwargs)


def days_field(label: str, help_text: str = "") -> forms.IntegerField:
    """A number of days, at most ten years: the storage clock reckons dates with it."""
    return forms.IntegerField(label=label, help_text=help_text, min_value=0, max_value=MOST_DAYS)
