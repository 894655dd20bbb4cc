"""The periodic steady state of a linear network that is fed through rectifiers, in the time domain. SI floats.

The network (resistors, capacitors, inductors) is exact: x' = A·x + B·u is stepped with the matrix exponential for
inputs that run straight from one sample to the next. What remains is one equation a sample, the rectifier's law
i = g(w − v), for all samples of the period at once, where v is the network's answer to the whole periodic i. Newton's
method solves it; only the samples near conduction are unknowns. So the answer is the steady state itself: nothing is
run in until it seems to stand still.

Source of the idea: T. J. Aprille and T. N. Trick, "Steady-state analysis of nonlinear circuits with periodic inputs",
Proc. IEEE 60(1), 1972; of the discretisation: C. F. Van Loan, "Computing integrals involving the matrix exponential",
IEEE Trans. Automatic Control 23(3), 1978. Both from memory.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from calc.engine.errors import CircuitError

if TYPE_CHECKING:
    import numpy as np

    Law = Callable[[np.ndarray], tuple[np.ndarray, np.ndarray]]

THERMAL_VOLTS = 0.02586486  # kT/q at 27 °C, the temperature that simulators compute at
MOST_ROUNDS = 60
_CLOSE = 1e-7  # of the peak current: when the rectifier's law holds at every sample
_FLAT = 1e-13  # S: a rectifier with less slope than this is off
_NOWHERE = "No steady state was found for this supply. Check the values: is the first capacitor too small for the load?"


def silicon(saturation: float, emission: float, resistance: float) -> Law:
    """The law of a diode (exponential) in series with a resistance, as current and slope at so many volts.

    `saturation` in amperes, `emission` the ideality factor (times the number of diodes in series), `resistance` in
    ohms with the diode's own and the winding's. Solved with Wright's omega function, so that it never overflows.
    """
    import numpy as np

    volts = emission * THERMAL_VOLTS
    start = math.log(saturation * resistance / volts) + saturation * resistance / volts

    def law(across: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        omega = wright_omega(np.asarray(across) / volts + start)
        return volts / resistance * omega - saturation, omega / (1 + omega) / resistance

    return law


def wright_omega(z: np.ndarray) -> np.ndarray:
    """Return ω with ω + ln ω = z, for real z.

    Newton's method on ln ω, from above on a convex curve. SciPy has it too, and takes a fifth of a second to load.
    """
    import numpy as np

    log = np.minimum(z, np.log(np.maximum(z, 1.0)))
    for _ in range(6):
        omega = np.exp(log)
        log = log - (omega + log - z) / (omega + 1)
    return np.exp(log)


def tube(perveance: float, resistance: float) -> Law:
    """The law of a rectifier tube, I = K·V^1.5, in series with a resistance, as current and slope at so many volts.

    `perveance` in A/V^1.5, `resistance` in ohms. With y = I^(1/3) it is the cubic R·y³ + K^(-2/3)·y² = V.
    """
    import numpy as np

    drop = perveance ** (-2 / 3)

    def law(across: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        volts = np.maximum(across, 0.0)
        y = np.minimum(np.cbrt(volts / resistance), np.sqrt(volts / drop))
        for _ in range(8):  # from above on a convex curve: at most a handful
            slope = 3 * resistance * y * y + 2 * drop * y
            y = y - np.where(
                slope > 0, ((resistance * y + drop) * y * y - volts) / np.maximum(slope, 1e-300), 0
            )
        y = np.maximum(y, 0.0)
        return y**3, 3 * y / (3 * resistance * y + 2 * drop)

    return law


@dataclass(frozen=True)
class Network:
    """x' = A·x + B·u and y = C·x + D·u: states are capacitor volts and inductor amperes, y what is looked at."""

    a: np.ndarray
    b: np.ndarray
    c: np.ndarray
    d: np.ndarray

    def at_rest(self, inputs: np.ndarray) -> np.ndarray:
        """What is looked at when constant inputs have flowed for ever."""
        return self.c @ solved(self.a, -self.b @ inputs) + self.d @ inputs


