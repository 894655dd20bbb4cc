"""What a floor above knows of the bench: what is on it fills boxes of a worksheet, and which meter is elsewhere."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from calc.models import Meter
from shop.sockets import Socket


@dataclass(frozen=True)
class OnHand:
    """Fills the boxes of the worksheet called `slug`.

    `said()` maps their names to texts as somebody would type them.
    """

    name: str
    slug: str
    said: Callable[[], Mapping[str, str]]
    order: int = 50


on_hand: Socket[OnHand] = Socket()


def said_for(slug: str) -> dict[str, str]:
    """What is plugged in for a worksheet."""
    said: dict[str, str] = {}
    for each in on_hand:
        if each.slug == slug:
            said |= each.said()
    return said


@dataclass(frozen=True)
class Elsewhere:
    """Where a meter is ("lent to Dana Whitlow"), and the page on which it is written down as back."""

    words: str
    url: str


@dataclass(frozen=True)
class Lender:
    """Knows which meters are out of the house. `where(meter)` returns None for one that isn't in its hands."""

    name: str
    where: Callable[[Meter], Elsewhere | None]
    order: int = 50


lenders: Socket[Lender] = Socket()


def where(meter: Meter) -> Elsewhere | None:
    """Where a meter is that isn't in the house, as far as anybody knows."""
    return next((found for each in lenders if (found := each.where(meter))), None)
