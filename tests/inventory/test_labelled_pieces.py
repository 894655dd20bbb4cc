"""Pieces with labels of their own go by name only: out of the drawer, at a sale, when some are counted too few."""

from decimal import Decimal

import pytest

from intake.models import State
from inventory import counting, stock, tubes
from inventory.models import Tube, TubeSet
from shop.errors import NotAllowedYet
from tests.factories import DrawerFactory, JobFactory, PartFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def job(shop):
    return JobFactory(state=State.ON_THE_BENCH)


@pytest.fixture
def part(shop, bench):
    """Three, of which two have labels: T-0001 and T-0002."""
    part = PartFactory(
        kind="tube", name="6L6GC", designation="6L6GC", price=Decimal("30"), drawer=DrawerFactory()
    )
    stock.receive(part, quantity=3, cost_each=Decimal("12"), by=bench)
    for _ in range(2):
        tubes.log(part, by=bench)
    return part


def left(part):
    part.refresh_from_db()
    return part.quantity, Tube.objects.filter(part=part, gone_at=None).count()


def a_set(part, by):
    for tube in Tube.objects.filter(part=part):
        tubes.measure(tube, plate_volts=400.0, grid_volts=-48.0, current=0.03, by=by)
    return tubes.make_set(Tube.objects.filter(part=part), by=by)


OUT = {
    "used": lambda part, by, job, **more: stock.use_on_job(part, job, by=by, **more),
    "sold": lambda part, by, job, **more: stock.sell(part, by=by, **more),
    "scrapped": lambda part, by, job, **more: stock.scrap(part, words="dropped", by=by, **more),
    "sent back": lambda part, by, job, **more: stock.send_back(part, words="broken", by=by, **more),
}
each_way_out = pytest.mark.parametrize("go", OUT.values(), ids=OUT)


@each_way_out
def test_one_without_a_label_goes_unasked_and_no_more(part, bench, job, go):
    go(part, bench, job, quantity=1)
    with pytest.raises(stock.AskWhich, match=r"have labels of their own \(T-0001, T-0002\). Say which goes"):
        go(part, bench, job, quantity=1)
    assert left(part) == (2, 2)


@each_way_out
def test_more_than_have_no_label_are_not_taken_unnamed(part, bench, job, go):
    with pytest.raises(stock.AskWhich, match="1 of 6L6GC has no label of its own, and 2 would go"):
        go(part, bench, job, quantity=2)
    assert left(part) == (3, 2)


@each_way_out
def test_those_that_are_named_go(part, bench, job, go):
    move = go(part, bench, job, quantity=2, tubes=Tube.objects.all())
    assert left(part) == (1, 0)
    assert set(Tube.objects.values_list("move", flat=True)) == {move.pk}


@each_way_out
def test_no_words_make_a_labelled_piece_go_unnamed(part, bench, job, go):
    stock.sell(part, quantity=1, by=bench)
    with pytest.raises(NotAllowedYet):
        go(
            part,
            bench,
            job,
            quantity=1,
            **({} if go in (OUT["scrapped"], OUT["sent back"]) else {"words": "x"}),
        )
    assert left(part) == (2, 2)


@each_way_out
def test_half_a_set_does_not_go_and_a_whole_one_is_gone(part, bench, job, go):
    made = a_set(part, bench)
    one = made.tubes.first()
    with pytest.raises(NotAllowedYet, match="is in set S-0001"):
        go(part, bench, job, quantity=1, tubes=[one])
    move = go(part, bench, job, quantity=2, tubes=made.tubes.all())
    made.refresh_from_db()
    assert made.gone_at == move.at and made.job == move.job


def test_a_receipt_is_not_undone_from_under_its_labels(part, bench):
    tubes.log(part, by=bench)
    with pytest.raises(stock.AskWhich, match="T-0001, T-0002, T-0003. Scrap those"):
        stock.undo(part.moves.get(), by=bench)
    assert left(part) == (3, 3)


# --- Counted


def test_a_count_of_fewer_than_have_labels_asks_which_is_gone(part, bench):
    with pytest.raises(stock.AskWhich, match=r"\(T-0001, T-0002\), and 1 was counted. Scrap what is gone"):
        stock.count(part, counted=1, by=bench)
    tubes.scrap(Tube.objects.first(), words="not there", by=bench)
    stock.count(part, counted=1, by=bench)
    assert left(part) == (1, 1)


