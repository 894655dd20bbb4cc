"""The shop's meters: how sure each is, when its calibration runs out, and whether it is in use.

A meter is never deleted: worksheets were kept with it.
"""

import datetime as dt
from collections.abc import Mapping
from enum import StrEnum
from typing import Final

import pint
from django.db import transaction
from django.db.models import F, OuterRef, Subquery
from django.utils import timezone

from calc import on_hand
from calc.engine.quantities import UNITS, band, nominal, show, units, with_band
from calc.models import Accuracy, Meter, Reading
from calc.worksheets.sheet import Accuracies
from shop import timeline
from shop.errors import NotAllowedYet
from shop.models import Staff

SOON: Final = 30  # days before a calibration runs out in which the page says so

Sureness = Mapping[str, tuple[float, float]]  # a unit to per cent of the reading, and what is always there


class Calibration(StrEnum):
    """How it stands with a meter's calibration. The page shows each by word, shape and colour."""

    FINE = "fine"
    SOON = "soon"
    OVERDUE = "overdue"
    UNKNOWN = "unknown"  # no day is written down


def calibration(due_on: dt.date | None, today: dt.date) -> Calibration:
    """Say how it stands with a calibration that runs out after a day. On that day it still holds."""
    if due_on is None:
        return Calibration.UNKNOWN
    if due_on < today:
        return Calibration.OVERDUE
    return Calibration.SOON if due_on <= today + dt.timedelta(days=SOON) else Calibration.FINE


def in_use() -> list[Meter]:
    """The meters that are in use, the one that was read last first. One query."""
    last = Reading.objects.filter(with_meter=OuterRef("pk")).order_by("-pk").values("pk")[:1]
    return list(
        Meter.objects.filter(is_here=True)
        .annotate(last_read=Subquery(last))
        .order_by(F("last_read").desc(nulls_last=True), "name")
    )


def is_due(meter: Meter) -> bool:
    """Whether its calibration has run out by today."""
    return calibration(meter.due_on, timezone.localdate()) is Calibration.OVERDUE


def accuracies(meter: Meter | None) -> Accuracies:
    """How sure a meter is, by unit."""
    if meter is None:
        return {}
    return {each.unit: (each.percent, each.always) for each in meter.accuracies.all()}


def measured(value: pint.Quantity, unit: str, meter: Meter | None) -> pint.Quantity:
    """A value with the ± of the meter that it was read off, where it has none of its own."""
    sure = accuracies(meter).get(unit)
    if sure is None or band(value):
        return value
    percent, always = sure
    return with_band(value, abs(nominal(value)) * percent / 100 + always)


@transaction.atomic
def add(
    *, name: str, calibrated_on: dt.date | None, due_on: dt.date | None, accuracies: Sureness, by: Staff
) -> Meter:
    """Put a meter on the list."""
    meter = Meter.objects.create(name=name, calibrated_on=calibrated_on, due_on=due_on)
    _write_down(meter, accuracies)
    timeline.write(meter, by=by, words="put this meter on the list", after=_facts(meter))
    return meter


@transaction.atomic
def change(
    meter: Meter,
    *,
    name: str,
    calibrated_on: dt.date | None,
    due_on: dt.date | None,
    accuracies: Sureness,
    by: Staff,
) -> None:
    """Change what is known of a meter; nothing is written where nothing differs.

    What was kept with it stays as it was worked out.
    """
    before = _facts(Meter.objects.get(pk=meter.pk))
    meter.name, meter.calibrated_on, meter.due_on = name, calibrated_on, due_on
    meter.save(update_fields=["name", "calibrated_on", "due_on"])
    meter.accuracies.all().delete()
    _write_down(meter, accuracies)
    after = _facts(Meter.objects.get(pk=meter.pk))
    if before != after:
        timeline.write(meter, by=by, words="changed this meter", before=before, after=after)


@transaction.atomic
def put_away(meter: Meter, *, by: Staff) -> None:
    """Take a meter out of use: no worksheet offers it any more. Twice is once."""
    if Meter.objects.filter(pk=meter.pk, is_here=True).update(is_here=False):
        timeline.write(meter, by=by, words="took this meter out of use")


@transaction.atomic
def bring_back(meter: Meter, *, by: Staff) -> None:
    """Put a meter back in use. Twice is once.

    Raises:
        NotAllowedYet: it is in somebody else's hands.
    """
    held = Meter.objects.select_for_update().get(pk=meter.pk)
    if elsewhere := on_hand.where(held):
        raise NotAllowedYet(
            f"{held.name} is {elsewhere.words}. Write it down as back; then it is in use again."
        )
    if Meter.objects.filter(pk=meter.pk, is_here=False).update(is_here=True):
        timeline.write(meter, by=by, words="put this meter back in use")


def sure(accuracy: Accuracy) -> str:
    """How sure a meter is of one unit, in words: 0.5 % and 300 mV."""
    per_cent = f"{accuracy.percent:g} %" if accuracy.percent else ""
    always = always_text(accuracy.always, accuracy.unit) if accuracy.always else ""
    if accuracy.unit == "%" and per_cent:
        per_cent += " of the reading"
    return " and ".join(each for each in (per_cent, always) if each)


def always_text(value: float, unit: str) -> str:
    """A value of a unit as somebody would type it: 300 mV, 1 nF."""
    shown = show(units.Quantity(value, "percent" if unit == "%" else unit), 6)
    number, _, sign = shown.partition(" ")
    return f"{number.rstrip('0').rstrip('.') if '.' in number else number} {sign}".strip()


def _write_down(meter: Meter, accuracies: Sureness) -> None:
    Accuracy.objects.bulk_create(
        Accuracy(meter=meter, unit=unit, percent=percent, always=always)
        for unit, (percent, always) in accuracies.items()
    )


def _facts(meter: Meter) -> dict[str, str]:
    return {
        "name": meter.name,
        "calibrated on": str(meter.calibrated_on or ""),
        "calibration due": str(meter.due_on or ""),
        **{UNITS[each.unit].name: sure(each) for each in meter.accuracies.all()},
    }
