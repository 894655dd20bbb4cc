"""The invented shop's money beside the repairs: the counter's sales, a credit note, bad debts, the till."""

import datetime as dt
from collections.abc import Iterator
from decimal import Decimal
from typing import TYPE_CHECKING, Final

from django.utils import timezone

from intake import billing, cashup, counter_sale, credits, payments, work
from intake.demo.plans import SHUTS, Plan, when_open
from intake.models import Payment
from shop import demo

if TYPE_CHECKING:
    from intake.demo.stories import Past

SOLD: Final = (
    ("Fuse, T2A", "0.60"),
    ("Jack socket, switched", "2.60"),
    ("EL34, matched pair", "64.00"),
    ("Power cord, 3-core with plug", "8.50"),
    ("Contact cleaner, 200 ml", "11.20"),
    ("Tape loop", "7.50"),
)
COUNTED: Final = 150  # days back from now on which the till was counted


def sales(past: "Past") -> Iterator[dt.datetime]:
    """Somebody buys a part over the counter, every two weeks or so; a band once pays later."""
    later = True
    while True:
        text, price = past.dice.choice(SOLD)
        count = Decimal(past.dice.randint(1, 3))
        row = billing.Row("part", text, count, Decimal(price), unit_cost=Decimal(price) / 2)
        method = past.dice.choice((Payment.Method.CASH, Payment.Method.CASH, Payment.Method.CARD))
        bands = [c.person for c in past.planner.town if c.person and c.kind == "band"]
        if later and len(bands) > 2:
            later = False
            sale, _ = counter_sale.sell([row], by=past.ida, method=None, person=bands[0])
            yield past.clock.moment + dt.timedelta(days=3)
            payments.take(sale, amount=sale.gross, method="transfer", by=past.ida)
        else:
            counter_sale.sell([row], by=past.ida, method=method)
        demo.take_part(None, row, past.ida)
        yield when_open(past.clock.moment + dt.timedelta(days=past.dice.uniform(9, 21)))


def counts(past: "Past") -> Iterator[dt.datetime]:
    """The till, counted at the end of each day that had cash; now and then a coin is missing."""
    counted = 0
    for back in range(COUNTED, 0, -1):
        day = timezone.localdate(past.clock.now) - dt.timedelta(days=back)
        yield dt.datetime.combine(day, dt.time(SHUTS, 5), past.shop.zone)
        taken, given_back = cashup.cash_of(day, past.shop)
        if not taken and not given_back:
            continue
        should_be = cashup.expected(day, past.shop)
        counted += 1
        short = Decimal("0.50") if counted % 6 == 3 else Decimal(0)
        note = "A half dollar short. Looked under the mat." if short else ""
        cashup.count(day=day, counted=should_be - short, by=past.ida, note=note)


def credit(past: "Past", plan: Plan) -> Iterator[dt.datetime]:
    """One part too many was charged: it is credited, and the money goes back."""
    job = plan.job
    yield past.after(plan, 5, 9)
    invoice = job.invoices.get(kind="invoice")
    line = next(line for line in invoice.lines.all() if line.kind == "part" and line.quantity > 1)
    work.note(job, text=f"Rang: only one “{line.text}” came out of the old one. They are right.", by=past.ida)
    reason = "One of them was charged twice."
    credits.credit(invoice, taken={line.pk: Decimal(1)}, reason=reason, by=past.ida)
    payments.give_back(
        job, amount=billing.account(job).in_hand, method="card", reason="Credited", by=past.ida
    )


def owes(past: "Past", plan: Plan) -> Iterator[dt.datetime]:
    """It went home on the owner's word, and nobody pays; long after, it is written off."""
    yield past.after(plan, 28, 35)
    work.note(plan.job, text="Rang about the bill. “Next week.”", by=past.ida)
    if plan.unpaid == "owes still":
        return
    yield past.after(plan, 100, 140)
    payments.write_off(
        plan.job, amount=billing.owed(plan.job), reason="The band broke up; nobody answers.", by=past.wren
    )
