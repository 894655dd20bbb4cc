"""Counting rounds: drawer by drawer with the tablet, the differences looked at, then posted.

Whoever counts doesn't see what the ledger says: a number on the screen is easily found in the drawer as well. Parts
come and go between the count and its posting, so what is posted is the difference to what the ledger said when the
count was written down; what was used since stays used.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal

from django.db import transaction
from django.db.models import Count, F, Q, QuerySet
from django.utils import timezone

from inventory import stock
from inventory.models import CountLine, CountRound, Drawer, Move, Part, Tube
from shop.errors import ChangedMeanwhile, NotAllowedYet
from shop.models import Staff

MOST: int = 1_000_000  # pieces in a drawer; beyond it somebody scanned into the wrong box


# --- A round ---------------------------------------------------------------------------------------------


@transaction.atomic
def begin(*, by: Staff, words: str = "") -> CountRound:
    """Begin a round. Several may be open: a part counted in two of them is posted from the first."""
    return CountRound.objects.create(by=by, words=words.strip())


@transaction.atomic
def write_down(
    a_round: CountRound, drawer: Drawer | None, counts: Mapping[Part, int], *, by: Staff
) -> list[CountLine]:
    """Write down what was counted in a drawer (None: what lives in no drawer). Nothing is posted yet.

    A part that was counted before in this round is counted anew: its last count stands.

    Raises:
        NotAllowedYet: the round is over, nothing was counted, or a part isn't counted at all.
    """
    held = _still_open(a_round)
    if not counts:
        raise NotAllowedYet("Write at least one count. A part that isn’t there is counted as 0.")
    kept = []
    for part in _held(counts):
        counted = counts[part]
        if part.is_loose:
            raise NotAllowedYet(f"{part} isn’t counted. Say whether there is plenty of it.")
        if not 0 <= counted <= MOST:
            raise NotAllowedYet(f"{part}: write how many there are, from 0 to {MOST:,}.")
        said = {
            "drawer": drawer,
            "expected": part.quantity,
            "counted": counted,
            "at": timezone.now(),
            "by": by,
        }
        line, _ = CountLine.objects.update_or_create(round=held, part=part, defaults=said)
        kept.append(line)
    CountRound.objects.filter(pk=held.pk).update(revision=F("revision") + 1)
    return kept


@transaction.atomic
def drop(a_round: CountRound, *, by: Staff) -> None:
    """End a round without posting anything. What was counted stays to be read.

    Raises:
        NotAllowedYet: the round is over.
    """
    held = _still_open(a_round)
    held.dropped_at = timezone.now()
    held.save(update_fields=["dropped_at"])


@transaction.atomic
def post(a_round: CountRound, *, by: Staff, revision: int) -> list[Move]:
    """Post every difference of a round to the ledger, all or none. `revision` is of the round as it was looked at.

    Raises:
        ChangedMeanwhile: more was counted since.
        NotAllowedYet: the round is over, nothing was counted, or a part has to be counted again.
    """
    held = _still_open(a_round)
    if held.revision != revision:
        raise ChangedMeanwhile(
            "More was counted meanwhile. Look at the differences once more; then post them.",
            revision=held.revision,
        )
    lines = list(held.lines.order_by("part"))
    if not lines:
        raise NotAllowedYet("Nothing was counted in this round yet.")
    _held(line.part_id for line in lines)
    found = differences(held)
    if again := [each for each in found if each.count_again]:
        raise NotAllowedYet(
            f"Count again first: {', '.join(str(each.line.part) for each in again[:5])}. {again[0].count_again}"
        )
    moves = []
    for each in found:
        if not each.difference:
            continue
        line = each.line
        move = stock.count(line.part, counted=each.will_be, by=by, words=f"count round: {held}"[:300])
        line.move = move
        line.save(update_fields=["move"])
        moves.append(move)
    held.posted_at = timezone.now()
    held.save(update_fields=["posted_at"])
    return moves


def _still_open(a_round: CountRound) -> CountRound:
    held = CountRound.objects.select_for_update().get(pk=a_round.pk)
    if held.posted_at or held.dropped_at:
        raise NotAllowedYet("This round is over. Begin a new one to count again.")
    return held


def _held(parts: Iterable[Part | int]) -> list[Part]:
    """The parts as they are now, held for this transaction, always in the same order."""
    keys = [part.pk if isinstance(part, Part) else part for part in parts]
    return list(Part.objects.select_for_update().filter(pk__in=keys).order_by("pk"))


# --- What was found --------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Difference:
    """What was counted of a part against what the ledger said, and what has moved since."""

    line: CountLine
    difference: int  # counted less expected
    since: int  # what came (above zero) and went (below) after the count was written down
    count_again: str  # why this count can't be posted; empty where it can
    labelled: tuple[Tube, ...] = ()  # of which one is gone, where fewer were counted than have labels

    @property
    def will_be(self) -> int:
        """How many the ledger will say."""
        return self.line.counted + self.since

    @property
    def worth(self) -> Decimal:
        """What the difference is worth at cost."""
        return self.difference * self.line.part.cost


def differences(a_round: CountRound) -> list[Difference]:
    """Every count of a round, those that differ first, in a fixed number of queries."""
    lines = list(a_round.lines.select_related("part__drawer", "drawer", "by", "move"))
    is_open = a_round.posted_at is None
    since = _moved_since(lines) if is_open else {}
    tubes = _labelled(lines) if is_open else {}
    found = [_difference(line, since.get(line.pk, []), tubes.get(line.part_id, [])) for line in lines]
    return sorted(found, key=lambda each: (not each.count_again, not each.difference, str(each.line.part)))


def worth_of(found: Iterable[Difference]) -> Decimal:
    """What the differences come to at cost: above zero where there is more than the ledger said."""
    return sum((each.worth for each in found), Decimal(0))


def _difference(line: CountLine, moves: list[Move], here: list[Tube]) -> Difference:
    since = sum(move.quantity for move in moves)
    why = ""
    if any(move.why == Move.Why.COUNTED for move in moves):
        why = "Another count of it was posted since."
    elif any(move.undoes_id for move in moves):
        why = "A move of it was undone since, and nobody can tell whether this count knew."
    elif line.counted + since < 0:
        why = "More of it went since than were counted."
    difference = line.counted - line.expected
    if why or not difference or line.counted + since >= len(here):
        return Difference(line, difference, since, why)
    return Difference(line, difference, since, stock.missing(here, line.counted + since), tuple(here))


def _labelled(lines: list[CountLine]) -> dict[int, list[Tube]]:
    """The pieces of each part that are here under labels of their own."""
    tubes = defaultdict(list)
    for tube in Tube.objects.filter(part__in=[line.part_id for line in lines], gone_at__isnull=True):
        tubes[tube.part_id].append(tube)
    return tubes


def _moved_since(lines: list[CountLine]) -> dict[int, list[Move]]:
    """The moves of each line's part after the count was written down."""
    if not lines:
        return {}
    first = min(line.at for line in lines)
    moves = defaultdict(list)
    for move in Move.objects.filter(part__in=[line.part_id for line in lines], at__gte=first):
        moves[move.part_id].append(move)
    return {line.pk: [move for move in moves[line.part_id] if move.at >= line.at] for line in lines}


