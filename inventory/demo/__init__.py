"""Three years of the invented shop's drawers: what was bought, used on the jobs, sold, counted, and what is awaited.

The drawers are filled before the first job comes. While the jobs are told, each part that a repair takes comes out of
its drawer (`take`), and what runs low is ordered and arrives as the days go by. Last comes what stands as it is today
(`as_it_is_now`). All of it by the verbs that staff's taps call.
"""

import datetime as dt
from decimal import Decimal
from itertools import pairwise
from operator import itemgetter
from random import Random
from typing import Any, Final

from django.utils import timezone

from intake.models import Job, State
from inventory import aside, bench, counting, ordering, stock, tubes, values, wants
from inventory.demo import shelf
from inventory.models import BenchGear, Drawer, Offer, Order, Part, Supplier
from shop.demo import Clock
from shop.models import Staff
from shop.roles import Role

SENT_AFTER: Final = dt.timedelta(days=4)  # an order is gathered so long before it goes
_UNHURT: Final = 11  # of so many parcels, one has a piece that is broken
_LATEST: Final = dt.timedelta(minutes=40)


def fill_drawers(clock: Clock) -> None:
    """On the day on which the shop opens: suppliers, drawers, and what its owner brought along."""
    wren = Staff.objects.get(role=Role.OWNER)
    for name, account, days, note in shelf.SUPPLIERS:
        facts = {"name": name, "account": account, "lead_days": days, "note": note}
        ordering.new_supplier(facts=facts, by=wren)
    drawers = {
        drawer.code: drawer
        for drawer in Drawer.objects.bulk_create(
            Drawer(code=code, place=place) for code, place in shelf.DRAWERS
        )
    }
    suppliers = {supplier.name: supplier for supplier in Supplier.objects.all()}
    made = timezone.now()
    parts = [_part(item, drawers[item.drawer], made) for item in shelf.COUNTED]
    loose = [
        Part(kind=kind, name=name, drawer=drawers[drawer], is_loose=True, level=level, made_at=made)
        for kind, name, drawer, level in shelf.LOOSE
    ]
    for part in (*parts, *loose):
        part.search = values.search_text(part)
    Part.objects.bulk_create([*parts, *loose])
    Offer.objects.bulk_create(
        Offer(
            part=part,
            supplier=suppliers[item.supplier],
            number=item.number,
            pack=item.pack,
            price=Decimal(item.price),
            is_first=True,
        )
        for part, item in zip(parts, shelf.COUNTED, strict=True)
    )
    for part, item in zip(parts, shelf.COUNTED, strict=True):
        cost = (Decimal(item.price) / item.pack).quantize(Decimal("0.0001"))
        stock.receive(part, quantity=item.start, cost_each=cost, by=wren, words="there when we opened")


def _part(item: shelf.Item, drawer: Drawer, made: dt.datetime) -> Part:
    return Part(
        kind=item.kind,
        name=item.name,
        drawer=drawer,
        keep=item.keep or None,
        price=Decimal(item.sells_at) if item.sells_at else None,
        made_at=made,
        **item.values,
    )


# --- While the jobs are told ---------------------------------------------------------------------------------


def take(job: Job | None, row: Any, by: Staff) -> bool:
    """Take a bill's part out of its drawer, and charge it; without a job it was sold over the counter.

    Return whether the shop has such a part.
    """
    part = Part.objects.counted().filter(name=row.text).first()
    if part is None:
        return False
    _mind_orders(by)
    quantity = int(row.quantity)
    if part.quantity < quantity:
        _fetch(part, quantity - part.quantity, by)
    if job is None:
        stock.sell(part, quantity=quantity, by=by)
    else:
        stock.use_on_job(part, job, quantity=quantity, price=row.unit_price, by=by)
    part.refresh_from_db()
    if part.keep is not None and part.quantity <= part.keep:
        _order(part, by)
    return True


def _mind_orders(by: Staff) -> None:
    """Send what was gathered for some days, and take in what should be here by now."""
    now = timezone.now()
    for order in Order.objects.filter(closed_at=None).order_by("number"):
        if order.sent_at is None and order.made_at <= now - SENT_AFTER:
            due = ordering.expected_on(order, timezone.localdate())
            ordering.send(order, due_on=due, revision=order.revision, by=by)
        elif order.sent_at is not None and order.due_on <= timezone.localdate():
            _arrives(order, by)


