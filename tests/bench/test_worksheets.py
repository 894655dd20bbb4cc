"""How long the worksheets take: ours beside ngspice's on the same netlists, and each page's answer at the server.

Printed at the end, to be read. A solution of ours is timed in this process; ngspice is timed as it is used, from its
start to its end, and so is its start alone, which a netlist of nothing takes. The ceilings are generous.
"""

import statistics
import time
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from django.urls import reverse

from calc.engine import gain_stage, supply
from calc.worksheets import all_sheets
from tests.calc import spice, supplies
from tests.calc.engine import test_gain_stage as stages
from tests.calc.examples import example

ROUNDS = 15
PROMISE = 100  # ms at the server, for a worksheet's answer
NOTHING = "nothing\nV1 a 0 1\nR1 a 0 1k\n.op\n"

pytestmark = pytest.mark.bench


def median(work: Callable[[], Any], rounds: int = ROUNDS) -> float:
    """The median time of some work in ms, once it is warm."""
    work()
    took = []
    for _ in range(rounds):
        began = time.perf_counter()
        work()
        took.append((time.perf_counter() - began) * 1000)
    return statistics.median(took)


def in_ngspice(netlist: str, rounds: int = 3) -> float:
    """The median time of ngspice on a netlist in ms."""
    return statistics.median(spice.timed(netlist)[1] * 1000 for _ in range(rounds))


def pairs() -> Iterator[tuple[str, Callable[[], Any], str]]:
    """A circuit's name, how we solve it, and the netlist that asks ngspice for the same."""
    for case in supplies.CASES:
        yield f"supply: {case.name}", lambda case=case: supply.solve(case.supply), supplies.netlist(case)
    for name, stage in stages.STAGES.items():

        def solve(stage: gain_stage.Stage = stage) -> None:
            gain_stage.operating_point(stage)
            whole, output = gain_stage.network(stage)
            whole.gain(output, [1000.0])

        yield f"gain stage: {name}", solve, stages.netlist(stage, ".ac lin 1 1k 1k")


def test_ours_is_shorter_than_ngspice(capsys: pytest.CaptureFixture[str]) -> None:
    rows = [(name, median(solve), in_ngspice(netlist)) for name, solve, netlist in pairs()]
    start = in_ngspice(NOTHING)
    with capsys.disabled():
        print(f"\n\nMedians. Of ngspice's time, its start alone takes {start:.0f} ms\n")
        print(f"{'circuit':64}{'ours, ms':>10}{'ngspice, ms':>13}{'shorter':>9}")
        for name, ours, theirs in rows:
            print(f"{name:64}{ours:10.1f}{theirs:13.1f}{theirs / ours:8.0f}×")
    assert statistics.median(theirs / ours for _, ours, theirs in rows) > 1
    for name, ours, theirs in rows:
        assert ours < theirs * 2, name  # a busy machine may upset one


@pytest.mark.django_db
def test_every_worksheet_answers_as_fast_as_it_promises(
    as_bench: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    rows = []
    for sheet in all_sheets():
        typed, address = example(sheet.slug), reverse("worksheet-answer", args=[sheet.slug])

        def ask(typed: dict[str, str] = typed, address: str = address) -> Any:
            return as_bench.get(address, typed, headers={"HX-Request": "true"})

        response = ask()
        assert response.status_code == 200, sheet.slug
        answered = response.context["answer"]
        assert answered is not None, (sheet.slug, response.context["found"])
        rows.append(
            (sheet.title, median(lambda typed=typed, sheet=sheet: _computed(sheet, typed)), median(ask))
        )
    with capsys.disabled():
        print(f"\n\nMedians of {ROUNDS} answers; the promise is {PROMISE} ms at the server\n")
        print(f"{'worksheet':40}{'computed, ms':>14}{'the page, ms':>14}")
        for title, computed, page in rows:
            print(f"{title:40}{computed:14.1f}{page:14.1f}")
    for title, _, page in rows:
        assert page < 3 * PROMISE, title


def _computed(sheet: Any, typed: dict[str, str]) -> None:
    from calc.worksheets.sheet import answer

    answer(sheet, typed)
