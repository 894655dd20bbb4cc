"""The two doors: a password, or a PIN on a device that somebody has signed in on with a password.

A session holds, beside who is here:
- the *mark* of a full sign-in (who, when): it lets others take over this device with a PIN, and survives
  that. It ends after `MARK_HOLDS`, when anybody leaves, and when whose it is may no longer sign in or gets
  another password;
- on a tablet in a customer's hands: who gave it to them, where staff go on, and the one page that it opens,
  unless it is the sign-in pad;
- when the person here last typed a password: setting up the shop and managing staff ask for one no older
  than `PASSWORD_HOLDS`. A PIN never counts as that.

Failures are counted by django-axes for person and device together. They are rows in the database, so a view
that tries a door must not be wrapped in `@once`, which undoes what a refused form wrote: it is marked
`@a_door` instead.
"""

import datetime as dt
from functools import wraps
from typing import Any

from axes.helpers import get_cool_off, get_failure_limit
from axes.models import AccessAttempt
from axes.utils import reset
from django.contrib.auth import authenticate, login, logout, update_session_auth_hash
from django.contrib.auth.backends import ModelBackend
from django.db import transaction
from django.db.models import Max, Sum
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.crypto import constant_time_compare
from django.utils.http import urlencode
from django_htmx.http import HttpResponseClientRedirect

from shop.access import HELD_TO, View
from shop.errors import NotAllowedYet, Refused
from shop.http import Request, wants_part
from shop.models import Staff
from shop.roles import Role
from shop.sweeping import sweep

MARK = "full_sign_in"
PASSWORD_AT = "password_at"
LENT_BY = "lent_by"
THEN = "then"
MARK_HOLDS = dt.timedelta(hours=12)
PASSWORD_HOLDS = dt.timedelta(minutes=30)
_PASSWORD_DOOR = "shop.doors.PasswordDoor"
_PIN_DOOR = "shop.doors.PinDoor"


class PasswordDoor(ModelBackend):
    """Sign in with the sign-in word and the password."""

    def authenticate(self, request: HttpRequest | None, sign_in: str, password: str) -> Staff | None:  # type: ignore[override]
        staff = super().authenticate(request, username=sign_in, password=password)
        return staff if staff and staff.role != Role.PAD else None


class PinDoor(ModelBackend):
    """Take over a shared tablet with a PIN."""

    def authenticate(self, request: HttpRequest | None, sign_in: str, pin: str) -> Staff | None:  # type: ignore[override]
        staff = Staff.objects.working().with_pin().filter(sign_in=sign_in).first()
        return staff if staff and staff.check_pin(pin) else None


class WrongKey(Refused):
    """The password or PIN isn't right."""


class LockedOut(Refused):
    """Too many wrong tries by this person on this device."""

    status = 429


class NotSignedInFully(NotAllowedYet):
    """Nobody has signed in on this device with a password lately enough for a PIN to do."""


def a_door(view: View) -> View:
    """Mark a view that tries a password or PIN: harmless to send twice, and it must count each failure."""
    view.once = False
    return view


# --- coming in, changing, leaving


def come_in(request: Request, sign_in: str, password: str) -> Staff:
    """Sign in fully, with a new session.

    Raises:
        WrongKey: no such person, or not their password; which of the two isn't said.
        LockedOut: too many wrong tries.
    """
    staff = _try(request, sign_in=sign_in, password=password)
    if staff is None:
        raise WrongKey(f"The sign-in word or the password isn't right. {_tries_left(request)}")
    come_in_as(request, staff)
    sweep()
    return staff


def come_in_as(request: Request, staff: Staff) -> None:
    """Sign in somebody who has just given or set a password, with a new session."""
    _become(request, staff, _PASSWORD_DOOR, {})
    mark_full_sign_in(request, staff)


