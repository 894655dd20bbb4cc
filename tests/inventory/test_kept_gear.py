"""The list of gear that was kept for parts and isn't taken apart yet."""

from decimal import Decimal as D

import pytest

from intake import keeping
from inventory import stock, using
from tests.factories import PartFactory
from tests.intake.storage import past_deadline

pytestmark = pytest.mark.django_db

PATH = "/parts/kept-gear/"


def kept(by, became="parts", price=D(60)):
    """A job whose gear was left behind, and what became of it."""
    job = past_deadline(by)
    keeping.leave_behind(job, by=by, revision=job.revision)
    job.refresh_from_db()
    fate = keeping.Fate(became=became, words="Nobody came.", price=price)
    keeping.let_go(job, fate, by=by, revision=job.revision)
    return job


def test_an_empty_list_says_so_and_the_parts_lead_to_it(as_counter, shop):
    assert PATH in as_counter.get("/parts/").content.decode()
    assert "No gear waits to be taken apart." in as_counter.get(PATH).content.decode()


def test_gear_leaves_the_list_when_all_its_value_is_on_parts(as_bench, shop, owner):
    job, part = kept(owner), PartFactory()
    page = as_bench.get(PATH).content.decode()
    assert "Nothing taken in yet, $60.00 of its value on no part" in page
    assert f'href="/job/{job.claim}/parts/take-in/"' in page
    using.take_in(part, job, quantity=2, cost_each=D(20), by=owner)
    assert "2 parts taken in, $20.00 of its value on no part" in as_bench.get(PATH).content.decode()
    last = using.take_in(part, job, quantity=1, cost_each=D(20), by=owner)
    assert list(using.to_take_apart()) == []
    stock.undo(last, by=owner)
    assert [each.given for each in using.to_take_apart()] == [2]


def test_gear_without_a_value_leaves_with_its_first_part(shop, owner):
    job = kept(owner, price=None)
    assert list(using.to_take_apart()) == [job]
    move = using.take_in(PartFactory(), job, quantity=1, cost_each=D(0), by=owner)
    assert list(using.to_take_apart()) == []
    stock.undo(move, by=owner)
    assert list(using.to_take_apart()) == [job]


def test_what_was_let_go_otherwise_is_not_on_it(shop, owner):
    kept(owner, became="scrapped", price=None)
    assert list(using.to_take_apart()) == []


def test_whoever_sees_to_no_parts_is_led_to_the_job(as_counter, shop, owner):
    job = kept(owner)
    page = as_counter.get(PATH).content.decode()
    assert f'href="/job/{job.claim}/#parts"' in page and "take-in" not in page


def test_the_list_takes_as_many_queries_whatever_is_on_it(as_bench, shop, owner, django_assert_num_queries):
    kept(owner)
    assert len(list(using.to_take_apart())) == 1
    kept(owner), kept(owner)
    with django_assert_num_queries(1):
        assert [str(each.gear) + str(each.let_go.on) for each in using.to_take_apart()]
