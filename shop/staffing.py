"""The people of the shop: taking somebody on, changing what they may do, their keys, their locks."""

from axes.utils import reset
from django.contrib.auth import SESSION_KEY
from django.contrib.sessions.models import Session
from django.db import transaction
from django.utils import timezone

from shop import timeline
from shop.errors import Refused
from shop.models import Staff
from shop.roles import Role


class LastOwner(Refused):
    """Without them nobody could set up the shop any more."""


class TooEasy(Refused):
    """A PIN that is tried first."""


@transaction.atomic
def take_on(*, name: str, sign_in: str, role: str, password: str, pin: str = "", by: Staff) -> Staff:
    """Add somebody who signs in."""
    staff = Staff.objects.create_user(sign_in, name, role, password)
    if pin:
        _put_pin(staff, pin)
    timeline.write(staff, by=by, words="was taken on", after=_facts(staff))
    return staff


@transaction.atomic
def change(staff: Staff, *, name: str, role: str, is_active: bool, by: Staff) -> None:
    """Change a person's name, role, or whether they may sign in; without that, their sessions end at once.

    Raises:
        LastOwner: the shop would be left without an owner who may sign in.
    """
    before = _facts(Staff.objects.get(pk=staff.pk))
    staff.name, staff.role, staff.is_active = name, role, is_active
    owners = Staff.objects.select_for_update().filter(role=Role.OWNER, is_active=True).order_by("pk")
    others = [owner for owner in owners if owner.pk != staff.pk]
    if not (role == Role.OWNER and is_active) and not others:
        raise LastOwner("This is the only owner who may sign in. Make somebody else an owner first.")
    staff.save(update_fields=["name", "role", "is_active"])
    if not is_active:
        end_sessions(staff)
    timeline.write(staff, by=by, words="was changed", before=before, after=_facts(staff))


def end_sessions(staff: Staff, *, but: str | None = None) -> None:
    """Sign somebody out wherever they are, `but` not in the session of this key."""
    for session in Session.objects.filter(expire_date__gt=timezone.now()).exclude(pk=but or ""):
        if session.get_decoded().get(SESSION_KEY) == str(staff.pk):
            session.delete()


@transaction.atomic
def set_password(staff: Staff, password: str, *, by: Staff, here: str | None = None) -> None:
    """Give somebody a new password. Wherever they are signed in, they are out, and so is what hung on it.

    `here` is the key of the session in which they do it themselves: that one goes on.
    """
    staff.set_password(password)
    staff.save(update_fields=["password"])
    end_sessions(staff, but=here)
    timeline.write(staff, by=by, words="got a new password")


@transaction.atomic
def set_pin(staff: Staff, pin: str, *, by: Staff, here: str | None = None) -> None:
    """Give somebody a PIN; an empty one takes theirs away. Whoever came in with the old one is out.

    `here` is the key of the session in which they do it themselves: that one goes on.

    Raises:
        TooEasy: one digit all over, or a run up or down.
    """
    _put_pin(staff, pin)
    end_sessions(staff, but=here)
    timeline.write(staff, by=by, words="got a new PIN" if pin else "has no PIN any more")


@transaction.atomic
def lift_lock(staff: Staff, *, by: Staff) -> None:
    """Let somebody try again at once, on every device."""
    reset(username=staff.sign_in)
    timeline.write(staff, by=by, words="had their lock lifted")


def check_pin(pin: str) -> None:
    """Refuse the PINs that anybody would try first.

    Raises:
        TooEasy: one digit all over, or a run up or down.
    """
    if len(set(pin)) == 1 or (len(pin) > 2 and (pin in "0123456789" or pin in "9876543210")):
        raise TooEasy("Choose a PIN that isn't one digit all over or a run like 1234.")


def _put_pin(staff: Staff, pin: str) -> None:
    check_pin(pin)
    staff.set_pin(pin)
    staff.save(update_fields=["pin"])


def _facts(staff: Staff) -> dict[str, str]:
    return {
        "name": staff.name,
        "role": Role(staff.role).label,
        "may sign in": "yes" if staff.is_active else "no",
    }
