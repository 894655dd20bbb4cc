"""The one search box: asks every finder that this person may ask, and keeps their answers apart.

What can be found is none of this floor's business: finders are plugged into `shop.sockets.finders`.
"""

from dataclasses import dataclass

from shop import sockets
from shop.errors import Refused
from shop.models import Staff

SHORTEST = 2
LONGEST = 300  # a scanned address is longer than anything that is typed
LIMIT = 8


@dataclass(frozen=True)
class FoundKind:
    """The hits of one finder."""

    name: str
    hits: tuple[sockets.Hit, ...]


@dataclass(frozen=True)
class Found:
    """What the box answers.

    `straight` is the address of the one thing that was named whole; `wrong` the sentence about a number that
    can't be right. `kinds` has only finders that found something.
    """

    text: str
    kinds: tuple[FoundKind, ...] = ()
    straight: str = ""
    wrong: str = ""

    @property
    def too_short(self) -> bool:
        return len(self.text) < SHORTEST

    @property
    def is_empty(self) -> bool:
        return not self.kinds


def search(text: str, by: Staff) -> Found:
    """Look for what somebody typed or scanned, among what they may see."""
    text = _typed(text)
    if len(text) < SHORTEST:
        return Found(text)
    finders = [finder for finder in sockets.finders if by.may(finder.act)]
    straight, wrong = _straight(text, finders)
    kinds = [FoundKind(finder.name, tuple(finder.find(text, LIMIT))) for finder in finders]
    return Found(text, tuple(kind for kind in kinds if kind.hits), straight, wrong)


def _straight(text: str, finders: list[sockets.Finder]) -> tuple[str, str]:
    """The address that the text names whole, and what is wrong with it where it nearly does."""
    wrong = ""
    for finder in finders:
        if finder.straight is None:
            continue
        try:
            if url := finder.straight(text):
                return url, ""
        except Refused as slip:
            wrong = str(slip)
    return "", wrong


def _typed(text: str) -> str:
    """Without control characters (a scanner may send some, PostgreSQL refuses a NUL), and not without end."""
    return "".join(c for c in text[:LONGEST] if c.isprintable()).strip()
