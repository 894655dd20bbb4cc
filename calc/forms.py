"""The form of a reading: parsing and messages."""

from collections.abc import Iterable
from typing import Any, Final

from django import forms

from calc import meters, readings
from calc.engine.quantities import UNITS, QuantityError, parse_measured
from calc.models import Meter, Reading
from shop.wording import day_words

_UNITS = [(key, f"{unit.symbol} ({unit.name})") for key, unit in UNITS.items()]
ANOTHER: Final = "another"


class _MeterField(forms.ChoiceField):
    """A meter must be said; whether it is picked here, or named in the box beside it, the form knows."""

    def validate(self, value: str) -> None:
        if value:
            super().validate(value)


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
        max_length=Reading._meta.get_field("written").max_length,
        help_text="As you read it: 448, 16 mV, 4k7, 462 ± 3.",
        error_messages={
            "required": "Write what the meter shows, like 448 or 16 mV.",
            "max_length": "That is too long for a value. Write it like 448 or 16 mV.",
        },
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "off", "spellcheck": "false"}),
    )
    unit = forms.ChoiceField(label="Unit", choices=_UNITS, initial="V")
    powered = forms.ChoiceField(
        label="Was it on?",
        choices=[("on", "Power on"), ("off", "Power off")],
        required=False,
        widget=forms.RadioSelect,
        help_text="Left open, volts, amperes, watts and hertz count as read with the power on, all else with it off.",
    )
    when = forms.ChoiceField(
        label="When", choices=Reading.When.choices, initial=Reading.When.BEFORE, widget=forms.RadioSelect
    )
    with_meter = _MeterField(
        label="Meter",
        error_messages={"invalid_choice": "That meter isn’t in use. Pick another one."},
    )
    meter = forms.CharField(label="Name of another meter", max_length=80, required=False)
    note = forms.CharField(label="Note", max_length=200, required=False)

    def __init__(self, *args: Any, meters_in_use: Iterable[Meter] = (), **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.meters = list(meters_in_use)
        self.fields["with_meter"].choices = [
            ("", "Pick the meter"),
            *((str(each.pk), _called(each)) for each in self.meters),
            (ANOTHER, "Another one: write its name"),
        ]

    @property
    def due_meters(self) -> list[Meter]:
        """Those that could be picked, but are out of calibration."""
        return [each for each in self.meters if meters.is_due(each)]

    def clean(self) -> dict[str, Any]:
        said = super().clean()
        if "written" in said and "unit" in said:
            try:
                parse_measured(said["written"], said["unit"])
            except QuantityError as error:
                self.add_error("written", str(error))
        said["powered"] = said["powered"] == "on" if said.get("powered") else _is_live(said)
        if "with_meter" in said and "meter" in said:
            self._read_meter(said)
        return said

    def _read_meter(self, said: dict[str, Any]) -> None:
        """One of the shop's meters, picked or called by its name, or another one's name."""
        picked, name = said["with_meter"], said["meter"]
        said["with_meter"] = next(
            (
                each
                for each in self.meters
                if str(each.pk) == picked
                or (picked in ("", ANOTHER) and each.name.casefold() == name.casefold())
            ),
            None,
        )
        if said["with_meter"] is None and not name:
            self.add_error("with_meter", "Pick the meter, or write down the name of another one.")


def _is_live(said: dict[str, Any]) -> bool:
    return readings.is_usually_live(said.get("unit", ""))


def _called(meter: Meter) -> str:
    """Its name on the list; the shape before it and the words after say where it is out of calibration."""
    return (
        f"▲ {meter.name}: calibration due since {day_words(meter.due_on)}"
        if meters.is_due(meter)
        else meter.name
    )
