"""The pages of tubes and sets."""

from decimal import Decimal

import pytest

from inventory import stock, tubes
from inventory.models import Tube, TubeSet
from tests.factories import JobFactory, PartFactory

READING = {
    "current": "34,5 mA", "plate_volts": "400", "screen_volts": "400", "grid_volts": "−48", "tester": "Bench",
    "transconductance": "5.2",
}  # fmt: skip


@pytest.fixture
def part(shop, bench):
    part = PartFactory(kind="tube", name="6L6GC", designation="6L6GC", price=Decimal("30"))
    stock.receive(part, quantity=12, cost_each=Decimal("12"), by=bench)
    return part


def measured(part, by, *milliamps):
    made = []
    for each in milliamps:
        tube = tubes.log(part, by=by)
        tubes.measure(
            tube,
            plate_volts=400.0,
            screen_volts=400.0,
            grid_volts=-48.0,
            current=each / 1000,
            tester="Bench",
            by=by,
        )
        made.append(tube)
    return made


def test_a_tube_is_labelled_and_measured(as_bench, part):
    answer = as_bench.send("/tubes/new/", {"part": part.pk, "make": "Corvane"})
    tube = Tube.objects.get()
    assert answer.headers["Location"] == f"/tubes/{tube.pk}/"
    assert as_bench.send(f"/tubes/{tube.pk}/measure/", READING).status_code == 302
    reading = tube.readings.get()
    assert (reading.current, reading.grid_volts) == (0.0345, -48.0)
    assert reading.transconductance == pytest.approx(0.0052)
    assert "34.5 mA" in as_bench.get("/tubes/").content.decode()


def test_a_used_tube_says_which_job_it_came_out_of(as_bench, part):
    job = JobFactory()
    as_bench.send("/tubes/new/", {"part": part.pk, "job": job.claim.lower()})
    tube = Tube.objects.get()
    assert (tube.came_from, tube.is_used) == (job, True)
    assert job.claim[:4] in as_bench.get(f"/tubes/{tube.pk}/").content.decode()


@pytest.mark.parametrize(
    ("field", "text", "sentence"),
    [
        ("current", "", "Write what it drew"),
        ("current", "34 V", "in volts"),
        ("plate_volts", "", "what stood at the plate"),
        ("grid_volts", "", "what stood at the grid"),
        ("transconductance", "much", "Write it in mA/V"),
    ],
)
def test_a_reading_that_can_not_be_read_says_how_to_write_it(as_bench, bench, part, field, text, sentence):
    tube = tubes.log(part, by=bench)
    answer = as_bench.send(f"/tubes/{tube.pk}/measure/", {**READING, field: text})
    assert answer.status_code == 422
    assert sentence in answer.content.decode()
    assert "Bench" in answer.content.decode()  # nothing typed is lost
    assert not tube.readings.exists()


def test_the_next_tube_is_offered_the_conditions_of_the_last(as_bench, bench, part):
    measured(part, bench, 30)
    tube = tubes.log(part, by=bench)
    form = as_bench.get(f"/tubes/{tube.pk}/").context["reading_form"]
    assert [form[name].value() for name in ("plate_volts", "grid_volts", "tester")] == [
        "400 V",
        "−48 V",
        "Bench",
    ]


def test_the_best_pairs_are_shown_and_one_is_made(as_bench, bench, part):
    one, two, three, four = measured(part, bench, 30, 35, 30.5, 35.2)
    page = as_bench.get("/tube-sets/")
    (group,) = page.context["groups"]
    assert [[each["tube"].pk for each in row["tubes"]] for row in group["sets"]] == [
        [two.pk, four.pk],
        [one.pk, three.pk],
    ]
    as_bench.send("/tube-sets/make/", {"tubes": [two.pk, four.pk]})
    made = TubeSet.objects.get()
    assert set(made.tubes.all()) == {two, four}
    shown = as_bench.get(f"/tube-sets/{made.pk}/").content.decode()
    assert "well matched" in shown
    assert "S-0001" in shown


def test_pairs_that_are_too_far_apart_are_not_offered(as_bench, bench, part):
    measured(part, bench, 30, 40)
    assert not as_bench.get("/tube-sets/?size=2&within=10").context["groups"][0]["sets"]
    assert as_bench.get("/tube-sets/?size=2&within=").context["groups"][0]["sets"]


def test_a_set_is_used_on_a_job_by_its_claim(as_bench, bench, part):
    made = tubes.make_set(measured(part, bench, 30, 31), by=bench)
    job = JobFactory(state="on-the-bench")
    assert as_bench.send(f"/tube-sets/{made.pk}/use/", {"job": job.claim}).status_code == 302
    made.refresh_from_db()
    assert made.job == job
    assert job.charges.get().quantity == 2