# --- Which drawers ---------------------------------------------------------------------------------------


@dataclass(frozen=True)
class DrawerToCount:
    """A drawer in a round: how many kinds of part are in it, how many of them were counted."""

    drawer: Drawer | None  # None: parts that live in no drawer
    parts: int
    counted: int

    @property
    def is_done(self) -> bool:
        return self.counted >= self.parts


def drawers_of(a_round: CountRound) -> list[DrawerToCount]:
    """The drawers that have something to count, by their code; last what lives in no drawer. Three queries."""
    done = dict(
        CountLine.objects.filter(round=a_round, part__in=to_count())
        .order_by()
        .values_list("part__drawer")
        .annotate(many=Count("pk"))
    )
    many = dict(to_count().order_by().values_list("drawer").annotate(many=Count("pk")))
    drawers = list(Drawer.objects.filter(pk__in=[key for key in many if key]).order_by("code"))
    rows = [DrawerToCount(drawer, many[drawer.pk], done.get(drawer.pk, 0)) for drawer in drawers]
    if None in many:
        rows.append(DrawerToCount(None, many[None], done.get(None, 0)))
    return rows


def next_drawer(a_round: CountRound) -> DrawerToCount | None:
    """The first drawer in which something is still to be counted."""
    return next((row for row in drawers_of(a_round) if not row.is_done), None)


def to_count() -> QuerySet[Part]:
    """Parts that a round counts: what is in use, and what the ledger says is still there."""
    return Part.objects.counted().filter(Q(is_in_use=True) | ~Q(quantity=0))


def loose_in(drawer: Drawer | None) -> QuerySet[Part]:
    """What lies in a drawer and isn't counted, only looked at."""
    return Part.objects.in_use().filter(is_loose=True, drawer=drawer)
