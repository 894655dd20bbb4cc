"""The shop at a glance: what the counter and the bench show on the front page.

Each panel is a fixed number of queries, however many jobs there are.
"""

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any, Final

from django.db.models import Count, F, Min, Q
from django.utils import timezone

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


def counts(request: Request, thing: None) -> dict[str, Any]:
    """How many stand where, in the order a job goes through."""
    found = dict(
        Job.objects.in_the_house()
        .order_by()
        .values_list("state")
        .annotate(Count("pk"))
        .values_list("state", "pk__count")
    )
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
    for job in Job.objects.with_card().standing(*ON_IT).order_by("state_since", "pk"):
        jobs[job.pk] = job
    at_work = [AtWork(job, timers.get(job.pk, [])) for job in jobs.values()]
    at_work.sort(key=lambda work: (not work.timers, work.job.state_since))
    return {"at_work": Some.of(at_work), "today": timezone.localdate()}


def who_waits(request: Request, thing: None) -> dict[str, Any] | None:
    """Who waits for whom: we for an owner's word, we for parts, owners for us."""
    waiting = Job.objects.with_card().prefetch_related("person__phones").order_by("state_since", "pk")
    owner_to_decide, parts_on_order = [], []
    for job in waiting.standing(State.OWNER_TO_DECIDE, State.PARTS_ON_ORDER):
        (owner_to_decide if job.state == State.OWNER_TO_DECIDE else parts_on_order).append(job)
    with_us = Job.objects.standing(*WITH_US).aggregate(count=Count("pk"), since=Min("since"))
    return {
        "owner_to_decide": Some.of(owner_to_decide),
        "parts_on_order": Some.of(parts_on_order),
        "with_us": with_us,
    }


def due_this_week(request: Request, thing: None) -> dict[str, Any]:
    """What somebody wants within seven days, or wanted already."""
    today = timezone.localdate()
    due = Job.objects.with_card().wanted_by(today + THIS_WEEK).order_by("wanted_by", "pk")
    return {"due": Some.of(due), "today": today}


def going_home(request: Request, thing: None) -> dict[str, Any]:
    """What can go home, first where the owner doesn't know yet; and what is past its free storage.

    The second is a list, and no more: what may be done with gear that is left behind is for the law of the place
    to say.
    """
    rows = _ready_jobs()
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


def _ready_jobs() -> list[Waiting]:
    # What was told before it went back to the bench is history.
    since_ready = Q(ready_at__isnull=True) | Q(ready_notices__at__gte=F("ready_at"))
    found = (
        Job.objects.with_card()
        .standing(State.READY, State.LEFT_BEHIND)
        .annotate(
            told_at=Min("ready_notices__at", filter=since_ready), free_days=F("visit__terms__free_days")
        )
    )
    return [Waiting(job, job.told_at, free_until(job.told_at, job.free_days)) for job in found]


def free_until(told_at: dt.datetime | None, free_days: int) -> dt.date | None:
    """The last day of free storage, in the shop's zone. The notice's day is day 0; untold, no clock runs."""
    return timezone.localdate(told_at) + dt.timedelta(days=free_days) if told_at else None


def _past(row: Waiting) -> bool:
    if row.job.state == State.LEFT_BEHIND:
        return True
    return row.free_until is not None and row.free_until < timezone.localdate()
