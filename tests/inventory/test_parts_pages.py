"""The pages of parts and drawers: written down, found, corrected, moved by hand."""

import io
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from PIL import Image

from inventory import aside, parts, stock
from inventory.models import Drawer, Move, Part
from shop import search
from tests.factories import DrawerFactory, JobFactory

pytestmark = pytest.mark.django_db


def written(by, name: str, **more) -> Part:
    from inventory.values import read_part

    facts = {"name": name, **read_part(name, more.pop("kind", None)).facts}
    quantity, cost = more.pop("quantity", 0), more.pop("cost_each", Decimal(1))
    return parts.new_part(facts={**facts, **more}, by=by, quantity=quantity, cost_each=cost)


@pytest.fixture
def part(bench) -> Part:
    return written(
        bench, "22u 450V axial", quantity=5, cost_each=Decimal("2.40"), drawer=DrawerFactory(code="B-14")
    )


# --- Writing down --------------------------------------------------------------------------------------------


def test_a_part_is_written_down_in_one_line(as_bench):
    DrawerFactory(code="B-14")
    data = {"name": "22u 450V axial", "drawer": "b-14", "quantity": "6", "cost": "2.40"}
    answer = as_bench.send("/parts/new/", data)
    part = Part.objects.get()
    assert answer.url == part.get_absolute_url()
    assert (part.kind, part.value, part.volts, part.leads) == ("capacitor", 22e-6, 450, "axial")
    assert (part.drawer.code, part.quantity, part.cost) == ("B-14", 6, Decimal("2.40"))
    assert Move.objects.get().words == parts.FIRST_COUNT


@pytest.mark.parametrize(
    ("data", "said"),
    [
        ({"name": ""}, "Write what it is"),
        ({"name": "thing"}, "Choose what kind"),
        ({"name": "22u 450V 500V"}, "second value"),
        ({"name": "22u 450V", "drawer": "Z-9"}, "There is no drawer Z-9"),
        ({"name": "M4 screw", "is_loose": "on", "quantity": "4"}, "has no number"),
    ],
)
def test_what_cannot_be_a_part_says_how_to_mend_it(as_bench, data, said):
    answer = as_bench.send("/parts/new/", data)
    assert answer.status_code == 422
    assert said in answer.content.decode()
    assert not Part.objects.exists()


def test_what_is_typed_is_read_aloud_below_the_box(as_bench):
    page = as_bench.part("/parts/read/", {"name": "1M 1/2W"}).content.decode()
    assert "Read as resistor: 1 MΩ · 0.5 W" in page


def test_a_correction_changes_what_it_is_found_by(as_bench, part):
    page = as_bench.get(f"/parts/{part.pk}/change/").content.decode()
    assert 'value="22 µF"' in page
    data = {"name": "22u 500V radial", "kind": "capacitor", "value": "22 µF", "volts": "500 V", "leads": "radial",
            "is_in_use": "on", "revision": "0", "opened_with": "{}"}  # fmt: skip
    assert as_bench.send(f"/parts/{part.pk}/change/", data).status_code == 302
    part.refresh_from_db()
    assert (part.volts, part.leads, part.quantity, part.revision) == (500, "radial", 5, 1)
    assert "22u 500V radial" in as_bench.get("/parts/", {"q": "22u 500v"}).content.decode()


def test_a_name_and_a_box_that_disagree_are_pointed_out(as_bench, part):
    data = {"name": "22u 500V axial", "kind": "capacitor", "value": "22 µF", "volts": "450 V", "is_in_use": "on",
            "revision": "0", "opened_with": "{}"}  # fmt: skip
    answer = as_bench.send(f"/parts/{part.pk}/change/", data)
    assert answer.status_code == 422
    assert "it is called 500 V" in answer.content.decode()


def test_two_who_correct_the_same_choose(as_bench, bench, part):
    page = as_bench.get(f"/parts/{part.pk}/change/")
    opened = page.context["form"].initial
    parts.change_part(part, facts={"note": "Old stock."}, by=bench, revision=0)
    data = {**{k: v for k, v in opened.items() if v != ""}, "note": "Mine."}
    answer = as_bench.send(f"/parts/{part.pk}/change/", data)
    assert answer.status_code == 409
    assert "Old stock." in answer.content.decode()


