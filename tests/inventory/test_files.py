"""Reading a table of parts out of a file: what is read, what is mended, what is refused.

The form of CSV is RFC 4180's; the signs at the head of a file are those of The Unicode Standard, section 23.8.
"""

import codecs
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory import files
from inventory.files import FileRefused, read_amount, read_parts
from shop import csv_out

TWO = "kind,what it is,how many\r\ncapacitor,22u 450V axial,12\r\nresistor,1M 1/2W,200\r\n"


def read(text, currency="USD"):
    return read_parts(text if isinstance(text, bytes) else text.encode(), currency)


def only(text, currency="USD"):
    (line,) = read(text, currency).lines
    return line


def refused(data):
    with pytest.raises(FileRefused) as why:
        read(data)
    return str(why.value)


# --- what is read


def test_a_line_says_what_its_cells_say():
    line = only(
        "part no.;kind;what it is;value;tolerance, %;rated volts;type;drawer;how many;cost of one;price of one\r\n"
        "7;capacitors;22u 450V axial;22u;20;450 V;;B-14;12;0,85;2,50\r\n"
    )
    assert line.wrong == []
    assert line.said == {
        "number": 7,
        "kind": "capacitor",
        "name": "22u 450V axial",
        "value": "22u",
        "tolerance": 20.0,
        "volts": 450.0,
        "drawer": "B-14",
        "quantity": 12,
        "cost": Decimal("0.85"),
        "price": Decimal("2.50"),
    }


@pytest.mark.parametrize(
    ("name", "data"),
    [
        ("UTF-8", TWO.encode()),
        ("UTF-8 with a mark", codecs.BOM_UTF8 + TWO.encode()),
        ("UTF-16 little-endian", codecs.BOM_UTF16_LE + TWO.encode("utf-16-le")),
        ("UTF-16 big-endian", codecs.BOM_UTF16_BE + TWO.encode("utf-16-be")),
        ("semicolons", TWO.replace(",", ";").encode()),
        ("tabs", TWO.replace(",", "\t").encode()),
        ("line feeds alone", TWO.replace("\r\n", "\n").encode()),
        ("carriage returns alone", TWO.replace("\r\n", "\r").encode()),
        ("no end to the last line", TWO.rstrip().encode()),
        ("blank lines between", TWO.replace("\r\n", "\r\n\r\n,,\r\n").encode()),
        (
            "quotes around each cell",
            ('"' + TWO.rstrip().replace(",", '","').replace("\r\n", '"\r\n"') + '"').encode(),
        ),
        (
            "quotes and semicolons",
            ('"' + TWO.rstrip().replace(",", '";"').replace("\r\n", '"\r\n"') + '"').encode(),
        ),
    ],
    ids=lambda each: each if isinstance(each, str) else "",
)
def test_the_same_table_is_read_whatever_wrote_it(name, data):
    found = read(data)
    assert [line.said for line in found.lines] == [
        {"kind": "capacitor", "name": "22u 450V axial", "quantity": 12},
        {"kind": "resistor", "name": "1M 1/2W", "quantity": 200},
    ]
    assert found.notes == ()


def test_a_cell_may_have_separators_quotes_and_line_ends_in_it_as_rfc_4180_says():
    found = read('what it is,note\r\n"Jack, 1/4""","two\r\nlines"\r\nFuse,\r\n')
    assert [(line.line, line.said) for line in found.lines] == [
        (2, {"name": 'Jack, 1/4"', "note": "two lines"}),
        (4, {"name": "Fuse"}),
    ]


def test_a_file_as_windows_writes_it_is_read_and_that_is_said():
    found = read("kind,what it is\r\nhardware,Drähte 10 µm\r\n".encode("cp1252"))
    assert found.lines[0].said["name"] == "Drähte 10 µm"
    assert "isn't in UTF-8" in found.notes[0]


def test_columns_that_are_not_known_are_left_out_and_that_is_said():
    found = read("what it is,bin colour,how many\r\nFuse 2A,red,3\r\n")
    assert found.lines[0].said == {"name": "Fuse 2A", "quantity": 3}
    assert "“bin colour”" in found.notes[0]


@pytest.mark.parametrize(
    ("text", "number"),
    [("12", 12), ("0", 0), ("12.0", 12), ("12,00", 12), ("plenty", "plenty"), ("Low", "low"), ("OUT", "out")],
)
def test_how_many_is_a_number_or_a_word(text, number):
    assert only(f'what it is,how many\nFuse,"{text}"').said["quantity"] == number


@pytest.mark.parametrize(
    ("text", "currency", "amount"),
    [
        ("0.85", "USD", "0.85"),
        ("$2.50", "USD", "2.50"),
        ("2,50", "EUR", "2.50"),
        ("1,234.50", "USD", "1234.50"),
        ("0.0042", "USD", "0.0042"),
        ("0,0042", "EUR", "0.0042"),
        ("1.2345", "USD", "1.2345"),
        ("0.125", "USD", "0.125"),
        ("120", "JPY", "120"),
    ],
)
def test_what_one_costs_may_be_fractions_of_a_cent(text, currency, amount):
    assert read_amount(text, currency, places=6) == Decimal(amount)


# --- what can't be read


