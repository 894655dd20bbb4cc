"""What a floor above knows to be on the bench: it fills boxes of a worksheet before anybody types."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

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
