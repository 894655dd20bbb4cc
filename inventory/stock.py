"""The ledger: what comes into the drawers and goes out of them, one move at a time.

Each verb holds the part's row first, writes one `Move`, and keeps the part's `quantity` and `cost` with it. The
quantity is the sum of the moves. The cost is the moving average of what was paid: what comes in changes it, what
goes out doesn't. Loose parts aren't counted and have no moves.

Rows are held in one order everywhere, so that nobody waits crosswise: parts (by key), what lies in them (tubes, what
is put aside, wants), orders and their lines, the job, its charges, the numbers of papers.

Some pieces carry labels of their own (`Tube`). They go by name only: what goes unnamed is one of the others, and a
count never finds fewer than there are labels.
"""

from collections.abc import Iterable, Sequence
from decimal import Decimal
from operator import itemgetter
from typing import Any, Final

from django.db import transaction
from django.db.models import F, Sum
from django.db.models.functions import Coalesce
from django.utils import timezone

from intake import charges
from intake.models import Charge, Invoice, Job
from intake.models.bills import InvoiceLine, LineKind
from intake.workflow import still_open
from inventory.models import Aside, Move, Order, OrderLine, Part, Tube, TubeSet, Want
from shop import timeline
from shop.errors import NotAllowedYet, Refused
from shop.models import Shop, Staff

MOST: Final = 1_000_000  # of one part in one move
_MICRO: Final = Decimal("0.000001")  # `Part.cost` holds so much
_MILLI: Final = Decimal("0.001")  # `Charge.unit_cost` holds so much
DEAREST: Final = Decimal(10_000_000)


class NotEnough(Refused):
    """More is wanted than is there and free. `left` is how many are."""

    def __init__(self, sentence: str, *, left: int):
        super().__init__(sentence)
        self.left = left


class AskWhich(NotAllowedYet):
    """A piece with a label of its own would go, or is missing, and nobody said which."""


# --- Coming in -----------------------------------------------------------------------------------------------


@transaction.atomic
def receive(
    part: Part,
    *,
    quantity: int,
    cost_each: Decimal,
    by: Staff,
    order_line: OrderLine | None = None,
    words: str = "",
) -> Move:
    """Put bought parts into their drawer. What the order line says has come is its caller's to keep.

    Raises:
        NotAllowedYet: the part is loose, or the number or the cost is beyond all reason.
    """
    held = hold(part)
    return _come(held, Move.Why.RECEIVED, quantity, cost_each, by=by, words=words, order_line=order_line)


@transaction.atomic
def harvest(part: Part, *, quantity: int, by: Staff, job: Job | None = None, words: str = "") -> Move:
    """Put what was taken out of a dead unit into its drawer, at no cost."""
    held = hold(part)
    move = _come(held, Move.Why.HARVESTED, quantity, Decimal(0), by=by, words=words, job=job)
    if job is not None:
        timeline.write(job, by=by, words=f"harvested {many(quantity, held)} from it")
    return move


@transaction.atomic
def take_in(part: Part, *, quantity: int, cost_each: Decimal, job: Job, by: Staff) -> Move:
    """Put what gear that was let go gave into its drawer. The job is over, or about to be."""
    held = hold(part)
    move = _come(held, Move.Why.LET_GO, quantity, cost_each, by=by, job=job)
    timeline.write(job, by=by, words=f"took {many(quantity, held)} from it into stock")
    return move


# --- Going out -----------------------------------------------------------------------------------------------


@transaction.atomic
def use_on_job(
    part: Part,
    job: Job,
    *,
    quantity: int = 1,
    by: Staff,
    words: str = "",
    charge: bool = True,
    price: Decimal | None = None,
    under_warranty: bool = False,
    tubes: Iterable[Tube] = (),
) -> Move:
    """Use a part on a job, and charge it: what is put aside for this job first.

    Without a `price` it is the part's own, or comes from its cost by the shop's mark-up. `tubes` are the labelled
    ones that go, if they do. `words` say why more goes than the ledger knows of.

    Raises:
        NotEnough: so many aren't there, or are put aside for other jobs.
        NotAllowedYet: the part is loose, the job is over, or a tube isn't here.
        AskWhich: labelled pieces would go, and it isn't said which.
        AskFirst: it is more than the owner agreed to.
    """
    held = hold(part)
    job = still_open(job)
    enough(held, quantity, words, job=job)
    going = _going(held, tubes, quantity)
    line = None
    if charge:
        line = charges.charge(
            job,
            kind=LineKind.PART,
            text=held.name,
            quantity=Decimal(quantity),
            unit_price=price_of(held) if price is None else price,
            unit_cost=held.cost.quantize(_MILLI),
            under_warranty=under_warranty,
            by=by,
        )
    move = _go(held, Move.Why.USED, quantity, by=by, words=words, job=job, charge=line)
    _take_from_aside(held, job, quantity)
    _gone(going, move)
    if line is None:
        timeline.write(job, by=by, words=f"used {many(quantity, held)}, not charged")
    return move


