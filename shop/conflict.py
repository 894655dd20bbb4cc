"""Two tablets, one thing: what each of them changed, where they meet, and the page on which a person chooses.

A form that changes what another tablet may be changing too `Remembers`, in a hidden field, the texts it was
opened with. If the row says something else by the time it is sent, the two sets of changes are put together
(`merge`); where they meet, the person sees both versions with everything typed kept, and chooses (`chosen`).

How a form learns that its row moved on is of two kinds, because rows are:
- a `RevisedForm` is for a row with a revision, whose verb refuses an old one: `intake.editing` sends it. What only
  one of two people changed is kept of both without a question: a complaint and a spend limit are two things;
- a `ConflictCheck` is for the shop's own rules, which have none. It looks itself, under the row's lock, and asks
  about the row as a whole: terms, a tax, what somebody may do are right as one person wrote them, and nobody
  decided on a mixture.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import render

from shop.fields import use_currency
from shop.once import FIELD, new_key

OPENED_WITH = "opened_with"
CHOICE = "keep"
_THEIRS = "theirs-"
_LARGEST_REVISION = 2**31 - 1
_TOO_OLD = "This page is too old to be sent. Load it again, then send it."


# --- Putting two sets of changes together: texts in, texts out -----------------------------------------------


@dataclass(frozen=True)
class Merged:
    """`texts` is the thing with both sets of changes.

    Where both changed the same field it has mine, named in `clashes`.
    """

    texts: dict[str, str]
    clashes: tuple[str, ...]


def plain(text: str) -> str:
    """A text without what a browser does to it: its line ends, and spaces around it."""
    return text.replace("\r\n", "\n").replace("\r", "\n").strip()


def merge(opened_with: Mapping[str, str], mine: Mapping[str, str], theirs: Mapping[str, str]) -> Merged:
    """Put my changes and theirs together, field by field, seen from what the form was opened with.

    A field that only one of us changed is theirs or mine without a question. A field of `mine` that isn't in
    `opened_with` counts as changed by both: nobody can tell, so a person has to look.
    """
    texts, clashes = {}, []
    for name, my_text in mine.items():
        mine_now, theirs_now = plain(my_text), plain(theirs.get(name, ""))
        before = plain(opened_with[name]) if name in opened_with else None
        if mine_now in (theirs_now, before):
            texts[name] = theirs.get(name, "")
            continue
        texts[name] = my_text
        if theirs_now != before:
            clashes.append(name)
    return Merged(texts, tuple(clashes))


def as_a_whole(opened_with: Mapping[str, str], mine: Mapping[str, str], theirs: Mapping[str, str]) -> Merged:
    """Mine, where nothing moved on; else every field in which we differ is for a person to choose."""
    moved = any(name not in opened_with or plain(opened_with[name]) != plain(theirs[name]) for name in theirs)
    differs = (name for name, text in mine.items() if plain(text) != plain(theirs.get(name, "")))
    return Merged(dict(mine), tuple(differs) if moved else ())


# --- Forms ---------------------------------------------------------------------------------------------------


class Remembers:
    """What a form knows of the texts it was opened with. Mix in before the form."""

    def typed(self) -> dict[str, str]:
        """What was typed, as text; a tick is `on` or nothing."""
        return {f.name: str(f.data or "") if f.data is not True else "on" for f in self.visible_fields()}

    def opened_texts(self) -> dict[str, str]:
        """What the form was opened with, as the page that sends it says."""
        try:
            opened_with = json.loads(self.data.get(OPENED_WITH) or "{}")
        except (ValueError, RecursionError):
            opened_with = {}
        if not isinstance(opened_with, dict):
            opened_with = {}
        return {name: text for name, text in opened_with.items() if isinstance(text, str)}

    def met_by(self, theirs: Mapping[str, str]) -> Merged:
        """Put what was typed together with what the row says now."""
        return merge(self.opened_texts(), self.typed(), theirs)

    def label_of(self, name: str) -> str:
        return str(self[name].label)

    def shown(self, name: str, text: str) -> str:
        """A field's text as a person reads it, for the two versions side by side."""
        field = self.fields[name]
        if isinstance(field, forms.BooleanField):
            return "yes" if text else "no"
        if isinstance(field, forms.ModelChoiceField | forms.ChoiceField):
            return next((label for value, label in _flat(field.choices) if value == text and text), "")
        return text


