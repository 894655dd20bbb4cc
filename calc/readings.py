"""Readings on a job: what was measured, where, with its unit.

A reading is never changed; a wrong one is struck by a new row.
"""

from typing import Final

import pint
from django.db import transaction

from calc import meters, safety
from calc.checklists.ours import SAFE_VOLTS
from calc.engine.quantities import band, nominal, parse_measured, show, units, with_band
from calc.models import Meter, Reading
from intake.models import Job
from intake.workflow import still_open
from shop import timeline
from shop.errors import NotAllowedYet
from shop.models import Staff

_UNDER_POWER_ONLY: Final = ("A", "W", "VA", "Hz")  # there is none of it without power


def is_usually_live(unit: str) -> bool:
    """Whether a value in this unit is most likely read under power."""
    return unit == "V" or unit in _UNDER_POWER_ONLY


@transaction.atomic
def take(
    job: Job,
    *,
    point: str,
    written: str,
    unit: str,
    when: str,
    by: Staff,
    with_meter: Meter | None = None,
    meter: str = "",
    powered: bool = False,
    on_a_list: bool = False,
    note: str = "",
) -> Reading:
    """Keep a reading as it was written and as it was understood, in `unit` (a key of the engine's `UNITS`).

    `with_meter` is one of the shop's meters; `meter` names another one. `powered` says that the gear was on.
    `on_a_list`: a line of a checklist asks for it, and judges it: what is left after discharging may be too much.

    Raises:
        calc.engine.quantities.QuantityError: the text isn't a value in that unit.
        NotAllowedYet: the job is over; or it is under power, and the job isn't there yet; or it can't be without.
    """
    value = nominal(parse_measured(written, unit))
    job = still_open(job)
    if powered and (why := safety.why_no_power(job)):
        raise safety.NoPowerYet(why)
    if not powered and unit in _UNDER_POWER_ONLY:
        raise NotAllowedYet("That is read under power. Say that the power is on.")
    if unit == "V" and abs(value) > SAFE_VOLTS and not powered and not on_a_list:
        raise NotAllowedYet(
            f"More than {SAFE_VOLTS:g} V with the power off is a charge that can hurt. Discharge it, and write down "
            "what is left on the list that asks for it. If it was read with the power on, say so."
        )
    reading = Reading.objects.create(
        job=job,
        point=point,
        written=written,
        value=value,
        unit=unit,
        when=when,
        with_meter=with_meter,
        meter=with_meter.name if with_meter else meter,
        meter_due_on=with_meter.due_on if with_meter else None,
        powered=powered,
        note=note,
        by=by,
    )
    _tell(reading, "took a reading", by)
    return reading


@transaction.atomic
def strike(reading: Reading, *, by: Staff) -> None:
    """Strike out a reading with a row that names it. Striking twice is striking once."""
    still_open(reading.job)
    if Reading.objects.filter(strikes=reading).exists():
        return
    _again(reading, by=by, strikes=reading)
    _tell(reading, "struck out a reading", by)


@transaction.atomic
def put_back(reading: Reading, *, by: Staff) -> Reading:
    """Undo a strike: write the reading again, as it was, beside the struck one.

    Raises:
        NotAllowedYet: it wasn't struck out, or the same reading stands again.
    """
    job = still_open(reading.job)
    if not Reading.objects.filter(strikes=reading).exists():
        raise NotAllowedYet("This reading was not struck out.")
    if any(same(reading, other) for other in job.readings.standing()):
        raise NotAllowedYet("The same reading stands in the list already.")
    again = _again(reading, by=by)
    _tell(again, "put back a reading", by)
    return again


def same(one: Reading, other: Reading) -> bool:
    """Say whether two readings say the same."""
    return all(
        getattr(one, name) == getattr(other, name)
        for name in ("point", "written", "unit", "when", "meter", "note")
    )


def measured(reading: Reading) -> pint.Quantity:
    """The value with its ±: what was written beside it, else that of the meter it was read off."""
    value = units.Quantity(reading.value, "percent" if reading.unit == "%" else reading.unit)
    if own := band(parse_measured(reading.written, reading.unit)):
        return with_band(value, own)
    return meters.measured(value, reading.unit, reading.with_meter)


def shown(reading: Reading) -> str:
    """The value in engineering notation, with its ± and its unit: 4.70 ± 0.05 kΩ."""
    return show(measured(reading))


def _again(reading: Reading, *, by: Staff, strikes: Reading | None = None) -> Reading:
    fields = (
        "job",
        "point",
        "written",
        "value",
        "unit",
        "when",
        "with_meter",
        "meter",
        "meter_due_on",
        "powered",
        "note",
    )
    return Reading.objects.create(**{name: getattr(reading, name) for name in fields}, by=by, strikes=strikes)


def _tell(reading: Reading, words: str, by: Staff) -> None:
    said = f"{shown(reading)} ({reading.get_when_display().lower()})"
    timeline.write(reading.job, by=by, words=words, after={reading.point: said})
