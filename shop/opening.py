"""The first start: a code that only the terminal shows, and the one act that opens the shop."""

import json
import os
import secrets
from decimal import Decimal
from pathlib import Path
from typing import Any

from django.conf import settings
from django.contrib.auth.hashers import check_password, make_password
from django.db import IntegrityError, transaction
from django.utils import timezone

from shop import locks, timeline
from shop.doors import the_pad
from shop.errors import Refused
from shop.models import Shop, Staff, TaxRate, Terms
from shop.roles import Role

TRIES = 10
_LETTERS = "23456789ABCDEFGHJKMNPQRSTVWXYZ"  # none that looks like another: it is read off a screen
_LENGTH = 8  # 30**8: at ten tries nobody guesses it


class WrongCode(Refused):
    """Not the code that the terminal shows."""


class AlreadyOpen(Refused):
    """The first start has been done."""


# --- the code


def one_time_code() -> str:
    """Make a new code and keep its hash. The code itself is shown once, by who called."""
    code = "".join(secrets.choice(_LETTERS) for _ in range(_LENGTH))
    with locks.held(_lock(), wait=True):
        _keep({"hash": make_password(code), "wrong": 0})
    return f"{code[:4]}-{code[4:]}"


def check_code(typed: str) -> None:
    """Check a typed code; case, spaces and dashes don't matter.

    Raises:
        WrongCode: it isn't the one, or too many wrong ones were tried, or the terminal never showed one.
    """
    with locks.held(_lock(), wait=True):
        kept = _kept()
        if kept is None:
            raise WrongCode("There is no code yet. Start the shop with “manage.py openshop”: it shows one.")
        if kept["wrong"] >= TRIES:
            raise WrongCode("Too many wrong codes. Start “manage.py openshop” again: it shows a new one.")
        if check_password("".join(c for c in typed.upper() if c.isalnum()), kept["hash"]):
            return
        _keep({**kept, "wrong": kept["wrong"] + 1})
    raise WrongCode("That isn't the code. It is shown in the terminal where the shop was started.")


def _file() -> Path:
    return Path(settings.HOME) / "first-start.json"


def _lock() -> Path:
    return Path(settings.HOME) / "first-start.lock"


def _kept() -> dict[str, Any] | None:
    try:
        return json.loads(_file().read_text())
    except (FileNotFoundError, ValueError):
        return None


def _keep(what: dict[str, Any]) -> None:
    # Written beside and moved into place: a pulled plug leaves the old file or the new one, never half.
    beside = _file().with_suffix(".new")
    beside.unlink(missing_ok=True)
    with os.fdopen(os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as file:
        json.dump(what, file)
    os.replace(beside, _file())


# --- the act


def open_shop(
    *,
    shop: dict[str, Any],
    terms: dict[str, Any],
    tax: dict[str, Any] | None,
    owner_name: str,
    sign_in: str,
    password: str,
    pin: str = "",
) -> Staff:
    """Open the shop: its row, terms, tax, owner and sign-in pad, all or nothing. Return the owner.

    Args:
        shop, terms, tax: the values of the fields of `Shop`, `Terms` and `TaxRate`; no tax for None.

    Raises:
        AlreadyOpen: another tablet was faster.
    """
    try:
        with transaction.atomic():
            row = Shop(**shop)
            row.full_clean(validate_unique=False, validate_constraints=False)
            row.save(force_insert=True)
            owner = Staff.objects.create_user(sign_in, owner_name, Role.OWNER, password)
            if pin:
                owner.set_pin(pin)
                owner.save()
            the_pad()
            Terms.objects.create(version=1, made_by=owner, **terms)
            if tax is not None:
                TaxRate.objects.create(valid_from=timezone.localdate(timezone=row.zone), **tax)
            timeline.write("shop", by=owner, words="opened the shop", after={"name": row.name})
    except IntegrityError as error:
        if Shop.current() is None:
            raise
        raise AlreadyOpen("The shop is open already: another tablet was faster. Sign in there.") from error
    _file().unlink(missing_ok=True)
    return owner


# --- what the page begins with


def example_terms() -> dict[str, Any]:
    """Neutral terms to begin from: plain words that each shop changes to its own."""
    return {
        "text": EXAMPLE_TEXT,
        "storage_text": EXAMPLE_STORAGE,
        "free_days": 30,
        "daily_fee": Decimal(0),
        "notices": 3,
        "notice_gap_days": 14,
        "deadline_days": 90,
    }


EXAMPLE_TEXT = """\
We look at your gear first and tell you what it needs and what that costs. We start once you agree. Up to \
the spend limit you gave us we go ahead without asking.

The diagnosis fee pays for looking. You owe it whether or not you have the gear repaired.

If we find more while we work, we stop and ask you again.

Old gear can fail in another place after a repair. Our warranty covers the work we did and the parts we put \
in, for the days that stand on the invoice.

Parts we take out are yours if you ask for them when you leave the gear with us.

Please take out or tell us about anything that you don't want opened, moved or erased. Settings and stored \
sounds may be lost."""

EXAMPLE_STORAGE = """\
Please collect your gear when we tell you that it is ready. Storage is free for the days named here; after \
that we charge the daily fee. Before the deadline we write to you as often as is named here. Gear that \
nobody collects by then is dealt with as the law of this place allows."""


def machine_zone() -> str:
    """The time zone this computer is set to, or nothing where it doesn't say. A first guess for the page."""
    try:
        return str(Path("/etc/localtime").resolve(strict=True)).partition("zoneinfo/")[2]
    except OSError:
        return ""
