"""The forms of running a list on a job: what was typed beside a line, a reason, a signature, how gear is built."""

from typing import Any, Final

from django import forms

from calc.checklists import Has
from calc.checklists.wording import HAS
from calc.models import GearBuild

_TICKED: Final = (
    Has.LITHIUM,
    Has.LEAD_ACID,
    Has.CRT,
    Has.TAPE_MOTOR,
    Has.LAMP_OPTO,
    Has.OLD_MATERIALS,
    Has.MOULD,
    Has.LEAD_SOLDER,
)
HAS_WORDS: Final = {has: HAS[has] for has in _TICKED}
_VOLTS: Final = ("100 V", "110 V", "117 V", "120 V", "220 V", "230 V", "240 V")
UNKNOWN: Final = "unknown"
_UNKNOWN: Final = (UNKNOWN, "Not known yet")


class ReasonForm(forms.Form):
    """Why somebody decides against what the gear asks for."""

    words = forms.CharField(
        label="Why",
        max_length=300,
        widget=forms.Textarea(attrs={"rows": 3}),
        error_messages={"required": "Write down why, in a sentence."},
    )


class SignOffForm(forms.Form):
    """A run signed: with a PIN on the keys, or with the password by who has no PIN."""

    key = forms.CharField(
        label="Your PIN",
        max_length=128,
        widget=forms.PasswordInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )
    words = forms.CharField(label="Note", max_length=300, required=False)

    def __init__(self, *args: Any, has_pin: bool, **kwargs: Any):
        super().__init__(*args, **kwargs)
        key = self.fields["key"]
        if not has_pin:
            key.label = "Your password"
            key.widget = forms.PasswordInput(attrs={"autocomplete": "current-password"})
        key.error_messages["required"] = f"Type {key.label.lower()} to sign."


class BuildForm(forms.Form):
    """How a piece of gear is built, as somebody saw it."""

    protection = forms.ChoiceField(
        label="How it keeps its metal harmless",
        choices=[_UNKNOWN, *GearBuild._meta.get_field("protection").choices],
        widget=forms.RadioSelect,
    )
    line_volts = forms.ChoiceField(label="Line voltage on its plate", widget=forms.RadioSelect)
    other_volts = forms.CharField(
        label="Another line voltage", max_length=20, required=False, help_text="As its plate says it."
    )
    contains = forms.MultipleChoiceField(
        label="What it has",
        required=False,
        choices=[(has.value, words) for has, words in HAS_WORDS.items()],
        widget=forms.CheckboxSelectMultiple,
        help_text="Each of these brings its list.",
    )
    words = forms.CharField(
        label="Why",
        max_length=300,
        required=False,
        help_text="Only where a list falls away. That is the word of the owner of the shop.",
    )
    seen = forms.IntegerField(widget=forms.HiddenInput, min_value=0, max_value=2**31 - 1)

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.fields["line_volts"].choices = [_UNKNOWN, *((volts, volts) for volts in _VOLTS)]

    @classmethod
    def opened_on(cls, build: GearBuild | None, contains: list[str]) -> "BuildForm":
        """The form with what is written down; where nothing is, with what gear of this kind most often `contains`."""
        if build is None:
            return cls(
                initial={"protection": UNKNOWN, "line_volts": UNKNOWN, "contains": contains, "seen": 0}
            )
        usual = build.line_volts in _VOLTS
        return cls(
            initial={
                "protection": build.protection or UNKNOWN,
                "line_volts": build.line_volts if usual else UNKNOWN,
                "other_volts": "" if usual else build.line_volts,
                "contains": build.contains,
                "seen": build.revision,
            }
        )

    def said(self) -> dict[str, Any]:
        """What was filled in, as `calc.safety.describe` takes it."""
        filled = self.cleaned_data
        return {
            "protection": _known(filled["protection"]),
            "line_volts": filled["other_volts"].strip() or _known(filled["line_volts"]),
            "contains": filled["contains"],
            "words": filled["words"],
            "seen": filled["seen"],
        }


def _known(text: str) -> str:
    return "" if text == UNKNOWN else text
