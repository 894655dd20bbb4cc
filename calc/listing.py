"""The shop's checklists: the ones that we start with, the versions that its owner made of them, and its own.

A list of ours is written down as a version when it is first needed: by a run that begins, or by its first change. So a
run keeps what it began with, and a new release of ours is a new version where the shop hasn't made the list its own.
"""

import hashlib
import json
from collections.abc import Collection, Iterable, Mapping
from dataclasses import asdict, dataclass, fields
from functools import lru_cache
from itertools import count
from typing import Final

from django.db import transaction
from django.db.models import F, Max, Window, prefetch_related_objects
from django.db.models.functions import RowNumber
from django.utils.text import slugify

from calc.checklists import Ask, Checklist, Has, Line, Stage
from calc.checklists.ours import OURS
from calc.checklists.wording import span_words
from calc.models import ListLine, ListVersion
from shop import timeline
from shop.errors import ChangedMeanwhile, NotAllowed, NotAllowedYet
from shop.models import Shop, Staff

ORDER: Final = tuple(Stage)
_PLACES: Final = {slug: place for place, slug in enumerate(OURS)}
AS_WE_BRING_IT: Final = "as Benchtag brings it"
NO_SLUG: Final = frozenset({"new"})  # taken by an address
_COLUMNS: Final = tuple(field.name for field in fields(Line))


class LineRefused(NotAllowedYet):
    """A line may not be so. `key` is the line's, `field` the name of what is wrong on it; empty: the line itself."""

    def __init__(self, sentence: str, *, key: str, field: str = ""):
        super().__init__(sentence)
        self.key = key
        self.field = field


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

    @property
    def may_be_retired(self) -> bool:
        """Whether it may go out of use: gates rest on ours, never on one of the shop's own alone."""
        return not _is_gate_of_ours(self.checklist)


