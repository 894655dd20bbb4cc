"""The invented shop that `openshop --demo` opens: Lantern Quay Electronics, in the harbour of Port Ansley.

The demo is made by the same verbs that a real shop uses, with the shop's clock set back: what it shows is
what the app would have written down in those three years. Floors add theirs through `sockets.demo_parts`.
"""

import datetime as dt
from collections.abc import Iterator
from contextlib import contextmanager
from decimal import Decimal
from typing import Final, NamedTuple

from django.db import transaction
from django.utils import timezone

from shop import opening, sockets, staffing
from shop.models import Shop, Staff
from shop.roles import Role

ZONE: Final = "America/New_York"
YEARS: Final = 3
PASSWORD: Final = "harbour-lantern"  # shown beside the door, in the demo alone


class Key(NamedTuple):
    """How to sign in to the demo."""

    name: str
    role: Role
    sign_in: str
    pin: str


KEYS: Final = (
    Key("Wren Adeyemi", Role.OWNER, "wren", "4071"),
    Key("Tomas Lindqvist", Role.BENCH, "tomas", "5062"),
    Key("Ida Marsh", Role.COUNTER, "ida", "6053"),
)

SHOP: Final = {
    "name": "Lantern Quay Electronics",
    "address": "4 Ropewalk\nPort Ansley",
    "phone": "555 0100",
    "email": "bench@lanternquay.example",
    "currency": "USD",
    "time_zone": ZONE,
    "paper": Shop.Paper.LETTER,
    "labour_rate": Decimal("80"),
    "diagnosis_fee": Decimal("45"),
    "estimate_tolerance": Decimal("10"),
    "parts_markup": Decimal("60"),
    "cash_float": Decimal("150"),
}
TERMS: Final = {
    "daily_fee": Decimal("2"),
    "fee_cap": Decimal("120"),
    "warranty_labour_days": 90,
    "warranty_parts_days": 90,
}
TAX: Final = {"name": "Sales tax", "percent": Decimal("7.25"), "on_labour": False, "on_parts": True}


class Clock:
    """What the shop's clock says while its invented past is made."""

    def __init__(self, now: dt.datetime):
        self.now = now  # when the demo is loaded: nothing happens after it
        self.moment = now

    @property
    def opened(self) -> dt.datetime:
        """The morning on which the shop opened, a little before its first job."""
        return self.now - dt.timedelta(days=YEARS * 365 + 7)


@contextmanager
def clock_set_back(now: dt.datetime | None = None) -> Iterator[Clock]:
    """Let every verb and every default write down the clock's moment in place of the time.

    `django.utils.timezone.now` asks its module's `datetime` for the time, and everything here asks
    `timezone.now`; so that one name is exchanged. It holds for the whole process: for the loading of the demo
    alone, before anybody is served.
    """
    clock = Clock(now or timezone.now())

    class Then(dt.datetime):
        @classmethod
        def now(cls, tz: dt.tzinfo | None = None) -> dt.datetime:
            return clock.moment.astimezone(tz)

    real = timezone.datetime
    timezone.datetime = Then
    try:
        with timezone.override(ZONE):
            yield clock
    finally:
        timezone.datetime = real


def load_if_empty(now: dt.datetime | None = None) -> bool:
    """Make the invented shop, all or nothing, in a database without a shop. Return whether it was made."""
    if Shop.current() is not None:
        return False
    with transaction.atomic(), clock_set_back(now) as clock:
        clock.moment = clock.opened
        _open()
        for part in sockets.demo_parts:
            if part.load:
                part.load(clock)
    return True


def at_bench(job: object, by: Staff, when: str) -> None:
    """Let the floors above write on a job of the demo: see `sockets.DemoPart` for `when`."""
    for part in sockets.demo_parts:
        if part.at_bench:
            part.at_bench(job, by, when)


def take_part(job: object | None, row: object, by: Staff) -> bool:
    """Let a floor above take a part out of its drawer for a bill's row. Return whether one did, and charged it."""
    return any(part.take_part(job, row, by) for part in sockets.demo_parts if part.take_part)


def _open() -> None:
    first, *others = KEYS
    wren = opening.open_shop(
        shop=SHOP,
        terms={**opening.example_terms(), **TERMS},
        tax=TAX,
        owner_name=first.name,
        sign_in=first.sign_in,
        password=PASSWORD,
        pin=first.pin,
    )
    for key in others:
        staffing.take_on(
            name=key.name, sign_in=key.sign_in, role=key.role, password=PASSWORD, pin=key.pin, by=wren
        )
