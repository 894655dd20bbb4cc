"""The form of a checklist: itself, and a form for each of its lines, in their order.

Lines are opened, added, moved and taken off without keeping anything: the page comes back as it was typed, in its new
shape. Only an open line shows its boxes; the others go along unseen. A row is known by the key of its line; that of a
new line, which has none yet, begins with an underscore.
"""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any, Final

from django import forms
from django.http import QueryDict

from calc import listing
from calc.checklists import Ask, Checklist, Has, Line, Stage
from calc.checklists.lines import NO_SOURCE
from calc.checklists.wording import FROM_THE_START, HAS, STAGES
from calc.engine.quantities import LONGEST, UNITS, QuantityError, parse_quantity
from calc.listing import Current, LineRefused
from calc.models import ListLine, ListVersion

MOST_LINES: Final = 40
ROWS, OFF, OPEN, ACT = "rows", "off", "open", "act"
_ROW: Final = re.compile(r"[a-z0-9_-]{1,40}")
_LONGEST_WAIT: Final = 7 * 24 * 60  # minutes
_TOO_OLD: Final = "This page is too old to be sent. Load it again, then send it."
_GONE: Final = "That line isn’t there any more. Choose another."


def _length(name: str, of: Any = ListLine) -> int:
    return of._meta.get_field(name).max_length


def _sentence(label: str, name: str, **kwargs: Any) -> forms.CharField:
    widget = forms.Textarea(attrs={"rows": 2})
    return forms.CharField(label=label, max_length=_length(name), widget=widget, **kwargs)


def _value(label: str, **kwargs: Any) -> forms.CharField:
    attrs = {"autocomplete": "off", "inputmode": "decimal", "data-value": True}
    return forms.CharField(
        label=label, required=False, max_length=LONGEST, widget=forms.TextInput(attrs=attrs), **kwargs
    )