@transaction.atomic
def scrap(part: Part, *, quantity: int, words: str, by: Staff, tubes: Iterable[Tube] = ()) -> Move:
    """Throw some away. `words` say why.

    Raises:
        NotEnough: so many aren't there, or are put aside for jobs.
        NotAllowedYet: it isn't said why.
        AskWhich: labelled pieces would go, and it isn't said which.
    """
    if not words.strip():
        raise NotAllowedYet("Write down why it is scrapped.")
    held = hold(part)
    enough(held, quantity)
    going = _going(held, tubes, quantity)
    return _gone(going, _go(held, Move.Why.SCRAPPED, quantity, by=by, words=words))


@transaction.atomic
def sell(
    part: Part,
    *,
    quantity: int,
    by: Staff,
    words: str = "",
    tubes: Iterable[Tube] = (),
    sale_line: InvoiceLine | None = None,
) -> Move:
    """Take out what was sold over the counter; `sale_line` is where an invoice says so.

    Raises:
        NotEnough: so many aren't there, or are put aside for jobs.
        AskWhich: labelled pieces would go, and it isn't said which.
    """
    held = hold(part)
    enough(held, quantity, words)
    going = _going(held, tubes, quantity)
    return _gone(going, _go(held, Move.Why.SOLD, quantity, by=by, words=words, sale_line=sale_line))


@transaction.atomic
def send_back(
    part: Part,
    *,
    quantity: int,
    by: Staff,
    words: str,
    order_line: OrderLine | None = None,
    tubes: Iterable[Tube] = (),
) -> Move:
    """Send some back to the supplier. `words` say why.

    Raises:
        NotEnough: so many aren't there, or are put aside for jobs.
        NotAllowedYet: it isn't said why.
        AskWhich: labelled pieces would go, and it isn't said which.
    """
    if not words.strip():
        raise NotAllowedYet("Write down why it goes back.")
    held = hold(part)
    enough(held, quantity)
    going = _going(held, tubes, quantity)
    return _gone(going, _go(held, Move.Why.SENT_BACK, quantity, by=by, words=words, order_line=order_line))


# --- Putting right -------------------------------------------------------------------------------------------


@transaction.atomic
def count(part: Part, *, counted: int, by: Staff, words: str = "") -> Move | None:
    """Make the ledger say what somebody counted. None where it says so already.

    Raises:
        NotAllowedYet: the part is loose, or the number is beyond all reason.
        AskWhich: there are fewer than have labels of their own.
    """
    held = hold(part)
    if not 0 <= counted <= MOST:
        raise NotAllowedYet(f"Count from 0 to {MOST:,}.")
    if counted == held.quantity:
        return None
    here = labelled(held)
    if counted < len(here):
        raise AskWhich(missing(here, counted))
    return _write(held, Move.Why.COUNTED, counted - held.quantity, held.cost, by=by, words=words)


