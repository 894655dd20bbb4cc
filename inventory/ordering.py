"""Suppliers, what they offer, and orders: gathered, sent, come in whole or in part, or not at all.

An order may change until it is sent; then it only takes in what comes. It closes by itself when nothing of it is
still to come.
"""

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any, Final

from django.db import transaction
from django.db.models import F, Max
from django.utils import timezone

from intake.models import Job
from inventory import aside, stock, wants
from inventory.models import Offer, Order, OrderLine, Part, Supplier
from shop import timeline
from shop.errors import ChangedMeanwhile, NotAllowedYet, Refused
from shop.models import Shop, Staff

SUPPLIER_FIELDS: Final = ("name", "account", "email", "phone", "address", "lead_days", "note", "is_in_use")
OFFER_FIELDS: Final = ("number", "pack", "price", "lead_days", "is_first")
_CHANGED: Final = (
    "Someone else changed this order while you had it open. Look at what it says now; then send yours."
)
MOST: Final = 100_000  # pieces on one line: beyond it somebody's finger slipped


# --- Suppliers and offers ------------------------------------------------------------------------------------


@transaction.atomic
def new_supplier(*, facts: Mapping[str, Any], by: Staff) -> Supplier:
    """Write down somebody who sells parts."""
    supplier = Supplier.objects.create(**facts)
    timeline.write(supplier, by=by, words="wrote this supplier down")
    return supplier


@transaction.atomic
def change_supplier(supplier: Supplier, *, facts: Mapping[str, Any], by: Staff) -> None:
    """Change what is known of a supplier."""
    before = Supplier.objects.select_for_update().get(pk=supplier.pk)
    Supplier.objects.filter(pk=supplier.pk).update(**facts, revision=F("revision") + 1)
    now = Supplier.objects.get(pk=supplier.pk)
    labels = {name: Supplier._meta.get_field(name).verbose_name for name in SUPPLIER_FIELDS}
    timeline.write(
        supplier,
        by=by,
        words="changed this supplier",
        before={label: getattr(before, name) for name, label in labels.items()},
        after={label: getattr(now, name) for name, label in labels.items()},
    )


@transaction.atomic
def offer(part: Part, supplier: Supplier, *, facts: Mapping[str, Any], by: Staff) -> Offer:
    """Write down that a supplier sells a part. The first who does is the one to order from.

    Raises:
        NotAllowedYet: that supplier sells it under that number already.
    """
    Part.objects.select_for_update().get(pk=part.pk)
    if part.offers.filter(supplier=supplier, number=facts["number"]).exists():
        raise NotAllowedYet(
            "This supplier's offer of that number is written down already. Change that one, "
            "or give this one another number."
        )
    first = facts["is_first"] or not part.offers.exists()
    if first:
        part.offers.update(is_first=False)
    made = Offer.objects.create(part=part, supplier=supplier, **{**facts, "is_first": first})
    timeline.write(part, by=by, words=f"wrote down that {supplier} sells it", after=_terms(made))
    return made


@transaction.atomic
def change_offer(offer: Offer, *, facts: Mapping[str, Any], by: Staff) -> None:
    """Change number, pack, price, or whether this supplier is the one to order from.

    Raises:
        NotAllowedYet: that supplier sells the part under that number already.
    """
    part = Part.objects.select_for_update().get(pk=offer.part_id)
    others = part.offers.exclude(pk=offer.pk)
    if others.filter(supplier=offer.supplier, number=facts["number"]).exists():
        raise NotAllowedYet("This supplier's offer of that number is written down already.")
    if facts["is_first"]:
        others.update(is_first=False)
    before = _terms(Offer.objects.get(pk=offer.pk))
    Offer.objects.filter(pk=offer.pk).update(**facts)
    after = _terms(Offer.objects.get(pk=offer.pk))
    if before != after:
        timeline.write(part, by=by, words=f"changed what {offer.supplier} asks", before=before, after=after)


@transaction.atomic
def drop_offer(offer: Offer, *, by: Staff) -> None:
    """They don't sell it any more. Orders keep what was ordered."""
    timeline.write(
        offer.part, by=by, words=f"struck out that {offer.supplier} sells it", before=_terms(offer)
    )
    offer.delete()


