"""The job's report: all that is known of a job, read once, for the owner of the gear and for the shop's file.

It holds at any state of the job and says what isn't done. What was struck out is told to the file, as struck, and not
to the owner of the gear.
"""

import datetime as dt
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final

from django.utils import timezone

from calc import listing, plain_words, readings, safety, sheets
from calc.checklists import Ask, Checklist, Line, Stage
from calc.checklists.judging import Outcome
from calc.checklists.lines import HOLDS_READY
from calc.checklists.ours import OURS
from calc.engine.repair_test import Protection
from calc.forms_worksheets import ShownGroup, shown, shown_ours
from calc.models import (
    GearBuild,
    KeptSheet,
    ListChange,
    ListRun,
    Mark,
    Reading,
    SafetyWord,
    UnsafeTag,
    Waiver,
)
from calc.safety import OnJob, Standing
from calc.worksheets import by_slug
from calc.worksheets.chart import Drawing, draw
from calc.worksheets.sheet import Answer
from intake import billing, comebacks, reading, workflow
from intake.models import Charge, Finding, Job, LabourSpell, Photo, State
from intake.models.bills import LineKind
from shop.models import Shop
from shop.wording import day_words, span_words

PICTURED: Final = (
    "idle-current",
    "supply",
    "voltage-chart",
)  # their pictures are in a report unless left out
_HISTORY: Final = ("was_dropped", "was_wet", "was_opened", "was_repaired", "smelled")


class Kind(StrEnum):
    """For whom a report is."""

    PLAIN = "plain"  # the owner of the gear
    FULL = "full"  # the shop's file


@dataclass(frozen=True)
class ReadValue:
    """A reading at a place. `overdue_since` is the day on which its meter's calibration had run out by then."""

    row: Reading
    words: str
    is_struck: bool
    overdue_since: dt.date | None


@dataclass(frozen=True)
class Place:
    """What was read at a place, before the repair and after it."""

    point: str
    before: tuple[ReadValue, ...]
    after: tuple[ReadValue, ...]


@dataclass(frozen=True)
class SheetTold:
    """A kept worksheet. `drawings` are empty where its pictures are left out; `edition` is of a test's limits."""

    kept: KeptSheet
    title: str
    answer: Answer
    groups: tuple[ShownGroup, ...]
    drawings: tuple[dict[str, Drawing], ...]
    is_struck: bool
    overdue_since: dt.date | None
    edition: str

    @property
    def has_pictures(self) -> bool:
        return bool(self.answer.charts)


@dataclass(frozen=True)
class MarkTold:
    """A line as somebody signed it. `gone` says why it no longer counts; empty where it does."""

    mark: Mark
    outcome: str
    meter: str
    overdue_since: dt.date | None
    gone: str


@dataclass(frozen=True)
class LineTold:
    line: Line
    marks: tuple[MarkTold, ...]


@dataclass(frozen=True)
class RunTold:
    """A run of a list, line by line. `is_past`: the job has come onto the bench again since, so it opens nothing."""

    run: ListRun
    checklist: Checklist
    lines: tuple[LineTold, ...]
    is_past: bool


@dataclass(frozen=True)
class LetOff:
    """A list that was waived or taken off the job. `is_past`: the job has come onto the bench again since."""

    name: str
    row: Waiver | ListChange
    is_past: bool


@dataclass(frozen=True)
class Charged:
    """A line of the bill without its price: "2" of a part, "1.5 h" of work."""

    text: str
    times: str
    under_warranty: bool


