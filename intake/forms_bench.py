"""The bench's forms: parsing and messages.

A form that changes what another tablet may be changing too is a `RevisedForm` (`shop.conflict`).
"""

from decimal import Decimal
from typing import Any

from django import forms
from django.db.models import Q

from intake.charges import price_from_cost
from intake.minutes import MinutesError, as_hours, parse_minutes
from intake.models import Charge, Circuit, Finding, Job, LabourSpell, Note, Photo, State
from intake.models.bills import LineKind
from shop.conflict import RevisedForm
from shop.fields import AmountField, DayField
from shop.models import Shop, Staff
from shop.money import round_to
from shop.roles import ACTS
from shop.wording import span_words

LONGEST_LIST_OF_PIECES = 30
MOST_ON_A_JOB = Decimal("9999999.999")  # what a job's columns for sums hold
_LARGEST_REVISION = 2**31 - 1


# --- Fields ------------------------------------------------------------------------------------------------


class ShareField(forms.DecimalField):
    """A share in per cent, above nothing and at most the whole; a decimal comma will do."""

    def __init__(self, **kwargs: Any):
        widget = forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"})
        super().__init__(
            min_value=Decimal("0.01"),
            max_value=100,
            max_digits=5,
            decimal_places=2,
            widget=widget,
            error_messages={
                "invalid": "Write a number, like 10 or 12.5.",
                "min_value": "Write a share between 0.01 and 100 per cent.",
                "max_value": "Write a share between 0.01 and 100 per cent.",
            },
            **kwargs,
        )

    def to_python(self, value: Any) -> Decimal | None:
        text = value.replace(",", ".").removesuffix("%").strip() if isinstance(value, str) else value
        return super().to_python(text)

    def prepare_value(self, value: Any) -> Any:
        return f"{value.normalize():f}" if isinstance(value, Decimal) else value


class MinutesField(forms.CharField):
    """A length of time: 85, 1:25, 1 h 25 min."""

    def __init__(self, **kwargs: Any):
        super().__init__(**{"max_length": 40, **kwargs})
        self.widget.attrs.update({"autocomplete": "off"})

    def to_python(self, value: Any) -> int | None:
        text = super().to_python(value)
        if not text:
            return None
        try:
            return parse_minutes(text)
        except MinutesError as error:
            raise forms.ValidationError(str(error)) from error

    def run_validators(self, value: Any) -> None:
        if not isinstance(value, int):
            super().run_validators(value)

    def prepare_value(self, value: Any) -> Any:
        return span_words(value) if isinstance(value, int) else value


class QuantityField(forms.DecimalField):
    """How many, or how many hours; a comma is a point."""

    def __init__(self, **kwargs: Any):
        limits = {
            "max_digits": 10,
            "decimal_places": 3,
            "min_value": Decimal("0.001"),
            "max_value": Decimal(999999),
        }
        super().__init__(**{**limits, **kwargs})
        self.widget = forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"})
        self.error_messages["invalid"] = "Write a number, like 2 or 1.5."
        self.error_messages["min_value"] = "Write a quantity above zero."

    def to_python(self, value: Any) -> Decimal | None:
        return super().to_python(value.strip().replace(",", ".") if isinstance(value, str) else value)

    def prepare_value(self, value: Any) -> Any:
        return f"{value.normalize():f}" if isinstance(value, Decimal) else value


def _lines(rows: int) -> forms.Textarea:
    return forms.Textarea(attrs={"rows": rows})


# --- Forms -------------------------------------------------------------------------------------------------


class MoveForm(forms.Form):
    """One tap: where to. `seen` is the state that the page showed."""

    to = forms.ChoiceField(choices=State.choices)
    revision = forms.IntegerField(min_value=0, max_value=_LARGEST_REVISION)
    seen = forms.ChoiceField(choices=State.choices, required=False)


class NoteForm(forms.ModelForm):
    class Meta:
        model = Note
        fields = ["text"]
        labels = {"text": "New note"}
        widgets = {"text": _lines(3)}
        error_messages = {"text": {"required": "Write something; then keep it."}}


class FindingForm(RevisedForm):
    """A fault, its cause, its cure. Adding one needs no revision."""

    fault = forms.CharField(
        label="Fault",
        max_length=300,
        help_text=Finding._meta.get_field("fault").help_text,
        error_messages={"required": "Say what is wrong, and where."},
    )
    cause = forms.CharField(label="Cause", max_length=300, required=False)
    cure = forms.CharField(label="Cure", max_length=300, required=False)
    circuit = forms.ChoiceField(
        label="Part of the circuit",
        choices=[("", "Not said"), *Circuit.choices],
        required=False,
        widget=forms.RadioSelect,
        help_text="For the report of what comes back.",
        error_messages={"invalid_choice": "Choose one of these, or leave it."},
    )

    @classmethod
    def texts_of(cls, thing: Finding, currency: str) -> dict[str, str]:
        return {
            "fault": thing.fault,
            "cause": thing.cause,
            "cure": thing.cure,
            "circuit": thing.circuit,
        }


