"""Parts out of a file: nothing is written before yes, what was looked at is what is done, and it can be undone."""

import io
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from intake.models import Charge
from inventory import files, importing, stock
from inventory.importing import Does
from inventory.models import Drawer, Import, ImportLine, Move, Offer, Part
from shop import csv_out, timeline
from shop.errors import ChangedMeanwhile, NotAllowedYet
from tests.factories import DrawerFactory, JobFactory, PartFactory, SupplierFactory

HEAD = "kind,what it is,drawer,how many,cost of one\n"
TWO = f"{HEAD}capacitor,22u 450V axial,B-14,12,0.85\nresistor,1M 1/2W,B-3,200,0.0042\n"


def lines_of(text):
    return files.read_parts(text.encode(), "USD").lines


def plan_of(text):
    return importing.plan(lines_of(text))


def read_in(text, by, name="parts.csv"):
    lines = lines_of(text)
    return importing.read_in(name, lines, seal=importing.plan(lines).seal, by=by)


def rows():
    """All that a file could change."""
    return [list(model.objects.order_by("pk").values()) for model in (Part, Drawer, Move, Import, ImportLine)]


# --- the plan


def test_a_plan_says_line_by_line_what_it_would_do_and_writes_nothing(shop):
    DrawerFactory(code="B-3")
    before = rows()
    plan = plan_of(TWO)
    assert [each.does for each in plan.lines] == [Does.NEW, Does.NEW]
    assert plan.lines[0].words == [
        "a new capacitor: 22 µF, 450 V, axial",
        "drawer B-14 (a new drawer)",
        "12 come in at 0.85 each",
    ]
    assert plan.lines[1].words == [
        "a new resistor: 1 MΩ, 0.5 W",
        "drawer B-3",
        "200 come in at 0.0042 each",
    ]
    assert rows() == before


def test_a_change_is_told_with_what_stood_there_before(shop, bench):
    part = PartFactory(name="22u 450V axial", volts=400.0, drawer=DrawerFactory(code="B-14"))
    stock.receive(part, quantity=3, cost_each=Decimal(1), by=bench)
    (line,) = plan_of(
        "kind,what it is,rated volts,drawer,how many,price of one\ncapacitor,22U 450V AXIAL,450 V,B-15,12,2.50\n"
    ).lines
    assert line.does is Does.CHANGE
    assert line.part == part
    assert line.words == [
        "rated volts: 400 V → 450 V",
        "price of one: nothing → 2.5",
        "drawer: B-14 → B-15 (a new drawer)",
        "how many: 3 → 12",
    ]


def test_an_empty_cell_changes_nothing(shop):
    PartFactory(name="22u 450V axial", volts=450.0, make="Pier", note="under the bench")
    (line,) = plan_of("kind,what it is,rated volts,make,note\ncapacitor,22u 450V axial,,,\n").lines
    assert line.does is Does.NOTHING
    assert line.words == ["stands there already"]


def test_a_part_number_names_its_part_whatever_it_is_called_now(shop):
    part = PartFactory(name="22u 450V axial")
    (line,) = plan_of(f"part no.,what it is\n{part.pk},22u 450V radial\n").lines
    assert (line.part, line.does) == (part, Does.CHANGE)
    assert line.words == ["what it is: 22u 450V axial → 22u 450V radial"]


@pytest.mark.parametrize(
    ("line", "sentence"),
    [
        ("part no.,what it is\n812,Fuse", "There is no part 812"),
        ("what it is\nthingamajig", "What kind of part it is can't be told"),
        ("kind,what it is,value\njack,Jack,3", "has no value here"),
        ("kind,what it is,value\nresistor,R one,22 µF", "This box takes ohms"),
        ("kind,what it is\ncapacitor,22u 450V 400V", "second value in volts"),
        ("kind,what it is\ncapacitor,Same", "Several parts are called that. Write which is meant: part no."),
        ("kind,what it is,how many\nhardware,M4 nut,12", "It isn't counted"),
        ("kind,what it is,how many\nfuse,2A slow,plenty", "It is counted"),
        ("kind,what it is,cost of one\nfuse,3A slow,99999999", "more than can be kept"),
    ],
)
def test_a_line_that_cant_be_done_says_why(shop, line, sentence):
    PartFactory(name="Same")
    PartFactory(name="Same")
    PartFactory(kind="hardware", name="M4 nut", is_loose=True, level="low")
    PartFactory(kind="fuse", name="2A slow")
    (planned,) = plan_of(line + "\n").lines
    assert planned.does is Does.UNREAD
    assert sentence in " ".join(planned.words)


