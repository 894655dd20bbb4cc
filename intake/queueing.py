"""The bench's line, and how a tech puts it in order.

Urgent jobs stand in front by their date, and nobody has to move them. Within one date, and behind them, the
tech's own order holds. An order says what stands beside what ("before that one"), not "one up": two tablets
that mean the same move make it once.
"""

import datetime as dt
from dataclasses import dataclass

from django.db import transaction

from intake.models import Job
from intake.models.jobs import IN_THE_QUEUE, URGENT_WITHIN
from shop import timeline
from shop.errors import NotAllowedYet
from shop.models import Staff


@dataclass(frozen=True)
class Place:
    """A job in the line: why it stands in front, and which neighbours it may change places with."""

    job: Job
    urgent: bool
    above: Job | None = None
    below: Job | None = None
    first: Job | None = None  # of those it may pass


def line(on: dt.date, *, whose: Staff | None = None) -> list[Place]:
    """The line on a day. `whose` leaves out what is assigned to others; its own order is kept."""
    jobs = list(Job.objects.queue(on=on).with_card())
    if whose:
        jobs = [job for job in jobs if job.assigned_to_id in (whose.pk, None)]
    places = []
    for index, job in enumerate(jobs):
        above = jobs[index - 1] if index and band(jobs[index - 1], on) == band(job, on) else None
        below = (
            jobs[index + 1] if index + 1 < len(jobs) and band(jobs[index + 1], on) == band(job, on) else None
        )
        first = next(j for j in jobs if band(j, on) == band(job, on)) if above else None
        places.append(Place(job, is_urgent(job, on), above, below, first))
    return places


def is_urgent(job: Job, on: dt.date) -> bool:
    return bool(job.wanted_by and job.wanted_by <= on + URGENT_WITHIN)


def band(job: Job, on: dt.date) -> dt.date | None:
    """Jobs of one band stand in the tech's order: urgent ones by their date, all others together."""
    return job.wanted_by if is_urgent(job, on) else None


@transaction.atomic
def put(job: Job, *, beside: Job, after: bool, on: dt.date, by: Staff) -> None:
    """Put a job right before another in the line, or right after it.

    Raises:
        NotAllowedYet: one of the two left the line, or their dates decide which stands in front.
    """
    # Hold the whole line first, then read it: PostgreSQL sorts before it waits for what another tablet is
    # moving.
    list(Job.objects.standing(*IN_THE_QUEUE).order_by("pk").select_for_update().values_list("pk"))
    jobs = {j.pk: j for j in Job.objects.queue(on=on)}
    job, beside = jobs.get(job.pk), jobs.get(beside.pk)
    if job is None or beside is None:
        raise NotAllowedYet("One of the two left the line meanwhile. Look at the line as it is now.")
    if job == beside:
        return
    if band(job, on) != band(beside, on):
        raise NotAllowedYet(
            "These two stand by the dates they are wanted. Change a date to change their places."
        )
    order = [j for j in jobs.values() if band(j, on) == band(job, on)]
    was = order.index(job)
    order.remove(job)
    order.insert(order.index(beside) + after, job)
    if order.index(job) == was:
        return
    # Below zero: gear that comes in later has a place of zero or above, and stands behind what was put in
    # order.
    moved = []
    for place, each in enumerate(order, start=-len(order)):
        if each.queue_position != place:
            each.queue_position = place
            moved.append(each)
    Job.objects.bulk_update(moved, ["queue_position"])
    timeline.write(
        job,
        by=by,
        words=f"put it {'after' if after else 'before'} {beside.claim} in the queue",
    )
