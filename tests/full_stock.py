"""Drawers in which every page of the stock has something true to show, and the addresses of its pages.

Made by the verbs, for `tests.full_shop`, on the jobs that are there already.
"""

from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.urls import reverse
from django.utils import timezone

from calc.models import Meter
from intake import counter_sale, credits, keeping
from intake.billing import Row
from intake.models import Job
from inventory import aside, bench, counting, files, importing, ordering, selling, stock, tubes, values, wants
from inventory.models import (
    Aside,
    BenchGear,
    CountRound,
    Drawer,
    Import,
    Move,
    Offer,
    Order,
    Part,
    Supplier,
    Tube,
    TubeSet,
    Want,
)
from shop.models import Staff
from tests.factories import DrawerFactory, PartFactory

_AT = {
    "plate_volts": 400.0,
    "screen_volts": 400.0,
    "grid_volts": -38.0,
    "warm_minutes": 20,
    "tester": "Our jig",
}
_FILE = "name;kind;drawer;quantity;cost\n33k 1W;resistor;B-14;20;0.12\n10n 400V film;capacitor;B-14;8;0.31\n"

# Pages that have something to say of empty drawers.
EMPTY = (
    "parts",
    "drawers",
    "labels",
    "count-rounds",
    "suppliers",
    "short",
    "orders",
    "stand-ins",
    "tubes",
    "tube-sets",
    "planning",
    "best-use",
    "asleep",
    "queue-needs",
    "bench-gear",
    "parts-export",
    "parts-import",
)


