"""How the invented shop keeps its work safe: how gear is built, and the lists that are run on every job."""

import datetime as dt
from collections.abc import Iterable, Mapping
from random import Random
from typing import Final

from django.utils import timezone

from calc import listing, safety
from calc.checklists import Ask, Line, Stage
from calc.checklists.judging import Outcome, Signed, judge_reading
from calc.checklists.lines import HOLDS_READY
from calc.demo.measuring import Measuring, load_meters
from calc.demo.pen import Pen
from calc.demo.turns import MENDED_IN, Turns
from calc.engine.quantities import parse_measured
from calc.listing import Current
from calc.models import GearBuild, ListRun
from intake.demo.plans import when_open
from intake.models import Gear, Job
from shop import timeline
from shop.demo import Clock
from shop.models import Staff

_STEP: Final = dt.timedelta(seconds=90)  # what a line takes
_SETTLES: Final = dt.timedelta(minutes=10)  # before the first reading of a soak test

# By the gear's kind: how it is built and what it holds. Such gear is: common practice, no source.
_BUILT: Final = {
    ("head", "valve"): ("class-i", ("lead-solder",)),
    ("combo", "valve"): ("class-i", ("lead-solder", "lamp-opto")),
    ("head", "hybrid"): ("class-i", ("lead-solder", "old-materials")),
    ("combo", "solid state"): ("class-i", ()),
    ("echo", "solid state"): ("class-ii", ("tape-motor", "lead-solder")),
    ("keyboard", "solid state"): ("class-i", ("lead-solder",)),
}
# By the key of a line: a usual value, how far it strays, decimals. Such gear shows them: common practice, no source.
_USUAL: Final = {
    "discharged": (3.4, 2.6, 1),
    "other-sections": (2.2, 1.8, 1),
    "discharged-again": (4.8, 3.9, 1),
    "heaters": (6.3, 0.1, 2),
    "current": (0.62, 0.2, 2),
    "bias": (-38, 2, 0),
    "idle": (0.036, 0.002, 4),
    "bond": (0.11, 0.04, 2),
    "run-capacitor": (1.6, 1.2, 1),
}
_SUPPLY: Final = {"valve": (458, 9, 0), "hybrid": (62.4, 0.9, 1), "solid state": (41.6, 0.8, 1)}
_ON_NONE: Final = ("isolated", "line-capacitor", "two-wire", "charge", "droppings")
_ON_VALVES: Final = ("heaters", "bias", "other-sections")
_ON_AMPS: Final = ("load", "idle")
_ON_CLASS_I: Final = ("earth-bolt", "bond", "all-metal", "motor-earth")


_STAGES: Final = {
    "before": (Stage.BEFORE_OPENING, Stage.BEFORE_POWER, Stage.FIRST_POWER, Stage.HANDLING),
    "after": tuple(stage for stage in Stage if stage is not Stage.SOAK),  # what hasn't been run yet
    "soaked": (Stage.SOAK,),
}