def test_two_lines_that_come_to_the_same_part_are_not_both_done(shop):
    part = PartFactory(name="22u 450V axial")
    plan = plan_of(
        f"part no.,kind,what it is,how many\n{part.pk},,,1\n,capacitor,22u 450V axial,2\n"
        ",,10u 25V,3\n,capacitor,10u 25V,4\n"
    )
    assert [each.does for each in plan.lines] == [Does.CHANGE, Does.UNREAD, Does.NEW, Does.UNREAD]
    assert plan.lines[1].words == ["It is the same part as line 2."]


def test_a_plan_takes_the_same_number_of_queries_for_two_lines_and_for_many(shop):
    def queries(text):
        lines = lines_of(text)
        with CaptureQueriesContext(connection) as asked:
            importing.plan(lines)
        return len(asked)

    many = HEAD + "".join(f"capacitor,{n}u 450V,B-{n},{n},1\n" for n in range(1, 60))
    assert queries(TWO) == queries(many) <= 4


# --- doing it


def test_what_was_looked_at_is_done(shop, owner):
    file = read_in(TWO, owner)
    part = Part.objects.get(name="22u 450V axial")
    assert (part.kind, part.value, part.volts, part.leads) == (
        "capacitor",
        pytest.approx(22e-6),
        450.0,
        "axial",
    )
    assert (part.drawer.code, part.quantity, part.cost) == ("B-14", 12, Decimal("0.85"))
    assert Part.objects.get(name="1M 1/2W").cost == Decimal("0.0042")
    assert Move.objects.get(part=part).words == "read in from parts.csv, line 2"
    assert stock.check() == []
    assert " 22u" in part.search
    assert [line.made for line in file.lines.all()] == [True, True]


def test_lines_that_cant_be_read_are_left_out_and_the_others_done(shop, owner):
    read_in(f"{TWO}gizmo,What,,1,1\n", owner)
    assert Part.objects.count() == 2


def test_reading_the_same_file_twice_does_nothing_the_second_time(shop, owner):
    read_in(TWO, owner)
    assert {each.does for each in plan_of(TWO).lines} == {Does.NOTHING}
    with pytest.raises(NotAllowedYet, match="No line"):
        read_in(TWO, owner)


def test_if_the_stock_moved_on_it_has_to_be_looked_at_again(shop, owner):
    part = PartFactory(name="22u 450V axial")
    lines = lines_of(TWO)
    seal = importing.plan(lines).seal
    stock.receive(part, quantity=1, cost_each=Decimal(1), by=owner)
    before = rows()
    with pytest.raises(ChangedMeanwhile):
        importing.read_in("parts.csv", lines, seal=seal, by=owner)
    assert rows() == before


def test_a_part_that_is_not_counted_takes_its_word(shop, owner):
    read_in("kind,what it is,how many\nhardware,M4 nut,plenty\n", owner)
    part = Part.objects.get()
    assert (part.is_loose, part.level) == (True, "plenty")
    read_in("kind,what it is,how many\nhardware,M4 nut,out\n", owner)
    part.refresh_from_db()
    assert part.level == "out"


def test_what_comes_where_nothing_was_comes_in_at_its_cost(shop, owner):
    part = PartFactory(name="22u 450V axial")
    file = read_in("kind,what it is,how many,cost\ncapacitor,22u 450V axial,12,0.85\n", owner)
    part.refresh_from_db()
    assert (part.quantity, part.cost) == (12, Decimal("0.85"))
    assert Move.objects.get().why == Move.Why.RECEIVED
    importing.undo(file, by=owner)
    part.refresh_from_db()
    assert (part.quantity, part.cost, part.is_in_use) == (0, 0, True)


def test_a_cost_is_what_was_paid_and_no_file_changes_it(shop, owner):
    part = PartFactory(name="22u 450V axial")
    stock.receive(part, quantity=3, cost_each=Decimal(1), by=owner)
    (line,) = plan_of("kind,what it is,how many,cost\ncapacitor,22u 450V axial,3,0.85\n").lines
    assert line.does is Does.NOTHING
    assert "its cost stays: that comes from what is received" in line.words