def test_a_round_that_found_fewer_than_have_labels_leads_to_them(as_bench, part, bench):
    a_round = counting.begin(by=bench)
    counting.write_down(a_round, part.drawer, {part: 1}, by=bench)
    gone = Tube.objects.get(label="T-0002")
    page = as_bench.get(f"/counting/{a_round.pk}/differences/").content.decode()
    assert "1 was counted. Scrap what is gone on its own page first." in page
    assert f'href="/tubes/{gone.pk}/"' in page
    refused = as_bench.send(f"/counting/{a_round.pk}/post/", {"revision": 1})
    assert refused.status_code == 422 and "Count again first: 6L6GC" in refused.content.decode()
    assert left(part) == (3, 2)
    tubes.scrap(gone, words="not there", by=bench)
    counting.write_down(a_round, part.drawer, {part: 1}, by=bench)
    assert as_bench.send(f"/counting/{a_round.pk}/post/", {"revision": 2}).status_code == 302
    assert left(part) == (1, 1)


def test_differences_are_read_in_as_many_queries_whatever_has_a_label(part, bench, django_assert_num_queries):
    a_round = counting.begin(by=bench)
    counting.write_down(a_round, part.drawer, {part: 1}, by=bench)
    with django_assert_num_queries(3):
        counting.differences(a_round)
    other = PartFactory(kind="tube", name="EL34", drawer=part.drawer)
    stock.receive(other, quantity=2, cost_each=Decimal(1), by=bench)
    tubes.log(other, by=bench)
    counting.write_down(a_round, part.drawer, {other: 0}, by=bench)
    with django_assert_num_queries(3):
        assert [len(each.labelled) for each in counting.differences(a_round)] == [2, 1]


# --- On the forms


def test_where_each_has_a_label_the_form_of_a_job_asks_which_and_not_how_many(as_bench, part, bench, job):
    stock.sell(part, quantity=1, by=bench)
    address, one = f"/job/{job.claim}/parts/use/", Tube.objects.get(label="T-0001")
    page = as_bench.get(f"{address}?part={part.pk}").content.decode()
    assert "T-0001" in page and 'name="tubes"' in page
    assert page.count('name="quantity"') == 1  # that of what is put aside
    asked = as_bench.send(address, {"part": part.pk, "charge": "on", "quantity": "1"})
    assert asked.status_code == 422
    assert "Each has a label of its own: tick what goes." in asked.content.decode()
    assert as_bench.send(address, {"part": part.pk, "charge": "on", "tubes": [one.pk]}).status_code == 302
    one.refresh_from_db()
    assert (one.job, left(part)) == (job, (1, 1))


def test_where_some_have_labels_the_message_is_beside_them_and_nothing_is_lost(as_bench, part, job):
    address = f"/job/{job.claim}/parts/use/"
    said = {"part": part.pk, "charge": "on", "quantity": "2", "price": "27.50"}
    refused = as_bench.send(address, said)
    page = refused.content.decode()
    assert refused.status_code == 422 and 'value="27.50"' in page
    assert "Which go: 1 of 6L6GC has no label of its own, and 2 would go." in page
    tick = list(Tube.objects.values_list("pk", flat=True))
    assert as_bench.send(address, {**said, "tubes": tick}).status_code == 302
    assert left(part) == (1, 0)


def test_a_set_is_led_to_and_its_tubes_are_not_offered(as_bench, part, bench, job):
    made = a_set(part, bench)
    page = as_bench.get(f"/job/{job.claim}/parts/use/?part={part.pk}").content.decode()
    assert f"/tube-sets/{made.pk}/?job={job.claim}" in page and 'name="tubes"' not in page
    assert TubeSet.objects.get().gone_at is None


def test_labelled_pieces_are_sold_on_the_page_of_their_part(as_bench, part):
    one = Tube.objects.get(label="T-0001")
    said = {"why": "sold", "quantity": "1", "tubes": [one.pk]}
    assert as_bench.send(f"/parts/{part.pk}/move/", said).status_code == 302
    one.refresh_from_db()
    assert one.gone_at and left(part) == (2, 1)
    wrong = as_bench.send(
        f"/parts/{part.pk}/move/", {**said, "why": "counted", "tubes": [Tube.objects.get(gone_at=None).pk]}
    )
    assert wrong.status_code == 422 and "Tick none." in wrong.content.decode()


def test_some_of_the_labelled_ones_come_back_from_a_job_by_name(as_bench, part, bench, job):
    move = stock.use_on_job(part, job, quantity=2, by=bench, tubes=Tube.objects.all())
    address, back = f"/job/{job.claim}/parts/{move.pk}/back/", Tube.objects.get(label="T-0002")
    asked = as_bench.send(address, {"quantity": "1"})
    assert asked.status_code == 422 and "Which come back: Say which" in asked.content.decode()
    assert as_bench.send(address, {"quantity": "1", "tubes": [back.pk]}).status_code == 302
    back.refresh_from_db()
    assert back.gone_at is None and left(part) == (2, 1)
