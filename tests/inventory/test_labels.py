"""Labels of drawers and parts: where they lie on a sheet, and their codes read back by another program."""

import subprocess

import pytest
import zxingcpp
from django.urls import reverse
from PIL import Image

from inventory import labels
from inventory.models import Drawer, Part
from tests.factories import DrawerFactory, PartFactory
from tests.intake.test_papers import bare, codes_on, pages_of, text_of
from tests.tools import pdf_libraries

MM = 25.4 / 72  # a point in millimetres
SHEETS = [("A4", 24), ("Letter", 10)]


def label(n: int) -> labels.Label:
    return labels.Label(f"B-{n}", (), "http://testserver/")


# --- Where they lie


@pytest.mark.parametrize(("size", "on_a_page"), SHEETS)
def test_labels_fill_sheets_row_by_row(size, on_a_page):
    sheet = labels.SHEETS[size]
    many = [label(n) for n in range(on_a_page + 1)]
    assert [len(page) for page in labels.pages(many, sheet)] == [on_a_page, 1]


@pytest.mark.parametrize(("size", "on_a_page"), SHEETS)
def test_labels_used_already_stay_empty(size, on_a_page):
    pages = labels.pages([label(1), label(2)], labels.SHEETS[size], skip=on_a_page - 1)
    assert [[each and each.code for each in page] for page in pages] == [
        [*[None] * (on_a_page - 1), "B-1"],
        ["B-2"],
    ]


def test_on_a_roll_each_label_is_a_page():
    assert [len(page) for page in labels.pages([label(1), label(2)], labels.ROLL)] == [1, 1]


def test_a_drawers_label_names_what_is_in_it_or_where_it_stands():
    drawer = Drawer(code="B-14", place="Left wall")
    parts = [Part(name=f"part {n}") for n in range(5)]
    assert labels.of_drawer(drawer, [], "a").lines == ("Left wall",)
    assert labels.of_drawer(drawer, parts[:3], "a").lines == ("part 0", "part 1", "part 2")
    assert labels.of_drawer(drawer, parts, "a").lines == ("part 0", "part 1", "and 3 more")


# --- On paper


@pytest.fixture
def drawers(shop) -> list[Drawer]:
    pdf_libraries()
    made = [DrawerFactory(code=f"B-{n:02}", place="Left wall") for n in range(12)]
    PartFactory(drawer=made[0], name="22u 450V axial")
    return made


def paper(tablet, drawers, **more):
    query = {"drawer": [drawer.pk for drawer in drawers], **more}
    return tablet.get("/labels/paper/", query)


def address(drawer: Drawer) -> str:
    return f"http://testserver{reverse('drawer-scan', args=[drawer.code])}"


@pytest.mark.django_db
@pytest.mark.parametrize("on", ["sheet", "roll"])
@pytest.mark.parametrize("size", ["A4", "Letter"])
def test_the_printed_codes_open_their_drawers(as_bench, shop, drawers, tmp_path, on, size):
    """Read back by zxing-cpp at 203 dpi, what most label printers have (common practice, no source)."""
    shop.paper = size
    shop.save()
    response = paper(as_bench, drawers, on=on)
    assert sorted(codes_on(response, tmp_path, 203)) == sorted(address(drawer) for drawer in drawers)


@pytest.mark.django_db
def test_a_label_says_in_letters_what_its_code_says(as_bench, drawers):
    text = text_of(paper(as_bench, drawers[:2]))
    assert "B-00" in text and bare("22u 450V axial") in text and bare("Left wall") in text


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("size", "on", "sides", "pages"),
    [
        ("A4", "sheet", (210, 297), 1),
        ("Letter", "sheet", (215.9, 279.4), 2),
        ("A4", "roll", (62, 30), 12),
    ],
)
def test_labels_are_printed_on_what_was_chosen(as_bench, shop, drawers, size, on, sides, pages):
    """ISO 216 A4; ANSI A Letter, 8.5 × 11 in; the 62 mm roll."""
    shop.paper = size
    shop.save()
    found = pages_of(paper(as_bench, drawers, on=on))
    assert len(found) == pages
    for page in found:
        box = page.mediabox
        assert (float(box.width) * MM, float(box.height) * MM) == pytest.approx(sides, abs=0.5)


