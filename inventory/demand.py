"""What the shop's own moves say of what it will want: read in a fixed number of queries, planned by `planning`.

A month here is a stretch of thirty days that ends today, so that all of them are alike. What was used on jobs and
sold over the counter is demand, less what was given back; counts, scrap and harvests aren't.
"""

import datetime as dt
from array import array
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence, Set
from dataclasses import dataclass
from decimal import Decimal
from functools import cache, cached_property
from itertools import chain
from typing import Any, Final, NamedTuple
from zoneinfo import ZoneInfo

import numpy as np
from django.db.models import (
    Avg,
    DurationField,
    ExpressionWrapper,
    F,
    Field,
    Func,
    Max,
    Min,
    OuterRef,
    Subquery,
    Sum,
)

from intake.folding import fold
from intake.models import Job, State
from inventory import planning
from inventory.models import Aside, Move, Offer, OrderLine, Part, Supplier, Want
from inventory.planning import Ahead, Item, Spread
from inventory.short import where_to_order

PERIOD: Final = 30  # days
MOST_PERIODS: Final = 36  # what is longer ago says little of what comes
SERVICE: Final = 0.95
A_YEAR: Final = 365  # days: what wasn't used for longer is not bought again by itself
NO_SUPPLIER: Final = 14  # days, where nobody is known who sells it
FEW_PARCELS: Final = 3  # from so many on, how long they took is known better than what the supplier says
_OUT: Final = (Move.Why.USED, Move.Why.RETURNED)


