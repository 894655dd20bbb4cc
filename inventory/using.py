"""Parts on a job: what a scanned drawer means there, what was used, what is put aside, what gear let go gives."""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from django.db import transaction
from django.db.models import DecimalField, F, OuterRef, Prefetch, Q, QuerySet, Subquery, Sum
from django.db.models.functions import Coalesce

from intake import comebacks
from intake.models import Job, LetGo, State
from intake.models.bills import LineKind
from inventory import scanning, stock, values
from inventory.models import Aside, Drawer, Move, Part
from shop import timeline
from shop.errors import NotAllowedYet
from shop.models import Shop, Staff
from shop.money import format_amount

_MONEY: Final = DecimalField(max_digits=20, decimal_places=6)
AT_ONCE: Final = (State.ON_THE_BENCH, State.SOAK_TEST)  # where a scanned part is being soldered in


# --- What a scan means -----------------------------------------------------------------------------------


@dataclass(frozen=True)
class Meant:
    """What a scan on a job's page means: `part`, or one of `parts`; neither for what is no label of the stock's."""

    part: Part | None = None
    drawer: Drawer | None = None
    parts: tuple[Part, ...] = ()

    @property
    def is_ours(self) -> bool:
        return self.part is not None or self.drawer is not None


def meant_by(text: str) -> Meant:
    """Read a scan: a part's label is that part, a drawer's the one part in it, or all of them to choose from."""
    found = scanning.read(text)
    if found is None:
        return Meant()
    if isinstance(found, Part):
        return Meant(part=found, drawer=found.drawer)
    parts = parts_in(found)
    return Meant(part=parts[0] if len(parts) == 1 else None, drawer=found, parts=parts)


def parts_in(drawer: Drawer) -> tuple[Part, ...]:
    return tuple(Part.objects.in_use().filter(drawer=drawer).select_related("drawer").free())


def found(text: str, limit: int) -> list[Part]:
    """Parts that answer what somebody typed, as the search box finds them.

    Raises:
        QuantityError: a value in it can't be read; the sentence says why.
    """
    wanted = values.read_search(text)
    if wanted.is_empty:
        return []
    return list(values.matching(wanted).select_related("drawer").free()[:limit])


def under_warranty(job: Job) -> bool:
    """Whether a part on this job costs nothing: it came back, and the warranty covers parts."""
    return LineKind.PART in comebacks.covered_kinds(job)


@transaction.atomic
def use_scanned(part: Part, job: Job, *, by: Staff) -> Move:
    """Use one of a part on a job, charged by the shop's rules: what a scan at the bench does.

    Raises:
        NotEnough: none is free.
        NotAllowedYet: the part isn't counted, or the job is over.
        AskFirst: it is more than the owner agreed to.
    """
    return stock.use_on_job(part, job, by=by, under_warranty=under_warranty(job))


@transaction.atomic
def use_aside(aside: Aside, *, by: Staff) -> Move:
    """Use all that is put aside for a job.

    Raises:
        NotAllowedYet: it was used or let go of meanwhile.
    """
    stock.hold(aside.part)
    held = Aside.objects.select_related("part", "job").get(pk=aside.pk)
    if held.ended_at:
        raise NotAllowedYet("This was used or let go of meanwhile.")
    return stock.use_on_job(
        held.part, held.job, quantity=held.quantity, by=by, under_warranty=under_warranty(held.job)
    )


def said(move: Move, shop: Shop) -> str:
    """What was done, in a line: "Used 1 × 22u 450V axial, charged $7.20. 4 are left in B-14."."""
    drawer = move.part.drawer
    line = move.charge
    if line is None:
        charged = "not charged"
    elif line.under_warranty:
        charged = "under warranty, at nothing"
    else:
        charged = f"charged {format_amount(line.unit_price * line.quantity, shop.currency)}"
    left = f"{move.left} {'is' if move.left == 1 else 'are'} left{f' in {drawer.code}' if drawer else ''}"
    return f"Used {stock.many(-move.quantity, move.part)}, {charged}. {left}."


# --- What was used ---------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Used:
    """A use of a part on a job, and how many of it still are there."""

    move: Move
    still: int

    @property
    def given_back(self) -> int:
        return -self.move.quantity - self.still


