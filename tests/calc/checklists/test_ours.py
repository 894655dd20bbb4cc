"""The lists that a shop starts with: whole, with the limits of published sources, for the gear that needs them."""

import math

import pytest

from calc.checklists import Ask, Has, Stage
from calc.checklists.applying import what_it_has
from calc.checklists.lines import GATING, NO_SOURCE
from calc.checklists.ours import OURS
from calc.engine.repair_test import EN_50678
from calc.models import ListLine, ListVersion
from calc.worksheets import by_slug

LINES = [(each.slug, line) for each in OURS.values() for line in each.lines]
each_list = pytest.mark.parametrize("listed", OURS.values(), ids=OURS)

BEFORE = ["before-opening", "before-power", "first-power", "live", "earth"]
MAINS = [*BEFORE, "after-repair", "soak"]
LOW = ["after-repair-low", "soak-low"]


@each_list
def test_a_line_says_what_why_where_from_and_what_next(listed):
    for line in listed.lines:
        for said in (line.text, line.why, line.if_not):
            assert said.endswith("."), said
            assert said[0].isupper(), said
            assert "!" not in said
        assert line.source
        assert not line.source.endswith(".")


@each_list
def test_a_line_fits_into_its_row(listed):
    for line in listed.lines:
        for name in ("key", "text", "why", "source", "if_not", "point"):
            assert len(getattr(line, name)) <= ListLine._meta.get_field(name).max_length, name


@each_list
def test_a_line_does_one_thing_in_one_sentence(listed):
    for line in listed.lines:
        assert line.text.count(". ") == 0
        assert len(line.text) <= 125


@each_list
def test_a_reading_has_its_place_and_unit(listed):
    for line in listed.lines:
        if line.ask is Ask.READING:
            assert line.point
            assert line.unit
        else:
            assert (line.point, line.unit, line.at_least, line.at_most) == ("", "", None, None)


@each_list
def test_a_limit_has_a_published_source(listed):
    for line in listed.lines:
        if line.at_least is not None or line.at_most is not None:
            assert line.source != NO_SOURCE


@each_list
def test_only_what_a_gate_rests_on_is_fixed(listed):
    for line in listed.lines:
        if line.fixed:
            assert listed.stage in GATING


@each_list
def test_a_list_fits_into_its_row(listed):
    for name in ("slug", "name", "said"):
        assert 0 < len(getattr(listed, name)) <= ListVersion._meta.get_field(name).max_length
    assert listed.said.endswith(".")
    assert 3 <= len(listed.lines) <= 12


@pytest.mark.parametrize("stage", Stage)
def test_every_part_of_the_work_has_a_list(stage):
    assert [each for each in OURS.values() if each.stage is stage]


@pytest.mark.parametrize("stage", GATING)
@pytest.mark.parametrize("has", [Has.MAINS, Has.NO_MAINS])
def test_a_gate_rests_on_a_fixed_line_for_all_gear(stage, has):
    if (stage, has) == (Stage.BEFORE_POWER, Has.NO_MAINS):
        return  # nothing can be read under mains power on it
    lists = [each for each in OURS.values() if each.stage is stage and each.needed_by(frozenset({has}))]
    assert any(line.fixed for each in lists for line in each.lines)


@pytest.mark.parametrize(
    ("slug", "keys"),
    [
        ("before-power", ["unplugged", "discharged", "other-sections", "discharged-again", "no-short"]),
        ("after-repair", ["tested", "works"]),
        ("after-repair-low", ["no-mains", "works"]),
        ("soak", ["start", "end"]),
        ("soak-low", ["played"]),
    ],
)
def test_the_gates_rest_on_these_lines(slug, keys):
    assert [line.key for line in OURS[slug].lines if line.fixed] == keys


@pytest.mark.parametrize(
    ("slug", "key", "least", "most", "source"),
    [
        ("before-power", "discharged", None, 50, "29 CFR 1910.333(a)(1): under 50 V to ground"),
        ("before-power", "other-sections", None, 50, "29 CFR 1910.333(a)(1): under 50 V to ground"),
        ("before-power", "discharged-again", None, 50, "29 CFR 1910.333(a)(1): under 50 V to ground"),
        ("tape-motor", "run-capacitor", None, 50, "29 CFR 1910.333(a)(1): under 50 V to ground"),
        ("earth", "bond", None, 0.3, "EN 50678:2020, clause 5.3: 0.3 Ω up to 5 m of cord, up to 1.5 mm²"),
        ("first-power", "heaters", 0.9 * 6.3, 1.1 * 6.3, "tube manuals: 6.3 V ± 10 %, from memory"),
    ],
)
def test_a_limit_is_that_of_its_source(slug, key, least, most, source):
    line = OURS[slug].line(key)
    assert line.at_least == (least if least is None else pytest.approx(least))
    assert line.at_most == pytest.approx(most)
    assert source.split(":")[0].split(",")[0].lower() in line.source.lower().replace(
        "makers’ manuals", "manuals"
    )


