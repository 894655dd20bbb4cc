"""Claim numbers, against ISO/IEC 7064 worked by hand here and by python-stdnum."""

import string

import pytest
from hypothesis import given
from hypothesis import strategies as st
from stdnum.iso7064 import mod_37_2, mod_37_36

from intake import claims

ALPHABET = string.digits + string.ascii_uppercase
months = st.tuples(st.integers(2000, 2099), st.integers(1, 12))
issued = st.builds(lambda month, last: claims.following(*month, last)[1], months, st.integers(0, 9990))

MANY = [
    claims.following(year, month, last)[1]
    for year in (2024, 2025, 2033, 2099)
    for month in (1, 10, 11, 12)
    for last in (0, 9, 39, 40, 99, 120, 998, 1200, 3454, 9980)
]


def accepted(text: str) -> str | None:
    try:
        return claims.read(text)
    except (claims.ClaimMistyped, claims.NotAClaim):
        return None


def test_a_claim_is_year_month_number_and_check_character():
    assert claims.make(2024, 7, 31) == "2407-0031-Y"


def test_the_check_character_is_that_of_the_standard():
    """ISO/IEC 7064, pure system, radix 2, modulus 37: the weighted sum of all characters is 1 modulo 37."""
    characters = claims.make(2024, 7, 31).replace("-", "")
    weighted = sum((ALPHABET + "*").index(c) * 2**power for power, c in enumerate(reversed(characters)))
    assert weighted % 37 == 1


@given(issued)
def test_python_stdnum_agrees_with_every_claim(claim):
    assert mod_37_2.is_valid(claim.replace("-", ""))


@given(issued)
def test_a_claim_reads_back_as_itself(claim):
    assert claims.read(claim) == claim


@pytest.mark.parametrize("claim", MANY)
def test_every_single_wrong_character_is_caught(claim):
    for place, right in enumerate(claim):
        if right == "-":
            continue
        for wrong in ALPHABET:
            typed = claim[:place] + wrong + claim[place + 1 :]
            # O for 0 and I or L for 1 are the same claim read kindly; anything else must be refused.
            assert accepted(typed) in (
                {claim} if wrong.translate(str.maketrans("OIL", "011")) == right else {None}
            )


@pytest.mark.parametrize("claim", MANY)
def test_every_swap_of_two_characters_is_caught(claim):
    """Neighbours and any others: stronger than what was asked, and free with a prime modulus."""
    characters = claim.replace("-", "")
    for one in range(9):
        for other in range(one + 1, 9):
            if characters[one] != characters[other]:
                swapped = list(characters)
                swapped[one], swapped[other] = swapped[other], swapped[one]
                bare = "".join(swapped)
                assert accepted(bare) is None
                assert accepted(f"{bare[:4]}-{bare[4:8]}-{bare[8]}") is None


@pytest.mark.parametrize("claim", MANY)
def test_a_doubled_digit_mistaken_for_another_is_caught(claim):
    characters = claim.replace("-", "")
    for place in range(7):
        if characters[place] == characters[place + 1]:
            for digit in string.digits.replace(characters[place], ""):
                assert accepted(characters[:place] + digit * 2 + characters[place + 2 :]) is None


def test_no_swap_of_neighbours_is_caught_by_luck():
    """Every state of the sum before the two digits, every two digits: 37 x 10 x 10 cases, none collide."""
    for before in range(37):
        for one in range(10):
            for other in range(10):
                if one != other:
                    assert ((before * 2 + one) * 2 + other) % 37 != ((before * 2 + other) * 2 + one) % 37


def test_the_sister_system_would_let_a_swap_of_neighbours_through():
    """Why claims don't use MOD 37,36: these four are right by it, and each pair is one swap apart."""
    for number in ("240100401", "240100410"):
        assert mod_37_36.is_valid(number)
    number = "25010007"
    assert mod_37_36.calc_check_digit(number) == mod_37_36.calc_check_digit("25100007")


def test_no_check_character_can_be_misread():
    seen = set()
    last = 0
    while last < 9900:
        last, claim = claims.following(2026, 11, last)
        seen.add(claim[-1])
    assert seen == set(ALPHABET) - set("ILO")


def test_a_number_whose_check_character_would_be_misread_is_passed_over():
    passed_over = [n for n in range(1, 1000) if mod_37_2.calc_check_digit(f"2611{n:04}") in "ILO*"]
    assert 80 < len(passed_over) < 140  # one in nine
    for number in passed_over:
        with pytest.raises(claims.NumberNotIssued):
            claims.make(2026, 11, number)


