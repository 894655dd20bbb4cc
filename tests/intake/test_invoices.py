"""Invoices: what a job comes to, the draft, numbers without gaps, and nothing billed twice."""

import datetime as dt
from decimal import Decimal

import pytest
from django.utils import timezone

from intake import billing
from intake.models import Charge, Invoice, InvoiceLine, Job, Series, State
from shop import timeline
from shop.errors import ChangedMeanwhile
from shop.models import Shop, TaxRate
from shop.once import FIELD, new_key
from tests.at_once import at_once
from tests.factories import ChargeFactory, FindingFactory, JobFactory, TaxRateFactory
from tests.intake.bills import charged, repaired

DAY = dt.date(2026, 11, 25)

# Worked by hand, with the arithmetic beside each. (kind, quantity, price) -> net, tax, gross
BILLS = [
    # labour 1.5 x 80 = 120.00; parts 2 x 6.50 + 78.40 = 91.40; 7.25 % of 91.40 = 6.6265 -> 6.63
    ([("labour", "1.5", "80"), ("part", "2", "6.50"), ("part", "1", "78.40")], "211.40", "6.63", "218.03"),
    # the same less 21.14: a tenth of each line, 12.00, 1.30, 7.84; 7.25 % of 82.26 = 5.96385 -> 5.96
    (
        [
            ("labour", "1.5", "80"),
            ("part", "2", "6.50"),
            ("part", "1", "78.40"),
            ("discount", "1", "21.14"),
        ],
        "190.26",
        "5.96",
        "196.22",
    ),
    # a fee carries no tax here
    ([("fee", "1", "45")], "45.00", "0.00", "45.00"),
    # nothing at all: a repair under warranty
    ([], "0.00", "0.00", "0.00"),
    ([("part", "1", "40"), ("discount", "1", "40")], "0.00", "0.00", "0.00"),
    # 0.333 x 10.00 = 3.33; 7.25 % = 0.241425 -> 0.24
    ([("part", "0.333", "10")], "3.33", "0.24", "3.57"),
]


@pytest.mark.parametrize(("lines", "net", "tax", "gross"), BILLS)
def test_a_bill_is_what_it_is_by_hand(shop, counter, lines, net, tax, gross):
    job = JobFactory()
    for kind, quantity, price in lines:
        charged(job, kind, kind.title(), price, quantity, by=counter)
    bill = billing.bill(job, on=DAY)
    assert (bill.net, bill.tax, bill.gross) == (Decimal(net), Decimal(tax), Decimal(gross))


def test_each_tax_falls_on_what_it_says(shop, counter):
    TaxRate.objects.all().delete()
    TaxRateFactory(name="On labour", percent=10, on_labour=True, on_parts=False)
    TaxRateFactory(name="On fees", percent=5, on_parts=False, on_fees=True)
    job = JobFactory()
    for kind in ("labour", "part", "fee"):
        charged(job, kind, kind, "100", by=counter)
    bill = billing.bill(job, on=DAY)
    # 10 % of 100 and 5 % of 100; the part bears none
    assert [(t.name, t.base, t.tax) for t in bill.taxes] == [
        ("On fees", Decimal(100), Decimal(5)),
        ("On labour", Decimal(100), Decimal(10)),
    ]
    assert bill.gross == 315


def test_prices_that_include_tax_have_it_in_them(shop, counter):
    Shop.objects.update(prices_include_tax=True)
    job = JobFactory()
    charged(job, "part", "Tube", "107.25", by=counter)
    bill = billing.bill(job, on=DAY)
    # 107.25 x 7.25 / 107.25 = 7.25
    assert (bill.net, bill.tax, bill.gross) == (Decimal(100), Decimal("7.25"), Decimal("107.25"))


def test_a_currency_without_decimals_is_billed_in_whole_units(shop, counter):
    Shop.objects.update(currency="JPY")
    TaxRate.objects.update(percent=10)
    job = JobFactory()
    charged(job, "part", "Tube", "333", by=counter)
    # 33.3 -> 33
    assert billing.bill(job, on=DAY).gross == 366


