"""A stock that has grown old, in bulk rows: for measuring. Its ledger adds up, as the verbs would have left it."""

import datetime as dt
from collections.abc import Iterator
from decimal import Decimal
from itertools import cycle, product
from random import Random
from typing import Any, Final

from django.db import transaction
from django.utils import timezone

from calc.engine.eseries import SERIES
from intake.models import Job
from inventory import values
from inventory.models import Drawer, Move, Offer, Part, Supplier
from shop.models import Staff

PARTS_OF_A_JOB: Final = 5
DAYS: Final = 12 * 365  # 25,000 moves a year: several benches, all day
_BATCH: Final = 2000  # rows in one statement: SQLite has a limit of variables


@transaction.atomic
def stock_crowd(parts: int = 5_000, moves: int = 300_000, *, seed: int = 5) -> None:
    """So many parts in drawers, each with a supplier, and so many moves among them, a third of the parts busy."""
    dice, by = Random(seed), Staff.objects.first()
    drawers = Drawer.objects.bulk_create(Drawer(code=f"Z{seed}-{n}") for n in range(parts // 12 + 1))
    suppliers = Supplier.objects.bulk_create(Supplier(name=f"Pier Parts {seed}.{n}") for n in range(5))
    kept = Part.objects.bulk_create(_parts(dice, parts, drawers), batch_size=900)
    Offer.objects.bulk_create(
        (
            Offer(part=part, supplier=dice.choice(suppliers), pack=10, price=part.cost * 10, is_first=True)
            for part in kept
        ),
        batch_size=_BATCH,
    )
    jobs = list(Job.objects.values_list("pk", flat=True)) * PARTS_OF_A_JOB
    dice.shuffle(jobs)
    rows = _moves(dice, kept, moves, jobs, by)
    while batch := [move for _, move in zip(range(20_000), rows, strict=False)]:
        Move.objects.bulk_create(batch, batch_size=_BATCH)
    Part.objects.bulk_update(kept, ["quantity"], batch_size=300)


def _parts(dice: Random, count: int, drawers: list[Drawer]) -> Iterator[Part]:
    sizes: dict[str, Any] = {
        "capacitor": cycle(product(_decades(1e-9, 6), (63, 450, 630), ("axial", "radial", "snap-in"))),
        "resistor": cycle(product(_decades(1, 7), (0.25, 0.5, 1, 3), ("axial",))),
    }
    for number in range(count):
        kind = dice.choice(("capacitor", "capacitor", "resistor", "resistor", "resistor", "tube", "hardware"))
        part = Part(
            kind=kind,
            name=f"{kind} {number}",
            drawer=dice.choice(drawers),
            cost=Decimal(dice.randint(2, 900)) / 100,
            keep=dice.choice((None, 4, 10)),
        )
        if kind in sizes:
            value, rating, part.leads = next(sizes[kind])
            part.value = value
            if kind == "capacitor":
                part.volts, part.technology = rating, dice.choice(("film", "electrolytic"))
            else:
                part.watts, part.technology = rating, "metal film"
            part.tolerance = dice.choice((1, 5, 10))
        elif kind == "tube":
            part.designation = dice.choice(("12AX7", "EL34", "6L6GC", "12AT7", "6V6GT"))
            part.make = f"Make {number % 40}"
        part.search = values.search_text(part)
        yield part


def _decades(first: float, many: int) -> list[float]:
    """The values of E24 from `first` on."""
    return [figures / 100 * first * 10**decade for decade in range(many) for figures in SERIES["E24"]]


def _moves(dice: Random, parts: list[Part], count: int, jobs: list[Any], by: Staff) -> Iterator[Move]:
    """Each part's own moves in their order, each from what the last left. What no job takes is sold."""
    now = timezone.now()
    shares = [dice.choice((1, 1, 7)) for _ in parts]
    on_a_job = min(len(jobs) / count, 1)
    for part, share in zip(parts, shares, strict=True):
        many = max(round(count * share / sum(shares)), 1)
        days = sorted(dice.uniform(0, DAYS) for _ in range(many))
        for ago in reversed(days):
            if part.quantity < 3:
                why, quantity = Move.Why.RECEIVED, dice.choice((10, 20, 50))
            else:
                why, quantity = (
                    Move.Why.USED if jobs and dice.random() < on_a_job else Move.Why.SOLD,
                    -dice.randint(1, 3),
                )
            part.quantity += quantity
            yield Move(
                part=part,
                why=why,
                quantity=quantity,
                cost=part.cost,
                left=part.quantity,
                job_id=jobs.pop() if why == Move.Why.USED else None,
                at=now - dt.timedelta(days=ago),
                by=by,
            )
