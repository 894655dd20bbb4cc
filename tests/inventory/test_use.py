"""Parts at the bench: scan the drawer on the job's page, and it is used and charged; put aside; given back."""

from decimal import Decimal

import pytest
from django.urls import reverse

from intake import billing, keeping
from intake.models import Charge, Job, LetGo, State
from inventory import aside, counting, scanning, stock, tubes, using
from inventory.models import Aside, Drawer, Move, Part
from shop import timeline
from tests.factories import DrawerFactory, JobFactory, PartFactory
from tests.intake.storage import past_deadline

pytestmark = pytest.mark.django_db


@pytest.fixture
def job(shop) -> Job:
    return JobFactory(state=State.ON_THE_BENCH)


@pytest.fixture
def drawer(shop) -> Drawer:
    return DrawerFactory(code="B-14")


@pytest.fixture
def part(drawer, owner) -> Part:
    """Five, at 2.50, sold at 7.20."""
    part = PartFactory(drawer=drawer, name="22u 450V axial", price=Decimal("7.20"))
    stock.receive(part, quantity=5, cost_each=Decimal("2.50"), by=owner)
    part.refresh_from_db()
    return part


def scan(tablet, job, text, **more):
    return tablet.send(f"/job/{job.claim}/parts/scan/", {"q": text}, **more)


def now(part: Part) -> int:
    part.refresh_from_db()
    return part.quantity


def use(tablet, job, part, **said):
    data = {"part": part.pk, "quantity": "1", "charge": "on", **said}
    return tablet.send(f"/job/{job.claim}/parts/use/", data)


# --- Reading a label


def test_a_label_is_read_whatever_the_shops_computer_was_called_when_it_was_printed(drawer):
    path = reverse("drawer-scan", args=["B-14"])
    for text in (f"http://192.0.2.20:8000{path}", f"https://shop.example{path}", path, "B-14", " b-14 "):
        assert scanning.read(text) == drawer, text


def test_a_parts_own_label_is_read(part):
    assert scanning.read(f"http://192.0.2.20{reverse('part', args=[part.pk])}") == part


@pytest.mark.parametrize(
    "text",
    ["", "B-15", "http://192.0.2.20/t/2611-0007-K/", "/d/", "http://[", "/parts/999999/", "\x00", "//"],
)
def test_what_is_no_label_of_the_stock_is_none(drawer, text):
    assert scanning.read(text) is None


# --- Scanned on a job's page


def test_scan_job_scan_drawer_and_the_part_is_used_and_charged(as_bench, job, part, drawer):
    response = scan(as_bench, job, f"http://192.0.2.20{reverse('drawer-scan', args=['B-14'])}", htmx=True)
    assert response.status_code == 200
    assert "Used 1 × 22u 450V axial, charged $7.20. 4 are left in B-14." in response.content.decode()
    assert now(part) == 4
    charge = job.charges.get()
    assert (charge.kind, charge.text, charge.quantity) == ("part", "22u 450V axial", 1)
    assert (charge.unit_price, charge.unit_cost) == (Decimal("7.20"), Decimal("2.50"))
    assert Move.objects.get(why=Move.Why.USED).charge == charge


def test_what_else_is_on_the_page_hears_of_a_scan(as_bench, job, part):
    assert scan(as_bench, job, "B-14", htmx=True)["HX-Trigger"] == "job-changed, charged"


def test_without_scripts_a_scan_comes_back_to_the_jobs_page(as_bench, job, part):
    response = scan(as_bench, job, "B-14")
    assert response.status_code == 302 and response["Location"].endswith(f"/job/{job.claim}/#parts")
    assert "Used 1 ×" in as_bench.get(response["Location"]).content.decode()


def test_a_price_that_isnt_set_comes_from_the_cost_by_the_shops_mark_up(as_bench, shop, job, part):
    """By hand: 2.50 and 40 % are 3.50."""
    shop.parts_markup = Decimal(40)
    shop.save()
    Part.objects.update(price=None)
    scan(as_bench, job, "B-14")
    assert job.charges.get().unit_price == Decimal("3.50")


