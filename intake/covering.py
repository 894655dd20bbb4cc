"""What the warranty pays for: charges on a comeback that cost nothing, and charging them after all.

A charge under warranty keeps its price, so that the shop sees what its comebacks cost.
"""

from collections.abc import Sequence

from django.db import transaction
from django.db.models import F

from intake import comebacks, spending
from intake.models import Charge, Job
from intake.workflow import still_open
from shop import timeline
from shop.errors import NotAllowedYet
from shop.models import Staff


@transaction.atomic
def put_under_warranty(job: Job, *, by: Staff) -> list[Charge]:
    """Let every charge that the warranty covers cost nothing.

    Raises:
        NotAllowedYet: the job is over, or the warranty covers none of its charges.
    """
    job = still_open(job)
    lines = [line for line in comebacks.covered_lines(job) if not line.under_warranty]
    if not lines:
        says = comebacks.verdict(job)
        why = says.sentence if says else "This job isn't linked to the repair it comes back from."
        raise NotAllowedYet(f"No charge here is for the warranty. {why}")
    _mark(job, lines, under=True)
    timeline.write(
        job, by=by, words="put charges under warranty, at nothing", after={"Charges": _texts(lines)}
    )
    return lines


@transaction.atomic
def charge_after_all(job: Job, *, by: Staff) -> list[Charge]:
    """Take the charges that no invoice has yet out of the warranty: they cost what they cost.

    Raises:
        NotAllowedYet: the job is over, or none is under warranty.
        AskFirst: together they are more than the owner agreed to.
    """
    job = still_open(job)
    lines = list(job.charges.to_invoice().filter(under_warranty=True))
    if not lines:
        raise NotAllowedYet("No charge that could still be changed is under warranty.")
    with spending.agreed(job):
        _mark(job, lines, under=False)
    timeline.write(
        job, by=by, words="charged after all what was under warranty", after={"Charges": _texts(lines)}
    )
    return lines


def _mark(job: Job, lines: Sequence[Charge], *, under: bool) -> None:
    job.charges.filter(pk__in=[line.pk for line in lines]).update(
        under_warranty=under, revision=F("revision") + 1
    )


def _texts(lines: Sequence[Charge]) -> str:
    return ", ".join(line.text for line in lines)
