"""What came of a reading, and how a run stands: limits, ±, drift, waits; what gear has, from what is known of it."""

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calc.checklists import Ask, Checklist, Has, Line, Stage
from calc.checklists.applying import what_it_has
from calc.checklists.judging import Outcome, Signed, how_it_stands, judge_reading
from calc.engine.errors import QuantityError
from calc.engine.quantities import parse_measured, units

BEGAN = dt.datetime(2026, 3, 4, 9, 0, tzinfo=dt.UTC)
UNDER_50 = Line("v", "Measure.", ask=Ask.READING, point="Reservoir", unit="V", at_most=50)
HEATERS = Line("h", "Measure.", ask=Ask.READING, point="Heaters", unit="V", at_least=5.67, at_most=6.93)
SOUND = Line("i", "Measure.", ask=Ask.READING, point="Insulation", unit="ohm", at_least=1e6)
START = Line("start", "Measure.", ask=Ask.READING, point="Supply", unit="V")
END = Line(
    "end",
    "Measure.",
    ask=Ask.READING,
    point="Supply",
    unit="V",
    drift_of="start",
    drift=10,
    since="start",
    wait=7200,
)
AGREED = "conventions of this computation: on the limit passes, a ± that reaches over it is too close to call"


def after(seconds=0):
    return BEGAN + dt.timedelta(seconds=seconds)


def done(seconds=0, value=None):
    return Signed(Outcome.DONE, after(seconds), value)


@pytest.mark.parametrize(
    ("line", "written", "outcome", "source"),
    [
        (UNDER_50, "50", "done", AGREED),
        (UNDER_50, "50.001", "failed", AGREED),
        (UNDER_50, "0", "done", AGREED),
        (UNDER_50, "-50", "done", "a bias supply is as far from ground below it"),
        (UNDER_50, "-300", "failed", "a bias supply is as far from ground below it"),
        (UNDER_50, "49 ± 1", "done", AGREED),
        (UNDER_50, "49.5 ± 1", "close", AGREED),
        (UNDER_50, "50 ± 0.1", "close", AGREED),
        (UNDER_50, "50.5 ± 1", "close", AGREED),
        (UNDER_50, "52 ± 1", "failed", AGREED),
        (UNDER_50, "-49.5 ± 1", "close", AGREED),
        (UNDER_50, "-52 ± 1", "failed", AGREED),
        (UNDER_50, "0 ± 2", "done", AGREED),
        (UNDER_50, "16 mV", "done", "SI prefixes"),
        (UNDER_50, "0.4 kV", "failed", "SI prefixes"),
        (HEATERS, "5.67", "done", AGREED),
        (HEATERS, "5.66", "failed", AGREED),
        (HEATERS, "6.93", "done", AGREED),
        (HEATERS, "6.94", "failed", AGREED),
        (HEATERS, "6.9 ± 0.1", "close", AGREED),
        (HEATERS, "-6.3", "failed", "where there is a lower limit, the sign counts"),
        (SOUND, "1M", "done", AGREED),
        (SOUND, "999k", "failed", AGREED),
        (SOUND, "1.05M ± 10 %", "close", AGREED),
        (SOUND, "2M2", "done", "IEC 60062"),
        (START, "-452", "done", "nothing is asked of it"),
    ],
)
def test_a_reading_is_judged_against_its_limits(line, written, outcome, source):
    assert judge_reading(line, parse_measured(written, line.unit), {})[0] == outcome


@given(st.floats(-2000, 2000), st.floats(0, 100))
def test_no_reading_passes_whose_band_reaches_over_the_limit(value, band):
    reading = parse_measured(f"{value:.6f} ± {band:.6f}", "V")
    outcome, _ = judge_reading(UNDER_50, reading, {})
    size, spread = abs(round(value, 6)), round(band, 6)
    if size + spread > 50.000_001:
        assert outcome is not Outcome.DONE
    if size - spread > 50.000_001:
        assert outcome is Outcome.FAILED
    if size + spread < 49.999_999:
        assert outcome is Outcome.DONE