@transaction.atomic
def give_back(
    move: Move, *, quantity: int | None = None, by: Staff, words: str = "", tubes: Iterable[Tube] = ()
) -> Move:
    """Give parts back that were used on a job or sold; all of them when not said. A job's charge goes down by as many.

    They come in at what they went out at. `tubes` are the labelled ones that come back, where it isn't all.

    Raises:
        NotAllowedYet: it went neither way, all of it was given back, or it is on an invoice that isn't credited.
    """
    if move.quantity >= 0 or not (_is_use(move) or _is_sale(move)):
        raise NotAllowedYet("Only what was used on a job, or sold on an invoice, can be given back.")
    held = hold(move.part)
    used = still_used(move)
    quantity = used if quantity is None else quantity
    if not used:
        raise NotAllowedYet(f"{held.name} was given back already.")
    if not 0 < quantity <= used:
        raise NotAllowedYet(f"{used} of {held.name} can still be given back.")
    if _is_sale(move) and quantity == -move.quantity:
        return undo(move, by=by, words=words)  # as if it had never been sold
    _come_back(move, quantity, tubes)
    _uncharge(move, quantity, used, by=by)
    back = _write(
        held,
        Move.Why.RETURNED,
        quantity,
        move.cost,
        by=by,
        words=words,
        job=move.job,
        charge=move.charge,
        sale_line=move.sale_line,
    )
    if move.job is not None:
        timeline.write(move.job, by=by, words=f"gave back {many(quantity, held)}")
    return back


@transaction.atomic
def undo(move: Move, *, by: Staff, words: str = "") -> Move:
    """Undo a move by another that names it. The average cost is then as if neither had been.

    Of a use it takes the charge back too; of a receipt, what the order line says has come. What an invoice sold is
    credited first.

    Raises:
        NotAllowedYet: it was undone already, is itself an undoing, was given back, or is on an invoice.
        NotEnough: what it brought is gone meanwhile, or put aside.
    """
    held = hold(move.part)
    if move.undoes_id or Move.objects.filter(undoes=move).exists():
        raise NotAllowedYet("This was undone already." if not move.undoes_id else "This undoes another move.")
    if move.why == Move.Why.RETURNED:
        raise NotAllowedYet("This was given back. Use it on the job again instead.")
    if move.quantity > 0:
        _still_there(held, move.quantity, words)
    if move.quantity < 0 and (_is_use(move) or _is_sale(move)):
        used = still_used(move)
        if used < -move.quantity:
            raise NotAllowedYet("Some of this was given back. Give the rest back too instead.")
        _uncharge(move, -move.quantity, used, by=by)
    if move.why == Move.Why.USED:
        timeline.write(move.job, by=by, words=f"took back the use of {many(-move.quantity, held)}")
    if move.quantity < 0:
        _come_back(move, -move.quantity, ())
    if move.why == Move.Why.RECEIVED and move.order_line_id:
        Order.objects.select_for_update().get(lines=move.order_line_id)
        line = OrderLine.objects.select_for_update().get(pk=move.order_line_id)
        line.came = max(line.came - move.quantity, 0)
        line.save(update_fields=["came"])
        if line.open:
            Order.objects.filter(pk=line.order_id).update(closed_at=None)
        if line.job:
            Want.objects.not_come(held, line.job, move.quantity)
    return _write(
        held,
        Move.Why(move.why),
        -move.quantity,
        move.cost,
        by=by,
        words=words,
        job=move.job,
        charge=move.charge,
        order_line=move.order_line,
        sale_line=move.sale_line,
        undoes=move,
    )


@transaction.atomic
def set_level(part: Part, level: str, *, by: Staff) -> Part:
    """Say how much there is of a loose part."""
    held = Part.objects.select_for_update().get(pk=part.pk)
    if not held.is_loose:
        raise NotAllowedYet(f"{held.name} is counted. Count it.")
    if level not in Part.Level.values:
        raise NotAllowedYet("Say plenty, low or out.")
    if level != held.level:
        was, held.level = held.level, level
        held.save(update_fields=["level"])
        timeline.write(held, by=by, words="looked", before={"There is": was}, after={"There is": level})
    return held


# --- Reading -------------------------------------------------------------------------------------------------


def check(parts: Iterable[Part] | None = None) -> list[Part]:
    """The parts, of these or of all, whose quantity isn't the sum of their moves. `moved` is that sum."""
    rows = Part.objects.all() if parts is None else Part.objects.filter(pk__in=[part.pk for part in parts])
    return list(
        rows.annotate(moved=Coalesce(Sum("moves__quantity"), 0)).exclude(quantity=F("moved")).order_by("pk")
    )


def still_used(move: Move) -> int:
    """How many of what a move took to a job, under one charge, weren't given back. Pieces of a part are alike.

    Or of what a line of an invoice sold.
    """
    alike = Move.objects.filter(
        part=move.part_id, job=move.job_id, charge=move.charge_id, sale_line=move.sale_line_id
    )
    if move.charge_id is None and move.sale_line_id is None:
        alike = alike.filter(why__in=(Move.Why.USED, Move.Why.RETURNED), charge__isnull=True)
    net = -(alike.aggregate(net=Sum("quantity"))["net"] or 0)
    return max(min(net, -move.quantity), 0)


