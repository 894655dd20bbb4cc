"""The stories of the invented shop's jobs, told in the order in which they happened."""

import datetime as dt
import heapq
from collections.abc import Iterator
from decimal import Decimal
from itertools import count
from random import Random
from typing import Final

from django.core.files.base import ContentFile
from django.utils import timezone

from intake import (
    billing,
    charges,
    comebacks,
    covering,
    dropoff,
    estimating,
    keeping,
    labour,
    payments,
    pickup,
    register,
    work,
    workflow,
)
from intake.demo import left_behind, till, world
from intake.demo.drawings import ink, picture
from intake.demo.plans import Customer, Plan, Planner, when_open
from intake.models import Gear, Job, LabourSpell, Payment, Signature, State
from shop import demo
from shop.models import Shop, Staff, Terms

SEED: Final = 2611

Story = Iterator[dt.datetime]


class Past:
    """The storyteller: the clock, the dice, the staff, and the stories that go on."""

    def __init__(self, clock: demo.Clock):
        self.clock = clock
        self.dice = Random(SEED)
        self.planner = Planner(clock, self.dice)
        self.wren, self.tomas, self.ida = (Staff.objects.get(sign_in=key.sign_in) for key in demo.KEYS)
        self.shop, self.terms = Shop.current(), Terms.current()
        self._going: list[tuple[dt.datetime, int, Story]] = []
        self._places = count()

    # --- Telling

    def begin(self, at: dt.datetime, story: Story) -> None:
        heapq.heappush(self._going, (at, next(self._places), story))

    def tell(self) -> None:
        """Let each story go on when its moment comes; what would come after now hasn't happened."""
        while self._going:
            at, _, story = heapq.heappop(self._going)
            if at > self.clock.now:
                continue
            self.clock.moment = at
            goes_on = next(story, None)
            if goes_on is not None:
                self.begin(max(goes_on, at), story)

    def after(self, plan: Plan, least: float, most: float) -> dt.datetime:
        """A moment in opening hours, so many days from the present one."""
        days = self.dice.uniform(least, most) * plan.pace
        return when_open(self.clock.moment + dt.timedelta(days=days))

    # --- The stories

    def story(self, plan: Plan) -> Story:
        """From the counter to the door, as far as the plan goes."""
        yield from self._comes_in(plan)
        yield from self.at_bench(plan)

    def at_bench(self, plan: Plan) -> Story:
        """From the tag on."""
        job, tech = plan.job, self.dice.choices((self.tomas, self.wren), weights=(7, 3))[0]
        if plan.stop == State.TAGGED_IN:
            return
        yield self.after(plan, 0.02, 0.3)
        self._move(job, State.IN_LINE, self.ida)
        if plan.stop == State.IN_LINE:
            return
        yield self.after(plan, 1, 7)
        self._move(job, State.ON_THE_BENCH, tech)
        yield self.after(plan, 0.06, 0.12)
        self._look(plan, tech)
        if plan.stop == State.ON_THE_BENCH:
            return
        if plan.estimate:
            yield from self._asks(plan, tech)
            if plan.stop in (State.OWNER_TO_DECIDE, State.GOING_HOME_AS_IS):
                return
        if not plan.declines:
            yield from self._mends(plan, tech)
            if plan.stop in (State.PARTS_ON_ORDER, State.SOAK_TEST):
                return
        yield from self._goes_home(plan)

    def _comes_in(self, plan: Plan) -> Story:
        pieces = [plan, *([plan.together] if plan.together else [])]
        if plan.by_pad and not plan.by_mail and plan.comeback_of is None and not plan.wanted_by:
            entry = dropoff.sign_on_pad(
                answers=self._answers(pieces),
                drawing=ink(plan.customer.contact or plan.customer.name),
                terms=self.terms,
                shop=self.shop,
                device="Tablet at the counter",
            )
            yield self.clock.moment + dt.timedelta(minutes=self.dice.randint(4, 20))
            brought = [self._brought(p) for p in pieces]
            visit = dropoff.check_in(entry, who=self._who(plan.customer), brought=brought, by=self.ida)
        else:
            brought = [self._brought(p) for p in pieces]
            visit = dropoff.take_in(
                who=self._who(plan.customer),
                brought=brought,
                by=self.ida,
                terms=self.terms,
                signature=None if plan.by_mail else self._signature(plan.customer, brought),
                parcel=self._parcel() if plan.by_mail else None,
            )
        plan.customer.person = visit.person
        if plan.customer.exempt and not visit.person.tax_exempt_number:
            self._exempt(plan.customer)
        for each, job in zip(pieces, visit.jobs.order_by("pk"), strict=True):
            each.job, each.owned.gear = job, job.gear
            Gear.objects.filter(pk=job.gear_id).update(technology=each.owned.kind.technology)
        if plan.together:
            self.begin(self.after(plan, 0.1, 0.5), self.at_bench(plan.together))

    def _look(self, plan: Plan, tech: Staff) -> None:
        """What the tech finds, and writes down."""
        job, fault = plan.job, plan.fault
        demo.at_bench(job, tech, "before")
        if plan.same_fault:
            work.find_fault(
                job,
                fault="The same as last time, from another place: a solder joint beside the repair",
                cause="Lifted when the board was moved; ours to mend",
                cure="Re-made, and every joint of that board looked at",
                circuit=fault.circuit,
                by=tech,
            )
        else:
            work.find_fault(
                job, fault=fault.fault, cause=fault.cause, cure=fault.cure, circuit=fault.circuit, by=tech
            )
        if plan.comeback_of:
            said = comebacks.SAME if plan.same_fault else comebacks.ANOTHER
            comebacks.say_fault(job, fault=said, by=tech, revision=_revision(job))
        if fault.note:
            work.note(job, text=fault.note, by=tech)
        for number in range(plan.photos):
            photo = ContentFile(picture(job.claim, number), name="bench.png")
            work.photograph(job, file=photo, caption=("As it came in", fault.fault)[number], by=tech)

    def _asks(self, plan: Plan, tech: Staff) -> Story:
        """The owner is asked, and answers."""
        job = plan.job
        yield self.after(plan, 0.05, 0.4)
        rows = _rows(plan)
        if plan.option:
            kind, text, quantity, price = self.dice.choice(world.OPTIONS)
            unit = "h" if kind == "labour" else ""
            rows.append(billing.Row(kind, text, Decimal(quantity), Decimal(price), unit, optional=True))
        estimate = estimating.make_estimate(
            job, lines=rows, words=plan.fault.plainly, valid_until=_in_days(30), by=tech, after=0
        )
        self._move(job, State.OWNER_TO_DECIDE, tech)
        if plan.stop == State.OWNER_TO_DECIDE:
            return
        yield self.after(plan, 0.2, 4)
        if plan.percent_off:
            work.note(job, text="Asked whether there is something off for a regular. There is.", by=self.ida)
            rows.append(billing.Row("discount", "Regular", Decimal(1), Decimal(0), percent=plan.percent_off))
            estimate = estimating.make_estimate(
                job, lines=rows, words=plan.fault.plainly, valid_until=_in_days(30), by=self.ida, after=1
            )
            yield self.after(plan, 0.1, 1)
        options = list(estimate.lines.filter(optional=True))
        taken = [] if plan.declines or self.dice.random() < 0.4 else [line.pk for line in options]
        plan.extras = [row for row in rows if row.optional and taken]
        said = world.DECLINED if plan.declines else world.AGREED
        signs = self.dice.random() < 0.2
        who = plan.customer.contact or plan.customer.name
        estimating.answer(
            estimate,
            yes=not plan.declines,
            how="signed" if signs else self.dice.choice(("phone", "phone", "writing")),
            who=who,
            words=self.dice.choice(said),
            taken=taken,
            by=self.ida,
            svg=ink(who) if signs else "",
        )
        if not plan.declines:
            self._move(job, State.ON_THE_BENCH, tech)
            if estimate.gross > 150 and self.dice.random() < 0.3:
                payments.take(job, amount=Decimal(50), method="card", by=self.ida, deposit=True)
            return
        yield self.after(plan, 0.1, 1)
        reason = "The owner declined the estimate."
        billing.take_home_as_is(job, by=self.ida, revision=_revision(job), reason=reason)
        demo.at_bench(job, tech, "as it is")

    def _mends(self, plan: Plan, tech: Staff) -> Story:
        """Parts come, work is done and charged, it is measured and left running."""
        job, fault = plan.job, plan.fault
        if plan.waits_for_parts:
            work.note(job, text=f"Ordered: {', '.join(p.text for p in fault.parts)}.", by=tech)
            self._move(job, State.PARTS_ON_ORDER, tech)
            if plan.stop == State.PARTS_ON_ORDER:
                return
            yield self.after(plan, 3, 12)
            self._move(job, State.ON_THE_BENCH, tech)
        yield self.after(plan, 0.1, 1.5)
        demo.at_bench(job, tech, "after")
        minutes = max(10, fault.minutes + self.dice.randint(-10, 15))
        spell = labour.write_down(job, minutes=minutes, words=fault.cure.split(",")[0], by=tech)
        self._charge(plan, spell, tech)
        plainly = "We mended it again under our warranty." if plan.same_fault else fault.plainly
        work.say_plainly(job, words=plainly, by=tech, revision=_revision(job))
        self._move(job, State.SOAK_TEST, tech)
        if plan.stop == State.SOAK_TEST:
            return
        yield self.after(plan, 0.8, 1.3)
        demo.at_bench(job, tech, "soaked")
        self._move(job, State.READY, tech)

    def _charge(self, plan: Plan, spell: LabourSpell, tech: Staff) -> None:
        """What the repair costs. What it comes back with under warranty costs nothing."""
        job = plan.job
        charges.charge_labour(spell, hours=plan.hours, by=tech)
        if plan.percent_off and plan.estimate:
            charges.charge(
                job,
                kind="discount",
                text="Regular",
                quantity=Decimal(1),
                unit_price=Decimal(0),
                percent=plan.percent_off,
                by=tech,
            )
        parts = [
            billing.Row("part", p.text, Decimal(p.count), Decimal(p.price), unit_cost=p.cost)
            for p in plan.fault.parts
        ]
        for row in [*parts, *plan.extras]:
            if row.kind == "part" and demo.take_part(job, row, tech):
                continue
            charges.charge(
                job,
                kind=row.kind,
                text=row.text,
                quantity=row.quantity,
                unit=row.unit,
                unit_price=row.unit_price,
                unit_cost=row.unit_cost,
                by=tech,
            )
        if plan.same_fault and comebacks.covered_lines(job):
            covering.put_under_warranty(job, by=tech)

    def _goes_home(self, plan: Plan) -> Story:
        """The owner is told, pays and takes it along; or doesn't come."""
        job = plan.job
        if plan.declines:
            yield self.after(plan, 0.1, 0.5)
            self._move(job, State.READY, self.ida)
        if not plan.told:
            return
        yield self.after(plan, 0.02, 0.8)
        pickup.tell(job, how=self.dice.choice(("phone", "phone", "message", "email")), by=self.ida)
        if plan.stop in (State.READY, State.LEFT_BEHIND, State.LET_GO):
            yield from left_behind.stays(self, plan)
            return
        yield self.after(plan, 0.5, 16)
        self._bill(plan)
        self._hand_back(plan)
        if plan.overcharged:
            yield from till.credit(self, plan)
        if plan.unpaid:
            yield from till.owes(self, plan)
        if plan.comes_back:
            self._comes_back(plan)

    def _comes_back(self, plan: Plan) -> None:
        """It is here again before its warranty is over: with what was mended, or with something else."""
        same = plan.comes_back == "same"
        others = [f for f in world.FAULTS if plan.owned.kind.model in f.on and f is not plan.fault]
        again = Plan(
            self.after(plan, 12, 60),
            plan.customer,
            plan.owned,
            plan.fault if same else self.dice.choice(others),
            comeback_of=Job.objects.get(pk=plan.job.pk),
            same_fault=same,
            estimate=not same,
        )
        self.begin(again.came, self.story(again))

    def dispute(self) -> Story:
        """An estimate, an answer by phone, a supplement, and an owner who remembers another sum."""
        fault = next(f for f in world.FAULTS if "shorted" in f.fault)
        customer = self.planner.somebody()
        owned = self.planner.something(customer, of=[k for k in world.GEAR if k.model in fault.on])
        plan = Plan(self.clock.moment, customer, owned, fault, estimate=True)
        yield from self._comes_in(plan)
        job, who = plan.job, customer.contact or customer.name
        yield self.after(plan, 0.1, 0.3)
        self._move(job, State.IN_LINE, self.ida)
        yield self.after(plan, 2, 4)
        self._move(job, State.ON_THE_BENCH, self.tomas)
        yield when_open(self.clock.moment + dt.timedelta(hours=2))
        self._look(plan, self.tomas)
        yield self.after(plan, 0.1, 0.3)
        first = estimating.make_estimate(
            job, lines=_rows(plan), words=fault.plainly, valid_until=_in_days(30), by=self.tomas, after=0
        )
        self._move(job, State.OWNER_TO_DECIDE, self.tomas)
        yield self.after(plan, 0.5, 1)
        words = "Fine, but not a cent more."
        estimating.answer(first, yes=True, how="phone", who=who, words=words, by=self.ida)
        self._move(job, State.ON_THE_BENCH, self.tomas)
        yield self.after(plan, 0.5, 1)
        words = "The loudspeaker is open too. Stopped, and asked for a second estimate."
        work.note(job, text=words, by=self.tomas)
        more = [*_rows(plan), billing.Row("part", "Recone kit, 12 in", Decimal(1), Decimal("52.00"))]
        second = estimating.make_estimate(
            job,
            lines=more,
            words="As before, and the loudspeaker.",
            valid_until=_in_days(30),
            by=self.tomas,
            after=1,
        )
        self._move(job, State.OWNER_TO_DECIDE, self.tomas)
        yield self.after(plan, 1, 2)
        words = "I said not a cent more. Leave the loudspeaker."
        estimating.answer(second, yes=False, how="phone", who=who, words=words, by=self.ida)
        third = estimating.make_estimate(
            job,
            lines=_rows(plan),
            words="The first one again.",
            valid_until=_in_days(30),
            by=self.ida,
            after=2,
        )
        words = "That is what we agreed on the phone."
        estimating.answer(third, yes=True, how="writing", who=who, words=words, by=self.ida)
        self._move(job, State.ON_THE_BENCH, self.tomas)
        yield from self._mends(plan, self.tomas)
        yield self.after(plan, 0.1, 0.5)
        pickup.tell(job, how="phone", words="Says it should be half of that", by=self.ida)
        words = f"{who} disputes the sum. Read both answers out to them; Wren offers 10 % off."
        work.note(job, text=words, by=self.ida)
        keeping.open_dispute(
            job, who=who, words="Says it should be half of that.", by=self.ida, revision=_revision(job)
        )
        yield self.after(plan, 2, 4)
        off = (plan.cost / 10).quantize(Decimal("0.01"))
        charges.charge(
            job, kind="discount", text="For the muddle", quantity=Decimal(1), unit_price=off, by=self.wren
        )
        keeping.settle_dispute(
            job, agreed="10 % off, for the muddle with the answers.", by=self.wren, revision=_revision(job)
        )
        self._bill(plan)
        self._hand_back(plan)
        work.note(
            job,
            text="Paid and shook hands. Loudspeaker still open: said so, and wrote it down.",
            by=self.wren,
        )

    # --- Now

    def leave_as_it_is_now(self) -> None:
        """Two timers run, and two people have just handed the pad back."""
        now = self.clock.now
        bench = Job.objects.standing(State.ON_THE_BENCH).order_by("pk")
        for job, who, minutes in zip(bench, (self.tomas, self.wren), (25, 70), strict=False):
            self.clock.moment = now - dt.timedelta(minutes=minutes)
            labour.start(job, by=who)
        for minutes in (50, 12):
            self.clock.moment = now - dt.timedelta(minutes=minutes)
            plan = self.planner.plan(self.clock.moment)
            dropoff.sign_on_pad(
                answers=self._answers([plan]),
                drawing=ink(plan.customer.name),
                terms=self.terms,
                shop=self.shop,
                device="Tablet at the counter",
            )
        self.clock.moment = now

    # --- Single acts

    def _move(self, job: Job, to: State, by: Staff, through: str = "") -> None:
        workflow.move(job, to=to, by=by, revision=_revision(job), through=through)

    def _exempt(self, customer: Customer) -> None:
        """Write down the number of who pays no tax."""
        person = customer.person
        facts = {name: getattr(person, name) for name in register.PERSON_FIELDS}
        phones = [register.Number(phone.number, phone.label) for phone in person.phones.all()]
        register.change_person(
            person,
            facts=facts | {"tax_exempt_number": customer.exempt},
            phones=phones,
            by=self.ida,
            revision=person.revision,
        )
        person.refresh_from_db()

    def _bill(self, plan: Plan) -> None:
        job = plan.job
        plainly = "" if plan.declines else Job.objects.values_list("plain_findings", flat=True).get(pk=job.pk)
        billing.issue_invoice(job, by=self.ida, words=plainly)
        if plan.unpaid:
            return
        if owed := billing.owed(job):
            method = self.dice.choice((Payment.Method.CARD, Payment.Method.CARD, Payment.Method.CASH))
            notes = owed.quantize(Decimal(1)) // 20 * 20 + 20 if method == Payment.Method.CASH else None
            payments.take(job, amount=owed, method=method, tendered=notes, by=self.ida)

    def _hand_back(self, plan: Plan) -> None:
        job = plan.job
        mailed = job.visit.how == "mail"
        who = plan.customer.contact or plan.customer.name
        pickup.hand_back(
            job,
            by=self.wren if plan.unpaid else self.ida,
            revision=_revision(job),
            handed_to=who,
            gear_went=True,
            went={piece.pk for piece in job.pieces.all()},
            stayed={},
            how="mail" if mailed else "counter",
            carrier=f"{self.dice.choice(world.CARRIERS)} {self.dice.randint(10**7, 10**8)}" if mailed else "",
            svg="" if mailed else ink(who),
            device="" if mailed else "Tablet at the counter",
            waiver="A regular of ours; pays on Friday." if plan.unpaid else "",
            known=pickup.must_know(job) if plan.declines else "",
        )

    def _who(self, customer: Customer) -> dropoff.Who:
        return dropoff.Who(
            person=customer.person,
            name=customer.name,
            kind=customer.kind,
            contact=customer.contact,
            email=customer.email,
            address=customer.address if customer.person is None else "",
            phones=customer.phones,
        )

    def _brought(self, plan: Plan) -> dropoff.Brought:
        owned, fault = plan.owned, plan.fault
        limit = None if plan.estimate else _limit(plan)
        complaint = fault.complaint
        if plan.same_fault:
            complaint = f"It does it again. {complaint}"
        return dropoff.Brought(
            complaint=complaint,
            gear=owned.gear,
            kind=owned.kind.kind,
            maker=owned.kind.maker,
            model=owned.kind.model,
            serial=owned.serial,
            year_guess=owned.year,
            came_with=owned.kind.comes_with[: self.dice.randint(0, 3)],
            was_repaired=plan.comeback_of is not None or self.dice.random() < 0.2,
            was_dropped=self.dice.random() < 0.06,
            smelled=fault.smelled,
            condition=self.dice.choice(world.CONDITIONS),
            wanted_by=plan.wanted_by,
            diagnosis_fee=self.shop.diagnosis_fee,
            spend_limit=limit,
            comeback_of=plan.comeback_of,
        )

    def _signature(self, customer: Customer, brought: list[dropoff.Brought]) -> Signature:
        name = customer.contact or customer.name
        return Signature(
            purpose=Signature.Purpose.DROP_OFF,
            name=name,
            svg=ink(name),
            words=dropoff.signed_words(self.shop, self.terms, brought),
            words_version=dropoff.version_words(self.terms),
            device="Tablet at the counter",
        )

    def _parcel(self) -> dropoff.Parcel:
        return dropoff.Parcel(
            carrier=self.dice.choice(world.CARRIERS),
            number=str(self.dice.randint(10**7, 10**8)),
            condition="Box sound, double wall, well padded.",
        )

    def _answers(self, plans: list[Plan]) -> dict:
        """What a customer would have tapped and typed on the pad."""
        customer = plans[0].customer
        name, group = (customer.contact, customer.name) if customer.contact else (customer.name, "")
        return {
            "name": name,
            "kind": customer.kind,
            "group": group,
            "phones": list(customer.phones),
            "email": customer.email,
            "address": "",
            "gear": [
                {
                    "kind": plan.owned.kind.kind,
                    "maker": plan.owned.kind.maker,
                    "model": plan.owned.kind.model,
                    "serial": plan.owned.serial,
                    "complaint": plan.fault.complaint,
                    "came_with": list(plan.owned.kind.comes_with[:1]),
                    "happened": ["smelled"] if plan.fault.smelled else [],
                    "history_note": "",
                }
                for plan in plans
            ],
            "wanted_by": None,
            "spend_limit": None if plans[0].estimate else str(_limit(plans[0])),
            "diagnosis_fee": str(self.shop.diagnosis_fee),
        }


def _limit(plan: Plan) -> Decimal:
    """A round sum that the repair stays within, tax included."""
    return (plan.cost * Decimal("1.1") // 50 + 1) * 50


def _revision(job: Job) -> int:
    """What a page opened at this moment would send."""
    return Job.objects.values_list("revision", flat=True).get(pk=job.pk)


def _rows(plan: Plan) -> list[billing.Row]:
    """The estimate of a repair."""
    work_row = billing.Row("labour", "Labour", plan.hours, demo.SHOP["labour_rate"], "h")
    parts = [billing.Row("part", p.text, Decimal(p.count), Decimal(p.price)) for p in plan.fault.parts]
    return [work_row, *parts]


def _in_days(days: int) -> dt.date:
    return timezone.localdate() + dt.timedelta(days=days)
