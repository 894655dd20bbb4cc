"""What the owner types about the shop, its taxes, its terms, and on the first day: parsing and messages."""

import zoneinfo
from functools import cache
from itertools import groupby
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.forms.models import construct_instance

from shop import money, opening
from shop.conflict import ConflictCheck
from shop.fields import (
    AmountField,
    CountryField,
    DayField,
    NewPinField,
    PasswordField,
    PercentField,
    SignInWordField,
    days_field,
    use_currency,
)
from shop.forms import check_new_password, check_sign_in_word
from shop.models import Shop, Staff, TaxRate, Terms

_REGIONS = {
    *[
        "Africa",
        "America",
        "Antarctica",
        "Arctic",
        "Asia",
        "Atlantic",
        "Australia",
        "Europe",
        "Indian",
        "Pacific",
    ]
}


def currency_choices() -> list[tuple[str, str]]:
    return sorted(
        ((code, f"{name} ({code})") for code, name in money.currencies()), key=lambda c: c[1].lower()
    )


@cache
def _zone_names() -> list[str]:
    return sorted(n for n in zoneinfo.available_timezones() if n.partition("/")[0] in _REGIONS and "/" in n)


def zone_choices(present: str = "") -> list[tuple[str, Any]]:
    """The time zones by region, as a select shows them in groups."""
    names = _zone_names()
    groups = [
        (region, [(name, name.partition("/")[2].replace("_", " ").replace("/", ", ")) for name in of])
        for region, of in groupby(names, key=lambda n: n.partition("/")[0])
    ]
    others = dict.fromkeys(["UTC", *([present] if present and present not in names else [])])
    return [*groups, ("Other", [(name, name) for name in others])]


# --- the shop


class ShopForm(ConflictCheck, forms.ModelForm):
    """The shop's own data."""

    currency = forms.ChoiceField(choices=currency_choices, help_text="Amounts kept so far aren’t converted.")
    time_zone = forms.ChoiceField(choices=zone_choices)
    labour_rate = AmountField(label="Labour, an hour")
    diagnosis_fee = AmountField(label="Diagnosis fee", help_text="Charged for looking, repaired or not.")
    warranty_labour_days = days_field("Warranty on labour, days")
    warranty_parts_days = days_field("Warranty on parts, days")
    backup_reminder_days = forms.IntegerField(
        label="Remind of a backup after, days", min_value=1, max_value=365
    )
    parts_markup = PercentField(
        label="Mark-up on parts",
        max_value=1000,
        help_text="Proposed as the price of a part whose cost is written down.",
    )
    estimate_days = forms.IntegerField(label="An estimate holds for, days", min_value=1, max_value=3650)
    estimate_tolerance = PercentField(
        label="Work may exceed what was agreed by",
        help_text="Local law may set a limit: check it.",
    )
    cash_float = AmountField(label="Change kept in the till")
    country = CountryField(help_text="Two letters. Electronic invoices need it.")

    class Meta:
        model = Shop
        fields = [
            *["name", "address", "phone", "email", "tax_number"],
            *["currency", "time_zone", "paper"],
            *[
                "labour_rate",
                "diagnosis_fee",
                "diagnosis_credited",
                "warranty_labour_days",
                "warranty_parts_days",
            ],
            *["prices_include_tax", "tax_rounding", "ask_address", "backup_reminder_days"],
            *["parts_markup", "estimate_days", "estimate_tolerance", "cash_float"],
            *["country", "electronic_invoices"],
        ]
        widgets = {
            "address": forms.Textarea(attrs={"rows": 3}),
            "paper": forms.RadioSelect,
            "tax_rounding": forms.RadioSelect,
        }

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.fields["time_zone"].choices = zone_choices(self.initial.get("time_zone", ""))
        use_currency(self, chosen_currency(self.data, self.initial.get("currency", "USD")))

    def clean(self) -> dict[str, Any]:
        values = super().clean()
        if values.get("electronic_invoices"):
            for name in ("address", "country", "tax_number"):
                if name not in self.errors and not values.get(name):
                    self.add_error(name, "Electronic invoices need this. Fill it in, or don’t offer them.")
        return values