@dataclass(frozen=True)
class FullStock:
    """The rows that pages are asked for by."""

    here: Job  # parts were used on it, some are put aside for it and some are wanted
    kept: Job  # its gear was kept for parts
    drawer: Drawer
    empty: Drawer
    capacitor: Part  # with moves of every kind, an offer, and an order that is on its way
    loose: Part
    tube_part: Part
    used: Move
    sold: tuple[Move, Move]  # over the counter; the second is credited
    aside: Aside
    want: Want
    supplier: Supplier
    offer: Offer
    draft: Order
    sent: Order  # partly here, the rest back-ordered
    done: Order
    a_round: CountRound  # open, with differences
    posted: CountRound
    file: Import
    tube: Tube
    old_tube: Tube  # gone into a job, as one of a set
    a_set: TubeSet
    load: BenchGear
    lent: BenchGear

    def pages(self) -> dict[str, list[str]]:
        """The addresses of whole pages that staff may open, by the name of the address."""
        here, part = {"claim": self.here.claim}, {"pk": self.capacitor.pk}
        by_pk = {name: {"pk": getattr(self, name).pk} for name in ("loose", "tube_part", "drawer", "empty")}
        asked: dict[str, list[tuple[dict[str, Any], str]]] = {
            "parts": [
                ({}, ""),
                ({}, "?q=22u+450v"),
                ({}, "?q=nothing+at+all"),
                ({}, "?kind=tube"),
                ({}, "?q=4k7R2"),
            ],
            "part": [(each, "") for each in (part, by_pk["loose"], by_pk["tube_part"])],
            "part-new": [({}, ""), ({}, "?name=22u+450V+axial")],
            "part-move": [(part, "")],
            "part-edit": [(part, ""), (by_pk["loose"], "")],
            "drawers": [({}, "")],
            "drawer": [(by_pk["drawer"], ""), (by_pk["empty"], "")],
            "drawer-new": [({}, "")],
            "drawer-edit": [(by_pk["drawer"], "")],
            "job-parts": [(here, ""), ({"claim": self.kept.claim}, "")],
            "job-part-use": [
                (here, f"?part={self.capacitor.pk}"),
                (here, f"?part={self.loose.pk}"),
                (here, f"?drawer={self.drawer.pk}"),
                (here, "?q=22u+450v"),
                (here, "?q=4k7R2"),
            ],
            "job-part-back": [({**here, "pk": self.used.pk}, "")],
            "sale-part-back": [({"pk": each.pk}, "") for each in self.sold],
            "job-parts-take-in": [
                ({"claim": self.kept.claim}, ""),
                ({"claim": self.kept.claim}, f"?part={self.capacitor.pk}"),
            ],
            "kept-gear": [({}, "")],
            "count-rounds": [({}, "")],
            "count-round": [({"pk": each.pk}, "") for each in (self.a_round, self.posted)],
            "count-drawer": [({"pk": self.a_round.pk, "key": self.drawer.pk}, "")],
            "count-differences": [({"pk": self.a_round.pk}, "")],
            "labels": [({}, "")],
            "suppliers": [({}, "")],
            "supplier-new": [({}, "")],
            "supplier": [({"pk": self.supplier.pk}, "")],
            "supplier-edit": [({"pk": self.supplier.pk}, "")],
            "offer-new": [(part, "")],
            "offer-edit": [({"pk": self.offer.pk}, "")],
            "short": [({}, "")],
            "part-want": [(part, f"?job={self.here.claim}")],
            "job-want": [(here, ""), (here, "?q=22u")],
            "orders": [({}, "")],
            "order": [({"number": each.number}, "") for each in (self.draft, self.sent, self.done)],
            "stand-ins": [
                ({}, ""),
                ({}, "?q=22u+450V&volts=420&within=10"),
                ({}, "?q=12AX7&within=10"),
                ({}, "?q=50u+800V&volts=700&within=20"),
            ],
            "tubes": [({}, ""), ({}, "?gone=1"), ({}, "?q=nothing+at+all")],
            "tube-new": [({}, f"?part={self.tube_part.pk}")],
            "tube": [({"pk": self.tube.pk}, ""), ({"pk": self.old_tube.pk}, "")],
            "tube-sets": [({}, ""), ({}, "?size=4&within=10")],
            "tube-set": [({"pk": self.a_set.pk}, "")],
            "planning": [({}, "")],
            "part-planning": [(part, ""), (by_pk["tube_part"], "")],
            "best-use": [({}, ""), ({}, "?money=300"), ({}, "?money=0")],
            "asleep": [({}, ""), ({}, "?months=12")],
            "queue-needs": [({}, "")],
            "bench-gear": [({}, "")],
            "bench-gear-new": [({}, "")],
            "bench-gear-edit": [({"pk": self.load.pk}, ""), ({"pk": self.lent.pk}, "")],
            "bench-gear-lend": [({"pk": self.load.pk}, "")],
            "bench-meter-lend": [({"pk": Meter.objects.filter(is_here=True).first().pk}, "")],
            "parts-export": [({}, "")],
            "parts-import": [({}, "")],
            "parts-import-done": [({"pk": self.file.pk}, "")],
        }
        return {
            name: [reverse(name, kwargs=kwargs) + query for kwargs, query in each]
            for name, each in asked.items()
        }

    def papers(self) -> dict[str, list[str]]:
        """The papers, as pages to print."""
        some = f"drawer={self.drawer.pk}&part={self.capacitor.pk}"
        asked = {
            "labels-paper": [({}, f"?{some}&on=sheet&view=html"), ({}, f"?{some}&on=roll&view=html")],
            "order-paper": [({"number": each.number}, "?view=html") for each in (self.draft, self.sent)],
            "tube-label": [({"pk": self.tube.pk}, "?view=html")],
            "tube-set-label": [({"pk": self.a_set.pk}, "?view=html")],
        }
        return {
            name: [reverse(name, kwargs=kwargs) + query for kwargs, query in each]
            for name, each in asked.items()
        }

    def refused(self) -> list[tuple[str, dict[str, Any]]]:
        """Addresses, with what is sent to them in vain."""
        here, part, a_round = {"claim": self.here.claim}, {"pk": self.capacitor.pk}, {"pk": self.a_round.pk}

        def to(name: str, **kwargs: Any) -> str:
            return reverse(name, kwargs=kwargs)

        return [
            (to("part-new"), {}),
            (to("part-new"), {"name": "4k7R2", "quantity": "-1"}),
            (to("part-edit", **part), {}),
            (to("part-photo", **part), {}),
            (to("part-move", **part), {"why": "scrapped", "quantity": "1000", "words": "bent"}),
            (to("drawer-new"), {}),
            (to("drawer-new"), {"code": self.drawer.code}),
            (to("drawer-edit", pk=self.drawer.pk), {}),
            (to("job-part-scan", **here), {}),
            (to("job-part-use", **here), {"part": self.capacitor.pk, "quantity": "1000", "charge": "on"}),
            (to("job-part-use", **here), {"part": self.capacitor.pk, "quantity": "none"}),
            (to("job-part-aside", **here), {"part": self.capacitor.pk, "quantity": "1000"}),
            (to("job-part-back", **here, pk=self.used.pk), {"quantity": "1000"}),
            (to("sale-part-back", pk=self.sold[1].pk), {"quantity": "1000"}),
            (to("job-parts-take-in", claim=self.kept.claim), {"part": self.capacitor.pk}),
            (to("count-drawer", **a_round, key=self.drawer.pk), {}),
            (to("count-post", **a_round), {"revision": "0"}),
            (to("supplier-new"), {}),
            (to("supplier-edit", pk=self.supplier.pk), {}),
            (to("offer-new", **part), {}),
            (to("offer-edit", pk=self.offer.pk), {}),
            (to("part-want", **part), {"claim": "nonsense"}),
            (to("order-gather"), {}),
            (to("part-order", **part), {}),
            (to("order-change", number=self.draft.number), {}),
            (to("order-arrive", number=self.sent.number), {}),
            (to("tube-new"), {}),
            (to("tube-measure", pk=self.tube.pk), {}),
            (to("tube-use", pk=self.tube.pk), {"claim": "nonsense"}),
            (to("tube-scrap", pk=self.tube.pk), {}),
            (to("tube-set-use", pk=self.a_set.pk), {}),
            (to("bench-gear-new"), {}),
            (to("bench-gear-edit", pk=self.load.pk), {}),
            (to("bench-gear-lend", pk=self.load.pk), {}),
            (to("parts-import"), {}),
            (to("parts-import-yes"), {}),
        ]


