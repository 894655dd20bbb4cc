"""The statistics that reports name. Pure.

- The *median*: half of the values lie below it, half above; of an even number, the middle of the middle two.
- The *quartiles*: a quarter of the values lie below the lower one, a quarter above the upper one. They are
  interpolated on n - 1 intervals, so that the least and the greatest value are the ends (type 7 in Hyndman and
  Fan, "Sample Quantiles in Statistical Packages", The American Statistician 50, 1996; the type numbers from
  memory). It is what `statistics.quantiles` calls inclusive.
"""

import statistics
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction


@dataclass(frozen=True)
class Spread:
    """Where the middle half of the values lies."""

    count: int
    lower: float
    median: float
    upper: float


def spread(values: Sequence[float]) -> Spread | None:
    """Return the median and the quartiles; None of nothing. Of one value, all three are that value."""
    if not values:
        return None
    if len(values) == 1:
        return Spread(1, values[0], values[0], values[0])
    lower, middle, upper = statistics.quantiles(values, n=4, method="inclusive")
    return Spread(len(values), lower, middle, upper)


def percent(part: Decimal | int, whole: Decimal | int, places: int = 1) -> Decimal | None:
    """Return how many per cent a part is of the whole, half up; None of nothing."""
    if not whole:
        return None
    scaled = Fraction(part) * 100 / Fraction(whole) * 10**places
    rounded = int(abs(scaled) + Fraction(1, 2)) * (1 if scaled >= 0 else -1)
    return Decimal(rounded).scaleb(-places)


def hours(minutes: int) -> Decimal:
    """Return minutes as hours with two decimals, half up."""
    return (Decimal(minutes) / 60).quantize(Decimal("0.01"), rounding="ROUND_HALF_UP")