def test_only_the_rates_in_force_on_the_day_are_charged(shop, counter):
    TaxRate.objects.update(valid_to=dt.date(2026, 6, 30))
    TaxRateFactory(percent=Decimal(8), valid_from=dt.date(2026, 7, 1))
    job = JobFactory()
    charged(job, "part", "Tube", "100", by=counter)
    assert billing.bill(job, on=dt.date(2026, 6, 30)).tax == Decimal("7.25")
    assert billing.bill(job, on=dt.date(2026, 7, 1)).tax == Decimal(8)


def test_a_rate_entered_twice_is_charged_once(shop, counter):
    TaxRateFactory()
    job = JobFactory()
    charged(job, "part", "Tube", "100", by=counter)
    assert billing.bill(job, on=DAY).tax == Decimal("7.25")


def test_struck_charges_cost_nothing(shop, counter):
    job = JobFactory()
    charged(job, "fee", "Rush", "30", by=counter)
    charged(job, "fee", "Slip", "99", by=counter, struck_at=dt.datetime(2026, 1, 1, tzinfo=dt.UTC))
    assert billing.bill(job).gross == 30


def test_a_discount_beyond_the_bill_is_refused_with_a_sentence(shop, counter):
    job = JobFactory()
    charged(job, "fee", "Rush", "30", by=counter)
    charged(job, "discount", "Friend", "31", by=counter)
    with pytest.raises(billing.CantBill, match="more than there is"):
        billing.draft(job)


# --- Issuing ---------------------------------------------------------------------------------------------


def test_an_invoice_keeps_all_it_says(shop, counter):
    Shop.objects.update(tax_number="PA-77", warranty_parts_days=30)
    job = repaired(JobFactory(gear__serial="CM00042", person__name="Dana Whitlow"), counter)
    invoice = billing.issue_invoice(job, by=counter, on=DAY, words="Two capacitors had dried out.")
    invoice.refresh_from_db()
    assert (invoice.label, invoice.issued_on, invoice.by) == ("INV-00001", DAY, counter)
    assert (invoice.net, invoice.gross) == (Decimal("211.40"), Decimal("218.03"))
    assert invoice.taxes == [{"name": "Sales tax", "percent": "7.25", "base": "91.40", "tax": "6.63"}]
    assert invoice.seller["name"] == "Lantern Quay Electronics"
    assert invoice.seller["tax_number"] == "PA-77"
    assert invoice.buyer["name"] == job.person.name
    assert invoice.what == "Corvane Meridian 50, serial CM00042"
    assert invoice.words == "Two capacitors had dried out."
    assert (
        invoice.warranty == "Warranty: 90 days on labour and 30 days on parts, from the day it is collected."
    )
    assert [(line.text, line.amount, line.tax_percents) for line in invoice.lines.all()] == [
        ("New filter capacitors", Decimal(120), []),
        ("Capacitor 22 µF 450 V", Decimal(13), ["7.25"]),
        ("6L6GC, matched pair", Decimal("78.40"), ["7.25"]),
    ]
    assert timeline.of(job).first().words == "issued invoice INV-00001 for $218.03"


def test_its_charges_are_linked_and_never_billed_again(shop, counter):
    job = repaired(JobFactory(), counter)
    first = billing.issue_invoice(job, by=counter)
    assert set(job.charges.values_list("invoice", flat=True)) == {first.pk}
    with pytest.raises(billing.CantBill, match="invoiced already"):
        billing.issue_invoice(job, by=counter)
    charged(job, "fee", "Rush", "30", by=counter)
    second = billing.issue_invoice(job, by=counter)
    assert (second.gross, second.label) == (30, "INV-00002")
    assert second.lines.count() == 1


def test_a_repair_for_nothing_gets_one_invoice_over_nothing(shop, counter):
    job = JobFactory()
    assert billing.issue_invoice(job, by=counter).gross == 0
    with pytest.raises(billing.CantBill):
        billing.issue_invoice(job, by=counter)


def test_a_refused_invoice_gives_its_number_back(shop, counter):
    job = repaired(JobFactory(), counter)
    with pytest.raises(ChangedMeanwhile):
        billing.issue_invoice(job, by=counter, seen="of another draft")
    charged(job, "discount", "Too much", "900", by=counter)
    with pytest.raises(billing.CantBill):
        billing.issue_invoice(job, by=counter)
    assert billing.issue_invoice(JobFactory(), by=counter).number == 1