def test_a_drawer_with_several_parts_asks_which(as_bench, job, part, drawer):
    other = PartFactory(drawer=drawer, name="47u 350V axial")
    response = scan(as_bench, job, "B-14", htmx=True)
    assert response["HX-Redirect"] == f"/job/{job.claim}/parts/use/?drawer={drawer.pk}"
    page = as_bench.get(response["HX-Redirect"]).content.decode()
    assert "22u 450V axial" in page and other.name in page
    assert now(part) == 5


@pytest.mark.parametrize("state", [State.IN_LINE, State.OWNER_TO_DECIDE, State.PARTS_ON_ORDER, State.READY])
def test_a_scan_where_nobody_solders_uses_nothing_and_asks(as_bench, part, state):
    job = JobFactory(state=state)
    response = scan(as_bench, job, "B-14")
    assert response["Location"] == f"/job/{job.claim}/parts/use/?part={part.pk}"
    assert now(part) == 5 and "put aside" in as_bench.get(response["Location"]).content.decode().lower()


def test_another_jobs_tag_scanned_there_opens_that_job(as_bench, job, part):
    other = JobFactory()
    response = scan(as_bench, job, f"http://192.0.2.20/t/{other.claim}/")
    followed = as_bench.get(response["Location"])
    assert followed.status_code == 302 and other.claim in followed["Location"]
    assert now(part) == 5


def test_words_typed_into_the_box_look_for_a_part(as_bench, job, part):
    response = scan(as_bench, job, "22u 450V")
    assert response["Location"].startswith(f"/job/{job.claim}/parts/use/?q=")


def test_an_empty_scan_says_how_to_mend_it(as_bench, job):
    response = scan(as_bench, job, " ", htmx=True)
    assert response.status_code == 422 and "Scan a label, or type" in response.content.decode()


def test_the_last_one_goes_once_and_the_other_is_told(as_bench, as_owner, job, part):
    stock.scrap(part, quantity=4, words="bent", by=job.visit.taken_in_by)
    assert scan(as_bench, job, "B-14", htmx=True).status_code == 200
    late = scan(as_owner, job, "B-14", htmx=True)
    assert late.status_code == 422 and "None of 22u 450V axial are free" in late.content.decode()
    assert now(part) == 0 and job.charges.count() == 1


def test_the_second_tap_of_a_scan_uses_nothing(as_bench, job, part):
    for _ in range(2):
        as_bench.send(f"/job/{job.claim}/parts/scan/", {"q": "B-14", "once": "a-key-of-one-showing-x"})
    assert now(part) == 4


def test_a_part_that_is_more_than_the_owner_agreed_to_asks_first(as_bench, part):
    job = JobFactory(state=State.ON_THE_BENCH, spend_limit=Decimal(5))
    response = scan(as_bench, job, "B-14", htmx=True)
    page = response.content.decode()
    assert response.status_code == 422 and "Ask first" in page and f"/job/{job.claim}/estimate/?" in page
    assert now(part) == 5 and not job.charges.exists()


def test_a_job_that_is_over_takes_no_parts(as_bench, part):
    job = JobFactory(state=State.COLLECTED)
    assert use(as_bench, job, part).status_code == 422
    assert now(part) == 5


def test_the_counter_sees_the_parts_of_a_job_and_uses_none(as_counter, job, part):
    assert as_counter.get(f"/job/{job.claim}/parts/").status_code == 200
    assert scan(as_counter, job, "B-14").status_code == 403
    assert now(part) == 5


def test_a_tubes_own_label_opens_it_for_this_job(as_bench, bench, job):
    part = PartFactory(kind="tube", name="EL34")
    stock.receive(part, quantity=1, cost_each=Decimal(9), by=bench)
    tube = tubes.log(part, by=bench)
    for text in (tube.label, f"http://192.0.2.20{reverse('tube', args=[tube.pk])}"):
        response = scan(as_bench, job, text)
        assert response["Location"] == f"{reverse('tube', args=[tube.pk])}?job={job.claim}"
    assert f'value="{job.claim}"' in as_bench.get(response["Location"]).content.decode()