@dataclass(frozen=True)
class Soak:
    """A soak test: how long, and what was read at its start and its end. `drift` is in per cent."""

    name: str
    began: dt.datetime
    ended: dt.datetime | None
    start: str
    end: str
    drift: float | None
    allowed: float
    standing: Standing

    @property
    def lasted(self) -> str:
        return span_words(int((self.ended - self.began).total_seconds() // 60)) if self.ended else ""


@dataclass(frozen=True)
class TrialTold:
    """A test as the owner of the gear is told of it. `is_passed` only where it was passed and signed."""

    name: str
    is_passed: bool
    result: str
    said: str
    checked: tuple[str, ...] = ()
    is_open: bool = False  # it is still to come


@dataclass(frozen=True)
class Moved:
    """A move of the job, from the timeline."""

    at: dt.datetime
    by: str
    before: str
    after: str


@dataclass(frozen=True)
class Report:
    """What a job's report says; both versions are made of it."""

    job: Job
    at: dt.datetime
    build: GearBuild | None
    history: tuple[str, ...]  # what had happened to it, as its owner ticked
    findings: tuple[Finding, ...]
    struck_findings: tuple[Finding, ...]
    labour: tuple[Charged, ...]
    spells: tuple[LabourSpell, ...]
    parts: tuple[Charged, ...]
    places: tuple[Place, ...]
    all_sheets: tuple[SheetTold, ...]
    runs: tuple[RunTold, ...]
    lists: safety.JobLists
    waivers: tuple[LetOff, ...]
    taken_off: tuple[LetOff, ...]
    soaks: tuple[Soak, ...]
    tests: tuple[TrialTold, ...]
    verdict: str
    is_passed: bool
    unsafe: str  # in the bench's words
    unsafe_plain: str  # in the owner's
    safety_words: tuple[SafetyWord, ...]
    unsafe_tags: tuple[UnsafeTag, ...]
    photos: tuple[Photo, ...]  # all that stand
    chosen_photos: tuple[Photo, ...]
    warranty: str
    watch_for: tuple[str, ...]
    moves: tuple[Moved, ...]

    @property
    def sheets(self) -> list[SheetTold]:
        """The worksheets that are no electrical test."""
        return [each for each in self.all_sheets if each.kept.slug != safety.TEST]

    @property
    def electrical(self) -> list[SheetTold]:
        """The electrical tests."""
        return [each for each in self.all_sheets if each.kept.slug == safety.TEST]

    @property
    def pictured(self) -> list[SheetTold]:
        """The worksheets whose pictures can be chosen."""
        return [each for each in self.all_sheets if each.has_pictures and not each.is_struck]

    @property
    def to_do(self) -> list[OnJob]:
        """The lists that nobody began since the job came onto the bench."""
        return [each for each in self.lists.lists if each.run is None]

    @property
    def goes_as_it_is(self) -> bool:
        return _as_it_is(self.job)

    @property
    def missing(self) -> list[str]:
        """What isn't done yet, a sentence each, for whoever is about to print it."""
        said = []
        if not self.job.plain_findings:
            said.append("The findings in plain words aren’t written yet.")
        said += [f"{test.name}: {test.result}" for test in self.tests if not test.is_passed]
        return said


def gather(
    job: Job, *, shop: Shop, photos: Collection[int] | None = None, pictures: Collection[int] | None = None
) -> Report:
    """Read all that a job's report says, in a fixed number of queries.

    `photos` and `pictures` are the keys of the photos, and of the kept worksheets whose pictures, were chosen. None
    where nobody chose: no photos, and the pictures of the worksheets in `PICTURED`.
    """
    reading.whole(job, shop=shop)
    findings = list(job.findings.select_related("by"))
    standing = reading.standing(job)
    build, lists, runs = safety.build_of(job.gear), safety.lists_on(job), safety.runs_of(job)
    kept = list(
        job.sheets.filter(strikes__isnull=True).select_related("by", "meter", "struck_by__by").order_by("pk")
    )
    told = tuple(_sheet(each, pictures) for each in kept)
    by_key = {each.kept.pk: each for each in told}
    unsafe, failed = safety.unsafe(job), safety.failed_test(job)
    said = tuple(job.safety_words.select_related("by").order_by("pk"))
    tests = tuple(_test(each, lists, job, build, failed) for each in lists.of(*HOLDS_READY))
    all_photos = tuple(job.photos.filter(struck_at__isnull=True).select_related("by"))
    is_passed = bool(tests) and not unsafe and all(test.is_passed for test in tests) and not _stopped(lists)
    return Report(
        job=job,
        at=timezone.now(),
        build=build,
        history=tuple(str(Job._meta.get_field(name).verbose_name) for name in _HISTORY if getattr(job, name)),
        findings=tuple(each for each in findings if not each.struck_at),
        struck_findings=tuple(each for each in findings if each.struck_at),
        labour=_charged(standing, LineKind.LABOUR),
        spells=tuple(
            job.labour.filter(struck_at__isnull=True, ended__isnull=False)
            .select_related("who")
            .order_by("began")
        ),
        parts=_charged(standing, LineKind.PART),
        places=_places(
            job.readings.filter(strikes__isnull=True)
            .select_related("by", "struck_by__by")
            .order_by("at", "pk")
        ),
        all_sheets=told,
        runs=tuple(_run(run, by_key, build, is_past=run.at < lists.since) for run in runs),
        lists=lists,
        waivers=_let_off(job.waivers.select_related("by"), lists, runs),
        taken_off=_let_off(lists.taken_off, lists, runs),
        soaks=tuple(soak for each in lists.of(Stage.SOAK) if (soak := _soak(each, build)) is not None),
        tests=tests,
        verdict=_verdict(job, tests, is_passed=is_passed, unsafe=unsafe),
        is_passed=is_passed,
        unsafe=unsafe,
        unsafe_plain=_unsafe_plain(said, failed),
        safety_words=said,
        unsafe_tags=tuple(job.unsafe_tags.select_related("by")),
        photos=all_photos,
        chosen_photos=tuple(photo for photo in all_photos if photos is not None and photo.pk in photos),
        warranty=_warranty(job, shop),
        watch_for=plain_words.to_watch_for(
            lists.has,
            kind=job.gear.kind,
            is_two_wire=build is not None and build.protection == Protection.TWO_WIRE,
        ),
        moves=_moves(job),
    )


# --- Readings and worksheets ---------------------------------------------------------------------------------


def _places(rows: Iterable[Reading]) -> tuple[Place, ...]:
    """Readings side by side, in the order in which each place was first read."""
    found: dict[str, dict[str, list[ReadValue]]] = {}
    for row in rows:
        sides = found.setdefault(row.point, {when: [] for when in Reading.When.values})
        sides[row.when].append(
            ReadValue(row, readings.shown(row), hasattr(row, "struck_by"), _overdue(row.meter_due_on, row.at))
        )
    return tuple(
        Place(point, tuple(sides[Reading.When.BEFORE]), tuple(sides[Reading.When.AFTER]))
        for point, sides in found.items()
    )


def _overdue(due_on: dt.date | None, at: dt.datetime) -> dt.date | None:
    """The day until which a meter was calibrated, where that was over when it was used."""
    return due_on if due_on is not None and due_on < timezone.localdate(at) else None


def _sheet(kept: KeptSheet, pictures: Collection[int] | None) -> SheetTold:
    sheet, answer = by_slug(kept.slug), sheets.answer_of(kept)
    is_struck = hasattr(kept, "struck_by")
    is_chosen = kept.slug in PICTURED if pictures is None else kept.pk in pictures
    return SheetTold(
        kept=kept,
        title=sheet.title if sheet else kept.slug,
        answer=answer,
        groups=(*shown(sheet, kept.said), *shown_ours(sheet, kept.said)) if sheet else (),
        drawings=tuple({"drawing": draw(chart)} for chart in answer.charts)
        if is_chosen and not is_struck
        else (),
        is_struck=is_struck,
        overdue_since=_overdue(kept.meter_due_on, kept.at),
        edition=kept.said.get("limit_edition", ""),
    )


def _charged(charges: Iterable[Charge], kind: LineKind) -> tuple[Charged, ...]:
    return tuple(
        Charged(each.text, billing.times(each), each.under_warranty) for each in charges if each.kind == kind
    )


# --- Lists ---------------------------------------------------------------------------------------------------

_SIGNED: Final = {
    (Ask.LOOK, Outcome.DONE): "Done",
    (Ask.READING, Outcome.DONE): "Within its limit",
    (Ask.SHEET, Outcome.DONE): "Passed",
}
_SIGNED_ELSE: Final = {
    Outcome.FAILED: "NOT RIGHT",
    Outcome.CLOSE: "TOO CLOSE TO CALL, no pass",
    Outcome.NOT_HERE: "Not on this gear",
}


def _run(run: ListRun, told: Mapping[int, SheetTold], build: GearBuild | None, *, is_past: bool) -> RunTold:
    checklist = listing.as_value(run.version)
    marks: dict[str, list[Mark]] = {}
    for mark in run.marks.all():
        marks.setdefault(mark.key, []).append(mark)
    lines = tuple(
        LineTold(
            line, tuple(_mark(line, mark, marks[line.key], told, build) for mark in marks.get(line.key, []))
        )
        for line in checklist.lines
    )
    return RunTold(run, checklist, lines, is_past)


def _mark(
    line: Line,
    mark: Mark,
    all_of_line: list[Mark],
    told: Mapping[int, SheetTold],
    build: GearBuild | None,
) -> MarkTold:
    outcome = Outcome(mark.outcome)
    word = _SIGNED_ELSE.get(outcome) or _SIGNED[line.ask, outcome]
    if line.ask is Ask.READING and outcome is Outcome.DONE and not line.limit:
        word = "Read"
    gone = ""
    if mark is not all_of_line[-1]:
        gone = "Signed again since, see below."
    elif safety.was_struck(mark):
        gone = "What it rests on was struck out: it no longer counts."
    elif not safety.mark_stands(mark, build):
        gone = "It was done for gear that is built otherwise: it no longer counts."
    meter, overdue = "", None
    if mark.reading is not None:
        meter, overdue = mark.reading.meter, _overdue(mark.reading.meter_due_on, mark.reading.at)
    elif mark.sheet_id in told:
        sheet = told[mark.sheet_id]
        meter, overdue = str(sheet.kept.meter or ""), sheet.overdue_since
    return MarkTold(mark, word, meter, overdue, gone)


def _let_off(
    rows: Iterable[Waiver | ListChange], lists: safety.JobLists, runs: Iterable[ListRun]
) -> tuple[LetOff, ...]:
    names = {run.version.slug: run.version.name for run in runs}
    names |= {each.slug: each.name for each in lists.others}
    names |= {each.checklist.slug: each.checklist.name for each in lists.lists}
    return tuple(LetOff(names.get(row.slug, row.slug), row, row.at < lists.since) for row in rows)


def _stopped(lists: safety.JobLists) -> bool:
    return any(_was_not_right(each) for each in lists.lists)


def _was_not_right(each: OnJob) -> bool:
    """Whether a line of its last run isn't right, waived or not."""
    if each.run is None or each.stand is None:
        return False
    ended_badly = hasattr(each.run, "sign_off") and not (each.run.sign_off.passed and each.stand.all_closed)
    return each.stand.stopped_by is not None or ended_badly


def _soak(each: OnJob, build: GearBuild | None) -> Soak | None:
    """How long a soak test has run and how far it drifted. None where nothing was read at its start."""
    if each.run is None:
        return None
    last = {
        key: mark
        for key, mark in safety.last_marks(each.run.marks.all()).items()
        if safety.mark_stands(mark, build)
    }
    end_line = next((line for line in each.checklist.lines if line.drift_of), None)
    if end_line is None or end_line.drift_of not in last:
        return None
    start, end = last[end_line.drift_of], last.get(end_line.key)
    drift = None
    if end is not None and end.reading is not None and start.reading is not None and start.reading.value:
        drift = abs(end.reading.value - start.reading.value) / abs(start.reading.value) * 100
    return Soak(
        name=each.checklist.name,
        began=start.at,
        ended=end.at if end else None,
        start=readings.shown(start.reading) if start.reading else "",
        end=readings.shown(end.reading) if end and end.reading else "",
        drift=drift,
        allowed=end_line.drift,
        standing=each.standing,
    )


# --- What the owner of the gear is told ----------------------------------------------------------------------


def _as_it_is(job: Job) -> bool:
    return job.declined or job.state == State.GOING_HOME_AS_IS


def _test(each: OnJob, lists: safety.JobLists, job: Job, build: GearBuild | None, failed: str) -> TrialTold:
    stage = each.checklist.stage
    name = each.checklist.name
    if each.checklist.slug in OURS and not each.was_put_on:
        name = plain_words.stage_words(stage, lists.has)
    if failed and stage is Stage.AFTER_REPAIR:
        close = "failed" not in failed
        return TrialTold(name, False, "Not passed", _too_close() if close else _did_not_pass())
    if each.standing is Standing.PASSED and each.run is not None:
        signed = f"Signed on {day_words(timezone.localdate(each.run.sign_off.at))}."
        soak = _soak(each, build)
        if soak is not None and soak.ended and (soak.ended - soak.began).total_seconds() >= 60:
            signed = f"It ran for {soak.lasted} and stayed steady. {signed}"
        return TrialTold(name, True, "Passed", signed, _checked(each))
    if each.standing is Standing.WAIVED:
        return TrialTold(name, False, *_waived(each))
    if _was_not_right(each):
        return TrialTold(name, False, "Not passed", _too_close() if _stopped_close(each) else _did_not_pass())
    if _as_it_is(job):
        return TrialTold(name, False, "Not done", "It goes home as it is.")
    if job.is_over:
        return TrialTold(name, False, "Not done", "Nobody signed such a test for this repair.")
    said = (
        "It isn’t finished and signed yet."
        if each.run is not None
        else "It comes before your gear goes home."
    )
    return TrialTold(name, False, "Not done yet", said, is_open=True)


def _unsafe_plain(said: tuple[SafetyWord, ...], failed: str) -> str:
    why = [said[-1].words.rstrip(".")] if said and said[-1].unsafe else []
    if failed:
        why.append("It did not pass our test of its electrical safety")
    return ". ".join(why)


def _waived(each: OnJob) -> tuple[str, str]:
    waiver = each.waiver
    assert waiver is not None
    how = "Not passed" if _was_not_right(each) else "Not done"
    words = waiver.words.rstrip(".")
    return (
        how,
        f"{waiver.by}, for the shop, let it go home without this test on"
        f" {day_words(timezone.localdate(waiver.at))}. The reason: {words}.",
    )


def _did_not_pass() -> str:
    return "It has to be mended and tested again before it is used."


def _too_close() -> str:
    return "The result was too near its limit to be sure, and that is no pass."


def _stopped_close(each: OnJob) -> bool:
    if each.run is None or each.stand is None or each.stand.stopped_by is None:
        return False
    last = safety.last_marks(each.run.marks.all())
    return last[each.stand.stopped_by.key].outcome == Outcome.CLOSE


def _checked(each: OnJob) -> tuple[str, ...]:
    """What a passed electrical test checked, from the worksheet that passed it."""
    assert each.run is not None
    marks = safety.last_marks(each.run.marks.all()).values()
    kept = [mark.sheet for mark in marks if mark.sheet is not None and mark.sheet.slug == safety.TEST]
    return plain_words.what_was_checked(kept[-1].answer["lines"]) if kept else ()


def _verdict(job: Job, tests: tuple[TrialTold, ...], *, is_passed: bool, unsafe: str) -> str:
    """The whole of the tests in a sentence."""
    if unsafe:
        return "It is not safe. Don’t use it."
    if is_passed:
        return f"Tested before it {'went' if job.is_over else 'goes'} home: passed."
    if _as_it_is(job):
        return "It goes home as it is. We didn’t repair it, and we didn’t test whether it is safe."
    if not tests:
        return "No test is asked for on this gear."
    if any(test.is_open for test in tests):
        return "It isn’t tested to the end yet."
    return "Not everything was tested and passed."


def _warranty(job: Job, shop: Shop) -> str:
    if job.declined or job.is_over:
        return comebacks.verdict_on(job, timezone.localdate(), shop).sentence
    if _as_it_is(job):
        return "It goes home as it is, so there is no warranty on it."
    signed = comebacks.warranty_signed(job)
    given = [
        f"{days} days on {what}"
        for days, what in ((signed.labour_days, "labour"), (signed.parts_days, "parts"))
        if days
    ]
    if not given:
        return "No warranty is given on this repair."
    return f"{' and '.join(given)}, counted from the day it is collected."


def _moves(job: Job) -> tuple[Moved, ...]:
    return tuple(
        Moved(entry.at, str(entry.by or ""), change["before"], change["after"])
        for entry in workflow.moves_of(job)
        for change in entry.changes[:1]
    )


def keys_in(texts: Iterable[Any]) -> frozenset[int]:
    """The keys among what an address says; what is no number is passed over."""
    return frozenset(int(text) for text in texts if str(text).isascii() and str(text).isdigit())
