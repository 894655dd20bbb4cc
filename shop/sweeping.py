"""What nobody needs any more: one-time keys that were answered, sessions that ran out, files that no row names.

They hold pieces of pages, and what a customer wrote on a pad that was put away; and a table that only grows slows
the shop down. A file is written before the row that names it, so that a row never names one that isn't there; what
was undone in between leaves the file. Swept at each sign-in with a password: a shop has some every day, and its PC
may run for months. (Old wrong tries at the doors are swept by django-axes.)
"""

import datetime as dt
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from django.apps import apps
from django.conf import settings
from django.contrib.sessions.models import Session
from django.db.models import FileField
from django.utils import timezone

from shop.once import forget_old
from shop.pictures import OURS

LATELY: Final = dt.timedelta(days=40)
IN_THE_MAKING: Final = dt.timedelta(hours=1)  # a file so young may belong to a row that is being written


def sweep(now: dt.datetime | None = None) -> None:
    """Delete them for good."""
    now = now or timezone.now()
    forget_old(now)
    Session.objects.filter(expire_date__lt=now).delete()
    for path in nameless(now):
        path.unlink(missing_ok=True)


def nameless(now: dt.datetime) -> Iterator[Path]:
    """The pictures that no row names, of the folders in which anything was written lately.

    The others were looked through before, so it is quick however many pictures there are. A file whose name isn't
    of our making is nobody's to sweep.
    """
    root = Path(settings.MEDIA_ROOT)
    lately, ripe = (now - LATELY).timestamp(), (now - IN_THE_MAKING).timestamp()
    for here, _, names in os.walk(root):
        folder = Path(here)
        if folder.stat().st_mtime < lately:
            continue
        ours = [folder / name for name in names if OURS.fullmatch(name)]
        ours = [path for path in ours if not path.is_symlink() and path.stat().st_mtime < ripe]
        known = _named(folder.relative_to(root).as_posix()) if ours else set()
        yield from (path for path in ours if path.relative_to(root).as_posix() not in known)


def _named(folder: str) -> set[str]:
    """The files of a folder that rows name, whichever model they are of."""
    known: set[str] = set()
    for model in apps.get_models():
        for field in model._meta.local_fields:
            if isinstance(field, FileField):
                rows = model._default_manager.filter(**{f"{field.name}__startswith": f"{folder}/"})
                known.update(rows.order_by().values_list(field.name, flat=True))
    return known