def current() -> dict[str, Current]:
    """Every list as it is now, in the order of the work, by its slug. Two queries at most."""
    newest = ListVersion.objects.annotate(
        place=Window(RowNumber(), partition_by=F("slug"), order_by=F("number").desc())
    ).filter(place=1)
    rows = {row.slug: row for row in newest}
    # What is ours as we wrote it needs no lines read.
    as_ours = {slug for slug, row in rows.items() if row.by_id is None and slug in OURS}
    prefetch_related_objects([row for slug, row in rows.items() if slug not in as_ours], "lines")
    found = []
    for slug in dict.fromkeys([*OURS, *rows]):
        row = rows.get(slug)
        ours = OURS.get(slug)
        if row is None or slug in as_ours:
            is_written = row is not None and row.digest == digest(ours)
            number = (row.number if row else 0) + (not is_written)
            found.append(Current(ours, number, row if is_written else None, True))
        else:
            found.append(Current(as_value(row), row.number, row, row.by_id is None))
    found.sort(
        key=lambda each: (
            ORDER.index(each.checklist.stage),
            _PLACES.get(each.slug, len(_PLACES)),
            each.checklist.name,
        )
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
    return found.row or _write(found.checklist, by=None, words=AS_WE_BRING_IT)


def versions(slug: str) -> list[ListVersion]:
    """The versions of a list that were written down, the newest first. Two queries."""
    return list(
        ListVersion.objects.filter(slug=slug)
        .order_by("-number")
        .select_related("by")
        .prefetch_related("lines")
    )


def slug_for(name: str) -> str:
    """A slug for a new list of that name, which no list has or had."""
    taken = NO_SLUG | set(OURS) | set(ListVersion.objects.values_list("slug", flat=True))
    return free_slug(name, taken, "list")


def free_slug(text: str, taken: Collection[str], otherwise: str) -> str:
    """A slug made from a text, of at most 40 letters, that isn't among the taken ones."""
    stem = slugify(text)[:36].strip("-_") or otherwise
    return next(name for n in count(1) if (name := stem if n == 1 else f"{stem}-{n}") not in taken)


@transaction.atomic
def change(checklist: Checklist, *, by: Staff, words: str, seen: int) -> ListVersion:
    """Make a new version of a list, or a new list where `seen` is 0. Runs that began keep theirs.

    `seen` is the number of the version that was changed, `words` say what changed.

    Raises:
        ChangedMeanwhile: somebody made another version since.
        LineRefused: a line that a gate rests on is missing, asks for something else, or is less strict than ours.
        NotAllowed: `by` isn't the owner of the shop.
        NotAllowedYet: nothing changed, or nobody says what; or a gate rests on the list.
    """
    if not by.may("keep checklists"):
        raise NotAllowed("Only the owner of the shop can change a list. Change person.")
    if not words.strip():
        raise NotAllowedYet("Write in a few words what changed.")
    if not checklist.lines:
        raise NotAllowedYet("A list needs a line. To have it no more, put it out of use.")
    _one_at_a_time()
    now = current().get(checklist.slug)
    if (now.number if now else 0) != seen:
        raise ChangedMeanwhile(
            "Someone else changed this list while you had it open. Look at what it says now; then choose.",
            revision=now.number if now else 0,
        )
    if now is not None:
        if checklist == now.checklist:
            raise NotAllowedYet("Nothing on this list is changed.")
        _keeps_what_gates_rest_on(now.checklist, checklist)
        if now.row is None:
            _write(now.checklist, by=None, words=AS_WE_BRING_IT)
    row = _write(checklist, by=by, words=words.strip())
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


def _is_gate_of_ours(checklist: Checklist) -> bool:
    ours = OURS.get(checklist.slug)
    return ours is not None and ours.gates


def _keeps_what_gates_rest_on(was: Checklist, will: Checklist) -> None:
    if _is_gate_of_ours(was) and (will.retired or will.stage != was.stage or will.applies != was.applies):
        raise NotAllowedYet(
            "A gate rests on this list: it stays in use, where it is, for the gear it is for."
        )
    kept = {line.key: line for line in will.lines}
    for line in was.lines:
        if not line.fixed:
            continue
        if _asks(kept.get(line.key)) != _asks(line):
            raise LineRefused(
                f"A gate rests on “{line.text}”. That line stays, and asks what it asks.", key=line.key
            )
        _is_no_looser(kept[line.key], _floor(was.slug, line))
    order = [line.key for line in will.lines if line.fixed]
    if order != [line.key for line in was.lines if line.fixed]:
        raise NotAllowedYet("The lines that gates rest on stay in their order.")


def _asks(line: Line | None) -> tuple | None:
    """What a fixed line may not lose. A limit may be made stricter."""
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


def _floor(slug: str, line: Line) -> Line:
    """The line as we bring it: the shop may be stricter than that, and come back to it. Else as it was."""
    ours = OURS.get(slug)
    return next((each for each in ours.lines if each.key == line.key), line) if ours else line


def _is_no_looser(line: Line, floor: Line) -> None:
    """Refuse a line that lets through what `floor` doesn't."""
    if floor.at_most is not None and (line.at_most is None or line.at_most > floor.at_most):
        raise LineRefused(_stricter(f"at most {floor.shown(floor.at_most)}"), key=line.key, field="at_most")
    if floor.at_least is not None and (line.at_least is None or line.at_least < floor.at_least):
        raise LineRefused(
            _stricter(f"at least {floor.shown(floor.at_least)}"), key=line.key, field="at_least"
        )
    # With a limit from below a reading's sign counts: -300 V would be under 50 V.
    if floor.at_most is not None and floor.at_least is None and (line.at_least or 0.0) < 0:
        raise LineRefused(
            "A gate rests on this line: this can’t be below zero.", key=line.key, field="at_least"
        )
    if floor.drift_of and not 0 < line.drift <= floor.drift:
        raise LineRefused(_stricter(f"within {floor.drift:g} %"), key=line.key, field="drift")
    if line.wait < floor.wait:
        raise LineRefused(
            f"A gate rests on this line: it may wait longer than {span_words(floor.wait)}, not shorter.",
            key=line.key,
            field="wait",
        )


def _stricter(limit: str) -> str:
    return f"A gate rests on this line: its limit, {limit}, may be made stricter, never looser."


@lru_cache(maxsize=256)
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
