"""Single tubes with labels of their own: measured, matched into sets, used and sold as one, taken apart.

A labelled tube is one of its part's quantity as long as it is here: what goes and comes goes through `stock`.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from django.db import transaction
from django.db.models import Prefetch, QuerySet
from django.utils import timezone

from intake.models import InvoiceLine, Job
from inventory import matching, stock
from inventory.models import Kind, Move, Part, Tube, TubeReading, TubeSet
from shop import timeline
from shop.errors import NotAllowedYet
from shop.models import Shop, Staff

SIZES: Final = {2: "pairs", 4: "quads", 6: "sextets"}
_OF_SET: Final = {2: "pair", 4: "quad", 6: "sextet"}


@dataclass(frozen=True, order=True)
class Conditions:
    """What stood at the tube while it was measured, and with what. Readings compare only at the same ones."""

    plate_volts: float
    screen_volts: float  # 0 where there is none, or none was written down
    grid_volts: float
    tester: str


@dataclass(frozen=True)
class Alike:
    """The tubes of a part that are here, in no set, and were last measured at the same conditions."""

    part: Part
    conditions: Conditions
    tubes: tuple[tuple[Tube, TubeReading], ...]

    def matched(
        self, size: int, *, wanted: int | None = None, within: float | None = None
    ) -> matching.Matched:
        """The best sets of them; the key of each is its `Tube`."""
        return matching.match([_measured(*each) for each in self.tubes], size, wanted=wanted, within=within)


# --- Tubes ---------------------------------------------------------------------------------------------------


@transaction.atomic
def log(part: Part, *, by: Staff, make: str = "", is_used: bool = False, note: str = "") -> Tube:
    """Give a tube out of the drawer a label of its own.

    Raises:
        NotAllowedYet: the part is no tube, or all there are have labels.
    """
    held = stock.hold(part)
    if held.kind != Kind.TUBE:
        raise NotAllowedYet(f"{held.name} is no tube. Only tubes get labels of their own.")
    labelled = Tube.objects.filter(part=held, gone_at__isnull=True).count()
    if labelled >= held.quantity:
        raise NotAllowedYet(
            f"The ledger says there are {max(held.quantity, 0)} of {held.name}, and {labelled} have labels. "
            "Receive it or count the drawer first."
        )
    tube = Tube.objects.create(label=_next_label(Tube, "T"), part=held, make=make, is_used=is_used, note=note)
    timeline.write(tube, by=by, words="gave it a label")
    return tube


@transaction.atomic
def keep_used(part: Part, *, job: Job, by: Staff, make: str = "", note: str = "") -> Tube:
    """Take a used tube out of a job's gear into stock, at no cost, with a label that says where it came from.

    Raises:
        NotAllowedYet: the part is no tube, or is loose.
    """
    stock.harvest(part, quantity=1, by=by, job=job, words="a used tube")
    tube = log(part, by=by, make=make, is_used=True, note=note)
    tube.came_from = job
    tube.save(update_fields=["came_from"])
    return tube


@transaction.atomic
def measure(
    tube: Tube,
    *,
    plate_volts: float,
    grid_volts: float,
    current: float,
    by: Staff,
    screen_volts: float | None = None,
    transconductance: float | None = None,
    tester: str = "",
    warm_minutes: int | None = None,
) -> TubeReading:
    """Write down what a tube drew. Volts, amperes, amperes a volt.

    Raises:
        NotAllowedYet: the tube is gone, or is in a set: a set is sold by the readings it was made with.
    """
    held = _hold([tube])[0]
    if held.set_id is not None:
        raise NotAllowedYet(f"{held.label} is in set {held.set.label}. Take the set apart first.")
    return TubeReading.objects.create(
        tube=held,
        plate_volts=plate_volts,
        screen_volts=screen_volts,
        grid_volts=grid_volts,
        current=current,
        transconductance=transconductance,
        tester=tester.strip(),
        warm_minutes=warm_minutes,
        by=by,
    )


@transaction.atomic
def use_tube(
    tube: Tube,
    job: Job,
    *,
    by: Staff,
    charge: bool = True,
    price: Decimal | None = None,
    under_warranty: bool = False,
) -> Move:
    """Use a single tube on a job. Raises as `stock.use_on_job`, and where the tube is in a set."""
    held = _single(tube)
    return stock.use_on_job(
        held.part, job, by=by, charge=charge, price=price, under_warranty=under_warranty, tubes=[held]
    )


@transaction.atomic
def sell_tube(tube: Tube, *, by: Staff, sale_line: InvoiceLine | None = None) -> Move:
    """Sell a single tube over the counter. Raises as `stock.sell`, and where the tube is in a set."""
    held = _single(tube)
    move = stock.sell(held.part, quantity=1, by=by, tubes=[held], sale_line=sale_line)
    timeline.write(held, by=by, words="sold it")
    return move


@transaction.atomic
def scrap(tube: Tube, *, words: str, by: Staff) -> Move:
    """Throw a tube away. Raises as `stock.scrap`, and where the tube is in a set."""
    held = _single(tube)
    move = stock.scrap(held.part, quantity=1, words=words, by=by, tubes=[held])
    timeline.write(held, by=by, words=f"scrapped it: {words.strip()}")
    return move


# --- Sets ----------------------------------------------------------------------------------------------------


@transaction.atomic
def make_set(tubes: Iterable[Tube], *, by: Staff) -> TubeSet:
    """Make a set of tubes that were measured at the same conditions.

    Raises:
        NotAllowedYet: fewer than two, of different parts, not here, in a set, not measured, or not alike.
    """
    tubes = list(tubes)
    for _, part in sorted({tube.part_id: tube.part for tube in tubes}.items()):
        stock.hold(part)
    held = _hold(tubes)
    if len(held) < 2:
        raise NotAllowedYet("A set has two tubes or more.")
    if len({tube.part_id for tube in held}) > 1:
        raise NotAllowedYet("A set is of one kind of tube.")
    for tube in held:
        if tube.set_id is not None:
            raise NotAllowedYet(f"{tube.label} is in set {tube.set.label} already.")
    last = {tube.pk: last_reading(tube) for tube in with_readings(Tube.objects.filter(pk__in=_keys(held)))}
    for tube in held:
        if last[tube.pk] is None:
            raise NotAllowedYet(f"{tube.label} wasn’t measured yet. Measure it first.")
    if len({conditions_of(reading) for reading in last.values()}) > 1:
        raise NotAllowedYet(
            "These were measured at different conditions, so their currents don’t compare. Measure them again."
        )
    made = TubeSet.objects.create(label=_next_label(TubeSet, "S"), part=held[0].part, by=by)
    Tube.objects.filter(pk__in=_keys(held)).update(set=made)
    labels = ", ".join(tube.label for tube in held)
    timeline.write(made, by=by, words=f"matched {labels}")
    for tube in held:
        timeline.write(tube, by=by, words=f"put it in set {made.label}")
    return made


@transaction.atomic
def take_apart(tube_set: TubeSet, *, by: Staff) -> TubeSet:
    """Make single tubes of a set again. Twice is once.

    Raises:
        NotAllowedYet: the set is gone.
    """
    held = _hold_set(tube_set, apart_too=True)
    if held.taken_apart_at is None:
        for tube in held.tubes.all():
            timeline.write(tube, by=by, words=f"took it out of set {held.label}")
        held.tubes.update(set=None)
        held.taken_apart_at = timezone.now()
        held.save(update_fields=["taken_apart_at"])
        timeline.write(held, by=by, words="took it apart")
    return held


@transaction.atomic
def use_set(
    tube_set: TubeSet,
    job: Job,
    *,
    by: Staff,
    charge: bool = True,
    price: Decimal | None = None,
    under_warranty: bool = False,
) -> Move:
    """Use a set on a job, as one. `price` is of one tube.

    Raises as `stock.use_on_job`, and where the set isn't here.
    """
    held = _hold_set(tube_set)
    tubes = list(held.tubes.all())
    move = stock.use_on_job(
        held.part,
        job,
        quantity=len(tubes),
        by=by,
        charge=charge,
        price=price,
        under_warranty=under_warranty,
        tubes=tubes,
    )
    timeline.write(held, by=by, words=f"used it on {job.claim}")
    return move


@transaction.atomic
def sell_set(tube_set: TubeSet, *, by: Staff, words: str = "", sale_line: InvoiceLine | None = None) -> Move:
    """Sell a set over the counter, as one. Raises as `stock.sell`, and where the set isn't here."""
    held = _hold_set(tube_set)
    tubes = list(held.tubes.all())
    said = ": ".join(filter(None, [f"set {held.label}", words.strip()]))
    move = stock.sell(held.part, quantity=len(tubes), by=by, words=said, tubes=tubes, sale_line=sale_line)
    timeline.write(held, by=by, words="sold it")
    return move


