"""What the shop's own moves say of what it will want: read in a fixed number of queries, planned by `planning`.

A month here is a stretch of thirty days that ends today, so that all of them are alike. What was used on jobs and
sold over the counter is demand, less what was given back; counts, scrap and harvests aren't.
"""

import datetime as dt
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from functools import cached_property
from typing import Any, Final
from zoneinfo import ZoneInfo

from django.db.models import Avg, DurationField, ExpressionWrapper, F, Max, Min, Sum

from intake.folding import fold
from intake.models import Job, State
from inventory import planning
from inventory.models import Aside, Move, Offer, OrderLine, Part, Want
from inventory.planning import Item, Spread
from inventory.short import offers_of, where_to_order

PERIOD: Final = 30  # days
MOST_PERIODS: Final = 36  # what is longer ago says little of what comes
SERVICE: Final = 0.95
A_YEAR: Final = 365  # days: what wasn't used for longer is not bought again by itself
NO_SUPPLIER: Final = 14  # days, where nobody is known who sells it
FEW_PARCELS: Final = 3  # from so many on, how long they took is known better than what the supplier says
_OUT: Final = (Move.Why.USED, Move.Why.RETURNED)


@dataclass
class Use:
    """What was wanted of a part: of each job its day and its pieces, since the part has been watched."""

    since: dt.date
    jobs: list[tuple[dt.date, int]] = field(default_factory=list)

    def history(self, today: dt.date) -> list[int]:
        """Pieces wanted in each month, the oldest first."""
        periods = min(max((today - self.since).days // PERIOD + 1, 1), MOST_PERIODS)
        wanted = [0] * periods
        for day, pieces in self.jobs:
            ago = max((today - day).days, 0) // PERIOD
            if ago < periods:
                wanted[periods - 1 - ago] += pieces
        return wanted

    @property
    def sizes(self) -> Mapping[int, int]:
        """How many jobs took how many pieces."""
        return Counter(pieces for _, pieces in self.jobs)

    @property
    def a_job(self) -> float:
        """Pieces that a job took on average."""
        return sum(pieces for _, pieces in self.jobs) / len(self.jobs) if self.jobs else 1.0

    @property
    def last(self) -> dt.date | None:
        return max((day for day, _ in self.jobs), default=None)

    def in_days(self, days: int, today: dt.date) -> int:
        """Pieces wanted in the last so many days."""
        return sum(pieces for day, pieces in self.jobs if (today - day).days < days)


@dataclass(frozen=True)
class Lead:
    """How long a part takes to come, and who says so."""

    days: float
    said_by: str


@dataclass(frozen=True)
class Plan:
    """A part, what was wanted of it, and what follows."""

    part: Part
    use: Use
    lead: Lead
    today: dt.date
    service: float
    coming: int  # on order
    wanted: int  # jobs wait for these
    offer: Offer | None

    @property
    def stock(self) -> int:
        """Pieces there and on order, less those that jobs have already."""
        return self.part.is_free + self.coming - self.wanted

    @property
    def periods_ahead(self) -> float:
        return self.lead.days / PERIOD

    @cached_property
    def history(self) -> list[int]:
        return self.use.history(self.today)

    @property
    def is_seldom(self) -> bool:
        """So few demands that the rate itself is a guess: planned wider."""
        return len(self.use.jobs) < planning.FEW_DEMANDS

    @cached_property
    def a_month(self) -> float:
        """Pieces expected in a month."""
        if self.is_seldom:
            return self.spread_of(1.0).mean
        forecast = planning.tsb(self.history)
        return forecast.per_period if forecast else 0.0

    def spread_of(self, periods: float) -> Spread:
        """How many pieces may be wanted in so many months.

        Raises:
            PlanningError: so many that counting them is no help.
        """
        if self.is_seldom:
            watched = max((self.today - self.use.since).days / PERIOD, 1.0)
            return planning.few(len(self.use.jobs), min(watched, MOST_PERIODS), periods, self.use.sizes)
        return planning.many(self.a_month * periods / self.use.a_job, self.use.sizes)

    @cached_property
    def spread(self) -> Spread | None:
        """How many may be wanted until an order comes; None for bulk goods."""
        try:
            return self.spread_of(self.periods_ahead)
        except planning.PlanningError:
            return None

    @property
    def why_not(self) -> str:
        """Why it isn't bought again by itself; empty where it is."""
        if len(self.use.jobs) < 2:
            return "used once"
        if self.use.last is not None and (self.today - self.use.last).days > A_YEAR:
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


def uses(today: dt.date, zone: ZoneInfo, parts: Sequence[int] | None = None) -> dict[int, Use]:
    """Read what was wanted of parts, of all or of these: three queries. Parts that nobody used are left out."""
    moves = Move.objects.order_by()
    if parts is not None:
        moves = moves.filter(part__in=parts)
    begin = dt.datetime.combine(
        today - dt.timedelta(days=PERIOD * MOST_PERIODS - 1), dt.time.min, tzinfo=zone
    )
    recent = moves.filter(at__gte=begin)
    on_jobs = (
        recent.filter(why__in=_OUT, job__isnull=False)
        .values_list("part_id", "job_id")
        .annotate(net=Sum("quantity"), first=Min("at"))
        .filter(net__lt=0)
        .values_list("part_id", "net", "first")
    )
    rows = [(part, -net, at) for part, net, at in on_jobs.iterator(chunk_size=5000)]
    sold = list(recent.filter(why=Move.Why.SOLD).values_list("pk", "undoes_id", "part_id", "quantity", "at"))
    undone = {undoes for _, undoes, *_ in sold if undoes}
    rows += [
        (part, -quantity, at)
        for pk, undoes, part, quantity, at in sold
        if not undoes and pk not in undone and quantity < 0
    ]
    found: dict[int, Use] = {}
    if rows:
        first = dict(moves.values_list("part_id").annotate(first=Min("at")).values_list("part_id", "first"))
        earliest = begin.date()
        for part, pieces, at in rows:
            if part not in found:
                found[part] = Use(max(first[part].astimezone(zone).date(), earliest))
            found[part].jobs.append((at.astimezone(zone).date(), pieces))
    return found


def plans(
    today: dt.date, zone: ZoneInfo, service: float = SERVICE, parts: Iterable[int] | None = None
) -> list[Plan]:
    """Plan every counted part in use that jobs took, or these: nine queries, whatever their number."""
    asked = None if parts is None else list(parts)
    used = uses(today, zone, asked)
    offers = offers_of(used)
    rows = Part.objects.counted().select_related("drawer")
    rows = rows.in_use().filter(pk__in=_moved()) if asked is None else rows.filter(pk__in=asked)
    held = _sums(Aside.objects.filter(ended_at__isnull=True), "quantity")
    coming = _sums(
        OrderLine.objects.filter(order__closed_at__isnull=True, will_not_come=False, quantity__gt=F("came")),
        F("quantity") - F("came"),
    )
    wanted = _sums(Want.objects.open(), F("quantity") - F("came"))
    took = _took()
    made = []
    for part in rows:
        if part.pk not in used:
            continue
        part.is_free = part.quantity - held.get(part.pk, 0)
        offer = where_to_order(offers[part.pk])
        made.append(
            Plan(
                part,
                used[part.pk],
                _lead(part, offer, took),
                today,
                service,
                coming.get(part.pk, 0),
                wanted.get(part.pk, 0),
                offer,
            )
        )
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
        if plan.spread is not None
        and plan.pack_price > 0
        and plan.use.last is not None
        and (plan.today - plan.use.last).days <= A_YEAR
    ]


def _moved() -> Any:
    return Move.objects.filter(why__in=(*_OUT, Move.Why.SOLD)).order_by().values("part_id")


def _sums(rows: Any, what: Any) -> dict[int, int]:
    return dict(rows.order_by().values_list("part_id").annotate(n=Sum(what)).values_list("part_id", "n"))


def _took() -> dict[int, float]:
    """Days from sending an order to what came of it, by supplier, where enough parcels came."""
    days = ExpressionWrapper(F("at") - F("order_line__order__sent_at"), output_field=DurationField())
    rows = (
        Move.objects.filter(
            why=Move.Why.RECEIVED, undoes__isnull=True, order_line__order__sent_at__lte=F("at")
        )
        .order_by()
        .values("order_line__order__supplier", "order_line__order")
        .annotate(took=Avg(days))
    )
    parcels: dict[int, list[float]] = defaultdict(list)
    for row in rows:
        parcels[row["order_line__order__supplier"]].append(row["took"].total_seconds() / 86400)
    return {supplier: sum(all_) / len(all_) for supplier, all_ in parcels.items() if len(all_) >= FEW_PARCELS}


def _lead(part: Part, offer: Offer | None, took: Mapping[int, float]) -> Lead:
    if offer is None:
        return Lead(NO_SUPPLIER, "no supplier yet: a guess")
    if offer.lead_days is not None:
        return Lead(offer.lead_days, f"{offer.supplier} says so of this part")
    if offer.supplier_id in took:
        return Lead(took[offer.supplier_id], f"as orders from {offer.supplier} took")
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


@dataclass
class Needed:
    """A part that jobs in the queue may need, from what jobs on like gear used before."""

    part: Part
    jobs: list[Job] = field(default_factory=list)
    chances: list[dict[int, float]] = field(default_factory=list)
    behind: set[int] = field(default_factory=set)  # past jobs that took it
    like: set[int] = field(default_factory=set)  # past jobs on like gear
    is_same_model: bool = False

    @cached_property
    def spread(self) -> Spread:
        return planning.together(self.chances)

    @property
    def expected(self) -> float:
        """Pieces."""
        return self.spread.mean

    @property
    def short(self) -> float:
        """How likely what is free won't do."""
        return self.spread.more_than(max(self.part.is_free, 0))

    @property
    def short_percent(self) -> float:
        return 100 * self.short

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
    models = {_model(job.gear.maker, job.gear.model) for job in waiting if job.gear.model}
    kinds = {(job.gear.kind, job.gear.technology) for job in waiting}
    past = Job.objects.filter(ready_at__gte=first, declined=False).exclude(state__in=IN_THE_QUEUE)
    same: dict[tuple[str, str], list[int]] = defaultdict(list)
    alike: dict[tuple[str, str], list[int]] = defaultdict(list)
    gear = ("gear__maker", "gear__model", "gear__kind", "gear__technology")
    for pk, maker, model, kind, technology in past.order_by("-ready_at", "-pk").values_list("pk", *gear):
        for key, known, keys in ((_model(maker, model), same, models), ((kind, technology), alike, kinds)):
            if key in keys and len(known[key]) < LATEST:
                known[key].append(pk)
    looked_at = {pk for known in (same, alike) for of in known.values() for pk in of}
    used: dict[int, dict[int, int]] = defaultdict(dict)
    took = moves.filter(job__in=looked_at | {job.pk for job in waiting})
    for job_pk, part_pk, net in took.values_list("job_id", "part_id").annotate(net=Sum("quantity")):
        if net < 0:
            used[job_pk][part_pk] = -net
    covered = _covered(waiting)
    chances: dict[tuple[str, ...], dict[int, dict[int, float]]] = {}
    found: dict[int, list[tuple[Job, dict[int, float], list[int], bool]]] = defaultdict(list)
    unlike = []
    for job in waiting:
        key = ("model", *_model(job.gear.maker, job.gear.model))
        like = same.get(key[1:], [])
        is_same = bool(like)
        if not like:
            key = ("kind", job.gear.kind, job.gear.technology)
            like = alike.get(key[1:], [])
            if len(like) < ENOUGH_ALIKE:
                unlike.append(job)
                continue
        if key not in chances:
            chances[key] = _chances(like, used)
        for part, wants in chances[key].items():
            if part not in used.get(job.pk, ()) and (job.pk, part) not in covered:
                found[part].append((job, wants, like, is_same))
    parts = Part.objects.in_use().counted().filter(pk__in=list(found)).free().select_related("drawer")
    needs = []
    for part in parts:
        need = Needed(part)
        for job, wants, like, is_same in found[part.pk]:
            need.jobs.append(job)
            need.chances.append(wants)
            need.like.update(like)
            need.behind.update(pk for pk in like if part.pk in used.get(pk, ()))
            need.is_same_model = need.is_same_model or is_same
        if need.expected >= LEAST_NEED:
            needs.append(need)
    needs.sort(key=lambda need: (-need.short, -need.expected, need.part.name, need.part.pk))
    return Queue(len(waiting), needs, unlike)


def _model(maker: str, model: str) -> tuple[str, str]:
    return fold(maker), fold(model)


def _chances(like: list[int], used: Mapping[int, Mapping[int, int]]) -> dict[int, dict[int, float]]:
    """Of each part, in what share of the like jobs how many pieces were used."""
    counts: dict[int, Counter[int]] = defaultdict(Counter)
    for job in like:
        for part, pieces in used.get(job, {}).items():
            counts[part][pieces] += 1
    return {part: {pieces: jobs / len(like) for pieces, jobs in of.items()} for part, of in counts.items()}


def _covered(jobs: list[Job]) -> set[tuple[int, int]]:
    """Jobs that have a part put aside or on order, and so need none of the shelf's."""
    keys = [job.pk for job in jobs]
    aside = Aside.objects.filter(job__in=keys, ended_at__isnull=True).values_list("job_id", "part_id")
    wanted = Want.objects.open().filter(job__in=keys).values_list("job_id", "part_id")
    return set(aside) | set(wanted)
