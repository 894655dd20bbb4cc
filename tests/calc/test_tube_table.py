"""The table of tubes as a page."""

import pytest

from calc.engine.tubes import POWER_TUBES, RECTIFIERS, SIGNAL_TUBES
from calc.tube_table import table

ALL = (*POWER_TUBES, *SIGNAL_TUBES, *RECTIFIERS)


def test_every_tube_stands_in_it_with_its_heater_and_its_source():
    entries = [entry for part in table() for entry in part.entries]
    assert [entry.name for entry in entries] == [tube.name for tube in ALL]
    assert all(dict(entry.facts)["Heater"] and entry.source for entry in entries)


@pytest.mark.parametrize(
    ("text", "found"),
    [("gz34", ["5AR4"]), ("ECC 83", ["12AX7"]), ("6l6", ["6L6GC", "6L6GB", "5881"]), ("nothing", [])],
)
def test_a_tube_is_found_by_any_of_its_names(text, found):
    assert [entry.name for part in table(text) for entry in part.entries] == found


def test_limits_are_shown_with_their_system():
    facts = dict(table("6L6GC")[0].entries[0].facts)
    assert facts["At most, design maximum"] == "plate 500 V, 30.0 W; screen 450 V, 5.00 W"
    assert facts["Pins, from below"].startswith("1 ")


@pytest.mark.django_db
def test_one_tube_is_opened_at_once(as_bench):
    page = as_bench.get("/tube-table/", {"q": "GZ34"}).content.decode()
    assert '<details class="tube" open>' in page
    assert "60.0 µF" in page


@pytest.mark.django_db
def test_typing_answers_with_the_tubes_alone(as_bench):
    part = as_bench.part("/tube-table/?q=el84").content.decode()
    assert "EL84" in part
    assert "<html" not in part
