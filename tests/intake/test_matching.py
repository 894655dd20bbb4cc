"""Who the shop knows already.

The shapes of numbers are those of ITU-T E.164 (country code first, no trunk prefix) and E.123 (how numbers
are written). How alike two names must be is common practice, no source.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from intake.matching import ALIKE, KnownPerson, Likeness, candidates, how_alike, same_phone


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("555 0100233", "5550100233"),
        ("(555) 010-0233", "555.010.0233"),
        ("+1 555 010 0233", "(555) 010-0233"),  # E.123 international and national notation
        ("+44 20 7946 0958", "020 7946 0958"),  # the trunk prefix 0 is dropped behind a country code
        ("0044 20 7946 0958", "020 7946 0958"),  # 00 is the international prefix that E.164 recommends
        ("+44 (0)20 7946 0958", "020 7946 0958"),  # E.123 brackets what is dialled only at home
        ("555 0102", "5550102"),
    ],
)
def test_a_phone_is_the_same_however_it_is_written(one, other):
    assert same_phone(one, other)
    assert same_phone(other, one)


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("555 010 0233", "555 010 0234"),
        ("0233", "555 010 0233"),
        ("010 0233", "555 010 0299"),
        ("", ""),
        ("no number", ""),
        ("000", "0"),
        ("0", "555 010 0233"),
    ],
)
def test_another_phone_is_another_phone(one, other):
    assert not same_phone(one, other)
    assert not same_phone(other, one)


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("Dana Whitlow", "dana  WHITLOW"),
        ("Whitlow, Dana", "Dana Whitlow"),
        ("André Köhl", "Andre Kohl"),
        ("O’Marra", "o marra"),
    ],
)
def test_a_name_is_the_same_in_any_order_case_and_accent(one, other):
    assert how_alike(one, other) == 1


@pytest.mark.parametrize(
    ("one", "other"),
    [("Dana Whitlow", "Dana Whitlaw"), ("Dana Whitlow", "Dan Whitelow"), ("The Low Tides", "Low Tides")],
)
def test_a_slip_in_a_name_is_still_alike(one, other):
    assert ALIKE <= how_alike(one, other) < 1


@pytest.mark.parametrize(
    ("one", "other"), [("Dana Whitlow", "Piet Harrow"), ("Dana Whitlow", ""), ("", ""), ("!!", "??")]
)
def test_strangers_are_not_alike(one, other):
    assert how_alike(one, other) < ALIKE


@given(st.text(max_size=30), st.text(max_size=30))
def test_likeness_is_a_share_of_one(one, other):
    assert 0 <= how_alike(one, other) <= 1


DANA = KnownPerson(1, "Dana Whitlow", ("555 010 0233",))
BAND = KnownPerson(2, "The Low Tides", ("+1 555 010 0233", "555 010 0777"))
NAMESAKE = KnownPerson(3, "Whitlow, Dana", ("555 010 0555",))
STRANGER = KnownPerson(4, "Piet Harrow", ("555 010 0999",))
EVERYBODY = [STRANGER, NAMESAKE, BAND, DANA]


def test_the_same_phone_and_name_comes_first_then_the_phone_then_the_name():
    found = candidates("Dana Whitlow", ["(555) 010-0233"], EVERYBODY)
    assert [(c.person.pk, c.why.words) for c in found] == [
        (1, "same phone and name"),
        (2, "same phone"),
        (3, "same name"),
    ]


def test_a_similar_name_is_offered_without_a_phone():
    found = candidates("Dana Whitlaw", [], EVERYBODY)
    assert [(c.person.pk, c.why) for c in found] == [(1, Likeness.SIMILAR_NAME), (3, Likeness.SIMILAR_NAME)]


def test_nobody_is_offered_to_a_stranger():
    assert candidates("Mira Holt", ["555 010 0111"], EVERYBODY) == []


def test_only_so_many_are_offered():
    crowd = [KnownPerson(n, "Dana Whitlow") for n in range(50)]
    assert [c.person.pk for c in candidates("Dana Whitlow", [], crowd, limit=3)] == [0, 1, 2]
