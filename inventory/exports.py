"""Every table of the stock, for a spreadsheet. What is written here, `files` reads again, as far as it is parts."""

import datetime as dt
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Final

from django.utils import timezone

from calc.meters import always_text
from inventory.files import COLUMNS
from inventory.models import (
    Aside,
    BenchGear,
    CountLine,
    Drawer,
    Loan,
    Move,
    Offer,
    OrderLine,
    Part,
    Supplier,
    Tube,
    TubeReading,
    TubeSet,
    Want,
)
from inventory.values import unit_of
from shop.csv_out import Cell

_AT_ONCE: Final = 2000


@dataclass(frozen=True)
class Table:
    """A file that can be taken out: its head, and its rows when asked."""

    slug: str
    title: str
    words: str
    head: tuple[str, ...]
    rows: Callable[[], Iterable[tuple[Cell, ...]]]


def by_slug(slug: str) -> Table | None:
    return next((table for table in TABLES if table.slug == slug), None)


def _parts() -> Iterator[tuple[Cell, ...]]:
    for part in Part.objects.filter(is_in_use=True).select_related("drawer").iterator(_AT_ONCE):
        yield tuple(_of_part(part, column.name) for column in COLUMNS)


def _of_part(part: Part, name: str) -> Cell:
    match name:
        case "number":
            return part.pk
        case "kind":
            return part.get_kind_display()
        case "drawer":
            return part.drawer.code if part.drawer else ""
        case "quantity":
            return part.level if part.is_loose else part.quantity
        case "cost":
            return part.cost
        case "price":
            return _finely(part.price)
    value = getattr(part, name)
    unit = unit_of(part.kind, name)
    return _value(value, unit) if unit else value


def _value(value: float | None, unit: str) -> Cell:
    """A value as people write it, which reads back to itself."""
    return None if value is None else always_text(value, unit)


def _finely(amount: Decimal | None) -> Cell:
    """An amount with as many decimals as can be read in one way only: none, two, or four. (See `read_amount`.)"""
    if amount is None:
        return None
    places = next((each for each in (Decimal(1), Decimal("0.01")) if amount == amount.quantize(each)), None)
    return amount.quantize(places or Decimal("0.0001"))


def _drawers() -> Iterator[tuple[Cell, ...]]:
    for drawer in Drawer.objects.iterator(_AT_ONCE):
        yield drawer.code, drawer.place, drawer.note, _yes(drawer.is_in_use)


def _moves() -> Iterator[tuple[Cell, ...]]:
    labels = dict(Move.Why.choices)
    rows = Move.objects.order_by("pk").values_list(
        "pk", "at", "part", "part__name", "why", "quantity", "cost", "left", "words", "job__claim",
        "order_line__order__number", "undoes", "by__name",
    )  # fmt: skip
    for pk, at, part, name, why, *rest in rows.iterator(_AT_ONCE):
        yield pk, _moment(at), part, name, labels[why], *rest


def _asides() -> Iterator[tuple[Cell, ...]]:
    rows = Aside.objects.filter(ended_at=None).select_related("part", "job", "by")
    for aside in rows.iterator(_AT_ONCE):
        yield (
            aside.part_id,
            aside.part.name,
            aside.quantity,
            aside.job.claim,
            _moment(aside.at),
            aside.by.name,
        )


def _wants() -> Iterator[tuple[Cell, ...]]:
    rows = Want.objects.filter(ended_at=None).select_related("part", "job", "by")
    for want in rows.iterator(_AT_ONCE):
        yield (
            want.part_id,
            want.part.name,
            want.quantity,
            want.came,
            want.job.claim,
            _moment(want.at),
            want.by.name,
        )


def _suppliers() -> Iterator[tuple[Cell, ...]]:
    for each in Supplier.objects.iterator(_AT_ONCE):
        yield (
            each.name, each.account, each.email, each.phone, each.address, each.lead_days, each.note,
            _yes(each.is_in_use),
        )  # fmt: skip


def _offers() -> Iterator[tuple[Cell, ...]]:
    for each in Offer.objects.select_related("part", "supplier").iterator(_AT_ONCE):
        yield (
            each.part_id, each.part.name, each.supplier.name, each.number, each.pack, each.price, each.lead_days,
            _yes(each.is_first),
        )  # fmt: skip


def _orders() -> Iterator[tuple[Cell, ...]]:
    rows = OrderLine.objects.select_related("order__supplier", "part", "job").order_by("order__number", "pk")
    for line in rows.iterator(_AT_ONCE):
        order = line.order
        yield (
            order.number, order.supplier.name, _moment(order.sent_at), line.part_id, line.part.name,
            line.job.claim if line.job else "", line.quantity, line.came,
        )  # fmt: skip


def _tubes() -> Iterator[tuple[Cell, ...]]:
    for tube in Tube.objects.select_related("part", "set", "came_from", "job").iterator(_AT_ONCE):
        yield (
            tube.label, tube.part_id, tube.part.name, tube.make, _yes(tube.is_used),
            tube.came_from.claim if tube.came_from else "", tube.set.label if tube.set else "",
            tube.job.claim if tube.job else "", _moment(tube.gone_at), tube.note,
        )  # fmt: skip