class RevisedForm(Remembers, forms.Form):
    """A form of a row with a revision. Subclasses say in `texts_of` what a row's texts are now."""

    revision = forms.IntegerField(
        min_value=0,
        max_value=_LARGEST_REVISION,
        widget=forms.HiddenInput,
        error_messages={"required": _TOO_OLD, "invalid": _TOO_OLD},
    )
    opened_with = forms.CharField(required=False, max_length=60_000, strip=False, widget=forms.HiddenInput)

    @classmethod
    def texts_of(cls, thing: Any, currency: str) -> dict[str, str]:
        raise NotImplementedError

    @classmethod
    def opened_on(cls, thing: Any, revision: int, currency: str, **kwargs: Any) -> "RevisedForm":
        """The form as it is first shown, with what the row says now."""
        texts = cls.texts_of(thing, currency)
        return cls(
            initial={**texts, "revision": revision, OPENED_WITH: json.dumps(texts, ensure_ascii=False)},
            currency=currency,
            **kwargs,
        )

    def __init__(self, *args: Any, currency: str = "USD", **kwargs: Any):
        super().__init__(*args, **kwargs)
        use_currency(self, currency)


class ConflictCheck(Remembers):
    """Mix into a ModelForm, before it. `changed_meanwhile` says after `is_valid()` whether to ask.

    rate = get_object_or_404(TaxRate.objects.select_for_update(), pk=pk)  # in the transaction of `@once`
    if keeps_theirs(request):
        return go_to(request, "taxes")
    form = EndRateForm(request.POST, instance=rate)
    if form.is_valid(): ...
    if form.changed_meanwhile:
        return both_versions(request, form)
    """

    changed_meanwhile = False

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.fields[OPENED_WITH] = forms.CharField(
            widget=forms.HiddenInput,
            required=False,
            strip=False,
            initial=lambda: json.dumps(self.there(), ensure_ascii=False),
        )

    def there(self) -> dict[str, str]:
        """What the row says now. (The form's own instance is overwritten as it is checked.)"""
        return {name: self._text(name, self.initial.get(name)) for name in self._meta.fields}

    def _text(self, name: str, value: Any) -> str:
        if value is None or isinstance(value, bool):
            return "on" if value else ""
        return str(self.fields[name].prepare_value(value))

    def met_by(self, theirs: Mapping[str, str]) -> Merged:
        return as_a_whole(self.opened_texts(), self.typed(), theirs)

    def clean(self) -> dict[str, Any]:
        values = super().clean() or self.cleaned_data
        values.pop(OPENED_WITH, None)
        if self.instance.pk is not None and not self.errors and self.met_by(self.there()).clashes:
            self.changed_meanwhile = True
            raise forms.ValidationError("Somebody changed this while you had it open.")
        return values


# --- The choice ------------------------------------------------------------------------------------------------


def side_by_side(form: Any, merged: Merged, theirs: Mapping[str, str], **more: Any) -> dict[str, Any]:
    """What `shop/_conflict.html` shows, and sends along: everything typed goes on, whatever is chosen.

    `more` are further hidden fields. What is sent answers to what is there now.
    """
    rows = [
        {
            "label": form.label_of(name),
            "mine": form.shown(name, merged.texts[name]),
            "theirs": form.shown(name, theirs[name]),
            "differs": name in merged.clashes,
        }
        for name in merged.texts
        if name in merged.clashes or merged.texts[name] != theirs[name]
    ]
    hidden = [
        *((name, str(value)) for name, value in more.items()),
        (OPENED_WITH, json.dumps(dict(theirs), ensure_ascii=False)),
        *merged.texts.items(),
        *((f"{_THEIRS}{name}", theirs.get(name, "")) for name in merged.clashes),
        (FIELD, new_key()),
    ]
    return {"rows": rows, "hidden": hidden}


def chosen(data: QueryDict) -> QueryDict:
    """A form's data after the person chose between two versions.

    With "theirs", what clashed is as it was there.
    """
    if data.get(CHOICE) != "theirs":
        return data
    data = data.copy()
    for name in list(data):
        if name.startswith(_THEIRS):
            data[name.removeprefix(_THEIRS)] = data[name]
    return data


def keeps_theirs(request: HttpRequest) -> bool:
    """Say whether the person chose what is there already: as a whole, so there is nothing to do."""
    return request.POST.get(CHOICE) == "theirs"


def both_versions(request: HttpRequest, form: ConflictCheck) -> HttpResponse:
    """Answer 409 with both versions and the choice."""
    theirs = form.there()
    context = side_by_side(form, form.met_by(theirs), theirs) | {"action": request.get_full_path()}
    return render(request, "shop/changed_meanwhile.html", context, status=409)


def _flat(choices: Any) -> list[tuple[str, str]]:
    """Choices without their groups."""
    found: list[tuple[str, str]] = []
    for key, label in choices:
        found += _flat(label) if isinstance(label, list | tuple) else [(str(key), str(label))]
    return found
