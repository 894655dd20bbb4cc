"""Bills for tests: charges, proposals, a signature on glass."""

import datetime as dt
import json
from decimal import Decimal

from django.utils import timezone
from freezegun import freeze_time

from intake import billing, estimating
from intake.models import Charge, Estimate, Job
from shop.models import Staff
from tests.factories import ChargeFactory

STROKES = json.dumps(
    {
        "width": 300,
        "height": 120,
        "strokes": [{"points": [{"x": 20 * n + 10, "y": 30 + 25 * (n % 3), "time": n} for n in range(12)]}],
    }
)


def charged(job: Job, kind: str, text: str, price: str, quantity: str = "1", **more: object) -> Charge:
    unit = "h" if kind == "labour" else ""
    return ChargeFactory(
        job=job,
        kind=kind,
        text=text,
        unit_price=Decimal(price),
        quantity=Decimal(quantity),
        unit=unit,
        **more,
    )


def repaired(job: Job, by: Staff) -> Job:
    """What a usual repair costs: 1.5 h at $80, two capacitors, a pair of tubes. See BILLS."""
    charged(job, "labour", "New filter capacitors", "80", "1.5", by=by)
    charged(job, "part", "Capacitor 22 µF 450 V", "6.50", "2", by=by)
    charged(job, "part", "6L6GC, matched pair", "78.40", by=by)
    return job


def row(
    kind: str = "labour", text: str = "Bench time", quantity: str = "1", price: str = "80"
) -> billing.Row:
    return billing.Row(kind, text, Decimal(quantity), Decimal(price), "h" if kind == "labour" else "")


def proposed(job: Job, by: Staff, *rows: billing.Row, days_ago: int = 0, holds: int = 0) -> Estimate:
    """An estimate that was made today or `days_ago`, and holds until the end of that day or so many days more."""
    from shop.models import Shop

    with freeze_time(timezone.now() - dt.timedelta(days=days_ago), tick=True):
        until = billing.today(Shop.current()) + dt.timedelta(days=holds)
        return estimating.make_estimate(
            job, lines=rows or [row()], words="New tubes.", valid_until=until, by=by
        )


def rows_data(*rows: tuple[str, str, str, str]) -> dict[str, str]:
    """An estimate's lines as its form sends them: kind, what for, quantity, price."""
    data = {"rows-TOTAL_FORMS": str(len(rows)), "rows-INITIAL_FORMS": "0"}
    for n, (kind, text, quantity, price) in enumerate(rows):
        data |= {
            f"rows-{n}-kind": kind,
            f"rows-{n}-text": text,
            f"rows-{n}-quantity": quantity,
            f"rows-{n}-unit_price": price,
        }
    return data