def test_where_every_tube_has_a_label_a_scan_of_the_drawer_asks_which(as_bench, bench, job, drawer):
    """One of two has a label: the other goes; then the labelled one is left, and goes by its label."""
    part = PartFactory(kind="tube", name="EL34", drawer=drawer)
    stock.receive(part, quantity=2, cost_each=Decimal(9), by=bench)
    tube = tubes.log(part, by=bench)
    assert scan(as_bench, job, "B-14", htmx=True).status_code == 200 and now(part) == 1
    response = scan(as_bench, job, "B-14", htmx=True)
    assert now(part) == 1 and response["HX-Redirect"].endswith(f"?part={part.pk}")
    assert tube.label in as_bench.get(response["HX-Redirect"]).content.decode()


# --- Used by the form


def test_several_are_used_at_a_price_of_ones_own(as_bench, job, part):
    assert use(as_bench, job, part, quantity="3", price="6").status_code == 302
    charge = job.charges.get()
    assert (charge.quantity, charge.unit_price, now(part)) == (3, 6, 2)


def test_what_isnt_charged_is_used_all_the_same(as_bench, job, part):
    use(as_bench, job, part, charge="")
    assert now(part) == 4 and not job.charges.exists()
    assert "not charged" in timeline.of(job).first().words


def test_more_than_the_ledger_knows_of_goes_with_a_reason(as_bench, job, part):
    refused = use(as_bench, job, part, quantity="6")
    assert refused.status_code == 422 and "5 of 22u 450V axial are free" in refused.content.decode()
    assert use(as_bench, job, part, quantity="6", words="a box was never booked").status_code == 302
    assert now(part) == -1


@pytest.mark.parametrize(
    ("said", "why"),
    [
        ({"quantity": "0"}, "from 1 up"),
        ({"quantity": "1.5"}, "whole number"),
        ({"quantity": ""}, "required"),
        ({"price": "abc"}, "7.50"),
    ],
)
def test_bad_input_says_how_to_mend_it_and_keeps_the_rest(as_bench, job, part, said, why):
    response = use(as_bench, job, part, **{"words": "kept all the same", **said})
    page = response.content.decode()
    assert response.status_code == 422 and "kept all the same" in page
    assert now(part) == 5


def test_where_none_is_free_the_page_leads_to_what_would_do_and_to_the_order(as_bench, owner, job, part):
    assert "None is free" not in as_bench.get(f"/job/{job.claim}/parts/use/?part={part.pk}").content.decode()
    stock.scrap(part, quantity=5, words="bent", by=owner)
    page = as_bench.get(f"/job/{job.claim}/parts/use/?part={part.pk}").content.decode()
    for way in (reverse("part-stand-ins", args=[part.pk]), reverse("part-want", args=[part.pk])):
        assert way in page


@pytest.mark.parametrize("number", ["", "abc", "0", "9999999999999", "-1"])
def test_a_part_that_isnt_there_leads_to_the_search(as_bench, job, number):
    assert as_bench.get(f"/job/{job.claim}/parts/use/", {"part": number}).status_code == 200
    assert as_bench.send(f"/job/{job.claim}/parts/use/", {"part": number, "quantity": 1}).status_code == 422


def test_a_loose_part_is_charged_by_hand(as_bench, job, drawer):
    screw = PartFactory(drawer=drawer, is_loose=True, level="plenty", name="M4 screws")
    response = scan(as_bench, job, "B-14")
    assert "isn’t counted" in as_bench.get(response["Location"]).content.decode()
    assert use(as_bench, job, screw).status_code == 422


# --- Given back


def test_what_is_given_back_takes_its_charge_down(as_bench, job, part):
    use(as_bench, job, part, quantity="3")
    move = Move.objects.get(why=Move.Why.USED)
    response = as_bench.send(f"/job/{job.claim}/parts/{move.pk}/back/", {"quantity": "1", "words": "spare"})
    assert response.status_code == 302
    assert (now(part), job.charges.get().quantity) == (3, 2)
    (row,) = using.used_on(job)
    assert (row.still, row.given_back) == (2, 1)
    as_bench.send(f"/job/{job.claim}/parts/{move.pk}/back/", {"quantity": "2"})
    assert now(part) == 5 and job.charges.get().struck_at
    assert "No part was used yet" in as_bench.get(f"/job/{job.claim}/parts/").content.decode()


