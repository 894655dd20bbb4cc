"""A year of safety, for the owner: what was waived, what failed and whether it passed later, what was judged unsafe.

It reads what was written down; an empty part says nothing about what happened. A fixed number of queries.
"""

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Final

from django.db.models import Count, F, Max, Min
from django.db.models.functions import TruncDate
from django.urls import reverse
from django.utils import timezone

from calc import listing, meters, near_misses
from calc.checklists.judging import WRONG, Outcome
from calc.meters import Calibration
from calc.models import (
    KeptSheet,
    ListChange,
    Mark,
    Meter,
    NearMiss,
    Reading,
    SafetyWord,
    UnsafeTag,
    Waiver,
)
from calc.safety import NOT_DONE, TEST
from calc.worksheets.sheet import Verdict
from intake.models import Job, State
from shop.wording import day_words

_GONE: Final = {State.COLLECTED: "It was collected as it is", State.LET_GO: "It was let go"}


@dataclass(frozen=True)
class Row:
    """Something that was written down. `then` is what became of it; `mended` says whether that is good, if it can."""

    day: dt.date
    what: str
    said: str = ""
    who: str = ""
    then: str = ""
    mended: bool | None = None
    job: Job | None = None
    url: str = ""


@dataclass(frozen=True)
class Part:
    """A part of the year. `became` heads the column of what became of it; empty where there is none."""

    slug: str
    title: str
    about: str
    rows: tuple[Row, ...]
    empty: str
    became: str = ""

    @property
    def has_jobs(self) -> bool:
        return any(row.job for row in self.rows)

    @property
    def has_people(self) -> bool:
        return any(row.who for row in self.rows)


@dataclass(frozen=True)
class Year:
    """The parts of a year, in order."""

    year: int
    parts: tuple[Part, ...]

    @property
    def is_empty(self) -> bool:
        """Nothing of that year is written down. Meters stand as they are today, in any year."""
        return not any(part.rows for part in self.parts if part.slug != "meters")


def years(today: dt.date) -> list[int]:
    """The years that can be asked for, this one first. Two queries."""
    job = Job.objects.aggregate(first=Min("since"))["first"]
    miss = NearMiss.objects.aggregate(first=Min("on"))["first"]
    firsts = [today, *([timezone.localdate(job)] if job else []), *([miss] if miss else [])]
    return list(range(today.year, min(firsts).year - 1, -1))


def of(year: int, today: dt.date) -> Year:
    """All of a year, by the shop's clock. `today` is for the meters."""
    names = {slug: each.checklist.name for slug, each in listing.current().items()}
    return Year(
        year,
        (
            _waived(year, names),
            _failed_lines(year),
            _failed_tests(year),
            _taken_off(year, names),
            _unsafe(year),
            _meters(today),
            _measured_late(year),
            _near_misses(year),
        ),
    )


# --- The parts -----------------------------------------------------------------------------------------------


def _waived(year: int, names: dict[str, str]) -> Part:
    rows = Waiver.objects.filter(at__year=year).select_related("job__gear", "by").order_by("pk")
    return Part(
        "waived",
        "Waived",
        "Tests that a job went without, by the owner’s word.",
        tuple(
            Row(timezone.localdate(w.at), names.get(w.slug, w.slug), w.words, w.by.name, job=w.job)
            for w in rows
        ),
        "No waiver is written down.",
    )


def _failed_lines(year: int) -> Part:
    """Lines that weren't right or too close to call. What the after-repair test found has a part of its own."""
    marks = list(
        Mark.objects.filter(at__year=year, outcome__in=WRONG)
        .select_related(
            "run__job__gear", "run__version", "reading__struck_by__by", "sheet__struck_by__by", "by"
        )
        .prefetch_related("run__version__lines")
        .order_by("pk")
    )
    passed = _passed_later(marks)
    rows = []
    for mark in marks:
        if mark.sheet is not None and mark.sheet.slug == TEST and _found_bad(mark.sheet):
            continue
        job, version = mark.run.job, mark.run.version
        text = next((line.text for line in version.lines.all() if line.key == mark.key), mark.key)
        later = [at for pk, at in passed[job.pk, version.slug, mark.key] if pk > mark.pk]
        close = "Too close to call" if mark.outcome == Outcome.CLOSE else ""
        rows.append(
            Row(
                timezone.localdate(mark.at),
                f"{version.name}: {text}",
                " ".join(f"{each.rstrip('.')}." for each in (mark.said, mark.words, close) if each),
                mark.by.name,
                _struck(mark.reading, mark.sheet) + _passed(later[0] if later else None),
                bool(later),
                job,
            )
        )
    return Part(
        "failed-lines",
        "Lines that failed, or were too close to call",
        "As they were signed on jobs; also where what was read was struck out afterwards.",
        tuple(rows),
        "No line is written down as failed.",
        "Passed later",
    )