def build(here: Job, kept: Job, waiting: Job, by: Staff) -> FullStock:
    """Fill the drawers. `kept` is a job whose gear is left behind and may be let go; `waiting` waits for parts."""
    drawer, empty = (
        DrawerFactory(code="B-14", place="By the window", note="Heavy"),
        DrawerFactory(code="B-15"),
    )
    capacitor = _part(
        "22u 450V axial",
        drawer,
        value=22e-6,
        volts=450,
        tolerance=20,
        technology="electrolytic",
        leads="axial",
        keep=12,
    )
    more = [
        _part(
            f"{uf}u {volts}V axial",
            drawer,
            value=uf * 1e-6,
            volts=volts,
            technology="electrolytic",
            leads="axial",
        )
        for uf, volts in ((10, 450), (47, 450), (100, 350), (100, 400))
    ]
    loose = _part("M4 screws", drawer, kind="hardware", is_loose=True, level="low")
    tube_part = _part("EL34", None, kind="tube", designation="EL34", make="Dunmere", price=Decimal(29))
    for part in (capacitor, *more, tube_part):
        stock.receive(part, quantity=10, cost_each=Decimal("1.90"), by=by)
    _move_about(capacitor, by)
    used = stock.use_on_job(capacitor, here, quantity=2, by=by, charge=False)
    back = stock.use_on_job(capacitor, here, by=by, charge=False)
    stock.give_back(back, by=by)
    put = aside.put_aside(more[0], here, quantity=2, by=by)
    wants.want(more[1], waiting, quantity=20, by=by)
    wanted = wants.want(tube_part, here, quantity=2, by=by)
    supplier, offer, orders = _orders(capacitor, more[1], by)
    file = files.read_parts(_FILE.encode(), "USD")
    read = importing.read_in("parts.csv", file.lines, seal=importing.plan(file.lines).seal, by=by)
    tube, old, a_set = _tubes(tube_part, here, by)
    load, lent = _bench(by)
    fate = keeping.Fate(became="parts", words="Nobody came. It is worth more in pieces.", price=Decimal(60))
    keeping.leave_behind(kept, by=by, revision=kept.revision)
    kept.refresh_from_db()
    keeping.let_go(kept, fate, by=by, revision=kept.revision)
    stock.take_in(more[2], quantity=1, cost_each=Decimal(2), job=kept, by=by)
    return FullStock(
        here=here,
        kept=kept,
        drawer=drawer,
        empty=empty,
        capacitor=capacitor,
        loose=loose,
        tube_part=tube_part,
        used=used,
        sold=_sold(capacitor, by),
        aside=put,
        want=wanted,
        supplier=supplier,
        offer=offer,
        **orders,
        **_rounds(drawer, [capacitor, more[0]], by),
        file=read,
        tube=tube,
        old_tube=old,
        a_set=a_set,
        load=load,
        lent=lent,
    )


def _part(name: str, drawer: Drawer | None, **facts: Any) -> Part:
    part = PartFactory(name=name, drawer=drawer, **facts)
    part.search = values.search_text(part)
    part.save(update_fields=["search"])
    return part