def used_on(job: Job) -> list[Used]:
    """What was used on a job, in the order in which it was, in one query.

    What came back names no use, only its charge: it is taken off the uses of that part under that charge, the
    first one first, as `stock.still_used` reckons.
    """
    moves = Move.objects.filter(job=job).select_related("part__drawer", "by", "charge").order_by("pk")
    rows, back = [], {}
    for move in moves:
        if move.quantity > 0 and (move.undoes_id or move.why == Move.Why.RETURNED):
            key = (move.part_id, move.charge_id)
            back[key] = back.get(key, 0) + move.quantity
        elif move.why == Move.Why.USED:
            rows.append(move)
    found = []
    for move in rows:
        key = (move.part_id, move.charge_id)
        less = min(back.get(key, 0), -move.quantity)
        back[key] = back.get(key, 0) - less
        found.append(Used(move, -move.quantity - less))
    return found


def aside_for(job: Job) -> Iterable[Aside]:
    """What is put aside for a job, the oldest first."""
    parts = Part.objects.select_related("drawer").free()
    return Aside.objects.filter(job=job, ended_at__isnull=True).prefetch_related(Prefetch("part", parts))


# --- Gear let go -----------------------------------------------------------------------------------------


def told_of_gear(job: Job, kept: LetGo, by: Staff) -> None:
    """Gear was kept for parts: say on its timeline where they are taken in. What is in it, somebody has to look.

    The job is held already, and parts are held before jobs: nothing is taken in here.
    """
    timeline.write(job, by=by, words="kept for parts: take them into stock on this job’s page, under Parts")


def gives_parts(job: Job) -> bool:
    """Whether a job's gear was kept for parts."""
    kept = getattr(job, "let_go", None)
    return kept is not None and kept.became == LetGo.Became.PARTS


def to_take_apart() -> QuerySet[Job]:
    """Jobs whose gear was kept for parts and has something to give yet, the oldest first.

    That is gear of which nothing was taken in, or of whose value some is on no part. Each has `given`, how many were
    taken in, and `taken`, what they cost.
    """
    moves = Move.objects.filter(job=OuterRef("pk"), why=Move.Why.LET_GO).order_by().values("job")
    pieces = moves.annotate(n=Sum("quantity")).values("n")
    worth = moves.annotate(n=Sum(F("quantity") * F("cost"), output_field=_MONEY)).values("n")
    return (
        Job.objects.filter(let_go__became=LetGo.Became.PARTS)
        .select_related("gear", "person", "let_go")
        .annotate(
            given=Coalesce(Subquery(pieces), 0),
            taken=Coalesce(Subquery(worth), Decimal(0), output_field=_MONEY),
        )
        .filter(Q(given__lte=0) | Q(let_go__price__gt=F("taken")))
        .order_by("let_go__on", "pk")
    )


def value_taken(job: Job) -> Decimal:
    """What the parts that were taken in from a job's gear cost the shop, undone ones left out."""
    moves = Move.objects.filter(job=job, why=Move.Why.LET_GO)
    return sum((move.quantity * move.cost for move in moves), Decimal(0))


def value_left(job: Job) -> Decimal:
    """What of the value at which gear was kept no part has taken up yet; nothing where none was set."""
    return max((job.let_go.price or Decimal(0)) - value_taken(job), Decimal(0))


def taken_from(job: Job) -> list[Move]:
    """The parts that gear let go gave, undone ones left out."""
    moves = Move.objects.filter(job=job, why=Move.Why.LET_GO, undoes__isnull=True, undone_by__isnull=True)
    return list(moves.select_related("part__drawer", "by").order_by("pk"))


@transaction.atomic
def take_in(part: Part, job: Job, *, quantity: int, cost_each: Decimal, by: Staff) -> Move:
    """Take in parts out of gear that was kept for them. Together they cost no more than the gear was kept at.

    Raises:
        NotAllowedYet: the gear wasn't kept for parts, or its value is used up.
    """
    stock.hold(part)
    job = Job.objects.select_for_update().get(pk=job.pk)
    if not gives_parts(job):
        raise NotAllowedYet("This gear wasn’t kept for parts.")
    move = stock.take_in(part, quantity=quantity, cost_each=cost_each, job=job, by=by)
    over = value_taken(job) - (job.let_go.price or Decimal(0))
    if over > 0 and cost_each:
        currency = Shop.current().currency
        left = format_amount(max(quantity * cost_each - over, Decimal(0)), currency)
        raise NotAllowedYet(
            f"The gear was kept at a value of which {left} is left for these. Write a smaller cost, or 0."
        )
    return move
