"""A row of each kind that an address can name, for the tests that walk every address of the shop.

Whoever adds an address with something in it (`<int:pk>`, `<slug:size>`) adds a line to `SAMPLES`;
`<str:claim>` is filled in by itself. Rows are made when they are asked for.
"""

import datetime as dt
from collections.abc import Callable
from decimal import Decimal
from functools import cached_property
from typing import Any

from django.utils import timezone

from intake import counter_sale
from intake.billing import Row
from intake.models import (
    CashUp,
    Charge,
    Estimate,
    Finding,
    Gear,
    Invoice,
    Job,
    LabourSpell,
    PadEntry,
    Payment,
    Person,
    Photo,
    Signature,
    StorageNotice,
    Visit,
)
from inventory import aside as putting_aside
from inventory import counting, selling, stock
from shop.models import Staff, TaxRate, Terms
from shop.roles import Role
from tests import factories


class World:
    """The rows, each made once."""

    @cached_property
    def staff(self) -> Staff:
        return factories.StaffFactory(name="Ada Fenn", sign_in="ada", role=Role.BENCH)

    @cached_property
    def rate(self) -> TaxRate:
        return factories.TaxRateFactory(name="City tax")

    @cached_property
    def terms(self) -> Terms:
        return factories.TermsFactory()

    @cached_property
    def job(self) -> Job:
        return factories.JobFactory(visit__taken_in_by=self.staff)

    @cached_property
    def visit(self) -> Visit:
        return self.job.visit

    @cached_property
    def person(self) -> Person:
        return self.job.person

    @cached_property
    def gear(self) -> Gear:
        return self.job.gear

    @cached_property
    def finding(self) -> Finding:
        return factories.FindingFactory(job=self.job, by=self.staff)

    @cached_property
    def charge(self) -> Charge:
        return factories.ChargeFactory(job=self.job, by=self.staff)

    @cached_property
    def reading(self) -> Any:
        return factories.ReadingFactory(job=self.job, by=self.staff)

    @cached_property
    def sheet(self) -> Any:
        return factories.KeptSheetFactory(job=self.job, by=self.staff)

    @cached_property
    def later_sheet(self) -> Any:
        return factories.KeptSheetFactory(job=self.job, by=self.staff)

    @cached_property
    def list_run(self) -> Any:
        return factories.ListRunFactory(job=self.job, by=self.staff)

    @cached_property
    def meter(self) -> Any:
        return factories.MeterFactory()

    @cached_property
    def near_miss(self) -> Any:
        from calc import near_misses

        return near_misses.write_down(on=timezone.localdate(), what="A clip slipped off.", by=self.staff)

    @cached_property
    def bench_gear(self) -> Any:
        from inventory.models import BenchGear

        return BenchGear.objects.create(kind="test load", name="Test load 8", impedance=8, watts=200)

    @cached_property
    def loan(self) -> Any:
        from inventory.models import Loan

        return Loan.objects.create(gear=self.bench_gear, to_whom="Dana Whitlow", by=self.staff)

    @cached_property
    def parts_file(self) -> Any:
        from inventory.models import Import

        return Import.objects.create(name="parts.csv", by=self.staff)

    @cached_property
    def part(self) -> Any:
        return factories.PartFactory()

    @cached_property
    def supplier(self) -> Any:
        return factories.SupplierFactory()

    @cached_property
    def offer(self) -> Any:
        from inventory.models import Offer

        return Offer.objects.create(part=self.part, supplier=self.supplier, price=Decimal(2))

    @cached_property
    def order(self) -> Any:
        from inventory.models import Order

        return Order.objects.create(supplier=self.supplier, number=1, by=self.staff)

    @cached_property
    def order_line(self) -> Any:
        return self.order.lines.create(part=self.part, quantity=4, price=Decimal(2))

    @cached_property
    def want(self) -> Any:
        from inventory.models import Want

        return Want.objects.create(part=self.part, job=self.job, quantity=2, by=self.staff)

    @cached_property
    def tube(self) -> Any:
        from inventory.models import Tube

        return Tube.objects.create(label="T-0001", part=self.tube_part)

    @cached_property
    def tube_set(self) -> Any:
        from inventory.models import TubeSet

        return TubeSet.objects.create(label="S-0001", part=self.tube_part, by=self.staff)

    @cached_property
    def tube_part(self) -> Any:
        return factories.PartFactory(kind="tube", name="6L6GC")

    @cached_property
    def spell(self) -> LabourSpell:
        now = timezone.now()
        return LabourSpell.objects.create(
            job=self.job, who=self.staff, began=now - dt.timedelta(hours=1), ended=now, minutes=60
        )

    @cached_property
    def photo(self) -> Photo:
        return Photo.objects.create(
            job=self.job, image="photos/a.jpg", thumb="photos/a-small.jpg", width=4, height=3, by=self.staff
        )

    @cached_property
    def estimate(self) -> Estimate:
        return Estimate.objects.create(
            job=self.job,
            number=1,
            valid_until=timezone.localdate() + dt.timedelta(days=30),
            by=self.staff,
            currency="USD",
            net=Decimal(100),
            gross=Decimal(100),
        )

    @cached_property
    def invoice(self) -> Invoice:
        return Invoice.objects.create(
            series="2026",
            number=1,
            job=self.job,
            person=self.person,
            issued_on=timezone.localdate(),
            by=self.staff,
            seller={"name": "Lantern Quay Electronics"},
            buyer={"name": "Customer"},
            what="Corvane Meridian 50",
            currency="USD",
            prices_include_tax=False,
            net=Decimal(100),
            gross=Decimal(100),
        )

    @cached_property
    def payment(self) -> Payment:
        return Payment.objects.create(job=self.job, amount=Decimal(20), method="cash", by=self.staff)

    @cached_property
    def notice(self) -> StorageNotice:
        return StorageNotice.objects.create(
            job=self.job,
            number=1,
            how="letter",
            address="Customer\n3 Mole End",
            words="Your gear waits for you.",
            sent_on=timezone.localdate(),
            by=self.staff,
        )

    @cached_property
    def cash_up(self) -> CashUp:
        return CashUp.objects.create(
            day=timezone.localdate(), expected=Decimal(100), counted=Decimal(100), by=self.staff
        )

    @cached_property
    def signature(self) -> Signature:
        return factories.SignatureFactory()

    @cached_property
    def pad_entry(self) -> PadEntry:
        gear = {
            "kind": "echo",
            "maker": "Oslin",
            "model": "Drifter",
            "serial": "",
            "complaint": "It flutters.",
            "came_with": [],
            "happened": [],
            "history_note": "",
        }
        answers = {
            "name": "Dana Whitlow",
            "kind": "person",
            "group": "",
            "phones": ["555 0102"],
            "email": "",
            "address": "",
            "gear": [gear],
            "wanted_by": None,
            "spend_limit": "",
            "diagnosis_fee": "45.00",
        }
        return PadEntry.objects.create(answers=answers, terms=self.terms, signature=self.signature)

    @cached_property
    def drawer(self) -> Any:
        return factories.DrawerFactory()

    @cached_property
    def stocked(self) -> Any:
        part = factories.PartFactory(drawer=self.drawer)
        stock.receive(part, quantity=9, cost_each=Decimal(2), by=self.staff)
        return part

    @cached_property
    def move(self) -> Any:
        return stock.use_on_job(self.stocked, self.job, by=self.staff)

    @cached_property
    def sale_move(self) -> Any:
        row = Row("part", "A part", Decimal(1), Decimal(5), good=selling.key_of(self.stocked))
        counter_sale.sell([row], method="cash", by=self.staff)
        return self.stocked.moves.get(why="sold")

    @cached_property
    def aside(self) -> Any:
        return putting_aside.put_aside(self.stocked, self.job, quantity=1, by=self.staff)

    @cached_property
    def count_round(self) -> Any:
        a_round = counting.begin(by=self.staff)
        counting.write_down(a_round, self.drawer, {self.stocked: 3}, by=self.staff)
        return a_round


