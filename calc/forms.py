"""The form of a reading: parsing and messages."""

from typing import Any

from django import forms

from calc.engine.quantities import LONGEST, UNITS, QuantityError, parse_quantity
from calc.models import Reading

_UNITS = [(key, f"{unit.symbol} ({unit.name})") for key, unit in UNITS.items()]


class ReadingForm(forms.Form):
    """One reading. The value is read in its unit; the message beside it says how to write it."""

    point = forms.CharField(
        label="Where",
        max_length=80,
        error_messages={"required": "Say where you measured, like Plate, V4."},
        widget=forms.TextInput(attrs={"autocomplete": "off", "list": "reading-points"}),
    )
    written = forms.CharField(
        label="Value",
        max_length=LONGEST,
        help_text="As you read it: 448, 16 mV, 4k7.",
        error_messages={
            "required": "Write what the meter shows, like 448 or 16 mV.",
            "max_length": "That is too long for a value. Write it like 448 or 16 mV.",
        },
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "off", "spellcheck": "false"}),
    )
    unit = forms.ChoiceField(label="Unit", choices=_UNITS, initial="V")
    when = forms.ChoiceField(
        label="When", choices=Reading.When.choices, initial=Reading.When.BEFORE, widget=forms.RadioSelect
    )
    meter = forms.CharField(label="Meter", max_length=80, required=False)
    note = forms.CharField(label="Note", max_length=200, required=False)

    def clean(self) -> dict[str, Any]:
        said = super().clean()
        if "written" in said and "unit" in said:
            try:
                parse_quantity(said["written"], said["unit"])
            except QuantityError as error:
                self.add_error("written", str(error))
        return said
