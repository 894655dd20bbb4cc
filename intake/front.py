"""The shop at a glance: what the counter and the bench show on the front page.

The jobs in the house are read once for all panels of a page (`in_the_house`), in a fixed number of queries;
each panel picks its own.
"""

import datetime as dt
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any, Final

from django.db.models import prefetch_related_objects
from django.utils import timezone

from intake import keeping, pickup
from intake.models import Job, LabourSpell, State
from shop.http import Request

SHOWN: Final = 8  # of each list; the rest is a link away
THIS_WEEK: Final = dt.timedelta(days=6)

# The same word may head two lists, but never two meanings.
WITH_US: Final = (State.TAGGED_IN, State.IN_LINE)
ON_IT: Final = (State.ON_THE_BENCH, State.SOAK_TEST)


@dataclass(frozen=True)
class Some:
    """The first few of a list, and how many it has."""

    first: list[Any]
    count: int

    @classmethod
    def of(cls, whole: Iterable[Any]) -> "Some":
        rows = list(whole)
        return cls(rows[:SHOWN], len(rows))

    @property
    def more(self) -> int:
        return self.count - len(self.first)


@dataclass(frozen=True)
class AtWork:
    """A job that somebody works on, and the timers that run on it."""

    job: Job
    timers: list[LabourSpell] = field(default_factory=list)


@dataclass(frozen=True)
class Waiting:
    """A job that is ready, and since when its owner knows."""

    job: Job
    told_at: dt.datetime | None
    free_until: dt.date | None


def in_the_house(request: Request) -> list[Job]:
    """All jobs in the house, with whatever the panels of the front page show of them; read once for a page."""
    if not hasattr(request, "jobs_in_the_house"):
        jobs = list(Job.objects.in_the_house().with_card())
        keeping.read_record(job for job in jobs if _done(job))
        to_decide = [job for job in jobs if job.state == State.OWNER_TO_DECIDE]
        prefetch_related_objects(to_decide, "person__phones")
        request.jobs_in_the_house = jobs
    return request.jobs_in_the_house


def _standing(request: Request, *states: str) -> list[Job]:
    """Those that stand there, whoever stands there longest first."""
    jobs = [job for job in in_the_house(request) if job.state in states]
    return sorted(jobs, key=lambda job: (job.state_since, job.pk))


def counts(request: Request, thing: None) -> dict[str, Any]:
    """How many stand where, in the order a job goes through."""
    found = Counter(job.state for job in in_the_house(request))
    standing = [{"state": state, "count": found[state]} for state in State if state in found]
    return {"standing": standing, "in_the_house": sum(found.values())}


def on_the_bench(request: Request, thing: None) -> dict[str, Any]:
    """Who works on what, with the timers that run now, also on a job that isn't on the bench."""
    timers: dict[int, list[LabourSpell]] = {}
    running = LabourSpell.objects.filter(ended__isnull=True).select_related(
        "who", "job__gear", "job__person", "job__assigned_to"
    )
    jobs = {}
    for spell in running:
        timers.setdefault(spell.job_id, []).append(spell)
        jobs[spell.job_id] = spell.job
    for job in _standing(request, *ON_IT):
        jobs[job.pk] = job
    at_work = [AtWork(job, timers.get(job.pk, [])) for job in jobs.values()]
    at_work.sort(key=lambda work: (not work.timers, work.job.state_since))
    return {"at_work": Some.of(at_work), "today": timezone.localdate()}


def who_waits(request: Request, thing: None) -> dict[str, Any] | None:
    """Who waits for whom: we for an owner's word, we for parts, owners for us."""
    with_us = _standing(request, *WITH_US)
    return {
        "owner_to_decide": Some.of(_standing(request, State.OWNER_TO_DECIDE)),
        "parts_on_order": Some.of(_standing(request, State.PARTS_ON_ORDER)),
        "with_us": {"count": len(with_us), "since": min((job.since for job in with_us), default=None)},
    }


def due_this_week(request: Request, thing: None) -> dict[str, Any]:
    """What somebody wants within seven days, or wanted already."""
    today = timezone.localdate()
    last = today + THIS_WEEK
    due = [job for job in in_the_house(request) if job.wanted_by and job.wanted_by <= last and not _done(job)]
    return {"due": Some.of(sorted(due, key=lambda job: (job.wanted_by, job.pk))), "today": today}


def _done(job: Job) -> bool:
    return job.state in (State.READY, State.LEFT_BEHIND)


def going_home(request: Request, thing: None) -> dict[str, Any]:
    """What can go home, first where the owner doesn't know yet; and what is past its free storage.

    The second is a list, and no more: what may be done with gear that is left behind is for the law of the place
    to say.
    """
    rows = [_waiting(job) for job in in_the_house(request) if _done(job)]
    left = sorted(
        (row for row in rows if _past(row)), key=lambda row: row.free_until or row.job.state_since.date()
    )
    ready = sorted(
        (row for row in rows if not _past(row)),
        key=lambda row: (row.told_at is not None, row.told_at or row.job.state_since),
    )
    return {
        "ready": Some.of(ready),
        "untold": sum(row.told_at is None for row in ready),
        "left": Some.of(left),
    }


def _waiting(job: Job) -> Waiting:
    told_at = pickup.first_told(job)
    return Waiting(job, told_at, free_until(told_at, job.visit.terms.free_days))


def free_until(told_at: dt.datetime | None, free_days: int) -> dt.date | None:
    """The last day of free storage, in the shop's zone. The notice's day is day 0; untold, no clock runs."""
    return timezone.localdate(told_at) + dt.timedelta(days=free_days) if told_at else None


def _past(row: Waiting) -> bool:
    if row.job.state == State.LEFT_BEHIND:
        return True
    return row.free_until is not None and row.free_until < timezone.localdate()
