"""The lock on each door: a view says which act it is, the roles table says who may."""

from collections.abc import Callable
from functools import wraps
from typing import Any

from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse

from shop.errors import NotAllowed
from shop.roles import ACTS, may

View = Callable[..., HttpResponse]


def allowed(act: str) -> Callable[[View], View]:
    """Let only those through who may do `act`; the test of roles reads `view.act`.

    Raises:
        KeyError: at import, for an act that isn't in the table.
    """
    ACTS[act]

    def decorate(view: View) -> View:
        @wraps(view)
        def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
            if not may(request.user.role, act):
                raise NotAllowed("This needs someone else's sign-in. Change person, or ask the owner.")
            return view(request, *args, **kwargs)

        guarded.act = act
        return guarded

    return decorate


def open_to_all(view: View) -> View:
    """Mark a view that needs no sign-in: the front door, the first start, error pages."""
    view = login_not_required(view)
    view.act = None
    return view
