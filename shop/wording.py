"""Dates, spans of time and claim numbers as people write them. Pure: no clock, no settings, no HTML."""

import datetime as dt
import re
from typing import Final

# Our own words for where a job stands, in the order a job goes through them; each shape has that name.
STATES: Final[dict[str, str]] = {
    "tagged-in": "Tagged in",
    "in-line": "In line",
    "on-the-bench": "On the bench",
    "owner-to-decide": "Owner to decide",
    "parts-on-order": "Parts on order",
    "soak-test": "Soak test",
    "ready": "Ready",
    "collected": "Collected",
    "going-home-as-is": "Going home as is",
    "left-behind": "Left behind",
    "let-go": "Let go",
}

_DAYS: Final = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_MONTHS: Final = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_CLAIM: Final = re.compile(r"(\d{4})-?(\d{4,})-?([0-9A-Z])", re.IGNORECASE)


def day_words(day: dt.date) -> str:
    """Write a day: "Wed 25 Nov 2026". The month is a word, because 4/5 is April to some and May to others."""
    return f"{_DAYS[day.weekday()]} {day.day} {_MONTHS[day.month - 1]} {day.year}"


def moment_words(moment: dt.datetime) -> str:
    """Write a moment of the zone it is in: "Wed 25 Nov 2026, 14:05"."""
    return f"{day_words(moment)}, {moment:%H:%M}"


def ago_words(then: dt.datetime | dt.date, now: dt.datetime | dt.date) -> str:
    """Say how long ago or how far ahead something is, in its largest whole unit: "3 days ago", "in 2 weeks".

    Two days are compared by the calendar, so yesterday evening is "yesterday" and not "9 hours ago"
    as soon as either is a plain day. Two moments are compared by the clock under a day, else by the calendar.
    """
    if isinstance(then, dt.datetime) and isinstance(now, dt.datetime):
        seconds = (now - then).total_seconds()
        minutes = int(abs(seconds) // 60)
        if minutes < 1:
            return "just now"
        if minutes < 60:
            return _away(minutes, "minute", ahead=seconds < 0)
        if minutes < 24 * 60 and then.date() == now.date():
            return _away(minutes // 60, "hour", ahead=seconds < 0)
    days = (_date(now) - _date(then)).days
    if days == 0:
        return "today"
    if abs(days) == 1:
        return "yesterday" if days > 0 else "tomorrow"
    # A month is 30.44 days, the mean of the Gregorian year: nobody counts on the words "4 months ago".
    for size, unit in ((365.25, "year"), (30.44, "month"), (7, "week")):
        if abs(days) >= 2 * size:
            return _away(int(abs(days) // size), unit, ahead=days < 0)
    return _away(abs(days), "day", ahead=days < 0)


def span_words(minutes: int) -> str:
    """Write a length of time given in whole minutes: "45 min", "1 h 25 min", "2 h"."""
    hours, rest = divmod(abs(minutes), 60)
    words = " ".join(
        part for part in (f"{hours} h" if hours else "", f"{rest} min" if rest or not hours else "") if part
    )
    return f"−{words}" if minutes < 0 else words


def clock_words(seconds: int) -> str:
    """Write a running time given in whole seconds as h:mm:ss."""
    minutes, rest = divmod(max(seconds, 0), 60)
    return f"{minutes // 60}:{minutes % 60:02}:{rest:02}"


def claim_groups(claim: str) -> tuple[str, ...]:
    """Split a claim number into what the eye takes at once: month, number, check character.

    Anything that isn't a claim number comes back whole, so that a page never hides what is stored.
    """
    match = _CLAIM.fullmatch(claim.strip())
    return tuple(group.upper() for group in match.groups()) if match else (claim,)


def state_slug(state: str) -> str:
    """Turn a stored state ("on_the_bench", "On the bench") into the name of its shape."""
    return re.sub(r"[\s_]+", "-", state.strip().lower())


def state_words(state: str) -> str:
    """The word for a state. One that isn't ours is shown as it is written, never left out."""
    slug = state_slug(state)
    return STATES.get(slug, slug.replace("-", " ").capitalize())


def _away(count: int, unit: str, *, ahead: bool) -> str:
    words = f"{count} {unit}" if count == 1 else f"{count} {unit}s"
    return f"in {words}" if ahead else f"{words} ago"


def _date(when: dt.datetime | dt.date) -> dt.date:
    return when.date() if isinstance(when, dt.datetime) else when
