"""How fast this machine is: a promise of milliseconds fails for our code's sake, not for a busy neighbour's."""

import time
from collections.abc import Callable

import numpy as np

USUAL = 0.022  # s: what `_work` takes on the machine whose figures the README gives


def _work() -> None:
    """A fixed piece of work of the kind that ours is: some arithmetic in Python, some sorting of arrays."""
    total = 0
    for number in range(100_000):
        total += number % 7
    values = np.random.default_rng(1).random(100_000)
    np.searchsorted(np.sort(values), values)


def seconds(call: Callable[[], object], tries: int = 5) -> float:
    """The best of some tries, in seconds of the processor as the usual machine would take them.

    A faster machine than usual gets no credit: the promise is to whoever has the usual one.
    """
    taken = []
    for _ in range(tries):
        took, pace = _took(call), _took(_work) / USUAL
        taken.append(took / max(1.0, pace))
    return min(taken)


def _took(call: Callable[[], object]) -> float:
    began = time.process_time()
    call()
    return time.process_time() - began