class NewFindingForm(FindingForm):
    """A finding that nobody can have changed yet."""

    revision = None
    opened_with = None


class PlainFindingsForm(RevisedForm):
    plain_findings = forms.CharField(
        label="Findings in plain words",
        max_length=4000,
        required=False,
        widget=_lines(4),
        help_text="The invoice says this to the owner.",
    )

    @classmethod
    def texts_of(cls, thing: Job, currency: str) -> dict[str, str]:
        return {"plain_findings": thing.plain_findings}


class PhotoForm(forms.ModelForm):
    picture = forms.FileField(
        label="Take a photo",
        error_messages={
            "required": "No picture came. Take one, or choose one from the tablet.",
            "empty": "That file is empty. Take the photo again.",
        },
    )

    class Meta:
        model = Photo
        fields = ["caption"]


class StopForm(forms.Form):
    """What was done, asked when the timer stops."""

    words = forms.CharField(label="What you did", max_length=200, required=False)


class StartForm(forms.Form):
    """Start the timer here; `leave_other` stops the one that runs on another job."""

    leave_other = forms.BooleanField(required=False)
    words = forms.CharField(label="What you did there", max_length=200, required=False)


class WriteDownForm(forms.Form):
    minutes = MinutesField(
        label="How long",
        help_text="85, 1:25 or 1 h 25",
        error_messages={"required": "Write how long it took, like 85 or 1 h 25."},
    )
    words = forms.CharField(label="What was done", max_length=200, required=False)


class LabourForm(RevisedForm):
    minutes = MinutesField(
        label="How long",
        help_text="85, 1:25 or 1 h 25",
        error_messages={"required": "Write how long it took, like 85 or 1 h 25."},
    )
    words = forms.CharField(label="What was done", max_length=200, required=False)

    @classmethod
    def texts_of(cls, thing: LabourSpell, currency: str) -> dict[str, str]:
        return {"minutes": span_words(thing.minutes or 0), "words": thing.words}


class ChargeLabourForm(forms.Form):
    hours = QuantityField(label="Charge", max_value=Decimal(1000))

    @classmethod
    def for_spell(cls, spell: LabourSpell) -> "ChargeLabourForm":
        return cls(initial={"hours": as_hours(spell.minutes or 0)}, auto_id=f"charge-{spell.pk}-%s")


class ChargeForm(RevisedForm):
    """A line of the bill. A discount's price is what it takes off, or it is given in per cent."""

    kind = forms.ChoiceField(
        label="Kind", choices=LineKind.choices, widget=forms.RadioSelect, initial=LineKind.PART
    )
    text = forms.CharField(
        label="What for",
        max_length=200,
        error_messages={"required": "Say what it is for: the invoice shows it."},
    )
    quantity = QuantityField(label="Quantity", initial=1, help_text="Hours for labour.")
    unit_price = AmountField(
        label="Price each", required=False, help_text="For a discount, what it takes off."
    )
    percent = ShareField(
        label="Or per cent",
        required=False,
        help_text="Only for a discount: of what the other lines come to.",
    )
    unit_cost = AmountField(
        label="Cost each",
        required=False,
        help_text="Only for a part: what the shop paid. Leave the price empty, and the mark-up makes it.",
    )
    under_warranty = forms.BooleanField(
        label="Under warranty, at nothing",
        required=False,
        help_text="Only for labour and parts. The price stands there, but nothing is charged.",
    )

    @classmethod
    def texts_of(cls, thing: Charge, currency: str) -> dict[str, str]:
        def sum_of(amount: Decimal | None) -> str:
            return "" if amount is None else str(round_to(amount, currency))

        return {
            "kind": thing.kind,
            "text": thing.text,
            "quantity": f"{thing.quantity.normalize():f}",
            "unit_price": sum_of(thing.unit_price if thing.percent is None else None),
            "percent": "" if thing.percent is None else f"{thing.percent.normalize():f}",
            "unit_cost": sum_of(thing.unit_cost),
            "under_warranty": "on" if thing.under_warranty else "",
        }

    def clean(self) -> dict[str, Any]:
        said = super().clean()
        kind, price, percent = said.get("kind"), said.get("unit_price"), said.get("percent")
        if percent is not None and kind not in (None, LineKind.DISCOUNT):
            self.add_error("percent", "Only a discount is given in per cent. Leave this empty.")
        if said.get("unit_cost") is not None and kind not in (None, LineKind.PART):
            self.add_error("unit_cost", "Only a part has a cost. Leave this empty.")
        if said.get("under_warranty") and kind in (LineKind.FEE, LineKind.DISCOUNT):
            self.add_error("under_warranty", "Only labour and parts are done under warranty.")
        if percent is not None and price:
            self.add_error("percent", "Write what it takes off, or the per cent, not both.")
        if price is None and "unit_price" not in self.errors:
            if percent is not None:
                said["unit_price"] = Decimal(0)
            elif kind != LineKind.PART or said.get("unit_cost") is None:
                self.add_error("unit_price", "Write a price, or 0 if it costs nothing.")
        return said

    def priced(self, shop: Shop) -> dict[str, Any]:
        """What was cleaned, as the verbs take it: a part without a price gets the mark-up on its cost."""
        said = {name: value for name, value in self.cleaned_data.items() if name != "opened_with"}
        if said["unit_price"] is None:
            said["unit_price"] = price_from_cost(said["unit_cost"], shop)
        if said["percent"] is not None:
            said["quantity"] = Decimal(1)
        return said