def stay_in(request: Request, staff: Staff) -> None:
    """Keep the person here signed in over a change of their own password; nothing for anybody else's."""
    if staff.pk == request.user.pk:
        update_session_auth_hash(request, staff)
        mark_full_sign_in(request, staff)


def say_it_again(request: Request, password: str) -> None:
    """Take the password of the person who is here once more.

    Raises:
        WrongKey: it isn't theirs.
        LockedOut: too many wrong tries.
    """
    staff = _try(request, sign_in=request.user.sign_in, password=password)
    if staff is None:
        raise WrongKey(f"That isn't your password. {_tries_left(request)}")
    request.session.cycle_key()
    mark_full_sign_in(request, staff)


def take_over(request: Request, staff: Staff, pin: str) -> Staff:
    """Make `staff` the person at this device, with a new session that keeps only the mark.

    Raises:
        NotSignedInFully: nobody signed in with a password here within `MARK_HOLDS`.
        WrongKey: not their PIN.
        LockedOut: too many wrong tries; the right PIN doesn't help then.
    """
    mark = mark_of(request)
    if mark is None:
        raise NotSignedInFully(
            "A PIN does only where someone signed in with a password in the last 12 hours. "
            "Sign in with yours."
        )
    if _try(request, sign_in=staff.sign_in, pin=pin) is None:
        raise WrongKey(f"That isn't {staff.name}'s PIN. {_tries_left(request)}")
    _become(request, staff, _PIN_DOOR, {MARK: mark})
    return staff


def sign(request: Request, key: str) -> None:
    """Check that whoever signs is the person signed in here: by their PIN, or by the password where they have none.

    The session stays as it is.

    Raises:
        WrongKey: it isn't theirs.
        LockedOut: too many wrong tries; the right one doesn't help then.
    """
    staff = request.user
    said = {"pin": key} if staff.pin else {"password": key}
    if _try(request, sign_in=staff.sign_in, **said) is None:
        raise WrongKey(f"That isn't your {'PIN' if staff.pin else 'password'}. {_tries_left(request)}")
    # A right one wipes out the wrong ones before it, as it does at the other doors.
    reset(username=staff.sign_in, ip=request.axes_ip_address)


def hand_over(request: Request, *, then: str, page: str = "") -> None:
    """Give this device into a customer's hands: nothing stays of the session but the mark and who gave it.

    Without `page` it is the sign-in pad; with it, it opens the page of that address and no other. `then` is the
    address where staff go on once they took it back.
    """
    keep: dict[str, Any] = {LENT_BY: request.user.pk, THEN: then}
    if page:
        keep[HELD_TO] = page
    if (mark := mark_of(request)) is not None:
        keep[MARK] = mark
    _become(request, the_pad(), _PIN_DOOR, keep)


def go_out(request: Request) -> None:
    """Leave: the session and its mark are gone."""
    logout(request)


@transaction.atomic
def the_pad() -> Staff:
    """The row that is the sign-in pad, made if it isn't there. It has neither password nor PIN."""
    pad = Staff.objects.filter(role=Role.PAD).first()
    return pad or Staff.objects.create_user("sign-in-pad", "Sign-in pad", Role.PAD)


def lent_by(request: Request) -> Staff | None:
    """Who handed this tablet over."""
    return Staff.objects.filter(pk=request.session.get(LENT_BY)).first()


def _become(request: Request, staff: Staff, door: str, keep: dict[str, Any]) -> None:
    request.session.flush()
    login(request, staff, backend=door)
    request.session.update(keep)


# --- what the session says


def mark_full_sign_in(request: Request, staff: Staff) -> None:
    """Note that `staff` has just typed a password here."""
    now = timezone.now().timestamp()
    request.session[MARK] = {"by": staff.pk, "at": now, "key": staff.get_session_auth_hash()}
    request.session[PASSWORD_AT] = now


