"""What is typed about parts, drawers and the ledger."""

import math
import re
from decimal import Decimal
from typing import Any, Final

from django import forms
from django.forms import BoundField

from calc.engine.errors import QuantityError
from calc.engine.quantities import LONGEST as LONGEST_VALUE
from calc.engine.quantities import UNITS, parse_quantity
from inventory import scanning, stock, values
from inventory.forms_use import ask_which
from inventory.models import Drawer, Kind, Move, Part
from shop.conflict import ConflictCheck, RevisedForm
from shop.fields import AmountField, use_currency

MOST_COST: Final = Decimal(999_999)
_NUMBERS: Final = {
    "tolerance": "%",
    "volts": "V",
    "watts": "W",
    "amps": "A",
    "impedance": "ohm",
    "hottest": "degC",
}
_WORDS: Final = ("designation", "technology", "leads", "taper", "shaft")
_LABELS: Final = {
    Kind.CAPACITOR: {"value": "Capacitance", "technology": "Type", "volts": "Rated volts"},
    Kind.RESISTOR: {"value": "Resistance"},
    Kind.POT: {"value": "Resistance"},
    Kind.ZENER: {"volts": "Zener volts"},
    Kind.FUSE: {"value": "Rated amperes", "technology": "How quick"},
    Kind.TRANSFORMER: {"value": "Inductance"},
    Kind.TANK: {"impedance": "Input impedance"},
}


def _text(label: str, longest: int, *, required: bool = False, **more: Any) -> forms.CharField:
    return forms.CharField(label=label, max_length=longest, required=required, **more)


class DrawerField(forms.Field):
    """A drawer by its code, typed or scanned off its label."""

    def __init__(self, **kwargs: Any):
        attrs = {
            "autocomplete": "off",
            "autocapitalize": "characters",
            "spellcheck": "false",
            "maxlength": 300,
        }
        super().__init__(required=False, widget=forms.TextInput(attrs=attrs), **kwargs)

    def to_python(self, value: Any) -> Drawer | None:
        text = "".join(c for c in str(value or "")[:300] if c.isprintable()).strip()
        if not text:
            return None
        found = scanning.read(text)
        if not isinstance(found, Drawer):
            raise forms.ValidationError(
                f"There is no drawer {text[:40]}. Write it down first, or leave this empty."
            )
        return found


class _PartBoxes(forms.Form):
    """What both forms of a part ask for."""

    name = _text(
        "What it is",
        120,
        required=True,
        help_text="As you would write it on the drawer: 22u 450V axial, 1M 1/2W, 12AX7.",
        error_messages={"required": "Write what it is, like 22u 450V axial."},
        widget=forms.TextInput(attrs={"autocomplete": "off", "spellcheck": "false"}),
    )
    kind = forms.ChoiceField(label="Kind", required=False, choices=[("", "As it is written"), *Kind.choices])
    make = _text("Make", 80)
    note = _text("Note", 400)
    drawer = DrawerField(label="Drawer", help_text="Its code, typed or scanned.")
    is_loose = forms.BooleanField(
        label="Not counted", required=False, help_text="Screws and solder: plenty, low or out is enough."
    )
    price = AmountField(
        label="Price of one",
        required=False,
        most=MOST_COST,
        help_text="Empty: from the cost, by the shop’s mark-up.",
    )
    keep = forms.IntegerField(
        label="Reorder at",
        required=False,
        min_value=0,
        max_value=stock.MOST,
        help_text="Empty: as the planner says.",
    )

    def _read_name(self, cleaned: dict[str, Any]) -> values.Values | None:
        try:
            read = values.read_part(cleaned.get("name", ""), cleaned.get("kind") or None)
        except QuantityError as why:
            self.add_error("name", str(why))
            return None
        if not read.kind and "name" not in self.errors:
            self.add_error("kind", "Choose what kind of part this is.")
            return None
        return read

    def _common(self) -> dict[str, Any]:
        names = ("name", "make", "note", "drawer", "is_loose", "price", "keep")
        return {name: self.cleaned_data[name] for name in names}


