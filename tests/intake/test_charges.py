"""Charges: lines of what a job costs, until an invoice takes them up."""

import datetime as dt
from decimal import Decimal

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from intake import charges
from intake.models import Charge, Invoice, State
from shop import timeline
from shop.errors import ChangedMeanwhile, NotAllowedYet
from shop.models import Shop
from tests.factories import ChargeFactory, JobFactory

PART = {"kind": "part", "text": "Capacitor 22 µF 450 V", "quantity": "2", "unit_price": "6.50"}


def invoiced(charge):
    job = charge.job
    invoice = Invoice.objects.create(
        series="INV",
        number=Invoice.objects.count() + 1,
        job=job,
        person=job.person,
        issued_on=dt.date(2026, 11, 25),
        by=charge.by,
        seller={},
        buyer={},
        currency="USD",
        prices_include_tax=False,
        net=0,
        gross=0,
    )
    Charge.objects.filter(pk=charge.pk).update(invoice=invoice)
    return invoice


@pytest.mark.parametrize("kind", ["labour", "part", "fee"])
def test_a_charge_is_kept(as_counter, counter, kind):
    job = JobFactory()
    assert as_counter.send(f"/job/{job.claim}/charge/", {**PART, "kind": kind}).status_code == 302
    line = job.charges.get()
    assert (line.kind, line.quantity, line.unit_price, line.by) == (kind, 2, Decimal("6.5"), counter)
    assert line.unit == ("h" if kind == "labour" else "")
    assert timeline.of(job).get().words == f"charged {kind}"


def test_charges_stand_in_the_order_they_were_written(as_bench):
    job = JobFactory()
    for text in ("First", "Second", "Third"):
        as_bench.send(f"/job/{job.claim}/charge/", {**PART, "text": text})
    assert [line.text for line in job.charges.all()] == ["First", "Second", "Third"]


def test_what_it_comes_to_stands_below_them(as_bench):
    job = JobFactory()
    as_bench.send(f"/job/{job.claim}/charge/", PART)
    discount = {"kind": "discount", "text": "For waiting", "quantity": "1", "unit_price": "3"}
    answer = as_bench.send(f"/job/{job.claim}/charge/", discount, htmx=True)
    page = answer.content.decode()
    assert "$13.00" in page
    assert "-$3.00" in page
    assert "$10.00" in page


def test_a_discount_takes_off_no_more_than_there_is(as_bench):
    job = JobFactory()
    as_bench.send(f"/job/{job.claim}/charge/", PART)
    discount = {"kind": "discount", "text": "For waiting", "quantity": "1", "unit_price": "13.01"}
    answer = as_bench.send(f"/job/{job.claim}/charge/", discount)
    assert answer.status_code == 422
    assert b"takes off more than there is to pay" in answer.content
    assert b'value="For waiting"' in answer.content
    assert job.charges.count() == 1


def test_a_charge_that_a_discount_rests_on_is_not_struck_out(as_bench, bench):
    job = JobFactory()
    part = ChargeFactory(job=job, unit_price=Decimal(10), by=bench)
    ChargeFactory(job=job, kind="discount", unit_price=Decimal(5), by=bench, position=2)
    assert as_bench.send(f"/job/{job.claim}/charge/{part.pk}/strike/").status_code == 422
    part.refresh_from_db()
    assert part.struck_at is None


def test_a_charge_is_changed_with_a_revision(as_bench, bench):
    line = ChargeFactory(by=bench)
    here = f"/job/{line.job.claim}/charge/{line.pk}/"
    assert b'value="6.50"' in as_bench.get(here).content
    assert as_bench.send(here, {**PART, "unit_price": "7", "revision": 1}).status_code == 302
    line.refresh_from_db()
    assert (line.unit_price, line.quantity, line.revision) == (7, 2, 2)
    changes = {c["what"]: (c["before"], c["after"]) for c in timeline.of(line.job).get().changes}
    assert changes == {"Price each": ("$6.50", "$7.00"), "Quantity": ("1", "2")}
    fields = {**PART, "quantity": Decimal(3), "unit_price": Decimal(1)}
    with pytest.raises(ChangedMeanwhile):
        charges.change(line, **fields, by=bench, revision=1)


