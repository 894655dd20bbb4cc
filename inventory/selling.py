"""Parts, labelled tubes and matched sets as goods: what a sale over the counter takes out of the drawers."""

import re
from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from django.db.models import Prefetch

from calc.engine.errors import QuantityError
from intake.goods import Good
from intake.models import Invoice, InvoiceLine
from inventory import scanning, stock, tube_labels, tubes, using
from inventory.models import Drawer, Move, Part, Tube, TubeSet
from shop.errors import NotAllowedYet
from shop.models import Shop, Staff

_KEY: Final = re.compile(r"(part|tube|set):([0-9]{1,9})")
_MILLI: Final = Decimal("0.001")


def read(text: str) -> list[Good]:
    """What a label names: a part, a tube or a set, or all that lies in a drawer."""
    labelled = tube_labels.named_whole(text)
    if labelled is not None:
        kind = "tube" if isinstance(labelled, Tube) else "set"
        return list(named([f"{kind}:{labelled.pk}"]).values())
    found = scanning.read(text)
    if isinstance(found, Drawer):
        shop = Shop.current()
        return [_of_part(part, shop) for part in using.parts_in(found)]
    return list(named([f"part:{found.pk}"]).values()) if found is not None else []


def find(text: str, limit: int) -> list[Good]:
    """Parts that answer what somebody typed, as the search box finds them."""
    shop = Shop.current()
    try:
        return [_of_part(part, shop) for part in using.found(text, limit)]
    except QuantityError:
        return []


def named(keys: Iterable[str], hold: bool = False) -> dict[str, Good]:
    """The goods of these keys that are still here, in a fixed number of queries; their parts held if asked for."""
    asked = defaultdict(dict)
    for key in keys:
        if match := _KEY.fullmatch(key):
            asked[match[1]][int(match[2])] = key
    single = Tube.objects.filter(pk__in=asked["tube"], gone_at=None, set=None)
    whole = TubeSet.objects.filter(pk__in=asked["set"], gone_at=None, taken_apart_at=None)
    if hold:
        wanted = {
            *asked["part"],
            *single.values_list("part", flat=True),
            *whole.values_list("part", flat=True),
        }
        list(Part.objects.select_for_update().filter(pk__in=wanted).order_by("pk"))
    found, shop = {}, Shop.current()
    if asked["part"]:
        rows = Part.objects.in_use().filter(pk__in=asked["part"]).select_related("drawer").free()
        found |= {asked["part"][part.pk]: _of_part(part, shop) for part in rows}
    if asked["tube"]:
        rows = single.select_related("part__drawer")
        found |= {asked["tube"][tube.pk]: _of_tube(tube, shop) for tube in rows}
    if asked["set"]:
        rows = whole.select_related("part__drawer").prefetch_related(
            Prefetch("tubes", Tube.objects.order_by("label"))
        )
        found |= {asked["set"][made.pk]: _of_set(made, shop) for made in rows}
    return found


def take(good: Good, line: InvoiceLine, by: Staff) -> None:
    """Take out what a line of an invoice sold. What isn't counted has nothing to be taken off.

    Raises:
        NotEnough: so many aren't there, or are put aside for jobs.
        AskWhich: labelled pieces would go: they are sold by their labels.
        NotAllowedYet: it isn't whole pieces, or not all of what goes as one.
    """
    kind, pk = good.key.split(":")
    if line.quantity != int(line.quantity):
        raise NotAllowedYet("Whole pieces come out of a drawer. Write how many.")
    if good.is_single and line.quantity != good.pieces:
        raise NotAllowedYet(f"{good.name} is sold as one: write {good.pieces}.")
    if kind == "tube":
        tubes.sell_tube(Tube.objects.select_related("part").get(pk=pk), by=by, sale_line=line)
    elif kind == "set":
        tubes.sell_set(TubeSet.objects.select_related("part").get(pk=pk), by=by, sale_line=line)
    else:
        part = Part.objects.get(pk=pk)
        if not part.is_loose:
            _sell(part, int(line.quantity), line, by)


def _sell(part: Part, quantity: int, line: InvoiceLine, by: Staff) -> None:
    try:
        stock.sell(part, quantity=quantity, by=by, sale_line=line)
    except stock.NotEnough as why:  # at the counter nobody writes down why more may go
        free = "1 is free" if why.left == 1 else f"{why.left or 'None'} are free"
        others = ", others are put aside for jobs" if stock.held_by(part) else ""
        raise stock.NotEnough(f"{free}{others}. Sell fewer, or count the drawer.", left=why.left) from why


def key_of(thing: Part | Tube | TubeSet) -> str:
    """By what a line of a sale names it."""
    kind = {Part: "part", Tube: "tube", TubeSet: "set"}[type(thing)]
    return f"{kind}:{thing.pk}"


@dataclass(frozen=True)
class Sold:
    """What an invoice took out of a drawer: how many are still out, and how many of these are credited."""

    move: Move
    out: int
    back: int


def sold_on(invoice: Invoice) -> list[Sold]:
    """What an invoice, or the one that a credit note credits, took out of the drawers, in two queries."""
    moves = list(
        Move.objects.filter(sale_line__invoice=invoice.credits_id or invoice.pk)
        .select_related("part__drawer")
        .order_by("pk")
    )
    if not moves:
        return []
    net, credited = Counter(), defaultdict(Decimal)
    for move in moves:
        net[move.sale_line_id] -= move.quantity
    for line, quantity in InvoiceLine.objects.filter(of_line__in=net).values_list("of_line", "quantity"):
        credited[line] += quantity
    return [
        Sold(move, out, stock.still_credited(int(credited[move.sale_line_id]), -move.quantity, out))
        for move in moves
        if move.why == Move.Why.SOLD and move.quantity < 0
        for out in [max(min(net[move.sale_line_id], -move.quantity), 0)]
    ]


def _of_part(part: Part, shop: Shop) -> Good:
    if part.is_loose:
        there = "not counted"
    else:
        free = max(part.is_free, 0)
        there = f"{free or 'none'} free"
    return _good(part, part, shop, part.name, there)


def _of_tube(tube: Tube, shop: Shop) -> Good:
    name = ", ".join(filter(None, [tube.part.name, tube.make, tube.label]))
    return _good(tube, tube.part, shop, name, "one, by its label", 1)


def _of_set(made: TubeSet, shop: Shop) -> Good:
    size = len(made.tubes.all())
    name = f"{made.part.name}, {tubes.name_of_set(size)} {made.label}"
    return _good(made, made.part, shop, name, f"{size} as one", size)


def _good(
    thing: Part | Tube | TubeSet, part: Part, shop: Shop, name: str, there: str, pieces: int = 0
) -> Good:
    where = f" in {part.drawer.code}" if part.drawer else ""
    return Good(
        key=key_of(thing),
        name=name,
        said=there + where,
        price=stock.price_of(part, shop),
        cost=part.cost.quantize(_MILLI),
        pieces=pieces or 1,
        is_single=pieces > 0,
    )