def _readings() -> Iterator[tuple[Cell, ...]]:
    for each in TubeReading.objects.select_related("tube", "by").order_by("pk").iterator(_AT_ONCE):
        yield (
            each.tube.label, _moment(each.at), each.plate_volts, each.screen_volts, each.grid_volts, each.current,
            each.transconductance, each.tester, each.warm_minutes, each.by.name,
        )  # fmt: skip


def _sets() -> Iterator[tuple[Cell, ...]]:
    for each in TubeSet.objects.select_related("part", "by", "job").iterator(_AT_ONCE):
        yield (
            each.label, each.part_id, each.part.name, _moment(each.made_at), each.by.name,
            each.job.claim if each.job else "", _moment(each.gone_at), _moment(each.taken_apart_at),
        )  # fmt: skip


def _counts() -> Iterator[tuple[Cell, ...]]:
    rows = CountLine.objects.select_related("round", "drawer", "part", "by").order_by("pk")
    for line in rows.iterator(_AT_ONCE):
        yield (
            str(line.round), _moment(line.round.posted_at), line.drawer.code if line.drawer else "", line.part_id,
            line.part.name, line.expected, line.counted, _moment(line.at), line.by.name,
        )  # fmt: skip


def _bench() -> Iterator[tuple[Cell, ...]]:
    for gear in BenchGear.objects.select_related("meter").iterator(_AT_ONCE):
        yield (
            str(gear), gear.get_kind_display(), _value(gear.impedance, "ohm"), _value(gear.second_impedance, "ohm"),
            _value(gear.watts, "W"), gear.note, _yes(gear.meter.is_here if gear.meter else gear.is_in_use),
        )  # fmt: skip


def _loans() -> Iterator[tuple[Cell, ...]]:
    for loan in Loan.objects.select_related("gear__meter", "by", "back_by").iterator(_AT_ONCE):
        yield (
            str(loan.gear), loan.to_whom, _moment(loan.out_at), loan.by.name, loan.due_on, _moment(loan.back_at),
            loan.back_by.name if loan.back_by else "",
        )  # fmt: skip


def _moment(at: dt.datetime | None) -> Cell:
    return timezone.localtime(at) if at else None


def _yes(value: Any) -> str:
    return "yes" if value else "no"


TABLES: Final = (
    Table(
        "parts",
        "Parts",
        "What is in use, with its values, drawer, how many, cost and price. It can be changed and read in again.",
        tuple(column.head for column in COLUMNS),
        _parts,
    ),
    Table("drawers", "Drawers", "Where parts live.", ("code", "where it stands", "note", "in use"), _drawers),
    Table(
        "moves",
        "Moves",
        "The whole ledger: every line of what came and went.",
        (
            "move", "at", "part no.", "what it is", "why", "quantity", "cost of one", "left", "words", "job", "order",
            "undoes move", "by",
        ),
        _moves,
    ),
    Table(
        "put-aside",
        "Put aside",
        "What is held for jobs.",
        ("part no.", "what it is", "how many", "job", "at", "by"),
        _asides,
    ),
    Table(
        "wanted",
        "Wanted for jobs",
        "What jobs need that isn’t here.",
        ("part no.", "what it is", "how many", "came", "job", "at", "by"),
        _wants,
    ),
    Table(
        "suppliers",
        "Suppliers",
        "Who sells to the shop.",
        ("name", "our number there", "e-mail", "phone", "address", "days until it comes", "note", "in use"),
        _suppliers,
    ),
    Table(
        "offers",
        "What suppliers offer",
        "Their numbers, packs and prices.",
        (
            "part no.", "what it is", "supplier", "their number", "pieces in a pack", "price of a pack",
            "days until it comes", "order here first",
        ),
        _offers,
    ),
    Table(
        "orders",
        "Orders",
        "Each line of each order, and how many came.",
        ("order", "supplier", "sent", "part no.", "what it is", "job", "ordered", "came"),
        _orders,
    ),
    Table(
        "tubes",
        "Tubes",
        "Each tube that has a label.",
        ("label", "part no.", "what it is", "make", "used", "came from job", "set", "went to job", "gone", "note"),
        _tubes,
    ),
    Table(
        "tube-readings",
        "Tube readings",
        "What each tube drew, and at what.",
        (
            "tube", "at", "plate, V", "screen, V", "grid, V", "plate current, A", "transconductance, A/V",
            "measured with", "warm for, minutes", "by",
        ),
        _readings,
    ),
    Table(
        "tube-sets",
        "Tube sets",
        "What was matched.",
        ("label", "part no.", "what it is", "made", "by", "went to job", "gone", "taken apart"),
        _sets,
    ),
    Table(
        "counts",
        "Counts",
        "What was counted on each round, and what the ledger said.",
        ("round", "posted", "drawer", "part no.", "what it is", "ledger", "counted", "at", "by"),
        _counts,
    ),
    Table(
        "bench-gear",
        "Bench gear",
        "The shop’s own test loads, tanks, transformers, and meters that were lent.",
        ("name", "kind", "impedance", "other side", "power", "note", "in use"),
        _bench,
    ),
    Table(
        "loans",
        "Loans",
        "Bench gear that was lent, and when it was back.",
        ("what", "lent to", "out", "by", "back by", "back", "taken back by"),
        _loans,
    ),
)  # fmt: skip