def labelled(part: Part) -> list[Tube]:
    """The pieces of a part that are here under labels of their own: each goes by its label, not out of the drawer."""
    return list(part.tubes.filter(gone_at__isnull=True).order_by("label"))


def missing(here: Sequence[Tube], counted: int) -> str:
    """What is in the way of a count that found fewer than have labels."""
    return (
        f"{len(here)} {'has a label' if len(here) == 1 else 'have labels'} of their own ({_labels(here)}), and "
        f"{counted or 'none'} {'was' if counted == 1 else 'were'} counted. Scrap what is gone on its own page first."
    )


def can_come_back(move: Move) -> int:
    """How many of what a line of an invoice sold are credited, and still out."""
    credited = move.sale_line.credited.aggregate(n=Coalesce(Sum("quantity"), Decimal(0)))["n"]
    return still_credited(int(credited), -move.quantity, still_used(move))


def still_credited(credited: int, sold: int, out: int) -> int:
    """How many of the pieces that are still out are credited: what came back before is off that. Pure."""
    return max(min(credited - (sold - out), out), 0)


def price_of(part: Part, shop: Shop | None = None) -> Decimal:
    """What the shop asks for one: the part's own price, else its cost with the shop's mark-up."""
    return (
        part.price if part.price is not None else charges.price_from_cost(part.cost, shop or Shop.current())
    )


def held_by(part: Part, *, but: Job | None = None) -> list[Aside]:
    """What is put aside of a part for jobs, other than one."""
    rows = Aside.objects.filter(part=part, ended_at__isnull=True).select_related("job")
    return list(rows.exclude(job=but) if but is not None else rows)


def many(quantity: int, part: Part) -> str:
    """`2 × 22u 450V axial`."""
    return f"{quantity} × {part.name}"


def average(there: int, cost: Decimal, came: int, cost_each: Decimal) -> Decimal:
    """The moving average cost after `came` came in at `cost_each`. What is owed to the ledger weighs nothing."""
    if there <= 0:
        return cost_each.quantize(_MICRO)
    return ((there * cost + came * cost_each) / (there + came)).quantize(_MICRO)


# --- Inside --------------------------------------------------------------------------------------------------


def hold(part: Part) -> Part:
    """The part as it is now, held for this transaction.

    Raises:
        NotAllowedYet: it is loose.
    """
    held = Part.objects.select_for_update().get(pk=part.pk)
    if held.is_loose:
        raise NotAllowedYet(f"{held.name} isn't counted. Say whether there is plenty, low or out.")
    return held


def enough(part: Part, quantity: int, words: str = "", *, job: Job | None = None) -> None:
    """Hold that so many may go. `part` is held.

    Raises:
        NotEnough: so many aren't free, and no words say why they go all the same. What is put aside for others
        doesn't go, whatever the words.
    """
    _whole(quantity)
    others = held_by(part, but=job)
    left = part.quantity - sum(aside.quantity for aside in others)
    if quantity <= left or (words.strip() and not others):
        return
    free = max(left, 0)
    there = "is free" if free == 1 else "are free"
    sentence = f"{free or 'None'} of {part.name} {there}, and {quantity} would go."
    if others:
        for_whom = ", ".join(f"{aside.quantity} for {aside.job.claim}" for aside in others)
        sentence += f" Put aside: {for_whom}. Let go of that first, or take fewer."
    else:
        sentence += " Take fewer, count the drawer, or write down why more may go."
    raise NotEnough(sentence, left=free)


def _still_there(held: Part, quantity: int, words: str) -> None:
    """Hold that what a move brought can go again."""
    try:
        enough(held, quantity, words)
        _going(held, (), quantity)
    except AskWhich as why:
        raise AskWhich(
            f"This brought {quantity}, and what would go has labels of its own: {_labels(labelled(held))}. "
            "Scrap those on their own pages instead."
        ) from why
    except NotEnough as why:
        raise NotEnough(
            f"This brought {quantity}, and {why.left or 'none'} of {held.name} can go: the others were used, or are "
            "put aside. Count the drawer instead.",
            left=why.left,
        ) from why


