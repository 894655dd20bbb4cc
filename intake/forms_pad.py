"""The questions of the sign-in pad, one a screen, and the order they come in.

Staff ask the same questions on one page (intake.forms_dropoff), so the fields and what may stand in them are
here. Nothing here reads the database.
"""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Final

from django import forms
from django.core.validators import RegexValidator
from django.utils import timezone

from intake.folding import digits
from intake.models import GearKind, Person
from intake.signatures import SignatureField
from shop import fields
from shop.fields import AmountField, use_currency
from shop.models import Shop
from shop.money import round_to

MOST_ON_THE_PAD: Final = 6  # pieces of gear under one signature
LARGEST_SUM: Final = Decimal(9_999_999)  # what a job's column holds
FURTHEST: Final = dt.timedelta(days=2 * 365)
USUAL_PIECES: Final = ("Power cord", "Footswitch", "Cover", "Lid", "Case or bag", "Spare tubes", "Manual")
HAPPENED: Final = (
    ("was_dropped", "It was dropped"),
    ("was_wet", "It got wet"),
    ("was_opened", "Someone opened it"),
    ("was_repaired", "It was repaired before"),
    ("smelled", "There was a smell or smoke"),
)
_PLAIN = RegexValidator(
    r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ud800-\udfff]",
    "Take out the characters that can't be printed.",
    inverse_match=True,
)


class WordsField(forms.CharField):
    """What somebody writes: trimmed, of a length, of characters that can be printed."""

    def __init__(
        self, label: str, longest: int, *, rows: int = 0, hints: Mapping[str, Any] | None = None, **more: Any
    ):
        attrs = {"autocomplete": "off", **(hints or {})}
        widget = forms.Textarea(attrs={"rows": rows, **attrs}) if rows else forms.TextInput(attrs=attrs)
        super().__init__(label=label, max_length=longest, widget=widget, validators=[_PLAIN], **more)


class PhoneField(WordsField):
    """A phone number as people write it."""

    def __init__(self, label: str, **more: Any):
        super().__init__(label, 40, hints={"type": "tel", "inputmode": "tel"}, required=False, **more)
        self.widget.input_type = "tel"

    def clean(self, value: Any) -> str:
        number = super().clean(value)
        if number and not 3 <= len(digits(number)) <= 20:
            raise forms.ValidationError("A phone number has 3 to 20 digits, like 555 0142.")
        return number


def sum_field(label: str, help_text: str) -> AmountField:
    """A sum that may be left open."""
    too_much = f"That is too much. Write at most {LARGEST_SUM:,}."
    return AmountField(
        label=label,
        help_text=help_text,
        required=False,
        most=LARGEST_SUM,
        error_messages={"too_much": too_much},
    )


class DayField(fields.DayField):
    """A day from today on, by the shop's calendar."""

    def __init__(self, **more: Any):
        errors = {"invalid": "Write the day as year-month-day, like 2026-11-25."}
        super().__init__(required=False, input_formats=["%Y-%m-%d"], error_messages=errors, **more)

    def clean(self, value: Any) -> dt.date | None:
        day = super().clean(value)
        if day and day < timezone.localdate():
            raise forms.ValidationError("That day is over. Choose today or a later day.")
        if day and day > timezone.localdate() + FURTHEST:
            raise forms.ValidationError("That is more than two years away. Check the year.")
        return day