def test_an_invoice_and_its_lines_cant_be_changed_or_deleted(shop, counter):
    invoice = billing.issue_invoice(repaired(JobFactory(), counter), by=counter)
    invoice.gross = 1
    with pytest.raises(TypeError, match="can't be changed"):
        invoice.save()
    with pytest.raises(TypeError, match="can't be deleted"):
        invoice.lines.first().delete()


def test_later_changes_of_the_shop_leave_an_invoice_as_it_is(shop, counter, as_counter):
    job = repaired(JobFactory(), counter)
    invoice = billing.issue_invoice(job, by=counter)
    Shop.objects.update(currency="EUR", name="Another Name")
    TaxRate.objects.update(percent=50)
    page = as_counter.get(f"/invoice/{invoice.label}/").content.decode()
    assert "$218.03" in page and "7.25 %" in page


def test_discounts_in_per_cent_and_work_under_warranty_stand_on_the_invoice(shop, counter):
    job = JobFactory()
    charged(job, "labour", "Again", "80", "1.5", under_warranty=True, by=counter)
    charged(job, "part", "Tubes", "50", "2", unit_cost=Decimal("31.20"), by=counter)
    charged(job, "discount", "Regular", "0", percent=Decimal(10), by=counter)
    charged(job, "discount", "Once more", "0", percent=Decimal(10), by=counter)
    # 0 + 100; 10 % of 100 = 10; 10 % of 90 = 9; 81 left; 7.25 % = 5.8725 -> 5.87
    invoice = billing.issue_invoice(job, by=counter, on=DAY)
    assert (invoice.net, invoice.gross) == (81, Decimal("86.87"))
    assert [(line.text, line.amount, line.net, line.percent) for line in invoice.lines.all()] == [
        ("Again", 0, 0, None),
        ("Tubes", 100, 81, None),
        ("Regular", -10, 0, 10),
        ("Once more", -9, 0, 10),
    ]
    again, tubes = invoice.lines.all()[:2]
    assert (again.under_warranty, again.unit_price, tubes.unit_cost) == (True, 80, Decimal("31.20"))


@pytest.mark.parametrize(
    ("rounding", "included", "tax", "gross"),
    [
        ("invoice", False, "0.07", "1.07"),  # 1.00 x 7.25 % = 0.0725 -> 0.07
        ("line", False, "0.08", "1.08"),  # 4 x (0.25 x 7.25 % = 0.018125 -> 0.02)
        ("invoice", True, "0.07", "1.00"),  # 1.00 x 7.25 / 107.25 = 0.0676 -> 0.07
        ("line", True, "0.08", "1.00"),  # 4 x (0.25 x 7.25 / 107.25 = 0.0169 -> 0.02)
    ],
)
def test_tax_is_rounded_as_the_shop_says(shop, counter, rounding, included, tax, gross):
    Shop.objects.update(tax_rounding=rounding, prices_include_tax=included)
    job = JobFactory()
    for n in range(4):
        charged(job, "part", f"Fuse {n}", "0.25", by=counter)
    invoice = billing.issue_invoice(job, by=counter, on=DAY)
    assert (invoice.gross - invoice.net, invoice.gross) == (Decimal(tax), Decimal(gross))
    assert sum(Decimal(t["tax"]) for line in invoice.lines.all() for t in line.taxes) == Decimal(tax)


# --- The diagnosis fee -----------------------------------------------------------------------------------

FEE_CASES = [
    # credited, charges, days of warranty left on what it comes back from, its fault -> is the fee charged
    (True, ["labour"], None, "", False),
    (True, ["part"], None, "", False),
    (True, [], None, "", True),
    (True, ["fee"], None, "", True),
    (False, ["labour", "part"], None, "", True),
    (False, [], None, "", True),
    (True, [], 0, "", False),
    (False, ["labour"], 5, "same", False),
    (False, ["labour"], 5, "another", True),
    (False, ["labour"], -1, "same", True),
]


