"""Matching: is the customer who signed the pad somebody the shop knows? Values in, values out; staff decide.

How alike is alike enough is common practice, no source: a shop would rather see one candidate too many.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from difflib import SequenceMatcher
from enum import IntEnum

from intake.folding import digits, fold

ALIKE = 0.8  # of 1.0: `Dana Whitlow` and `Dana Whitlaw` are 0.92, `Dana Whitlow` and `Dan Whitelow` 0.87
SHORTEST_SUFFIX = 7  # fewer digits than a local number are too common at the end of others


class Likeness(IntEnum):
    """Why somebody may be the same person, the strongest last."""

    SIMILAR_NAME = 1
    SAME_NAME = 2
    SAME_PHONE = 3
    SAME_PHONE_AND_NAME = 4

    @property
    def words(self) -> str:
        return self.name.lower().replace("_", " ")


@dataclass(frozen=True)
class KnownPerson:
    """What matching needs of a person the shop knows."""

    pk: int
    name: str
    phones: tuple[str, ...] = ()


@dataclass(frozen=True)
class Candidate:
    """A person who may be the one, why, and how alike the names are (0 to 1)."""

    person: KnownPerson
    why: Likeness
    alike: float


def same_phone(one: str, other: str) -> bool:
    """Say whether two numbers reach the same phone, written with or without country code, trunk zero, spaces.

    `+1 555 010 0233`, `(555) 010-0233` and `0 555 010 0233` are the same; a short number must be equal whole.
    """
    one, other = sorted((_national(one), _national(other)), key=len)
    if len(one) < SHORTEST_SUFFIX:
        return bool(one) and one == other
    return other.endswith(one)


def how_alike(one: str, other: str) -> float:
    """Return how alike two names are, 0 to 1, whatever the order of their words, accents and capitals."""
    one, other = _sorted_words(one), _sorted_words(other)
    if not one or not other:
        return 0.0
    matcher = SequenceMatcher(None, one, other, autojunk=False)
    # The two quick ratios are upper bounds: most pairs of strangers need no more than them.
    if matcher.real_quick_ratio() < ALIKE or matcher.quick_ratio() < ALIKE:
        return min(matcher.quick_ratio(), ALIKE - 0.01)
    return matcher.ratio()


def candidates(
    name: str, phones: Sequence[str], known: Iterable[KnownPerson], limit: int = 6
) -> list[Candidate]:
    """Return who of the known people may be the customer, most likely first."""
    found = []
    for person in known:
        alike = how_alike(name, person.name)
        by_phone = any(same_phone(mine, theirs) for mine in phones for theirs in person.phones)
        if by_phone:
            why = Likeness.SAME_PHONE_AND_NAME if alike >= ALIKE else Likeness.SAME_PHONE
        elif alike == 1:
            why = Likeness.SAME_NAME
        elif alike >= ALIKE:
            why = Likeness.SIMILAR_NAME
        else:
            continue
        found.append(Candidate(person, why, alike))
    return sorted(found, key=lambda c: (-c.why, -c.alike, c.person.pk))[:limit]


def _national(number: str) -> str:
    """The digits without a trunk prefix: at the front, or in brackets behind the country code."""
    return digits(number.replace("(0)", "")).lstrip("0")


def _sorted_words(name: str) -> str:
    return " ".join(sorted(fold(name).split()))
