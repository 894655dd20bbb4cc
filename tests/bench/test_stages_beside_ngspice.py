"""How long a gain stage takes us, beside ngspice on the same netlist. Printed, to be read.

ngspice's time has its start in it, as somebody who asks it has to wait for that too.
"""

import statistics
import time

import pytest

from calc.engine.gain_stage import network, operating_point
from tests.calc import spice
from tests.calc.engine.test_gain_stage import STAGES, netlist

ROUNDS = 5
FREQUENCIES = 81

pytestmark = pytest.mark.bench


def test_a_stage_is_solved_sooner_than_ngspice_solves_it(capsys):
    ours, theirs, lines = [], [], []
    for name, stage in STAGES.items():
        mine, its = [], []
        for _ in range(ROUNDS):
            began = time.perf_counter()
            operating_point(stage)
            whole, output = network(stage)
            whole.gain(output, [10 ** (1 + n / 20) for n in range(FREQUENCIES)])
            mine.append(time.perf_counter() - began)
            its.append(spice.timed(netlist(stage, ".op\n.ac dec 20 10 100k"))[1])
        ours.append(statistics.median(mine))
        theirs.append(statistics.median(its))
        lines.append(f"{name:28} {ours[-1] * 1e3:7.2f} ms  ngspice {theirs[-1] * 1e3:7.2f} ms")
    with capsys.disabled():
        print("\nGain stages, operating point and 81 frequencies", *lines, sep="\n")
    assert sum(ours) < sum(theirs)
