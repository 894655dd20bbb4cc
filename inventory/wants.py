"""What jobs need that isn't on the shelf: asking for it, and what happens when it comes.

A want is a job's claim on pieces that are still to come. When the last of a job's wants is met, a job that waits
for parts goes back in line by itself.
"""

from collections.abc import Iterable
from typing import Final

from django.db import transaction
from django.db.models import F
from django.utils import timezone

from intake import workflow
from intake.models import Job, State
from inventory import aside
from inventory.models import OrderLine, Part, Want
from shop import timeline
from shop.errors import NotAllowedYet, Refused
from shop.models import Staff

MOST: Final = 100_000


@transaction.atomic
def want(part: Part, job: Job, *, quantity: int, by: Staff) -> Want:
    """Write down that a job needs pieces which aren't here. What it wants of that part already is added up.

    Raises:
        NotAllowedYet: no piece or too many, there is plenty of it, or the gear is gone.
    """
    if not 1 <= quantity <= MOST:
        raise NotAllowedYet(f"Say how many the job needs: from 1 to {MOST:,}.")
    if part.is_loose and part.level == Part.Level.PLENTY:
        raise NotAllowedYet(f"There is plenty of {part}. Say that it is low or out, if it isn't so.")
    Part.objects.select_for_update().get(pk=part.pk)  # before the job, as everywhere
    job = workflow.still_open(job)
    found, is_new = Want.objects.open().get_or_create(
        part=part, job=job, defaults={"quantity": quantity, "by": by}
    )
    if not is_new:
        Want.objects.filter(pk=found.pk).update(quantity=F("quantity") + quantity)
        found.refresh_from_db()
    timeline.write(job, by=by, words="needs a part that isn't here", after={"Part": f"{quantity} × {part}"})
    return found


@transaction.atomic
def drop(wanted: Want, *, by: Staff) -> Job | None:
    """The job doesn't need it any more. Return the job if it goes back in line by that.

    What is on a sent order for it comes all the same, and is free then; a draft's lines are taken out.
    """
    Part.objects.select_for_update().get(pk=wanted.part_id)
    ended = Want.objects.open().filter(pk=wanted.pk).update(ended_at=timezone.now())
    if not ended:
        return None
    lines = OrderLine.objects.filter(part=wanted.part, job=wanted.job)
    lines.filter(order__sent_at__isnull=True).delete()
    timeline.write(wanted.job, by=by, words="doesn't need a part any more", after={"Part": str(wanted.part)})
    return next(iter(back_in_line([wanted.job], by=by)), None)


@transaction.atomic
def from_the_shelf(wanted: Want, *, by: Staff) -> Job | None:
    """Put aside for the job what is free by now. Return the job if it goes back in line by that.

    Raises:
        NotAllowedYet: none is free, or nobody wants it any more.
    """
    part = Part.objects.select_for_update().get(pk=wanted.part_id)
    wanted.refresh_from_db()
    if not wanted.left:
        raise NotAllowedYet("The job has all that it needs of this part.")
    if part.is_loose:
        count = wanted.left if part.level == Part.Level.PLENTY else 0
    else:
        count = min(aside.free_of(part), wanted.left)
    if not count:
        raise NotAllowedYet(f"No {part} is free. Order it.")
    if not part.is_loose:
        aside.put_aside(part, wanted.job, quantity=count, by=by)
    came(part, wanted.job, count)
    return next(iter(back_in_line([wanted.job], by=by)), None)


def came(part: Part, job: Job, count: int) -> int:
    """Count pieces off what a job wants of a part. Return how many of them it wanted."""
    wanted = Want.objects.open().select_for_update().filter(part=part, job=job).first()
    if wanted is None:
        return 0
    met = min(count, wanted.left)
    wanted.came += met
    if wanted.came == wanted.quantity:
        wanted.ended_at = timezone.now()
    wanted.save(update_fields=["came", "ended_at"])
    return met


def back_in_line(jobs: Iterable[Job], *, by: Staff) -> list[Job]:
    """Of these jobs, move those in line that waited for parts and wait for none now. Return them.

    A job that a gate keeps back stays where it is: a person will look at it.
    """
    moved = []
    for pk in sorted({job.pk for job in jobs}):
        job = Job.objects.select_for_update().get(pk=pk)
        if job.state != State.PARTS_ON_ORDER or Want.objects.open().filter(job=job).exists():
            continue
        try:
            with transaction.atomic():
                moved.append(workflow.move(job, to=State.IN_LINE, by=by, revision=job.revision))
        except Refused:
            continue
    return moved