class Question(forms.Form):
    """One screen of the pad. `given` is what was answered before it, by the name of each field."""

    use_required_attribute = False  # our own messages stand beside the field, and can be read on any tablet

    def __init__(self, *args: Any, shop: Shop, given: Mapping[str, Any] | None = None, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.shop = shop
        self.given = given or {}
        use_currency(self, shop.currency)


# --- who --------------------------------------------------------------------------------------------------


class NameQuestion(Question):
    """Who somebody is, and whose the gear is."""

    name = WordsField(
        "Your name", 120, hints={"autocapitalize": "words"}, error_messages={"required": "Write your name."}
    )
    kind = forms.ChoiceField(
        label="Whose gear is it?",
        choices=[
            (Person.Kind.PERSON, "Mine"),
            (Person.Kind.BAND, "My band’s"),
            (Person.Kind.VENUE, "A venue’s"),
            (Person.Kind.SCHOOL, "A school’s"),
            (Person.Kind.BUSINESS, "A business’s"),
        ],
        initial=Person.Kind.PERSON,
        widget=forms.RadioSelect,
        error_messages={"required": "Choose one."},
    )
    group = WordsField(
        "Name of the band, venue, school or business",
        120,
        required=False,
        hints={"autocapitalize": "words"},
        help_text="Leave it empty if the gear is your own.",
    )

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        if cleaned.get("kind", Person.Kind.PERSON) == Person.Kind.PERSON:
            cleaned["group"] = ""
        elif not cleaned.get("group") and "group" not in self.errors:
            self.add_error("group", "Write its name, or choose “Mine”.")
        return cleaned


class PhonesQuestion(Question):
    phone_1 = PhoneField("Phone", help_text="No phone? Leave it empty; then we need your e-mail.")
    phone_2 = PhoneField("Another phone")
    phone_3 = PhoneField("And another")


class EmailQuestion(Question):
    email = forms.EmailField(
        label="E-mail",
        required=False,
        max_length=254,
        widget=forms.EmailInput(attrs={"inputmode": "email", "autocomplete": "off", "autocapitalize": "off"}),
        error_messages={"invalid": "An e-mail address looks like name@example.com."},
    )

    def clean_email(self) -> str:
        email = self.cleaned_data["email"]
        if not email and not phones_in(self.given):
            raise forms.ValidationError(
                "You gave no phone number, so we need an e-mail address to reach you."
            )
        return email


class AddressQuestion(Question):
    address = WordsField("Address", 400, rows=3, required=False)


def phones_in(given: Mapping[str, Any]) -> list[str]:
    """The phone numbers among the answers, in their order."""
    return [given[name] for name in ("phone_1", "phone_2", "phone_3") if given.get(name)]


# --- the gear ---------------------------------------------------------------------------------------------


class GearQuestion(Question):
    kind = forms.ChoiceField(
        label="What kind is it?",
        choices=GearKind.choices,
        widget=forms.RadioSelect,
        error_messages={"required": "Choose what comes closest, or Other."},
    )
    maker = WordsField("Maker", 80, required=False, hints={"autocapitalize": "words"})
    model = WordsField("Model", 80, required=False, hints={"autocapitalize": "words"})
    serial = WordsField(
        "Serial number", 80, required=False, hints={"autocapitalize": "characters", "spellcheck": "false"}
    )


class ComplaintQuestion(Question):
    complaint = WordsField(
        "In your own words",
        4000,
        rows=5,
        error_messages={"required": "Write what it does, or what it should do and doesn't."},
    )


class CameWithQuestion(Question):
    came_with = forms.MultipleChoiceField(
        label="Loose pieces",
        required=False,
        choices=[(name, name) for name in USUAL_PIECES],
        widget=forms.CheckboxSelectMultiple,
    )
    came_with_more = WordsField("Anything else", 400, required=False, help_text="Put commas between things.")

    def clean_came_with_more(self) -> str:
        text = self.cleaned_data["came_with_more"]
        if any(len(name) > 80 for name in _parted(text)):
            raise forms.ValidationError("Put commas between things; each may have 80 letters.")
        return text


class HistoryQuestion(Question):
    happened = forms.MultipleChoiceField(
        label="Tick what fits", required=False, choices=HAPPENED, widget=forms.CheckboxSelectMultiple
    )
    history_note = WordsField("How and when?", 2000, rows=3, required=False)


class MoreQuestion(Question):
    more = forms.ChoiceField(
        label="Is there anything else to repair?",
        choices=[("no", "No, that is all"), ("yes", "Yes, another piece of gear")],
        widget=forms.RadioSelect,
        error_messages={"required": "Choose one."},
    )


def pieces_in(given: Mapping[str, Any]) -> list[str]:
    """The loose pieces among the answers, each once."""
    return list(dict.fromkeys([*given.get("came_with", []), *_parted(given.get("came_with_more", ""))]))


def _parted(text: str) -> list[str]:
    return [name for part in text.replace("\n", ",").replace(";", ",").split(",") if (name := part.strip())]


# --- what it may cost, the terms, the signature -----------------------------------------------------------


class WhenQuestion(Question):
    wanted_by = DayField(label="The day you need it", help_text="Leave it empty if there is no hurry.")


class CostQuestion(Question):
    go_ahead = forms.ChoiceField(
        label="When we know what it needs",
        choices=[("ask", "Ask me first"), ("limit", "Just do it, up to a sum")],
        widget=forms.RadioSelect,
        error_messages={"required": "Choose one."},
    )
    spend_limit = sum_field("Just do it up to", "Above that we ask you first.")

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        if cleaned.get("go_ahead") == "ask":
            cleaned["spend_limit"] = None
            self._errors.pop("spend_limit", None)
        elif (
            cleaned.get("go_ahead") == "limit"
            and not cleaned.get("spend_limit")
            and "spend_limit" not in self.errors
        ):
            self.add_error("spend_limit", "Write the sum, or choose “Ask me first”.")
        return cleaned


class TermsQuestion(Question):
    """The terms. `version` is the one on the screen: terms that the shop changed meanwhile are read again."""

    version = forms.IntegerField(widget=forms.HiddenInput, min_value=1, max_value=2_147_483_647)

    def clean_version(self) -> int:
        version = self.cleaned_data["version"]
        if version != self.given.get("version"):
            raise forms.ValidationError("The shop has just changed its terms. Read them again, please.")
        return version


class SignQuestion(Question):
    """The signature on the glass. The drawing that the browser makes beside the strokes is never used."""

    svg = forms.CharField(required=False, label="Sign here with your finger", widget=forms.HiddenInput)
    strokes = SignatureField()

    def clean_svg(self) -> str:
        return ""

    def clean_strokes(self) -> str:
        drawing = self.cleaned_data["strokes"]
        if not drawing:
            raise forms.ValidationError("Sign in the box above the line, please.")
        return drawing


# --- the order --------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Step:
    """One screen: its name in the address, its form, which piece of gear it is about (0: none)."""

    slug: str
    form: type[Question]
    gear: int = 0

    @property
    def name(self) -> str:
        return self.slug.rsplit("-", 1)[0] if self.gear else self.slug


_BEFORE: Final = (
    Step("you", NameQuestion),
    Step("phones", PhonesQuestion),
    Step("email", EmailQuestion),
    Step("address", AddressQuestion),
)
_OF_GEAR: Final = (
    ("gear", GearQuestion),
    ("complaint", ComplaintQuestion),
    ("came-with", CameWithQuestion),
    ("history", HistoryQuestion),
    ("more", MoreQuestion),
)
_AFTER: Final = (
    Step("when", WhenQuestion),
    Step("cost", CostQuestion),
    Step("terms", TermsQuestion),
    Step("sign", SignQuestion),
)


def steps(answers: Mapping[str, Mapping[str, list[str]]], *, ask_address: bool) -> list[Step]:
    """Return the screens in their order, as far as the answers say which there are."""
    path = [step for step in _BEFORE if ask_address or step.slug != "address"]
    for n in range(1, MOST_ON_THE_PAD + 1):
        path += [
            Step(f"{name}-{n}", form, n)
            for name, form in _OF_GEAR
            if not (name == "more" and n == MOST_ON_THE_PAD)
        ]
        if answers.get(f"more-{n}", {}).get("more") != ["yes"]:
            break
    return [*path, *_AFTER]


def collected(given: Mapping[str, Mapping[str, Any]], shop: Shop) -> dict[str, Any]:
    """Return what the screens' forms cleaned, by screen, as a pad entry keeps it. Sums and days are text."""
    you, cost = given["you"], given["cost"]
    pieces = [slug for slug in given if slug.startswith("gear-")]
    limit, day = cost["spend_limit"], given["when"]["wanted_by"]
    return {
        "name": you["name"],
        "kind": you["kind"],
        "group": you["group"],
        "phones": phones_in(given["phones"]),
        "email": given["email"]["email"],
        "address": given.get("address", {}).get("address", ""),
        "gear": [_gear_of(given, slug.removeprefix("gear-")) for slug in pieces],
        "wanted_by": day.isoformat() if day else None,
        "spend_limit": str(limit) if limit else None,
        "diagnosis_fee": str(round_to(shop.diagnosis_fee, shop.currency)),
    }


def _gear_of(given: Mapping[str, Mapping[str, Any]], n: str) -> dict[str, Any]:
    return {
        **{name: given[f"gear-{n}"][name] for name in ("kind", "maker", "model", "serial")},
        "complaint": given[f"complaint-{n}"]["complaint"],
        "came_with": pieces_in(given[f"came-with-{n}"]),
        "happened": given[f"history-{n}"]["happened"],
        "history_note": given[f"history-{n}"]["history_note"],
    }