def test_a_charge_is_struck_out_and_put_back(as_bench, bench):
    line = ChargeFactory(by=bench)
    here = f"/job/{line.job.claim}/charge/{line.pk}"
    as_bench.send(f"{here}/strike/")
    assert not Charge.objects.standing().exists()
    as_bench.send(f"{here}/put-back/")
    assert Charge.objects.standing().get() == line


def test_an_invoiced_charge_stays_as_it_is(as_owner, owner):
    line = ChargeFactory(by=owner)
    invoice = invoiced(line)
    here = f"/job/{line.job.claim}/charge/{line.pk}/"
    for path in (here, f"{here}strike/"):
        answer = as_owner.send(path, {**PART, "unit_price": "1", "revision": 1})
        assert answer.status_code == 422
        assert b"is on an invoice" in answer.content
    line.refresh_from_db()
    assert (line.unit_price, line.struck_at) == (Decimal("6.5"), None)
    assert f"on {invoice.label}".encode() in as_owner.get(f"/job/{line.job.claim}/").content


def test_what_brought_a_charge_brings_it_once(bench):
    job = JobFactory()
    fields = {
        "kind": "part",
        "text": "Fuse",
        "quantity": Decimal(1),
        "unit_price": Decimal(1),
        "origin": "move/17",
    }
    first = charges.charge(job, **fields, by=bench)
    with pytest.raises(NotAllowedYet, match="charged already"):
        charges.charge(job, **fields, by=bench)
    charges.strike(first, by=bench)
    charges.charge(job, **fields, by=bench)
    with pytest.raises(NotAllowedYet, match="charged again meanwhile"):
        charges.put_back(first, by=bench)


@pytest.mark.parametrize(
    ("field", "text", "sentence"),
    [
        ("unit_price", "", "Write a price"),
        ("unit_price", "-5", "without a minus"),
        ("unit_price", "six", "is not an amount"),
        ("unit_price", "1,234", "two ways"),
        ("unit_price", "1.0055", "2 decimals"),
        ("unit_price", "999999999999", "more money than can be billed"),
        ("unit_price", "9" * 50, "field-wrong"),
        ("quantity", "", "field-wrong"),
        ("quantity", "0", "above zero"),
        ("quantity", "-1", "above zero"),
        ("quantity", "NaN", "Write a number"),
        ("quantity", "1e400", "field-wrong"),
        ("quantity", "0.0001", "field-wrong"),
        ("text", " ", "Say what it is for"),
        ("text", "x" * 201, "field-wrong"),
        ("kind", "gift", "field-wrong"),
        ("kind", "", "field-wrong"),
    ],
)
def test_a_charge_that_cannot_be_gets_words_and_loses_nothing(as_bench, field, text, sentence):
    job = JobFactory()
    data = {**PART, "text": "Kept as typed", field: text}
    answer = as_bench.send(f"/job/{job.claim}/charge/", data)
    assert answer.status_code == 422
    assert sentence in answer.content.decode()
    assert field == "text" or "Kept as typed" in answer.content.decode()
    assert not job.charges.exists()


def test_more_than_a_bill_can_hold_is_refused(as_bench):
    job = JobFactory()
    answer = as_bench.send(
        f"/job/{job.claim}/charge/", {**PART, "quantity": "99999", "unit_price": "99999999"}
    )
    assert answer.status_code == 422
    assert not job.charges.exists()


def test_a_decimal_comma_is_a_point(as_bench):
    job = JobFactory()
    as_bench.send(f"/job/{job.claim}/charge/", {**PART, "quantity": "1,5", "unit_price": "6,50"})
    assert (job.charges.get().quantity, job.charges.get().unit_price) == (Decimal("1.5"), Decimal("6.5"))


def test_a_job_that_is_gone_takes_no_charges(as_owner, owner):
    job = JobFactory(state=State.COLLECTED)
    line = ChargeFactory(job=job, by=owner)
    assert as_owner.send(f"/job/{job.claim}/charge/", PART).status_code == 422
    assert as_owner.send(f"/job/{job.claim}/charge/{line.pk}/strike/").status_code == 422
    assert Charge.objects.standing().get() == line


