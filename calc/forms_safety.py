"""What people type onto the emergency card, to a caution, and of a near miss: parsing and messages."""

from typing import Any

from django import forms

from calc import emergency
from calc.models import CautionWords, EmergencyCard
from shop.conflict import ConflictCheck, RevisedForm
from shop.fields import DayField

_HELP = {
    "ambulance": "As it is dialled here, like 112, 911 or 000.",
    "poison": "For flux, solvents, battery acid.",
    "doctor": "Name and number.",
    "call_here": "The owner at home, the landlord, the alarm company: name and number.",
    "address": "Street, door, floor, and what somebody has to know to find the way in.",
    "switch": "The one that takes the power off the benches.",
    "extinguisher": "One that is marked for electrical fires.",
}


class EmergencyForm(RevisedForm, forms.ModelForm):
    """What the card says of this shop. All of it may stay empty."""

    class Meta:
        model = EmergencyCard
        fields = emergency.FIELDS

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        for name in emergency.FIELDS:
            self.fields[name].help_text = _HELP.get(name, "")
        for name in emergency.NUMBERS:
            self.fields[name].widget.attrs.update({"inputmode": "tel", "autocomplete": "off"})

    @classmethod
    def texts_of(cls, thing: EmergencyCard, currency: str) -> dict[str, str]:
        return {name: getattr(thing, name) for name in emergency.FIELDS}

    def clean(self) -> dict[str, Any]:
        values = super().clean() or self.cleaned_data
        for name in emergency.NUMBERS:
            if values.get(name) and not emergency.dialled(values[name]):
                self.add_error(name, "Write the number as it is dialled, in figures.")
        return values

    def written(self) -> dict[str, str]:
        return {name: self.cleaned_data[name] for name in emergency.FIELDS}


class CautionForm(ConflictCheck, forms.ModelForm):
    """What the shop adds to a caution."""

    class Meta:
        model = CautionWords
        fields = ["words"]
        widgets = {"words": forms.Textarea(attrs={"rows": 3, "maxlength": 300})}
        labels = {"words": "The shop’s own words"}
        help_texts = {
            "words": "Shown below our text wherever this caution stands. Leave it empty to add nothing."
        }

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.fields["words"].required = False


class NearMissForm(forms.Form):
    """What happened, and what is done about it. No box asks whose fault it was."""

    on = DayField(
        label="When",
        error_messages={"required": "Say on which day.", "invalid": "Write a day, like 2026-11-25."},
    )
    what = forms.CharField(
        label="What happened",
        max_length=2000,
        widget=forms.Textarea(attrs={"rows": 5}),
        help_text="What was done, with what, and what nearly came of it. Gear and circumstances, not names.",
        error_messages={"required": "Write down what happened."},
    )
    done = forms.CharField(
        label="What we do about it",
        max_length=2000,
        required=False,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="What is different from now on, so that it can’t happen again.",
    )
