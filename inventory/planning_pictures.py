"""The pictures of planning: what a sum buys, money asleep, a part's use month by month. Pure; `chart.draw` lays out."""

from collections.abc import Sequence
from decimal import Decimal

from calc.worksheets.chart import Axis, Chart, Curve, Dot, Limit
from inventory.planning import BestUse, Step


def of_best_use(use: BestUse, curve: Sequence[Step], currency: str) -> Chart:
    """Jobs that wait, on average, over the money spent: how fast more money stops to help."""
    points = [(0.0, use.before), *((float(step.spent), step.waiting) for step in curve)]
    return Chart(
        title="What more money would spare",
        words=f"From {use.before:.2f} jobs that wait at any moment to {use.after:.2f} for this sum; "
        f"{points[-1][1]:.2f} for {points[-1][0]:.0f} {currency}.",
        x=Axis("Money spent", currency, least=0),
        y=Axis("Jobs that wait for a part", least=0),
        curves=(Curve("each time the pack that spares the most for its money", tuple(points)),),
        dots=(Dot("this sum", float(use.spent), use.after, "good"),),
    )


def of_sleep(ages: Sequence[tuple[int, Decimal]], currency: str) -> Chart:
    """Money that lies still for so many months or longer. `ages` are months and money, in any order."""
    most = max((months for months, _ in ages), default=0)
    points: list[tuple[float, float]] = []
    for month in range(most + 1):
        money = float(sum((each for months, each in ages if months >= month), Decimal(0)))
        points += [(month, money), (month + 1, money)]
    points.append((most + 1, 0.0))
    total, half_a_year = (
        sum((each for months, each in ages if months >= least), Decimal(0)) for least in (0, 6)
    )
    return Chart(
        title="Money that lies still",
        words=f"{total:.0f} {currency} in the drawers, {half_a_year:.0f} of it not moved for six months or longer.",
        x=Axis("Months without a move, or longer", least=0),
        y=Axis("Money", currency, least=0),
        curves=(Curve("what the parts on the shelf cost", tuple(points)),),
    )


def of_history(history: Sequence[int], a_month: float) -> Chart:
    """Pieces wanted month by month, and what is expected of a month to come."""
    points: list[tuple[float, float]] = []
    for place, pieces in enumerate(history):
        begin = place - len(history)
        points += [(begin, float(pieces)), (begin + 1, float(pieces))]
    return Chart(
        title="Pieces wanted, month by month",
        words=f"{sum(history)} pieces in {len(history)} months of thirty days; {a_month:.2f} expected in the next.",
        x=Axis("Months before today", least=-len(history), most=0),
        y=Axis("Pieces", least=0),
        curves=(Curve("wanted", tuple(points)),),
        limits=(Limit("expected in a month", y=a_month),),
    )
