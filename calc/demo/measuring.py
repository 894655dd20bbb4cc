"""What is measured and worked out on the invented shop's jobs, by what the gear is; and the meters it is done with."""

import datetime as dt
from collections.abc import Mapping
from dataclasses import asdict
from random import Random
from typing import Any, Final

from calc import meters, sheets
from calc.demo.pen import Pen
from calc.models import KeptSheet, Meter
from calc.safety import TEST
from calc.worksheets import by_slug
from calc.worksheets.sheet import answer as work_out
from shop.demo import YEARS, Clock
from shop.models import Staff
from shop.roles import Role

METER: Final = "Bench meter 1"
TESTER: Final = "Earth and insulation tester"

# What such instruments' manuals say; common practice, no source.
_SURE: Final = {
    METER: {"V": (0.5, 0.0003), "A": (1.0, 0.00003), "ohm": (0.8, 0.2), "F": (2.0, 2e-9), "Hz": (0.1, 0.01)},
    TESTER: {"ohm": (5.0, 0.01), "A": (2.0, 0.00002)},
}
_LEFT: Final = {METER: 240, TESTER: -24}  # days until their calibration runs out: one is overdue
_YEAR: Final = dt.timedelta(days=365)

# Where, unit, a usual value, how far it strays, decimals. Such gear shows them: common practice, no source.
_MAINS: Final = (("Protective earth to chassis", "ohm", 0.09, 0.05, 2),)
_POINTS: Final = {
    "valve": (
        ("Reservoir, standby off", "V", 458, 14, 0),
        ("Plate, V3", "V", 449, 12, 0),
        ("Plate, V4", "V", 450, 12, 0),
        ("Cathode current, V3", "A", 0.036, 0.003, 4),
    ),
    "hybrid": (("Positive rail", "V", 62.4, 1.5, 1), ("Heater, 6.3 V", "V", 6.28, 0.1, 2)),
    "solid state": (("Positive rail", "V", 41.6, 1.2, 1), ("Negative rail", "V", -41.5, 1.2, 1)),
    "passive": (("Direct-current resistance at the socket", "ohm", 6.4, 0.4, 1),),
}

# As they would be typed. Usual values of such an amplifier: common practice, no source.
IDLE: Final = {
    "stage": "fixed",
    "type": "6L6GC",
    "method": "resistor",
    "plate": "449",
    "sense_ohms": "1",
    "tolerance": "1",
    "screen": "unknown",
    "tube-count": "2",
    "tube-1-sense": "36.2",
    "tube-2-sense": "35.1",
}
SUPPLY: Final = {
    "volts": "335",
    "resistance": "42",
    "primary_volts": "120",
    "frequency": "60",
    "high": "5",
    "circuit": "centre-tap",
    "rectifier": "silicon",
    "reverse": "1500",
    "mean": "1",
    "surge": "30",
    "capacitor": "47",
    "rating": "500",
    "load": "current",
    "load_current": "72",
    "section-count": "2",
    "section-1-kind": "choke",
    "section-1-henries": "5",
    "section-1-series": "120",
    "section-1-capacitor": "22",
    "section-1-rating": "500",
    "section-1-load": "current",
    "section-1-load_current": "8",
    "section-2-kind": "resistor",
    "section-2-series": "10k",
    "section-2-capacitor": "22",
    "section-2-rating": "500",
    "section-2-load": "current",
    "section-2-load_current": "4",
    "safe": "50",
    "what": "nothing",
}
TESTED: Final = {
    "protection": "class-i",
    "looked": "fine",
    "earth": "0.11",
    "cord": "2.5",
    "area": "0.82",
    "insulation_by": "500",
    "insulation": "42",
    "protective_current": "0.31",
    "works": "fine",
}


# For gear with the mark of class II: nothing of it is earthed.
TESTED_CLASS_II: Final = {
    "protection": "class-ii",
    "looked": "fine",
    "insulation_by": "500",
    "insulation": "38",
    "touch_current": "0.06",
    "works": "fine",
}