Sample = Callable[[World], dict[str, Any]]


def _pk(row: str, **more: Any) -> Sample:
    return lambda world: {"pk": getattr(world, row).pk, **more}


SAMPLES: dict[str, Sample] = {
    # the shop
    "tax-end": _pk("rate"),
    "terms-version": lambda world: {"version": world.terms.version},
    "staff-edit": _pk("staff"),
    "staff-password": _pk("staff"),
    "staff-pin": _pk("staff"),
    "staff-unlock": _pk("staff"),
    # the sign-in pad and the drop-off
    "pad-step": lambda world: {"step": "you"},
    "dropoff-done": _pk("visit"),
    "visit-signed": _pk("visit"),
    "pad-entry": _pk("pad_entry"),
    "pad-entry-shape": _pk("pad_entry"),
    "pad-entry-find": _pk("pad_entry"),
    "pad-entry-put-away": _pk("pad_entry"),
    "pad-entry-bring-back": _pk("pad_entry"),
    # people and gear
    "person": _pk("person"),
    "person-edit": _pk("person"),
    "gear": _pk("gear"),
    "gear-edit": _pk("gear"),
    # the bench
    "job-finding-edit": _pk("finding"),
    "job-finding-strike": _pk("finding"),
    "job-finding-put-back": _pk("finding"),
    "job-photo-strike": _pk("photo"),
    "job-photo-put-back": _pk("photo"),
    "photo": _pk("photo", size="small"),
    "job-timer-stop": _pk("spell"),
    "job-labour-edit": _pk("spell"),
    "job-labour-strike": _pk("spell"),
    "job-labour-put-back": _pk("spell"),
    "job-labour-charge": _pk("spell"),
    "job-charge-edit": _pk("charge"),
    "job-charge-strike": _pk("charge"),
    "job-charge-put-back": _pk("charge"),
    "job-reading-strike": _pk("reading"),
    "job-reading-put-back": _pk("reading"),
    # checklists
    "checklist": lambda world: {"slug": "live"},
    "checklist-edit": lambda world: {"slug": "live"},
    "checklist-shape": lambda world: {"slug": "live"},
    "checklist-paper": lambda world: {"slug": "live"},
    "checklist-version": lambda world: {"slug": "live", "number": 1},
    # worksheets and meters
    "worksheet": lambda world: {"slug": "after-repair-test"},
    "worksheet-answer": lambda world: {"slug": "after-repair-test"},
    "worksheet-ours": lambda world: {"slug": "after-repair-test"},
    "job-worksheet": lambda world: {"slug": "after-repair-test"},
    "job-worksheet-answer": lambda world: {"slug": "after-repair-test"},
    "job-worksheet-keep": lambda world: {"slug": "after-repair-test"},
    "kept-worksheet": _pk("sheet"),
    "worksheet-strike": _pk("sheet"),
    "compare-worksheets": lambda world: {"pk": world.sheet.pk, "other": world.later_sheet.pk},
    "meter-edit": _pk("meter"),
    "meter-put-away": _pk("meter"),
    "meter-bring-back": _pk("meter"),
    # cautions, near misses
    "caution-edit": lambda world: {"slug": "live-gear"},
    "near-miss": _pk("near_miss"),
    "near-miss-correct": _pk("near_miss"),
    # lists on a job, and their runs
    "job-list-begin": lambda world: {"slug": "soak"},
    "job-list-take-off": lambda world: {"slug": "soak"},
    "job-waive": lambda world: {"slug": "soak"},
    "list-run": _pk("list_run"),
    "list-run-sign": _pk("list_run"),
    "list-run-sign-off": _pk("list_run"),
    # unsafe gear
    "unsafe-tag-print": lambda world: {"size": "roll"},
    "unsafe-tag-paper": lambda world: {"size": "roll"},
    # the job's report
    "job-report-paper": lambda world: {"kind": "plain"},
    # bench gear
    "supplier": _pk("supplier"),
    "supplier-edit": _pk("supplier"),
    "offer-new": _pk("part"),
    "offer-edit": _pk("offer"),
    "offer-drop": _pk("offer"),
    "part-order": _pk("part"),
    "part-want": _pk("part"),
    "want-drop": _pk("want"),
    "want-shelf": _pk("want"),
    "order": lambda world: {"number": world.order.number},
    "order-change": lambda world: {"number": world.order.number},
    "order-send": lambda world: {"number": world.order.number},
    "order-take-back": lambda world: {"number": world.order.number},
    "order-throw-away": lambda world: {"number": world.order.number},
    "order-arrive": lambda world: {"number": world.order.number},
    "order-paper": lambda world: {"number": world.order.number},
    "order-csv": lambda world: {"number": world.order.number},
    "order-line-mark": _pk("order_line"),
    "part-stand-ins": _pk("part"),
    "tube": _pk("tube"),
    "tube-label": _pk("tube"),
    "tube-measure": _pk("tube"),
    "tube-use": _pk("tube"),
    "tube-scrap": _pk("tube"),
    "tube-set": _pk("tube_set"),
    "tube-set-label": _pk("tube_set"),
    "tube-set-use": _pk("tube_set"),
    "tube-set-sell": _pk("tube_set"),
    "tube-set-apart": _pk("tube_set"),
    "bench-gear-edit": _pk("bench_gear"),
    "bench-gear-lend": _pk("bench_gear"),
    "bench-gear-put-away": _pk("bench_gear"),
    "bench-gear-bring-back": _pk("bench_gear"),
    "bench-gear-back": _pk("loan"),
    "bench-meter-lend": _pk("meter"),
    # files in and out
    "parts-export-file": lambda world: {"slug": "parts"},
    "parts-import-done": _pk("parts_file"),
    "parts-import-undo": _pk("parts_file"),
    # papers
    "ticket-paper": _pk("visit", size="half-a4"),
    "ticket-print": _pk("visit", size="half-a4"),
    "visit-tags-paper": _pk("visit", size="tag-62"),
    "visit-tags-print": _pk("visit", size="tag-62"),
    "tags-paper": lambda world: {"size": "tag-62"},
    "tags-print": lambda world: {"size": "tag-62"},
    # gear that isn't collected
    "storage-notice-paper": _pk("notice"),
    "storage-notice-back": _pk("notice"),
    "person-address": _pk("person"),
    # money
    "estimate": lambda world: {"number": world.estimate.number},
    "estimate-answer": lambda world: {"number": world.estimate.number},
    "estimate-paper": lambda world: {"number": world.estimate.number},
    "estimate-hand-over": lambda world: {"number": world.estimate.number},
    "estimate-sign": lambda world: {"number": world.estimate.number},
    "invoice": lambda world: {"label": world.invoice.label},
    "invoice-paper": lambda world: {"label": world.invoice.label},
    "invoice-credit": lambda world: {"label": world.invoice.label},
    "invoice-payment": lambda world: {"label": world.invoice.label},
    "invoice-refund": lambda world: {"label": world.invoice.label},
    "invoice-write-off": lambda world: {"label": world.invoice.label},
    "invoice-electronic": lambda world: {"label": world.invoice.label},
    "payment": _pk("payment"),
    "receipt-paper": _pk("payment"),
    "cash-up-day": _pk("cash_up"),
    "cash-up-paper": _pk("cash_up"),
    # parts and drawers
    "part": _pk("part"),
    "part-edit": _pk("part"),
    "part-photo": _pk("part"),
    "part-photo-new": _pk("part"),
    "part-move": _pk("part"),
    "part-level": _pk("part"),
    "part-undo": _pk("move"),
    "drawer": _pk("drawer"),
    "drawer-edit": _pk("drawer"),
    "drawer-scan": lambda world: {"code": world.drawer.code},
    # parts on jobs, counting
    "job-part-back": _pk("move"),
    "sale-part-back": _pk("sale_move"),
    "aside-use": _pk("aside"),
    "aside-let-go": _pk("aside"),
    "count-round": _pk("count_round"),
    "count-scan": _pk("count_round"),
    "count-drawer": lambda world: {"pk": world.count_round.pk, "key": world.drawer.pk},
    "count-differences": _pk("count_round"),
    "count-post": _pk("count_round"),
    "count-drop": _pk("count_round"),
    # stand-ins, tubes, planning
    "part-planning": _pk("part"),
}


def fill(name: str, asked: set[str], world: World) -> dict[str, Any]:
    """Return what the address called `name` needs.

    Raises:
        KeyError: it has no sample; the sentence says where to add one.
    """
    given = SAMPLES[name](world) if name in SAMPLES else {}
    if "claim" in asked:
        given.setdefault("claim", world.job.claim)
    if set(given) != asked:
        raise KeyError(
            f"The address “{name}” needs {sorted(asked)}: add a line for it to SAMPLES in tests/samples.py."
        )
    return given