@pytest.mark.parametrize(("credited", "kinds", "left", "fault", "expected"), FEE_CASES)
def test_the_shops_rule_answers_the_question_of_the_fee(
    shop, counter, credited, kinds, left, fault, expected
):
    Shop.objects.update(diagnosis_credited=credited)
    before = None
    if left is not None:
        until = billing.today(shop) + dt.timedelta(days=left)
        collected_at = timezone.now() - dt.timedelta(days=20)
        before = JobFactory(state=State.COLLECTED, collected_at=collected_at, labour_warranty_until=until)
    job = JobFactory(diagnosis_fee=45, comeback_of=before, comeback_fault=fault)
    for kind in kinds:
        charged(job, kind, kind, "100", by=counter)
    draft = billing.draft(job)
    assert (draft.fee, draft.fee_charged) == (45, expected)
    assert ("Diagnosis fee" in [c.text for c in draft.charges]) is expected
    invoice = billing.issue_invoice(job, by=counter)
    assert invoice.lines.filter(text="Diagnosis fee", amount=45).exists() is expected


@pytest.mark.parametrize("charge", [True, False])
def test_staff_may_answer_otherwise(shop, counter, charge):
    job = JobFactory(diagnosis_fee=45)
    charged(job, "labour", "Bench time", "100", by=counter)
    invoice = billing.issue_invoice(job, by=counter, charge_fee=charge)
    assert invoice.gross == (145 if charge else 100)


def test_a_fee_that_stands_is_struck_when_it_is_left_off(shop, counter):
    job = JobFactory(diagnosis_fee=45)
    charged(job, "labour", "Bench time", "100", by=counter)
    standing = charged(job, "fee", "Diagnosis fee", "45", by=counter, origin=billing.fee_origin(job))
    assert billing.issue_invoice(job, by=counter).gross == 100
    standing.refresh_from_db()
    assert standing.struck_at is not None


def test_the_lines_keep_their_own_amounts_when_the_fee_joins_other_fees(shop, counter):
    Shop.objects.update(diagnosis_credited=False)
    job = JobFactory(diagnosis_fee=45)
    charged(job, "fee", "Rush", "30", by=counter)
    charged(job, "part", "Tube", "20", by=counter, position=3)
    invoice = billing.issue_invoice(job, by=counter)
    assert {line.text: line.amount for line in invoice.lines.all()} == {
        "Tube": 20,
        "Rush": 30,
        "Diagnosis fee": 45,
    }


def test_without_a_fee_there_is_no_question(shop, counter):
    assert billing.draft(JobFactory(diagnosis_fee=0)).fee is None


# --- At once ---------------------------------------------------------------------------------------------


@pytest.mark.django_db(transaction=True)
def test_eight_tablets_issuing_at_once_leave_no_gap(shop, counter):
    jobs = [repaired(JobFactory(), counter) for _ in range(8)]
    acts = [lambda job=job: billing.issue_invoice(job, by=counter).number for job in jobs]
    assert sorted(at_once(acts)) == list(range(1, 9))
    assert Series.objects.get().next_number == 9
    assert InvoiceLine.objects.count() == 24


@pytest.mark.django_db(transaction=True)
def test_eight_tablets_on_one_job_make_one_invoice(shop, counter):
    job = repaired(JobFactory(), counter)
    answers = at_once([lambda: billing.issue_invoice(job, by=counter)] * 8)
    assert sorted(type(answer).__name__ for answer in answers) == ["CantBill"] * 7 + ["Invoice"]
    assert Invoice.objects.count() == 1


# --- Over HTTP -------------------------------------------------------------------------------------------


def draft_data(tablet, job: Job, query: str = "") -> dict[str, str]:
    draft = tablet.get(f"/job/{job.claim}/invoice/{query}").context["draft"]
    return {"seen": draft.mark, "words": "All is well."}


def test_the_draft_shows_what_will_be_issued(as_counter, counter, shop):
    job = repaired(JobFactory(), counter)
    FindingFactory(job=job, fault="Filter capacitor open", cause="Heat", cure="Replaced.")
    page = as_counter.get(f"/job/{job.claim}/invoice/").content.decode()
    assert "Issue it for $218.03" in page
    assert "Filter capacitor open. Heat. Replaced." in page
    assert not Invoice.objects.exists()


def test_the_draft_begins_with_the_jobs_plain_findings(as_counter, shop):
    job = JobFactory(plain_findings="It is fine again.")
    FindingFactory(job=job, fault="R12 open")
    page = as_counter.get(f"/job/{job.claim}/invoice/").content.decode()
    assert "It is fine again." in page and "R12" not in page