def test_what_is_there_is_not_put_out_of_use(bench, part):
    from shop.errors import NotAllowedYet

    with pytest.raises(NotAllowedYet, match="There are 5"):
        parts.change_part(part, facts={"is_in_use": False}, by=bench, revision=0)


def test_a_photo_is_kept_and_shown(as_bench, as_counter, part):
    picture = io.BytesIO()
    Image.new("RGB", (60, 40), "red").save(picture, "PNG")
    picture.seek(0)
    picture.name = "part.png"
    as_bench.send(f"/parts/{part.pk}/photo/new/", {"picture": picture})
    assert reverse("part-photo", args=[part.pk]) in as_counter.get(f"/parts/{part.pk}/").content.decode()
    assert as_counter.get(f"/parts/{part.pk}/photo/")["Content-Type"] == "image/jpeg"


# --- Finding -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("text", ["22u 450v", ">=450V 20-24uF axial", "AXIAL", "22"])
def test_the_list_is_searched_as_one_types(as_bench, part, bench, text):
    written(bench, "EL34")
    page = as_bench.part("/parts/", {"q": text}).content.decode()
    assert "22u 450V axial" in page
    assert "EL34" not in page
    assert "<html" not in page


def test_a_kind_and_a_text_go_together(as_bench, part, bench):
    written(bench, "22u 450V axial bipolar", kind="other")
    page = as_bench.get("/parts/", {"q": "22u 450v", "kind": "capacitor"}).content.decode()
    assert "bipolar" not in page


def test_a_value_that_can_be_read_in_two_ways_is_said_so(as_bench, part):
    assert "two ways" in as_bench.get("/parts/", {"q": "1,000u"}).content.decode()


def test_the_one_search_box_finds_parts_by_value(part, bench):
    found = {kind.name: kind.hits for kind in search.search("22u 450v", bench).kinds}
    assert [hit.url for hit in found["Parts"]] == [part.get_absolute_url()]


@pytest.mark.parametrize("scanned", ["B-14", "b-14", "http://192.168.1.20:8000/d/B-14/", "/d/b-14/"])
def test_a_drawers_label_opens_it(part, bench, scanned):
    assert search.search(scanned, bench).straight == part.drawer.get_absolute_url()


def test_a_parts_label_opens_it(part, bench):
    scanned = f"http://192.168.1.20:8000{part.get_absolute_url()}"
    assert search.search(scanned, bench).straight == part.get_absolute_url()


def test_a_label_of_a_drawer_leads_to_what_is_in_it(as_counter, part):
    answer = as_counter.get("/d/b-14/", follow=True)
    assert "22u 450V axial" in answer.content.decode()
    assert as_counter.get("/d/Z-9/").status_code == 422


@pytest.mark.parametrize("path", ["/parts/", "/parts/?q=22u", "/drawers/", "drawer", "part"])
def test_lists_take_as_many_queries_for_many_as_for_few(as_bench, part, bench, path):
    path = {"drawer": part.drawer.get_absolute_url(), "part": part.get_absolute_url()}.get(path, path)

    def queries() -> int:
        with CaptureQueriesContext(
            connection,
        ) as asked:
            assert as_bench.get(path).status_code == 200
        return len(asked)

    as_bench.get(path)
    few = queries()
    for n in range(6):
        another = written(bench, f"22u {400 + n}V axial", quantity=2, drawer=part.drawer)
        job = JobFactory(spend_limit=Decimal(1000))
        aside.put_aside(another, job, quantity=1, by=bench)
        aside.put_aside(part, JobFactory(), quantity=1, by=bench) if n < 3 else None
        stock.undo(stock.use_on_job(part, job, by=bench), by=bench) if n < 3 else None
    assert queries() == few


# --- The ledger by hand --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("data", "there"),
    [
        ({"why": "counted", "quantity": "3"}, 3),
        ({"why": "received", "quantity": "5", "cost": "3.00"}, 10),
        ({"why": "harvested", "quantity": "1"}, 6),
        ({"why": "sold", "quantity": "2"}, 3),
        ({"why": "scrapped", "quantity": "1", "words": "Leaks."}, 4),
        ({"why": "sent back", "quantity": "5", "words": "Wrong leads."}, 0),
    ],
)
def test_moves_by_hand(as_bench, part, data, there):
    assert as_bench.send(f"/parts/{part.pk}/move/", data).status_code == 302
    part.refresh_from_db()
    assert part.quantity == there
    assert not stock.check()


