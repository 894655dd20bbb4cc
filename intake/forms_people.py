"""What is typed about people and gear."""

from collections.abc import Iterable
from typing import Any

from django import forms
from django.http import QueryDict

from intake.models import Gear, Person
from intake.register import GEAR_FIELDS, PERSON_FIELDS, Number
from shop.conflict import RevisedForm
from shop.fields import CountryField

MOST_PHONES = 8


class PhoneForm(forms.Form):
    """One phone number. A row without a number is no phone: clearing it takes it away."""

    number = forms.CharField(
        label="Phone",
        max_length=40,
        required=False,
        widget=forms.TextInput(attrs={"type": "tel", "inputmode": "tel", "autocomplete": "off"}),
    )
    label = forms.CharField(label="Whose or where", max_length=40, required=False)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        number = cleaned.get("number", "")
        if number and not any(c in "0123456789" for c in number):
            self.add_error("number", "A phone number has digits, like 555 0142.")
        if cleaned.get("label") and not number and "number" not in self.errors:
            self.add_error("number", f"Write the number that goes with “{cleaned['label']}”, or clear both.")
        return cleaned


class _Phones(forms.BaseFormSet):
    """A person's phones, in the order they like to be called."""

    def numbers(self) -> list[Number]:
        rows = (form.cleaned_data for form in self.forms if form.cleaned_data.get("number"))
        return [Number(row["number"].strip(), row["label"].strip()) for row in rows]


PhoneFormSet = forms.formset_factory(
    PhoneForm, formset=_Phones, extra=1, max_num=MOST_PHONES, absolute_max=MOST_PHONES + 2, validate_max=True
)


_PHONES = "phones"  # the prefix of the rows, and the name of them all as one text


def _lines(numbers: Iterable[Number]) -> str:
    return "\n".join(f"{number}\t{label}".rstrip("\t") for number, label in numbers)


def _rows(lines: str) -> list[dict[str, str]]:
    cut = (line.partition("\t") for line in lines.splitlines() if line.strip())
    return [{"number": number, "label": label} for number, _, label in cut]


def _with_rows(data: QueryDict, lines: str) -> QueryDict:
    """What was sent, with these phones in the place of its own."""
    data, rows = data.copy(), _rows(lines)[: MOST_PHONES + 2]
    data[f"{_PHONES}-TOTAL_FORMS"], data[f"{_PHONES}-INITIAL_FORMS"] = str(len(rows)), "0"
    for n, row in enumerate(rows):
        data[f"{_PHONES}-{n}-number"], data[f"{_PHONES}-{n}-label"] = row["number"], row["label"]
    return data


def one_more_phone(data: QueryDict) -> QueryDict:
    """What was typed, with one more empty row for a phone: the button for it works without JavaScript too."""
    data = data.copy()
    rows = data.get(f"{_PHONES}-TOTAL_FORMS", "")
    whole = rows.isascii() and rows.isdigit() and len(rows) < 3
    data[f"{_PHONES}-TOTAL_FORMS"] = str(int(rows) + 1) if whole else "1"
    return data


class PersonForm(RevisedForm, forms.ModelForm):
    """Somebody, a band, a venue, a school, with their phones: `phones` are rows of their own.

    Where two people changed it, the phones are one thing among the others: a line each, number and label.
    """

    country = CountryField(help_text="Two letters. Empty: the shop’s own. Electronic invoices say it.")

    class Meta:
        model = Person
        fields = PERSON_FIELDS
        widgets = {
            "kind": forms.RadioSelect,
            "name": forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "words"}),
            "email": forms.EmailInput(attrs={"autocomplete": "off", "inputmode": "email"}),
            "address": forms.Textarea(attrs={"rows": 3, "autocomplete": "off"}),
            "note": forms.Textarea(attrs={"rows": 3}),
        }
        error_messages = {"name": {"required": "Write the name: it stands on every ticket."}}

    def __init__(self, data: Any = None, **kwargs: Any):
        if data is not None and _PHONES in data:
            data = _with_rows(data, data[_PHONES])
        super().__init__(data, **kwargs)
        rows = _rows(self.initial.get(_PHONES, ""))
        self.phones = PhoneFormSet(data, initial=None if self.is_bound else rows, prefix=_PHONES)

    @classmethod
    def texts_of(cls, thing: Person, currency: str) -> dict[str, str]:
        numbers = _lines(Number(phone.number, phone.label) for phone in thing.phones.all())
        return {**{name: getattr(thing, name) for name in PERSON_FIELDS}, _PHONES: numbers}

    def typed(self) -> dict[str, str]:
        return {**super().typed(), _PHONES: _lines(self.phones.numbers())}

    def label_of(self, name: str) -> str:
        return "Phones" if name == _PHONES else super().label_of(name)

    def shown(self, name: str, text: str) -> str:
        if name != _PHONES:
            return super().shown(name, text)
        rows = _rows(text)
        return "; ".join(
            f"{row['number']} ({row['label']})" if row["label"] else row["number"] for row in rows
        )

    def is_valid(self) -> bool:
        return all([super().is_valid(), self.phones.is_valid()])

    def facts(self) -> dict[str, Any]:
        return {name: self.cleaned_data[name] for name in PERSON_FIELDS}


class NewPersonForm(PersonForm):
    """Somebody whom nobody can have changed yet."""

    revision = None
    opened_with = None


class GearForm(RevisedForm, forms.ModelForm):
    """What a piece of gear is, and how it is told apart."""

    class Meta:
        model = Gear
        fields = GEAR_FIELDS
        widgets = {
            "kind": forms.RadioSelect,
            "technology": forms.RadioSelect,
            "serial": forms.TextInput(
                attrs={"autocomplete": "off", "autocapitalize": "characters", "spellcheck": "false"}
            ),
            "marks": forms.Textarea(attrs={"rows": 2}),
        }

    @classmethod
    def texts_of(cls, thing: Gear, currency: str) -> dict[str, str]:
        return {name: getattr(thing, name) for name in GEAR_FIELDS}

    def facts(self) -> dict[str, Any]:
        return {name: self.cleaned_data[name] for name in GEAR_FIELDS}