@pytest.mark.parametrize(("claim", "sentence"), [("", "Say on which job"), ("soup", "not a claim number")])
def test_a_claim_that_is_none_is_said_beside_the_box(as_bench, bench, part, claim, sentence):
    made = tubes.make_set(measured(part, bench, 30, 31), by=bench)
    answer = as_bench.send(f"/tube-sets/{made.pk}/use/", {"job": claim})
    assert answer.status_code == 422
    assert sentence in answer.content.decode()


def test_a_set_is_sold_or_taken_apart(as_bench, bench, part):
    sold = tubes.make_set(measured(part, bench, 30, 31), by=bench)
    apart = tubes.make_set(measured(part, bench, 30, 31), by=bench)
    as_bench.send(f"/tube-sets/{sold.pk}/sell/")
    as_bench.send(f"/tube-sets/{apart.pk}/take-apart/")
    part.refresh_from_db()
    assert part.quantity == 10
    assert "Sold" in as_bench.get(f"/tube-sets/{sold.pk}/").content.decode()
    assert "Taken apart" in as_bench.get(f"/tube-sets/{apart.pk}/").content.decode()


def test_a_tube_is_scrapped_with_a_reason(as_bench, bench, part):
    (tube,) = measured(part, bench, 30)
    assert as_bench.send(f"/tubes/{tube.pk}/scrap/", {"words": ""}).status_code == 422
    assert as_bench.send(f"/tubes/{tube.pk}/scrap/", {"words": "Dropped"}).status_code == 302
    assert tube.label in as_bench.get("/tubes/?gone=1").content.decode()


def test_the_counter_sees_tubes_and_changes_nothing(as_counter, bench, part):
    (tube,) = measured(part, bench, 30)
    assert as_counter.get(f"/tubes/{tube.pk}/").status_code == 200
    assert as_counter.send(f"/tubes/{tube.pk}/scrap/", {"words": "x"}).status_code == 403


def test_lists_take_a_constant_number_of_queries(as_bench, bench, part, django_assert_max_num_queries):
    made = measured(part, bench, 30, 31, 32, 33, 34, 35, 36, 37)
    for pair in (made[:2], made[2:4]):
        tubes.make_set(pair, by=bench)
    with django_assert_max_num_queries(12):
        as_bench.get("/tubes/")
    with django_assert_max_num_queries(13):
        as_bench.get("/tube-sets/?size=4&within=")


@pytest.mark.parametrize("text", ["T-0001", "t1", "t 0001"])
def test_a_label_that_is_typed_opens_its_tube(as_bench, bench, part, text):
    (tube,) = measured(part, bench, 30)
    from inventory import tube_labels

    assert tube_labels.address_of(text) == f"/tubes/{tube.pk}/"


def test_a_label_that_is_scanned_opens_its_set(bench, part):
    from inventory import tube_labels

    made = tubes.make_set(measured(part, bench, 30, 31), by=bench)
    assert tube_labels.address_of(f"http://bench.local:8000/tube-sets/{made.pk}/") == f"/tube-sets/{made.pk}/"
    assert tube_labels.address_of("http://bench.local:8000/tube-sets/999/") is None
    assert tube_labels.address_of("22u 450V") is None


def test_labels_say_what_was_measured_at_what(bench, part):
    from inventory import tube_labels

    made = tubes.make_set(measured(part, bench, 30, 31), by=bench)
    label = tube_labels.of_set(made, list(tubes.with_readings(made.tubes.order_by("label"))), "x")
    assert label.code == "S-0001"
    assert label.lines == ("6L6GC, pair", "30.0 / 31.0 mA", "at 400 V, screen 400 V, grid −48 V")


def test_the_form_of_a_new_tube_opens_with_the_part_chosen(as_bench, part):
    assert (
        f'<option value="{part.pk}" selected' in as_bench.get(f"/tubes/new/?part={part.pk}").content.decode()
    )


def test_the_label_of_a_set_is_a_paper(as_bench, bench, part):
    made = tubes.make_set(measured(part, bench, 30, 31), by=bench)
    assert as_bench.get(f"/tube-sets/{made.pk}/label/").content.startswith(b"%PDF")


def test_a_part_page_leads_to_its_stand_ins_and_its_tubes(as_bench, bench, part):
    measured(part, bench, 30, 31)
    page = as_bench.get(f"/parts/{part.pk}/").content.decode()
    assert f"/parts/{part.pk}/stand-ins/" in page
    assert "2 of those here have a label of their own" in page
