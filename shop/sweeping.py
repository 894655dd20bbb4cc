"""What nobody needs any more: one-time keys that were answered, and sessions that ran out.

They hold pieces of pages, and what a customer wrote on a pad that was put away; and a table that only grows slows
the shop down. Swept at each sign-in with a password: a shop has some every day, and its PC may run for months.
(Old wrong tries at the doors are swept by django-axes.)
"""

import datetime as dt

from django.contrib.sessions.models import Session
from django.utils import timezone

from shop.once import forget_old


def sweep(now: dt.datetime | None = None) -> None:
    """Delete them for good."""
    now = now or timezone.now()
    forget_old(now)
    Session.objects.filter(expire_date__lt=now).delete()
