"""A worksheet's boxes as a form's fields, for the templates."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django import forms
from django.utils.datastructures import MultiValueDict

from calc.models import Meter, Reading
from calc.worksheets.sheet import Box, Group, Kind, Read, Rows, Worksheet, count_name, how_many, row_name

_FEW, _FEW_IN_A_ROW = 5, 2  # choices that fit as cards; more are a list


@dataclass(frozen=True)
class Shown:
    """A box on the page: what it is called on the form, what stands in it, what is wrong with it."""

    name: str
    box: Box
    text: str
    wrong: str
    redraws: bool = False  # other boxes are asked for or not by what stands here
    is_in_row: bool = False

    @property
    def kind(self) -> str:
        if self.box.kind is Kind.CHOICE:
            few = _FEW_IN_A_ROW if self.is_in_row else _FEW
            return "cards" if len(self.box.choices) <= few else "list"
        return str(self.box.kind)

    @property
    def words(self) -> str:
        """What stands in it, as it is read on paper: a choice by its words, a value with the unit of its box."""
        if self.box.kind is Kind.CHOICE:
            return dict(self.box.choices).get(self.text, self.text)
        if self.box.kind is Kind.TICK:
            return "yes" if self.is_on else "no"
        if self.box.kind is Kind.CAPTURE:
            return "taken in" if self.text else ""
        ends_bare = self.text.strip()[-1:].isdigit() and self.box.sign
        return f"{self.text} {self.box.sign}" if ends_bare else self.text

    @property
    def is_on(self) -> bool:
        return self.text in ("on", "true", "1", "yes")


@dataclass(frozen=True)
class ShownRow:
    number: int
    boxes: tuple[Shown, ...]


@dataclass(frozen=True)
class ShownGroup:
    """A group on the page. `rows` is None where the group has none."""

    group: Group
    boxes: tuple[Shown, ...]
    rows: Rows | None
    items: tuple[ShownRow, ...] = ()

    @property
    def says_something(self) -> bool:
        """Whether anything stands in any of its boxes."""
        return any(shown.words for shown in (*self.boxes, *(box for row in self.items for box in row.boxes)))

    @property
    def count_name(self) -> str:
        return count_name(self.rows) if self.rows else ""

    @property
    def count(self) -> int:
        return len(self.items)

    @property
    def more(self) -> int | None:
        """How many there are with one more; None where that is too many."""
        return self.count + 1 if self.rows and self.count < self.rows.most else None

    @property
    def fewer(self) -> int | None:
        return self.count - 1 if self.rows and self.count > self.rows.least else None


def shown(sheet: Worksheet, said: Mapping[str, str], found: Read | None = None) -> list[ShownGroup]:
    """The groups of a worksheet with what stands in their boxes; those that aren't asked for are left out."""
    wrong = found.wrong if found else {}

    deciding = deciders(sheet)

    def one(box: Box, name: str, is_in_row: bool = False) -> Shown:
        return Shown(name, box, said.get(name, ""), wrong.get(name, ""), box.name in deciding, is_in_row)

    groups = []
    for group in sheet.groups:
        if group.only is not None and said.get(group.only[0], "") not in group.only[1]:
            continue
        boxes = tuple(one(box, box.name) for box in group.boxes if box.asked(said))
        items = []
        if group.rows:
            for number in range(1, how_many(group.rows, said) + 1):
                here = {
                    **said,
                    **{b.name: said.get(row_name(group.rows, number, b), "") for b in group.rows.boxes},
                }
                items.append(
                    ShownRow(
                        number,
                        tuple(
                            one(b, row_name(group.rows, number, b), True)
                            for b in group.rows.boxes
                            if b.asked(here)
                        ),
                    )
                )
        groups.append(ShownGroup(group, boxes, group.rows, tuple(items)))
    return groups


def shown_ours(sheet: Worksheet, said: Mapping[str, str]) -> list[ShownGroup]:
    """The shop's own boxes as they stood when a worksheet was kept."""
    boxes = tuple(Shown(box.name, box, said.get(box.name, ""), "") for box in sheet.ours)
    return [ShownGroup(Group("The shop’s own limits"), boxes, None)] if boxes else []


def complaints(groups: list[ShownGroup], found: Read) -> list[tuple[str, str]]:
    """What is wrong, each with the name of its box on the form; the sentence says which box is meant."""
    labels = {shown.name: shown.box.label for each in groups for shown in each.boxes}
    for each in groups:
        for row in each.items:
            labels |= {shown.name: f"{each.rows.one} {row.number}, {shown.box.label}" for shown in row.boxes}
    return [
        (name, f"{labels[name]}: {words}" if name in labels else words) for name, words in found.wrong.items()
    ]


def deciders(sheet: Worksheet) -> set[str]:
    """The names of the boxes that other boxes hang on."""
    hanging = [group.only for group in sheet.groups]
    for group in sheet.groups:
        hanging += [box.only for box in (*group.boxes, *(group.rows.boxes if group.rows else ()))]
    return {only[0] for only in hanging if only}


class KeepForm(forms.Form):
    """What is said when a worksheet is kept on a job; its boxes are read by the worksheet itself."""

    when = forms.ChoiceField(label="When", choices=Reading.When.choices, widget=forms.RadioSelect)
    note = forms.CharField(label="Note", max_length=200, required=False)


def said_in(data: MultiValueDict | Mapping[str, Any]) -> dict[str, str]:
    """What was typed, as a plain mapping: one text a name."""
    return {str(name): str(data.get(name, "")) for name in data}


def meter_in(data: Mapping[str, Any]) -> Meter | None:
    """The meter that was picked; None for none, or for one that isn't there."""
    pk = str(data.get("meter", ""))
    if not pk.isdecimal() or len(pk) > 9:
        return None
    return Meter.objects.filter(pk=int(pk)).prefetch_related("accuracies").first()
