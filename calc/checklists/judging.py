"""How a run stands: which line is next, what stopped it, whether all of it is done."""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import pint

from calc.checklists.lines import Ask, Checklist, Line
from calc.engine.limits import Standing, stand
from calc.engine.quantities import nominal, units


class Outcome(StrEnum):
    """What came of a line when somebody signed it."""

    DONE = "done"
    FAILED = "failed"
    CLOSE = "close"  # the meter's ± reaches over the limit: no pass
    NOT_HERE = "not-here"  # this gear hasn't got it


CLOSED: Final = (Outcome.DONE, Outcome.NOT_HERE)
WRONG: Final = (Outcome.FAILED, Outcome.CLOSE)


@dataclass(frozen=True)
class Signed:
    """The last thing that was signed on a line and stands. `value` is in the line's unit."""

    outcome: Outcome
    at: dt.datetime
    value: float | None = None


@dataclass(frozen=True)
class Stand:
    """How a run stands. `next` is the one line that can be signed now; `stopped_by` is that line where it failed."""

    next: Line | None
    stopped_by: Line | None
    wait_until: dt.datetime | None  # before that the next line can't be signed
    closed: int
    of: int

    @property
    def all_closed(self) -> bool:
        """Every line is done, or isn't on this gear."""
        return self.next is None


def how_it_stands(checklist: Checklist, signed: Mapping[str, Signed], *, began: dt.datetime) -> Stand:
    """Go through a list from the top. Lines below an open one don't count, whatever was signed there.

    What rests on a line that was signed again since, a drift or a wait, is open again.
    """
    for number, line in enumerate(checklist.lines):
        last = signed.get(line.key)
        if last is not None and last.outcome in CLOSED and not _is_outdated(line, last, signed):
            continue
        return Stand(
            next=line,
            stopped_by=line if last is not None and last.outcome not in CLOSED else None,
            wait_until=_wait_until(line, signed, began),
            closed=number,
            of=len(checklist.lines),
        )
    return Stand(None, None, None, len(checklist.lines), len(checklist.lines))


def _is_outdated(line: Line, last: Signed, signed: Mapping[str, Signed]) -> bool:
    """Whether the line that it waits for, or is compared with, was signed again after it: it counts no more."""
    return any(signed[key].at > last.at for key in (line.since, line.drift_of) if key)


def _wait_until(line: Line, signed: Mapping[str, Signed], began: dt.datetime) -> dt.datetime | None:
    if not line.wait:
        return None
    start = signed[line.since].at if line.since else began
    return start + dt.timedelta(seconds=line.wait)


def judge_reading(line: Line, value: pint.Quantity, signed: Mapping[str, Signed]) -> tuple[Outcome, str]:
    """Judge a reading of a line, ± and all, and say it in a sentence.

    A reading right on its limit passes where it has no ±; one whose ± reaches over the limit is too close to call.
    Where there is only an upper limit, how much it is counts and not its sign: -300 V is not under 50 V. A drift is
    judged by what the meter showed: what it is out by is the same in both readings.
    """
    assert line.ask is Ask.READING
    size = -value if line.at_least is None and nominal(value) < 0 else value
    where = stand(size, _limit(line, line.at_least), _limit(line, line.at_most))
    if where is Standing.OUT:
        return Outcome.FAILED, f"{line.point}: {_shown(line, value)} is not {line.limit}."
    if where is Standing.CLOSE:
        return (
            Outcome.CLOSE,
            f"{line.point}: {_shown(line, value)} is too close to call; it must be {line.limit}.",
        )
    if line.drift_of and (first := signed.get(line.drift_of)) and first.value is not None:
        return _judge_drift(line, nominal(value, _unit(line)), first.value)
    return Outcome.DONE, f"{line.point}: {_shown(line, value)}" + (f", {line.limit}." if line.limit else ".")


def _judge_drift(line: Line, last: float, first: float) -> tuple[Outcome, str]:
    if first == 0:
        drifted = 0.0 if last == 0 else float("inf")
    else:
        drifted = abs(last - first) / abs(first) * 100
    said = f"{line.point}: {line.shown(first)} at the start, {line.shown(last)} at the end"
    if drifted > line.drift * (1 + 1e-9):
        return Outcome.FAILED, f"{said}. It drifted by more than {line.drift:g} %."
    return Outcome.DONE, f"{said}, within {line.drift:g} %."


def _unit(line: Line) -> str:
    return "percent" if line.unit == "%" else line.unit


def _limit(line: Line, number: float | None) -> pint.Quantity | None:
    return None if number is None else units.Quantity(number, _unit(line))


def _shown(line: Line, value: pint.Quantity) -> str:
    return line.shown(nominal(value, _unit(line)))