@dataclass(frozen=True)
class Use:
    """What was wanted of a part since it has been watched: of each job how many days ago, and how many pieces."""

    today: dt.date
    since: dt.date
    ago: Sequence[int]
    pieces: Sequence[int]

    @property
    def jobs(self) -> int:
        return len(self.ago)

    @property
    def history(self) -> list[int]:
        """Pieces wanted in each month, the oldest first."""
        periods = min(max((self.today - self.since).days // PERIOD + 1, 1), MOST_PERIODS)
        wanted = [0] * periods
        for days, pieces in zip(self.ago, self.pieces, strict=True):
            period = max(days, 0) // PERIOD
            if period < periods:
                wanted[periods - 1 - period] += pieces
        return wanted

    @cached_property
    def sizes(self) -> Mapping[int, int]:
        """How many jobs took how many pieces."""
        return dict(Counter(self.pieces))

    @property
    def a_job(self) -> float:
        """Pieces that a job took on average."""
        return sum(self.pieces) / len(self.pieces)

    @property
    def last_ago(self) -> int:
        """How many days ago it was wanted last."""
        return min(self.ago)

    def in_days(self, days: int) -> int:
        """Pieces wanted in the last so many days."""
        return sum(pieces for ago, pieces in zip(self.ago, self.pieces, strict=True) if ago < days)


@dataclass(frozen=True)
class Lead:
    """How long a part takes to come, and who says so."""

    days: float
    said_by: str


class Stocked(NamedTuple):
    """What a plan has to know of a part. (Rows of thousands of parts take as long to make as all the rest.)"""

    pk: int
    name: str
    drawer: str | None  # its code
    quantity: int
    cost: Decimal
    keep: int | None
    is_free: int


class Offered(NamedTuple):
    """What a plan has to know of an offer."""

    pk: int
    supplier: Supplier
    number: str
    pack: int
    price: Decimal
    lead_days: int | None
    is_first: bool


@dataclass
class Plan:
    """A part, what was wanted of it, and what follows.

    `spread` is how many pieces may be wanted until an order comes; None for bulk goods.
    """

    part: Stocked
    use: Use
    lead: Lead
    service: float
    coming: int  # on order
    wanted: int  # jobs wait for these
    offer: Offered | None
    spread: Spread | None = None

    @property
    def stock(self) -> int:
        """Pieces there and on order, less those that jobs have already."""
        return self.part.is_free + self.coming - self.wanted

    @cached_property
    def history(self) -> list[int]:
        return self.use.history

    @property
    def is_seldom(self) -> bool:
        """So few demands that the rate itself is a guess: planned wider."""
        return self.use.jobs < planning.FEW_DEMANDS

    @cached_property
    def a_month(self) -> float:
        """Pieces expected in a month."""
        if self.is_seldom:
            return planning.spread_of(self.ahead(1.0)).mean
        forecast = planning.tsb(self.history)
        return forecast.per_period if forecast else 0.0

    def ahead(self, periods: float) -> Ahead:
        """The jobs that may come in so many months."""
        if self.is_seldom:
            watched = max((self.use.today - self.use.since).days / PERIOD, 1.0)
            return planning.few_ahead(self.use.jobs, min(watched, MOST_PERIODS), periods, self.use.sizes)
        return planning.many_ahead(self.a_month * periods / self.use.a_job, self.use.sizes)

    @property
    def why_not(self) -> str:
        """Why it isn't bought again by itself; empty where it is."""
        if self.use.jobs < 2:
            return "used once"
        if self.use.last_ago > A_YEAR:
            return "not used for a year"
        if self.spread is None:
            return "bulk: set it by hand"
        return ""

    @cached_property
    def planned_at(self) -> int | None:
        """At so many, or fewer, it is time to order; None where it isn't bought again by itself."""
        return self.spread.enough_for(self.service) if self.spread and not self.why_not else None

    @property
    def reorder_at(self) -> int | None:
        """What the shop wrote down, else what is planned."""
        return self.part.keep if self.part.keep is not None else self.planned_at

    @property
    def is_due(self) -> bool:
        return self.reorder_at is not None and self.stock <= self.reorder_at

    @property
    def pack(self) -> int:
        return self.offer.pack if self.offer else 1

    @property
    def pack_price(self) -> Decimal:
        """What one pack costs: as offered, else what was paid on average; zero where nobody knows."""
        return self.offer.price if self.offer else self.part.cost


class Second(Func):
    """Seconds since 1970 of a moment, whole ones. (Making moments of so many texts takes most of the time.)"""

    output_field = Field()  # taken as it comes

    def as_sqlite(self, compiler: Any, connection: Any, **kwargs: Any) -> Any:
        template = "CAST(strftime('%%%%s', %(expressions)s) AS INTEGER)"
        return self.as_sql(compiler, connection, template=template, **kwargs)

    def as_postgresql(self, compiler: Any, connection: Any, **kwargs: Any) -> Any:
        template = "FLOOR(EXTRACT(EPOCH FROM %(expressions)s))::bigint"
        return self.as_sql(compiler, connection, template=template, **kwargs)


def uses(today: dt.date, zone: ZoneInfo, parts: Sequence[int] | None = None) -> dict[int, Use]:
    """Read what was wanted of parts, of all or of these: four queries. Parts that nobody used are left out."""
    moves, watched = Move.objects.order_by(), Part.objects.order_by()
    if parts is not None:
        moves, watched = moves.filter(part__in=parts), watched.filter(pk__in=parts)
    calendar = _Calendar(today, zone)
    recent = moves.filter(at__gte=calendar.begin)
    on_jobs = _kept(recent.filter(why__in=_OUT, job__isnull=False), "job_id")
    on_sales = _kept(recent.filter(sale_line__isnull=False), "sale_line_id")
    sold = recent.filter(why=Move.Why.SOLD, quantity__lt=0, undone_by__isnull=True, sale_line__isnull=True)
    if parts is None:  # so SQLite goes through the moves as they lie; of few parts it would look at all moves
        sold = sold.filter(undoes__isnull=True)
    rows = chain(
        _rows(on_jobs), _rows(on_sales), _rows(sold.values_list("part_id", "quantity", Second("at")))
    )
    part, net, at = np.fromiter(rows, dtype=(np.int64, 3)).T
    if not len(part):
        return {}
    order = np.argsort(part, kind="stable")
    keys, starts = np.unique(part[order], return_index=True)
    ago, pieces = (array("q", each.tobytes()) for each in (calendar.days_ago(at[order]), -net[order]))
    earliest = Move.objects.filter(part=OuterRef("pk")).order_by("at").values("at")[:1]
    first = dict(watched.annotate(first=Second(Subquery(earliest))).values_list("pk", "first"))
    since = calendar.days_ago(np.array([first[key] for key in keys.tolist()]))
    ends = [*starts.tolist()[1:], len(ago)]
    return {
        key: Use(today, today - dt.timedelta(days=days), ago[start:end], pieces[start:end])
        for key, days, start, end in zip(keys.tolist(), since.tolist(), starts.tolist(), ends, strict=True)
    }


def _kept(moves: Any, what: str) -> Any:
    """What a job or a sale took and didn't give back: a part, how many (below zero), when it took the first."""
    return (
        moves.values_list("part_id", what)
        .annotate(net=Sum("quantity"), first=Second(Min("at")))
        .filter(net__lt=0)
        .values_list("part_id", "net", "first")
    )


def _rows(asked: Any) -> Iterator[Any]:
    """Row by row, forgotten at once: to keep so many, Python looks through all that it holds, time and again."""
    return asked.iterator(chunk_size=2000)


class _Calendar:
    """The shop's own days that count, from midnight to midnight."""

    def __init__(self, today: dt.date, zone: ZoneInfo):
        self.days = PERIOD * MOST_PERIODS
        dates = [today - dt.timedelta(days=ago) for ago in range(self.days - 1, -2, -1)]
        midnights = [dt.datetime.combine(date, dt.time.min, tzinfo=zone) for date in dates]
        self.begin = midnights[0]
        self._midnights = [midnight.timestamp() for midnight in midnights]

    def days_ago(self, seconds: np.ndarray) -> np.ndarray:
        """How many days ago moments were: -1 for what is still to come, the first day for all before it."""
        ago = self.days - np.searchsorted(self._midnights, seconds, side="right")
        return np.minimum(ago, self.days - 1)


def plans(
    today: dt.date, zone: ZoneInfo, service: float = SERVICE, parts: Iterable[int] | None = None
) -> list[Plan]:
    """Plan every counted part in use that jobs took, or these: eleven queries, whatever their number."""
    asked = None if parts is None else list(parts)
    used = uses(today, zone, asked)
    offers = _offers(asked)
    rows = Part.objects.counted().order_by("pk")
    rows = rows.in_use() if asked is None else rows.filter(pk__in=asked)
    held = _sums(Aside.objects.filter(ended_at__isnull=True), "quantity")
    coming = _sums(
        OrderLine.objects.filter(order__closed_at__isnull=True, will_not_come=False, quantity__gt=F("came")),
        F("quantity") - F("came"),
    )
    wanted = _sums(Want.objects.open(), F("quantity") - F("came"))
    took = _took()
    made = []
    for pk, *facts in rows.values_list("pk", "name", "drawer__code", "quantity", "cost", "keep"):
        if pk not in used:
            continue
        part = Stocked(pk, *facts, is_free=facts[2] - held.get(pk, 0))
        offer = where_to_order(offers.get(pk, ()))
        lead = _lead(offer, took)
        made.append(Plan(part, used[pk], lead, service, coming.get(pk, 0), wanted.get(pk, 0), offer))
    often = [plan for plan in made if not plan.is_seldom]
    for plan, a_month in zip(often, planning.tsb_of([plan.history for plan in often]), strict=True):
        plan.__dict__["a_month"] = a_month
    spreads = planning.spreads_of([plan.ahead(plan.lead.days / PERIOD) for plan in made])
    for plan, spread in zip(made, spreads, strict=True):
        plan.spread = spread
    return made


def reorder_points(today: dt.date, zone: ZoneInfo, service: float = SERVICE) -> dict[int, int]:
    """At how many to order which part, as the shop's use says, for those that nobody wrote it down for."""
    return {
        plan.part.pk: plan.planned_at
        for plan in plans(today, zone, service)
        if plan.part.keep is None and plan.planned_at is not None
    }


def items(made: Iterable[Plan]) -> list[Item]:
    """What a sum may be spent on: parts used within a year whose price is known."""
    return [
        Item(plan.part.pk, plan.spread, plan.stock, plan.pack_price, plan.pack, plan.use.a_job)
        for plan in made
        if plan.spread is not None and plan.pack_price > 0 and plan.use.last_ago <= A_YEAR
    ]


def _sums(rows: Any, what: Any) -> dict[int, int]:
    return dict(rows.order_by().values_list("part_id").annotate(n=Sum(what)).values_list("part_id", "n"))


def _took() -> dict[int, float]:
    """Days from sending an order to what came of it, by supplier, where enough parcels came."""
    days = ExpressionWrapper(F("at") - F("order_line__order__sent_at"), output_field=DurationField())
    rows = (
        Move.objects.filter(why=Move.Why.RECEIVED, quantity__gt=0, order_line__order__sent_at__lte=F("at"))
        .order_by()
        .values("order_line__order__supplier", "order_line__order")
        .annotate(took=Avg(days))
    )
    parcels: dict[int, list[float]] = defaultdict(list)
    for row in rows:
        parcels[row["order_line__order__supplier"]].append(row["took"].total_seconds() / 86400)
    return {supplier: sum(all_) / len(all_) for supplier, all_ in parcels.items() if len(all_) >= FEW_PARCELS}


def _offers(parts: Sequence[int] | None) -> dict[int, list[Offered]]:
    """What may be ordered of each part, in two queries."""
    suppliers = Supplier.objects.in_bulk()
    offers = Offer.objects.order_by("pk")
    if parts is not None:
        offers = offers.filter(part__in=parts)
    found: dict[int, list[Offered]] = defaultdict(list)
    for part, pk, supplier, *facts in offers.values_list(
        "part_id", "pk", "supplier_id", *Offered._fields[2:]
    ):
        found[part].append(Offered(pk, suppliers[supplier], *facts))
    return found


def _lead(offer: Offered | None, took: Mapping[int, float]) -> Lead:
    if offer is None:
        return Lead(NO_SUPPLIER, "no supplier yet: a guess")
    if offer.lead_days is not None:
        return Lead(offer.lead_days, f"{offer.supplier} says so of this part")
    if offer.supplier.pk in took:
        return Lead(took[offer.supplier.pk], f"as orders from {offer.supplier} took")
    return Lead(offer.supplier.lead_days, f"{offer.supplier} says so")


# --- Money asleep --------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Sleeper:
    """A part on the shelf that nobody moved for so many whole months, counting apart."""

    part: Part
    since: dt.date
    months: int

    @property
    def money(self) -> Decimal:
        return self.part.quantity * self.part.cost


def asleep(today: dt.date, zone: ZoneInfo) -> list[Sleeper]:
    """Read every part on the shelf with when it was moved last, the most money first: two queries.

    To be counted is no move; nor is what was undone.
    """
    undone = Move.objects.filter(undoes__isnull=False).order_by().values("undoes")
    moves = Move.objects.filter(undoes__isnull=True).exclude(why=Move.Why.COUNTED).exclude(pk__in=undone)
    moved = dict(
        moves.order_by().values_list("part_id").annotate(last=Max("at")).values_list("part_id", "last")
    )
    rows = Part.objects.counted().filter(quantity__gt=0).select_related("drawer")
    found = []
    for part in rows:
        day = moved.get(part.pk, part.made_at).astimezone(zone).date()
        found.append(Sleeper(part, day, planning.months_between(day, today)))
    return sorted(found, key=lambda each: (-each.money, each.part.name, each.part.pk))


# --- What the queue will need --------------------------------------------------------------------------------

IN_THE_QUEUE: Final = (
    State.TAGGED_IN,
    State.IN_LINE,
    State.ON_THE_BENCH,
    State.OWNER_TO_DECIDE,
    State.PARTS_ON_ORDER,
)
ENOUGH_ALIKE: Final = 3  # jobs on the same kind of gear, where there was none on the same model
LATEST: Final = 50  # jobs on like gear that are looked at: what is longer ago says less
LEAST_NEED: Final = 0.1  # pieces expected: fewer is no news


@dataclass(frozen=True)
class Like:
    """Past jobs on like gear, and what they used: of each part which of them took it, and how many with what chance."""

    jobs: Set[int]
    is_same_model: bool
    took: Mapping[int, Set[int]]
    chances: Mapping[int, Mapping[int, float]]


@dataclass(frozen=True)
class Needed:
    """A part that jobs in the queue may need, from what jobs on like gear used before."""

    part: Part
    jobs: list[Job]
    likes: list[Like]
    spread: Spread

    @cached_property
    def expected(self) -> float:
        """Pieces."""
        return self.spread.mean

    @cached_property
    def short(self) -> float:
        """How likely what is free won't do."""
        return self.spread.more_than(max(self.part.is_free, 0))

    @property
    def short_percent(self) -> float:
        return 100 * self.short

    @property
    def behind(self) -> int:
        """Past jobs that took it."""
        return len(set().union(*(like.took[self.part.pk] for like in self.likes)))

    @property
    def like(self) -> int:
        """Past jobs on like gear."""
        return len(set().union(*(like.jobs for like in self.likes)))

    @property
    def is_same_model(self) -> bool:
        return any(like.is_same_model for like in self.likes)

    @property
    def others(self) -> int:
        """Jobs beyond the first two, which are named."""
        return max(len(self.jobs) - 2, 0)


@dataclass(frozen=True)
class Queue:
    """What the queue will need; `unlike` are jobs on gear of which nothing was learned yet."""

    jobs: int
    needs: list[Needed]
    unlike: list[Job]


def queue_needs() -> Queue:
    """Read what jobs in the queue will need: seven queries. The likeliest to run short first.

    Like gear is the same maker and model; where that was never repaired here, the same kind and technology.
    """
    waiting = list(
        Job.objects.filter(state__in=IN_THE_QUEUE, declined=False).select_related("gear").order_by("pk")
    )
    moves = Move.objects.filter(why__in=_OUT, job__isnull=False).order_by()
    first = moves.aggregate(first=Min("at"))["first"]
    if first is None or not waiting:
        return Queue(len(waiting), [], waiting)
    keys = {
        job: _alike(job.gear.maker, job.gear.model, job.gear.kind, job.gear.technology) for job in waiting
    }
    past = _past(
        first, {key for job, both in keys.items() for key in both if key != both[0] or job.gear.model}
    )
    used: dict[int, dict[int, int]] = defaultdict(dict)
    took = moves.filter(job__in={pk for of in past.values() for pk in of} | {job.pk for job in waiting})
    for job_pk, part_pk, net in took.values_list("job_id", "part_id").annotate(net=Sum("quantity")):
        if net < 0:
            used[job_pk][part_pk] = -net
    covered = _covered(waiting)
    likes: dict[tuple[str, ...], Like] = {}
    found: dict[int, list[tuple[Job, Like]]] = defaultdict(list)
    unlike = []
    for job in waiting:
        model, kind = keys[job]
        key = model if past.get(model) else kind
        if key == kind and len(past.get(kind, ())) < ENOUGH_ALIKE:
            unlike.append(job)
            continue
        if key not in likes:
            likes[key] = _like(past[key], used, is_same_model=key == model)
        for part in likes[key].chances.keys() - used.get(job.pk, {}).keys():
            if (job.pk, part) not in covered:
                found[part].append((job, likes[key]))
    parts = list(Part.objects.in_use().counted().filter(pk__in=list(found)).free().select_related("drawer"))
    spreads = planning.each_together(
        [[like.chances[part.pk] for _, like in found[part.pk]] for part in parts]
    )
    needs = []
    for part, spread in zip(parts, spreads, strict=True):
        behind = {id(like): like for _, like in found[part.pk]}
        need = Needed(part, [job for job, _ in found[part.pk]], list(behind.values()), spread)
        if need.expected >= LEAST_NEED:
            needs.append(need)
    needs.sort(key=lambda need: (-need.short, -need.expected, need.part.name, need.part.pk))
    return Queue(len(waiting), needs, unlike)


def _alike(maker: str, model: str, kind: str, technology: str) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Under what jobs on the same model are known, and those on the same kind of gear."""
    return ("model", fold(maker), fold(model)), ("kind", kind, technology)


def _past(since: dt.datetime, keys: Set[tuple[str, ...]]) -> dict[tuple[str, ...], list[int]]:
    """The latest jobs that were repaired on gear like that: of each key their own keys."""
    jobs = Job.objects.filter(ready_at__gte=since, declined=False).exclude(state__in=IN_THE_QUEUE)
    gear = ("gear__maker", "gear__model", "gear__kind", "gear__technology")
    alike = cache(_alike)
    known: dict[tuple[str, ...], list[int]] = defaultdict(list)
    for pk, *facts in jobs.order_by("-ready_at", "-pk").values_list("pk", *gear):
        for key in alike(*facts):
            if key in keys and len(known[key]) < LATEST:
                known[key].append(pk)
    return known


def _like(jobs: list[int], used: Mapping[int, Mapping[int, int]], *, is_same_model: bool) -> Like:
    took: dict[int, set[int]] = defaultdict(set)
    counts: dict[int, Counter[int]] = defaultdict(Counter)
    for job in jobs:
        for part, pieces in used.get(job, {}).items():
            took[part].add(job)
            counts[part][pieces] += 1
    chances = {
        part: {pieces: times / len(jobs) for pieces, times in of.items()} for part, of in counts.items()
    }
    return Like(set(jobs), is_same_model, took, chances)


def _covered(jobs: list[Job]) -> set[tuple[int, int]]:
    """Jobs that have a part put aside or on order, and so need none of the shelf's."""
    keys = [job.pk for job in jobs]
    aside = Aside.objects.filter(job__in=keys, ended_at__isnull=True).values_list("job_id", "part_id")
    wanted = Want.objects.open().filter(job__in=keys).values_list("job_id", "part_id")
    return set(aside) | set(wanted)
