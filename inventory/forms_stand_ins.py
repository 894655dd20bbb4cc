"""The form of a stand-in: parsing and messages."""

from decimal import Decimal
from typing import Any

from django import forms

from calc.engine.errors import QuantityError
from inventory import values
from inventory.forms_bench import ValueField
from inventory.models import Kind, Part
from inventory.stand_ins import Need
from inventory.values import Values
from shop.fields import PercentField

TOGETHER = (Kind.CAPACITOR, Kind.RESISTOR)
BY_TYPE = (Kind.TUBE, Kind.DIODE, Kind.ZENER, Kind.TRANSISTOR, Kind.FUSE)


class StandInsForm(forms.Form):
    """What isn't there, as people write it, and how it will be used. `need` and `wanted` are what it comes to."""

    q = forms.CharField(
        label="What is missing",
        max_length=values.LONGEST,
        help_text="With its ratings, as on the part: 22u 450V axial, 1M 1/2W, 12AX7.",
        error_messages={"required": "Write what is missing, like 22u 450V or 1M 1/2W."},
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "off", "spellcheck": "false"}),
    )
    within = PercentField(
        label="May be off by",
        required=False,
        initial=Decimal(10),
        max_value=Decimal(90),
        help_text="Of its value, up or down.",
    )
    volts = ValueField(
        "V", least=0.1, most=100_000, label="Volts across it", help_text="Empty: a capacitor’s own rating."
    )
    watts = ValueField(
        "W", least=1e-6, most=100_000, label="Heat in it", help_text="Empty: a resistor’s own rating."
    )
    amps = ValueField(
        "A",
        least=1e-6,
        most=1000,
        label="Ripple through it",
        help_text="Of a filter capacitor, if you know it.",
    )
    but = forms.ModelChoiceField(Part.objects.all(), required=False, widget=forms.HiddenInput)

    need: Need | None = None
    wanted: Values

    def clean(self) -> dict[str, Any]:
        said = super().clean()
        if self.errors:
            return said
        try:
            self.wanted = values.read_part(said["q"])
        except QuantityError as why:
            self.add_error("q", str(why))
            return said
        if self.wanted.kind in TOGETHER:
            self._ask(said)
        elif self.wanted.kind not in BY_TYPE:
            self.add_error(
                "q",
                "Stand-ins are worked out for resistors and capacitors, and by type for tubes, diodes, zeners, "
                "transistors and fuses. Write one of these, like 22u 450V or 12AX7.",
            )
        return said

    def _ask(self, said: dict[str, Any]) -> None:
        wanted = self.wanted
        if not wanted.value:
            self.add_error("q", "Write its value, like 22u 450V or 1M 1/2W.")
            return
        capacitor = wanted.kind == Kind.CAPACITOR
        volts = said["volts"] or (wanted.volts if capacitor else None)
        watts = None if capacitor else said["watts"] or wanted.watts
        if capacitor and not volts:
            self.add_error("volts", "Say what stands across it: a capacitor is not chosen without its volts.")
        if not capacitor and not watts:
            self.add_error("watts", "Say what it turns into heat, or write its rating, like 1M 1/2W.")
        within = Decimal(10) if said["within"] is None else said["within"]
        self.need = Need(
            wanted.kind,
            wanted.value,
            float(within) / 100,
            volts=volts,
            watts=watts,
            amps=said["amps"] if capacitor else None,
            hottest=wanted.hottest,
            technology=wanted.technology,
            leads=wanted.leads,
        )