def _passed_later(marks: Iterable[Mark]) -> dict[tuple[int, str, str], list[tuple[int, dt.datetime]]]:
    found = defaultdict(list)
    done = (
        Mark.objects.filter(run__job__in={mark.run.job_id for mark in marks}, outcome=Outcome.DONE)
        .filter(reading__struck_by__isnull=True, sheet__struck_by__isnull=True)
        .order_by("pk")
        .values_list("run__job_id", "run__version__slug", "key", "pk", "at")
    )
    for job, slug, key, pk, at in done:
        found[job, slug, key].append((pk, at))
    return found


def _failed_tests(year: int) -> Part:
    bad = KeptSheet.objects.filter(strikes__isnull=True, at__year=year, slug=TEST).exclude(
        verdict=Verdict.GOOD
    )
    sheets = [
        (sheet, found)
        for sheet in bad.select_related("job__gear", "by", "struck_by__by").order_by("pk")
        if (found := _found_bad(sheet))
    ]
    later = defaultdict(list)
    for sheet in KeptSheet.objects.standing().filter(
        slug=TEST, job__in={sheet.job_id for sheet, _ in sheets}
    ):
        later[sheet.job_id].append(sheet)
    rows = []
    for sheet, found in sheets:
        passed = _all_passed(found, [each for each in later[sheet.job_id] if each.pk > sheet.pk])
        rows.append(
            Row(
                timezone.localdate(sheet.at),
                "; ".join(found),
                "; ".join(found.values()),
                sheet.by.name,
                _struck(sheet) + _passed(passed),
                passed is not None,
                sheet.job,
                reverse("kept-worksheet", args=[sheet.pk]),
            )
        )
    return Part(
        "failed-tests",
        "After-repair tests that failed, or were too close to call",
        "By the worksheets that were kept on jobs; also those that were struck out afterwards.",
        tuple(rows),
        "No after-repair test is written down as failed.",
        "Passed later",
    )


def _struck(*kept: Reading | KeptSheet | None) -> str:
    """Who struck out what was measured: a slip of the pen, or a failure that somebody didn't like."""
    by = [row.struck_by.by.name for row in kept if row is not None and hasattr(row, "struck_by")]
    return f"Struck out by {by[0]}. " if by else ""


def _passed(at: dt.datetime | None) -> str:
    return f"Passed on {_day(at)}" if at else "Not passed since"


def _found_bad(sheet: KeptSheet) -> dict[str, str]:
    """The tests of an after-repair worksheet that failed or were too close to call, and what was read."""
    return {
        line["label"]: f"{line['value']}, {line['said']}".rstrip(", .")
        for line in sheet.answer["lines"]
        if line["verdict"] in (Verdict.BAD, Verdict.UNSURE) and line["value"] != NOT_DONE
    }


def _all_passed(tests: Iterable[str], later: list[KeptSheet]) -> dt.datetime | None:
    """When the last of these tests was passed, by the worksheets that came after. None: one of them wasn't."""
    passed = []
    for test in tests:
        good = [
            sheet.at
            for sheet in later
            for line in sheet.answer["lines"]
            if line["label"] == test and line["verdict"] == Verdict.GOOD
        ]
        if not good:
            return None
        passed.append(min(good))
    return max(passed, default=None)


def _taken_off(year: int, names: dict[str, str]) -> Part:
    rows = ListChange.objects.filter(at__year=year, applies=False).select_related("job__gear", "by")
    return Part(
        "taken-off",
        "Lists taken off",
        "Lists that the gear asks for, and that the owner took off a job.",
        tuple(
            Row(timezone.localdate(c.at), names.get(c.slug, c.slug), c.words, c.by.name, job=c.job)
            for c in rows.order_by("pk")
        ),
        "No list is written down as taken off.",
    )


def _unsafe(year: int) -> Part:
    words = list(
        SafetyWord.objects.filter(at__year=year, unsafe=True).select_related("job__gear", "by").order_by("pk")
    )
    jobs = {word.job_id for word in words}
    back = defaultdict(list)
    for word in SafetyWord.objects.filter(job__in=jobs, unsafe=False).select_related("by").order_by("pk"):
        back[word.job_id].append(word)
    tags = defaultdict(list)
    for job, at in UnsafeTag.objects.filter(job__in=jobs).order_by("pk").values_list("job_id", "at"):
        tags[job].append(at)
    rows = []
    for word in words:
        taken = next((each for each in back[word.job_id] if each.pk > word.pk), None)
        tagged = any(at >= word.at for at in tags[word.job_id])
        rows.append(
            Row(
                timezone.localdate(word.at),
                "Judged unsafe",
                word.words,
                word.by.name,
                f"Taken back on {_day(taken.at)} by {taken.by}: {taken.words}"
                if taken
                else _where_now(word.job, tagged),
                taken is not None,
                word.job,
            )
        )
    return Part(
        "unsafe",
        "Judged unsafe",
        "Gear that nobody was to plug in, and what became of it.",
        tuple(rows),
        "No gear is written down as unsafe.",
        "What became of it",
    )


