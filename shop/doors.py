"""The two doors: a password, or a PIN on a device that somebody has signed in on with a password."""

from django.contrib.auth.backends import ModelBackend
from django.http import HttpRequest, HttpResponse

from shop.models import Staff


class PasswordDoor(ModelBackend):
    """Sign in with the sign-in word and the password."""


class PinDoor(ModelBackend):
    """Take over a shared tablet with a PIN."""

    def authenticate(self, request: HttpRequest | None, sign_in: str = "", pin: str = "") -> Staff | None:  # type: ignore[override]
        staff = Staff.objects.working().with_pin().filter(sign_in=sign_in).first()
        return staff if staff and staff.check_pin(pin) else None


def locked_out(request: HttpRequest, response: HttpResponse | None, credentials: dict) -> HttpResponse:
    raise NotImplementedError