@pytest.mark.parametrize(
    ("data", "said"),
    [
        ({"why": "scrapped", "quantity": "1"}, "why it is scrapped"),
        ({"why": "sold", "quantity": "9"}, "5 of 22u 450V axial are free"),
        ({"why": "received", "quantity": "1"}, "what one cost"),
        ({"why": "sold", "quantity": "0"}, "at least 1"),
        ({"quantity": "1"}, "what happened"),
        ({"why": "sold", "quantity": "x"}, "in digits"),
    ],
)
def test_moves_that_are_refused_say_why(as_bench, part, data, said):
    answer = as_bench.send(f"/parts/{part.pk}/move/", data)
    assert answer.status_code == 422
    assert said in answer.content.decode()
    part.refresh_from_db()
    assert part.quantity == 5


def test_a_move_is_undone_from_the_parts_page(as_bench, part, bench):
    move = stock.scrap(part, quantity=2, words="Dropped.", by=bench)
    assert f"/parts/moves/{move.pk}/undo/" in as_bench.get(part.get_absolute_url()).content.decode()
    as_bench.send(f"/parts/moves/{move.pk}/undo/")
    part.refresh_from_db()
    assert part.quantity == 5


def test_a_loose_part_says_how_much_there_is(as_bench, bench):
    loose = written(bench, "M4 screws", kind="hardware", is_loose=True)
    as_bench.send(f"/parts/{loose.pk}/level/", {"level": "low"})
    assert "Low" in as_bench.get(loose.get_absolute_url()).content.decode()


# --- Drawers -------------------------------------------------------------------------------------------------


def test_a_drawer_is_written_down_in_capitals(as_bench):
    as_bench.send("/drawers/new/", {"code": "c-3", "place": "Left wall"})
    drawer = Drawer.objects.get()
    assert (drawer.code, drawer.is_in_use) == ("C-3", True)


@pytest.mark.parametrize(
    ("code", "said"), [("b-14", "already"), ("", "Write its code"), ("a/b", "letters, digits")]
)
def test_a_code_that_will_not_do_is_refused(as_bench, part, code, said):
    answer = as_bench.send("/drawers/new/", {"code": code})
    assert answer.status_code == 422
    assert said in answer.content.decode()


def opened(tablet, path: str) -> dict[str, str]:
    """What the form at an address is opened with, as the page would send it back."""
    form = tablet.get(path).context["form"]
    return {name: form[name].value() or "" for name in form.fields}


def test_a_drawer_with_parts_stays_in_use(as_bench, part):
    path = f"{part.drawer.get_absolute_url()}change/"
    answer = as_bench.send(path, {**opened(as_bench, path), "is_in_use": ""})
    assert "Parts live in this drawer" in answer.content.decode()


def test_a_drawer_that_somebody_else_changed_is_shown_in_both_versions(as_bench, bench, part):
    path = f"{part.drawer.get_absolute_url()}change/"
    mine = {**opened(as_bench, path), "place": "Right wall"}
    parts.change_drawer(part.drawer, facts={"place": "Left wall"}, by=bench)
    answer = as_bench.send(path, mine)
    assert answer.status_code == 409
    assert "Left wall" in answer.content.decode()
    part.drawer.refresh_from_db()
    assert part.drawer.place == "Left wall"


def test_a_drawer_is_corrected(as_bench, part):
    path = f"{part.drawer.get_absolute_url()}change/"
    as_bench.send(path, {**opened(as_bench, path), "code": "b-15"})
    part.drawer.refresh_from_db()
    assert (part.drawer.code, part.drawer.is_in_use) == ("B-15", True)


def test_the_counter_sees_and_does_not_touch(as_counter, part):
    assert as_counter.get(part.get_absolute_url()).status_code == 200
    assert as_counter.send(f"/parts/{part.pk}/move/", {"why": "counted", "quantity": "0"}).status_code == 403
