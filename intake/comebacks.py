"""Comebacks: gear that comes back from a repair. What it comes back from, what the warranty covers, what it came with.

A comeback is linked at the drop-off or later, and the link can be undone; all of it stands in the timeline.
The warranty is judged by the repair that it comes back from, on the day on which it came back.
"""

import datetime as dt
from collections.abc import Iterable
from typing import Final

from django.db import transaction

from intake import reading
from intake.models import Charge, Gear, Job, State
from intake.models.bills import LineKind
from intake.warranty import Verdict, WarrantyTerms, judge_given
from intake.workflow import still_open
from shop import timeline
from shop.errors import NotAllowedYet, Refused
from shop.models import Shop, Staff

SAME, ANOTHER, UNCLEAR = "same", "another", "unclear"
_LABEL: Final = "Comeback of"
_FAULT: Final = "Came back with"


class NotAComeback(Refused):
    """These two jobs can't be linked; the sentence says why."""


# --- What the warranty says --------------------------------------------------------------------------------


def warranty_signed(job: Job) -> WarrantyTerms:
    """The warranty that the terms of this job's drop-off give; where they say nothing, the shop's of today."""
    signed, shop = job.visit.terms, reading.shop_of(job)
    return WarrantyTerms(
        shop.warranty_labour_days if signed.warranty_labour_days is None else signed.warranty_labour_days,
        shop.warranty_parts_days if signed.warranty_parts_days is None else signed.warranty_parts_days,
    )


def verdict_on(repair: Job, on: dt.date, shop: Shop) -> Verdict:
    """What the warranty of a repair covers on a day of the shop's calendar, by the last days of its receipt."""
    collected_on = None
    if repair.state == State.COLLECTED and repair.collected_at:
        collected_on = repair.collected_at.astimezone(shop.zone).date()
    return judge_given(
        repair.labour_warranty_until,
        repair.parts_warranty_until,
        collected_on=collected_on,
        asked_on=on,
        declined=repair.declined,
    )


def verdict(job: Job) -> Verdict | None:
    """What the warranty of the repair it comes back from covers, as of the day it came; None for no comeback."""
    if job.comeback_of is None:
        return None
    shop = reading.shop_of(job)
    return verdict_on(job.comeback_of, job.since.astimezone(shop.zone).date(), shop)


def repairs_of(gear_jobs: Iterable[Job], *, before: Job | None = None) -> list[Job]:
    """Those jobs from which gear can come back: mended, collected, older than `before`. The latest first."""
    jobs = [j for j in gear_jobs if _was_a_repair(j) and (before is None or j.pk < before.pk)]
    return sorted(jobs, key=lambda j: j.pk, reverse=True)


def _was_a_repair(job: Job) -> bool:
    return job.state == State.COLLECTED and not job.declined


def is_covered(job: Job) -> bool:
    """Whether the warranty covers anything of this job: it came in time, and not with another fault."""
    says = verdict(job)
    return says is not None and says.covers and job.comeback_fault != ANOTHER


def covered_kinds(job: Job) -> set[str]:
    """The kinds of charges that the warranty covers on this job: labour, parts, both, none."""
    says = verdict(job)
    if says is None or not says.covers or job.comeback_fault == ANOTHER:
        return set()
    return {
        kind for kind, covered in ((LineKind.LABOUR, says.labour), (LineKind.PART, says.parts)) if covered
    }


def covered_lines(job: Job) -> list[Charge]:
    """The charges that no invoice has yet, of the kinds that the warranty covers on this job."""
    kinds = covered_kinds(job)
    return [line for line in reading.to_invoice(job) if line.kind in kinds] if kinds else []


# --- The link ----------------------------------------------------------------------------------------------


def check(gear: Gear, repair: Job) -> None:
    """Hold that gear can come back from a repair.

    Raises:
        NotAComeback: the repair is of other gear, or it never was one that went home.
    """
    if repair.gear_id != gear.pk:
        raise NotAComeback("A comeback is the same gear again. Choose one of its own repairs.")
    if repair.declined:
        raise NotAComeback(f"{repair.claim} went home as it was: there was no repair to come back from.")
    if repair.state != State.COLLECTED:
        raise NotAComeback(f"{repair.claim} was never collected, so nothing can come back from it.")


@transaction.atomic
def link(job: Job, *, to: Job, by: Staff, revision: int) -> Job:
    """Say which repair a job comes back from, in place of what was said before.

    Raises:
        NotAComeback: it isn't an earlier, collected repair of the same gear.
        ChangedMeanwhile: somebody else changed the job since `revision`.
        NotAllowedYet: the job is over, or charges stand under the warranty of another repair.
    """
    job, to = still_open(job), Job.objects.get(pk=to.pk)
    check(job.gear, to)
    if to.pk >= job.pk:
        raise NotAComeback("A comeback comes from an earlier repair. Choose one of those.")
    if job.comeback_of_id == to.pk:
        return job
    return _set(job, to, by=by, revision=revision, words="linked it to the repair it comes back from")


@transaction.atomic
def unlink(job: Job, *, by: Staff, revision: int) -> Job:
    """Take the link back: it isn't a comeback. What it came back with goes with it.

    Raises:
        ChangedMeanwhile: somebody else changed the job since `revision`.
        NotAllowedYet: the job is over, or charges stand under that warranty.
    """
    job = still_open(job)
    if job.comeback_of_id is None:
        return job
    return _set(job, None, by=by, revision=revision, words="took back that it is a comeback")


def _set(job: Job, to: Job | None, *, by: Staff, revision: int, words: str) -> Job:
    if job.charges.standing().filter(under_warranty=True).exists():
        raise NotAllowedYet("Charges stand under warranty on this job. Charge them after all first.")
    job.take_revision(revision)
    before = {_LABEL: job.comeback_of.claim if job.comeback_of else "", _FAULT: _fault_words(job)}
    job.comeback_of, job.comeback_fault = to, ""
    job.save(update_fields=["comeback_of", "comeback_fault"])
    timeline.write(job, by=by, words=words, before=before, after={_LABEL: to.claim if to else "", _FAULT: ""})
    return job


@transaction.atomic
def say_fault(job: Job, *, fault: str, by: Staff, revision: int) -> Job:
    """Record whether it came back with the fault that was repaired, with another, or that it isn't clear yet.

    Raises:
        NotAComeback: it isn't linked to a repair.
        ChangedMeanwhile: somebody else changed the job since `revision`.
        NotAllowedYet: the job is over, or charges stand under the warranty that another fault hasn't got.
    """
    job = still_open(job)
    if job.comeback_of_id is None:
        raise NotAComeback("It isn't linked to the repair it comes back from. Link it first.")
    if fault not in (SAME, ANOTHER, UNCLEAR):
        raise NotAComeback("Choose whether it is the same fault, another, or not clear yet.")
    if fault == ANOTHER and job.charges.to_invoice().filter(under_warranty=True).exists():
        raise NotAllowedYet("Charges stand under warranty on this job. Charge them after all first.")
    if fault == job.comeback_fault:
        return job
    job.take_revision(revision)
    before = {_FAULT: _fault_words(job)}
    job.comeback_fault = fault
    job.save(update_fields=["comeback_fault"])
    timeline.write(
        job, by=by, words="said what it came back with", before=before, after={_FAULT: _fault_words(job)}
    )
    return job


def _fault_words(job: Job) -> str:
    return job.get_comeback_fault_display().lower()