class NewPartForm(_PartBoxes):
    """A part that isn't written down yet, and how many of it are there."""

    quantity = forms.IntegerField(
        label="How many are there", required=False, min_value=0, max_value=stock.MOST
    )
    cost = AmountField(label="What one cost", required=False, most=MOST_COST)

    def __init__(self, *args: Any, currency: str, **kwargs: Any):
        super().__init__(*args, **kwargs)
        use_currency(self, currency)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        self.read = self._read_name(cleaned)
        if cleaned.get("is_loose") and cleaned.get("quantity"):
            self.add_error("quantity", "What isn’t counted has no number. Leave this empty, or count it.")
        return cleaned

    def facts(self) -> dict[str, Any]:
        return {**self.read.facts, **self._common()}


class PartForm(_PartBoxes, RevisedForm):
    """A part as it is written, with its values; which ones, its kind decides."""

    value = _text("Value", LONGEST_VALUE)
    tolerance = _text("Tolerance", LONGEST_VALUE)
    volts = _text("Volts", LONGEST_VALUE)
    watts = _text("Watts", LONGEST_VALUE)
    amps = _text("Amperes", LONGEST_VALUE)
    impedance = _text("Impedance", LONGEST_VALUE)
    hottest = _text("Hottest it may get", LONGEST_VALUE)
    designation = _text("Type", 40)
    technology = _text("Technology", 40)
    leads = _text("Leads", 40)
    taper = _text("Taper", 20)
    shaft = _text("Shaft", 40)
    is_in_use = forms.BooleanField(
        label="In use", required=False, help_text="Untick it for what the shop won’t keep any more."
    )

    @classmethod
    def texts_of(cls, thing: Part, currency: str) -> dict[str, str]:
        has = values.FIELDS[Kind(thing.kind)]
        texts = dict.fromkeys(("value", *_NUMBERS, *_WORDS), "")
        for name in has:
            said = getattr(thing, name)
            unit = values.unit_of(thing.kind, name)
            texts[name] = (values.in_words(said, unit) if said is not None else "") if unit else said
        return {
            **texts,
            "name": thing.name,
            "kind": thing.kind,
            "make": thing.make,
            "note": thing.note,
            "drawer": thing.drawer.code if thing.drawer else "",
            "is_loose": "on" if thing.is_loose else "",
            "is_in_use": "on" if thing.is_in_use else "",
            "price": "" if thing.price is None else f"{thing.price.normalize():f}",
            "keep": "" if thing.keep is None else str(thing.keep),
        }

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.fields["kind"].choices, self.fields["kind"].required = Kind.choices, True
        self.kind = self["kind"].value() if self["kind"].value() in Kind.values else ""
        for name, label in _LABELS.get(self.kind, {}).items():
            self.fields[name].label = label
        for name in ("value", *_NUMBERS):
            attrs = {"autocomplete": "off", "data-value": True}
            self.fields[name].widget.attrs.update(attrs)

    def boxes_of_kind(self) -> list[BoundField]:
        """The boxes of what this kind of part has."""
        return [self[name] for name in values.FIELDS.get(self.kind, ())]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        read = self._read_name(cleaned)
        if read is None or self.errors:
            return cleaned
        for name in ("value", *_NUMBERS, *_WORDS):
            unit = values.unit_of(read.kind, name)
            if name not in values.FIELDS[Kind(read.kind)]:
                cleaned[name] = None if name in ("value", *_NUMBERS) else ""
            elif unit:
                cleaned[name] = self._number(name, unit, getattr(read, name))
            else:
                cleaned[name] = cleaned.get(name) or getattr(read, name)
        return cleaned

    def _number(self, name: str, unit: str, named: float | None) -> float | None:
        """The number of a box; where the box is empty, what the name says of it."""
        text = self.cleaned_data.get(name, "").removeprefix("±").strip()
        if not text:
            return named
        try:
            value = float(parse_quantity(text, unit).magnitude)
        except QuantityError as why:
            self.add_error(name, str(why))
            return None
        if value < 0:
            self.add_error(name, f"This can’t be below zero. Write it like {UNITS[unit].example}.")
        elif named is not None and not math.isclose(value, named, rel_tol=1e-6):
            said = values.in_words(named, unit)
            self.add_error(name, f"Above, it is called {said}. Write the same in both places.")
        return value

    def facts(self) -> dict[str, Any]:
        return {
            **self._common(),
            **{name: self.cleaned_data[name] for name in ("kind", "value", *_NUMBERS, *_WORDS, "is_in_use")},
        }


