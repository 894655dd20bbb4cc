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
    """An amount of money as people type it, in the currency that the form says (an ISO 4217 code)."""

    def __init__(self, **kwargs: Any):
        self.currency = "USD"
        super().__init__(
            widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}), **kwargs
        )

    def to_python(self, value: Any) -> Decimal | None:
        text = super().to_python(value)
        if not text:
            return None
        try:
            return money.parse_amount(text, self.currency)
        except money.AmountError as error:
            raise ValidationError(str(error)) from error

    def prepare_value(self, value: Any) -> Any:
        return f"{money.round_to(value, self.currency):f}" if isinstance(value, Decimal) else value


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
