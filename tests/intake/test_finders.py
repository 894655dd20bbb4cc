"""What the search box finds on this floor, and how it reads a claim number."""

import datetime as dt
from decimal import Decimal

import pytest

from intake import claims, finders
from intake.models import Invoice
from shop.errors import Refused
from tests.factories import GearFactory, JobFactory, PersonFactory, PhoneFactory, StaffFactory

pytestmark = pytest.mark.django_db


def titles(hits):
    return [hit.title for hit in hits]


def numbers(hits):
    return [hit.number for hit in hits]


# --- claim numbers


@pytest.mark.parametrize(
    "written", ["{c}", "{c} ", "#{c}", "{bare}", "{lower}", "http://10.0.0.7:8000/t/{c}/"]
)
def test_a_claim_named_whole_leads_to_its_job(shop, written):
    job = JobFactory(month="2611", number=7)
    text = written.format(c=job.claim, bare=job.claim.replace("-", ""), lower=job.claim.lower())
    assert finders.job_named_whole(text) == f"/job/{job.claim}/"


def test_every_wrong_check_character_is_refused_and_opens_nothing(shop):
    job = JobFactory(month="2611", number=7)
    for sign in "0123456789ABCDEFGHJKMNPQRSTUVWXYZ":
        if sign == job.claim[-1]:
            continue
        with pytest.raises(Refused, match="Check it against the ticket"):
            finders.job_named_whole(job.claim[:-1] + sign)
        assert finders.find_jobs(job.claim[:-1] + sign, 8) == []


def _issued(number: int) -> bool:
    return claims.following(2026, 11, number - 1)[0] == number


SWAPS = [(n, int(f"{n}"[::-1])) for n in range(12, 90) if n % 10 > n // 10]


@pytest.mark.parametrize("one, other", [s for s in SWAPS if _issued(s[0]) and _issued(s[1])][:12])
def test_swapped_digits_never_open_the_other_job(shop, one, other):
    job, _other = JobFactory(month="2611", number=one), JobFactory(month="2611", number=other)
    with pytest.raises(Refused):
        finders.job_named_whole(f"2611-{other:04d}-{job.claim[-1]}")


def test_a_claim_that_was_never_given_is_refused_with_a_sentence(shop):
    number, claim = claims.following(2026, 11, 500)
    with pytest.raises(Refused, match=f"No job here has the claim number {claim}"):
        finders.job_named_whole(claim)


@pytest.mark.parametrize("text", ["Whitlow", "CM00412", "555 0142", "2611-0007", "INV-00012"])
def test_other_text_names_no_job(shop, text):
    JobFactory(month="2611", number=7)
    assert finders.job_named_whole(text) is None


@pytest.mark.parametrize(
    "text", ["2611", "2611-", "2611-0", "26110", "2611-0007", "26110007", "2611 0007", "2611-0007-"]
)
def test_the_beginning_of_a_claim_lists_jobs(shop, text):
    job = JobFactory(month="2611", number=7)
    JobFactory(month="2510", number=7)
    assert numbers(finders.find_jobs(text, 8)) == [job.claim]


@pytest.mark.parametrize("text", ["2613", "9999", "26-11"])
def test_what_has_no_month_in_it_is_no_beginning(shop, text):
    JobFactory(month="2611", number=7)
    assert finders.find_jobs(text, 8) == []


# --- words


def test_a_job_in_the_house_is_found_by_owner_and_gear(shop):
    gear = GearFactory(maker="Corvane", model="Meridian 50", owner=PersonFactory(name="Dana Whitlow"))
    job = JobFactory(gear=gear, state="soak-test")
    JobFactory(gear=gear, state="collected")
    hits = finders.find_jobs("whit merid", 8)
    assert [(h.number, h.title, h.detail, h.state) for h in hits] == [
        (job.claim, "Corvane Meridian 50", "Dana Whitlow", "soak-test")
    ]


@pytest.mark.parametrize(
    "text", ["chloe", "CHLOÉ", "vance", "van chl", "0142", "555 01 42", "(555) 0142", "chloe@"]
)
def test_a_person_is_found_however_it_is_typed(shop, text):
    person = PersonFactory(name="Chloé Vance", email="chloe@example.org")
    PhoneFactory(person=person, number="555 0142")
    PhoneFactory(person=person, number="555 0143")
    PersonFactory(name="Somebody Else")
    assert titles(finders.find_people(text, 8)) == ["Chloé Vance"]


def test_names_that_begin_that_way_come_first(shop):
    for name in ("Jo Marsden", "Marla Quist", "Ana Marsh"):
        PersonFactory(name=name)
    assert titles(finders.find_people("mar", 8))[0] == "Marla Quist"


@pytest.mark.parametrize("text", ["corvane", "harbor 22", "C-204 17", "c204", "c20417", "20417"])
def test_gear_is_found_by_maker_model_and_serial(shop, text):
    gear = GearFactory(maker="Corvane", model="Harbor 22", serial="C-204 17")
    GearFactory(maker="Tindall", model="Cadet 60", serial="T9")
    assert [hit.url for hit in finders.find_gear(text, 8)] == [f"/gear/{gear.pk}/"]


def test_no_more_hits_than_asked_for(shop):
    for n in range(12):
        PersonFactory(name=f"Quill {n}")
    assert len(finders.find_people("quill", 8)) == 8


@pytest.mark.parametrize("text", ["--", "%%", "__", "''", "\\\\", "()"])
def test_signs_alone_find_nothing(shop, text):
    JobFactory()
    for find in (finders.find_jobs, finders.find_people, finders.find_gear, finders.find_invoices):
        assert list(find(text, 8)) == []


# --- invoices


@pytest.fixture
def invoice(shop):
    job = JobFactory()
    return Invoice.objects.create(
        series="INV",
        number=12,
        job=job,
        person=job.person,
        issued_on=dt.date(2026, 11, 3),
        by=StaffFactory(),
        seller={},
        buyer={},
        currency="USD",
        prices_include_tax=False,
        net=Decimal("10"),
        gross=Decimal("10"),
    )


@pytest.mark.parametrize("text", ["INV-00012", "inv 12", "inv12", "12", "00012", "INV-12"])
def test_an_invoice_is_found_by_its_number(invoice, text):
    assert [(h.number, h.url) for h in finders.find_invoices(text, 8)] == [
        ("INV-00012", "/invoice/INV-00012/")
    ]


@pytest.mark.parametrize("text", ["INV-00013", "CRN-12", "999999999", "INV", "1 2"])
def test_another_number_finds_no_invoice(invoice, text):
    assert list(finders.find_invoices(text, 8)) == []