def _whole(quantity: int) -> None:
    if isinstance(quantity, bool) or not isinstance(quantity, int):
        raise TypeError(f"Parts are counted in whole pieces, not in {type(quantity).__name__}.")
    if not 0 < quantity <= MOST:
        raise NotAllowedYet(f"Write how many: from 1 to {MOST:,}.")


def _come(held: Part, why: Move.Why, quantity: int, cost_each: Decimal, **rest: Any) -> Move:
    _whole(quantity)
    if not isinstance(cost_each, Decimal):
        raise TypeError(f"Money is a Decimal, not {type(cost_each).__name__}.")
    if not (cost_each.is_finite() and 0 <= cost_each < DEAREST):
        raise NotAllowedYet("Write what one cost, from 0 up.")
    return _write(held, why, quantity, cost_each.quantize(_MICRO), **rest)


def _go(held: Part, why: Move.Why, quantity: int, **rest: Any) -> Move:
    _whole(quantity)
    return _write(held, why, -quantity, held.cost, **rest)


def _write(
    held: Part,
    why: Move.Why,
    quantity: int,
    cost: Decimal,
    *,
    by: Staff,
    words: str = "",
    job: Job | None = None,
    charge: Charge | None = None,
    order_line: OrderLine | None = None,
    sale_line: InvoiceLine | None = None,
    undoes: Move | None = None,
) -> Move:
    """Write the move, and keep the part with it."""
    left = held.quantity + quantity
    if undoes is not None:
        held.cost = _cost_without(held, undoes)
    elif quantity > 0:
        held.cost = average(held.quantity, held.cost, quantity, cost)
    if left < 0 and not words.strip():
        raise NotEnough(
            f"The ledger would then say {left} of {held.name}. Write down why.", left=max(held.quantity, 0)
        )
    move = Move.objects.create(
        part=held,
        why=why,
        quantity=quantity,
        cost=cost,
        left=left,
        words=words.strip(),
        job=job,
        charge=charge,
        order_line=order_line,
        sale_line=sale_line,
        undoes=undoes,
        by=by,
    )
    held.quantity = left
    Part.objects.filter(pk=held.pk).update(quantity=left, cost=held.cost)
    return move


def _cost_without(held: Part, undone: Move) -> Decimal:
    """The average cost as if a move had never been: all others in turn, pairs of undone and undoing left out."""
    there, cost = 0, Decimal(0)
    # Sorted out here: asked for what undoes nothing, SQLite looks through the moves of all parts.
    moves = list(Move.objects.filter(part=held).order_by().values_list("pk", "quantity", "cost", "undoes"))
    left_out = {undone.pk, *(pk for pk, _, _, undoes in moves if undoes), *(undoes for *_, undoes in moves)}
    for pk, quantity, each, _ in sorted(moves, key=itemgetter(0)):
        if pk in left_out:
            continue
        if quantity > 0:
            cost = average(there, cost, quantity, each)
        there += quantity
    return cost


def _take_from_aside(held: Part, job: Job, quantity: int) -> None:
    aside = Aside.objects.filter(part=held, job=job, ended_at__isnull=True).first()
    if aside is None:
        return
    if quantity < aside.quantity:
        aside.quantity -= quantity
    else:
        aside.ended_at = timezone.now()
    aside.save(update_fields=["quantity", "ended_at"])


def _going(held: Part, tubes: Iterable[Tube], quantity: int) -> list[Tube]:
    """The labelled tubes that go, held. None where pieces without a label do.

    Raises:
        AskWhich: there are fewer without a label than go.
        NotAllowedYet: one isn't here, is of a set that doesn't go whole, or they are not as many as go.
    """
    wanted = {tube.pk for tube in tubes}
    if not wanted:
        here = labelled(held)
        plain = max(held.quantity - len(here), 0)
        if here and quantity > plain:
            raise AskWhich(_which(held, here, plain, quantity))
        return []
    rows = list(
        Tube.objects.select_for_update(of=("self",))
        .select_related("set")
        .filter(pk__in=wanted, part=held, gone_at__isnull=True)
        .order_by("pk")
    )
    if len(rows) != len(wanted):
        raise NotAllowedYet("One of these tubes isn't here any more. Load the page again, then choose.")
    if len(rows) != quantity:
        raise AskWhich(f"{len(rows)} labelled tubes can't be {quantity} pieces. Choose as many as go.")
    for tube in rows:
        if tube.set_id and tube.set.tubes.exclude(pk__in=wanted).exists():
            raise NotAllowedYet(
                f"{tube.label} is in set {tube.set.label}. Take the set apart, or use it as one."
            )
    return rows


