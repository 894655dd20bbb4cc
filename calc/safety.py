"""How a job stands with safety: which lists it needs, how each stands, what was waived, whether it was judged unsafe.

What counts is what was signed since the job last came onto the bench: whatever was done there may have changed what
was tested before.
"""

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final

from django.db import transaction
from django.db.models import Prefetch
from django.utils import timezone

from calc import listing
from calc.checklists import Checklist, Has, Stage
from calc.checklists.applying import what_it_has
from calc.checklists.judging import WRONG, Outcome, Signed, Stand, how_it_stands
from calc.checklists.lines import HOLDS_READY
from calc.engine.repair_test import EARTH, INSULATION
from calc.models import GearBuild, KeptSheet, ListChange, ListRun, Mark, SafetyWord, UnsafeTag, Waiver
from calc.worksheets.sheet import Verdict
from intake.models import Gear, Job, State
from intake.workflow import last_moved_to, still_open
from shop import timeline
from shop.errors import ChangedMeanwhile, NotAllowed, NotAllowedYet
from shop.models import Staff

TEST: Final = "after-repair-test"  # the worksheet that judges earth and insulation
NOT_DONE: Final = "not done yet"  # what it says of a test that nobody did


class NoPowerYet(NotAllowedYet):
    """What is read under power waits for a list."""


class Standing(StrEnum):
    """How a list stands on a job."""

    TO_DO = "to do"
    BEGUN = "begun"
    STOPPED = "stopped"  # a line isn't right, or too close to call
    TO_SIGN = "to sign"
    PASSED = "passed"
    FAILED = "failed"  # signed off as failed
    WAIVED = "waived"


OPENS: Final = (Standing.PASSED, Standing.WAIVED)


@dataclass(frozen=True)
class OnJob:
    """A list on a job: its last run since the job came onto the bench, and how it stands."""

    checklist: Checklist
    run: ListRun | None
    stand: Stand | None
    standing: Standing
    waiver: Waiver | None
    was_put_on: bool  # somebody put it on, the gear doesn't ask for it
    failed_before: bool  # a run of it ended as failed since the job came onto the bench


@dataclass(frozen=True)
class JobLists:
    """The lists that a job needs, in the order of the work; those that could be put on it; those taken off it."""

    lists: tuple[OnJob, ...]
    others: tuple[Checklist, ...]
    taken_off: tuple[ListChange, ...]
    since: dt.datetime
    has: frozenset[Has]

    def of(self, *stages: Stage) -> list[OnJob]:
        return [each for each in self.lists if each.checklist.stage in stages]

    def get(self, slug: str) -> OnJob | None:
        return next((each for each in self.lists if each.checklist.slug == slug), None)


# --- Reading -------------------------------------------------------------------------------------------------


def bench_since(job: Job) -> dt.datetime:
    """Since when what was signed counts: when the job last came onto the bench, else when it was taken in."""
    return last_moved_to(job, State.ON_THE_BENCH) or job.since


def build_of(gear: Gear) -> GearBuild | None:
    """How a piece of gear is built, as far as somebody wrote it down."""
    return GearBuild.objects.filter(gear=gear).first()


def has(gear: Gear, build: GearBuild | None) -> frozenset[Has]:
    """What a piece of gear has that lists apply to."""
    return what_it_has(
        technology=gear.technology,
        kind=gear.kind,
        protection=build.protection if build else "",
        contains=build.contains if build else None,
    )


