"""No repaired unit is ready before it was measured after the repair: common practice, no source."""

import pytest

from calc import gates, readings
from intake.models import State
from tests.factories import JobFactory, ReadingFactory


@pytest.mark.parametrize(("when", "opens"), [("after", True), ("before", False)])
def test_a_reading_after_the_repair_opens_the_gate(bench, when, opens):
    job = JobFactory(state=State.SOAK_TEST)
    ReadingFactory(job=job, when=when, by=bench)
    assert (gates.tested_after_repair(job, State.READY, bench) is None) == opens


def test_a_struck_reading_opens_nothing(bench):
    job = JobFactory(state=State.SOAK_TEST)
    reading = ReadingFactory(job=job, by=bench)
    readings.strike(reading, by=bench)
    assert gates.tested_after_repair(job, State.READY, bench)
    readings.put_back(reading, by=bench)
    assert gates.tested_after_repair(job, State.READY, bench) is None


def test_what_goes_home_as_it_is_needs_no_reading(bench):
    job = JobFactory(state=State.GOING_HOME_AS_IS, declined=True)
    assert gates.tested_after_repair(job, State.READY, bench) is None


@pytest.mark.parametrize("to", [state for state in State if state != State.READY])
def test_no_other_move_is_kept_back(bench, to):
    assert gates.tested_after_repair(JobFactory(), to, bench) is None


def test_the_gate_is_plugged_in():
    from shop import sockets

    assert "tested after the repair" in sockets.gates
