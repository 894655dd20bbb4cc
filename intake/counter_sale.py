"""What is sold over the counter: parts and the like, without a job. The invoice and its payment in one go.

What a line takes out of a drawer goes in the same transaction: there is no invoice for what isn't there.
"""

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal
from typing import Final

from django.db import transaction

from intake import billing, goods, payments
from intake.billing import CantBill, Row, say
from intake.models import Invoice, InvoiceLine, Payment, Person
from intake.models.bills import LineKind
from shop import money, timeline
from shop.errors import ChangedMeanwhile, Refused
from shop.models import Staff

WHAT: Final = "Sold over the counter"
KINDS: Final = (LineKind.PART, LineKind.FEE, LineKind.DISCOUNT)


class NotTaken(CantBill):
    """What a line sells can't be taken out of its drawer. `row` is that line."""

    def __init__(self, sentence: str, row: Row):
        super().__init__(sentence)
        self.row = row


def sum_up(lines: Sequence[Row], *, person: Person | None, on: dt.date | None = None) -> money.Totals:
    """What a sale of these lines comes to, discounts last, with the taxes of a day (or today's).

    Raises:
        CantBill: nothing is sold, too much for one paper, or figures that make no bill.
    """
    shop = billing.the_shop()
    if not any(line.kind != LineKind.DISCOUNT for line in lines):
        raise CantBill("Write at least one line that is sold.")
    if len(lines) > billing.MOST_LINES:
        raise CantBill(f"A sale has at most {billing.MOST_LINES} lines. Put some together.")
    if any(line.kind not in KINDS for line in lines):
        raise CantBill("Labour is charged on a job. Over the counter parts and fees are sold.")
    totals = billing.total_of(
        _in_order(lines), shop, on or billing.today(shop), exempt=billing.is_exempt(person)
    )
    if totals.gross >= money.LARGEST / 1000:  # the columns of a bill hold nine digits before the point
        raise CantBill("That is more than one bill can hold. Check the quantities and the prices.")
    return totals


@transaction.atomic
def sell(
    lines: Sequence[Row],
    *,
    by: Staff,
    method: str | None,
    person: Person | None = None,
    tendered: Decimal | None = None,
    seen: Decimal | None = None,
    on: dt.date | None = None,
) -> tuple[Invoice, Payment | None]:
    """Sell over the counter: an invoice under the next number, and the payment of all of it.

    `method` is how it is paid, None for not paid yet, which is for somebody who is named. `tendered` is the
    cash that was handed over; `seen` the sum that was on the screen.

    Raises:
        CantBill: see `sum_up`; or it isn't paid and nobody is named; or what `payments.take` refuses.
        NotTaken: so many of a line aren't in the drawer.
        ChangedMeanwhile: it comes to another sum than was seen.
    """
    here = goods.named((line.good for line in lines), hold=True)  # held before the numbers, as everywhere
    shop = billing.the_shop()
    on = on or billing.today(shop)
    totals = sum_up(lines, person=person, on=on)
    if seen is not None and seen != totals.gross:
        raise ChangedMeanwhile("It comes to another sum than was shown. Look at it; then sell it.")
    if method is None and person is None and totals.gross:
        raise CantBill("Only somebody who is named can pay later. Say who it is, or take the payment.")
    lines = _in_order(lines)
    sale = billing.write_invoice(
        shop,
        [_at_cost(line, here) for line in lines],
        totals,
        person=person,
        job=None,
        issued_on=on,
        by=by,
        what=WHAT,
    )
    for line, written in zip(lines, sale.lines.all(), strict=True):
        if line.good:
            _take(line, here[line.good], written, by)
    words = f"sold {say(sale.gross, sale.currency)} over the counter, invoice {sale.label}"
    timeline.write(sale, by=by, words=words)
    if person is not None:
        timeline.write(person, by=by, words=words)
    if method is None or not sale.gross:
        return sale, None
    return sale, payments.take(sale, amount=sale.gross, method=method, tendered=tendered, by=by)


def _at_cost(line: Row, here: dict[str, goods.Good]) -> Row:
    """A line with what its good costs now; what somebody wrote is for what is in no drawer."""
    if not line.good:
        return line
    if line.good not in here:
        raise NotTaken("This isn’t in stock any more. Clear the line, or choose it anew.", line)
    return replace(line, unit_cost=here[line.good].cost)


def _take(line: Row, good: goods.Good, written: InvoiceLine, by: Staff) -> None:
    try:
        goods.take(good, written, by)
    except Refused as why:
        raise NotTaken(str(why), line) from why


def _in_order(lines: Sequence[Row]) -> list[Row]:
    """Discounts last: they take off what stands above them."""
    return sorted(lines, key=lambda line: line.kind == LineKind.DISCOUNT)
