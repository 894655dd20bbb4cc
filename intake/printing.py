"""Printing the claim ticket and the gear tags: what goes on them, and that a reprint says so."""

from dataclasses import dataclass

from django.db import transaction
from django.db.models import F

from intake.models import Job, Visit
from shop import timeline
from shop.models import Staff


@dataclass(frozen=True)
class GearTag:
    """One tag: for the gear itself, or for a loose piece of it."""

    job: Job
    what: str
    number: int
    of: int
    is_gear: bool
    address: str  # what its QR code holds


def tags_of(job: Job, address: str) -> list[GearTag]:
    """The tags of a job: the gear first, then each loose piece, "2 of 3"."""
    pieces = list(job.pieces.all())
    of = len(pieces) + 1
    named = [(str(job.gear), True), *((piece.name, False) for piece in pieces)]
    return [GearTag(job, what, n, of, is_gear, address) for n, (what, is_gear) in enumerate(named, start=1)]


@transaction.atomic
def print_ticket(visit: Visit, *, by: Staff) -> None:
    """Count a print of the owner's ticket, and write it to each job's timeline."""
    _count(list(visit.jobs.all()), "ticket_prints", "the claim ticket", by)


@transaction.atomic
def print_tags(jobs: list[Job], *, by: Staff) -> None:
    """Count a print of the gear tags."""
    _count(jobs, "tag_prints", "the gear tags", by)


def _count(jobs: list[Job], counter: str, what: str, by: Staff) -> None:
    Job.objects.filter(pk__in=[j.pk for j in jobs]).update(**{counter: F(counter) + 1})
    for job in jobs:
        job.refresh_from_db(fields=[counter])
        again = getattr(job, counter) > 1
        timeline.write(job, by=by, words=f"printed {what}{' again' if again else ''}")


def print_mark(prints: int) -> str:
    """What a paper says about itself: nothing on the first print, then that it is a reprint."""
    if prints == 0:
        return "Preview"
    return "" if prints == 1 else f"Reprint {prints - 1}"