def _move_about(part: Part, by: Staff) -> None:
    """A move of every kind that needs no job; one of them is undone."""
    stock.harvest(part, quantity=1, words="out of a dead amplifier", by=by)
    stock.scrap(part, quantity=1, words="bent", by=by)
    stock.sell(part, quantity=1, by=by)
    stock.send_back(part, quantity=1, words="wrong leads", by=by)
    stock.undo(stock.receive(part, quantity=4, cost_each=Decimal(2), by=by), by=by, words="counted twice")


def _orders(part: Part, other: Part, by: Staff) -> tuple[Supplier, Offer, dict[str, Order]]:
    """One that is all here, one that is partly here, and one that isn't sent."""
    facts = {"name": "Pier Parts", "account": "LQ-7", "lead_days": 6, "address": "1 Mole End\nPort Ansley"}
    supplier = ordering.new_supplier(facts=facts, by=by)
    said = {"number": "PP-22", "pack": 5, "price": Decimal("9.50"), "is_first": True}
    offer = ordering.offer(part, supplier, facts=said, by=by)
    another = ordering.offer(other, supplier, facts={**said, "number": "PP-47"}, by=by)
    today, made = timezone.localdate(), {}
    for name, came in (("done", 5), ("sent", 2), ("draft", None)):
        picks = [ordering.Pick(offer, 5), *([ordering.Pick(another, 20)] if name == "sent" else [])]
        (order,) = ordering.gather(picks, by=by)
        order.refresh_from_db()
        if came is not None:
            ordering.send(order, due_on=today, revision=order.revision, by=by)
            order.refresh_from_db()
            line = order.lines.get(part=part)
            ordering.arrive(order, arrivals={line.pk: ordering.Arrival(came, Decimal("1.95"))}, by=by)
        made[name] = order
    ordering.mark(made["sent"].lines.get(part=part), as_="back-ordered", by=by)
    return supplier, offer, made


def _rounds(drawer: Drawer, parts: list[Part], by: Staff) -> dict[str, CountRound]:
    made = {}
    for name in ("posted", "a_round"):
        a_round = counting.begin(by=by, words=f"B-14, {name}")
        counts = {part: Part.objects.get(pk=part.pk).quantity - 1 for part in parts[:1]}
        counting.write_down(a_round, drawer, counts, by=by)
        a_round.refresh_from_db()
        if name == "posted":
            counting.post(a_round, by=by, revision=a_round.revision)
        made[name] = a_round
    return made


def _sold(part: Part, by: Staff) -> tuple[Move, Move]:
    for _ in range(2):
        row = Row("part", part.name, Decimal(1), Decimal("7.20"), good=selling.key_of(part))
        sale, _ = counter_sale.sell([row], method="cash", by=by)
    credits.credit(sale, taken=credits.all_of(sale), reason="The wrong ones.", by=by)
    return tuple(part.moves.filter(sale_line__isnull=False).order_by("pk"))


def _tubes(part: Part, job: Job, by: Staff) -> tuple[Tube, Tube, TubeSet]:
    """Six that were measured: a pair that is here, a pair that went into a job, two alone."""
    made = [tubes.log(part, by=by, make="Dunmere") for _ in range(6)]
    for n, tube in enumerate(made):
        tubes.measure(tube, current=0.034 + 0.0003 * (n // 2) + 0.002 * (n // 2), by=by, **_AT)
    tubes.measure(made[5], plate_volts=250.0, grid_volts=-14.0, current=0.07, by=by)
    here, gone = tubes.make_set(made[:2], by=by), tubes.make_set(made[2:4], by=by)
    tubes.use_set(gone, job, by=by, charge=False)
    return made[4], Tube.objects.get(pk=made[2].pk), here


def _bench(by: Staff) -> tuple[BenchGear, BenchGear]:
    load = bench.add(by=by, kind="test load", name="Load box, 8 Ω", impedance=8.0, watts=200.0)
    lent = bench.add(
        by=by, kind="spring tank", name="Known-good tank", impedance=8.0, second_impedance=2250.0
    )
    back = bench.lend(lent, to_whom="The Tin Lanterns", due_on=None, by=by)
    bench.take_back(back, by=by)
    bench.lend(lent, to_whom="The Quiet Cranes", due_on=timezone.localdate(), by=by)
    return load, lent
