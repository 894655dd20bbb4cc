"""What is typed about people and gear."""

from typing import Any

from django import forms

from intake.models import Gear, Person
from intake.register import GEAR_FIELDS, PERSON_FIELDS, Number
from shop.fields import CountryField

MOST_PHONES = 8


class PersonForm(forms.ModelForm):
    """Somebody, a band, a venue, a school."""

    revision = forms.IntegerField(widget=forms.HiddenInput, min_value=0, max_value=2_147_483_647, initial=0)
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

    def facts(self) -> dict[str, Any]:
        return {name: self.cleaned_data[name] for name in PERSON_FIELDS}


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


class GearForm(forms.ModelForm):
    """What a piece of gear is, and how it is told apart."""

    revision = forms.IntegerField(widget=forms.HiddenInput, min_value=0, max_value=2_147_483_647, initial=0)

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

    def facts(self) -> dict[str, Any]:
        return {name: self.cleaned_data[name] for name in GEAR_FIELDS}
