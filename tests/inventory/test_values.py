"""Values of parts: read as people write them, found the same way."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calc.engine.errors import QuantityError
from calc.engine.eseries import SERIES
from inventory import values
from inventory.models import Kind, Part
from tests.factories import PartFactory

# What the pieces mean: letter codes by IEC 60062; RETMA and JEDEC types as printed on the parts.
WRITTEN = [
    ("22u 450V axial", None, {"kind": "capacitor", "value": 22e-6, "volts": 450, "leads": "axial"}),
    ("22 uF 450 V axial", None, {"kind": "capacitor", "value": 22e-6, "volts": 450, "leads": "axial"}),
    ("22u/450V", None, {"kind": "capacitor", "value": 22e-6, "volts": 450}),
    ("22µ 450V 105°C", None, {"kind": "capacitor", "value": 22e-6, "volts": 450, "hottest": 105}),
    (".022uF 600V film", None, {"kind": "capacitor", "value": 22e-9, "volts": 600, "technology": "film"}),
    ("1M 1/2W", None, {"kind": "resistor", "value": 1e6, "watts": 0.5}),
    ("1M 1/2", "resistor", {"kind": "resistor", "value": 1e6, "watts": 0.5}),
    ("0R22 5W wirewound", None, {"kind": "resistor", "value": 0.22, "watts": 5, "technology": "wire-wound"}),
    ("R22", "resistor", {"kind": "resistor", "value": 0.22}),
    ("470", "resistor", {"kind": "resistor", "value": 470}),
    ("4k7 ±10%", None, {"kind": "resistor", "value": 4700, "tolerance": 10}),
    ("4K7K 1W", None, {"kind": "resistor", "value": 4700, "watts": 1}),  # the last K is its tolerance
    ("6V6GT", None, {"kind": "tube", "designation": "6V6GT"}),
    ("A500k pot", None, {"kind": "pot", "value": 500e3, "taper": "A"}),
    ("500k log split shaft", None, {"kind": "pot", "value": 500e3, "taper": "audio", "shaft": "split"}),
    ("12AX7", None, {"kind": "tube", "designation": "12AX7"}),
    ("EL-34", None, {"kind": "tube", "designation": "EL34"}),
    ("2A3", "tube", {"kind": "tube", "designation": "2A3"}),
    ("1N4007", None, {"kind": "diode", "designation": "1N4007"}),
    ("1N4742A", None, {"kind": "zener", "designation": "1N4742A"}),  # 12 V, 1 W; from memory of the sheet
    ("5V6 zener", None, {"kind": "zener", "volts": 5.6}),
    ("2N3904", None, {"kind": "transistor", "designation": "2N3904"}),
    ("T500mA 250V", None, {"kind": "fuse", "value": 0.5, "volts": 250, "technology": "time-lag"}),
    ("3.15", "fuse", {"kind": "fuse", "value": 3.15}),
    ("8 ohm 50W speaker", None, {"kind": "speaker", "impedance": 8, "watts": 50}),
    ("10H choke", None, {"kind": "transformer", "value": 10}),
    ("tube socket, chassis", None, {"kind": "socket", "leads": "chassis"}),
    ("M4 screw", None, {"kind": "hardware"}),
    ("spray can", "consumable", {"kind": "consumable"}),
]


@pytest.mark.parametrize(("text", "kind", "facts"), WRITTEN)
def test_what_is_written_is_read(text, kind, facts):
    assert values.read_part(text, kind).facts == pytest.approx(facts)


def test_what_is_not_understood_stays_a_word():
    read = values.read_part("20u+20u 500V can")
    assert (read.kind, read.volts, read.value, read.words) == ("capacitor", 500, None, ("20u+20u",))


@pytest.mark.parametrize("text", ["450V 500V", "1,000uF", "1k 1/2W 2W"])
def test_what_says_two_things_is_refused(text):
    with pytest.raises(QuantityError, match="Write"):
        values.read_part(text)


@given(
    st.sampled_from(SERIES["E96"]),
    st.integers(-14, 4),
    st.sampled_from([("F", "capacitor"), ("ohm", "resistor")]),
)
def test_what_is_said_of_a_value_is_read_as_that_value(figures, power, unit_and_kind):
    unit, kind = unit_and_kind
    number = float(f"{figures}e{power}") if unit == "F" else float(f"{figures}e{power // 4}")
    assert values.read_part(values.in_words(number, unit), kind).value == pytest.approx(number, rel=1e-9)


@given(st.text(max_size=40))
def test_no_text_breaks_the_reading(text):
    for read in (values.read_part, values.read_search):
        try:
            read(text)
        except QuantityError as why:
            assert re.search(r"[.!?]$", str(why))


# --- Looking -------------------------------------------------------------------------------------------------

NAMES = [
    "22u 450V axial electrolytic",
    "22u 500V radial electrolytic",
    "20u 450V axial",
    "24uF 475V axial",
    "100u 50V radial",
    "22n 630V film",
    "1M 1/2W carbon film",
    "1M 2W metal film",
    "1M linear pot",
    "1k5 5W wire-wound",
    "12AX7",
    "ECC83 low noise",
    "EL34",
    "8 ohm 50W speaker",
    "T2A 250V fuse",
    "M4 screws",
]


def made(name: str, **facts) -> Part:
    part = PartFactory.build(name=name, **{"kind": Kind.OTHER, **values.read_part(name).facts, **facts})
    part.save()
    return part


@pytest.fixture
def shelf(db):
    for name in NAMES:
        made(name)


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("22u 450v", {"22u 450V axial electrolytic"}),
        (">=450V 20-24uF axial", {"22u 450V axial electrolytic", "20u 450V axial", "24uF 475V axial"}),
        (">= 475 V", {"22u 500V radial electrolytic", "24uF 475V axial", "22n 630V film"}),
        ("22u ±10%", {"22u 450V axial electrolytic", "22u 500V radial electrolytic", "20u 450V axial",
                      "24uF 475V axial"}),
        ("22000p", {"22n 630V film"}),
        ("1M 1/2W", {"1M 1/2W carbon film"}),
        ("1M", {"1M 1/2W carbon film", "1M 2W metal film", "1M linear pot"}),
        ("1M pot", {"1M linear pot"}),
        ("1k-2k wirewound", {"1k5 5W wire-wound"}),
        ("1500 ohm", {"1k5 5W wire-wound"}),
        ("<=1A", set()),
        ("2A", {"T2A 250V fuse"}),
        ("8 ohm", {"8 ohm 50W speaker"}),
        ("ecc83", {"12AX7", "ECC83 low noise"}),  # two names of one tube: RETMA and Pro-Electron
        ("el", {"EL34", "22u 450V axial electrolytic", "22u 500V radial electrolytic"}),
        ("screw", {"M4 screws"}),
        ("m4", {"M4 screws"}),
        ("20uF axial 450V", {"20u 450V axial"}),
        ("axial >400V <460V", {"22u 450V axial electrolytic", "20u 450V axial"}),
    ],
)  # fmt: skip
def test_parts_are_found_as_they_are_written(shelf, text, found):
    assert {part.name for part in values.find(values.read_search(text), 20)} == found


def test_what_is_out_of_use_is_not_found(shelf):
    made("33u 450V axial", is_in_use=False)
    assert not values.find(values.read_search("33u"), 20)


def test_a_range_the_wrong_way_round_says_so():
    with pytest.raises(QuantityError, match="smaller value first"):
        values.read_search("24-20uF")


@pytest.mark.parametrize("text", ["", "   ", "±", "±5%"])
def test_nothing_asked_finds_nothing(shelf, text):
    wanted = values.read_search(text)
    assert wanted.is_empty
    assert not values.find(wanted, 20)


def test_a_search_says_how_it_was_understood():
    assert values.read_search(">=450V 20-24uF axial").said == ("450 V or more", "20 µF to 24 µF", "axial")


def test_a_search_is_one_query(shelf, django_assert_num_queries):
    wanted = values.read_search(">=450V 20-24uF axial")
    with django_assert_num_queries(1):
        assert len(values.find(wanted, 20)) == 3
