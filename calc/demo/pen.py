"""What is written down at one visit to the bench: rows with the moments at which they would have been written."""

import datetime as dt
from collections.abc import Mapping
from functools import lru_cache
from typing import Any

from calc.checklists.judging import Outcome
from calc.engine import VERSION
from calc.engine.quantities import nominal, parse_measured, show
from calc.models import KeptSheet, ListRun, ListVersion, Mark, Meter, Reading, SignOff
from intake.models import Job
from shop import timeline
from shop.models import Entry, Staff

_YEAR = dt.timedelta(days=365)


@lru_cache(maxsize=4096)
def understood(written: str, unit: str) -> tuple[float, str]:
    """A reading as the engine reads it and as people do."""
    value = parse_measured(written, unit)
    return nominal(value), show(value)


def due_then(meter: Meter, day: dt.date) -> dt.date | None:
    """When a meter's calibration ran out, as it was known on a day: it was done every year."""
    due = meter.due_on
    while due and due - _YEAR >= day:
        due -= _YEAR
    return due


class Pen:
    """Rows of one job, by one of staff, kept until `put_down`."""

    def __init__(self, job: Job, by: Staff):
        self.job, self.by = job, by
        self._readings: list[Reading] = []
        self._sheets: list[KeptSheet] = []
        self._runs: list[ListRun] = []
        self._marks: list[Mark] = []
        self._signed: list[SignOff] = []
        self._entries: list[Entry] = []

    def say(self, at: dt.datetime, words: str, after: Mapping[str, str] | None = None) -> None:
        changes = [{"what": what, "before": "", "after": text} for what, text in (after or {}).items()]
        about = timeline.about(self.job)
        self._entries.append(Entry(about=about, by=self.by, at=at, words=words, changes=changes))

    def read(
        self, point: str, written: str, unit: str, *, when: str, meter: Meter, powered: bool, at: dt.datetime
    ) -> Reading:
        value, shown = understood(written, unit)
        reading = Reading(
            job=self.job,
            point=point,
            written=written,
            value=value,
            unit=unit,
            when=when,
            with_meter=meter,
            meter=meter.name,
            meter_due_on=due_then(meter, at.date()),
            powered=powered,
            at=at,
            by=self.by,
        )
        self._readings.append(reading)
        self.say(at, "took a reading", {point: f"{shown} ({reading.get_when_display().lower()})"})
        return reading

    def keep(
        self, slug: str, worked_out: Mapping[str, Any], *, when: str, meter: Meter, at: dt.datetime
    ) -> KeptSheet:
        kept = KeptSheet(
            job=self.job,
            slug=slug,
            when=when,
            said=worked_out["said"],
            answer=worked_out["answer"],
            verdict=worked_out["verdict"],
            engine=VERSION,
            meter=meter,
            meter_due_on=due_then(meter, at.date()),
            at=at,
            by=self.by,
        )
        self._sheets.append(kept)
        title, said = worked_out["title"], worked_out["answer"]["said"]
        self.say(at, f"kept a worksheet: {title}", {str(kept.get_when_display()): said})
        return kept

    def begin(self, version: ListVersion, at: dt.datetime) -> ListRun:
        run = ListRun(job=self.job, version=version, at=at, by=self.by)
        self._runs.append(run)
        self.say(at, f"began the list “{version.name}”")
        return run

    def mark(self, run: ListRun, key: str, outcome: Outcome, at: dt.datetime, **rests_on: object) -> None:
        self._marks.append(Mark(run=run, key=key, outcome=outcome, at=at, by=self.by, **rests_on))

    def sign(self, run: ListRun, at: dt.datetime) -> None:
        self._signed.append(SignOff(run=run, passed=True, at=at, by=self.by))
        self.say(at, f"signed the list “{run.version.name}”: passed")

    def put_down(self) -> None:
        """Write all of it, a statement for each kind of row."""
        self._entries.sort(key=lambda entry: entry.at)
        kinds = (self._readings, self._sheets, self._runs, self._marks, self._signed, self._entries)
        for model, rows in zip((Reading, KeptSheet, ListRun, Mark, SignOff, Entry), kinds, strict=True):
            model._default_manager.bulk_create(rows)
            rows.clear()