def _terms(offer: Offer) -> dict[str, str]:
    """What an offer says, for the part's timeline."""
    labels = {name: str(Offer._meta.get_field(name).verbose_name) for name in OFFER_FIELDS}
    said = {label: getattr(offer, name) for name, label in labels.items()}
    return {label: "yes" if value is True else str(value or "") for label, value in said.items()}


# --- Before it is sent ---------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Pick:
    """So many pieces of an offer's part, to be put on its supplier's next order."""

    offer: Offer
    quantity: int


@transaction.atomic
def gather(picks: Iterable[Pick], *, by: Staff) -> list[Order]:
    """Put pieces on the next order of each supplier. What jobs want of a part comes first, the oldest want first.

    Returns the orders, by supplier's name.

    Raises:
        NotAllowedYet: a quantity is no quantity.
    """
    picks = list(picks)
    _hold_parts(pick.offer.part_id for pick in picks)
    orders: dict[int, Order] = {}
    for pick in picks:
        if not 1 <= pick.quantity <= MOST:
            raise NotAllowedYet(f"Order between 1 and {MOST:,} of {pick.offer.part}.")
        supplier = pick.offer.supplier
        if supplier.pk not in orders:
            orders[supplier.pk] = _next_order(supplier, by)
        order, left = orders[supplier.pk], pick.quantity
        for job, wanted in unordered(pick.offer.part):
            if left:
                _put_on(order, pick.offer, min(wanted, left), job)
                left -= min(wanted, left)
        if left:
            _put_on(order, pick.offer, left, None)
    for order in orders.values():
        Order.objects.filter(pk=order.pk).update(revision=F("revision") + 1)
    return sorted(orders.values(), key=lambda order: order.supplier.name)


def unordered(part: Part) -> list[tuple[Job, int]]:
    """Which jobs want how many of a part that are on no order yet, the oldest want first."""
    still = []
    for wanted in part.wants.open().select_related("job"):
        lines = OrderLine.objects.filter(part=part, job=wanted.job, order__closed_at__isnull=True)
        left = wanted.left - sum(line.open for line in lines)
        if left > 0:
            still.append((wanted.job, left))
    return still


def price_of_one(offer: Offer) -> Decimal:
    """What one piece of a pack costs, to the six decimals that a line keeps."""
    return (offer.price / offer.pack).quantize(Decimal("0.000001"))


@dataclass(frozen=True)
class Wish:
    """What a line of a draft should say. No pieces takes it off."""

    quantity: int
    price: Decimal


@transaction.atomic
def change(order: Order, *, wishes: Mapping[int, Wish], note: str, revision: int, by: Staff) -> None:
    """Change an order that isn't sent: `wishes` by the line's key, lines that aren't named stay.

    Raises:
        ChangedMeanwhile: somebody else changed it since `revision`.
        NotAllowedYet: it is sent.
    """
    order = _draft(order)
    _take_revision(order, revision)
    for line in order.lines.filter(pk__in=wishes):
        wish = wishes[line.pk]
        if wish.quantity:
            line.quantity, line.price = wish.quantity, wish.price
            line.save(update_fields=["quantity", "price"])
        else:
            line.delete()
    Order.objects.filter(pk=order.pk).update(note=note)


@transaction.atomic
def throw_away(order: Order, *, by: Staff) -> None:
    """Throw a draft away. What jobs want of it is short again.

    Raises:
        NotAllowedYet: it is sent.
    """
    _draft(order).delete()


@transaction.atomic
def send(order: Order, *, due_on: dt.date | None, revision: int, by: Staff) -> None:
    """Say that the order went to its supplier. From now on it takes in what comes.

    Raises:
        ChangedMeanwhile: it isn't any more what was on the screen.
        NotAllowedYet: it is sent already, or there is nothing on it.
    """
    order = _draft(order)
    _take_revision(order, revision)
    lines = list(order.lines.select_related("part", "job"))
    if not lines:
        raise NotAllowedYet("There is nothing on this order. Put parts on it first, or throw it away.")
    Order.objects.filter(pk=order.pk).update(sent_at=timezone.now(), due_on=due_on)
    timeline.write(order, by=by, words="sent this order")
    for line in lines:
        if line.job:
            timeline.write(
                line.job,
                by=by,
                words=f"ordered a part ({order.supplier}, {str(order).lower()})",
                after={"Part": f"{line.quantity} × {line.part}"},
            )