def lists_on(job: Job) -> JobLists:
    """Every list that a job needs, and how it stands. A fixed number of queries."""
    since = bench_since(job)
    build = build_of(job.gear)
    things = has(job.gear, build)
    changes = {change.slug: change for change in job.list_changes.select_related("by")}  # the last one holds
    of_this_stay = [run for run in runs_of(job) if run.at >= since]
    runs = {run.version.slug: run for run in of_this_stay}
    failed = {r.version.slug for r in of_this_stay if hasattr(r, "sign_off") and not r.sign_off.passed}
    waivers = {w.slug: w for w in job.waivers.select_related("by") if w.at >= since}
    on, others, off = [], [], []
    for slug, each in listing.current().items():
        needed, change = each.checklist.needed_by(things), changes.get(slug)
        if needed and change is not None and not change.applies and not each.checklist.gates:
            off.append(change)
        if change is not None and not each.checklist.retired:
            # What was put on and taken off again is still needed where the gear came to ask for it.
            needed = change.applies or (needed and each.checklist.gates)
        if not needed:
            if not each.checklist.retired:
                others.append(each.checklist)
            continue
        needed_now = _on_job(each.checklist, runs.get(slug), waivers.get(slug), things, build)
        on.append(replace(needed_now, failed_before=slug in failed))
    return JobLists(tuple(on), tuple(others), tuple(off), since, things)


def runs_of(job: Job) -> list[ListRun]:
    """All runs on a job, the oldest first, with their lists, marks and signatures."""
    marks = Mark.objects.select_related("by", "reading__struck_by", "sheet__struck_by").order_by("pk")
    return list(
        job.list_runs.select_related("version", "by", "sign_off__by")
        .prefetch_related("version__lines", Prefetch("marks", marks))
        .order_by("pk")
    )


def stand_of(run: ListRun, build: GearBuild | None) -> Stand:
    """How a run stands, by its marks, on gear that is built so. Reads them where they weren't fetched."""
    return how_it_stands(listing.as_value(run.version), signed_on(run, build), began=run.at)


def signed_on(run: ListRun, build: GearBuild | None) -> dict[str, Signed]:
    """The last mark of each line, as far as it stands."""
    return {
        key: Signed(Outcome(mark.outcome), mark.at, mark.reading.value if mark.reading else None)
        for key, mark in last_marks(run.marks.all()).items()
        if mark_stands(mark, build)
    }


def mark_stands(mark: Mark, build: GearBuild | None) -> bool:
    """Whether a mark still says something: what it rests on wasn't struck out, nor passed for gear built otherwise."""
    if was_struck(mark):
        return False
    is_pass = mark.sheet is not None and mark.outcome == Outcome.DONE
    return not (is_pass and for_other_gear(mark.sheet, build))


def for_other_gear(sheet: KeptSheet, build: GearBuild | None) -> str:
    """Say why a safety test was done for gear other than is written down: its limits would be the wrong ones."""
    if sheet.slug != TEST:
        return ""
    if build is None or not build.protection:
        return "How this gear is built isn’t written down. Write that down; then do the test."
    if sheet.said.get("protection") != build.protection:
        built = build.get_protection_display()
        return f"This gear is written down as “{built}”; the test was done for another kind."
    return ""


def last_marks(marks: Iterable[Mark]) -> dict[str, Mark]:
    """The last mark of each line."""
    return {mark.key: mark for mark in marks}


def was_struck(mark: Mark) -> bool:
    """Whether the reading or the worksheet that a mark rests on was struck out."""
    return any(hasattr(row, "struck_by") for row in (mark.reading, mark.sheet) if row is not None)


def _on_job(
    checklist: Checklist,
    run: ListRun | None,
    waiver: Waiver | None,
    things: frozenset[Has],
    build: GearBuild | None,
) -> OnJob:
    stand, standing = None, Standing.TO_DO
    if run is not None:
        checklist, stand = listing.as_value(run.version), stand_of(run, build)
        standing = _standing(run, stand)
    if (
        waiver is not None
        and standing is not Standing.PASSED
        and not _went_wrong_after(waiver, run, standing)
    ):
        standing = Standing.WAIVED
    return OnJob(checklist, run, stand, standing, waiver, not checklist.needed_by(things), False)


def _went_wrong_after(waiver: Waiver, run: ListRun | None, standing: Standing) -> bool:
    """Whether a line failed since a list was waived: the owner of the shop didn't know that."""
    if run is None or standing not in (Standing.STOPPED, Standing.FAILED):
        return False
    return any(mark.at > waiver.at for mark in run.marks.all() if mark.outcome in WRONG)