def test_what_is_on_an_invoice_wants_a_credit_note_first(as_bench, owner, job, part):
    use(as_bench, job, part)
    billing.issue_invoice(job, by=owner, charge_fee=False)
    move = Move.objects.get(why=Move.Why.USED)
    response = as_bench.send(f"/job/{job.claim}/parts/{move.pk}/back/", {"quantity": "1"})
    assert response.status_code == 422 and "credit note" in response.content.decode()
    assert now(part) == 4


def test_more_than_was_used_is_not_given_back(as_bench, job, part):
    use(as_bench, job, part)
    move = Move.objects.get(why=Move.Why.USED)
    response = as_bench.send(f"/job/{job.claim}/parts/{move.pk}/back/", {"quantity": "2"})
    assert response.status_code == 422 and now(part) == 4


def test_another_jobs_use_isnt_given_back_here(as_bench, job, part):
    use(as_bench, JobFactory(state=State.ON_THE_BENCH), part)
    move = Move.objects.get(why=Move.Why.USED)
    assert as_bench.send(f"/job/{job.claim}/parts/{move.pk}/back/", {"quantity": 1}).status_code == 404


# --- Put aside


def put_aside(tablet, job, part, quantity="2"):
    data = {"part": part.pk, "quantity": quantity}
    return tablet.send(f"/job/{job.claim}/parts/aside/", data)


def test_what_is_put_aside_waits_for_its_job_and_is_used_with_one_tap(as_bench, part):
    job = JobFactory(state=State.IN_LINE)
    assert put_aside(as_bench, job, part).status_code == 302
    assert (now(part), aside.free_of(part)) == (5, 3)
    kept = Aside.objects.get()
    response = as_bench.send(f"/job/{job.claim}/parts/aside/{kept.pk}/use/", htmx=True)
    assert "Used 2 ×" in response.content.decode()
    assert (now(part), aside.free_of(part), job.charges.get().quantity) == (3, 3, 2)


def test_what_is_put_aside_for_another_job_is_not_taken(as_bench, job, part):
    other = JobFactory(state=State.IN_LINE)
    put_aside(as_bench, other, part, "5")
    response = scan(as_bench, job, "B-14", htmx=True)
    assert response.status_code == 422 and other.claim in response.content.decode()
    assert now(part) == 5


def test_what_is_let_go_of_is_free_again(as_bench, job, part):
    put_aside(as_bench, job, part, "5")
    kept = Aside.objects.get()
    assert as_bench.send(f"/job/{job.claim}/parts/aside/{kept.pk}/let-go/", htmx=True).status_code == 200
    assert aside.free_of(part) == 5


def test_more_than_is_free_is_not_put_aside(as_bench, job, part):
    response = put_aside(as_bench, job, part, "6")
    assert response.status_code == 422 and not Aside.objects.exists()


def test_what_was_used_meanwhile_isnt_used_again(as_bench, job, part):
    put_aside(as_bench, job, part)
    kept = Aside.objects.get()
    aside.let_go_of(kept, by=kept.by)
    assert as_bench.send(f"/job/{job.claim}/parts/aside/{kept.pk}/use/", htmx=True).status_code == 422
    assert now(part) == 5


# --- The panel


def test_the_panel_takes_a_fixed_number_of_queries(as_bench, bench, job, part, django_assert_max_num_queries):
    def queries() -> int:
        with django_assert_max_num_queries(60) as seen:
            assert as_bench.part(f"/job/{job.claim}/parts/").status_code == 200
        return len(seen)

    stock.use_on_job(part, job, by=bench)
    aside.put_aside(part, job, quantity=1, by=bench)
    few = queries()
    for _ in range(4):
        other = PartFactory(drawer=DrawerFactory())
        stock.harvest(other, quantity=3, by=bench)
        stock.use_on_job(other, job, by=bench)
        aside.put_aside(other, job, quantity=1, by=bench)
    assert queries() == few


