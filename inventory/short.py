"""What is short: what jobs wait for, then what runs out; and how much of it to order.

`reckon` and `whole_packs` compute; `short_list` reads the rows for them in a fixed number of queries.
"""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from django.db.models import Prefetch, Q

from intake.models import Job
from inventory.models import Offer, OrderLine, Part, Want

_SHORT_LEVELS: Final = (Part.Level.LOW, Part.Level.OUT)


@dataclass(frozen=True)
class Need:
    """Pieces to order for jobs, and for the shelf."""

    for_jobs: int
    for_shelf: int

    @property
    def pieces(self) -> int:
        return self.for_jobs + self.for_shelf


def reckon(*, free: int, wanted: int, on_order: int, reorder_at: int | None) -> Need:
    """Say how many pieces of a part to order.

    Args:
        free: on the shelf and put aside for nobody; below zero where more was taken than was counted.
        wanted: wanted by jobs, and neither here nor on an order for them.
        on_order: on an order for the shelf.
        reorder_at: at this many, or fewer, it is time to order; None where nobody keeps any.

    What is free goes to the jobs first. The shelf then has to come to more than `reorder_at`.
    """
    for_jobs = max(wanted - max(free, 0), 0)
    after = free - wanted + for_jobs + on_order
    least = 0 if reorder_at is None else reorder_at + 1
    return Need(for_jobs, max(least - after, 0))


def whole_packs(pieces: int, pack: int) -> int:
    """Round pieces up to whole packs, in pieces."""
    return -(-pieces // pack) * pack


@dataclass(frozen=True)
class ShortPart:
    """A part to order, and why. `here` are wants that what is free would meet now."""

    part: Part
    free: int
    on_order: int
    need: Need
    wants: list[Want]
    offers: list[Offer]

    @property
    def offer(self) -> Offer | None:
        """Where to order it: where the shop said, else where a piece is cheapest."""
        known = [offer for offer in self.offers if offer.supplier.is_in_use]
        first = next((offer for offer in known if offer.is_first), None)
        return first or min(known, key=lambda offer: (offer.price / offer.pack, offer.pk), default=None)

    @property
    def pieces(self) -> int:
        """How many to order: whole packs of the offer."""
        return whole_packs(self.need.pieces, self.offer.pack) if self.offer else self.need.pieces


@dataclass(frozen=True)
class Short:
    """`here` are wants that can be met from the shelf; `parts` what has to be ordered, for jobs first."""

    here: list[tuple[Want, int]]
    parts: list[ShortPart]


def short_list(planned: Mapping[int, int] | None = None) -> Short:
    """Read what is short. `planned` says at how many to order the parts for which nobody wrote it down."""
    planned = planned or {}
    wants: dict[int, list[Want]] = defaultdict(list)
    for want in Want.objects.open().select_related("job__gear", "job__person", "part__drawer"):
        wants[want.part_id].append(want)
    for_shelf: dict[int, int] = defaultdict(int)
    for_jobs: dict[tuple[int, int], int] = defaultdict(int)
    for line in OrderLine.objects.filter(order__closed_at__isnull=True, will_not_come=False):
        if line.job_id:
            for_jobs[line.part_id, line.job_id] += line.open
        else:
            for_shelf[line.part_id] += line.open
    here, rows = [], []
    for part in _may_be_short(wants.keys() | planned.keys()):
        free = part.is_free
        still = []
        for want in wants[part.pk]:
            missing = max(want.left - for_jobs[part.pk, want.job_id], 0)
            if missing:
                still.append((want, missing))
        wanted = sum(missing for _, missing in still)
        if part.is_loose:
            free = wanted if part.level == Part.Level.PLENTY else 0
            need = reckon(
                free=free, wanted=wanted, on_order=for_shelf[part.pk], reorder_at=0 if not free else None
            )
        else:
            at = part.keep if part.keep is not None else planned.get(part.pk)
            need = reckon(free=free, wanted=wanted, on_order=for_shelf[part.pk], reorder_at=at)
        left = max(free, 0)
        for want, missing in still:
            if left:
                here.append((want, min(left, missing)))
            left = max(left - missing, 0)
        if need.pieces:
            on_order = for_shelf[part.pk] + sum(for_jobs[part.pk, want.job_id] for want in wants[part.pk])
            rows.append(
                ShortPart(part, free, on_order, need, [want for want, _ in still], list(part.offers.all()))
            )
    rows.sort(key=lambda row: (not row.need.for_jobs, _first_asked(row), row.part.name, row.part.pk))
    return Short(here, rows)


def waiting_for(job: Job) -> list[dict]:
    """What a job wants, with the lines of orders that bring it: for the job's page."""
    wants = list(job.wants.open().select_related("part"))
    lines: dict[int, list[OrderLine]] = defaultdict(list)
    for line in OrderLine.objects.filter(
        job=job, order__closed_at__isnull=True, will_not_come=False
    ).select_related("order__supplier"):
        if line.open:
            lines[line.part_id].append(line)
    return [
        {
            "want": want,
            "lines": lines[want.part_id],
            "unordered": max(want.left - sum(line.open for line in lines[want.part_id]), 0),
        }
        for want in wants
    ]


def _may_be_short(asked_for: set[int]) -> list[Part]:
    offers = Prefetch("offers", Offer.objects.select_related("supplier"))
    worth_a_look = (
        Q(is_loose=False, keep__isnull=False)
        | Q(is_loose=False, quantity__lt=0)
        | Q(is_loose=True, level__in=_SHORT_LEVELS)
    )
    parts = Part.objects.filter(Q(worth_a_look, is_in_use=True) | Q(pk__in=asked_for))
    return list(parts.free().select_related("drawer").prefetch_related(offers))


def _first_asked(row: ShortPart) -> float:
    return min((want.at.timestamp() for want in row.wants), default=0)