def _order(part: Part, by: Staff) -> None:
    """Put a part that runs low on the next order of its supplier: twice what it is reordered at, in whole packs."""
    if part.order_lines.filter(order__closed_at=None).exists():
        return
    offer = part.offers.get(is_first=True)
    packs = max(-(-2 * part.keep // offer.pack), 1)
    ordering.gather([ordering.Pick(offer, packs * offer.pack)], by=by)


def _arrives(order: Order, by: Staff) -> None:
    """All of it comes, at a price that has crept up; now and then something is broken and goes back."""
    dice = Random(order.number)
    dearer = Decimal(100 + order.number // 3) / 100
    lines = list(order.lines.select_related("part"))
    arrivals = {
        line.pk: ordering.Arrival(
            line.quantity - line.came, (line.price * dearer).quantize(Decimal("0.0001"))
        )
        for line in lines
    }
    ordering.arrive(order, arrivals=arrivals, by=by)
    if not order.number % _UNHURT:
        broken = dice.choice(lines)
        stock.send_back(broken.part, quantity=1, words="broken when it came", by=by, order_line=broken)


def _fetch(part: Part, quantity: int, by: Staff) -> None:
    """Bought in a hurry, because a repair needs more than there is."""
    offer = part.offers.get(is_first=True)
    packs = -(-quantity // offer.pack)
    cost = (offer.price / offer.pack * Decimal("1.2")).quantize(Decimal("0.0001"))
    words = f"fetched from {offer.supplier}"
    stock.receive(part, quantity=packs * offer.pack, cost_each=cost, by=by, words=words)


# --- As it is today ------------------------------------------------------------------------------------------


def as_it_is_now(clock: Clock) -> None:
    """What jobs wait for, what is put aside, an open counting round, measured tubes, the bench's own gear."""
    wren, tomas = (Staff.objects.get(role=role) for role in (Role.OWNER, Role.BENCH))
    clock.moment = clock.now - dt.timedelta(days=75)
    _count_a_row(tomas)
    _gear_of_the_bench(clock, tomas)
    _measure_tubes(tomas)
    clock.moment = clock.now - dt.timedelta(days=9)
    _mind_orders(tomas)
    _harvest(tomas)
    clock.moment = clock.now - dt.timedelta(days=6)
    _jobs_wait(clock, tomas)
    clock.moment = clock.now - _LATEST
    _put_aside(tomas)
    _begin_a_count(wren)
    clock.moment = clock.now


def _count_a_row(by: Staff) -> None:
    """A round through four drawers, with what it found posted."""
    a_round = counting.begin(by=by, words="Small parts, A-1 to A-4")
    for drawer in Drawer.objects.filter(code__in=("A-1", "A-2", "A-3", "A-4")):
        counts = {part: part.quantity for part in drawer.parts.counted()}
        if drawer.code == "A-2":
            first = next(iter(counts))
            counts[first] = max(counts[first] - 3, 0)
        counting.write_down(a_round, drawer, counts, by=by)
    a_round.refresh_from_db()
    counting.post(a_round, by=by, revision=a_round.revision)


def _begin_a_count(by: Staff) -> None:
    """A round that is open: one drawer of it counted, a tube too few."""
    a_round = counting.begin(by=by, words="Tubes")
    drawer = Drawer.objects.get(code="C-3")
    counts = {part: max(part.quantity - (part.name == "12AX7"), 0) for part in drawer.parts.counted()}
    counting.write_down(a_round, drawer, counts, by=by)


def _harvest(by: Staff) -> None:
    """Out of gear that nobody wanted back; and what broke on the bench."""
    gone = Job.objects.filter(state=State.LET_GO).first()
    stock.harvest(
        Part.objects.get(name="Octal socket, chassis"), quantity=2, by=by, job=gone, words="sound, cleaned"
    )
    stock.scrap(Part.objects.get(name="12AT7"), quantity=1, words="dropped", by=by)


def _jobs_wait(clock: Clock, by: Staff) -> None:
    """Three jobs wait for parts: one's is due, one's is owed by the supplier, one's isn't ordered yet."""
    waiting = list(Job.objects.filter(state=State.PARTS_ON_ORDER).order_by("pk"))
    for job, fate in zip(waiting, ("due", "back-ordered", "short"), strict=False):
        part = Part.objects.get(name="Output transformer, 50 W")
        for noted in Part.objects.counted().filter(offers__is_first=True):
            if job.notes.filter(text__startswith="Ordered: ", text__contains=noted.name).exists():
                part = noted
                break
        free = aside.free_of(part)
        if free > 0:
            stock.count(part, counted=part.quantity - free, by=by, words="the drawer was empty")
        wants.want(part, job, quantity=1, by=by)
        if fate == "short":
            continue
        offer = part.offers.get(is_first=True)
        (order,) = ordering.gather([ordering.Pick(offer, max(offer.pack, 2))], by=by)
        order.refresh_from_db()
        late = -2 if fate == "back-ordered" else 2
        due = timezone.localdate(clock.now) + dt.timedelta(days=late)
        ordering.send(order, due_on=due, revision=order.revision, by=by)
        if fate == "back-ordered":
            ordering.mark(order.lines.filter(job=job).first(), as_="back-ordered", by=by)


def _put_aside(by: Staff) -> None:
    """For two jobs in line, what they will need."""
    line = Job.objects.filter(state=State.IN_LINE).order_by("pk")
    for job, name in zip(line, ("22u 450V axial", "1M log pot"), strict=False):
        aside.put_aside(Part.objects.get(name=name), job, quantity=1, by=by)


def _measure_tubes(by: Staff) -> None:
    """Two boxes of new tubes, each measured at one point; the closest two of each are a pair. One used tube."""
    for name, currents in shelf.MEASURED.items():
        part = Part.objects.get(name=name)
        logged = [(current, tubes.log(part, by=by, make=part.make)) for current in currents]
        for current, tube in logged:
            tubes.measure(tube, current=current / 1000, tester=shelf.TESTER, by=by, **shelf.AT)
        closest = min(pairwise(sorted(logged, key=itemgetter(0))), key=lambda two: two[1][0] - two[0][0])
        tubes.make_set([tube for _, tube in closest], by=by)
    job = Job.objects.filter(state=State.COLLECTED, gear__technology="valve", declined=False).last()
    used = tubes.keep_used(Part.objects.get(name="12AX7"), job=job, by=by, note="Tests well, a little noisy.")
    tubes.measure(used, plate_volts=250, grid_volts=-2, current=0.0011, tester=shelf.TESTER, by=by)


def _gear_of_the_bench(clock: Clock, by: Staff) -> None:
    """Loads, tanks and transformers; one is lent, and should be back by now."""
    for kind, name, impedance, second, watts, note in shelf.BENCH_GEAR:
        bench.add(
            by=by,
            kind=kind,
            name=name,
            impedance=impedance,
            second_impedance=second,
            watts=watts,
            note=note,
        )
    lent = BenchGear.objects.get(name="Load box, 16 Ω")
    due = timezone.localdate(clock.now) - dt.timedelta(days=5)
    bench.lend(lent, to_whom="The Tide Room", due_on=due, by=by)
