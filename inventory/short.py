"""What is short: what jobs wait for, then what runs out; and how much of it to order.

`reckon` and `whole_packs` compute; `short_list` reads the rows for them in a fixed number of queries.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property
from typing import Any, Final, Protocol, TypeVar

from django.db.models import Q

from intake.models import Job
from inventory.models import Offer, OrderLine, Part, Supplier, Want

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
    """A part to order, and why: which jobs want it, or at how many it is time."""

    part: Part
    free: int
    on_order: int
    need: Need
    wants: list[Want]
    offers: list[Offer]
    reorder_at: int | None = None

    @cached_property
    def offer(self) -> Offer | None:
        return where_to_order(self.offers)

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
    coming = _coming()
    here: list[tuple[Want, int]] = []
    short: dict[int, dict[str, Any]] = {}
    for each in _may_be_short(wants.keys(), planned.keys()):
        key = each["pk"]
        still = [
            (want, left) for want in wants[key] if (left := want.left - coming[key].get(want.job_id, 0)) > 0
        ]
        wanted = sum(left for _, left in still)
        at = each["keep"] if each["keep"] is not None else planned.get(key)
        free = each["is_free"]
        if each["is_loose"]:  # nobody counts: there is enough for whoever wants some, or none
            free, at = (wanted, None) if each["level"] == Part.Level.PLENTY else (0, 0)
        here.extend(_met(still, free))
        need = reckon(free=free, wanted=wanted, on_order=coming[key].get(None, 0), reorder_at=at)
        if need.pieces:
            short[key] = {
                "free": free,
                "on_order": sum(coming[key].values()),
                "need": need,
                "wants": [want for want, _ in still],
                "reorder_at": None if each["is_loose"] else at,
            }
    offers = offers_of(short)
    parts = Part.objects.filter(pk__in=short).select_related("drawer")
    rows = [ShortPart(part=part, offers=offers[part.pk], **short[part.pk]) for part in parts]
    rows.sort(key=lambda row: (not row.need.for_jobs, _first_asked(row), row.part.name, row.part.pk))
    return Short(here, rows)


def offers_of(parts: Iterable[int]) -> dict[int, list[Offer]]:
    """The offers of parts, in one query. (Asking for them with the parts takes long where there are thousands.)"""
    found: dict[int, list[Offer]] = defaultdict(list)
    for offer in Offer.objects.filter(part__in=list(parts)).select_related("supplier"):
        found[offer.part_id].append(offer)
    return found


class Orderable(Protocol):
    """An offer, or what is known of one."""

    pk: int
    supplier: Supplier
    pack: int
    price: Decimal
    is_first: bool


AnOffer = TypeVar("AnOffer", bound=Orderable)


def where_to_order(offers: Iterable[AnOffer]) -> AnOffer | None:
    """Of a part's offers the one that the shop said, else where a piece is cheapest; None where nobody sells it."""
    known = [offer for offer in offers if offer.supplier.is_in_use]
    first = next((offer for offer in known if offer.is_first), None)
    return first or min(known, key=lambda offer: (offer.price / offer.pack, offer.pk), default=None)


def _coming() -> dict[int, dict[int | None, int]]:
    """Pieces on orders, sent or not: of each part, for each job, and for none."""
    coming: dict[int, dict[int | None, int]] = defaultdict(lambda: defaultdict(int))
    for line in OrderLine.objects.filter(order__closed_at__isnull=True, will_not_come=False):
        coming[line.part_id][line.job_id] += line.open
    return coming


def _met(still: list[tuple[Want, int]], free: int) -> list[tuple[Want, int]]:
    """What is free, given to the wants in their order."""
    met = []
    for want, left in still:
        if free > 0:
            met.append((want, min(free, left)))
        free -= left
    return met


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


def _may_be_short(wanted: Collection[int], planned: Collection[int]) -> Iterable[dict[str, Any]]:
    """What decides whether a part is short, of those that can be: facts and no rows, because they are many."""
    worth_a_look = (
        Q(is_loose=False, keep__isnull=False)
        | Q(is_loose=False, quantity__lt=0)
        | Q(is_loose=True, level__in=_SHORT_LEVELS)
        | Q(pk__in=planned)
    )
    parts = Part.objects.filter(Q(worth_a_look, is_in_use=True) | Q(pk__in=wanted)).free()
    return parts.order_by("pk").values("pk", "keep", "is_free", "is_loose", "level")


def _first_asked(row: ShortPart) -> float:
    return min((want.at.timestamp() for want in row.wants), default=0)
