"""Doing a job's lists as somebody at the bench does them: every line, reading and worksheet, then the signature."""

from contextlib import nullcontext
from typing import Any

from django.utils import timezone
from freezegun import freeze_time

from calc import runs, safety, sheets
from calc.checklists import Ask, Stage
from calc.demo.measuring import TESTED
from calc.models import GearBuild, KeptSheet, ListRun, Meter
from calc.worksheets import by_slug
from intake.models import Job, State
from intake.workflow import move
from shop.models import Staff
from tests.factories import GearFactory, JobFactory


def a_meter() -> Meter:
    """The meter that everything is read off."""
    return Meter.objects.get_or_create(name="Bench meter 1")[0]


def at_soak(by: Staff, *, protection: str = "class-i", **gear: Any) -> Job:
    """A job at its soak test, with how its gear is built written down and none of its lists done."""
    job = JobFactory(gear=GearFactory(**{"technology": "valve", **gear}))
    if protection:
        GearBuild.objects.create(gear=job.gear, protection=protection, by=by)
    for state in (State.ON_THE_BENCH, State.SOAK_TEST):
        job = move(job, to=state, by=by, revision=job.revision)
    return job


def keep_test(job: Job, by: Staff, **said: str) -> KeptSheet:
    """Keep the worksheet of the electrical test."""
    return sheets.keep(job, sheet=by_slug("after-repair-test"), said={**TESTED, **said}, when="after", by=by)


def do_lines(run: ListRun, by: Staff, *, until: str = "", **said: str) -> ListRun:
    """Do the lines of a run from where it stands, with readings within their limits; up to the line `until`."""
    before = None
    while (stand := safety.stand_of(run, safety.build_of(run.job.gear))).next is not None:
        line = stand.next
        if line.key == until:
            break
        last = run.marks.order_by("pk").last()
        assert line.key != before, f"{run}: “{line.text}” doesn't pass: {last.said}"
        before = line.key
        seen = {"seen": last.pk if last else 0}
        waits = stand.wait_until is not None and stand.wait_until > timezone.now()
        with freeze_time(stand.wait_until) if waits else nullcontext():
            if line.ask is Ask.SHEET:
                keep_test(run.job, by, **said)
            elif line.ask is Ask.READING:
                low, high = line.at_least, line.at_most
                value = low if low is not None else 0 if high is not None else 280
                runs.sign(run, key=line.key, written=f"{value:g}", meter=a_meter(), by=by, **seen)
            else:
                runs.sign(run, key=line.key, outcome="done", by=by, **seen)
    return run


def done(job: Job, by: Staff, *stages: Stage) -> Job:
    """Do and sign the lists of these stages, line by line; those that gates rest on, where none is named."""
    for stage in stages or (Stage.BEFORE_POWER, Stage.AFTER_REPAIR, Stage.SOAK):
        for each in safety.lists_on(job).of(stage):
            run = do_lines(runs.begin(job, slug=each.checklist.slug, by=by), by)
            runs.sign_off(run, passed=True, by=by)
    return job
