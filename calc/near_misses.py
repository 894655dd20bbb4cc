"""What nearly hurt somebody, or did: written down so that it doesn't happen again, never to find who was at fault.

Rows are written once. A correction is a new row that names the old one; the newest one holds.
"""

import datetime as dt

from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone

from calc.models import NearMiss
from intake.models import Job
from shop import timeline
from shop.errors import ChangedMeanwhile, NotAllowedYet
from shop.models import Staff


def holding() -> QuerySet[NearMiss]:
    """Those that hold: the ones that nobody corrected since, with their jobs and who wrote them."""
    return NearMiss.objects.filter(corrected_by__isnull=True).select_related("by", "job__gear", "corrects")


@transaction.atomic
def write_down(
    *,
    on: dt.date,
    what: str,
    done: str = "",
    job: Job | None = None,
    by: Staff,
    corrects: NearMiss | None = None,
) -> NearMiss:
    """Write down what happened on a day, and what is done about it.

    `corrects` is the row that this one takes the place of; it stays on the job that the old one is about.

    Raises:
        NotAllowedYet: the day is still to come, or it isn't said what happened.
        ChangedMeanwhile: somebody corrected the same row since.
    """
    if on > timezone.localdate():
        raise NotAllowedYet("That day is still to come. Write the day on which it happened.")
    if not what.strip():
        raise NotAllowedYet("Write down what happened.")
    if corrects is not None:
        NearMiss.objects.select_for_update().get(pk=corrects.pk)
        if NearMiss.objects.filter(corrects=corrects).exists():
            raise ChangedMeanwhile(
                "Someone corrected this meanwhile. Open what it says now, and correct that."
            )
        job = corrects.job
    row = NearMiss.objects.create(
        on=on, what=what.strip(), done=done.strip(), job=job, corrects=corrects, by=by
    )
    words = "corrected what was written down of a near miss" if corrects else "wrote down a near miss"
    timeline.write(job or "shop", by=by, words=words, after={"What happened": row.what, "Done": row.done})
    return row
