"""The shop's own bench gear: written down, changed, lent out and back, out of use and in again.

A meter is calc's `Meter`, and stays one. It gets a row here when it is lent for the first time; while it is away no
worksheet offers it.
"""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from django.db import transaction
from django.db.models import Q, QuerySet
from django.urls import reverse
from django.utils import timezone

from calc import meters
from calc.models import Meter
from calc.on_hand import Elsewhere
from inventory.models import BenchGear, Loan
from shop import timeline
from shop.errors import NotAllowedYet
from shop.models import Staff

FACTS: Final = ("kind", "name", "impedance", "second_impedance", "watts", "note")


@dataclass(frozen=True)
class Load:
    """A test load that is here: ohms and watts."""

    name: str
    impedance: float
    watts: float


@transaction.atomic
def add(*, by: Staff, **facts: Any) -> BenchGear:
    """Put a thing on the list. `facts` are the columns named in `FACTS`."""
    gear = BenchGear.objects.create(**facts)
    timeline.write(gear, by=by, words="put this on the list of bench gear", after=_told(gear))
    return gear


@transaction.atomic
def change(gear: BenchGear, *, by: Staff, **facts: Any) -> None:
    """Change what is known of a thing; nothing is written where nothing differs."""
    now = BenchGear.objects.select_for_update().get(pk=gear.pk)
    before = _told(now)
    for name, value in facts.items():
        setattr(now, name, value)
    after = _told(now)
    if before != after:
        now.revision += 1
        now.save(update_fields=[*facts, "revision"])
        timeline.write(now, by=by, words="changed this", before=before, after=after)


@transaction.atomic
def put_away(gear: BenchGear, *, by: Staff) -> None:
    """Take a thing out of use: it is offered nowhere any more. Twice is once."""
    if BenchGear.objects.filter(pk=gear.pk, is_in_use=True).update(is_in_use=False):
        timeline.write(gear, by=by, words="took this out of use")


@transaction.atomic
def bring_back(gear: BenchGear, *, by: Staff) -> None:
    """Put a thing back in use. Twice is once."""
    if BenchGear.objects.filter(pk=gear.pk, is_in_use=False).update(is_in_use=True):
        timeline.write(gear, by=by, words="put this back in use")


def row_of(meter: Meter) -> BenchGear | None:
    """The row by which a meter is lent, if it ever was."""
    return BenchGear.objects.filter(meter=meter).first()


def where(meter: Meter) -> Elsewhere | None:
    """In whose hands a meter is, if it is lent."""
    loan = Loan.objects.filter(gear__meter=meter, back_at__isnull=True).first()
    return Elsewhere(f"lent to {loan.to_whom}", f"{reverse('bench-gear')}#lent") if loan else None


@transaction.atomic
def lend_meter(meter: Meter, *, to_whom: str, due_on: dt.date | None, by: Staff) -> Loan:
    """Lend a meter; no worksheet offers it until it is back.

    Raises:
        NotAllowedYet: it is out of use, or lent already, or something else bears its name.
    """
    meter = Meter.objects.select_for_update().get(pk=meter.pk)
    gear = row_of(meter)
    if gear is None:
        if BenchGear.objects.filter(name=meter.name).exists():
            raise NotAllowedYet(f"Something else is called {meter.name} too. Give one of them another name.")
        gear = BenchGear.objects.create(kind=BenchGear.Kind.METER, name=meter.name, meter=meter)
    loan = lend(gear, to_whom=to_whom, due_on=due_on, by=by)
    meters.put_away(meter, by=by)
    return loan


@transaction.atomic
def lend(gear: BenchGear, *, to_whom: str, due_on: dt.date | None, by: Staff) -> Loan:
    """Write down in whose hands a thing is.

    Raises:
        NotAllowedYet: it is out of use, or lent already.
    """
    gear = BenchGear.objects.select_for_update(of=("self",)).select_related("meter").get(pk=gear.pk)
    away = open_loan(gear)
    if away is not None:
        raise NotAllowedYet(f"{gear} is lent to {away.to_whom}. Write it down as back first.")
    if not (gear.meter.is_here if gear.meter else gear.is_in_use):
        raise NotAllowedYet(f"{gear} is out of use. Put it back in use first.")
    loan = Loan.objects.create(gear=gear, to_whom=to_whom, due_on=due_on, by=by)
    timeline.write(gear, by=by, words="lent this", after={"to": to_whom, "back by": due_on or ""})
    return loan


@transaction.atomic
def take_back(loan: Loan, *, by: Staff) -> None:
    """Write down that a thing is back. Twice is once. A meter is offered to the worksheets again."""
    loan = Loan.objects.select_for_update(of=("self",)).select_related("gear__meter").get(pk=loan.pk)
    if loan.back_at is not None:
        return
    loan.back_at, loan.back_by = timezone.now(), by
    loan.save(update_fields=["back_at", "back_by"])
    timeline.write(loan.gear, by=by, words="wrote this down as back", before={"lent to": loan.to_whom})
    if loan.gear.meter:
        meters.bring_back(loan.gear.meter, by=by)


def open_loan(gear: BenchGear) -> Loan | None:
    """In whose hands a thing is, if it isn't here."""
    return gear.loans.filter(back_at__isnull=True).first()


def open_loans() -> QuerySet[Loan]:
    """What is away, longest first."""
    return (
        Loan.objects.filter(back_at__isnull=True).select_related("gear__meter", "by").order_by("out_at", "pk")
    )


def loads_here() -> list[Load]:
    """The test loads that are in use and in the house, of which ohms and watts are known."""
    here = (
        BenchGear.objects.filter(kind=BenchGear.Kind.LOAD, is_in_use=True)
        .exclude(Q(impedance=None) | Q(watts=None))
        .exclude(pk__in=Loan.objects.filter(back_at__isnull=True).values("gear"))
        .order_by("impedance", "-watts", "name")
    )
    return [Load(load.name, load.impedance, load.watts) for load in here]


def speaker_loads_boxes() -> Mapping[str, str]:
    """What the worksheet of speaker loads has in its boxes for test loads, as somebody would type it."""
    from calc.engine.loads import MOST_LOADS
    from calc.worksheets.sheet import count_name, row_name
    from calc.worksheets.speaker_loads import SHEET

    rows = next(group.rows for group in SHEET.groups if group.rows and group.rows.name == "load")
    here = loads_here()[:MOST_LOADS]
    if not here:
        return {}
    said = {count_name(rows): str(len(here))}
    for number, load in enumerate(here, 1):
        texts = {"name": load.name, "impedance": f"{load.impedance:.10g}", "rating": f"{load.watts:.10g}"}
        said |= {row_name(rows, number, box): texts[box.name] for box in rows.boxes}
    return said


def _told(gear: BenchGear) -> dict[str, str]:
    """What the timeline says of a thing."""
    texts: dict[str, str] = {}
    for name in FACTS:
        value = getattr(gear, name)
        if isinstance(value, float):
            value = meters.always_text(value, "W" if name == "watts" else "ohm")
        texts[str(BenchGear._meta.get_field(name).verbose_name).split(",")[0]] = str(value or "")
    return texts
