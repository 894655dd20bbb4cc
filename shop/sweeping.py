"""What nobody needs any more: answered one-time keys, sessions that ran out, old wrong tries at the doors.

They hold pieces of pages, and what a customer wrote on a pad that was put away; and a table that only grows slows
the shop down. Swept at each sign-in with a password: a shop has some every day, and its PC may run for months.
"""

import datetime as dt

from axes.models import AccessAttempt
from django.contrib.sessions.models import Session
from django.utils import timezone

from shop.once import forget_old

TRIES_KEPT = dt.timedelta(days=2)  # a lock lasts for a quarter of an hour


def sweep(now: dt.datetime | None = None) -> None:
    """Delete them for good."""
    now = now or timezone.now()
    forget_old(now)
    Session.objects.filter(expire_date__lt=now).delete()
    AccessAttempt.objects.filter(attempt_time__lt=now - TRIES_KEPT).delete()
