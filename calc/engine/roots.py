"""Where a function crosses zero between two ends. Bounded: it never hangs, and says so where there is no such place."""

from collections.abc import Callable

from calc.engine.errors import CircuitError

MOST_STEPS = 200


def crossing(
    function: Callable[[float], float], low: float, high: float, *, relative: float = 1e-12
) -> float:
    """Return x between `low` and `high` where `function` changes its sign.

    Regula falsi with the Illinois weighting, halved whenever it is slow. `relative` is of the larger end.
    Raises `CircuitError` where both ends have the same sign or the function is not finite.
    Source: M. Dowell and P. Jarratt, "A modified regula falsi method", BIT 11, 1971.
    """
    at_low, at_high = function(low), function(high)
    if at_low == 0:
        return low
    if at_high == 0:
        return high
    if not (at_low < 0 < at_high or at_high < 0 < at_low):
        raise CircuitError("No such point can be found. Check the values.")
    enough = relative * max(abs(low), abs(high))
    side = 0
    for step in range(MOST_STEPS):
        width = high - low
        if abs(width) <= enough:
            break
        x = (low * at_high - high * at_low) / (at_high - at_low) if step % 4 != 3 else (low + high) / 2
        if not low < x < high:
            x = (low + high) / 2
        here = function(x)
        if here == 0:
            return x
        if (here < 0) == (at_low < 0):
            low, at_low = x, here
            if side == -1:
                at_high /= 2
            side = -1
        elif (here < 0) == (at_high < 0):
            high, at_high = x, here
            if side == 1:
                at_low /= 2
            side = 1
        else:
            raise CircuitError("No such point can be found. Check the values.")
    return (low + high) / 2