# --- Reading -------------------------------------------------------------------------------------------------


def with_readings(tubes: QuerySet[Tube]) -> QuerySet[Tube]:
    """Tubes with all that `last_reading` and a list ask of them, in a constant number of queries."""
    newest_first = Prefetch("readings", TubeReading.objects.order_by("-at", "-pk"))
    return tubes.select_related("part", "set", "job", "came_from").prefetch_related(newest_first)


def last_reading(tube: Tube) -> TubeReading | None:
    """A tube's newest reading, of those that `with_readings` brought."""
    return next(iter(tube.readings.all()), None)


def last_of_kind(tube: Tube) -> TubeReading | None:
    """The newest reading of any tube of the same part."""
    return TubeReading.objects.filter(tube__part=tube.part_id).first()


def conditions_of(reading: TubeReading) -> Conditions:
    """What a reading was taken at."""
    return Conditions(
        reading.plate_volts,
        reading.screen_volts or 0.0,
        reading.grid_volts,
        reading.tester.strip().casefold(),
    )


def alike(part: Part | None = None) -> list[Alike]:
    """The tubes that can be matched with each other, of one part or of all: those that are two or more."""
    rows = Tube.objects.filter(gone_at__isnull=True, set__isnull=True)
    if part is not None:
        rows = rows.filter(part=part)
    groups: dict[tuple[int, Conditions], list[tuple[Tube, TubeReading]]] = {}
    for tube in with_readings(rows.order_by("part__name", "part_id", "label")):
        reading = last_reading(tube)
        if reading is not None:
            groups.setdefault((tube.part_id, conditions_of(reading)), []).append((tube, reading))
    return [
        Alike(some[0][0].part, conditions, tuple(some))
        for (_, conditions), some in groups.items()
        if len(some) > 1
    ]


