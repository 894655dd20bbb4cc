"""What went wrong at the invented shop's bench in three years, and what was decided there. Done by the verbs."""

import datetime as dt
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from typing import Final

from django.utils import timezone

from calc import emergency, listing, near_misses, runs, safety, sheets
from calc.checklists import Line
from calc.demo.measuring import TESTED, Measuring
from calc.models import ListRun
from calc.worksheets import by_slug
from intake import work
from intake.models import Gear, Job
from shop.demo import Clock
from shop.models import Staff
from shop.roles import Role

MENDED_IN: Final = dt.timedelta(minutes=40)
_LATELY: Final = dt.timedelta(days=45)
_LAST_YEAR: Final = dt.timedelta(days=400)
_CHANGED: Final = dt.timedelta(days=500)  # after the shop opened

_CARD: Final = {
    "ambulance": "555 0190",
    "fire": "555 0191",
    "poison": "555 0192",
    "doctor": "Harbour Clinic, 2 Lighthouse Hill, 555 0193",
    "call_here": "Wren Adeyemi, 555 0101",
    "address": "Lantern Quay Electronics, 4 Ropewalk, Port Ansley: the green door on the quay side",
    "switch": "The red button beside the door switches the benches off; the main switch is in the hall",
    "extinguisher": "Under the red sign beside bench 2",
    "first_aid": "The white box above the sink",
    "defibrillator": "Harbour master’s office, 60 m to the left",
    "trained": "Wren Adeyemi and Ida Marsh",
}
_NEAR_MISSES: Final = (
    (
        210,
        "Probing the supply of a combo with both hands; the probe slipped and arced to the chassis.",
        "The return lead is clipped on first now. Two clips hang at each bench.",
    ),
    (
        97,
        "A can that had read 2 V read 61 V ten minutes later: it had come back by itself.",
        "The second reading after a minute, and the bleeder stays on while hands are inside.",
    ),
    (
        16,
        "Knocked a hot soldering iron off its stand onto the floor mat. Nobody was hurt.",
        "Heavier stands on both benches.",
    ),
)


class Turns:
    """Each turn happens once, on the first job that it fits."""

    def __init__(self, clock: Clock, measuring: Measuring):
        self.clock, self._measuring = clock, measuring
        self._wren = Staff.objects.get(role=Role.OWNER)
        self._taken: set[str] = set()
        self.changes: dict[int, dict[str, bool]] = {}  # of a job: a list put on it, or taken off

    def _first(self, turn: str, fits: bool, *, within: dt.timedelta = _LATELY) -> bool:
        """Whether a turn is taken now: the first time that it fits, so long before the demo's today at most."""
        if turn in self._taken or not fits or timezone.now() < self.clock.now - within:
            return False
        self._taken.add(turn)
        return True

    @contextmanager
    def at(self, earlier: dt.datetime) -> Iterator[None]:
        """Set the clock back, for what was done before the present moment of the story."""
        moment = self.clock.moment
        self.clock.moment = earlier
        try:
            yield
        finally:
            self.clock.moment = moment

    # --- The shop's

    def hang_up_the_card(self) -> None:
        emergency.change(seen=0, by=self._wren, **_CARD)

    def changed_a_list(self) -> bool:
        """Whether the owner of the shop made a list stricter just now: one day in the second year."""
        late = timezone.now() > self.clock.opened + _CHANGED
        if not self._first("list", late, within=dt.timedelta(days=10_000)):
            return False
        now = listing.current()["soak"]
        more = Line(
            "an-hour",
            "After an hour, knock on the chassis with the soft mallet and listen.",
            "Two amplifiers came back with a cold joint that only a knock found.",
            if_not="It goes back to the bench.",
        )
        *first, still_sound, loose = now.checklist.lines
        lines = (*first, more, still_sound, loose)
        words = "A knock during the soak test: two came back with cold joints."
        listing.change(replace(now.checklist, lines=lines), by=self._wren, words=words, seen=now.number)
        return True

    def tell_near_misses(self) -> None:
        tomas = Staff.objects.get(role=Role.BENCH)
        for days, what, done in _NEAR_MISSES:
            with self.at(self.clock.now - dt.timedelta(days=days)):
                near_misses.write_down(on=timezone.localdate(), what=what, done=done, by=tomas)

    # --- On jobs

    def put_on_or_take_off(self, job: Job, by: Staff) -> None:
        """One list is put on a job that its gear doesn't ask for; one is taken off another."""
        if self._first("put on", _is_amp(job.gear)):
            safety.put_on(job, slug="mould", words="It stood in a cellar; white spots on the tolex.", by=by)
            self.changes[job.pk] = {"mould": True}
        elif self._first("take off", _is_amp(job.gear)):
            words = "Only its plug-in board is changed: nothing on it is soldered here."
            safety.take_off(job, slug="lead-solder", words=words, by=self._wren)
            self.changes[job.pk] = {"lead-solder": False}

    def fails(self, job: Job, began: dt.datetime) -> bool:
        """Whether the earth of this one fails its test; there must be time to mend it and test it again."""
        long_enough = timezone.now() - began > 2 * MENDED_IN
        return self._first("fails", _is_amp(job.gear) and long_enough)

    def fail_mend_and_test_again(self, job: Job, by: Staff) -> None:
        """The after-repair list, stopped by its earth, which is mended and tested again."""
        with self.at(self.clock.moment - MENDED_IN):
            run = runs.begin(job, slug="after-repair", by=by)
            self._done(run, "looked-over", by)
            self._done(run, "fuse", by)
            self._test(job, {**TESTED, "earth": "0.86"}, by)
        with self.at(self.clock.moment - MENDED_IN / 4):
            work.find_fault(
                job,
                fault="Earth wire loose under its nut: 0.86 Ω from pin to chassis",
                cause="Paint under the lug, and no lock washer",
                cure="Paint scraped off, new lug and lock washer fitted, tested again",
                circuit="mains",
                by=by,
            )
            self._test(job, {**TESTED, "earth": "0.08"}, by)
        self._done(run, "works", by)
        runs.sign_off(run, passed=True, by=by)

    def waives(self, job: Job) -> bool:
        """Whether the owner of the shop lets this one go without its soak test."""
        if not self._first("waives", _is_amp(job.gear)):
            return False
        words = "It ran for an hour and held. The band plays tonight; it comes back on Monday for the rest."
        safety.waive(job, slug="soak", words=words, by=self._wren)
        return True

    def is_unsafe(self, job: Job, by: Staff) -> None:
        """Its insulation fails, and its owner doesn't want it repaired: it gets a tag."""
        comes_to_the_counter = job.visit.how != "mail"
        if not self._first("unsafe", _has_mains(job.gear) and comes_to_the_counter, within=_LAST_YEAR):
            return
        words = "Its mains transformer leaks to the chassis: 0.2 MΩ. With a bad earth the strings are live."
        safety.judge_unsafe(job, words=words, by=by)
        safety.print_unsafe_tag(job, by=by)

    def _done(self, run: ListRun, key: str, by: Staff) -> None:
        last = run.marks.order_by("-pk").first()
        runs.sign(run, key=key, outcome="done", seen=last.pk if last else 0, by=by)

    def _test(self, job: Job, said: dict[str, str], by: Staff) -> None:
        tester = self._measuring.tester
        sheets.keep(job, sheet=by_slug(safety.TEST), said=said, when="after", by=by, meter=tester)


def _is_amp(gear: Gear) -> bool:
    return gear.technology == "valve" and gear.kind in ("head", "combo")


def _has_mains(gear: Gear) -> bool:
    return gear.technology != "passive"