class Bench:
    """The invented shop's bench. `load` sets it up, `at_bench` is called while each job is there."""

    def load(self, clock: Clock) -> None:
        """Before the first job: the meters, and what hangs on the wall."""
        self._builds: dict[int, GearBuild | None] = {}
        self._ran: dict[tuple[int, dt.datetime], set[str]] = {}  # on a job, since it came onto the bench
        load_meters(clock)
        self._measuring = Measuring()
        self._turns = Turns(clock, self._measuring)
        self._turns.hang_up_the_card()
        self._lists = listing.current()

    def look_back(self, clock: Clock) -> None:
        """After the last job: what nearly happened."""
        self._turns.tell_near_misses()

    def at_bench(self, job: Job, by: Staff, when: str) -> None:
        """Run the lists that are due on a job, and measure it: "before" or "after" its repair.

        "soaked" is after its soak test, "as it is" when its owner said no to a repair.
        """
        if when == "as it is":
            self._turns.is_unsafe(job, by)
            return
        if self._turns.changed_a_list():
            self._lists = listing.current()
        began = job.state_since if when == "soaked" else timeline.of(job).first().at
        with self._turns.at(began):
            build = self._built(job, by)
            if when == "before":
                self._turns.put_on_or_take_off(job, by)
        if when == "soaked" and self._turns.waives(job):
            return
        fails = when == "after" and self._turns.fails(job, began)
        due = self._due(job, build, when, fails)
        until = timezone.now() - MENDED_IN if fails else timezone.now()
        pen = Pen(job, by)
        self._run(pen, due, build, when, began, until)
        pen.put_down()
        if fails:
            self._turns.fail_mend_and_test_again(job, by)

    # --- How it is built, and what follows

    def _built(self, job: Job, by: Staff) -> GearBuild | None:
        """How a piece of gear is built, written down when it is first on the bench."""
        gear = job.gear
        if gear.pk not in self._builds:
            known = _BUILT.get((gear.kind, gear.technology))
            self._builds[gear.pk] = known and self._describe(job, by, *known)
        return self._builds[gear.pk]

    def _describe(self, job: Job, by: Staff, protection: str, contains: Iterable[str]) -> GearBuild:
        build = GearBuild(
            gear=job.gear, protection=protection, line_volts="120 V", contains=sorted(contains), by=by
        )
        build.save(force_insert=True)
        said = {"Protection": build.get_protection_display(), "Line voltage": build.line_volts}
        timeline.write(job, by=by, words="wrote down how it is built", after=said)
        return build

    def _due(self, job: Job, build: GearBuild | None, when: str, fails: bool) -> list[Current]:
        """The lists that are to be run now, as they are written down, in the order of the work."""
        things, changes = safety.has(job.gear, build), self._turns.changes.get(job.pk, {})
        ran = self._ran.setdefault((job.pk, job.state_since), set())
        due = [
            slug
            for slug, each in self._lists.items()
            if changes.get(slug, each.checklist.needed_by(things))
            and slug not in ran
            and each.checklist.stage in _STAGES[when]
            and not (fails and each.checklist.stage is Stage.AFTER_REPAIR)
        ]
        ran.update(due)
        return [self._written_down(slug) for slug in due]

    def _written_down(self, slug: str) -> Current:
        if self._lists[slug].row is None:
            listing.written_down(slug)
            self._lists = listing.current()
        return self._lists[slug]

    # --- Running them

    def _run(
        self,
        pen: Pen,
        due: list[Current],
        build: GearBuild | None,
        when: str,
        began: dt.datetime,
        until: dt.datetime,
    ) -> None:
        """Run lists one after another, each line a minute or so after the one above it, and measure between them."""
        lines = [line for each in due for line in each.checklist.lines]
        waits = sum((dt.timedelta(seconds=line.wait) for line in lines), dt.timedelta(0))
        if when == "soaked":
            began, until = _soaks(began, len(lines) * _STEP + waits, until)
        step = min(_STEP, (until - began - waits) / (len(lines) + 1))
        at, is_measured = max(began, until - waits - step * (len(lines) + 1)), when == "soaked"
        for each in due:
            if each.checklist.stage is Stage.AFTER_REPAIR and not is_measured:
                self._measuring.readings(pen, when, at)
                is_measured = True
            at = self._run_one(pen, each, build, at, step)
        if not is_measured:
            self._measuring.readings(pen, when, at)

    def _run_one(
        self, pen: Pen, current: Current, build: GearBuild | None, at: dt.datetime, step: dt.timedelta
    ) -> dt.datetime:
        """Run a list. Return when it was signed."""
        checklist = current.checklist
        run, signed = pen.begin(current.row, at), {}
        dice = Random(f"{pen.job.claim}{checklist.slug}")
        for line in checklist.lines:
            since = signed[line.since].at if line.since else run.at
            at = max(at + step, since + dt.timedelta(seconds=line.wait))
            signed[line.key] = self._sign(pen, run, line, build, at, signed, dice)
        pen.sign(run, at)
        return at

    def _sign(
        self,
        pen: Pen,
        run: ListRun,
        line: Line,
        build: GearBuild | None,
        at: dt.datetime,
        signed: Mapping[str, Signed],
        dice: Random,
    ) -> Signed:
        if line.may_not_apply and _is_not_here(line.key, pen.job.gear, build):
            pen.mark(run, line.key, Outcome.NOT_HERE, at, said="Not on this gear.")
            return Signed(Outcome.NOT_HERE, at)
        value = None
        if line.ask is Ask.READING:
            after = run.version.stage in HOLDS_READY
            written = _written(line, pen.job.gear, signed, dice)
            reading = pen.read(
                line.point,
                written,
                line.unit,
                when="after" if after else "before",
                meter=self._measuring.meter,
                powered=line.powered,
                at=at,
            )
            value = reading.value
            outcome, said = judge_reading(line, parse_measured(written, line.unit), signed)
            assert outcome is Outcome.DONE, said
            pen.mark(run, line.key, outcome, at, said=said, reading=reading)
        elif line.ask is Ask.SHEET:
            kept = self._measuring.test(pen, build.protection, at)
            pen.mark(run, line.key, Outcome.DONE, at, said=kept.answer["said"][:300], sheet=kept)
        else:
            pen.mark(run, line.key, Outcome.DONE, at)
        return Signed(Outcome.DONE, at, value)


def _soaks(since: dt.datetime, takes: dt.timedelta, until: dt.datetime) -> tuple[dt.datetime, dt.datetime]:
    """From when to when it soaks: the shop is open when it ends, where there is time for that."""
    began = since + _SETTLES
    opens = when_open(began + takes)
    if opens != began + takes and opens + takes < until:
        began = opens
    return began, began + takes + _STEP


def _is_not_here(key: str, gear: Gear, build: GearBuild | None) -> bool:
    return (
        key in _ON_NONE
        or (key in _ON_VALVES and gear.technology != "valve")
        or (key in _ON_AMPS and gear.kind not in ("head", "combo"))
        or (key in _ON_CLASS_I and build is not None and build.protection != "class-i")
    )


def _written(line: Line, gear: Gear, signed: Mapping[str, Signed], dice: Random) -> str:
    """What a meter shows where a line asks for a reading."""
    usual, strays, decimals = _USUAL.get(line.key) or _SUPPLY[gear.technology]
    if line.drift_of:
        usual, strays = signed[line.drift_of].value, strays / 4
    return f"{usual + dice.randint(-2, 2) / 2 * strays:.{decimals}f}"
