"""Counting a drawer with the tablet."""

from collections.abc import Iterable
from typing import Any

from django import forms

from inventory.counting import MOST
from inventory.models import Part


class NewRoundForm(forms.Form):
    """A round to begin."""

    words = forms.CharField(
        label="What is counted",
        max_length=120,
        required=False,
        help_text="For example: the tube wall, at the year’s end.",
    )


class CountForm(forms.Form):
    """A box for each part of a drawer; an empty one wasn't counted. What isn't counted is only looked at."""

    def __init__(self, *args: Any, counted: Iterable[Part], loose: Iterable[Part], **kwargs: Any):
        super().__init__(*args, **kwargs)
        self._counted = {f"count-{part.pk}": part for part in counted}
        self._loose = {f"level-{part.pk}": part for part in loose}
        for name, part in self._counted.items():
            self.fields[name] = forms.IntegerField(
                label=part.name,
                help_text=part.make,
                required=False,
                min_value=0,
                max_value=MOST,
                widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
                error_messages={
                    "invalid": "Write a whole number, 0 if there is none.",
                    "min_value": "Write how many there are, 0 if there is none.",
                    "max_value": "That is more than a drawer holds. Check the number.",
                },
            )
        for name, part in self._loose.items():
            self.fields[name] = forms.ChoiceField(
                label=part.name,
                choices=Part.Level.choices,
                initial=part.level,
                required=False,
                widget=forms.RadioSelect,
            )

    @property
    def counts(self) -> dict[Part, int]:
        """What was counted."""
        said = self.cleaned_data
        return {part: said[name] for name, part in self._counted.items() if said.get(name) is not None}

    @property
    def levels(self) -> dict[Part, str]:
        """What was looked at, where it isn't as it was."""
        said = self.cleaned_data
        return {
            part: said[name]
            for name, part in self._loose.items()
            if said.get(name) and said[name] != part.level
        }

    @property
    def count_fields(self) -> list[forms.BoundField]:
        return [self[name] for name in self._counted]

    @property
    def level_fields(self) -> list[forms.BoundField]:
        return [self[name] for name in self._loose]


class PostForm(forms.Form):
    """The round as it was looked at."""

    revision = forms.IntegerField(min_value=0, max_value=2**31 - 1, widget=forms.HiddenInput)