def test_sent_it_is_issued_and_shown(as_counter, counter, shop):
    job = repaired(JobFactory(), counter)
    answer = as_counter.send(f"/job/{job.claim}/invoice/", draft_data(as_counter, job))
    assert answer.status_code == 302
    assert answer["Location"] == "/invoice/INV-00001/"
    assert Invoice.objects.get().words == "All is well."
    assert "$218.03" in as_counter.get(answer["Location"]).content.decode()


def test_a_double_tap_issues_one(as_counter, counter, shop):
    job = repaired(JobFactory(), counter)
    data = {**draft_data(as_counter, job), FIELD: new_key()}
    first, second = (as_counter.post(f"/job/{job.claim}/invoice/", data) for _ in range(2))
    assert first["Location"] == second["Location"]
    assert Invoice.objects.count() == 1


def test_charges_that_changed_meanwhile_are_shown_before_they_are_issued(as_counter, counter, shop):
    job = repaired(JobFactory(), counter)
    data = draft_data(as_counter, job)
    charged(job, "fee", "Rush", "30", by=counter)
    refused = as_counter.send(f"/job/{job.claim}/invoice/", {**data, "words": "Typed at length."})
    assert refused.status_code == 409
    page = refused.content.decode()
    assert "The charges changed" in page and "$248.03" in page and "Typed at length." in page
    assert not Invoice.objects.exists()
    again = as_counter.send(f"/job/{job.claim}/invoice/", {**data, "seen": refused.context["draft"].mark})
    assert again.status_code == 302


def test_the_question_of_the_fee_is_asked_and_its_answer_goes_along(as_counter, counter, shop):
    job = repaired(JobFactory(diagnosis_fee=45), counter)
    page = as_counter.get(f"/job/{job.claim}/invoice/").content.decode()
    assert "left off" in page and 'href="?fee=charge"' in page
    data = draft_data(as_counter, job, "?fee=charge")
    as_counter.send(f"/job/{job.claim}/invoice/", {**data, "fee": "charge"})
    assert Invoice.objects.get().gross == Decimal("263.03")


def test_when_all_is_invoiced_the_page_says_so(as_counter, counter, shop):
    job = repaired(JobFactory(), counter)
    billing.issue_invoice(job, by=counter)
    page = as_counter.get(f"/job/{job.claim}/invoice/").content.decode()
    assert "Everything on this job is invoiced" in page and "Issue it" not in page


def test_charges_that_make_no_bill_are_said_on_the_page(as_counter, counter, shop):
    job = JobFactory()
    charged(job, "discount", "Friend", "31", by=counter)
    page = as_counter.get(f"/job/{job.claim}/invoice/")
    assert page.status_code == 200 and "more than there is" in page.content.decode()


@pytest.mark.parametrize(
    ("role", "status"), [("as_owner", 302), ("as_counter", 302), ("as_bench", 403), ("as_pad", 403)]
)
def test_who_may_issue(request, role, status, counter, shop, as_owner):
    job = repaired(JobFactory(), counter)
    data = draft_data(as_owner, job)
    answer = request.getfixturevalue(role).send(f"/job/{job.claim}/invoice/", data)
    assert answer.status_code == status
    assert Invoice.objects.exists() is (status == 302)


@pytest.mark.parametrize("label", ["INV-2", "INV-", "-1", "INV-99999999999", "INV-²", "x", "INV--1"])
def test_an_invoice_that_isnt_there_is_not_found(as_counter, shop, label):
    assert as_counter.get(f"/invoice/{label}/").status_code == 404


def test_the_database_refuses_to_strike_an_invoiced_charge(shop, counter):
    from django.db import IntegrityError
    from django.utils import timezone

    job = repaired(JobFactory(), counter)
    billing.issue_invoice(job, by=counter)
    with pytest.raises(IntegrityError):
        Charge.objects.filter(job=job).update(struck_at=timezone.now())


def test_the_panel_counts_a_fixed_number_of_queries(as_counter, counter, shop, django_assert_max_num_queries):
    job = repaired(JobFactory(), counter)
    with django_assert_max_num_queries(20):
        as_counter.part(f"/job/{job.claim}/money/")
    for _ in range(5):
        ChargeFactory(job=job, by=counter)
        billing.issue_invoice(job, by=counter)
    with django_assert_max_num_queries(20):
        as_counter.part(f"/job/{job.claim}/money/")
