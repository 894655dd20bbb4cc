"""Worksheets on a job: what fills their boxes before anybody types, and keeping what was computed.

A kept worksheet is never changed; a wrong one is struck by a new row.
"""

import re
from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from django.db import transaction
from django.utils import timezone

from calc import meters, on_hand, runs, safety
from calc.engine import VERSION
from calc.models import KeptSheet, Meter, Reading, ShopsOwn
from calc.worksheets import by_slug
from calc.worksheets.sheet import (
    Answer,
    Box,
    BoxError,
    Read,
    Rows,
    Worksheet,
    count_name,
    how_many,
    row_name,
)
from calc.worksheets.sheet import answer as work_out
from intake.models import Gear, Job
from intake.workflow import still_open
from shop import timeline
from shop.errors import NotAllowedYet
from shop.models import Staff


@transaction.atomic
def keep(
    job: Job,
    *,
    sheet: Worksheet,
    said: Mapping[str, str],
    when: str,
    by: Staff,
    meter: Meter | None = None,
    note: str = "",
) -> KeptSheet:
    """Work a worksheet out and keep it on a job with what was typed and what it answered.

    Raises:
        NotAllowedYet: a box is empty or wrong, or the job is over.
    """
    ours = of_the_shop(sheet)
    said = {**said, **ours}
    found, answer = work_out(sheet, said, meters.accuracies(meter))
    if answer is None:
        first = next(iter([*found.wrong.values(), *found.missing.values()]))
        raise NotAllowedYet(f"It can’t be kept yet. {first}")
    job = still_open(job)
    if measured_under_power(sheet, found) and (why := safety.why_no_power(job)):
        raise safety.NoPowerYet(why)
    kept = KeptSheet.objects.create(
        job=job,
        slug=sheet.slug,
        when=when,
        said={name: said[name] for name in (*names_of(sheet, said), *ours) if said.get(name)},
        answer=asdict(answer),
        verdict=answer.verdict,
        engine=VERSION,
        meter=meter,
        meter_due_on=meter.due_on if meter else None,
        note=note,
        by=by,
    )
    timeline.write(
        job,
        by=by,
        words=f"kept a worksheet: {sheet.title}",
        after={str(kept.get_when_display()): answer.said},
    )
    runs.take_sheet(kept, by=by)
    return kept


def measured_under_power(sheet: Worksheet, found: Read) -> bool:
    """Whether a value was written that is measured while the gear is on."""
    rows = [row for group in sheet.groups if group.rows for row in found.values.get(group.rows.name, [])]
    return any(_is_written(each.get(name)) for each in (found.values, *rows) for name in sheet.powered)


def _is_written(value: Any) -> bool:
    return value != "" if isinstance(value, str) else value is not None


@transaction.atomic
def strike(kept: KeptSheet, *, by: Staff) -> None:
    """Strike a kept worksheet out with a row that names it. Striking twice is striking once."""
    job = still_open(kept.job)
    if KeptSheet.objects.filter(strikes=kept).exists():
        return
    same = ("job", "slug", "when", "said", "answer", "verdict", "engine", "meter", "meter_due_on", "note")
    KeptSheet.objects.create(**{name: getattr(kept, name) for name in same}, by=by, strikes=kept)
    sheet = by_slug(kept.slug)
    timeline.write(job, by=by, words=f"struck out a worksheet: {sheet.title if sheet else kept.slug}")


def of_the_shop(sheet: Worksheet) -> dict[str, str]:
    """What stands in the boxes that are the shop's own: what its owner wrote, else what the worksheet begins with."""
    if not sheet.ours:
        return {}
    written = dict(ShopsOwn.objects.filter(slug=sheet.slug).values_list("name", "text"))
    return {box.name: written.get(box.name, box.initial) for box in sheet.ours}


@transaction.atomic
def set_ours(sheet: Worksheet, said: Mapping[str, str], *, by: Staff) -> dict[str, str]:
    """Keep what the owner wrote into the shop's own boxes. Return what is wrong, by the name of the box.

    Nothing is kept where anything is wrong. Worksheets that were kept before stay as they were judged.
    """
    before, wrong = of_the_shop(sheet), {}
    for box in sheet.ours:
        try:
            box.read(said.get(box.name, ""))
        except BoxError as why:
            wrong[box.name] = str(why)
    if wrong:
        return wrong
    changed = [box for box in sheet.ours if said.get(box.name, "").strip() != before[box.name]]
    for box in changed:
        text = said.get(box.name, "").strip()
        ShopsOwn.objects.update_or_create(
            slug=sheet.slug, name=box.name, defaults={"text": text, "at": timezone.now(), "by": by}
        )
    if changed:
        timeline.write(
            "shop",
            by=by,
            words=f"changed the shop’s own limits: {sheet.title}",
            before={box.label: before[box.name] for box in changed},
            after={box.label: said.get(box.name, "").strip() for box in changed},
        )
    return {}


def names_of(sheet: Worksheet, said: Mapping[str, str]) -> list[str]:
    """The names of all boxes that the form has, with the counts of its rows."""
    names = []
    for group in sheet.groups:
        names += [box.name for box in group.boxes]
        if group.rows:
            names.append(count_name(group.rows))
            for number in range(1, how_many(group.rows, said) + 1):
                names += [row_name(group.rows, number, box) for box in group.rows.boxes]
    return names


