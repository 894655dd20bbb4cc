"""Who pays no tax, and rates that change while a job is here."""

import datetime as dt
from decimal import Decimal

import pytest
from freezegun import freeze_time

from intake import billing, estimating
from intake.models import Person
from shop import timeline
from shop.models import TaxRate
from tests.factories import JobFactory, PersonFactory, TaxRateFactory
from tests.intake.bills import charged, repaired, row

D = Decimal


@pytest.fixture
def exempt(shop, counter):
    return repaired(
        JobFactory(gear__owner__tax_exempt_number="EX-77", gear__owner__name="Harbour School"), counter
    )


def test_an_exempt_person_pays_no_tax(exempt, counter):
    invoice = billing.issue_invoice(exempt, by=counter)
    assert (invoice.net, invoice.gross, invoice.taxes) == (D("211.40"), D("211.40"), [])
    assert invoice.exempt_number == "EX-77"
    assert all(line.tax_percents == [] for line in invoice.lines.all())


def test_the_number_stands_on_the_draft_the_page_and_the_paper(exempt, counter, as_counter):
    assert "EX-77" in as_counter.get(f"/job/{exempt.claim}/invoice/").content.decode()
    invoice = billing.issue_invoice(exempt, by=counter)
    Person.objects.update(tax_exempt_number="")  # the invoice keeps what it said
    for path in ("", "paper/?view=html"):
        page = as_counter.get(f"/invoice/{invoice.label}/{path}").content.decode()
        assert "No tax is charged: tax exemption number EX-77." in page


def test_who_becomes_exempt_while_the_draft_is_open_is_shown_the_new_sum(shop, counter, as_counter):
    job = repaired(JobFactory(), counter)
    seen = as_counter.get(f"/job/{job.claim}/invoice/").context["draft"].mark
    Person.objects.filter(pk=job.person.pk).update(tax_exempt_number="EX-1")
    answer = as_counter.send(f"/job/{job.claim}/invoice/", {"words": "", "fee": "", "seen": seen})
    assert answer.status_code == 409
    assert not job.invoices.exists()


def test_the_number_is_written_down_with_the_person(as_counter, shop):
    person = PersonFactory(name="Harbour School")
    data = {
        "name": "Harbour School",
        "kind": "school",
        "country": "pt",
        "tax_exempt_number": "EX-77",
        "revision": str(person.revision),
        "phones-TOTAL_FORMS": "0",
        "phones-INITIAL_FORMS": "0",
    }
    assert as_counter.send(f"/people/{person.pk}/edit/", data).status_code == 302
    person.refresh_from_db()
    assert (person.tax_exempt_number, person.country) == ("EX-77", "PT")
    assert any(change["after"] == "EX-77" for change in timeline.of(person).first().changes)
    assert "Pays no tax: exemption number EX-77" in as_counter.get(f"/people/{person.pk}/").content.decode()


def test_a_country_has_two_letters(as_counter, shop):
    data = {
        "name": "X",
        "kind": "person",
        "country": "1!",
        "phones-TOTAL_FORMS": "0",
        "phones-INITIAL_FORMS": "0",
    }
    answer = as_counter.send("/people/new/", {**data, "revision": "0"})
    assert answer.status_code == 422 and "two letters of ISO 3166" in answer.content.decode()


# --- Rates that change -----------------------------------------------------------------------------------


def agreed(counter, day: str):
    """A job with an estimate over a part for $100, agreed to on a day."""
    with freeze_time(f"{day} 15:00:00"):
        job = JobFactory()
        charged(job, "part", "Transformer", "100", by=counter)
        estimate = estimating.make_estimate(
            job,
            lines=[row("part", "Transformer", "1", "100")],
            words="",
            valid_until=dt.date(2026, 12, 31),
            by=counter,
        )
        estimating.answer(estimate, yes=True, how="phone", who="Dana", by=counter)
    return job


@pytest.fixture
def rise(shop):
    """From 1 July 2026 on it is 8 % instead of 7.25 %."""
    TaxRate.objects.update(valid_to=dt.date(2026, 6, 30))
    TaxRateFactory(percent=D(8), valid_from=dt.date(2026, 7, 1))


def test_an_invoice_charges_the_rates_of_its_own_day_and_the_estimate_keeps_its_own(rise, counter):
    job = agreed(counter, "2026-06-29")
    invoice = billing.issue_invoice(job, by=counter, on=dt.date(2026, 7, 2))
    assert job.estimates.get().gross == D("107.25")
    assert invoice.gross == 108


def test_the_draft_says_that_the_rates_made_the_difference(rise, counter, as_counter):
    job = agreed(counter, "2026-06-29")
    said = billing.rates_changed(job, on=dt.date(2026, 7, 2))
    assert (said.then, said.now) == (D("107.25"), D(108))
    with freeze_time("2026-07-02 15:00:00"):
        page = as_counter.get(f"/job/{job.claim}/invoice/")
    assert "The tax rates changed since estimate 1." in page.content.decode()


def test_the_same_rates_say_nothing(rise, counter):
    assert billing.rates_changed(agreed(counter, "2026-06-29"), on=dt.date(2026, 6, 30)) is None


def test_a_day_is_that_of_the_shops_own_calendar(rise, counter):
    # 02:00 UTC on 1 July is still 30 June in New York, where the shop is
    with freeze_time("2026-07-01 02:00:00"):
        job = JobFactory()
        charged(job, "part", "Transformer", "100", by=counter)
        assert billing.issue_invoice(job, by=counter).gross == D("107.25")