@transaction.atomic
def take_back(order: Order, *, by: Staff) -> None:
    """Say that an order wasn't sent after all: it is a draft again.

    Raises:
        NotAllowedYet: it isn't sent, or something of it came.
    """
    order = _sent(order, even_closed=True)
    if order.lines.filter(came__gt=0).exists():
        raise NotAllowedYet("Something of this order came, so it was sent.")
    order.lines.update(is_back_ordered=False, will_not_come=False)
    Order.objects.filter(pk=order.pk).update(
        sent_at=None, due_on=None, closed_at=None, revision=F("revision") + 1
    )
    timeline.write(order, by=by, words="took back that it was sent")


def expected_on(order: Order, today: dt.date) -> dt.date:
    """The day on which all of an order should be here, as the supplier's days for each part say."""
    days = [
        each if each is not None else order.supplier.lead_days
        for each in Offer.objects.filter(
            supplier=order.supplier, part__in=order.lines.values("part")
        ).values_list("lead_days", flat=True)
    ]
    return today + dt.timedelta(days=max(days, default=order.supplier.lead_days))


# --- What comes of it ----------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Arrival:
    """So many of a line are here, and what one cost in the end."""

    quantity: int
    cost_each: Decimal


@dataclass(frozen=True)
class Arrived:
    """What a parcel did. `ready` are jobs that went back in line; `waits` got some of what they wait for."""

    pieces: int = 0
    ready: list[Job] = field(default_factory=list)
    waits: list[Job] = field(default_factory=list)
    not_aside: list[str] = field(default_factory=list)  # what could not be put aside, and why


@transaction.atomic
def arrive(order: Order, *, arrivals: Mapping[int, Arrival], by: Staff) -> Arrived:
    """Take in what came of an order: onto the shelf, aside for the jobs that wait, and these back in line.

    `arrivals` by the line's key.

    Raises:
        NotAllowedYet: it isn't sent, nothing came, or more than was ordered.
    """
    _hold_parts(order.lines.filter(pk__in=arrivals).values_list("part", flat=True))
    order = _sent(order)
    lines = list(
        order.lines.select_for_update(of=("self",)).select_related("part", "job").order_by("part", "pk")
    )
    here = [(line, arrivals[line.pk]) for line in lines if arrivals.get(line.pk, _NOTHING).quantity]
    if not here:
        raise NotAllowedYet("Say of at least one line how many came.")
    got = Arrived(pieces=sum(arrival.quantity for _, arrival in here))
    jobs = {}
    for line, arrival in here:
        if not 0 < arrival.quantity <= line.quantity - line.came:
            raise NotAllowedYet(
                f"{line.quantity - line.came} of {line.part} are still to come. Receive what came besides on the "
                "part's own page."
            )
        _take_in(line, arrival, by)
        if line.job:
            jobs[line.job_id] = line.job
            _for_the_job(line, arrival.quantity, got, by)
    got.ready.extend(wants.back_in_line(jobs.values(), by=by))
    done = {job.pk for job in got.ready}
    got.waits.extend(job for job in jobs.values() if job.pk not in done)
    _close_if_done(order)
    timeline.write(
        order,
        by=by,
        words="took in what came",
        after={str(line.part): f"{arrival.quantity} of {line.quantity}" for line, arrival in here},
    )
    return got


@transaction.atomic
def mark(line: OrderLine, *, as_: str, by: Staff) -> None:
    """Say what the supplier says of the rest of a line: "back-ordered", "won't come", or "coming" after all.

    What won't come is short again, for the job that wants it too.

    Raises:
        NotAllowedYet: the order isn't sent, or all of the line is here.
    """
    order = _sent(line.order, even_closed=True)
    line = OrderLine.objects.select_for_update(of=("self",)).select_related("part", "job").get(pk=line.pk)
    if line.came >= line.quantity:
        raise NotAllowedYet("All of this line is here.")
    was = said_of(line)
    line.is_back_ordered, line.will_not_come = as_ == "back-ordered", as_ == "won't come"
    line.save(update_fields=["is_back_ordered", "will_not_come"])
    if was == said_of(line):
        return
    timeline.write(
        order,
        by=by,
        words="heard from the supplier",
        before={str(line.part): was},
        after={str(line.part): as_},
    )
    if line.job:
        timeline.write(
            line.job, by=by, words=f"heard about a part on order: {as_}", after={"Part": str(line.part)}
        )
    _close_if_done(order)


