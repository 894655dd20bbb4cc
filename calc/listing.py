"""The shop's checklists: the ones that we start with, the versions that its owner made of them, and its own.

A list of ours is written down as a version when it is first needed: by a run that begins, or by its first change. So a
run keeps what it began with, and a new release of ours is a new version where the shop hasn't made the list its own.
"""

import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, fields
from typing import Final

from django.db import transaction
from django.db.models import F, Max, Window
from django.db.models.functions import RowNumber

from calc.checklists import Ask, Checklist, Has, Line, Stage
from calc.checklists.ours import OURS
from calc.models import ListLine, ListVersion
from shop import timeline
from shop.errors import ChangedMeanwhile, NotAllowedYet
from shop.models import Shop, Staff

ORDER: Final = tuple(Stage)
_COLUMNS: Final = tuple(field.name for field in fields(Line))


@dataclass(frozen=True)
class Current:
    """A list as it is now. `row` is the version that it is written down as, if it is; `number` is its number."""

    checklist: Checklist
    number: int
    row: ListVersion | None
    is_ours: bool  # as we wrote it: the shop hasn't changed it

    @property
    def slug(self) -> str:
        return self.checklist.slug


def current() -> dict[str, Current]:
    """Every list as it is now, in the order of the work, by its slug. Two queries."""
    newest = ListVersion.objects.annotate(
        place=Window(RowNumber(), partition_by=F("slug"), order_by=F("number").desc())
    ).filter(place=1)
    rows = {row.slug: row for row in newest.prefetch_related("lines")}
    found = []
    for slug in dict.fromkeys([*OURS, *rows]):
        row = rows.get(slug)
        ours = OURS.get(slug)
        if ours is not None and (row is None or (row.by_id is None and row.digest != digest(ours))):
            found.append(Current(ours, (row.number if row else 0) + 1, None, True))
        elif row is not None:
            found.append(Current(as_value(row), row.number, row, row.by_id is None))
    found.sort(
        key=lambda each: (ORDER.index(each.checklist.stage), each.slug not in OURS, each.checklist.name)
    )
    return {each.slug: each for each in found}


def written_down(slug: str) -> ListVersion:
    """The row of a list as it is now; writes ours down where it isn't yet. Call it inside a transaction.

    Raises:
        NotAllowedYet: there is no such list, or it is retired.
    """
    found = current().get(slug)
    if found is None or found.checklist.retired:
        raise NotAllowedYet("There is no such list. Load the page again, then choose.")
    if found.row is not None:
        return found.row
    _one_at_a_time()
    found = current()[slug]
    return found.row or _write(found.checklist, by=None, words="as Benchtag brings it")


@transaction.atomic
def change(checklist: Checklist, *, by: Staff, words: str, seen: int) -> ListVersion:
    """Make a new version of a list, or a new list where `seen` is 0. Runs that began keep theirs.

    `seen` is the number of the version that was changed.

    Raises:
        ChangedMeanwhile: somebody made another version since.
        NotAllowedYet: a line that a gate rests on is missing or asks for something else.
    """
    _one_at_a_time()
    now = current().get(checklist.slug)
    if (now.number if now else 0) != seen:
        raise ChangedMeanwhile(
            "Someone else changed this list while you had it open. Look at what it says now; then choose.",
            revision=now.number if now else 0,
        )
    if now is not None:
        _keeps_what_gates_rest_on(now.checklist, checklist)
        if now.row is None:
            _write(now.checklist, by=None, words="as Benchtag brings it")
    row = _write(checklist, by=by, words=words)
    timeline.write(
        "shop",
        by=by,
        words=f"made version {row.number} of the checklist {row.name}",
        after={"What changed": words},
    )
    return row


def _one_at_a_time() -> None:
    """Hold the shop's row: two who write down the same version would both be the first."""
    Shop.objects.select_for_update().filter(pk=1).first()


def _keeps_what_gates_rest_on(was: Checklist, will: Checklist) -> None:
    if was.gates and (will.retired or will.stage != was.stage or will.applies != was.applies):
        raise NotAllowedYet(
            "A gate rests on this list: it stays in use, where it is, for the gear it is for."
        )
    kept = {line.key: line for line in will.lines}
    for line in was.lines:
        if line.fixed and _asks(kept.get(line.key)) != _asks(line):
            raise NotAllowedYet(f"A gate rests on “{line.text}”. That line stays, and asks what it asks.")
    order = [line.key for line in will.lines if line.fixed]
    if order != [line.key for line in was.lines if line.fixed]:
        raise NotAllowedYet("The lines that gates rest on stay in their order.")


def _asks(line: Line | None) -> tuple | None:
    """What a fixed line may not lose. A limit may be made stricter, not looser: the form asks `stricter`."""
    if line is None:
        return None
    return (
        line.ask,
        line.unit,
        line.powered,
        line.may_not_apply,
        line.sheet,
        line.since,
        line.drift_of,
        line.fixed,
    )


def digest(checklist: Checklist) -> str:
    """A fingerprint of what a list says."""
    said = asdict(checklist)
    said["applies"] = sorted(checklist.applies)
    return hashlib.sha256(json.dumps(said, sort_keys=True).encode()).hexdigest()


def as_value(row: ListVersion) -> Checklist:
    """A version as a value. Reads its lines."""
    return Checklist(
        slug=row.slug,
        name=row.name,
        said=row.said,
        stage=Stage(row.stage),
        applies=frozenset(Has(word) for word in row.applies),
        retired=row.retired,
        lines=tuple(
            Line(**{name: getattr(line, name) for name in _COLUMNS if name != "ask"}, ask=Ask(line.ask))
            for line in row.lines.all()
        ),
    )


def _write(checklist: Checklist, *, by: Staff | None, words: str) -> ListVersion:
    last = ListVersion.objects.filter(slug=checklist.slug).aggregate(last=Max("number"))["last"] or 0
    row = ListVersion.objects.create(
        slug=checklist.slug,
        number=last + 1,
        name=checklist.name,
        said=checklist.said,
        stage=checklist.stage,
        applies=sorted(checklist.applies),
        retired=checklist.retired,
        digest=digest(checklist),
        words=words,
        by=by,
    )
    ListLine.objects.bulk_create(
        ListLine(version=row, position=place, **{name: getattr(line, name) for name in _COLUMNS})
        for place, line in enumerate(checklist.lines, 1)
    )
    return row


def by_stage(lists: Iterable[Current]) -> Mapping[Stage, list[Current]]:
    """Lists grouped by where they belong in the work."""
    grouped: dict[Stage, list[Current]] = {}
    for each in lists:
        grouped.setdefault(each.checklist.stage, []).append(each)
    return grouped