def _standing(run: ListRun, stand: Stand) -> Standing:
    if hasattr(run, "sign_off"):
        # A reading that was struck out after the signature takes the pass away.
        return Standing.PASSED if run.sign_off.passed and stand.all_closed else Standing.FAILED
    if stand.all_closed:
        return Standing.TO_SIGN
    return Standing.STOPPED if stand.stopped_by else Standing.BEGUN


def failed_test(job: Job) -> str:
    """Say which of earth and insulation failed, or was too close to call, and wasn't passed since. Empty: none.

    A worksheet that was struck out, or filled in for gear that is built otherwise, can't pass anything; what failed
    on it has failed until it is passed.
    """
    return ". ".join(said for said, _ in _failed(job))


def _failed(job: Job) -> list[tuple[str, KeptSheet]]:
    tests = KeptSheet.objects.filter(job=job, slug=TEST, strikes__isnull=True)
    if not tests.exclude(verdict=Verdict.GOOD).exists():  # as nearly always
        return []
    build = build_of(job.gear)
    sheets = list(tests.select_related("struck_by", "by").order_by("-pk"))
    found = []
    for test in (EARTH, INSULATION):
        for sheet in sheets:
            verdict = _verdict_on(sheet, test)
            if (
                verdict == Verdict.GOOD
                and not hasattr(sheet, "struck_by")
                and not for_other_gear(sheet, build)
            ):
                break
            if verdict == Verdict.BAD:
                found.append((f"{test} failed", sheet))
                break
            if verdict == Verdict.UNSURE:
                found.append((f"{test} was too close to call", sheet))
                break
    return found


def _verdict_on(sheet: KeptSheet, test: str) -> str:
    line = next((each for each in sheet.answer["lines"] if each["label"] == test), None)
    return "" if line is None or line["value"] == NOT_DONE else line["verdict"]


@dataclass(frozen=True)
class Unsafe:
    """That gear is unsafe: why, who said so last, and when. `word` is what somebody judged, where somebody did."""

    why: str
    by: Staff
    at: dt.datetime
    word: SafetyWord | None


def found_unsafe(job: Job) -> Unsafe | None:
    """What makes the gear of a job unsafe: somebody judged it so, or a test says so. None where it isn't."""
    last = job.safety_words.select_related("by").order_by("-pk").first()
    word = last if last is not None and last.unsafe else None
    found = [(word.words, word), *_failed(job)] if word else _failed(job)
    if not found:
        return None
    newest = max((row for _, row in found), key=lambda row: row.at)
    why = ". ".join(said.rstrip(".") for said, _ in found)
    # A tag from before it was taken back that it is unsafe says what is no longer so.
    return Unsafe(why, newest.by, max(newest.at, last.at) if last else newest.at, word)


def unsafe(job: Job) -> str:
    """Why the gear of a job is unsafe. Empty where it isn't."""
    found = found_unsafe(job)
    return found.why if found else ""


def tags_printed(job: Job, found: Unsafe) -> int:
    """How many unsafe tags were printed since it was last said what makes it unsafe."""
    return UnsafeTag.objects.filter(job=job, at__gte=found.at).count()


# --- What keeps work back ------------------------------------------------------------------------------------


def why_no_power(job: Job, lists: JobLists | None = None) -> str:
    """Say why nothing may be read under power yet. Empty where it may. `lists` where they were read already."""
    lists = lists or lists_on(job)
    open_lists = [each for each in lists.of(Stage.BEFORE_POWER) if each.standing is not Standing.PASSED]
    if not open_lists:
        return ""
    names = ", ".join(f"“{each.checklist.name}”" for each in open_lists)
    return f"The list {names} isn’t passed and signed yet. Do it first; then read under power."