def test_what_is_no_number_is_refused():
    with pytest.raises(QuantityError):
        judge_reading(UNDER_50, units.Quantity(float("nan"), "V"), {})


@pytest.mark.parametrize(
    ("line", "written", "said"),
    [
        (UNDER_50, "62", "Reservoir: 62 V is not at most 50 V."),
        (UNDER_50, "50 ± 1", "Reservoir: 50 V is too close to call; it must be at most 50 V."),
        (UNDER_50, "50.02", "Reservoir: 50.02 V is not at most 50 V."),
        (UNDER_50, "3.2", "Reservoir: 3.2 V, at most 50 V."),
        (UNDER_50, "-300", "Reservoir: −300 V is not at most 50 V."),
        (HEATERS, "7", "Heaters: 7 V is not at least 5.67 V, at most 6.93 V."),
        (START, "452", "Supply: 452 V."),
    ],
)
def test_the_judgement_is_said_in_a_sentence(line, written, said):
    assert judge_reading(line, parse_measured(written, line.unit), {})[1] == said


@pytest.mark.parametrize(
    ("first", "last", "outcome"),
    [
        (400, "400", "done"),
        (400, "440", "done"),
        (400, "360", "done"),
        (400, "440.1", "failed"),
        (400, "359.9", "failed"),
        (-40, "-44", "done"),
        (-40, "-45", "failed"),
        (-5, "5", "failed"),
        (0, "0", "done"),
        (0, "0.1", "failed"),
        (0.3, "0.33", "done"),
    ],
)
def test_a_drift_is_judged_in_per_cent_of_the_first_reading(first, last, outcome):
    assert judge_reading(END, parse_measured(last, "V"), {"start": done(value=first)})[0] == outcome


@given(st.floats(0.1, 1000), st.floats(-50, 50))
def test_a_drift_fails_beyond_its_limit_up_or_down(first, percent):
    last = units.Quantity(first * (1 + percent / 100), "V")
    outcome, _ = judge_reading(END, last, {"start": done(value=first)})
    if abs(percent) > 10.000_1:
        assert outcome is Outcome.FAILED
    if abs(percent) < 9.999_9:
        assert outcome is Outcome.DONE


def test_a_drift_says_both_readings():
    said = judge_reading(END, parse_measured("470", "V"), {"start": done(value=400)})[1]
    assert said == "Supply: 400 V at the start, 470 V at the end. It drifted by more than 10 %."


LISTED = Checklist(
    "soak", "Soak", "", Stage.SOAK, (Line("load", "Load it."), START, END, Line("loose", "Shake it."))
)


@pytest.mark.parametrize(
    ("signed", "next_line", "stopped", "closed"),
    [
        ({}, "load", False, 0),
        ({"load": done()}, "start", False, 1),
        ({"load": Signed(Outcome.NOT_HERE, BEGAN)}, "start", False, 1),
        ({"load": Signed(Outcome.FAILED, BEGAN)}, "load", True, 0),
        ({"load": Signed(Outcome.CLOSE, BEGAN)}, "load", True, 0),
        ({"start": done(), "end": done(9000), "loose": done(9000)}, "load", False, 0),
        ({"load": done(), "start": done(60), "end": done(7300), "loose": done(7400)}, None, False, 4),
        ({"load": done(), "start": done(60), "end": done(7300)}, "loose", False, 3),
    ],
)
def test_a_run_stands_at_its_first_open_line(signed, next_line, stopped, closed):
    stand = how_it_stands(LISTED, signed, began=BEGAN)
    assert (stand.next.key if stand.next else None, stand.closed, stand.of) == (next_line, closed, 4)
    assert stand.all_closed is (next_line is None)
    assert (stand.stopped_by is not None) is stopped


def test_what_is_compared_with_a_reading_that_was_taken_again_counts_no_more():
    signed = {"load": done(), "start": done(7400, 400), "end": done(7300, 400), "loose": done(7350)}
    stand = how_it_stands(LISTED, signed, began=BEGAN)
    assert (stand.next, stand.stopped_by, stand.wait_until) == (END, None, after(7400 + 7200))