def test_a_drawer_that_is_out_of_use_takes_no_parts(shop):
    DrawerFactory(code="B-14", is_in_use=False)
    (line,) = plan_of("kind,what it is,drawer\nfuse,2A,b-14\n").lines
    assert line.words == ["The drawer B-14 is out of use."]


def test_two_lines_in_one_new_drawer_make_it_once(shop, owner):
    read_in("kind,what it is,drawer\nfuse,2A,c-1\nfuse,3A,C-1\n", owner)
    assert list(Drawer.objects.values_list("code", flat=True)) == ["C-1"]


# --- undoing it


def test_undoing_puts_all_back(shop, owner):
    drawer = DrawerFactory(code="B-14")
    part = PartFactory(name="22u 450V axial", volts=400.0, drawer=drawer, price=Decimal("3.500"))
    loose = PartFactory(kind="hardware", name="M4 nut", is_loose=True, level="low")
    stock.receive(part, quantity=3, cost_each=Decimal(1), by=owner)
    before = Part.objects.order_by("pk").values("pk", "volts", "drawer", "price", "quantity", "cost", "level")
    then = list(before)
    file = read_in(
        "kind,what it is,rated volts,drawer,how many,price of one,make\n"
        "capacitor,22u 450V axial,450,B-99,12,2.50,\nhardware,M4 nut,,,plenty,,\n"
        "fuse,2A slow,,C-1,5,,\njack,Jack,,C-1,,,\n",
        owner,
    )
    assert Part.objects.count() == 4
    undone = importing.undo(file, by=owner)
    assert undone == importing.Undone(back=4, stay=())
    assert list(before.filter(pk__in=[part.pk, loose.pk])) == then
    assert not Part.objects.filter(name="Jack").exists()
    fuse = Part.objects.get(name="2A slow")  # it has moves, and moves stay
    assert (fuse.is_in_use, fuse.quantity) == (False, 0)
    assert set(Drawer.objects.values_list("code", flat=True)) == {"B-14", "C-1"}
    assert stock.check() == []


def test_what_somebody_touched_since_stays_and_is_named(shop, owner, bench):
    PartFactory(name="22u 450V axial", volts=400.0)
    file = read_in(
        "kind,what it is,rated volts,how many\n"
        "capacitor,22u 450V axial,450,\nfuse,2A slow,,5\njack,Jack,,\nsocket,Octal,,\ncord,Cord,,\n",
        owner,
    )
    Part.objects.filter(name="22u 450V axial").update(volts=500.0)
    stock.use_on_job(Part.objects.get(name="2A slow"), JobFactory(), by=bench)
    Offer.objects.create(part=Part.objects.get(name="Jack"), supplier=SupplierFactory(), price=Decimal(1))
    octal = Part.objects.get(name="Octal")
    octal.asides.create(job=JobFactory(), quantity=1, by=bench)
    undone = importing.undo(file, by=owner)
    assert undone.back == 1
    assert dict(undone.stay) == {
        2: "somebody changed “rated volts” since",
        3: "parts came or went since",
        4: "somebody changed the part since",
        5: "something else needs it meanwhile",
    }
    assert Part.objects.get(name="2A slow").quantity == 4
    assert Charge.objects.count() == 1
    assert not Part.objects.filter(name="Cord").exists()
    assert "line 3 stays" in str(timeline.of(file).first().changes)


def test_a_file_is_undone_once(shop, owner):
    file = read_in(TWO, owner)
    importing.undo(file, by=owner)
    with pytest.raises(NotAllowedYet, match="undone already"):
        importing.undo(file, by=owner)


def test_a_file_that_was_undone_can_be_read_in_again(shop, owner):
    importing.undo(read_in(TWO, owner), by=owner)
    read_in(TWO, owner)
    part = Part.objects.get(name="22u 450V axial")
    assert (part.is_in_use, part.quantity, part.cost) == (True, 12, Decimal("0.85"))
    assert stock.check() == []


# --- the pages


def upload(tablet, text, name="parts.csv"):
    file = io.BytesIO(text if isinstance(text, bytes) else text.encode())
    file.name = name
    return tablet.post("/parts/import/", {"file": file})