def _which(held: Part, here: Sequence[Tube], plain: int, quantity: int) -> str:
    said = f"({_labels(here)})"
    if not plain:
        return f"All there are of {held.name} have labels of their own {said}. Say which goes."
    return (
        f"{plain} of {held.name} {'has' if plain == 1 else 'have'} no label of {'its' if plain == 1 else 'their'} own, "
        f"and {quantity} would go. Take fewer, or say which labelled ones go {said}."
    )


def _labels(tubes: Sequence[Tube]) -> str:
    more = f" and {len(tubes) - 6} more" if len(tubes) > 6 else ""
    return ", ".join(tube.label for tube in tubes[:6]) + more


def _gone(tubes: Iterable[Tube], move: Move) -> Move:
    """Write on labelled tubes by which move they went, and on the sets that went with them."""
    keys = [tube.pk for tube in tubes]
    if keys:
        rows = Tube.objects.filter(pk__in=keys)
        rows.update(gone_at=move.at, job=move.job, move=move)
        TubeSet.objects.filter(tubes__in=keys).update(gone_at=move.at, job=move.job)
    return move


def _come_back(move: Move, quantity: int, tubes: Iterable[Tube]) -> None:
    """Bring back the labelled tubes that went by a move; part of a set that comes back is a set no more."""
    gone = list(Tube.objects.select_for_update().filter(move=move, gone_at__isnull=False))
    chosen = {tube.pk for tube in tubes}
    if not gone:
        return
    back = [tube for tube in gone if not chosen or tube.pk in chosen]
    if len(back) != quantity:
        raise AskWhich("Say which of the labelled tubes come back, as many as go back.")
    whole = len(back) == len(gone)
    sets = TubeSet.objects.filter(pk__in={tube.set_id for tube in back if tube.set_id})
    if whole:
        sets.update(gone_at=None, job=None)
    for tube in back:
        tube.gone_at = tube.job = tube.move = None
        tube.set = tube.set if whole else None
        tube.save(update_fields=["gone_at", "job", "move", "set"])


def _is_use(move: Move) -> bool:
    return move.why == Move.Why.USED and move.job_id is not None


def _is_sale(move: Move) -> bool:
    return move.why == Move.Why.SOLD and move.sale_line_id is not None


def _uncharge(move: Move, quantity: int, used: int, *, by: Staff) -> None:
    """Take the charge of a use down by what comes back of it. What was sold is on an invoice, and has to be credited.

    Raises:
        NotAllowedYet: an invoice says it, and no credit note takes it back.
    """
    if move.sale_line_id is not None:
        if can_come_back(move) < quantity:
            raise NotAllowedYet(
                f"It is on invoice {move.sale_line.invoice.label}. Make a credit note for it first; then put it back."
            )
        return
    if move.charge_id is None:
        still_open(move.job)
        return
    Job.objects.select_for_update().get(pk=move.job_id)  # before its charges, as whoever bills it
    line = Charge.objects.select_for_update().get(pk=move.charge_id)
    if line.invoice_id is not None:
        credited = InvoiceLine.objects.filter(
            invoice__credits=line.invoice_id, kind=line.kind, text=line.text
        ).aggregate(n=Coalesce(Sum("quantity"), Decimal(0)))["n"]
        if line.quantity - credited > used - quantity:
            label = Invoice.objects.get(pk=line.invoice_id).label
            raise NotAllowedYet(
                f"It is on invoice {label}. Make a credit note for it first; then give it back."
            )
        return
    if line.struck_at is not None:
        still_open(move.job)
    elif quantity == used or line.quantity <= quantity:
        charges.strike(line, by=by)
    else:
        charges.change(
            line,
            kind=line.kind,
            text=line.text,
            quantity=line.quantity - quantity,
            unit_price=line.unit_price,
            unit_cost=line.unit_cost,
            under_warranty=line.under_warranty,
            by=by,
            revision=line.revision,
        )
