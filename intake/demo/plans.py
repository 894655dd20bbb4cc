"""Who of the invented town brings what to the shop, when, and what is to become of it."""

import datetime as dt
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from itertools import count
from random import Random
from typing import Final

from django.utils import timezone

from intake import billing
from intake.demo import world
from intake.demo.world import Fault, Kind
from intake.models import Gear, Job, Person, State
from shop import demo

JOBS: Final = 200
OPENS, SHUTS = 9, 18  # o'clock; not on Sundays

# What stands in the house today: where, how many days ago it came, in how many days it is wanted.
HERE: Final[tuple[tuple[State, float, int | None], ...]] = (
    (State.TAGGED_IN, 0.1, None),
    (State.TAGGED_IN, 0.2, 5),
    (State.TAGGED_IN, 1, None),
    (State.IN_LINE, 3, 2),
    (State.IN_LINE, 4, None),
    (State.IN_LINE, 6, None),
    (State.IN_LINE, 7, 12),
    (State.IN_LINE, 9, -1),
    (State.ON_THE_BENCH, 10, 1),
    (State.ON_THE_BENCH, 12, None),
    (State.ON_THE_BENCH, 14, None),
    (State.OWNER_TO_DECIDE, 14, None),
    (State.OWNER_TO_DECIDE, 18, 6),
    (State.PARTS_ON_ORDER, 19, None),
    (State.PARTS_ON_ORDER, 24, None),
    (State.PARTS_ON_ORDER, 27, 20),
    (State.SOAK_TEST, 21, 3),
    (State.GOING_HOME_AS_IS, 19, None),
    (State.READY, 24, None),
    (State.READY, 25, None),
    (State.READY, 28, None),
    (State.READY, 33, None),
    (State.READY, 62, None),
    (State.LEFT_BEHIND, 190, None),
    (State.LEFT_BEHIND, 245, None),
    (State.LEFT_BEHIND, 310, None),
    (State.LET_GO, 430, None),
)
UNTOLD: Final = 2  # of the ready ones, the newest: nobody rang their owners yet
COMEBACKS: Final = 2
DISPUTES: Final = 1


@dataclass(eq=False)
class Owned:
    """A piece of gear in the town, before and after the shop knows it."""

    kind: Kind
    serial: str
    year: str
    gear: Gear | None = None
    came: list[dt.datetime] = field(default_factory=list)
    stays: bool = False  # it is in the house today: it comes for no other repair


@dataclass(eq=False)
class Customer:
    """Somebody of the town, before and after the shop knows them."""

    name: str
    kind: str
    contact: str
    phones: tuple[str, ...]
    email: str
    address: str = ""
    exempt: str = ""  # the number of somebody who pays no tax
    gear: list[Owned] = field(default_factory=list)
    person: Person | None = None


@dataclass(eq=False)
class Plan:
    """What is to become of one piece of gear: how far its story goes, and which turns it takes."""

    came: dt.datetime
    customer: Customer
    owned: Owned
    fault: Fault
    stop: State = State.COLLECTED
    estimate: bool = False
    declines: bool = False
    waits_for_parts: bool = False
    by_mail: bool = False
    by_pad: bool = False
    pace: float = 1.0
    told: bool = True
    comes_back: str = ""  # with the same fault, or with another
    comeback_of: Job | None = None
    same_fault: bool = False  # as the repair that it comes back from
    option: bool = False  # the estimate has something to take or leave
    percent_off: Decimal | None = None  # asked for, and given, before the owner says yes
    letter_comes_back: bool = False
    overcharged: bool = False
    unpaid: str = ""  # goes home with money owed, which is written off in the end, or owed still
    photos: int = 0
    wanted_by: dt.date | None = None
    together: "Plan | None" = None  # comes in the same visit
    job: Job | None = None
    extras: list[billing.Row] = field(default_factory=list)  # the options that the owner took

    @property
    def hours(self) -> Decimal:
        return Decimal(math.ceil(self.fault.minutes / 15)) / 4

    @property
    def cost(self) -> Decimal:
        """What the repair comes to before tax."""
        parts = sum(Decimal(p.price) * p.count for p in self.fault.parts)
        return self.hours * demo.SHOP["labour_rate"] + parts


