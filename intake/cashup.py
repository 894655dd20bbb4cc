"""The day's cash-up: the till counted at the end of a day, against the cash that should be in it.

What should be in it is the change that the shop keeps there, and the cash of the day: taken less given back. Cash
that gear left behind was sold for is of its day too, and so are the costs of selling it that the till paid. It is
taken for granted that what is above the change leaves the till after the count. A count is never changed; whoever
counts again writes a new one, and the last one of a day counts.
"""

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Mapping
from decimal import Decimal
from typing import Any, Final

from django.db import transaction

from intake import billing
from intake.billing import say
from intake.models import CashUp, Payment
from shop import money
from shop.errors import Refused
from shop.models import Shop, Staff

LOOKED_BACK: Final = 14  # days in which a forgotten count is asked for


class CountRefused(Refused):
    """This can't be kept as the count of a day; the sentence says why."""


def total_of(pieces: Mapping[Decimal, int]) -> Decimal:
    """Return what coins and notes come to: value -> how many. Pure."""
    return sum((value * count for value, count in pieces.items()), Decimal(0))


def _bounds(first: dt.date, last: dt.date, shop: Shop) -> tuple[dt.datetime, dt.datetime]:
    midnight = dt.time()
    return (
        dt.datetime.combine(first, midnight, shop.zone),
        dt.datetime.combine(last + dt.timedelta(days=1), midnight, shop.zone),
    )


def _cash(first: dt.date, last: dt.date, shop: Shop) -> Iterable[tuple[dt.datetime, Decimal]]:
    since, until = _bounds(first, last, shop)
    cash = Payment.objects.filter(method=Payment.Method.CASH, at__gte=since, at__lt=until)
    return cash.order_by().values_list("at", "amount")


def cash_of(day: dt.date, shop: Shop) -> tuple[Decimal, Decimal]:
    """Return the cash that was taken on a day, and the cash that went out of it; neither is below zero."""
    amounts = [amount for _, amount in _cash(day, day, shop)]
    zero = money.round_to(0, shop.currency)
    return (
        sum((amount for amount in amounts if amount > 0), zero),
        -sum((amount for amount in amounts if amount < 0), zero),
    )


def expected(day: dt.date, shop: Shop) -> Decimal:
    """Return what should be in the till at the end of a day."""
    taken, given_back = cash_of(day, shop)
    return money.round_to(shop.cash_float, shop.currency) + taken - given_back


@transaction.atomic
def count(
    *, day: dt.date, counted: Decimal, by: Staff, pieces: Mapping[Decimal, int] | None = None, note: str = ""
) -> CashUp:
    """Keep the count of a day, with its difference. A count of the same day before it stays, and counts no more.

    Raises:
        CountRefused: the day isn't over or begun yet, the pieces don't come to the sum, or a difference has no note.
    """
    shop = billing.the_shop()
    if day > billing.today(shop):
        raise CountRefused("That day hasn’t come yet.")
    if counted < 0 or counted >= money.LARGEST:
        raise CountRefused("Write what is in the till, from nothing upwards.")
    if pieces and total_of(pieces) != counted:
        raise CountRefused(
            f"The coins and notes come to {say(total_of(pieces), shop.currency)}, not to {say(counted, shop.currency)}."
        )
    should_be = expected(day, shop)
    if counted != should_be and not note.strip():
        raise CountRefused(difference_words(counted - should_be, shop.currency) + " Write a note about it.")
    return CashUp.objects.create(
        day=day,
        expected=should_be,
        counted=counted,
        pieces={f"{value:f}": many for value, many in (pieces or {}).items() if many},
        note=note.strip(),
        by=by,
    )


def difference_words(difference: Decimal, currency: str) -> str:
    """Say a difference: more or less in the till than there should be."""
    if not difference:
        return "It is all there."
    more = "more" if difference > 0 else "less"
    return f"There is {say(abs(difference), currency)} {more} than there should be."


def last_counts(limit: int) -> list[CashUp]:
    """The last count of each of the latest days that were counted, the latest day first."""
    found: dict[dt.date, CashUp] = {}
    for counted in CashUp.objects.select_related("by").order_by("-day", "-at", "-pk")[: limit * 3]:
        found.setdefault(counted.day, counted)
    return list(found.values())[:limit]


def not_counted(shop: Shop, today: dt.date) -> list[dt.date]:
    """The days before today that had cash and weren't counted, of the last two weeks; the latest first."""
    first, last = today - dt.timedelta(days=LOOKED_BACK), today - dt.timedelta(days=1)
    had_cash = {at.astimezone(shop.zone).date() for at, _ in _cash(first, last, shop)}
    counted = set(CashUp.objects.filter(day__gte=first, day__lte=last).values_list("day", flat=True))
    return sorted(had_cash - counted, reverse=True)


def at_a_glance(shop: Shop, today: dt.date) -> dict[str, Any]:
    """What should be in the till today, whether it is counted, and the days that were forgotten; two queries."""
    first, cash = today - dt.timedelta(days=LOOKED_BACK), defaultdict(list)
    for at, amount in _cash(first, today, shop):
        cash[at.astimezone(shop.zone).date()].append(amount)
    counted = set(CashUp.objects.filter(day__gte=first, day__lte=today).values_list("day", flat=True))
    return {
        "expected": sum(cash.pop(today, ()), money.round_to(shop.cash_float, shop.currency)),
        "counted": today in counted,
        "forgotten": sorted(set(cash) - counted, reverse=True),
    }


def values_before() -> list[Decimal]:
    """The coins and notes that the till was last counted in, the largest first."""
    last = CashUp.objects.exclude(pieces={}).order_by("-at", "-pk").values_list("pieces", flat=True).first()
    return sorted((Decimal(value) for value in last or {}), reverse=True)
