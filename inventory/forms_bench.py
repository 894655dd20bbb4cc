"""The forms of bench gear: parsing and messages."""

from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone

from calc.engine.quantities import LONGEST, UNITS, QuantityError, parse_quantity
from calc.meters import always_text
from inventory.models import BenchGear
from shop.conflict import ConflictCheck
from shop.fields import DayField

KINDS = [(kind.value, kind.label) for kind in BenchGear.Kind if kind != BenchGear.Kind.METER]


class ValueField(forms.CharField):
    """A value of one unit as people write it (4k7, 1/2 W), kept as a number of that unit; None where nothing is."""

    def __init__(self, unit: str, *, least: float, most: float, **kwargs: Any):
        super().__init__(required=False, max_length=LONGEST, **kwargs)
        self.unit, self.least, self.most = unit, least, most
        self.widget.attrs.update({"autocomplete": "off", "spellcheck": "false"})

    def to_python(self, value: Any) -> float | None:
        text = super().to_python(value)
        if not text:
            return None
        try:
            number = float(parse_quantity(text, self.unit).magnitude)
        except QuantityError as why:
            raise ValidationError(str(why)) from why
        if not self.least <= number <= self.most:
            least, most = (always_text(each, self.unit) for each in (self.least, self.most))
            raise ValidationError(
                f"Between {least} and {most}, please. Write it like {UNITS[self.unit].example}."
            )
        return number

    def run_validators(self, value: Any) -> None:
        """Those of a text are for what was typed; what it came to is a number."""
        if not isinstance(value, float):
            super().run_validators(value)

    def prepare_value(self, value: Any) -> Any:
        return always_text(value, self.unit) if isinstance(value, float) else value


class BenchGearForm(ConflictCheck, forms.ModelForm):
    """A thing of the bench that is no meter."""

    kind = forms.ChoiceField(label="It is a", choices=KINDS, widget=forms.RadioSelect)
    impedance = ValueField(
        "ohm",
        least=0.1,
        most=100_000,
        label="Impedance",
        help_text="Of a test load; of a spring tank’s input; of a transformer’s primary.",
    )
    second_impedance = ValueField(
        "ohm",
        least=0.1,
        most=100_000,
        label="The other side",
        help_text="A spring tank’s output; a transformer’s secondary.",
    )
    watts = ValueField("W", least=0.01, most=20_000, label="Rated power")

    class Meta:
        model = BenchGear
        fields = ["kind", "name", "impedance", "second_impedance", "watts", "note"]
        labels = {"name": "What it is called on the bench"}
        error_messages = {
            "name": {
                "required": "Say what it is called on the bench, like Test load 8 Ω.",
                "unique": "Something on the bench has that name already. Call this one something else.",
            }
        }

    def clean(self) -> dict[str, Any]:
        said = super().clean()
        if said.get("kind") == BenchGear.Kind.LOAD:
            for name, words in (("impedance", "how many ohms it has"), ("watts", "how many watts it takes")):
                if name not in self.errors and said.get(name) is None:
                    self.add_error(name, f"Say {words}. Without it no worksheet can offer it.")
        return said

    def asked(self) -> dict[str, Any]:
        return {name: self.cleaned_data[name] for name in self._meta.fields}


class LendForm(forms.Form):
    """Into whose hands something goes."""

    to_whom = forms.CharField(
        label="Lent to",
        max_length=120,
        help_text="Who, and where they can be reached.",
        error_messages={"required": "Say who takes it."},
    )
    due_on = DayField(
        label="Back by", required=False, error_messages={"invalid": "Choose a day, like 2026-12-24."}
    )

    def clean_due_on(self) -> Any:
        day = self.cleaned_data["due_on"]
        if day is not None and day < timezone.localdate():
            raise ValidationError("That day is over. Choose today or later.")
        return day
