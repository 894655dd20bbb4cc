"""The storage clock as a picture: a strip of days with what is free, what costs, the notices, the deadline, today.

Pure: a `Clock` in, places and words out. `templates/intake/_storage_picture.html` draws them; the picture says
nothing that isn't in its words too.
"""

import datetime as dt
from dataclasses import dataclass
from typing import Final

from intake.storage import Clock
from shop.wording import day_words

WIDTH: Final = 720
HEIGHT: Final = 112
_LEFT, _RIGHT = 12, 708
_MOST_MARKS = 12  # more circles than that can't be told apart


@dataclass(frozen=True)
class Mark:
    """A notice on the strip: `kind` is "counts", "passed over" or "planned"."""

    x: float
    number: int
    kind: str


@dataclass(frozen=True)
class Picture:
    """Places in the units of the drawing; `words` is the text that stands for it."""

    words: str
    free_to: float
    deadline: float
    today: float
    today_anchor: str
    deadline_anchor: str
    end: float
    marks: tuple[Mark, ...]
    left: float = _LEFT
    width: int = WIDTH
    height: int = HEIGHT

    @property
    def free_wide(self) -> float:
        return round(self.free_to - self.left, 1)

    @property
    def rest_wide(self) -> float:
        return round(self.end - self.free_to, 1)


def draw(clock: Clock) -> Picture | None:
    """The picture of a clock; None where none runs."""
    if clock.told_on is None or clock.deadline is None or clock.last_free_day is None:
        return None
    last = max(clock.deadline, clock.on)
    if clock.next_notice:
        last = max(last, clock.next_notice.on)
    span = max((last - clock.told_on).days + 2, 2)

    def at(day: dt.date) -> float:
        share = (day - clock.told_on).days / span
        return round(_LEFT + (_RIGHT - _LEFT) * min(max(share, 0), 1), 1)

    marks = [
        Mark(at(one.notice.sent_on), one.notice.number, "counts" if one.counts else "passed over")
        for one in clock.notices[-_MOST_MARKS:]
    ]
    if clock.next_notice:
        marks.append(Mark(at(clock.next_notice.on), clock.next_notice.number, "planned"))
    return Picture(
        words=_words(clock),
        free_to=at(min(clock.last_free_day + dt.timedelta(days=1), last)),
        deadline=at(clock.deadline),
        today=at(clock.on),
        today_anchor=_anchor(at(clock.on)),
        deadline_anchor=_anchor(at(clock.deadline)),
        end=_RIGHT,
        marks=tuple(marks),
    )


def _anchor(x: float) -> str:
    """Which end of a label stands at its mark, so that none leaves the picture."""
    if x < 80:
        return "start"
    return "end" if x > WIDTH - 100 else "middle"


def _words(clock: Clock) -> str:
    said = [
        f"Told on {day_words(clock.told_on)}",
        f"free until {day_words(clock.last_free_day)}",
        *(
            f"notice {one.notice.number} sent on {day_words(one.notice.sent_on)}"
            + ("" if one.counts else ", which doesn’t count")
            for one in clock.notices
        ),
    ]
    if clock.next_notice:
        said.append(f"the next notice on {day_words(clock.next_notice.on)}")
    said += [f"deadline {day_words(clock.deadline)}", f"today {day_words(clock.on)}, day {clock.day}"]
    return "; ".join(said) + "."