class TermsForm(ConflictCheck, forms.ModelForm):
    """The terms that customers sign; sent, they become a new version."""

    free_days = days_field("Free storage, days", "Counted from the first notice that the gear is ready.")
    daily_fee = AmountField(label="Storage fee, a day")
    fee_cap = AmountField(
        label="Storage fee, at most", required=False, help_text="Leave it empty for no limit."
    )
    notices = forms.IntegerField(label="Notices before the deadline", min_value=0, max_value=50)
    deadline_days = days_field(
        "Deadline, days", "Counted from the same notice; not before free storage ends."
    )
    notice_gap_days = days_field(
        "Days between two notices, at least", "And as many after the last one, before anything is done."
    )
    warranty_labour_days = days_field("Warranty on labour, days", "Empty: as it stands under Shop.")
    warranty_parts_days = days_field("Warranty on parts, days", "Empty: as it stands under Shop.")

    class Meta:
        model = Terms
        fields = [
            *["text", "storage_text", "free_days", "daily_fee", "fee_cap"],
            *["notices", "notice_gap_days", "deadline_days"],
            *["warranty_labour_days", "warranty_parts_days"],
        ]
        widgets = {
            "text": forms.Textarea(attrs={"rows": 12}),
            "storage_text": forms.Textarea(attrs={"rows": 6}),
        }

    def __init__(self, *args: Any, currency: str, **kwargs: Any):
        super().__init__(*args, **kwargs)
        for name in ("warranty_labour_days", "warranty_parts_days"):
            self.fields[name].required = False
        use_currency(self, currency)

    def clean(self) -> dict[str, Any]:
        check_deadline(self, self.cleaned_data)
        return super().clean()


def chosen_currency(data: Any, otherwise: str) -> str:
    """The currency that a form was sent with, if there is such a one."""
    wanted = data.get("currency", "") if data else ""
    return wanted if wanted in dict(money.currencies()) else otherwise


def check_deadline(form: forms.BaseForm, values: dict[str, Any]) -> None:
    """The deadline can't come before free storage ends, and leaves room for every notice and the gap after it."""
    free, deadline = values.get("free_days"), values.get("deadline_days")
    if free is None or deadline is None:
        return
    if deadline < free:
        form.add_error(
            "deadline_days", f"Free storage lasts {free} days. The deadline can't come before that."
        )
        return
    notices, gap = values.get("notices"), values.get("notice_gap_days")
    if notices and gap and deadline < free + notices * gap:
        each = "a notice" if notices == 1 else f"{notices} notices"
        form.add_error(
            "deadline_days",
            f"After {free} free days, {each} with {gap} days after each need {free + notices * gap} days. "
            "Set a later deadline, fewer notices or fewer days between them.",
        )


class RateForm(forms.ModelForm):
    """A new tax rate."""

    percent = PercentField(label="Per cent")
    valid_from = DayField(label="Holds from")

    class Meta:
        model = TaxRate
        fields = ["name", "percent", "on_labour", "on_parts", "on_fees", "valid_from"]

    def clean(self) -> dict[str, Any]:
        values = super().clean()
        if not any(values.get(name) for name in ("on_labour", "on_parts", "on_fees")):
            raise ValidationError("Say what the tax falls on: labour, parts or fees.")
        return values


class EndRateForm(ConflictCheck, forms.ModelForm):
    """The last day of a rate."""

    valid_to = DayField(label="Last day")

    class Meta:
        model = TaxRate
        fields = ["valid_to"]


# --- the first start


# What a shop decides once it is open: the first page is long enough.
_LATER = {
    *("backup_reminder_days", "parts_markup", "estimate_days", "estimate_tolerance", "cash_float"),
    *("country", "electronic_invoices"),
}


