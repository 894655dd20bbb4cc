"""Two tablets, one row: a form that notices when the row was changed while it was open.

For rows without a revision number. The form carries a digest of the values it was opened with; where the row
says something else by the time it is sent, both versions are shown and the person chooses:

    rate = get_object_or_404(TaxRate.objects.select_for_update(), pk=pk)  # in the transaction of `@once`
    if keeps_theirs(request):
        return go_to(request, "taxes")
    form = EndRateForm(request.POST, instance=rate)
    if form.is_valid(): ...
    if form.changed_meanwhile:
        return both_versions(request, form)
"""

import json
from collections.abc import Mapping
from hashlib import sha256
from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

OPENED_WITH = "opened_with"
CHOICE = "keep"


def digest(values: Mapping[str, Any]) -> str:
    """A short fingerprint of a row's values, the same for the same values."""
    texts = {name: "" if value is None else str(value) for name, value in values.items()}
    return sha256(json.dumps(texts, sort_keys=True).encode()).hexdigest()[:32]


class ConflictCheck:
    """Mix into a ModelForm, before it. `changed_meanwhile` says after `is_valid()` whether to ask."""

    changed_meanwhile = False

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        # What the row says now; the form's own instance is overwritten as it is checked.
        self._there = {name: self.initial.get(name) for name in self._meta.fields}
        self._digest = digest(self._there)
        self.fields[OPENED_WITH] = forms.CharField(
            widget=forms.HiddenInput, required=False, initial=self._digest, max_length=64
        )

    def clean(self) -> dict[str, Any]:
        values = super().clean() or self.cleaned_data
        opened_with = values.pop(OPENED_WITH, "")
        edits = self.instance.pk is not None and not self.errors and opened_with != self._digest
        if edits and any(row["differs"] for row in self.versions()):
            self.changed_meanwhile = True
            raise forms.ValidationError("Somebody changed this while you had it open.")
        return values

    def versions(self) -> list[dict[str, Any]]:
        """Both versions, field by field, for `shop/_conflict.html`."""
        rows = []
        for name in self._meta.fields:
            mine = _words(self, name, self.cleaned_data.get(name))
            theirs = _words(self, name, self._there[name])
            rows.append(
                {"label": self[name].label, "mine": mine, "theirs": theirs, "differs": mine != theirs}
            )
        return rows

    def hidden(self) -> list[tuple[str, str]]:
        """What was typed, to be sent again with the choice; it now answers to what is there."""
        pairs = [
            (name, value)
            for name, values in self.data.lists()
            if name not in {OPENED_WITH, CHOICE, "csrfmiddlewaretoken"}
            for value in values
        ]
        return [*pairs, (OPENED_WITH, self._digest)]


def keeps_theirs(request: HttpRequest) -> bool:
    """Say whether the person chose what is there already."""
    return request.POST.get(CHOICE) == "theirs"


def both_versions(request: HttpRequest, form: Any) -> HttpResponse:
    """Answer 409 with both versions and the choice."""
    rows = [row for row in form.versions() if row["differs"]]
    context = {"rows": rows, "hidden": form.hidden(), "action": request.get_full_path()}
    return render(request, "shop/changed_meanwhile.html", context, status=409)


def _words(form: Any, name: str, value: Any) -> str:
    if value is None or value == "":
        return ""
    field = form.fields[name]
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(field, forms.ChoiceField):
        return dict(_flat(field.choices)).get(value, str(value))
    return str(field.prepare_value(value)).replace("\r\n", "\n").strip()


def _flat(choices: Any) -> list[tuple[Any, str]]:
    found: list[tuple[Any, str]] = []
    for key, label in choices:
        found += _flat(label) if isinstance(label, list | tuple) else [(key, str(label))]
    return found
