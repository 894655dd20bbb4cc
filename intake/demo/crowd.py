"""Twenty thousand light jobs in one go, for measuring: how the pages bear a shop that has grown old.

Rows are made in bulk, without the verbs: enough of each for every list, search and report to have to work, but
no pickups and no readings. Its bills add up: what is invoiced is on lines, and nearly all of it was paid.
Not for looking at.
"""

import datetime as dt
from collections.abc import Iterable, Iterator
from decimal import Decimal
from random import Random
from typing import Any, Final

from django.db import models, transaction
from django.utils import timezone

from intake import claims
from intake.demo import world
from intake.models import (
    Charge,
    Finding,
    Gear,
    Invoice,
    InvoiceLine,
    Job,
    LabourSpell,
    Payment,
    Person,
    Phone,
    State,
    Visit,
)
from intake.models.work import Circuit
from shop.models import Entry, Shop, Staff, Terms

MONTHS: Final = 120
HERE: Final = 300  # jobs that stand in the house, of a crowd that is large enough
_BATCH: Final = 900  # rows in one statement: SQLite has a limit of variables


@transaction.atomic
def crowd(jobs: int = 20_000, *, seed: int = 7) -> None:
    """Fill a shop that is set up with so many jobs, a third as many people, half as many pieces of gear."""
    dice = Random(seed)
    by, terms, shop = Staff.objects.first(), Terms.current(), Shop.current()
    people = _keep(Person, _people(dice, jobs // 3))
    _keep(Phone, _phones(people))
    gear = _keep(Gear, _gear(dice, people, jobs // 2))
    plan = [(at, number, claim, dice.choice(gear)) for at, number, claim in _claims(dice, jobs)]
    visits = _keep(
        Visit,
        (
            Visit(
                person_id=g.owner_id,
                how=Visit.How.MAIL,
                carrier="Tern Freight",
                at=at,
                taken_in_by=by,
                terms=terms,
            )
            for at, _, _, g in plan
        ),
    )
    made = _keep(Job, _jobs(dice, plan, visits))
    _keep(Entry, _entries(made, by))
    _come_back(dice, made)
    gone = [job for job in made if job.state == State.COLLECTED]
    _keep(Finding, _findings(dice, made, by))
    _keep(LabourSpell, spells := list(_spells(dice, made, by)))
    invoices = _keep(Invoice, _invoices(gone, by, shop))
    _keep(InvoiceLine, (line for invoice in invoices for line in _lines(invoice)))
    _keep(Payment, _payments(dice, gone, by))
    _keep(Charge, _charges(made, spells, {invoice.job_id: invoice for invoice in invoices}, by))


def _keep(model: type[models.Model], rows: Iterable[Any]) -> list[Any]:
    return model._default_manager.bulk_create(rows, batch_size=_BATCH)


def _people(dice: Random, count: int) -> Iterator[Person]:
    for number in range(count):
        first, last = dice.choice(world.FIRST_NAMES), dice.choice(world.LAST_NAMES)
        person = Person(name=f"{first} {last}", email=f"{first}.{last}.{number}@example.org".lower())
        person.refold()
        yield person


def _phones(people: list[Person]) -> Iterator[Phone]:
    for number, person in enumerate(people):
        shown = f"(341) 555-{number % 10_000:04d}"
        yield Phone(person=person, number=shown, digits=f"341555{number % 10_000:04d}")


def _gear(dice: Random, people: list[Person], count: int) -> Iterator[Gear]:
    for number in range(count):
        kind = dice.choice(world.GEAR)
        gear = Gear(
            owner=dice.choice(people),
            kind=kind.kind,
            technology=kind.technology,
            maker=kind.maker,
            model=kind.model,
            serial=f"{kind.serial}{100_000 + number * 7}",
        )
        gear.refold()
        yield gear


def _claims(dice: Random, count: int) -> Iterator[tuple[dt.datetime, int, str]]:
    """When each job came, its number in the month, its claim; the oldest first, none of this month."""
    now = timezone.now()
    a_month = -(-count // MONTHS)
    this = now.year * 12 + now.month - 1
    left = count
    used = dict(Job.objects.order_by().values_list("month").annotate(models.Max("number")))
    for month in range(this - MONTHS, this):
        year = month // 12
        number = used.get(f"{year % 100:02}{month % 12 + 1:02}", 0)
        for _ in range(min(a_month, left)):
            number, claim = claims.following(year, month % 12 + 1, number)
            at = dt.datetime(year, month % 12 + 1, dice.randint(1, 28), dice.randint(13, 22), tzinfo=dt.UTC)
            yield at, number, claim
        left -= min(a_month, left)


def _jobs(dice: Random, plan: list[tuple[dt.datetime, int, str, Gear]], visits: list[Visit]) -> Iterator[Job]:
    here = [s for s in State if s not in (State.COLLECTED, State.LET_GO)]
    for place, ((at, number, claim, gear), visit) in enumerate(zip(plan, visits, strict=True)):
        state = dice.choice(here) if place >= len(plan) - min(HERE, len(plan) // 3) else State.COLLECTED
        ready = at + dt.timedelta(days=dice.uniform(2, 20))
        yield Job(
            claim=claim,
            month=claim[:4],
            number=number,
            visit=visit,
            person_id=gear.owner_id,
            gear=gear,
            state=state,
            state_since=ready,
            since=at,
            complaint=dice.choice(world.FAULTS).complaint,
            ready_at=ready if state in (State.COLLECTED, State.READY, State.LEFT_BEHIND) else None,
            collected_at=ready + dt.timedelta(days=3) if state == State.COLLECTED else None,
            wanted_by=ready.date() if dice.random() < 0.2 else None,
        )


def _come_back(dice: Random, jobs: list[Job]) -> None:
    """Let one job in twenty have come back from an earlier one."""
    back = [job for job in jobs[len(jobs) // 2 :] if dice.random() < 0.1]
    for job in back:
        job.comeback_of = dice.choice(jobs[: len(jobs) // 2])
        job.comeback_fault = dice.choice(("same", "another", "unclear"))
    Job.objects.bulk_update(back, ["comeback_of", "comeback_fault"], batch_size=_BATCH // 3)


def _entries(jobs: list[Job], by: Staff) -> Iterator[Entry]:
    for job in jobs:
        yield Entry(about=f"job/{job.pk}", by=by, at=job.since, words="took it in", changes=[])
        change = {"what": "State", "before": "in line", "after": job.get_state_display()}
        yield Entry(about=f"job/{job.pk}", by=by, at=job.state_since, words="moved it", changes=[change])


def _findings(dice: Random, jobs: list[Job], by: Staff) -> Iterator[Finding]:
    for job in jobs:
        yield Finding(
            job=job,
            fault="Capacitor open",
            cure="New",
            circuit=dice.choice(Circuit.values),
            by=by,
            at=job.since,
        )


def _spells(dice: Random, jobs: list[Job], by: Staff) -> Iterator[LabourSpell]:
    for job in jobs:
        minutes = dice.randint(20, 200)
        began = job.since + dt.timedelta(days=1)
        ended = began + dt.timedelta(minutes=minutes)
        yield LabourSpell(job=job, who=by, began=began, ended=ended, minutes=minutes, words="Repaired")


NET: Final = Decimal("132.50")
TAX: Final = Decimal("3.81")  # 7.25 per cent of the parts


def _invoices(jobs: list[Job], by: Staff, shop: Shop) -> Iterator[Invoice]:
    first = Invoice.objects.filter(series="OLD").count() + 1
    for number, job in enumerate(jobs, start=first):
        yield Invoice(
            series="OLD",
            number=number,
            job=job,
            person_id=job.person_id,
            issued_on=job.collected_at.date(),
            at=job.collected_at,
            by=by,
            seller={"name": shop.name},
            buyer={},
            currency=shop.currency,
            prices_include_tax=False,
            net=NET,
            taxes=[{"name": "Sales tax", "percent": "7.25", "base": "52.50", "tax": str(TAX)}],
            gross=NET + TAX,
        )


def _lines(invoice: Invoice) -> Iterator[InvoiceLine]:
    def line(kind: str, text: str, price: str, position: int, **more: Any) -> InvoiceLine:
        sums = {"unit_price": Decimal(price), "amount": Decimal(price)}
        return InvoiceLine(
            invoice=invoice, kind=kind, text=text, quantity=1, position=position, **sums, **more
        )

    yield line("labour", "Repair", "80", 0, unit="h")
    yield line("part", "Capacitors", "12.50", 1, unit_cost=Decimal("7"), tax_percents=["7.25"])
    yield line("part", "Valve", "40", 2, tax_percents=["7.25"])


def _payments(dice: Random, jobs: list[Job], by: Staff) -> Iterator[Payment]:
    for place, job in enumerate(jobs):
        if place % 100 == 7:  # still owes
            continue
        method = dice.choice(("cash", "card", "transfer"))
        if dice.random() < 0.2:
            deposit = Decimal(50)
            yield Payment(job=job, kind="deposit", amount=deposit, method=method, at=job.since, by=by)
            yield Payment(job=job, amount=NET + TAX - deposit, method=method, at=job.collected_at, by=by)
        else:
            yield Payment(job=job, amount=NET + TAX, method=method, at=job.collected_at, by=by)


def _charges(
    jobs: list[Job], spells: list[LabourSpell], invoices: dict[int, Invoice], by: Staff
) -> Iterator[Charge]:
    """The labour of each job from its clock; on its invoice where it has one."""
    for job, spell in zip(jobs, spells, strict=True):
        yield Charge(
            job=job,
            kind="labour",
            text="Repair",
            unit="h",
            unit_price=Decimal(80),
            origin=f"labour/{spell.pk}",
            invoice=invoices.get(job.pk),
            by=by,
        )