def how_matched(tubes: Iterable[Tube]) -> matching.Match | None:
    """How well the tubes of a set go together; None where one was never measured."""
    rows = [(tube, last_reading(tube)) for tube in tubes]
    if not rows or any(reading is None for _, reading in rows):
        return None
    return matching.judge([_measured(tube, reading) for tube, reading in rows if reading is not None])


def name_of_set(size: int) -> str:
    """What a set of so many is called: pair, quad, sextet, else a set of 3."""
    return _OF_SET.get(size, f"set of {size}")


# --- Inside --------------------------------------------------------------------------------------------------


def _measured(tube: Tube, reading: TubeReading) -> matching.Measured:
    return matching.Measured(tube, reading.current, reading.transconductance)


def _keys(tubes: Iterable[Tube]) -> list[int]:
    return [tube.pk for tube in tubes]


def _hold(tubes: Iterable[Tube]) -> list[Tube]:
    """The tubes as they are now, held; all of them here."""
    wanted = set(_keys(tubes))
    rows = Tube.objects.select_for_update(of=("self",)).select_related("part", "set").filter(pk__in=wanted)
    held = list(rows.order_by("pk"))
    for tube in held:
        if tube.gone_at is not None:
            raise NotAllowedYet(f"{tube.label} isn’t here any more.")
    if len(held) != len(wanted):
        raise NotAllowedYet("One of these tubes isn’t on the list. Load the page again, then choose.")
    return held


def _single(tube: Tube) -> Tube:
    """A tube that may go alone, held; its part first, as the ledger's own verbs do, so that nobody waits crosswise."""
    stock.hold(tube.part)
    held = _hold([tube])[0]
    if held.set_id is not None:
        raise NotAllowedYet(f"{held.label} is in set {held.set.label}. Take the set apart, or use it as one.")
    return held


def _hold_set(tube_set: TubeSet, *, apart_too: bool = False) -> TubeSet:
    """A set that is here, held; its part first."""
    stock.hold(tube_set.part)
    rows = TubeSet.objects.select_for_update(of=("self",)).select_related("part")
    held = rows.get(pk=tube_set.pk)
    if held.gone_at is not None:
        raise NotAllowedYet(f"Set {held.label} isn’t here any more.")
    if held.taken_apart_at is not None and not apart_too:
        raise NotAllowedYet(f"Set {held.label} was taken apart.")
    return held


def _next_label(model: type[Tube] | type[TubeSet], letter: str) -> str:
    """The next free label. The shop's row is held, so that two tablets don't take the same."""
    Shop.objects.select_for_update().first()
    taken = (
        model.objects.filter(label__regex=rf"^{letter}-[0-9]+$")
        .order_by("-pk")
        .values_list("label", flat=True)
    )
    last = max((int(label.split("-")[1]) for label in taken[:50]), default=0)
    return f"{letter}-{last + 1:04d}"