def test_a_line_waits_from_the_line_that_it_names():
    signed = {"load": done(), "start": done(60)}
    assert how_it_stands(LISTED, signed, began=BEGAN).wait_until == after(60 + 7200)


def test_a_line_that_names_none_waits_from_the_beginning():
    played = Checklist("soak-low", "Trying out", "", Stage.SOAK, (Line("played", "Play it.", wait=600),))
    assert how_it_stands(played, {}, began=BEGAN).wait_until == after(600)


def test_a_line_without_a_wait_may_be_signed_at_once():
    assert how_it_stands(LISTED, {}, began=BEGAN).wait_until is None


@given(
    st.dictionaries(
        st.sampled_from(["load", "start", "end", "loose"]),
        st.builds(Signed, st.sampled_from(Outcome), st.integers(0, 9000).map(after), st.just(400.0)),
    )
)
def test_all_is_closed_only_where_every_line_is(signed):
    stand = how_it_stands(LISTED, signed, began=BEGAN)
    good = {key for key, last in signed.items() if last.outcome in (Outcome.DONE, Outcome.NOT_HERE)}
    if stand.all_closed:
        assert good == {line.key for line in LISTED.lines}
        assert signed["end"].at >= signed["start"].at
    else:
        assert stand.closed < stand.of
        assert {line.key for line in LISTED.lines[: stand.closed]} <= good


# --- What gear has -------------------------------------------------------------------------------------------

UNKNOWN = {Has.MAINS, Has.EARTHED, Has.TWO_WIRE, Has.VALVES}


@pytest.mark.parametrize(
    ("technology", "kind", "protection", "has"),
    [
        ("", "head", "", UNKNOWN),
        ("valve", "head", "class-i", {Has.MAINS, Has.EARTHED, Has.VALVES}),
        ("valve", "head", "two-wire", {Has.MAINS, Has.TWO_WIRE, Has.VALVES}),
        ("solid state", "combo", "class-i", {Has.MAINS, Has.EARTHED, Has.SOLID_STATE}),
        ("solid state", "keyboard", "class-ii", {Has.MAINS, Has.CLASS_II, Has.SOLID_STATE, Has.LITHIUM}),
        ("solid state", "keyboard", "class-iii", {Has.NO_MAINS, Has.SOLID_STATE, Has.LITHIUM}),
        ("hybrid", "head", "class-i", {Has.MAINS, Has.EARTHED, Has.VALVES, Has.SOLID_STATE}),
        ("valve", "echo", "", UNKNOWN | {Has.TAPE_MOTOR}),
        ("passive", "cabinet", "", {Has.NO_MAINS}),
        ("", "cabinet", "", {Has.NO_MAINS}),
        ("solid state", "cabinet", "class-i", {Has.MAINS, Has.EARTHED, Has.SOLID_STATE}),
        ("", "pedal", "", {Has.NO_MAINS}),
        ("valve", "pedal", "class-i", {Has.MAINS, Has.EARTHED, Has.VALVES}),
    ],
)
def test_what_gear_has_follows_from_what_is_known_of_it(technology, kind, protection, has):
    found = what_it_has(technology=technology, kind=kind, protection=protection, contains=None)
    assert found == has


def test_what_somebody_ticked_takes_the_place_of_a_guess():
    looked = what_it_has(technology="solid state", kind="keyboard", protection="class-ii", contains=["mould"])
    assert looked == {Has.MAINS, Has.CLASS_II, Has.SOLID_STATE, Has.MOULD}


@given(
    st.sampled_from(["valve", "solid state", "hybrid", "passive", ""]),
    st.sampled_from(["head", "combo", "cabinet", "effect", "echo", "keyboard", "pedal", "other"]),
    st.sampled_from(["class-i", "class-ii", "class-iii", "two-wire", ""]),
)
def test_gear_has_mains_or_none_and_never_both(technology, kind, protection):
    has = what_it_has(technology=technology, kind=kind, protection=protection, contains=())
    assert (Has.MAINS in has) is (Has.NO_MAINS not in has)