@pytest.mark.parametrize(
    ("column", "text", "sentence"),
    [
        ("part no.", "B-14", "is no part number"),
        ("kind", "gizmo", "is none of these: capacitor"),
        ("rated volts", "450 ohm", "This box takes volts"),
        ("rated volts", "-450", "below zero"),
        ("rated volts", "4" * 40, "too long for a value"),
        ("how many", "-3", "It can't be below zero"),
        ("how many", "a few", "is no whole number"),
        ("how many", "2.5", "is no whole number"),
        ("how many", "99999999", "more than anybody has"),
        ("cost of one", "1.234", "Write 1234, or 1.2340"),
        ("cost of one", "0.0000001", "can't be read|not an amount|decimals"),
        ("price of one", "cheap", "not an amount"),
        ("make", "x" * 81, "longer than 80 characters"),
        ("note", "x" * 401, "longer than 400 characters"),
        ("drawer", "x" * 21, "longer than 20 characters"),
        ("note", '=HYPERLINK("http://x","y")', "is a formula"),
        ("note", "@SUM(1+1)", "is a formula"),
        ("note", "+SUM(A1:A9)", "is a formula"),
        ("note", "-2+3+cmd|' /C x'!A0", "is a formula"),
        ("how many", "=1+1", "is a formula"),
    ],
)
def test_what_cant_be_read_is_said_of_its_cell_and_the_others_are_read(column, text, sentence):
    cell = '"' + text.replace('"', '""') + '"'
    line = only(f"what it is,{column}\nFuse 2A,{cell}\n")
    assert line.said == {"name": "Fuse 2A"}
    (why,) = line.wrong
    assert why.startswith(f"{column}: ")
    assert any(each in why for each in sentence.split("|"))


def test_all_that_is_wrong_with_a_line_is_said_at_once():
    line = only("kind,what it is,how many\ngizmo,=A1,-1\n")
    assert len(line.wrong) == 3


def test_a_line_with_more_cells_than_the_head_is_not_guessed_at():
    line = only("what it is,how many\nJack, 1/4 inch,3\n")
    assert "It has 3 cells, and the head has 2" in line.wrong[0]


def test_of_two_lines_that_name_one_part_the_second_is_refused():
    found = read("kind,what it is\nfuse,2A slow\nfuse,2A  SLOW\nfuse,2A fast\n")
    assert [line.wrong for line in found.lines] == [[], ["The same part stands on line 2 already."], []]


def test_signs_tell_parts_apart():
    found = read("kind,what it is\nresistor,2.2k\nresistor,22k\nresistor,2k2 5%\nresistor,2k2 -5%\n")
    assert all(line.wrong == [] for line in found.lines)


def test_a_part_number_that_comes_twice_is_refused_the_second_time():
    found = read("part no.,how many\n4,1\n4,2\n")
    assert [bool(line.wrong) for line in found.lines] == [False, True]


# --- what is refused as a whole


@pytest.mark.parametrize(
    ("data", "sentence"),
    [
        (b"", "empty"),
        (codecs.BOM_UTF8, "empty"),
        (b" \r\n\r\n", "empty"),
        (b"what it is\r\n", "no line under it"),
        (b"PK\x03\x04 and so on", "a spreadsheet’s own file"),
        (b"\xd0\xcf\x11\xe0 and so on", "a spreadsheet’s own file"),
        (b"%PDF-1.7", "a PDF"),
        (b"\x1f\x8b packed", "a packed file"),
        (b"what it is\nab\0c\n", "not a text file"),
        (b"what it is\n\x81\x8d\x8f\n", "letters of the file can't be told"),
        (codecs.BOM_UTF16_LE + b"abc", "begins as UTF-16, and isn't"),
        (b"a,b\n1,2\n", "The first line must name the columns"),
        (b"22u 450V,12\n1M,3\n", "The first line must name the columns"),
        (b"what it is,qty,how many\nFuse,1,2\n", "Two columns of the file are read as “how many”"),
        (b'what it is\nFuse\n"never closed\n', "quotes of line 3"),
        (b'what it is,note\nFuse,"2A"slow\n', "quotes of line 2"),
        (b'what it is\n"' + b"x" * 200_000 + b'"\n', "quotes of line 2"),
        (b"what it is\n" + b"2A\n" * 199_999, "more than 1,000 lines"),
        (b"x" * 1_000_001, "larger than 1 MB"),
    ],
    ids=range(19),
)
def test_a_file_that_is_no_table_of_parts_is_refused_with_what_to_do(data, sentence):
    assert sentence in refused(data)


@given(st.binary(max_size=400))
@settings(max_examples=300)
def test_whatever_bytes_come_they_are_read_or_refused(data):
    for sent in (data, b"what it is,how many,rated volts,cost\n" + data):
        try:
            assert read(sent).lines
        except FileRefused as why:
            assert str(why).endswith(".")


# --- what goes out comes in


@given(st.text(st.characters(exclude_categories=["C", "Z"]), min_size=1, max_size=60))
@settings(max_examples=300)
def test_a_text_that_was_guarded_against_formulas_reads_back_as_it_was(text):
    import unicodedata

    text = unicodedata.normalize("NFC", text)
    sheet = csv_out.text(["what it is"], [[text]])
    line = only(csv_out.MARK + sheet)
    # an apostrophe that somebody typed before such a sign can't be told from ours
    if text[:1] != "'" and not (line.wrong and "＝＠".find(text[0]) >= 0):
        assert line.said == {"name": text}


def test_every_head_that_we_write_is_read():
    for column in files.COLUMNS:
        assert files._BY_HEAD[files.fold(column.head)] is column
