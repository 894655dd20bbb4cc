"""The warranty on a repair: until when it runs, and whether gear that comes back is within it.

Pure: dates in, a verdict with its sentence out. Days are counted from the day of collection, by the calendar,
and the last day counts whole. Labour and parts run apart. What warranty must be given differs by place: the
figures are the shop's own.
"""

import datetime as dt
from dataclasses import dataclass

from shop.wording import day_words


@dataclass(frozen=True)
class WarrantyTerms:
    """For how many days after the collection a repair is warranted; 0 is none."""

    labour_days: int
    parts_days: int


@dataclass(frozen=True)
class Verdict:
    """What the warranty on a repair covers on the day that was asked about, and the sentence that says so."""

    labour: bool
    parts: bool
    labour_until: dt.date | None
    parts_until: dt.date | None
    sentence: str

    @property
    def covers(self) -> bool:
        """Whether it covers anything at all."""
        return self.labour or self.parts


def last_day(collected_on: dt.date, days: int) -> dt.date | None:
    """The last day of a warranty of so many days; None where there is none."""
    return collected_on + dt.timedelta(days=days) if days else None


def judge(
    signed: WarrantyTerms, *, collected_on: dt.date | None, asked_on: dt.date, declined: bool = False
) -> Verdict:
    """Say what the warranty on a repair covers on a day, by the terms that were signed.

    `signed` are the terms of the repair itself, not of the visit on which it comes back; `collected_on` is
    None for what was never collected; `declined` is for what went home as it was.
    """
    labour_until = last_day(collected_on, signed.labour_days) if collected_on else None
    parts_until = last_day(collected_on, signed.parts_days) if collected_on else None
    return judge_given(
        labour_until, parts_until, collected_on=collected_on, asked_on=asked_on, declined=declined
    )


def judge_given(
    labour_until: dt.date | None,
    parts_until: dt.date | None,
    *,
    collected_on: dt.date | None,
    asked_on: dt.date,
    declined: bool = False,
) -> Verdict:
    """Say the same by the last days that the receipt of the pickup gave; None where it gave none."""
    if declined:
        return _nothing("It went home as it was, so there is no warranty on it.")
    if collected_on is None:
        return _nothing("It wasn't collected, so its warranty never began.")
    labour = labour_until is not None and collected_on <= asked_on <= labour_until
    parts = parts_until is not None and collected_on <= asked_on <= parts_until
    if asked_on < collected_on:
        sentence = f"The warranty begins on {day_words(collected_on)}, the day it was collected."
    else:
        sentence = _in_words(labour_until, parts_until, asked_on)
    return Verdict(labour, parts, labour_until, parts_until, sentence)


def _nothing(sentence: str) -> Verdict:
    return Verdict(False, False, None, None, sentence)


def _in_words(labour_until: dt.date | None, parts_until: dt.date | None, on: dt.date) -> str:
    if labour_until == parts_until:
        if labour_until is None:
            return "No warranty was given on this repair."
        if on <= labour_until:
            return f"Labour and parts are under warranty until {day_words(labour_until)}."
        return f"The warranty on labour and parts ended on {day_words(labour_until)}."
    return (
        f"{_one_in_words('Labour', 'is', labour_until, on)} {_one_in_words('Parts', 'are', parts_until, on)}"
    )


def _one_in_words(what: str, verb: str, until: dt.date | None, on: dt.date) -> str:
    if until is None:
        return f"{what} had no warranty."
    if on <= until:
        return f"{what} {verb} under warranty until {day_words(until)}."
    return f"The warranty on {what.lower()} ended on {day_words(until)}."