def answer(answers: np.ndarray, inputs: np.ndarray) -> np.ndarray:
    """What is looked at over a period, by `answers` of `periodic`, for inputs (input, sample) over a period."""
    import numpy as np

    spectrum = np.einsum("yik,ik->yk", np.fft.rfft(answers), np.fft.rfft(inputs))
    return np.fft.irfft(spectrum, inputs.shape[1])


def solved(matrix: np.ndarray, right: np.ndarray) -> np.ndarray:
    """Solve linear equations. Raises `CircuitError` where they have no one solution."""
    import numpy as np

    try:
        return np.linalg.solve(matrix, right)
    except np.linalg.LinAlgError:
        raise CircuitError(_NOWHERE) from None


def exponential(matrix: np.ndarray) -> np.ndarray:
    """e to a square matrix: Taylor's series of a small part of it, squared up again."""
    import numpy as np

    size = float(np.abs(matrix).sum(axis=0).max())
    if not math.isfinite(size):
        raise CircuitError(_NOWHERE)
    halvings = max(0, math.ceil(math.log2(max(size, 1e-300))) + 2)
    part = matrix / 2.0**halvings
    unity = np.eye(len(matrix))
    total = unity + part / 13
    for n in range(12, 0, -1):
        total = unity + part @ total / n
    for _ in range(halvings):
        total = total @ total
    return total


def periodic(network: Network, step: float, samples: int) -> np.ndarray:
    """A network's periodic answers to an impulse at the first of `samples` (a power of two) steps of `step` seconds.

    By what is looked at, input and sample.
    """
    import numpy as np

    states, inputs = network.b.shape
    big = np.zeros((states + 2 * inputs,) * 2)
    big[:states, :states] = network.a * step
    big[:states, states : states + inputs] = network.b * step
    big[states : states + inputs, states + inputs :] = np.eye(inputs)
    stepped = exponential(big)
    power, held, ramp = np.split(stepped[:states], (states, states + inputs), axis=1)
    row = (power @ ramp + held - ramp)[:, None, :]
    powers = []
    for _ in range(samples.bit_length() - 1):
        powers.append(power)
        power = power @ power
    row[:, 0] = solved(np.eye(states) - power, row[:, 0])  # all the periods before
    for each in powers:
        further = each @ row.reshape(states, -1)
        row = np.concatenate((row, further.reshape(row.shape)), axis=1)
    row = np.roll(row, 1, axis=1)
    row[:, 0] += ramp
    found = (network.c @ row.reshape(states, -1)).reshape(-1, samples, inputs).transpose(0, 2, 1).copy()
    found[:, :, 0] += network.d
    if not np.isfinite(found).all():
        raise CircuitError(_NOWHERE)
    return found


def conduct(
    law: Law, drive: np.ndarray, kernel: np.ndarray, base: np.ndarray, guess: np.ndarray
) -> np.ndarray:
    """The periodic current i (A) with i = law(drive − v) and v = base + kernel ∗ i at every sample.

    `guess` is v to begin with.

    Raises:
        CircuitError: Newton's method did not reach it.
    """
    import numpy as np

    samples = len(drive)
    index = np.arange(samples)
    spectrum = np.fft.rfft(kernel)
    across = drive - guess
    worst, share = math.inf, 1.0
    for _ in range(MOST_ROUNDS):
        current, slope = law(across)
        on = slope > _FLAT
        active = index[on]
        if not len(active):
            across = across + np.abs(drive).max()  # nothing conducts: lift it
            continue
        flows = np.where(on, 0.0, current)
        rest = drive - base - np.fft.irfft(spectrum * np.fft.rfft(flows), samples)
        matrix = kernel[(active[:, None] - active[None, :]) % samples]
        matrix[np.arange(len(active)), np.arange(len(active))] += 1 / slope[on]
        flows[on] = solved(matrix, current[on] / slope[on] - across[on] + rest[on])
        lifted = drive - base - np.fft.irfft(spectrum * np.fft.rfft(flows), samples)
        reached = law(lifted)[0]
        off = float(np.abs(reached - flows).max())
        if not math.isfinite(off):
            break
        if off <= _CLOSE * float(reached.max()) + 1e-15:
            return flows
        share = max(share / 2, 0.1) if off > worst else min(1.0, share * 2)
        worst = off
        across = across + share * (lifted - across)
    raise CircuitError(_NOWHERE)
