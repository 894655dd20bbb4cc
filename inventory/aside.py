"""Parts put aside for a job: they stay in their drawer, and nobody else can take them."""

from typing import Final

from django.db import transaction
from django.utils import timezone

from intake.models import Job, State
from intake.workflow import still_open
from inventory import stock
from inventory.models import Aside, Part
from shop import timeline
from shop.errors import NotAllowedYet
from shop.models import Staff

_DONE: Final = (State.READY, State.LEFT_BEHIND)


@transaction.atomic
def put_aside(part: Part, job: Job, *, quantity: int, by: Staff) -> Aside:
    """Put some aside for a job, on top of what is there for it already.

    Raises:
        NotEnough: so many aren't free.
        NotAllowedYet: the part is loose, or the job is done.
    """
    held = stock.hold(part)
    job = still_open(job)
    if job.state in _DONE:
        raise NotAllowedYet(f"{job.claim} is {job.get_state_display()}. Put it back on the bench first.")
    stock.enough(held, quantity)
    aside = Aside.objects.filter(part=held, job=job, ended_at__isnull=True).first()
    if aside is None:
        aside = Aside(part=held, job=job, quantity=0)
    aside.quantity += quantity
    aside.by = by
    aside.save()
    timeline.write(job, by=by, words=f"put aside {stock.many(quantity, held)}")
    return aside


@transaction.atomic
def let_go_of(aside: Aside, *, by: Staff) -> Aside:
    """Free what is put aside. Doing it twice is doing it once."""
    Part.objects.select_for_update().get(pk=aside.part_id)
    now = Aside.objects.select_related("part", "job").get(pk=aside.pk)
    if now.ended_at is None:
        now.ended_at = timezone.now()
        now.save(update_fields=["ended_at"])
        timeline.write(now.job, by=by, words=f"let go of {stock.many(now.quantity, now.part)}, put aside")
    return now


def free_of(part: Part) -> int:
    """How many are there and not put aside; never below zero."""
    there = Part.objects.filter(pk=part.pk).free().values_list("is_free", flat=True).get()
    return max(there, 0)


def still_put_aside(job: Job, to: str, by: Staff) -> str | None:
    """Gate: a job that is called ready holds no parts back from others."""
    if to != State.READY:
        return None
    rows = Aside.objects.filter(job=job, ended_at__isnull=True).select_related("part")
    held = ", ".join(stock.many(aside.quantity, aside.part) for aside in rows)
    return f"Parts are still put aside for it: {held}. Use them, or let go of them." if held else None