def test_following_goes_on_from_the_last_number():
    numbers = []
    last = 0
    for _ in range(50):
        last, claim = claims.following(2026, 11, last)
        assert claims.make(2026, 11, last) == claim
        numbers.append(last)
    assert numbers == sorted(set(numbers))


@pytest.mark.parametrize(
    ("typed", "why"),
    [
        ("2407-0031-Y", "as printed"),
        ("2407-0031-y", "lower case"),
        ("  2407 0031 Y ", "spaces"),
        ("24070031Y", "no dashes"),
        ("24-07-0031-Y", "dashes elsewhere"),
        ("#2407-0031-Y", "a number sign"),
        ("2407\u20110031\u2013Y", "a non-breaking hyphen and an en dash"),
        ("2407\u22120031\u2014Y", "a minus sign and an em dash"),
        ("2407_0031_Y", "underscores"),
        ("2407\u00a00031\u202fY", "non-breaking spaces"),
        ("24O7-OO31-Y", "the letter O for zero"),
        ("2407-003I-Y", "the letter I for one"),
        ("2407-003l-Y", "a small L for one"),
        ("2407-0031-Y\r\n", "a scanner's return"),
        ("\ufeff2407-0031-Y", "a byte order mark"),
        ("https://192.168.1.20:8000/t/2407-0031-Y/", "the ticket's address"),
        ("http://bench.local/job/2407-0031-Y/", "the job's address"),
        ("http://bench.local/job/2407-0031-Y/photos/?page=2#last", "an address below the job"),
        ("/job/24070031y", "a bare path"),
    ],
)
def test_what_people_type_and_scan_is_read(typed, why):
    assert claims.read(typed) == "2407-0031-Y", why


@pytest.mark.parametrize(
    "typed",
    [
        "2407-0031-Z",
        "2407-0013-Y",
        "4207-0031-Y",
        "24070031X",
        "2413-0031-Y",
        "2400-0031-Y",
        "2407-0000-Y",
        "2407-0031-*",
        "2407-0O3I-O",
        "24B7-0031-Y",
        "2407-003Y-1",
        "http://bench.local/job/2407-0013-Y/",
    ],
)
def test_a_mistyped_claim_is_told_from_other_text_and_says_what_to_do(typed):
    with pytest.raises(claims.ClaimMistyped, match="Check it against the ticket"):
        claims.read(typed)


@pytest.mark.parametrize(
    "typed",
    [
        "",
        " ",
        "-",
        "Marlowe",
        "0451 555 01",
        "555-0134",
        "CM50-11873",
        "2407-0031",
        "2407-0031-YY",
        "2407-031-Y",
        "24130031Y",
        "٢٤٠٧٠٠٣١Y",
        "2407-0031-Ÿ",
        "http://bench.local/people/12/",
        "http://bench.local/job/",
        "/t/",
        "2" * 5000,
    ],
)
def test_other_text_is_not_a_claim(typed):
    with pytest.raises(claims.NotAClaim):
        claims.read(typed)


@given(st.text(max_size=400))
def test_any_text_is_read_or_refused(text):
    claim = accepted(text)
    assert claim is None or accepted(claim) == claim


@given(st.from_regex(r"[0-9OIL]{4}[- ]?[0-9OIL]{4}[- ]?[0-9A-Za-z*]", fullmatch=True))
def test_what_is_read_always_checks_out(text):
    claim = accepted(text)
    assert claim is None or (mod_37_2.is_valid(claim.replace("-", "")) and 1 <= int(claim[2:4]) <= 12)


@pytest.mark.parametrize(
    ("year", "month", "number"), [(1999, 1, 1), (2100, 1, 1), (2024, 0, 1), (2024, 13, 1)]
)
def test_an_impossible_month_is_refused(year, month, number):
    with pytest.raises(ValueError, match="year|month"):
        claims.make(year, month, number)


def test_numbers_count_from_one():
    with pytest.raises(ValueError, match="from 1"):
        claims.make(2024, 7, 0)


def test_a_full_month_says_so():
    with pytest.raises(claims.MonthFull):
        claims.make(2024, 7, 10_000)
    with pytest.raises(claims.MonthFull):
        claims.following(2024, 7, 9_999)


def test_a_claim_is_printed_in_three_groups():
    assert claims.group("2407-0031-Y") == ("2407", "0031", "Y")
