"""What is sold over the counter out of a drawer. The stock plugs in here, from the floor above.

A line of a sale names what it is of by a `key`. Who plugs in finds goods and says what they cost; once the invoice
is written, and in the same transaction, it takes them out of their drawer.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from intake.models import InvoiceLine
from shop.models import Staff
from shop.sockets import Socket


@dataclass(frozen=True)
class Good:
    """Something that can be sold. `said` is what there is of it and where; `pieces` how many of it go as one."""

    key: str
    name: str
    said: str
    price: Decimal  # of one piece, as the shop asks for it
    cost: Decimal  # of one piece
    pieces: int = 1
    is_single: bool = False  # there is but one of it: it stands on one line, in `pieces`


@dataclass(frozen=True)
class Goods:
    """Somebody who has goods.

    `read(text)` returns what a scanned label names: one good, or all of a drawer; `find(text, limit)` what answers
    words. `named(keys, hold)` returns those that are still there by their keys, and holds them for this transaction
    if asked to. `take(good, line, by)` takes out what a line of an invoice sold; it raises `Refused`.
    """

    name: str
    read: Callable[[str], Sequence[Good]]
    find: Callable[[str, int], Sequence[Good]]
    named: Callable[[Iterable[str], bool], dict[str, Good]]
    take: Callable[[Good, InvoiceLine, Staff], None]
    order: int = 50


goods: Socket[Goods] = Socket()


def read(text: str) -> list[Good]:
    """What a label names that was scanned, or a drawer's code."""
    return [good for each in goods for good in each.read(text)]


def find(text: str, limit: int) -> list[Good]:
    """What answers the words that somebody types."""
    return [good for each in goods for good in each.find(text, limit)][:limit]


def named(keys: Iterable[str], *, hold: bool = False) -> dict[str, Good]:
    """Goods by their keys; one that is gone is left out."""
    wanted = sorted({key for key in keys if key})
    if not wanted:
        return {}
    return {key: good for each in goods for key, good in each.named(wanted, hold).items()}


def take(good: Good, line: InvoiceLine, by: Staff) -> None:
    """Take out of its drawer what a line of an invoice sold.

    Raises:
        Refused: so many aren't there, or it isn't sold so.
    """
    for each in goods:
        if good.key in each.named([good.key], False):
            each.take(good, line, by)
            return