def why_not_ready(job: Job, lists: JobLists | None = None) -> list[str]:
    """Say, a sentence each, what keeps a repaired job from being ready. `lists` where they were read already."""
    said = []
    for each in (lists or lists_on(job)).lists:
        name = f"“{each.checklist.name}”"
        if each.standing in (Standing.STOPPED, Standing.FAILED):
            said.append(f"{name} has a line that isn’t right. Mend it, and test it again.")
        elif each.failed_before and each.standing not in OPENS:
            said.append(f"{name} ended as failed and isn’t passed since. Do it again.")
        elif each.checklist.stage in HOLDS_READY and each.standing not in OPENS:
            said.append(
                f"{name} is done but not signed. Sign it."
                if each.standing is Standing.TO_SIGN
                else f"{name} isn’t done. Do it; then it can be ready."
            )
    if why := unsafe(job):
        said.append(f"It is judged unsafe: {why}. It goes back to the bench, or home as it is.")
    return said


# --- Doing ---------------------------------------------------------------------------------------------------


@transaction.atomic
def put_on(job: Job, *, slug: str, by: Staff, words: str = "") -> None:
    """Put a list on a job that its gear doesn't ask for, or that was taken off. Twice is once."""
    job = still_open(job)
    lists = lists_on(job)
    if lists.get(slug):
        return
    listed = next((each for each in lists.others if each.slug == slug), None)
    if listed is None:
        raise NotAllowedYet("There is no such list. Load the page again, then choose.")
    ListChange.objects.create(job=job, slug=slug, applies=True, words=words, by=by)
    timeline.write(job, by=by, words=f"put the list “{listed.name}” on it", after={"Why": words})


@transaction.atomic
def take_off(job: Job, *, slug: str, words: str, by: Staff) -> None:
    """Take a list off a job: the owner's word, with a reason. Twice is once.

    Raises:
        NotAllowed: `by` isn't the owner of the shop.
        NotAllowedYet: no reason, or a gate rests on the list: then it is waived, not taken off.
    """
    if not by.may("keep checklists"):
        raise NotAllowed("Only the owner of the shop can take a list off. Change person.")
    if not words.strip():
        raise NotAllowedYet("Write down why it isn’t needed.")
    job = still_open(job)
    listed = lists_on(job).get(slug)
    if listed is None:
        return
    if listed.checklist.gates and not listed.was_put_on:
        raise NotAllowedYet("A gate rests on this list. It can’t be taken off; what it asks can be waived.")
    ListChange.objects.create(job=job, slug=slug, applies=False, words=words.strip(), by=by)
    timeline.write(job, by=by, words=f"took the list “{listed.checklist.name}” off it", after={"Why": words})


@transaction.atomic
def describe(
    job: Job,
    *,
    protection: str,
    line_volts: str,
    contains: Iterable[str],
    by: Staff,
    seen: int,
    words: str = "",
) -> GearBuild:
    """Write down how the gear of a job is built. `seen` is the revision that was changed, 0 for none.

    What was known and is changed so that a list falls away is the owner's to change, with a reason; so is writing down
    for the first time what lets a list fall away that a gate rests on.

    Raises:
        ChangedMeanwhile: somebody else wrote it down since.
        NotAllowed: a list would fall away, and `by` isn't the owner of the shop.
    """
    job = still_open(job)
    gear = Gear.objects.select_for_update().get(pk=job.gear_id)
    was = build_of(gear)
    if (was.revision if was else 0) != seen:
        raise ChangedMeanwhile(
            "Someone else wrote this down while you had it open. Look at what it says now; then choose.",
            revision=was.revision if was else 0,
        )
    kept = sorted(set(contains))
    new = GearBuild(
        gear=gear, protection=protection, line_volts=line_volts, contains=kept, revision=seen + 1, by=by
    )
    _narrows_nothing(gear, was, new, by=by, words=words)
    new.save(force_insert=was is None)
    timeline.write(
        job,
        by=by,
        words="wrote down how it is built",
        before=_said_of(was) if was else None,
        after={**_said_of(new), "Why": words},
    )
    return new


