"""People who come in by the front door: a session made by `force_login` has typed no password."""

from collections.abc import Callable

import pytest

from shop.models import Staff
from tests.conftest import Tablet

PASSWORD = "four old harbour lamps"
PIN = "4071"


def give_keys(staff: Staff, pin: str = "") -> Staff:
    """Give somebody the password of these tests, and a PIN."""
    staff.set_password(PASSWORD)
    staff.set_pin(pin)
    staff.save()
    return staff


def come_in(staff: Staff, tablet: Tablet | None = None) -> Tablet:
    """Sign in with the password of these tests."""
    tablet = tablet or Tablet()
    answer = tablet.post("/enter/", {"sign_in": staff.sign_in, "password": PASSWORD})
    assert answer.status_code == 302, answer.content.decode()
    return tablet


@pytest.fixture
def enters(shop: object) -> Callable[[Staff], Tablet]:
    """`enters(owner)`: a tablet on which that person has just typed their password."""

    def by_the_door(staff: Staff, pin: str = "") -> Tablet:
        return come_in(give_keys(staff, pin))

    return by_the_door


@pytest.fixture
def owners_tablet(enters: Callable[[Staff], Tablet], owner: Staff) -> Tablet:
    return enters(owner)