class ListForm(forms.Form):
    """What a list says of itself. Where it belongs and what gear it is for can't change where a gate rests on it."""

    name = forms.CharField(
        label="Name",
        max_length=_length("name", ListVersion),
        error_messages={"required": "Give the list a name."},
    )
    said = forms.CharField(label="What it is for", max_length=_length("said", ListVersion), required=False)
    stage = forms.ChoiceField(
        label="Where in the work",
        choices=[(stage.value, words) for stage, words in STAGES.items()],
        initial=Stage.HANDLING.value,
    )
    applies = forms.MultipleChoiceField(
        label="For which gear",
        choices=[(has.value, words) for has, words in HAS.items()],
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text="For gear that has any of these. Where none is ticked, for all gear.",
    )
    retired = forms.BooleanField(
        label="Out of use", required=False, help_text="No job asks for it. Runs that were signed stay."
    )
    words = forms.CharField(
        label="What you changed, and why",
        max_length=_length("words", ListVersion),
        error_messages={"required": "Write in a few words what changed."},
    )
    seen = forms.IntegerField(
        min_value=0,
        max_value=2**31 - 1,
        widget=forms.HiddenInput,
        error_messages={"required": _TOO_OLD, "invalid": _TOO_OLD},
    )

    def __init__(self, *args: Any, now: Current | None, taken: Iterable[str], **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.now, self.taken = now, set(taken)
        if now is None:
            self.fields["words"].label = "Why you make it"
            del self.fields["retired"]
        elif not now.may_be_retired:
            for name in ("stage", "applies", "retired"):
                del self.fields[name]

    def clean_name(self) -> str:
        if self.cleaned_data["name"].casefold() in self.taken:
            raise forms.ValidationError("There is a list of that name already. Call this one something else.")
        return self.cleaned_data["name"]

    def put_into(self, slug: str, lines: tuple[Line, ...]) -> Checklist:
        """The list that was asked for, with these lines."""
        said = self.cleaned_data
        was = self.now.checklist if self.now else Checklist(slug, "", "", Stage.HANDLING, ())
        return replace(
            was,
            name=said["name"],
            said=said["said"],
            stage=Stage(said.get("stage", was.stage)),
            applies=frozenset(Has(word) for word in said["applies"]) if "applies" in said else was.applies,
            retired=said.get("retired", was.retired),
            lines=lines,
        )


class LineForm(forms.Form):
    """A line. Where a gate rests on it, it asks what it asks: its words can change, and its limit grow stricter."""

    text = _sentence(
        "What to do", "text", error_messages={"required": "Write what to do, in one plain sentence."}
    )
    why = _sentence("Why", "why", required=False)
    if_not = _sentence("Where it isn’t right", "if_not", required=False, help_text="The next step.")
    source = forms.CharField(
        label="Source",
        max_length=_length("source"),
        required=False,
        help_text=f"A published one, with its clause. Where it is left empty: {NO_SOURCE}.",
    )
    may_not_apply = forms.BooleanField(label="It may not be on the gear", required=False)
    ask = forms.ChoiceField(
        label="How it asks",
        choices=[(Ask.LOOK.value, "Do it, or look"), (Ask.READING.value, "Read a meter")],
        initial=Ask.LOOK.value,
        widget=forms.RadioSelect,
    )
    point = forms.CharField(
        label="Where it is read", max_length=_length("point"), required=False, help_text="Like Plate, V1."
    )
    unit = forms.ChoiceField(
        label="Unit",
        required=False,
        choices=[("", "None"), *((key, f"{unit.name}, {unit.symbol}") for key, unit in UNITS.items())],
    )
    at_least = _value("At least")
    at_most = _value("At most")
    powered = forms.BooleanField(label="Read with the power on", required=False)
    drift_of = forms.ChoiceField(
        label="Compared with the reading of", required=False, error_messages={"invalid_choice": _GONE}
    )
    drift = forms.FloatField(
        label="It may differ by",
        required=False,
        min_value=0.1,
        max_value=100,
        widget=forms.TextInput(attrs={"autocomplete": "off", "inputmode": "decimal"}),
        error_messages=dict.fromkeys(
            ("invalid", "min_value", "max_value"), "Write it in per cent, from 0.1 to 100, like 10."
        ),
    )
    wait = forms.IntegerField(
        label="Not before",
        required=False,
        min_value=0,
        max_value=_LONGEST_WAIT,
        widget=forms.TextInput(attrs={"autocomplete": "off", "inputmode": "numeric"}),
        error_messages=dict.fromkeys(
            ("invalid", "min_value", "max_value"), "Write it in whole minutes, up to a week, like 10."
        ),
    )
    since = forms.ChoiceField(
        label="Counted from when", required=False, error_messages={"invalid_choice": _GONE}
    )

    def __init__(
        self, *args: Any, was: Line | None = None, others: Sequence[tuple[str, str]] = (), **kwargs: Any
    ):
        super().__init__(*args, **kwargs)
        self.was = was
        self.fields["since"].choices = [("", FROM_THE_START), *others]
        self.fields["drift_of"].choices = [("", "None"), *others]
        for name in self._not_asked():
            del self.fields[name]

    def _not_asked(self) -> set[str]:
        """The boxes that this line hasn't got."""
        was = self.was
        if was is None or not (was.fixed or was.ask is Ask.SHEET):
            return set()
        none = {"ask", "unit", "powered", "drift_of", "since", "may_not_apply"}
        if was.ask is not Ask.READING:
            none |= {"point", "at_least", "at_most"}
        return none if was.drift_of else none | {"drift"}

    @property
    def is_reading(self) -> bool:
        """Whether the boxes of a reading are open: it is one, or one of them is wrong."""
        if "ask" not in self.fields:
            return "point" in self.fields
        boxes = ("point", "unit", "at_least", "at_most", "drift_of", "drift")
        return self["ask"].value() == Ask.READING or any(self[name].errors for name in boxes)

    def clean(self) -> dict[str, Any]:
        said = super().clean()
        ask = Ask(said["ask"]) if said.get("ask") else (self.was.ask if self.was else Ask.LOOK)
        said["ask"] = ask
        if ask is not Ask.READING:
            return said
        if not said.get("point"):
            self.add_error("point", "Say where it is read, like Plate, V1.")
        unit = said.get("unit") or ("" if "unit" in self.fields else self.was.unit)
        if not unit:
            self.add_error("unit", "Choose the unit that it is read in.")
            return said
        said["unit"] = unit
        least, most = (self._limit(name, unit, said) for name in ("at_least", "at_most"))
        if least is not None and most is not None and least > most:
            self.add_error("at_most", "This is less than the least: nothing keeps to both.")
        if said.get("drift_of") and not said.get("drift"):
            self.add_error("drift", "Say by how many per cent it may differ, like 10.")
        return said

    def _limit(self, name: str, unit: str, said: dict[str, Any]) -> float | None:
        text = (said.get(name) or "").strip()
        was = getattr(self.was, name) if self.was and self.was.unit == unit else None
        said[name] = None
        if was is not None and text == self.was.shown(was):
            said[name] = was  # as it came: its text may have fewer digits
        elif text:
            try:
                said[name] = float(parse_quantity(text, unit).magnitude)
            except QuantityError as why:
                self.add_error(name, str(why))
        return said.get(name)

    def line(self, key: str, keys: Mapping[str, str]) -> Line:
        """The line that was asked for. `keys` gives the key of each row's line."""
        said = self.cleaned_data
        was = self.was or Line(key, "")
        asked = replace(
            was,
            key=key,
            text=said["text"],
            why=said["why"],
            if_not=said["if_not"],
            source=said["source"] or NO_SOURCE,
            ask=said["ask"],
            may_not_apply=said.get("may_not_apply", was.may_not_apply),
            wait=60 * (said["wait"] or 0),
            since=keys.get(said["since"], "") if "since" in said else was.since,
        )
        if not asked.wait and not asked.fixed:
            asked = replace(asked, since="")
        if asked.ask is not Ask.READING:
            return replace(
                asked, point="", unit="", at_least=None, at_most=None, powered=False, drift_of="", drift=0.0
            )
        drift_of = keys.get(said["drift_of"], "") if "drift_of" in said else was.drift_of
        return replace(
            asked,
            point=said["point"],
            unit=said["unit"],
            at_least=said["at_least"],
            at_most=said["at_most"],
            powered=said.get("powered", was.powered),
            drift_of=drift_of,
            drift=(said.get("drift") or 0.0) if drift_of else 0.0,
        )


@dataclass
class Row:
    """A line on the page. `is_off`: it was taken off, and can be put back until the list is kept.

    `is_open`: its boxes are shown.
    """

    id: str
    form: LineForm
    is_off: bool
    is_open: bool = False
    place: int = 0

    @property
    def fixed(self) -> bool:
        """Whether a gate rests on it."""
        return bool(self.form.was and self.form.was.fixed)

    @property
    def text(self) -> str:
        return self.form["text"].value() or ""

    @property
    def unseen(self) -> list[tuple[str, str]]:
        """What its boxes hold, while they aren't shown."""
        values = [(box.html_name, box.value()) for box in self.form]
        return [
            (name, "on" if value is True else str(value)) for name, value in values if value or value == 0
        ]

    @property
    def is_reading(self) -> bool:
        """Whether the boxes of a reading are open."""
        return self.form.is_reading

    @property
    def waits(self) -> bool:
        """Whether the boxes of a wait are open."""
        return bool(self.form["wait"].value()) or any(
            self.form[name].errors for name in ("wait", "since") if name in self.form.fields
        )


class ListPage:
    """A list on its way to a new version: what was typed, or what it says now.

    `now` is the list as it is, None for a new one; `base` the version that the page was opened with.
    """

    def __init__(
        self,
        now: Current | None,
        base: Checklist | None,
        *,
        taken: Iterable[str] = (),
        data: QueryDict | None = None,
        to_send: bool = False,
    ):
        lines = {line.key: line for line in base.lines} if base else {}
        ids = _rows_in(data) if data is not None else list(lines) or ["_1"]
        off = set(data.getlist(OFF)) if data is not None else set()
        opened = set(data.getlist(OPEN)) if data is not None else {"_1"}
        self.now = now
        more: dict[str, Any] = {"now": now, "taken": taken}
        if to_send:
            self.form = ListForm(data, **more)
        elif data is not None:
            self.form = ListForm(initial=_typed(ListForm, "", data), **more)
        else:
            self.form = ListForm(initial=_texts_of(now), **more)
        texts = [(row, _text_of(row, lines, data) + (" (taken off)" if row in off else "")) for row in ids]
        self.rows = []
        for row in ids:
            kwargs: dict[str, Any] = {"was": lines.get(row), "prefix": f"line-{row}"}
            kwargs["others"] = [(other, text) for other, text in texts if other != row]
            if to_send:
                form = LineForm(data, **kwargs)
            elif data is not None:
                form = LineForm(initial=_typed(LineForm, f"line-{row}", data), **kwargs)
            else:
                form = LineForm(initial=_texts_of_line(lines.get(row)), **kwargs)
            self.rows.append(Row(row, form, row in off, is_open=row in opened))
        for place, row in enumerate((each for each in self.rows if not each.is_off), 1):
            row.place = place

    @cached_property
    def kept(self) -> list[Row]:
        """The rows that weren't taken off."""
        return [row for row in self.rows if not row.is_off]

    def is_valid(self) -> bool:
        """Whether all of it can be read. What is wrong says so in its place, and its line is open."""
        good = self.form.is_valid()
        for row in self.kept:
            if not row.form.is_valid():
                row.is_open = True
                good = False
        if not self.kept:
            self.form.add_error(None, "A list needs a line. Add one, or put one back.")
            return False
        return good and self._stand_in_order()

    def _stand_in_order(self) -> bool:
        good, above = True, {"": None}
        for row in self.kept:
            for name, ask in (("since", None), ("drift_of", Ask.READING)):
                wanted = row.form.cleaned_data.get(name) or ""
                if not wanted or (name == "since" and not row.form.cleaned_data.get("wait")):
                    continue
                if wanted not in above:
                    self._wrong(
                        row, name, "That line has to stand above this one. Move it up, or choose another."
                    )
                elif ask and above[wanted].cleaned_data["ask"] is not ask:
                    self._wrong(row, name, "That line asks for no reading. Choose another.")
                elif ask and above[wanted].cleaned_data["unit"] != row.form.cleaned_data.get("unit"):
                    self._wrong(row, name, "That line is read in another unit. Choose another.")
            was = row.form.was
            for needed in (was.since, was.drift_of) if was and was.fixed else ():
                if needed and needed not in above:
                    self._wrong(row, "text", "This line is measured from one that has to stand above it.")
            good = good and not row.form.errors
            above[row.id] = row.form
        return good

    def _wrong(self, row: Row, name: str, sentence: str) -> None:
        row.form.add_error(name if name in row.form.fields else None, sentence)
        row.is_open = True

    def refuse(self, why: LineRefused) -> None:
        """Say beside the line, and the box on it, what the verb refused."""
        row = next((each for each in self.rows if each.id == why.key and not each.is_off), None)
        if row is None:
            self.form.add_error(None, str(why))
        else:
            self._wrong(row, why.field, str(why))

    @property
    def has_wrong_lines(self) -> bool:
        return any(row.form.errors for row in self.kept)

    def checklist(self, slug: str) -> Checklist:
        """The list that was asked for, once it is valid."""
        taken = set(ListLine.objects.filter(version__slug=slug).values_list("key", flat=True))
        taken |= {row.id for row in self.rows}
        keys = {}
        for row in self.kept:
            keys[row.id] = row.id
            if row.id.startswith("_"):
                keys[row.id] = listing.free_slug(row.form.cleaned_data["text"], taken, "line")
                taken.add(keys[row.id])
        return self.form.put_into(slug, tuple(row.form.line(keys[row.id], keys) for row in self.kept))


def reshaped(data: QueryDict) -> QueryDict:
    """What was typed with its lines in another shape, as the tapped button says."""
    act, _, row = data.get(ACT, "").partition(" ")
    ids, off, opened = _rows_in(data), data.getlist(OFF), data.getlist(OPEN)
    if act == "add" and len(ids) < MOST_LINES:
        row = next(name for n in range(1, MOST_LINES + 2) if (name := f"_{n}") not in ids)
        ids.append(row)
        opened = [*opened, row]
    elif row in ids and act in ("open", "close"):
        opened = [each for each in opened if each != row] + [row] * (act == "open")
    elif row in ids and act in ("up", "down"):
        _move(ids, row, -1 if act == "up" else 1, off)
    elif row in ids and act == "off" and row not in off:
        off = [*off, row]
    elif row in ids and act == "back":
        off = [each for each in off if each != row]
    changed = data.copy()
    changed.setlist(ROWS, ids)
    changed.setlist(OFF, off)
    changed.setlist(OPEN, opened)
    return changed


def _move(ids: list[str], row: str, step: int, off: list[str]) -> None:
    """Move a row past the next one that wasn't taken off."""
    at = ids.index(row)
    to = at + step
    while 0 <= to < len(ids) and ids[to] in off:
        to += step
    if 0 <= to < len(ids):
        ids.insert(to, ids.pop(at))


def _rows_in(data: QueryDict) -> list[str]:
    rows = [row for row in data.getlist(ROWS) if _ROW.fullmatch(row)]
    return list(dict.fromkeys(rows))[:MOST_LINES]


def _typed(form: type[forms.Form], prefix: str, data: QueryDict) -> dict[str, Any]:
    """What was typed into a form, unread: what is wrong with it can wait until it is sent."""
    begin = f"{prefix}-" if prefix else ""
    if not any(name.startswith(begin) for name in data):
        return {}  # a line that was added just now: what its boxes begin with
    return {
        name: field.widget.value_from_datadict(data, {}, f"{begin}{name}")
        for name, field in form.base_fields.items()
    }


def _text_of(row: str, lines: Mapping[str, Line], data: QueryDict | None) -> str:
    text = data.get(f"line-{row}-text", "") if data is not None else lines[row].text if row in lines else ""
    return text.strip()[:80] or "The line without words"


def _texts_of(now: Current | None) -> dict[str, Any]:
    if now is None:
        return {"seen": 0}
    said = now.checklist
    return {
        "name": said.name,
        "said": said.said,
        "stage": said.stage.value,
        "applies": sorted(said.applies),
        "retired": said.retired,
        "seen": now.number,
    }


def _texts_of_line(line: Line | None) -> dict[str, Any]:
    if line is None:
        return {}
    least, most = (
        line.shown(number) if number is not None and line.unit else ""
        for number in (line.at_least, line.at_most)
    )
    return {
        "text": line.text,
        "why": line.why,
        "if_not": line.if_not,
        "source": "" if line.source == NO_SOURCE else line.source,
        "may_not_apply": line.may_not_apply,
        "ask": line.ask.value,
        "point": line.point,
        "unit": line.unit,
        "at_least": least,
        "at_most": most,
        "powered": line.powered,
        "drift_of": line.drift_of,
        "drift": f"{line.drift:g}" if line.drift_of else "",
        "wait": line.wait // 60 if line.wait else "",
        "since": line.since,
    }