class Planner:
    """Makes the plans of every job, by the dice."""

    def __init__(self, clock: demo.Clock, dice: Random):
        self.clock, self.dice = clock, dice
        self._names = self._all_names()
        self._serials = count(1)
        self.town: list[Customer] = []

    def before_now(self, days: float) -> dt.datetime:
        """A moment in opening hours, so many days ago or a little more."""
        return when_open(self.clock.now - dt.timedelta(days=days), back=True)

    def plans(self) -> list[Plan]:
        """Every job but the comebacks and the dispute, which come of others."""
        plans = [self._plan_of(*here) for here in HERE]
        ready = [p for p in plans if p.stop == State.READY]
        for plan in sorted(ready, key=lambda p: p.came)[-UNTOLD:]:
            plan.told = False
        past = JOBS - len(plans) - COMEBACKS - DISPUTES
        first = self.clock.opened + dt.timedelta(days=7)
        span = (self.clock.now - dt.timedelta(days=70) - first).total_seconds()
        days = sorted(first + dt.timedelta(seconds=self.dice.uniform(0, span)) for _ in range(past))
        plans += [self.plan(when_open(day)) for day in days]
        self._put_together(plans)
        long_ago = self.before_now(200)
        comes_back = [
            p for p in plans if p.stop == State.COLLECTED and p.came < long_ago and len(p.owned.came) == 1
        ]
        chosen = comes_back[:: len(comes_back) // COMEBACKS][:COMEBACKS]
        for plan, fault in zip(chosen, ("same", "another"), strict=True):
            plan.comes_back, plan.declines, plan.together = fault, False, None
        self._misfortunes([p for p in plans if p not in chosen])
        return [p for p in plans if p.job is None and not self._is_second(p, plans)]

    def _misfortunes(self, plans: list[Plan]) -> None:
        """What goes wrong with money and letters in three years, once or twice each."""
        next(p for p in plans if p.stop == State.LEFT_BEHIND).letter_comes_back = True
        gone = [p for p in plans if p.stop == State.COLLECTED and not p.declines and not p.by_mail]
        doubled = (p for p in gone if any(part.count > 1 for part in p.fault.parts))
        next(doubled).overcharged = True
        bands = [p for p in gone if p.customer.kind == "band" and not p.overcharged and not p.together]
        old, new = self.before_now(400), self.before_now(120)
        next(p for p in bands if p.came < old).unpaid = "written off"
        next(p for p in reversed(bands) if p.came < new and not p.unpaid).unpaid = "owes still"

    def plan(self, came: dt.datetime) -> Plan:
        customer, owned = self.brings(came)
        fault = self._fault(owned)
        roll = self.dice.random
        estimate = roll() < 0.35
        return Plan(
            came,
            customer,
            owned,
            fault,
            estimate=estimate,
            declines=estimate and roll() < 0.2,
            waits_for_parts=bool(fault.parts) and roll() < 0.25,
            by_mail=roll() < 0.06,
            by_pad=roll() < 0.3,
            photos=1 if roll() < 0.06 else 0,
            option=roll() < 0.4,
            percent_off=Decimal(10) if roll() < 0.12 else None,
        )

    def _plan_of(self, state: State, days: float, wanted: int | None) -> Plan:
        """The plan of a job that stands in the house: it takes the turns that lead there, briskly."""
        plan = self.plan(self.before_now(days))
        plan.stop, plan.pace, plan.by_mail, plan.owned.stays = state, 0.3, False, True
        plan.by_pad = plan.by_pad and state not in (State.LEFT_BEHIND, State.LET_GO)
        plan.declines = state == State.GOING_HOME_AS_IS
        plan.estimate = plan.declines or state == State.OWNER_TO_DECIDE
        plan.waits_for_parts = state == State.PARTS_ON_ORDER
        plan.photos = 2 if state in (State.ON_THE_BENCH, State.SOAK_TEST, State.OWNER_TO_DECIDE) else 0
        if wanted is not None:
            plan.wanted_by = timezone.localdate(self.clock.now) + dt.timedelta(days=wanted)
        return plan

    def _put_together(self, plans: list[Plan]) -> None:
        """Now and then somebody brings two things at once."""
        done = [p for p in plans if p.stop == State.COLLECTED and not p.by_mail]
        for first, second in zip(done[5::14], done[6::14], strict=False):
            if len(second.owned.came) > 1 or second.customer is first.customer:
                continue
            second.customer.gear.remove(second.owned)
            first.customer.gear.append(second.owned)
            second.customer, second.came = first.customer, first.came
            first.together = second

    def _is_second(self, plan: Plan, plans: list[Plan]) -> bool:
        return any(p.together is plan for p in plans)

    def brings(self, came: dt.datetime) -> tuple[Customer, Owned]:
        """Who comes with what: somebody known with gear that was here long ago, or somebody new."""
        long_ago = dt.timedelta(days=120)
        again = [
            (customer, owned)
            for customer in self.town
            for owned in customer.gear
            if owned.came and not owned.stays and all(abs(came - other) > long_ago for other in owned.came)
        ]
        if again and self.dice.random() < 0.55:
            customer, owned = self.dice.choice(again)
        else:
            customer = self.somebody()
            owned = self.something(customer, of=world.GEAR)
        owned.came.append(came)
        return customer, owned

    def somebody(self) -> Customer:
        """Somebody known who brings another thing, or somebody new."""
        if len(self.town) > 12 and self.dice.random() < 0.2:
            return self.dice.choice(self.town)
        name, kind, contact = next(self._names)
        number = len(self.town)
        phones = tuple(
            f"({341 + (number + extra) // 100}) 555-01{(number + extra * 37) % 100:02d}"
            for extra in range(1 + (number % 5 == 0))
        )
        slug = "".join(c for c in name.lower() if c.isalpha() or c == " ").replace(" ", ".")
        email = f"{slug}@example.org" if self.dice.random() < 0.6 else ""
        address = f"{3 + number * 7 % 90} {world.STREETS[number % len(world.STREETS)]}, Port Ansley"
        exempt = world.EXEMPT if kind == "school" else ""
        customer = Customer(name, kind, contact, phones, email, address, exempt)
        self.town.append(customer)
        return customer

    def _all_names(self) -> Iterator[tuple[str, str, str]]:
        people = [f"{first} {last}" for first in world.FIRST_NAMES for last in world.LAST_NAMES]
        self.dice.shuffle(people)
        groups = iter(world.GROUPS)
        for place, name in enumerate(people):
            group = next(groups, None) if place % 6 == 3 else None
            yield (group[0], group[1], name) if group else (name, "person", "")

    def something(self, customer: Customer, of: Sequence[Kind]) -> Owned:
        """Give somebody a thing that the shop hasn't seen, one of these kinds."""
        kind = self.dice.choices(of, weights=[k.common for k in of])[0]
        serial = f"{kind.serial}{20000 + next(self._serials) * 37}" if self.dice.random() < 0.85 else ""
        owned = Owned(kind, serial, kind.years if self.dice.random() < 0.5 else "")
        customer.gear.append(owned)
        return owned

    def _fault(self, owned: Owned) -> Fault:
        return self.dice.choice([f for f in world.FAULTS if owned.kind.model in f.on])


def when_open(moment: dt.datetime, *, back: bool = False) -> dt.datetime:
    """The moment itself where the shop is open, else when it opens; with `back`, before it shut."""
    local = timezone.localtime(moment)
    step = dt.timedelta(days=-1 if back else 1)
    if back and local.hour < OPENS:
        local = (local + step).replace(hour=SHUTS - 1)
    elif not back and local.hour >= SHUTS:
        local = (local + step).replace(hour=OPENS)
    if local.hour < OPENS:
        local = local.replace(hour=OPENS)
    if local.hour >= SHUTS:
        local = local.replace(hour=SHUTS - 1)
    if local.weekday() == 6:
        local += step
    return local