def test_the_jobs_page_shows_its_parts(as_bench, job, part):
    use(as_bench, job, part)
    page = as_bench.get(f"/job/{job.claim}/").content.decode()
    assert 'id="parts"' in page and "Give back: 22u 450V axial" in page


def test_two_uses_under_one_name_are_told_apart_when_one_comes_back(bench, job, part):
    first = stock.use_on_job(part, job, by=bench)
    stock.use_on_job(part, job, quantity=2, by=bench)
    stock.give_back(first, by=bench)
    assert [row.still for row in using.used_on(job)] == [0, 2]


# --- Gear let go


@pytest.fixture
def kept_for_parts(owner) -> Job:
    """A head that was left behind and kept for parts at 30."""
    job = past_deadline(owner)
    job = keeping.leave_behind(job, by=owner, revision=job.revision)
    fate = keeping.Fate(
        became=LetGo.Became.PARTS, words="Nobody answered three letters.", to_whom="", price=Decimal(30)
    )
    keeping.let_go(job, fate, by=owner, revision=job.revision)
    return Job.objects.get(pk=job.pk)


def take_in(tablet, job, part, quantity="2", cost="10"):
    data = {"part": part.pk, "quantity": quantity, "cost": cost}
    return tablet.send(f"/job/{job.claim}/parts/take-in/", data)


def test_gear_kept_for_parts_says_where_they_are_taken_in(as_bench, kept_for_parts):
    assert any("take them into stock" in entry.words for entry in timeline.of(kept_for_parts))
    assert "Take parts in" in as_bench.get(f"/job/{kept_for_parts.claim}/parts/").content.decode()


def test_its_parts_come_in_at_a_share_of_its_value(as_bench, kept_for_parts, part):
    assert take_in(as_bench, kept_for_parts, part).status_code == 302
    move = Move.objects.get(why=Move.Why.LET_GO)
    assert (move.quantity, move.cost, move.job, now(part)) == (2, Decimal(10), kept_for_parts, 7)
    assert using.value_left(kept_for_parts) == Decimal(10)


def test_they_cost_no_more_together_than_the_gear_was_kept_at(as_bench, kept_for_parts, part):
    take_in(as_bench, kept_for_parts, part)
    response = take_in(as_bench, kept_for_parts, part, "1", "10.50")
    assert response.status_code == 422 and "$10.00 is left" in response.content.decode()
    assert now(part) == 7
    assert take_in(as_bench, kept_for_parts, part, "1", "10").status_code == 302
    assert take_in(as_bench, kept_for_parts, part, "5", "0").status_code == 302


def test_what_was_undone_gives_its_value_back(as_bench, bench, kept_for_parts, part):
    take_in(as_bench, kept_for_parts, part)
    stock.undo(Move.objects.get(why=Move.Why.LET_GO), by=bench)
    assert using.value_left(kept_for_parts) == Decimal(30) and using.taken_from(kept_for_parts) == []


def test_gear_that_wasnt_kept_for_parts_gives_none(as_bench, job, part):
    assert take_in(as_bench, job, part).status_code == 422
    assert now(part) == 5 and not Charge.objects.exists()


# --- Anything typed


@pytest.mark.parametrize(
    "text", ["\x00", "a\x00b", "1u 2u 3u", "10-5uF", "9" * 400, "💡", "/" * 300, "%", "'; --"]
)
def test_the_boxes_stand_anything(as_bench, job, part, text):
    assert as_bench.get(f"/job/{job.claim}/parts/use/", {"q": text}).status_code == 200
    assert as_bench.get(f"/job/{job.claim}/parts/take-in/", {"q": text}).status_code == 200
    assert scan(as_bench, job, text).status_code in (302, 422)
    assert (
        as_bench.get(f"/counting/{counting.begin(by=part.moves.get().by).pk}/scan/", {"q": text}).status_code
        == 302
    )
    assert now(part) == 5
