"""Where a function crosses zero between two ends. Bounded: it never hangs, and says so where there is no such place."""

import math
from collections.abc import Callable

from calc.engine.errors import CircuitError

MOST_STEPS = 200


def crossing(
    function: Callable[[float], float], low: float, high: float, *, relative: float = 1e-12
) -> float:
    """Return x between `low` and `high` where `function` changes its sign, to `relative` of the larger end.

    Raises `CircuitError` where both ends have the same sign or the function is not a number.
    Source: T. R. Chandrupatla, "A new hybrid quadratic/bisection algorithm for finding the zero of a nonlinear
    function without using derivatives", Advances in Engineering Software 28(3), 1997, 145-149.
    """
    x1, x2 = high, low
    f1, f2 = function(x1), function(x2)
    if f1 == 0 or f2 == 0:
        return x1 if f1 == 0 else x2
    if not (f1 < 0 < f2 or f2 < 0 < f1):
        raise CircuitError("No such point can be found. Check the values.")
    enough = relative * max(abs(low), abs(high))
    share = 0.5
    for _ in range(MOST_STEPS):
        x = x1 + share * (x2 - x1)
        f = function(x)
        if math.isnan(f):
            raise CircuitError("No such point can be found. Check the values.")
        if (f < 0) == (f1 < 0):
            x3, f3 = x1, f1
        else:
            x3, f3, x2, f2 = x2, f2, x1, f1
        x1, f1 = x, f
        width = abs(x2 - x1)
        best, at_best = (x1, f1) if abs(f1) < abs(f2) else (x2, f2)
        if at_best == 0 or width <= 2 * enough:
            return best
        # inverse quadratic interpolation where the three points allow it, else halving
        xi, phi = (x1 - x2) / (x3 - x2), (f1 - f2) / (f3 - f2)
        if phi * phi < xi and (1 - phi) ** 2 < 1 - xi:
            share = f1 / (f2 - f1) * f3 / (f2 - f3) + (x3 - x1) / (x2 - x1) * f1 / (f3 - f1) * f2 / (f3 - f2)
        else:
            share = 0.5
        least = enough / width
        share = min(max(share, least), 1 - least)
    return x1
