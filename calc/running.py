"""How the pages of a job show its lists: each row, what comes next, and what was signed."""

import datetime as dt
from dataclasses import dataclass
from typing import Final

from django.utils import timezone

from calc import listing, safety
from calc.checklists import Ask, Checklist, Line
from calc.checklists.judging import CLOSED, Stand
from calc.checklists.lines import HOLDS_READY
from calc.models import GearBuild, ListRun, Mark
from calc.safety import JobLists, OnJob, Standing
from intake.models import Job, State

AT_WORK: Final = (State.ON_THE_BENCH, State.SOAK_TEST)  # where what is signed counts for ready
NOT_RIGHT: Final = ("It is damaged", "It can’t be done now", "I’m not sure of it")

_STRUCK: Final = "What it rests on was struck out."
_ACTS: Final = {
    Standing.TO_DO: "Begin",
    Standing.BEGUN: "Go on with",
    Standing.STOPPED: "Go on with",
    Standing.TO_SIGN: "Sign",
    Standing.FAILED: "Begin again",
}


@dataclass(frozen=True)
class ListRow:
    """A list on a job's page. `act` is the word on its button, empty where nothing is to be done."""

    on_job: OnJob
    act: str

    @property
    def slug(self) -> str:
        return self.on_job.checklist.slug

    @property
    def name(self) -> str:
        return self.on_job.checklist.name

    @property
    def standing(self) -> str:
        return self.on_job.standing.value

    @property
    def tapped(self) -> str:
        """The word on its small button: also where nothing is to be done, it can be done."""
        return self.act or ("Do it after all" if self.standing == Standing.WAIVED else "Do again")

    @property
    def stopped_by(self) -> Line | None:
        return (
            self.on_job.stand.stopped_by if self.on_job.stand and self.standing == Standing.STOPPED else None
        )

    @property
    def closed(self) -> int:
        return self.on_job.stand.closed if self.on_job.stand else 0

    @property
    def of(self) -> int:
        return len(self.on_job.checklist.lines)

    @property
    def can_be_waived(self) -> bool:
        return self.on_job.checklist.stage in HOLDS_READY and self.on_job.standing not in safety.OPENS

    @property
    def can_be_taken_off(self) -> bool:
        return not self.on_job.checklist.gates or self.on_job.was_put_on

    @property
    def open_run(self) -> ListRun | None:
        """Its run, where that isn't signed off yet."""
        run = self.on_job.run
        return None if run is None or hasattr(run, "sign_off") else run


def rows_of(lists: JobLists) -> list[ListRow]:
    """The lists of a job in the order of the work."""
    return [ListRow(each, _ACTS.get(each.standing, "")) for each in lists.lists]


def next_row(rows: list[ListRow]) -> ListRow | None:
    """The list to begin or go on with: the first that isn't through."""
    return next((row for row in rows if row.act), None)


def is_at_work(job: Job) -> bool:
    """Whether a job is where its lists are done: what is signed before it comes onto the bench won't count."""
    return job.state in AT_WORK


@dataclass(frozen=True)
class SignedLine:
    """A line that was signed: its mark that counts, and those that it corrects, the oldest first."""

    line: Line
    mark: Mark
    corrected: tuple[Mark, ...]
    why_not: str  # why the mark counts no more

    @property
    def is_closed(self) -> bool:
        return not self.why_not and self.mark.outcome in CLOSED


@dataclass(frozen=True)
class ShownRun:
    """A run on its page: what was signed, the line that is shown large, what comes after it."""

    run: ListRun
    checklist: Checklist
    stand: Stand
    signed: tuple[SignedLine, ...]
    line: Line | None  # the one that can be signed here
    again: bool  # it is signed already: this corrects it
    last: SignedLine | None  # what was signed on it
    to_come: tuple[Line, ...]
    seen: int  # the run's last mark

    @property
    def is_signed_off(self) -> bool:
        return hasattr(self.run, "sign_off")

    @property
    def number(self) -> int:
        """The place of the shown line in its list, from 1."""
        return self.checklist.lines.index(self.line) + 1 if self.line else len(self.checklist.lines)

    @property
    def waits_until(self) -> dt.datetime | None:
        """Until when the shown line has to wait; None where it needn't any more."""
        until = self.stand.wait_until
        if self.again or until is None or until <= timezone.now():
            return None
        return until

    @property
    def not_right(self) -> tuple[str, ...]:
        """The reasons that one tap gives for a line that isn't right, the line's own first."""
        return (default_reason(self.line), *NOT_RIGHT) if self.line and self.line.ask is Ask.LOOK else ()


def default_reason(line: Line) -> str:
    """What stands for a reason where nobody gave one."""
    return f"Not so: {line.text}"[:300]


def show_run(run: ListRun, build: GearBuild | None, *, key: str = "") -> ShownRun:
    """A run as its page shows it. `key` names a line that is to be signed again; others than those are passed over."""
    checklist = listing.as_value(run.version)
    stand = safety.stand_of(run, build)
    marks = list(run.marks.all())
    signed = signed_lines(checklist, marks, build)
    by_key = {each.line.key: each for each in signed}
    order = [line.key for line in checklist.lines]
    upto = order.index(stand.next.key) if stand.next else len(order) - 1
    again = key in by_key and order.index(key) <= upto and (stand.next is None or key != stand.next.key)
    line = checklist.line(key) if again else stand.next
    is_over = hasattr(run, "sign_off")
    return ShownRun(
        run=run,
        checklist=checklist,
        stand=stand,
        signed=tuple(each for each in signed if order.index(each.line.key) <= upto),
        line=None if is_over else line,
        again=again,
        last=by_key.get(line.key) if line else None,
        to_come=checklist.lines[upto + 1 :],
        seen=marks[-1].pk if marks else 0,
    )


def signed_lines(checklist: Checklist, marks: list[Mark], build: GearBuild | None) -> list[SignedLine]:
    """The lines of a list that were signed, in its order."""
    of_line: dict[str, list[Mark]] = {}
    for mark in marks:
        of_line.setdefault(mark.key, []).append(mark)
    return [
        SignedLine(
            line, of_line[line.key][-1], tuple(of_line[line.key][:-1]), _why_not(of_line[line.key][-1], build)
        )
        for line in checklist.lines
        if line.key in of_line
    ]


def _why_not(mark: Mark, build: GearBuild | None) -> str:
    if safety.mark_stands(mark, build):
        return ""
    return safety.for_other_gear(mark.sheet, build) if mark.sheet and not safety.was_struck(mark) else _STRUCK
