"""The forms that judge gear unsafe, or take that back: reasons to tap, and a box for what is none of them."""

from collections.abc import Iterable
from typing import Any, Final

from django import forms

from calc.models import SafetyWord

WHAT_IS_UNSAFE: Final = (
    "Its metal can become live",
    "The protective earth is broken",
    "The insulation has failed",
    "The cord or the plug is damaged",
    "The fuse is bridged or the wrong one",
    "A part gets too hot, or smoked",
    "A cover or a guard is missing",
    "A battery leaks or swells",
)
WHY_IT_IS_SAFE: Final = ("It was mended, and passed its tests since", "Another piece of gear was meant")


class _ReasonsField(forms.MultipleChoiceField):
    """A reason must be given; whether it is tapped here, or written in the box below, the form knows."""

    widget = forms.CheckboxSelectMultiple

    def validate(self, value: list[str]) -> None:
        if value:
            super().validate(value)


class ReasonsForm(forms.Form):
    """Reasons that are tapped, and words; together they are one text."""

    reasons = _ReasonsField()
    more = forms.CharField(
        label="In your own words",
        required=False,
        widget=forms.Textarea(attrs={"rows": 2, "autocomplete": "off"}),
    )

    def __init__(self, *args: Any, ask: str, offered: Iterable[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["reasons"].label = ask
        self.fields["reasons"].choices = [(each, each) for each in offered]

    def clean(self) -> dict[str, Any]:
        said = super().clean()
        more = " ".join(said.get("more", "").split())
        words = ". ".join([*said.get("reasons", []), *([more] if more else [])])
        longest = SafetyWord._meta.get_field("words").max_length
        if not words and not self.errors:
            self.add_error("reasons", "Tap what it is, or write it below.")
        if len(words) > longest:
            self.add_error("more", f"That is {len(words) - longest} characters too long for the tag.")
        said["words"] = words
        return said
