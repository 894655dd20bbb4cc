"""The days that a report is about: parsing and messages."""

from typing import Any

from django import forms

from intake.reports.period import NoPeriod, Period, Span, stretch
from shop.fields import DayField

_NO_DAY = {"invalid": "Choose a day, like 2026-11-25."}


class PeriodForm(forms.Form):
    """A stretch of the calendar (`span`, with a day `on` it), or any days, `from` one `until` another."""

    span = forms.ChoiceField(
        choices=[(span.value, span.words) for span in Span if span != Span.DAYS],
        required=False,
        widget=forms.HiddenInput,
        error_messages={"invalid_choice": "Choose one of the stretches above, or two days."},
    )
    on = DayField(required=False, error_messages=_NO_DAY)

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.fields["on"].widget = forms.HiddenInput()

    def clean(self) -> dict[str, Any]:
        said = self.cleaned_data
        first, last = said.get("from"), said.get("until")
        if (first is None) != (last is None) and not self.errors:
            self.add_error("until" if first else "from", "Choose both days, the first and the last.")
        if not self.errors:
            try:
                self.period(None)
            except NoPeriod as why:
                self.add_error("until" if first else "on", str(why))
        return said

    def period(self, otherwise: Period | None) -> Period | None:
        """The period that was asked for, or the other one where nothing was."""
        said = self.cleaned_data
        if said.get("from"):
            return Period(said["from"], said["until"], Span.DAYS)
        if said.get("on"):
            return stretch(Span(said.get("span") or Span.MONTH), said["on"])
        return otherwise


# `from` is a word of Python's own, so these can't stand in the class.
for _name, _label in (("from", "From"), ("until", "Until")):
    PeriodForm.base_fields[_name] = DayField(label=_label, required=False, error_messages=_NO_DAY)