class DrawerForm(ConflictCheck, forms.ModelForm):
    """A drawer."""

    class Meta:
        model = Drawer
        fields = ["code", "place", "note", "is_in_use"]
        error_messages = {"code": {"required": "Write its code, like B-14."}}

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.fields["code"].help_text = "Short enough to be read across a bench, like B-14."
        self.fields["code"].widget.attrs.update({"autocapitalize": "characters", "autocomplete": "off"})

    def clean_code(self) -> str:
        code = self.cleaned_data["code"]
        if not re.fullmatch(r"[0-9A-Za-z][0-9A-Za-z .-]*", code):
            raise forms.ValidationError("Use letters, digits and hyphens, like B-14.")
        return code

    def validate_unique(self) -> None:
        """The verb says it, without regard to capitals."""


# What a person may do to the ledger by hand, with what the button says. Uses are on the job's page.
BY_HAND: Final = {
    Move.Why.COUNTED: "I counted them",
    Move.Why.RECEIVED: "Some came",
    Move.Why.HARVESTED: "Harvested from a dead unit",
    Move.Why.SOLD: "Sold over the counter",
    Move.Why.SCRAPPED: "Scrapped",
    Move.Why.SENT_BACK: "Sent back to the supplier",
}


OUT: Final = (Move.Why.SOLD, Move.Why.SCRAPPED, Move.Why.SENT_BACK)


class MoveForm(forms.Form):
    """A move by hand."""

    why = forms.ChoiceField(
        label="What happened",
        choices=[(why.value, words) for why, words in BY_HAND.items()],
        widget=forms.RadioSelect,
        error_messages={"required": "Choose what happened."},
    )
    quantity = forms.IntegerField(
        label="How many",
        min_value=0,
        max_value=stock.MOST,
        error_messages={"required": "Write how many.", "invalid": "Write how many, in digits."},
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )
    cost = AmountField(label="What one cost", required=False, most=MOST_COST, help_text="Of what came.")
    words = _text(
        "Why", 300, help_text="Needed where some are scrapped or sent back, and where it goes below zero."
    )

    def __init__(self, *args: Any, currency: str, part: Part, **kwargs: Any):
        super().__init__(*args, **kwargs)
        use_currency(self, currency)
        ask_which(
            self, part, help_text="Of what is sold, scrapped or sent back, those with labels of their own."
        )

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        why = cleaned.get("why")
        if cleaned.get("tubes") and why not in (*OUT, None):
            self.add_error("tubes", "Labelled pieces are sold, scrapped or sent back here. Tick none.")
        if why == Move.Why.RECEIVED and cleaned.get("cost") is None and "cost" not in self.errors:
            self.add_error("cost", "Write what one cost. 0 if it was free.")
        if why != Move.Why.COUNTED and cleaned.get("quantity") == 0:
            self.add_error("quantity", "Write how many: at least 1.")
        return cleaned


class PartPhotoForm(forms.Form):
    picture = forms.FileField(
        label="Take a photo", error_messages={"required": "Take a photo, or choose one."}
    )
