"""Work in progress: what stands in the house today, where it stands and since when, and what isn't invoiced yet."""

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from decimal import Decimal
from statistics import median
from typing import Final, NamedTuple

from intake.models import Charge, Job, State
from intake.models.jobs import IN_THE_HOUSE
from intake.reports import picture
from intake.reports.sheet import Asked, Column, Kind, Sheet
from shop import money

BANDS: Final = ((7, "up to 7 days"), (30, "8 to 30"), (90, "31 to 90"))  # the last is over 90 days
_ORDER: Final = {kind: place for place, kind in enumerate(money.KINDS)}


class Here(NamedTuple):
    """A job in the house: where it stands, since when, and what is charged and not invoiced."""

    state: str
    came: dt.date
    charged: Decimal


@dataclass
class Standing:
    """The jobs that stand somewhere. `ages` are in days."""

    state: str
    charged: Decimal
    ages: list[int] = field(default_factory=list)

    @property
    def bands(self) -> list[int]:
        """How many are of each age."""
        counts = [0] * (len(BANDS) + 1)
        for age in self.ages:
            counts[next((n for n, (most, _) in enumerate(BANDS) if age <= most), len(BANDS))] += 1
        return counts


def by_state(jobs: Iterable[Here], today: dt.date, zero: Decimal) -> list[Standing]:
    """Return what stands where, in the order of the work. Pure."""
    found: dict[str, Standing] = {}
    for job in jobs:
        standing = found.setdefault(job.state, Standing(job.state, zero))
        standing.ages.append(max((today - job.came).days, 0))
        standing.charged += job.charged
    return [found[state] for state in State.values if state in found]


def charged(lines: Iterable[money.Line], currency: str) -> Decimal | None:
    """Return what charges come to as they are priced, without working tax out; None where they make no bill."""
    try:
        return money.total(sorted(lines, key=lambda line: _ORDER[line.kind]), currency).net
    except money.MoneyError:
        return None


def of(asked: Asked) -> Sheet:
    """The report, in two queries."""
    lines: dict[int, list[money.Line]] = defaultdict(list)
    open_charges = Charge.objects.to_invoice().filter(job__state__in=IN_THE_HOUSE).order_by("position", "pk")
    for key, kind, text, quantity, price, percent, at_nothing in open_charges.values_list(
        "job_id", "kind", "text", "quantity", "unit_price", "percent", "under_warranty"
    ):
        price = Decimal(0) if at_nothing else price
        lines[key].append(money.Line(text, kind, quantity, price, percent=percent))
    sums = {key: charged(each, asked.shop.currency) for key, each in lines.items()}
    found = by_state(
        (
            Here(state, asked.day(came), sums.get(key) or asked.zero)
            for key, state, came in Job.objects.in_the_house().order_by().values_list("pk", "state", "since")
        ),
        asked.today,
        asked.zero,
    )
    count = sum(len(s.ages) for s in found)
    whole = sum((s.charged for s in found), asked.zero)
    ages = [age for s in found for age in s.ages]
    rows = [
        (State(s.state).label, len(s.ages), median(s.ages), max(s.ages), *s.bands, s.charged) for s in found
    ]
    bars = [picture.Bar(State(s.state).label, len(s.ages), str(len(s.ages))) for s in found]
    wrong = sum(1 for each in sums.values() if each is None)
    notes = [
        "Age is counted in days since the drop-off. Charges are as they are priced, before tax is added."
    ]
    if wrong:
        notes.append(f"{wrong} of the jobs have discounts above their charges: they count as nothing here.")
    return Sheet(
        columns=[
            Column("where it stands", "Where it stands"),
            Column("jobs", "Jobs", Kind.COUNT),
            Column("median age, days", "Median age, days", Kind.DAYS),
            Column("oldest, days", "Oldest, days", Kind.COUNT),
            *(Column(words, words.capitalize(), Kind.COUNT) for _, words in BANDS),
            Column("over 90", "Over 90", Kind.COUNT),
            Column("charged, not invoiced", "Not invoiced", Kind.MONEY),
        ],
        rows=rows,
        total=(
            "Together",
            count,
            median(ages),
            max(ages),
            *(sum(s.bands[n] for s in found) for n in range(len(BANDS) + 1)),
            whole,
        )
        if found
        else None,  # fmt: skip
        picture=picture.lying(bars) if bars else None,
        pictured="How many jobs stand where",
        caption="Jobs in the house, by where they stand",
        figures=[
            ("Jobs in the house", str(count)),
            ("Half of them here for", f"{median(ages):.0f} days or less"),
            ("Charged, not invoiced", asked.say(whole)),
        ]
        if found
        else [],
        notes=notes if found else [],
        empty="Nothing stands in the house.",
    )