def initial(sheet: Worksheet) -> dict[str, str]:
    """What stands in the boxes of a fresh worksheet."""
    said = {box.name: box.initial for box, _ in sheet.boxes() if box.initial}
    for group in sheet.groups:
        if group.rows:
            said[count_name(group.rows)] = str(group.rows.initial)
            for number in range(1, group.rows.most + 1):
                said |= {row_name(group.rows, number, b): b.initial for b in group.rows.boxes if b.initial}
    return said


def earlier(sheet: Worksheet, gear: Gear) -> KeptSheet | None:
    """The last time this worksheet was kept for this gear, else for gear of the same maker and model."""
    kept = (
        KeptSheet.objects.standing()
        .filter(slug=sheet.slug)
        .order_by("-at", "-pk")
        .select_related("job__gear")
    )
    same = kept.filter(job__gear=gear).first()
    if same or not (gear.maker and gear.model):
        return same
    return kept.filter(job__gear__maker__iexact=gear.maker, job__gear__model__iexact=gear.model).first()


def carried_over(sheet: Worksheet, kept: KeptSheet, *, on: Job | None) -> dict[str, str]:
    """What an earlier worksheet says of the circuit. What was measured stays where it was measured,

    unless it was on this very job: then it is the other half of a comparison, and the boxes stay as they are.
    """
    said = dict(kept.said)
    if on is not None and kept.job_id == on.pk:
        return said
    measured = {box.name for box, _ in sheet.boxes() if box.measured}
    for group in sheet.groups:
        if group.rows:
            count = how_many(group.rows, said)
            measured |= {
                row_name(group.rows, n, box)
                for n in range(1, count + 1)
                for box in group.rows.boxes
                if box.measured
            }
    return {name: text for name, text in said.items() if name not in measured}


def from_readings(sheet: Worksheet, job: Job) -> dict[str, str]:
    """What the job's readings say: the last one that stands at a place that a box asks for.

    Rows take the readings whose place ends in their number: "Cathode, V4" is for no row, "Cathode 2" for the second.
    """
    readings = list(job.readings.standing().order_by("at", "pk"))
    said: dict[str, str] = {}
    for box, _ in sheet.boxes():
        if text := _last(readings, box, None):
            said[box.name] = text
    for group in sheet.groups:
        if group.rows:
            said |= _rows_from(readings, group.rows)
    return said


def _rows_from(readings: list[Reading], rows: Rows) -> dict[str, str]:
    said: dict[str, str] = {}
    for number in range(1, rows.most + 1):
        for box in rows.boxes:
            if text := _last(readings, box, number):
                said[row_name(rows, number, box)] = text
                said[count_name(rows)] = str(max(number, int(said.get(count_name(rows), rows.initial))))
    return said


def _last(readings: list[Reading], box: Box, number: int | None) -> str:
    if not (box.measured and box.points):
        return ""
    end = "" if number is None else rf"\D*(?<![A-Za-z0-9])0*{number}"
    wanted = re.compile(rf"({box.points}){end}", re.IGNORECASE)
    fitting = [r.written for r in readings if r.unit == box.unit and wanted.fullmatch(r.point.strip())]
    return fitting[-1] if fitting else ""


def start(sheet: Worksheet, job: Job | None) -> tuple[dict[str, str], KeptSheet | None]:
    """What a worksheet opens with, and the kept one that it was filled from, if any.

    From the weakest to the strongest: the worksheet's own initial values, what was kept for this gear or model, what
    is on the bench today, the readings of this job, how the gear is built. What was kept on this very job stays as it
    was.
    """
    said = initial(sheet)
    if job is None:
        return said | on_hand.said_for(sheet.slug), None
    kept = earlier(sheet, job.gear)
    if kept:
        said |= carried_over(sheet, kept, on=job)
    if kept is None or kept.job_id != job.pk:
        said |= on_hand.said_for(sheet.slug)
    return said | from_readings(sheet, job) | _from_build(sheet, job), kept


def _from_build(sheet: Worksheet, job: Job) -> dict[str, str]:
    """By which limits a safety test judges: the way the gear is built, as it is written down."""
    if sheet.slug != safety.TEST or not (build := safety.build_of(job.gear)) or not build.protection:
        return {}
    return {"protection": build.protection}


def answer_of(kept: KeptSheet) -> Answer:
    """The answer as it was kept."""
    return _answer(kept.answer)


def _answer(data: dict[str, Any]) -> Answer:
    from calc.worksheets import chart, sheet

    def charts(each: dict[str, Any]) -> chart.Chart:
        return chart.Chart(
            title=each["title"],
            words=each["words"],
            x=chart.Axis(**each["x"]),
            y=chart.Axis(**each["y"]),
            curves=tuple(
                chart.Curve(c["name"], tuple((p[0], p[1]) for p in c["points"]), c["look"])
                for c in each["curves"]
            ),
            dots=tuple(chart.Dot(**d) for d in each["dots"]),
            limits=tuple(chart.Limit(**limit) for limit in each["limits"]),
        )

    return sheet.Answer(
        said=data["said"],
        verdict=sheet.Verdict(data["verdict"]),
        lines=tuple(
            sheet.Line(**{**line, "verdict": sheet.Verdict(line["verdict"])}) for line in data["lines"]
        ),
        tables=tuple(
            sheet.Table(
                t["title"],
                tuple(t["heads"]),
                tuple(sheet.Row(tuple(r["cells"]), sheet.Verdict(r["verdict"])) for r in t["rows"]),
            )
            for t in data["tables"]
        ),
        charts=tuple(charts(each) for each in data["charts"]),
        cautions=tuple(sheet.Caution(**c) for c in data["cautions"]),
        notes=tuple(data["notes"]),
    )