@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    data=st.fixed_dictionaries(
        {},
        optional={
            "kind": st.sampled_from(["part", "discount", "labour", "\x00"]),
            "text": st.text(max_size=210),
            "quantity": st.one_of(st.text(max_size=20), st.decimals().map(str)),
            "unit_price": st.one_of(st.text(max_size=20), st.decimals().map(str), st.integers().map(str)),
            "revision": st.one_of(st.just("1"), st.text(max_size=30), st.integers().map(str)),
        },
    )
)
def test_hostile_charges_get_words_and_never_an_error(as_bench, bench, data):
    line = ChargeFactory(by=bench)
    for path in (f"/job/{line.job.claim}/charge/", f"/job/{line.job.claim}/charge/{line.pk}/"):
        assert as_bench.send(path, data).status_code in (302, 409, 422)
    assert as_bench.get(f"/job/{line.job.claim}/").status_code == 200


# --- Discounts in per cent, costs, and what is under warranty ----------------------------------------------


def posted(tablet, job, **data):
    sent = {"kind": "part", "text": "Tube", "quantity": "1", "unit_price": "", **data}
    return tablet.send(f"/job/{job.claim}/charge/", sent)


def test_a_part_without_a_price_gets_the_mark_up_on_its_cost(as_bench, shop):
    Shop.objects.update(parts_markup=Decimal("37.5"))
    job = JobFactory()
    assert posted(as_bench, job, unit_cost="9.10").status_code == 302
    line = job.charges.get()
    assert (line.unit_cost, line.unit_price) == (Decimal("9.10"), Decimal("12.51"))  # 9.10 x 1.375 = 12.5125


def test_a_discount_in_per_cent_takes_its_share_of_what_stands_above_it(as_bench, shop):
    job = JobFactory()
    posted(as_bench, job, unit_price="80")
    posted(as_bench, job, kind="fee", text="Rush", unit_price="20")
    posted(as_bench, job, kind="discount", text="Regular", percent="12,5 %")
    assert job.charges.get(kind="discount").percent == Decimal("12.5")
    page = as_bench.get(f"/job/{job.claim}/").content.decode()
    assert "12.5 %" in page and "-$12.50" in page  # 12.5 % of 100


def test_a_round_share_is_shown_as_people_write_it(as_bench, shop):
    job = JobFactory()
    posted(as_bench, job, unit_price="80")
    posted(as_bench, job, kind="discount", text="Regular", percent="10")
    assert "10 %" in as_bench.get(f"/job/{job.claim}/").content.decode()


def test_what_is_done_under_warranty_costs_nothing_and_says_its_price(as_bench, shop):
    job = JobFactory()
    posted(as_bench, job, unit_price="80", under_warranty="on")
    page = as_bench.get(f"/job/{job.claim}/").content.decode()
    assert "under warranty" in page and "$80.00" in page and "$0.00" in page


@pytest.mark.parametrize(
    ("data", "sentence"),
    [
        ({"percent": "10"}, "Only a discount is given in per cent"),
        ({"kind": "discount", "percent": "10", "unit_price": "5"}, "not both"),
        ({"kind": "discount", "percent": "101"}, "between 0.01 and 100"),
        ({"kind": "discount", "percent": "0"}, "between 0.01 and 100"),
        ({"kind": "discount", "percent": "ten"}, "Write a number"),
        ({"kind": "discount"}, "Write a price"),
        ({"kind": "fee", "unit_cost": "5", "unit_price": "5"}, "Only a part has a cost"),
        ({"kind": "fee", "unit_price": "5", "under_warranty": "on"}, "Only labour and parts"),
        ({}, "Write a price"),
    ],
)
def test_what_goes_with_another_kind_of_charge_is_refused(as_bench, shop, data, sentence):
    job = JobFactory()
    answer = posted(as_bench, job, **data)
    assert answer.status_code == 422
    assert sentence in answer.content.decode()
    assert not job.charges.exists()