def mark_of(request: Request) -> dict[str, Any] | None:
    """The mark of a full sign-in on this device, if it still holds."""
    mark = request.session.get(MARK)
    if not mark or not _within(mark["at"], MARK_HOLDS):
        return None
    staff = Staff.objects.working().filter(pk=mark["by"]).first()
    if staff is None or not constant_time_compare(staff.get_session_auth_hash(), mark["key"]):
        return None
    return mark


def password_is_fresh(request: Request) -> bool:
    """Say whether the person here typed a password within `PASSWORD_HOLDS`."""
    return _within(request.session.get(PASSWORD_AT, 0), PASSWORD_HOLDS)


def _within(at: float, span: dt.timedelta) -> bool:
    # Nor in the future: a clock that was set back must not make a mark hold for longer.
    return 0 <= timezone.now().timestamp() - at <= span.total_seconds()


def fresh_password(view: View) -> View:
    """Ask for the password again where it was typed too long ago, then go on with what was wanted.

    Goes above `@once`. What a form holds travels through the question and is sent on after it.
    """

    @wraps(view)
    def guarded(request: Request, *args: Any, **kwargs: Any) -> HttpResponse:
        if password_is_fresh(request):
            return view(request, *args, **kwargs)
        here = request.get_full_path()
        ask = f"{reverse('enter-again')}?{urlencode({'next': here})}"
        if wants_part(request):
            return HttpResponseClientRedirect(ask)
        if request.method != "POST":
            return redirect(ask)
        return _ask_over_a_form(request, view, *args, **kwargs)

    return guarded


PASSWORD_FIELD = "password_again"


def _ask_over_a_form(request: Request, view: View, *args: Any, **kwargs: Any) -> HttpResponse:
    error = ""
    if PASSWORD_FIELD in request.POST:
        try:
            say_it_again(request, request.POST[PASSWORD_FIELD])
        except Refused as refusal:
            error = str(refusal)
        else:
            # The view may show the form once more, hidden fields and all: not with a password in it.
            request.POST = request.POST.copy()
            del request.POST[PASSWORD_FIELD]
            return view(request, *args, **kwargs)
    hidden = [
        (name, value)
        for name, values in request.POST.lists()
        if name not in {PASSWORD_FIELD, "csrfmiddlewaretoken"}
        for value in values
    ]
    context = {"action": request.get_full_path(), "hidden": hidden, "error": error, "name": PASSWORD_FIELD}
    return render(request, "shop/enter_again.html", context, status=403)


# --- locks


def _try(request: Request, **key: str) -> Staff | None:
    """Try a door. Who calls shows the refusal itself: django-axes needn't replace the answer by its own."""
    request.lock_is_told = True
    staff = authenticate(request, **key)
    if staff is None and request.axes_locked_out:
        raise LockedOut(
            "Too many wrong tries on this device. Wait 15 minutes, or ask the owner to lift the lock "
            "on the staff page."
        )
    return staff


def _tries_left(request: Request) -> str:
    left = get_failure_limit(request, None) - (request.axes_failures_since_start or 0)
    return "One try is left, then wait 15 minutes." if left == 1 else f"{left} tries are left."


def locked_out(request: Request, response: HttpResponse, credentials: dict | None) -> HttpResponse:
    """Answer in place of a view that met a lock and didn't say so. django-axes calls it."""
    if getattr(request, "lock_is_told", False):
        return response
    return render(request, "shop/locked.html", status=LockedOut.status)


def locks() -> dict[str, dt.datetime]:
    """Sign-in word -> until when it is locked on some device. One query."""
    since = timezone.now() - get_cool_off()
    rows = (
        AccessAttempt.objects.filter(attempt_time__gte=since)
        .values("username", "ip_address")
        .annotate(failures=Sum("failures_since_start"), last=Max("attempt_time"))
        .filter(failures__gte=get_failure_limit(None, None))
        .order_by("last")
    )
    return {row["username"]: row["last"] + get_cool_off() for row in rows}
