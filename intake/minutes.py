"""How long something took, as people write it. Pure."""

import datetime as dt
import re
from decimal import ROUND_HALF_UP, Decimal

LONGEST = 24 * 60  # one spell of work: nobody stands at a bench for longer

_MINUTES = re.compile(r"([0-9]{1,4})\s*(?:m|min|mins|minutes?)?")
_CLOCK = re.compile(r"([0-9]{1,2})\s*:\s*([0-5][0-9])(?:\s*h)?")
_HOURS = re.compile(r"([0-9]{1,2}(?:[.,][0-9]{1,2})?)\s*(?:h|hr|hrs|hours?)")
_BOTH = re.compile(
    r"([0-9]{1,2})\s*(?:h|hr|hrs|hours?)\s*(?:and\s*)?([0-5]?[0-9])\s*(?:m|min|mins|minutes?)?"
)


class MinutesError(ValueError):
    """That is no length of time; the message says how to write one."""


def parse_minutes(text: str) -> int:
    """Return whole minutes, from 1 to a day, from `85`, `85 min`, `1:25`, `1 h 25`, `1.5 h`.

    Raises:
        MinutesError: it is none of these, or out of that range.
    """
    bare = text.strip().lower()[:40]
    if found := _MINUTES.fullmatch(bare):
        minutes = int(found[1])
    elif found := _CLOCK.fullmatch(bare) or _BOTH.fullmatch(bare):
        minutes = int(found[1]) * 60 + int(found[2])
    elif found := _HOURS.fullmatch(bare):
        hours = Decimal(found[1].replace(",", "."))
        minutes = int((hours * 60).to_integral_value(ROUND_HALF_UP))
    else:
        raise MinutesError("Write minutes, like 85, or hours and minutes, like 1 h 25.")
    if not 1 <= minutes <= LONGEST:
        raise MinutesError("Write between 1 minute and 24 hours.")
    return minutes


def between(began: dt.datetime, ended: dt.datetime) -> int:
    """Whole minutes of a spell, half a minute up; a spell that was begun counts as one at least."""
    seconds = max((ended - began).total_seconds(), 0)
    return max(1, int((seconds + 30) // 60))


def as_hours(minutes: int) -> Decimal:
    """Hours with two decimals, as a bill charges them: 85 minutes are 1.42 h."""
    return (Decimal(minutes) / 60).quantize(Decimal("0.01"), ROUND_HALF_UP)
