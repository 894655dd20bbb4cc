"""The lock on each door: a view says which act it is, the roles table says who may."""

from collections.abc import Callable
from functools import wraps
from typing import Any

from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse

from shop.errors import NotAllowed
from shop.roles import ACTS, may

View = Callable[..., HttpResponse]

HELD_TO = "held_to"  # in the session of a tablet that was handed over for one page: the address of that page
TAKE_BACK = "take the tablet back"


def allowed(act: str) -> Callable[[View], View]:
    """Let only those through who may do `act`; the test of roles reads `view.act`.

    A tablet that was handed over for one page opens that page, and the way back to staff.

    Raises:
        KeyError: at import, for an act that isn't in the table.
    """
    ACTS[act]

    def decorate(view: View) -> View:
        @wraps(view)
        def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
            held_to = request.session.get(HELD_TO)
            if held_to and request.path != held_to and act != TAKE_BACK:
                raise NotAllowed("This tablet was handed over for one page. Go back to it, please.")
            if not may(request.user.role, act):
                raise NotAllowed("This needs someone else's sign-in. Change person, or ask the owner.")
            return view(request, *args, **kwargs)

        guarded.act = act
        return guarded

    return decorate


def on_a_lent_tablet(view: View) -> View:
    """Open a page only on the tablet that was handed over for it (`doors.hand_over`). Goes below `@once`."""

    @wraps(view)
    def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if request.session.get(HELD_TO) != request.path:
            raise NotAllowed("This page opens on a tablet that staff handed over for it.")
        return view(request, *args, **kwargs)

    return guarded


def open_to_all(view: View) -> View:
    """Mark a view that needs no sign-in: the front door, the first start, error pages."""
    view = login_not_required(view)
    view.act = None
    return view
