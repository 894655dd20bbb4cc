"""Gear that waits, for tests: told in New York's morning, letters on the days that the terms plan."""

import datetime as dt
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from django.utils import timezone

from intake import keeping
from intake.models import Job, ReadyNotice, State, StorageNotice
from shop.models import Staff, Terms
from tests.factories import JobFactory, PersonFactory, PhoneFactory, TermsFactory, VisitFactory

PLAN = (30, 50, 70)  # of the terms below: 30 free, 90 to the deadline, three notices
ZONE = ZoneInfo("America/New_York")


def storage_terms() -> Terms:
    return Terms.objects.filter(version=7).first() or TermsFactory(version=7, fee_cap=Decimal(120))


def today() -> dt.date:
    return timezone.localdate(timezone=ZONE)


def ago(days: int) -> dt.date:
    return today() - dt.timedelta(days=days)


def waiting(
    by: Staff,
    days: int = 0,
    *,
    address: str = "7 Kiln Lane\nPort Ansley",
    terms: Terms | None = None,
    **more: Any,
) -> Job:
    """A job that has been ready for so many days, whose owner was told on the first."""
    then = dt.datetime.combine(ago(days), dt.time(10), ZONE)
    person = PersonFactory(name="Dana Whitlow", address=address, email="dana@whitlow.example")
    PhoneFactory(person=person)
    visit = VisitFactory(
        person=person, terms=terms or storage_terms(), at=then - dt.timedelta(days=20), taken_in_by=by
    )
    job = JobFactory(
        gear__owner=person,
        visit=visit,
        **{"state": State.READY, "state_since": then, "ready_at": then, **more},
    )
    Job.objects.filter(pk=job.pk).update(since=then - dt.timedelta(days=20))
    ReadyNotice.objects.create(job=job, how="phone", at=then, by=by)
    job.refresh_from_db()
    return job


def sent(job: Job, day: int, by: Staff, **more: Any) -> StorageNotice:
    """A letter that was sent on that day of the clock, recorded then."""
    told = timezone.localdate(job.ready_at, ZONE)
    number = job.storage_notices.count() + 1
    words = {
        "job": job,
        "number": number,
        "how": "letter",
        "words": f"Your gear waits. Notice {number}.",
        "by": by,
    }
    address = keeping.mailing_address(job.person)
    return StorageNotice.objects.create(
        **{**words, "address": address, "sent_on": told + dt.timedelta(days=day), **more}
    )


def past_deadline(by: Staff, days: int = 95, **more: Any) -> Job:
    """A job that is past its deadline, with every notice sent as planned."""
    job = waiting(by, days, **more)
    for day in PLAN:
        sent(job, day, by)
    return job