def _where_now(job: Job, tagged: bool) -> str:
    said = _GONE.get(State(job.state), f"It is still here: {job.get_state_display().lower()}")
    if job.state == State.COLLECTED and job.collected_at:
        said = f"{said} on {_day(job.collected_at)}"
    return f"{said}, {'its tag printed' if tagged else 'no tag printed'}"


def _meters(today: dt.date) -> Part:
    rows = []
    for meter in Meter.objects.filter(is_here=True, due_on__isnull=False).order_by("due_on", "name"):
        stands = meters.calibration(meter.due_on, today)
        if stands in (Calibration.SOON, Calibration.OVERDUE):
            said = "Its calibration ran out" if stands is Calibration.OVERDUE else "Due within a month"
            rows.append(Row(meter.due_on, meter.name, said, url=reverse("meter-edit", args=[meter.pk])))
    return Part(
        "meters",
        f"Meters that are due, as of {day_words(today)}",
        "Those in use. The day is the last one on which its readings are trusted.",
        tuple(rows),
        "No meter in use is due within a month. One without a day written down isn’t counted.",
    )


def _measured_late(year: int) -> Part:
    """What was measured with a meter whose calibration had run out, a row for each job and meter."""
    found: dict[tuple[int, str, dt.date], dict[str, Any]] = {}
    readings = Reading.objects.standing().annotate(name=F("meter"))
    sheets = KeptSheet.objects.standing().annotate(name=F("meter__name"))
    for kind, rows in (("readings", readings), ("worksheets", sheets)):
        late = (
            rows.filter(at__year=year, meter_due_on__lt=TruncDate("at"))
            .order_by()
            .values("job_id", "name", "meter_due_on")
            .annotate(many=Count("pk"), last=Max("at"))
        )
        for each in late:
            key = (each["job_id"], each["name"] or "", each["meter_due_on"])
            row = found.setdefault(key, {"readings": 0, "worksheets": 0, "last": each["last"]})
            row[kind] = each["many"]
            row["last"] = max(row["last"], each["last"])
    jobs = Job.objects.select_related("gear").in_bulk({job for job, _, _ in found})
    rows = [
        Row(
            timezone.localdate(row["last"]),
            f"{name or 'A meter without a name'}: {_counted(row)}",
            f"Its calibration had run out on {day_words(due)}",
            job=jobs[job],
        )
        for (job, name, due), row in found.items()
    ]
    return Part(
        "measured-late",
        "Measured with a meter out of calibration",
        "The day is that of the last one on the job.",
        tuple(sorted(rows, key=lambda row: (row.day, row.job.pk if row.job else 0))),
        "Nothing is written down as measured with a meter out of calibration.",
    )


def _counted(row: dict[str, Any]) -> str:
    said = []
    for kind in ("reading", "worksheet"):
        if many := row[f"{kind}s"]:
            said.append(f"{many} {kind}{'' if many == 1 else 's'}")
    return " and ".join(said)


def _near_misses(year: int) -> Part:
    return Part(
        "near-misses",
        "Near misses",
        "As they are written down now.",
        tuple(
            Row(
                miss.on,
                miss.what,
                miss.done,
                miss.by.name,
                job=miss.job,
                url=reverse("near-miss", args=[miss.pk]),
            )
            for miss in near_misses.holding().filter(on__year=year).order_by("on", "pk")
        ),
        "No near miss is written down.",
    )


def _day(at: dt.datetime) -> str:
    return day_words(timezone.localdate(at))


# --- For a spreadsheet ---------------------------------------------------------------------------------------

HEAD: Final = (
    "Part",
    "Day",
    "Claim number",
    "Gear",
    "What",
    "Why, or what was said",
    "Who",
    "What became of it",
)


def table(year: Year) -> list[tuple[Any, ...]]:
    """The year, a row for each thing, under `HEAD`."""
    return [
        (
            part.title,
            row.day,
            row.job.claim if row.job else "",
            str(row.job.gear) if row.job else "",
            row.what,
            row.said,
            row.who,
            row.then,
        )
        for part in year.parts
        for row in part.rows
    ]
