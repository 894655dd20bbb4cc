"""The form of a meter: parsing and messages."""

import math
from dataclasses import dataclass
from typing import Any, Final

from django import forms
from django.forms import BoundField
from django.utils import timezone

from calc.engine.quantities import LONGEST, UNITS, QuantityError, parse_quantity
from calc.meters import always_text
from calc.models import Accuracy, Meter
from shop.conflict import ConflictCheck
from shop.fields import DayField

USUAL: Final = ("V", "A", "ohm")  # what every meter measures; the other units are a tap away


@dataclass(frozen=True)
class AccuracyRow:
    """The two boxes of one unit."""

    name: str  # "Volts"
    always_sign: str  # "V, always"
    percent: BoundField
    always: BoundField


class MeterForm(ConflictCheck, forms.ModelForm):
    """A meter, and how sure it is: two boxes a unit. A unit whose boxes are empty is one that nothing is known of."""

    calibrated_on = DayField(label="Calibrated on", required=False)
    due_on = DayField(
        label="Calibration due", required=False, help_text="The last day on which its readings are trusted."
    )

    class Meta:
        model = Meter
        fields = ["name", "calibrated_on", "due_on"]
        error_messages = {
            "name": {
                "required": "Say what it is called on the bench, like Bench meter 1.",
                "unique": "There is a meter of that name already. Call this one something else.",
            }
        }

    def __init__(self, *args: Any, **kwargs: Any):
        instance = kwargs.get("instance")
        kwargs["initial"] = {**_texts(instance), **(kwargs.get("initial") or {})}
        super().__init__(*args, **kwargs)
        self.fields["name"].help_text = "What it is called on the bench."
        for key, unit in UNITS.items():
            name = _capital(unit.name)
            self.fields[_percent(key)] = _text_field(f"{name}: per cent of the reading", "0.5")
            self.fields[_always(key)] = _text_field(f"{name}: and always", unit.example.split(",")[0])

    def there(self) -> dict[str, str]:
        """What the rows say now, the accuracies with them."""
        of_units = {
            name: self.initial.get(name, "") for key in UNITS for name in (_percent(key), _always(key))
        }
        return super().there() | of_units

    def usual_rows(self) -> list[AccuracyRow]:
        return [self._row(key) for key in USUAL]

    def other_rows(self) -> list[AccuracyRow]:
        return [self._row(key) for key in UNITS if key not in USUAL]

    def others_are_open(self) -> bool:
        """Whether something stands in the boxes of the units that are a tap away."""
        return any(row.percent.value() or row.always.value() for row in self.other_rows())

    def clean(self) -> dict[str, Any]:
        values = super().clean()
        first, last = values.get("calibrated_on"), values.get("due_on")
        if first and first > timezone.localdate():
            self.add_error("calibrated_on", "That day is still to come.")
        if first and last and last < first:
            self.add_error("due_on", "This is before the day on which it was calibrated.")
        values["accuracies"] = {
            key: pair for key in UNITS if (pair := self._sureness(key, values)) is not None
        }
        return values

    def asked(self) -> dict[str, Any]:
        """What the verbs of `calc.meters` want."""
        return {name: self.cleaned_data[name] for name in ("name", "calibrated_on", "due_on", "accuracies")}

    def _row(self, key: str) -> AccuracyRow:
        return AccuracyRow(
            _capital(UNITS[key].name), f"{UNITS[key].symbol}, always", self[_percent(key)], self[_always(key)]
        )

    def _sureness(self, key: str, values: dict[str, Any]) -> tuple[float, float] | None:
        if not (values.get(_percent(key)) or values.get(_always(key))):
            return None
        percent = self._read(_percent(key), "%", values)
        always = self._read(_always(key), key, values)
        if percent is not None and percent > 100:
            self.add_error(_percent(key), "More than 100 % is no meter. Write it like 0.5.")
        elif percent == 0 and always == 0:
            self.add_error(
                _percent(key), "No meter is exact. Write what its manual says, or leave both empty."
            )
        return percent or 0.0, always or 0.0

    def _read(self, name: str, key: str, values: dict[str, Any]) -> float | None:
        text = values.get(name) or "0"
        try:
            value = 0.0 if text.strip() == "0" else float(parse_quantity(text, key).magnitude)
        except QuantityError as why:
            self.add_error(name, str(why))
            return None
        if value < 0 or not math.isfinite(value):
            self.add_error(name, f"How sure it is can’t be below zero. Write it like {UNITS[key].example}.")
            return None
        return value


def _capital(name: str) -> str:
    return name[0].upper() + name[1:]


def _percent(key: str) -> str:
    return f"percent-{key if key.isalpha() else 'percent'}"


def _always(key: str) -> str:
    return f"always-{key if key.isalpha() else 'percent'}"


def _text_field(label: str, example: str) -> forms.CharField:
    attrs = {"autocomplete": "off", "inputmode": "decimal", "data-value": True}
    return forms.CharField(
        label=label,
        required=False,
        max_length=LONGEST,
        error_messages={"max_length": f"That is too long for a value. Write it like {example}."},
        widget=forms.TextInput(attrs=attrs),
    )


def _texts(meter: Meter | None) -> dict[str, str]:
    """What a meter's accuracies are, as somebody would type them."""
    if meter is None or meter.pk is None:
        return {}
    texts: dict[str, str] = {}
    for each in Accuracy.objects.filter(meter=meter, unit__in=UNITS):
        texts[_percent(each.unit)] = always_text(each.percent, "%").removesuffix(" %") if each.percent else ""
        texts[_always(each.unit)] = always_text(each.always, each.unit) if each.always else ""
    return texts