def said_of(line: OrderLine) -> str:
    """How it stands with a line of a sent order."""
    if line.came >= line.quantity:
        return "here"
    if line.will_not_come:
        return "won't come"
    return "back-ordered" if line.is_back_ordered else "coming"


_NOTHING: Final = Arrival(0, Decimal(0))


def _take_in(line: OrderLine, arrival: Arrival, by: Staff) -> None:
    if line.part.is_loose:  # nobody counts these: a bag of them is plenty
        stock.set_level(line.part, Part.Level.PLENTY, by=by)
    else:
        stock.receive(
            line.part, quantity=arrival.quantity, cost_each=arrival.cost_each, by=by, order_line=line
        )
    line.came += arrival.quantity
    line.is_back_ordered = line.is_back_ordered and line.came < line.quantity
    line.will_not_come = False
    line.save(update_fields=["came", "is_back_ordered", "will_not_come"])


def _for_the_job(line: OrderLine, count: int, got: Arrived, by: Staff) -> None:
    """Put what came aside for the job that wants it; whatever keeps us from that is said, and no reason to stop."""
    met = wants.came(line.part, line.job, count)
    if not met or line.part.is_loose:
        return
    try:
        with transaction.atomic():
            aside.put_aside(line.part, line.job, quantity=met, by=by)
    except Refused as why:
        got.not_aside.append(f"{line.part} for {line.job.claim}: {why}")


def _close_if_done(order: Order) -> None:
    """An order with nothing to come is closed; one with something is open (again)."""
    done = not any(line.open for line in order.lines.all())
    Order.objects.filter(pk=order.pk).update(
        closed_at=(order.closed_at or timezone.now()) if done else None, revision=F("revision") + 1
    )


def _hold_parts(keys: Iterable[int]) -> None:
    """Hold parts before all else that an order touches: no job and no number waits for one of them then."""
    list(Part.objects.select_for_update().filter(pk__in=set(keys)).order_by("pk"))


def _next_order(supplier: Supplier, by: Staff) -> Order:
    """The supplier's draft, or a new one under the next number. Numbers are given to one at a time."""
    Shop.objects.select_for_update().get(pk=1)  # SQLite's IMMEDIATE transactions hold everything anyway
    draft = Order.objects.filter(supplier=supplier, sent_at__isnull=True).first()
    if draft:
        return draft
    last = Order.objects.aggregate(last=Max("number"))["last"] or 0
    order = Order.objects.create(supplier=supplier, number=last + 1, by=by)
    timeline.write(order, by=by, words="began this order")
    return order


def _put_on(order: Order, offer: Offer, quantity: int, job: Job | None) -> None:
    line = order.lines.filter(part=offer.part, job=job, number=offer.number).first()
    if line:
        OrderLine.objects.filter(pk=line.pk).update(quantity=F("quantity") + quantity)
        return
    order.lines.create(
        part=offer.part, number=offer.number, quantity=quantity, price=price_of_one(offer), job=job
    )


def _draft(order: Order) -> Order:
    held = (
        Order.objects.select_for_update(of=("self",)).select_related("supplier").filter(pk=order.pk).first()
    )
    if held is None:
        raise NotAllowedYet("This order was thrown away meanwhile.")
    if held.sent_at:
        raise NotAllowedYet(f"{held} is sent, and stays as it was sent.")
    return held


def _sent(order: Order, *, even_closed: bool = False) -> Order:
    held = Order.objects.select_for_update(of=("self",)).select_related("supplier").get(pk=order.pk)
    if not held.sent_at:
        raise NotAllowedYet(f"{held} isn't sent yet. Send it; then take in what comes.")
    if held.closed_at and not even_closed:
        raise NotAllowedYet(f"{held} is closed: nothing of it is still to come.")
    return held


def _take_revision(row: Supplier | Order, expected: int) -> None:
    took = type(row).objects.filter(pk=row.pk, revision=expected).update(revision=F("revision") + 1)
    if not took:
        raise ChangedMeanwhile(
            _CHANGED, revision=type(row).objects.values_list("revision", flat=True).get(pk=row.pk)
        )