def test_the_earth_limit_is_that_of_the_electrical_test():
    assert OURS["earth"].line("bond").at_most == EN_50678.earth.m_as("ohm")


def test_every_limit_of_ours_is_in_the_table_above():
    limited = {(slug, line.key) for slug, line in LINES if line.limit and not line.drift_of}
    table = test_a_limit_is_that_of_its_source.pytestmark[0].args[1]
    assert limited == {row[:2] for row in table}


@pytest.mark.parametrize(
    ("volts", "hertz", "milliamperes"),
    [(120, 60, "2.1 mA"), (240, 50, "3.5 mA")],
)
def test_what_a_line_to_chassis_capacitor_lets_through_is_computed(volts, hertz, milliamperes):
    """I = 2πfCV; over the 0.5 mA of touch current of EN 50678:2020, clause 5.6 (its number from memory)."""
    milli = 2 * math.pi * hertz * 47e-9 * volts * 1000
    assert f"{milli:.1f} mA" == milliamperes
    assert milliamperes in OURS["earth"].line("line-capacitor").why
    assert milli > EN_50678.touch_current.m_as("mA")


def test_the_supply_is_read_again_a_minute_after_it_was_discharged():
    """Dielectric absorption: 1 to 10 % of the voltage comes back, textbook figure, from memory."""
    line = OURS["before-power"].line("discharged-again")
    assert (line.since, line.wait) == ("discharged", 60)


def test_a_soak_lasts_two_hours_and_may_drift_by_a_tenth():
    """Common practice, no source."""
    line = OURS["soak"].line("end")
    assert (line.since, line.wait, line.drift_of, line.drift) == ("start", 7200, "start", 10)


@each_list
def test_a_reading_on_gear_that_runs_is_taken_under_power(listed):
    for line in listed.lines:
        if line.ask is Ask.READING and listed.slug in ("first-power", "soak"):
            assert line.powered
        if listed.slug in ("before-power", "earth", "tape-motor"):
            assert not line.powered


def test_nothing_asks_for_power_before_the_list_that_clears_it():
    for each in OURS.values():
        if each.stage in (Stage.BEFORE_OPENING, Stage.BEFORE_POWER):
            assert not any(line.powered for line in each.lines)


@each_list
def test_a_worksheet_that_a_line_asks_for_is_there(listed):
    for line in listed.lines:
        if line.ask is Ask.SHEET:
            assert by_slug(line.sheet) is not None


@each_list
def test_a_line_that_a_gate_rests_on_is_for_all_gear(listed):
    """But where a supply has one section, there is no other to measure."""
    for line in listed.lines:
        if line.fixed:
            assert line.may_not_apply is (line.key == "other-sections")


def test_the_lists_stand_in_the_order_of_the_work():
    stages = [list(Stage).index(each.stage) for each in OURS.values()]
    assert stages == sorted(stages)


@pytest.mark.parametrize(
    ("technology", "kind", "protection", "contains", "lists"),
    [
        ("valve", "head", "class-i", (), MAINS),
        ("valve", "combo", "two-wire", (), MAINS),
        ("", "head", "", None, MAINS),
        ("solid state", "combo", "class-i", (), MAINS),
        ("hybrid", "head", "class-i", ("lead-solder",), [*BEFORE, "lead-solder", "after-repair", "soak"]),
        ("solid state", "keyboard", "class-ii", None, [*BEFORE, "lithium", "after-repair", "soak"]),
        ("solid state", "keyboard", "class-iii", ("lithium",), ["lithium", *LOW]),
        ("solid state", "keyboard", "class-i", ("crt",), [*BEFORE, "crt", "after-repair", "soak"]),
        ("valve", "echo", "", None, [*BEFORE, "tape-motor", "after-repair", "soak"]),
        (
            "valve",
            "combo",
            "two-wire",
            ("lamp-opto", "old-materials", "mould"),
            [*BEFORE, "lamp-opto", "old-materials", "mould", "after-repair", "soak"],
        ),
        ("solid state", "combo", "class-iii", ("lead-acid",), ["lead-acid", *LOW]),
        ("passive", "cabinet", "", None, LOW),
        ("solid state", "pedal", "", None, LOW),
    ],
)
def test_gear_needs_these_lists(technology, kind, protection, contains, lists):
    has = what_it_has(technology=technology, kind=kind, protection=protection, contains=contains)
    assert [each.slug for each in OURS.values() if each.needed_by(has)] == lists