@pytest.mark.django_db
@pytest.mark.parametrize(("size", "across", "down"), [("A4", 70, 37), ("Letter", 104.14, 50.8)])
def test_each_label_lies_where_the_sheet_is_cut(as_bench, shop, drawers, size, across, down, tmp_path):
    """The codes of a full sheet stand a label apart, so that none is cut: measured on the picture."""
    shop.paper = size
    shop.save()
    (tmp_path / "paper.pdf").write_bytes(paper(as_bench, drawers[:10]).content)
    subprocess.run(
        ["pdftoppm", "-r", "254", "-gray", "-png", tmp_path / "paper.pdf", tmp_path / "page"], check=True
    )
    (picture,) = tmp_path.glob("page*.png")
    at = {}
    for code in zxingcpp.read_barcodes(Image.open(picture)):
        corner = code.position.top_left
        at[code.text] = (corner.x / 10, corner.y / 10)  # millimetres
    columns = labels.SHEETS[size].columns
    first, second, below = (at[address(drawers[n])] for n in (0, 1, columns))
    assert (second[0] - first[0], second[1] - first[1]) == pytest.approx((across, 0), abs=0.4)
    assert (below[0] - first[0], below[1] - first[1]) == pytest.approx((0, down), abs=0.4)


@pytest.mark.django_db
def test_used_labels_of_a_sheet_are_left_out(as_bench, drawers):
    assert len(pages_of(paper(as_bench, drawers[:2], skip="23"))) == 2
    assert len(pages_of(paper(as_bench, drawers[:2], skip="22"))) == 1


@pytest.mark.django_db
def test_a_long_code_and_long_names_stay_on_their_label(as_bench, shop, tmp_path):
    pdf_libraries()
    drawer = DrawerFactory(code="CABINET-3-LEFT-WALL", place="x" * 120)
    for n in range(3):
        PartFactory(drawer=drawer, name=f"{n} reverb tank, short, medium decay, input grounded, " * 2)
    for on in ("sheet", "roll"):
        response = paper(as_bench, [drawer], on=on)
        assert len(pages_of(response)) == 1
        assert codes_on(response, tmp_path, 203) == [address(drawer)]


@pytest.mark.django_db
def test_a_part_has_a_label_of_its_own(as_bench, drawers, tmp_path):
    part = PartFactory(name="Matched pair", drawer=drawers[0])
    response = as_bench.get("/labels/paper/", {"part": part.pk, "on": "roll"})
    assert "DrawerB-00" in text_of(response)
    assert codes_on(response, tmp_path, 203) == [f"http://testserver{reverse('part', args=[part.pk])}"]


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("query", "why"),
    [
        ({}, "Choose at least one drawer"),
        ({"drawer": "99999"}, "valid choice"),
        ({"drawer": "x"}, "valid"),
        ({"on": "wall"}, "valid choice"),
        ({"skip": "24"}, "A sheet has 24 labels"),
        ({"skip": "-1"}, "greater than or equal to 0"),
    ],
)
def test_labels_that_cannot_be_made_say_why(as_bench, shop, query, why):
    drawer = DrawerFactory()
    query = {"drawer": drawer.pk, **query} if query else {}
    response = as_bench.get("/labels/paper/", query)
    assert response.status_code == 422 and why in response.content.decode()


@pytest.mark.django_db
def test_the_choice_takes_a_fixed_number_of_queries(as_bench, drawers, django_assert_max_num_queries):
    def queries(many: int) -> int:
        with django_assert_max_num_queries(40) as seen:
            assert paper(as_bench, drawers[:many], view="html").status_code == 200
        return len(seen)

    assert queries(2) == queries(10)


@pytest.mark.django_db
def test_a_shop_without_drawers_is_told_so(as_bench):
    assert "There is no drawer yet" in as_bench.get("/labels/").content.decode()


@pytest.mark.django_db
def test_all_drawers_are_ticked_with_one_tap(as_bench, shop):
    DrawerFactory.create_batch(3)
    assert " checked" in (page := as_bench.get("/labels/", {"all": "1"}).content.decode())
    assert (
        page.count('name="drawer"') == 3 == page.count("checked") - 1
    )  # and the sheet, of what it is printed on