def test_a_file_is_looked_at_said_yes_to_and_undone(as_owner):
    before = rows()
    page = upload(as_owner, f"{TWO}gizmo,What,,1,1\n")
    assert page.status_code == 200
    assert rows() == before
    said = page.content.decode()
    assert "a new capacitor: 22 µF, 450 V, axial" in said
    assert "“gizmo” is none of these" in said
    done = as_owner.send("/parts/import/yes/", {"parcel": page.context["parcel"]})
    file = Import.objects.get()
    assert done.headers["Location"] == f"/parts/import/{file.pk}/"
    assert Part.objects.count() == 2
    assert "12 come in at 0.85 each" in as_owner.get(done.headers["Location"]).content.decode()
    as_owner.send(f"/parts/import/{file.pk}/undo/")
    assert not Part.objects.filter(is_in_use=True).exists()
    assert "is put back" in as_owner.get(done.headers["Location"]).content.decode()


def test_if_the_stock_moved_on_the_page_shows_the_plan_anew(as_owner, owner):
    part = PartFactory(name="22u 450V axial")
    page = upload(as_owner, TWO)
    stock.receive(part, quantity=1, cost_each=Decimal(1), by=owner)
    again = as_owner.send("/parts/import/yes/", {"parcel": page.context["parcel"]})
    assert again.status_code == 409
    assert "The stock changed while you looked" in again.content.decode()
    assert "how many: 1 → 12" in again.content.decode()
    assert as_owner.send("/parts/import/yes/", {"parcel": again.context["parcel"]}).status_code == 302
    part.refresh_from_db()
    assert part.quantity == 12


@pytest.mark.parametrize(
    ("data", "sentence"),
    [
        (b"", "That file is empty"),
        (b"PK\x03\x04", "a spreadsheet’s own file"),
        (b"x" * 1_000_001, "larger than 1 MB"),
        (b"what it is\n" + b"2A\n" * 200_000, "more than 1,000 lines"),
        (b'what it is\n"2A\n', "quotes of line 2"),
    ],
    ids=range(5),
)
def test_a_hostile_file_gets_words_and_writes_nothing(as_owner, data, sentence):
    before = rows()
    answer = upload(as_owner, data)
    assert answer.status_code == 422
    assert sentence in answer.content.decode()
    assert rows() == before


def test_what_stands_in_a_file_is_shown_as_text(as_owner):
    page = upload(
        as_owner, "kind,what it is\nfuse,<script>alert(1)</script>\n", name="<b>.csv"
    ).content.decode()
    assert "<script>alert" not in page
    assert "<b>.csv" not in page


def test_a_parcel_that_was_tampered_with_is_refused(as_owner):
    parcel = upload(as_owner, TWO).context["parcel"]
    answer = as_owner.send("/parts/import/yes/", {"parcel": parcel[:-3] + "abc"})
    assert answer.status_code == 422
    assert "Choose the file again" in answer.content.decode()
    assert not Part.objects.exists()


def test_only_the_owner_reads_files_in(as_bench):
    assert upload(as_bench, TWO).status_code == 403
    assert as_bench.get("/parts/files/").status_code == 200


# --- there and back


def test_what_was_taken_out_can_be_read_in_again_and_says_nothing_new(as_owner, owner):
    drawer = DrawerFactory(code="=B-14")
    part = PartFactory(
        name="-22u, “axial”", value=22e-6, tolerance=20.0, volts=450.0, hottest=105.0, drawer=drawer,
        note='=HYPERLINK("x")', price=Decimal("1.234"), keep=3,
    )  # fmt: skip
    PartFactory(kind="resistor", name="@1M", value=1.0000045e6, watts=0.5, price=Decimal("2.5"))
    PartFactory(kind="fuse", name="2A", value=2.0, price=Decimal(1234))
    PartFactory(kind="hardware", name="M4 nut", is_loose=True, level="low")
    stock.receive(part, quantity=3, cost_each=Decimal("1.234"), by=owner)
    out = as_owner.get("/parts/files/parts.csv").content
    assert out.startswith(csv_out.MARK.encode())
    assert b",=HYPERLINK" not in out
    plan = importing.plan(files.read_parts(out, "USD").lines)
    assert [(each.does, each.words) for each in plan.lines] == [(Does.NOTHING, ["stands there already"])] * 4