class NewChargeForm(ChargeForm):
    """A charge that nobody can have changed yet."""

    revision = None
    opened_with = None


class WhoField(forms.ModelChoiceField):
    """Somebody who works on jobs, or did: who left the shop is said to have left."""

    def label_from_instance(self, staff: Staff) -> str:
        return staff.name if staff.is_active else f"{staff.name} (no longer here)"


class JobForm(RevisedForm):
    """What the job says: the complaint, how it came in, what was agreed."""

    complaint = forms.CharField(
        label="Complaint, in the owner's words",
        max_length=4000,
        widget=_lines(4),
        error_messages={"required": "Say what is wrong with it, in the owner's words."},
    )
    condition = forms.CharField(
        label="Condition when it came in", max_length=2000, required=False, widget=_lines(2)
    )
    was_dropped = forms.BooleanField(label="Dropped", required=False)
    was_wet = forms.BooleanField(label="Got wet", required=False)
    was_opened = forms.BooleanField(label="Opened by someone", required=False)
    was_repaired = forms.BooleanField(label="Repaired before", required=False)
    smelled = forms.BooleanField(label="Smell or smoke", required=False)
    history_note = forms.CharField(label="What happened", max_length=2000, required=False, widget=_lines(2))
    wanted_by = DayField(label="Wanted by", required=False)
    diagnosis_fee = AmountField(
        label="Diagnosis fee",
        most=MOST_ON_A_JOB,
        error_messages={"required": "Write a sum, or 0 if looking is free."},
    )
    spend_limit = AmountField(
        label="Spend limit", most=MOST_ON_A_JOB, required=False, help_text="Up to here: just do it."
    )
    assigned_to = WhoField(
        label="Who works on it", queryset=Staff.objects.none(), required=False, empty_label="Nobody yet"
    )
    pieces = forms.CharField(
        label="Came with",
        max_length=3000,
        required=False,
        widget=_lines(3),
        help_text="One loose piece a line. Each has a tag of its own.",
    )

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        # Whoever has it stays in the list, also when they left the shop: an edit of something else keeps them.
        has_it = str(self.initial.get("assigned_to") or self.opened_texts().get("assigned_to", ""))
        who = Q(is_active=True, role__in=ACTS["work on jobs"])
        if has_it.isascii() and has_it.isdigit() and len(has_it) < 10:
            who |= Q(pk=has_it)
        self.fields["assigned_to"].queryset = Staff.objects.filter(who)

    @classmethod
    def texts_of(cls, thing: Job, currency: str) -> dict[str, str]:
        def tick(value: bool) -> str:
            return "on" if value else ""

        def amount(value: Decimal | None) -> str:
            return "" if value is None else str(round_to(value, currency))

        return {
            "complaint": thing.complaint,
            "condition": thing.condition,
            "was_dropped": tick(thing.was_dropped),
            "was_wet": tick(thing.was_wet),
            "was_opened": tick(thing.was_opened),
            "was_repaired": tick(thing.was_repaired),
            "smelled": tick(thing.smelled),
            "history_note": thing.history_note,
            "wanted_by": thing.wanted_by.isoformat() if thing.wanted_by else "",
            "diagnosis_fee": amount(thing.diagnosis_fee),
            "spend_limit": amount(thing.spend_limit),
            "assigned_to": str(thing.assigned_to_id or ""),
            "pieces": "\n".join(piece.name for piece in thing.pieces.all()),
        }

    def clean_pieces(self) -> list[str]:
        names = [line.strip() for line in self.cleaned_data["pieces"].splitlines() if line.strip()]
        if too_long := next((name for name in names if len(name) > 80), None):
            raise forms.ValidationError(f"“{too_long[:30]}…” is too long: a tag holds 80 letters.")
        if len(names) > LONGEST_LIST_OF_PIECES:
            raise forms.ValidationError(
                f"Write at most {LONGEST_LIST_OF_PIECES} pieces; count small ones together."
            )
        return names


class OrderForm(forms.Form):
    """Where in the line: before or after which job."""

    beside = forms.CharField(max_length=11)
    side = forms.ChoiceField(choices=[("before", "before"), ("after", "after")])
    whose = forms.CharField(max_length=10, required=False)
