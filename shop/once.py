"""One-time keys: the second tap of a slow button gets the first tap's answer.

A form carries `{% once_key %}`; the view is wrapped in `@once`. The key is written in the same transaction as what
the view does, so a pulled plug leaves either both or neither, and two taps at once queue up at the database.
"""

import datetime as dt
import re
import secrets
from collections.abc import Callable
from functools import wraps
from hashlib import sha256
from typing import Any

from django.db import IntegrityError, transaction
from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from shop.errors import Refused
from shop.models import OnceKey

FIELD = "once"
KEPT = dt.timedelta(days=2)
_SHAPE = re.compile(r"[A-Za-z0-9_-]{16,64}")
_HEADERS = ("Location", "HX-Redirect", "HX-Trigger", "HX-Retarget", "HX-Reswap", "Content-Type")
_LONGEST_BODY = 200_000


class NoOnceKey(Refused):
    """The form came without its key: an old page, or not one of ours."""

    status = 400


def new_key() -> str:
    """Make a key for one showing of a form."""
    return secrets.token_urlsafe(18)


def once(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
    """Run a POST at most once for its key, in a transaction; repeat the first answer to whoever asks again.

    An answer of 400 or above did nothing: its key is given back and what it wrote is undone, so that the mended
    form can be sent again. GET passes through.

    Raises:
        NoOnceKey: the form has no key.
    """

    @wraps(view)
    def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if request.method != "POST":
            return view(request, *args, **kwargs)
        key = request.POST.get(FIELD, "")
        if not _SHAPE.fullmatch(key):
            raise NoOnceKey("This page is too old to be sent. Load it again; then send it.")
        name = sha256(f"{request.user.pk or 0} {request.path} {key}".encode()).hexdigest()
        try:
            with transaction.atomic():
                row = OnceKey.objects.create(key=name)
                response = view(request, *args, **kwargs)
                if response.status_code >= 400:
                    transaction.set_rollback(True)
                    return response
                row.status = response.status_code
                row.headers = {h: response[h] for h in _HEADERS if h in response}
                # A page shows again what was typed; PostgreSQL keeps no NUL, and no page needs one.
                row.body = (
                    "" if response.streaming else response.content.decode().replace("\0", "")[:_LONGEST_BODY]
                )
                row.save()
                return response
        except IntegrityError:
            first = OnceKey.objects.filter(key=name).first()
            if first is None:  # the view's own doing, not the key's
                raise
            return HttpResponse(first.body, status=first.status, headers=first.headers)

    guarded.once = True
    return guarded


def forget_old(now: dt.datetime | None = None) -> int:
    """Drop keys that no tablet can still be waiting on. Return how many."""
    return OnceKey.objects.filter(at__lt=(now or timezone.now()) - KEPT).delete()[0]
