"""What is measured on the invented shop's jobs: before and after the repair, by what the gear is."""

from random import Random
from typing import Final

from calc import readings
from intake.models import Job
from shop.models import Staff

METER: Final = "Bench meter 1"

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


def measure(job: Job, by: Staff, when: str) -> None:
    """Take the readings of a job: one before, all of them after."""
    dice = Random(f"{job.claim}{when}")
    technology = job.gear.technology or "solid state"
    points = (*_POINTS[technology], *(() if technology == "passive" else _MAINS))
    for place, unit, usual, strays, decimals in points[:1] if when == "before" else points:
        value = usual * 0.82 if when == "before" else usual + dice.uniform(-strays, strays)
        readings.take(
            job, point=place, written=f"{value:.{decimals}f}", unit=unit, when=when, by=by, meter=METER
        )
