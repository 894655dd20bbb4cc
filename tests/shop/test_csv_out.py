"""Tables for a spreadsheet: nothing in them is a formula, and they read back as they were."""

import csv
import datetime as dt
import io
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shop import csv_out


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r", "\n", "＝", "＠"])
def test_text_that_begins_like_a_formula_gets_an_apostrophe(start):
    """The characters that OWASP's page on CSV injection names (from memory)."""
    assert csv_out.cell(f"{start}cmd|' /C calc'!A0") == f"'{start}cmd|' /C calc'!A0"


@pytest.mark.parametrize(
    "value, written",
    [
        (Decimal("-12.50"), "-12.50"),
        (Decimal("1E+3"), "1000"),
        (-3, "-3"),
        (2.5, "2.5"),
        (dt.date(2026, 11, 5), "2026-11-05"),
        (dt.datetime(2026, 11, 5, 9, 5, tzinfo=dt.UTC), "2026-11-05T09:05:00+00:00"),
        (None, ""),
        ("a - b = c", "a - b = c"),
    ],
)
def test_our_own_values_are_written_bare(value, written):
    assert csv_out.cell(value) == written


@pytest.mark.parametrize("value", [True, b"x", ["a"]])
def test_what_nobody_decided_on_is_refused(value):
    with pytest.raises(TypeError):
        csv_out.cell(value)


@given(
    st.lists(st.lists(st.text(st.characters(exclude_categories=["Cs"]), max_size=12), min_size=2, max_size=2))
)
def test_every_cell_reads_back_and_none_begins_a_formula(rows):
    """Read back by the standard library's reader."""
    read = list(csv.reader(io.StringIO(csv_out.text(["a", "b"], rows), newline="")))
    assert read[1:] == [[csv_out.cell(value) for value in row] for row in rows]
    assert not any(value[:1] in tuple("=+-@\t\r\n") for row in read for value in row if value)


def test_the_answer_is_a_file_in_utf_8_with_its_mark():
    answer = csv_out.answer("tax 2026.csv", ["who"], [["Ümit"]])
    assert answer.content == b"\xef\xbb\xbfwho\r\n\xc3\x9cmit\r\n"
    assert answer["Content-Type"] == "text/csv; charset=utf-8"
    assert answer["Content-Disposition"] == 'attachment; filename="tax 2026.csv"'