class OpeningForm(forms.Form):
    """All that a shop needs on its first day, on one page."""

    SHOP = [name for name in ShopForm.Meta.fields if name not in _LATER]
    TERMS = TermsForm.Meta.fields

    code = forms.CharField(
        label="Code",
        max_length=20,
        help_text="Eight letters and digits, in the terminal where the shop was started.",
        widget=forms.TextInput(
            attrs={"autocomplete": "off", "autocapitalize": "characters", "spellcheck": "false"}
        ),
    )
    tax = forms.ChoiceField(
        label="Do you charge a tax?",
        choices=[("one", "Yes"), ("none", "No tax")],
        initial="one",
        widget=forms.RadioSelect,
    )
    tax_name = forms.CharField(
        label="Its name",
        max_length=40,
        help_text="As invoices show it.",
        error_messages={"required": "Name the tax, or choose “No tax”."},
    )
    tax_percent = PercentField(
        label="Per cent", error_messages={"required": "Give the rate, or choose “No tax”."}
    )
    tax_on = forms.MultipleChoiceField(
        label="It falls on",
        choices=[("on_labour", "Labour"), ("on_parts", "Parts"), ("on_fees", "Fees")],
        initial=["on_parts"],
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": "Say what it falls on, or choose “No tax”."},
    )
    owner_name = forms.CharField(label="Your name", max_length=80, help_text="As it stands in the timeline.")
    owner_sign_in = SignInWordField(label="Your sign-in word", help_text="Short: it is typed on a tablet.")
    new_password = PasswordField(
        label="Your password", now=False, help_text="At least 10 characters; several words are good."
    )
    new_password_again = PasswordField(label="Your password once more", now=False)
    new_pin = NewPinField(
        label="Your PIN", required=False, help_text="4 to 8 digits, to take over a shared tablet."
    )

    def __init__(self, data: Any = None, **kwargs: Any):
        super().__init__(data, initial=_defaults(Shop, self.SHOP) | opening.example_terms(), **kwargs)
        shop_fields = ShopForm(instance=Shop()).fields
        terms_fields = TermsForm(instance=Terms(), currency="USD").fields
        self.fields |= {name: shop_fields[name] for name in self.SHOP}
        # The first terms give the warranty that stands among the shop's own data: it is asked once.
        self.fields |= {name: terms_fields[name] for name in self.TERMS if name not in self.SHOP}
        # A guess would be kept by whoever scrolls past it: what the computer doesn't know is chosen.
        zone = opening.machine_zone()
        self.initial |= {"currency": "", "time_zone": zone}
        self.fields["currency"].help_text = ""
        self.fields["currency"].choices = [("", "Choose one"), *currency_choices()]
        self.fields["time_zone"].choices = [("", "Choose one"), *zone_choices(zone)]
        for name in ("tax_name", "tax_percent", "tax_on"):
            self.fields[name].required = self.data.get("tax") != "none"
            self.fields[name].widget.use_required_attribute = lambda initial: False  # “No tax” needs none
        use_currency(self, chosen_currency(self.data, "USD"))

    def clean_owner_sign_in(self) -> str:
        return check_sign_in_word(self.cleaned_data["owner_sign_in"])

    def clean(self) -> dict[str, Any]:
        values = self.cleaned_data
        check_new_password(
            self, Staff(name=values.get("owner_name", ""), sign_in=values.get("owner_sign_in", ""))
        )
        check_deadline(self, values)
        self._check_by_model(Shop(), self.SHOP)
        return values

    def _check_by_model(self, row: Any, names: list[str]) -> None:
        row = construct_instance(self, row, names)
        try:
            row.clean_fields(
                exclude=[f.name for f in row._meta.fields if f.name not in names or f.name in self.errors]
            )
        except ValidationError as error:
            self.add_error(None, error)

    def asked(self) -> dict[str, Any]:
        """The form's values as `opening.open_shop` takes them."""
        values = self.cleaned_data
        tax = None
        if values["tax"] == "one":
            on = {key: key in values["tax_on"] for key, _ in self.fields["tax_on"].choices}
            tax = {"name": values["tax_name"], "percent": values["tax_percent"], **on}
        return {
            "shop": {name: values[name] for name in self.SHOP},
            "terms": {name: values[name] for name in self.TERMS},
            "tax": tax,
            "owner_name": values["owner_name"],
            "sign_in": values["owner_sign_in"],
            "password": values["new_password"],
            "pin": values["new_pin"],
        }


def _defaults(model: type[Any], names: list[str]) -> dict[str, Any]:
    row = model()
    return {name: getattr(row, name) for name in names if name != "time_zone"}