def _narrows_nothing(gear: Gear, was: GearBuild | None, new: GearBuild, *, by: Staff, words: str) -> None:
    before, after = has(gear, was), has(gear, new)
    falls = [
        each.checklist.name
        for each in listing.current().values()
        if each.checklist.needed_by(before)
        and not each.checklist.needed_by(after)
        and (was is not None or each.checklist.gates)
    ]
    if not falls:
        return
    names = ", ".join(f"“{name}”" for name in falls)
    if not by.may("keep checklists"):
        raise NotAllowed(f"{names} would no longer be asked for. Only the owner of the shop can say so.")
    if not words.strip():
        raise NotAllowedYet(f"{names} would no longer be asked for. Write down why.")


def _said_of(build: GearBuild) -> dict[str, str]:
    return {
        "Protection": build.get_protection_display() or "not known",
        "Line voltage": build.line_volts,
        "It has": ", ".join(build.has),
    }


@transaction.atomic
def waive(job: Job, *, slug: str, words: str, by: Staff) -> Waiver:
    """Let a job be ready without a list: the owner's word alone, with a reason.

    Raises:
        NotAllowed: `by` isn't the owner of the shop.
        NotAllowedYet: earth or insulation failed or was too close to call; the list isn't one that ready waits for.
    """
    if not by.may("waive a test"):
        raise NotAllowed("Only the owner of the shop can waive a test. Change person.")
    if not words.strip():
        raise NotAllowedYet("Write down why it goes without.")
    job = still_open(job)
    listed = lists_on(job).get(slug)
    if listed is None or listed.checklist.stage not in HOLDS_READY:
        raise NotAllowedYet("Only what keeps a job from being ready can be waived.")
    if failed := failed_test(job):
        raise NotAllowedYet(
            f"{failed}. That can’t be waived: mend it and test it again, or it goes home as it is."
        )
    if listed.standing in OPENS:
        raise NotAllowedYet(f"“{listed.checklist.name}” is {listed.standing}: there is nothing to waive.")
    waiver = Waiver.objects.create(job=job, slug=slug, words=words.strip(), by=by)
    timeline.write(job, by=by, words=f"waived “{listed.checklist.name}”", after={"Why": waiver.words})
    return waiver


@transaction.atomic
def judge_unsafe(job: Job, *, words: str, by: Staff) -> SafetyWord:
    """Judge the gear of a job unsafe. `words` say why."""
    if not words.strip():
        raise NotAllowedYet("Write down what makes it unsafe.")
    job = still_open(job)
    word = SafetyWord.objects.create(job=job, unsafe=True, words=words.strip(), by=by)
    timeline.write(job, by=by, words="judged it unsafe", after={"Why": word.words})
    return word


@transaction.atomic
def take_back_unsafe(job: Job, *, words: str, by: Staff) -> SafetyWord:
    """Take back that it is unsafe: the owner may, or whoever passed the after-repair test since.

    Raises:
        NotAllowed: neither is so.
        NotAllowedYet: it isn't judged unsafe, or no reason is given.
    """
    if not words.strip():
        raise NotAllowedYet("Write down why it is safe now.")
    job = still_open(job)
    last = job.safety_words.order_by("-pk").first()
    if last is None or not last.unsafe:
        raise NotAllowedYet("Nobody judged it unsafe.")
    tests = lists_on(job).of(Stage.AFTER_REPAIR)
    passed = bool(tests) and all(
        each.standing is Standing.PASSED and each.run is not None and each.run.at >= last.at for each in tests
    )
    if not passed and not by.may("waive a test"):
        raise NotAllowed("Pass the after-repair test first, or let the owner of the shop take it back.")
    word = SafetyWord.objects.create(job=job, unsafe=False, words=words.strip(), by=by)
    timeline.write(job, by=by, words="took back that it is unsafe", after={"Why": word.words})
    return word


@transaction.atomic
def print_unsafe_tag(job: Job, *, by: Staff) -> UnsafeTag:
    """Count an unsafe tag that is printed.

    Raises:
        NotAllowedYet: it isn't judged unsafe.
    """
    job = still_open(job)
    if not unsafe(job):
        raise NotAllowedYet("It isn’t judged unsafe.")
    tag = UnsafeTag.objects.create(job=job, by=by, at=timezone.now())
    timeline.write(job, by=by, words="printed an unsafe tag")
    return tag
