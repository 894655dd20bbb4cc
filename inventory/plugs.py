"""What the stock plugs into the sockets below."""

from collections.abc import Iterable, Mapping
from typing import Any

from calc.on_hand import Elsewhere, Lender, OnHand, lenders, on_hand
from intake import goods, keeping
from inventory import aside
from shop import sockets

# --- bench gear


def _test_loads() -> Mapping[str, str]:
    from inventory import bench

    return bench.speaker_loads_boxes()


def _lent(meter: Any) -> Elsewhere | None:
    from inventory import bench

    return bench.where(meter)


on_hand.plug(OnHand("test loads", "speaker-loads", _test_loads))
lenders.plug(Lender("bench gear", _lent))


# --- reports

for _name, _title, _words, _act, _order in (
    (
        "planning",
        "When to reorder",
        "At how many to order each part, from what jobs took so far.",
        "see parts",
        60,
    ),
    (
        "best-use",
        "Best use of a sum",
        "Which parts spare the most jobs a wait for the money.",
        "order parts",
        61,
    ),
    ("asleep", "Money asleep", "What lies in the drawers, by months without a move.", "order parts", 62),
    ("queue-needs", "What the queue will need", "From what jobs on like gear used before.", "see parts", 63),
):
    sockets.reports.plug(sockets.Report(_name, _title, _words, _name, _act, order=_order))


def _planned(request: Any, part: Any) -> dict[str, Any] | None:
    from inventory import views_planning

    return views_planning.part_panel(request, part)


sockets.panels.plug(
    sockets.Panel("planned", "part", "see parts", "inventory/_part_planned.html", _planned, order=35)
)


# --- the demo


def _fill_drawers(clock: Any) -> None:
    from inventory import demo

    demo.fill_drawers(clock)


def _take(job: Any, row: Any, by: Any) -> bool:
    from inventory import demo

    return demo.take(job, row, by)


def _as_it_is_now(clock: Any) -> None:
    from inventory import demo

    demo.as_it_is_now(clock)


# The drawers before the jobs, which take out of them; what jobs wait for after these.
sockets.demo_parts.plug(sockets.DemoPart("drawers", load=_fill_drawers, take_part=_take, order=15))
sockets.demo_parts.plug(sockets.DemoPart("stock today", load=_as_it_is_now, order=40))


# --- at the bench


def _job_parts(request: Any, job: Any) -> dict[str, Any]:
    from inventory import views_use

    return views_use.panel(request, job)


def _told_of_gear(job: Any, kept: Any, by: Any) -> None:
    from inventory import using

    using.told_of_gear(job, kept, by)


sockets.panels.plug(
    sockets.Panel(
        "parts", "job bench", "see parts", "inventory/_job_parts.html", _job_parts, order=20, icon="part"
    )
)
keeping.parts_takers.plug(keeping.PartsTaker("stock", _told_of_gear))


# --- over the counter


def _read_goods(text: str) -> list[goods.Good]:
    from inventory import selling

    return selling.read(text)


def _find_goods(text: str, limit: int) -> list[goods.Good]:
    from inventory import selling

    return selling.find(text, limit)


def _named_goods(keys: Iterable[str], hold: bool) -> dict[str, goods.Good]:
    from inventory import selling

    return selling.named(keys, hold)


def _take_goods(good: goods.Good, line: Any, by: Any) -> None:
    from inventory import selling

    selling.take(good, line, by)


def _sold_parts(request: Any, invoice: Any) -> dict[str, Any] | None:
    from inventory import views_sale

    return views_sale.invoice_panel(invoice)


goods.goods.plug(goods.Goods("stock", _read_goods, _find_goods, _named_goods, _take_goods))
sockets.panels.plug(
    sockets.Panel("sold parts", "invoice", "see parts", "inventory/_sold_parts.html", _sold_parts, order=20)
)


# --- orders


def _part_offers(request: Any, part: Any) -> dict[str, Any]:
    from inventory import views_short

    return views_short.part_panel(request, part)


def _job_wants(request: Any, job: Any) -> dict[str, Any] | None:
    from inventory import views_short

    return views_short.job_panel(request, job)


def _front_parts(request: Any, thing: None) -> dict[str, Any] | None:
    from inventory import views_short

    return views_short.front_panel(request, thing)


def _find_suppliers(text: str, limit: int) -> Any:
    from inventory import finders_orders

    return finders_orders.find(text, limit)


def _part_of_number(text: str) -> str | None:
    from inventory import finders_orders

    return finders_orders.part_of_number(text)


sockets.finders.plug(
    sockets.Finder("Suppliers", "see parts", _find_suppliers, straight=_part_of_number, order=70)
)
for _name, _place, _template, _context, _order in (
    ("ordering it", "part", "inventory/_offers.html", _part_offers, 30),
    ("awaited", "job bench", "inventory/_job_wants.html", _job_wants, 21),
    ("parts that came", "front page", "inventory/_front_parts.html", _front_parts, 42),
):
    sockets.panels.plug(sockets.Panel(_name, _place, "see parts", _template, _context, _order, "parcel"))


# --- the search box, and what keeps a job back


def _find_parts(text: str, limit: int) -> Iterable[sockets.Hit]:
    from inventory import finders  # the engine's units take a quarter of a second to load

    return finders.find_parts(text, limit)


def _find_drawers(text: str, limit: int) -> Iterable[sockets.Hit]:
    from inventory import finders

    return finders.find_drawers(text, limit)


def _named_whole(text: str) -> str | None:
    from inventory import finders

    return finders.named_whole(text)


sockets.finders.plug(sockets.Finder("Parts", "see parts", _find_parts, _named_whole, order=50))
sockets.finders.plug(sockets.Finder("Drawers", "see parts", _find_drawers, order=60))
sockets.gates.plug(sockets.Gate("nothing still put aside", aside.still_put_aside, order=45))


# --- stand-ins, tubes and sets


def _serves(request: Any, part: Any) -> dict[str, Any] | None:
    from inventory import views_tubes

    return views_tubes.part_panel(part)


def _tubes_found(text: str, limit: int) -> list[sockets.Hit]:
    from inventory import tube_labels

    return tube_labels.found(text, limit)


def _tube_straight(text: str) -> str | None:
    from inventory import tube_labels

    return tube_labels.address_of(text)


sockets.panels.plug(
    sockets.Panel(
        "what else would serve", "part", "see parts", "inventory/_part_tubes.html", _serves, order=40
    )
)
sockets.finders.plug(
    sockets.Finder("Tubes and sets", "see parts", _tubes_found, straight=_tube_straight, order=45)
)