def load_meters(clock: Clock) -> None:
    """Put two meters on the list on the day on which the shop opens, and have each calibrated every year since."""
    opened, tech = clock.moment, Staff.objects.get(role=Role.BENCH)
    for name, sure in _SURE.items():
        last = (clock.now + dt.timedelta(days=_LEFT[name])).date()
        due = [day for n in range(YEARS, -1, -1) if (day := last - n * _YEAR) > opened.date()]
        known = {"name": name, "accuracies": sure, "by": tech}
        clock.moment = opened
        meter = meters.add(**known, calibrated_on=due[0] - _YEAR, due_on=due[0])
        for day in due[1:]:
            clock.moment = opened + (day - _YEAR - opened.date())
            meters.change(meter, **known, calibrated_on=day - _YEAR, due_on=day)
    clock.moment = opened


class Measuring:
    """What is measured with the shop's two meters. The same boxes are worked out once."""

    def __init__(self) -> None:
        self.meter, self.tester = (Meter.objects.get(name=name) for name in (METER, TESTER))
        self._answers: dict[tuple[Any, ...], dict[str, Any]] = {}

    def readings(self, pen: Pen, when: str, at: dt.datetime) -> None:
        """The readings of a job: one before, all of them after. On some a worksheet is kept too."""
        gear = pen.job.gear
        dice = Random(f"{pen.job.claim}{when}")
        technology = gear.technology or "solid state"
        points = (*_POINTS[technology], *(() if technology == "passive" else _MAINS))
        for place, unit, usual, strays, decimals in points[:1] if when == "before" else points:
            value = usual * 0.82 if when == "before" else usual + dice.uniform(-strays, strays)
            written, powered = f"{value:.{decimals}f}", unit in ("V", "A")
            pen.read(place, written, unit, when=when, meter=self.meter, powered=powered, at=at)
        if technology == "valve" and gear.kind in ("head", "combo"):
            self._worksheets(pen, when, at, dice)

    def _worksheets(self, pen: Pen, when: str, at: dt.datetime, dice: Random) -> None:
        """Idle current before and after on some amplifiers, the supply on a few."""
        chosen = Random(pen.job.claim).random()  # the same before and after
        if chosen < 0.4:
            apart = (51, 30) if when == "before" else (36, 35)
            typed = {f"tube-{n}-sense": str(mv + dice.choice((-1, 0, 1))) for n, mv in enumerate(apart, 1)}
            self.keep(pen, "idle-current", {**IDLE, **typed}, when=when, meter=self.meter, at=at)
        if chosen < 0.15 and when == "after":
            self.keep(pen, "supply", SUPPLY, when=when, meter=self.meter, at=at)

    def test(self, pen: Pen, protection: str, at: dt.datetime) -> KeptSheet:
        """The after-repair test of a piece of gear, passed."""
        dice = Random(f"{pen.job.claim}test")
        return self.keep(pen, TEST, tested(protection, dice), when="after", meter=self.tester, at=at)

    def keep(
        self, pen: Pen, slug: str, typed: Mapping[str, str], *, when: str, meter: Meter, at: dt.datetime
    ) -> KeptSheet:
        """Keep a worksheet as `calc.sheets.keep` does."""
        key = (slug, meter.pk, *sorted(typed.items()))
        if key not in self._answers:
            self._answers[key] = _worked_out(slug, typed, meter)
        return pen.keep(slug, self._answers[key], when=when, meter=meter, at=at)


def tested(protection: str, dice: Random) -> dict[str, str]:
    """What is typed into the after-repair test of gear that passes it."""
    insulation = str(dice.randrange(12, 60, 12))
    if protection == "class-ii":
        return {**TESTED_CLASS_II, "insulation": insulation}
    earth, current = f"{dice.randrange(6, 16, 3) / 100:.2f}", f"{dice.randrange(1, 7, 2) / 10:.1f}"
    return {**TESTED, "insulation": insulation, "earth": earth, "protective_current": current}


def _worked_out(slug: str, typed: Mapping[str, str], meter: Meter) -> dict[str, Any]:
    sheet = by_slug(slug)
    ours = sheets.of_the_shop(sheet)
    said = {**typed, **ours}
    _, answer = work_out(sheet, said, meters.accuracies(meter))
    names = (*sheets.names_of(sheet, said), *ours)
    return {
        "said": {name: said[name] for name in names if said.get(name)},
        "answer": asdict(answer),
        "verdict": answer.verdict,
        "title": sheet.title,
    }
