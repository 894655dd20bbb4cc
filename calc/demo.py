"""What is measured and worked out on the invented shop's jobs, by what the gear is; and the meters it is done with."""

import datetime as dt
from random import Random
from typing import Final

from calc import meters, readings, sheets
from calc.models import Meter
from calc.worksheets import by_slug
from intake.models import Job
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
_LEFT: Final = {METER: 240, TESTER: -9}  # days until their calibration runs out: one is overdue
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


def measure(job: Job, by: Staff, when: str) -> None:
    """Take the readings of a job: one before, all of them after. On some a worksheet is kept too."""
    dice = Random(f"{job.claim}{when}")
    technology = job.gear.technology or "solid state"
    points = (*_POINTS[technology], *(() if technology == "passive" else _MAINS))
    for place, unit, usual, strays, decimals in points[:1] if when == "before" else points:
        value = usual * 0.82 if when == "before" else usual + dice.uniform(-strays, strays)
        readings.take(
            job, point=place, written=f"{value:.{decimals}f}", unit=unit, when=when, by=by, meter=METER
        )
    _keep_worksheets(job, by, when, dice)


def _keep_worksheets(job: Job, by: Staff, when: str, dice: Random) -> None:
    """Idle current before and after on some valve amplifiers, the supply on a few; the last test on half of all."""
    chosen = Random(job.claim).random()  # the same before and after
    if job.gear.technology == "valve" and job.gear.kind in ("head", "combo"):
        if chosen < 0.4:
            apart = (51, 30) if when == "before" else (36, 35)
            typed = {f"tube-{n}-sense": f"{mv + dice.uniform(-2, 2):.1f}" for n, mv in enumerate(apart, 1)}
            _keep(job, by, when, "idle-current", {**IDLE, **typed}, METER)
        if chosen < 0.15 and when == "after":
            _keep(job, by, when, "supply", SUPPLY, METER)
    if when == "after" and job.gear.technology != "passive" and chosen < 0.5:
        typed = {
            "earth": f"{dice.uniform(0.06, 0.16):.2f}",
            "insulation": f"{dice.uniform(12, 60):.0f}",
            "protective_current": f"{dice.uniform(0.1, 0.7):.2f}",
        }
        _keep(job, by, when, "after-repair-test", {**TESTED, **typed}, TESTER)


def _keep(job: Job, by: Staff, when: str, slug: str, said: dict[str, str], meter: str) -> None:
    sheets.keep(
        job, sheet=by_slug(slug), said=said, when=when, by=by, meter=Meter.objects.filter(name=meter).first()
    )
