"""The papers of money: opened, and read back."""

import datetime as dt
import io
from decimal import Decimal

import pytest
from django.utils import timezone
from pypdf import PdfReader

from intake import billing, estimating, payments, pickup
from intake.models import Invoice, State
from shop.models import Shop
from shop.wording import day_words
from tests.factories import JobFactory, LoosePieceFactory
from tests.intake.bills import charged, proposed, repaired, row
from tests.tools import pdf_libraries

POINTS_PER_MM = 72 / 25.4


@pytest.fixture(autouse=True)
def _papers_can_be_made():
    pdf_libraries()


def opened(tablet, url: str) -> PdfReader:
    answer = tablet.get(url)
    assert answer.status_code == 200
    assert answer["Content-Type"] == "application/pdf"
    return PdfReader(io.BytesIO(answer.content))


def text_of(paper: PdfReader) -> str:
    return " ".join(" ".join(page.extract_text().split()) for page in paper.pages)


def size_of(paper: PdfReader) -> tuple[int, int]:
    box = paper.pages[0].mediabox
    return round(float(box.width) / POINTS_PER_MM), round(float(box.height) / POINTS_PER_MM)


@pytest.fixture
def job(shop, counter):
    person = {"gear__owner__name": "Dana Whitlow", "gear__owner__address": "12 Wharf Road\nPort Ansley"}
    return repaired(JobFactory(state=State.READY, gear__serial="CM00042", **person), counter)


def test_an_invoice_says_it_all(as_counter, counter, job):
    Shop.objects.update(tax_number="PA-77")
    payments.take(job, amount=Decimal(50), method="cash", by=counter, deposit=True)
    words = "Two capacitors had dried out.\nWe replaced them and measured the tubes."
    invoice = billing.issue_invoice(job, by=counter, words=words)
    paper = opened(as_counter, f"/invoice/{invoice.label}/paper/")
    text = text_of(paper)
    for said in (
        "Lantern Quay Electronics",
        "Tax number PA-77",
        "Invoice INV-00001",
        "Dana Whitlow",
        "12 Wharf Road",
        "Corvane Meridian 50, serial CM00042",
        day_words(invoice.issued_on),
        "Two capacitors had dried out.",
        "We replaced them and measured the tubes.",
        "New filter capacitors",
        "1.5 h",
        "$80.00",
        "$120.00",
        "6L6GC, matched pair",
        "$78.40",
        "Before tax $211.40",
        "Sales tax, 7.25 % of $91.40 $6.63",
        "Total $218.03",
        "-$50.00",
        "$168.03",
        "Warranty: 90 days on labour and 90 days on parts",
    ):
        assert said in text, said
    assert job.claim in text.replace(" ", "")
    assert paper.metadata.title == "Invoice INV-00001"
    assert paper.metadata.author == "Lantern Quay Electronics"
    assert len(paper.pages) == 1


@pytest.mark.parametrize(("paper", "size"), [("A4", (210, 297)), ("Letter", (216, 279))])
def test_it_comes_on_the_shops_paper(as_counter, counter, job, paper, size):
    Shop.objects.update(paper=paper)
    invoice = billing.issue_invoice(job, by=counter)
    estimate = proposed(job, counter)
    assert size_of(opened(as_counter, f"/invoice/{invoice.label}/paper/")) == size
    assert size_of(opened(as_counter, f"/job/{job.claim}/estimate/{estimate.number}/paper/")) == size


def test_a_long_invoice_goes_on_and_keeps_every_line(as_counter, counter, shop):
    job = JobFactory()
    for n in range(60):
        charged(job, "part", f"Capacitor number {n}", "1", by=counter, position=n)
    invoice = billing.issue_invoice(job, by=counter)
    paper = opened(as_counter, f"/invoice/{invoice.label}/paper/")
    text = text_of(paper)
    assert len(paper.pages) > 1
    assert all(f"Capacitor number {n}" in text for n in range(60))


def test_a_zero_invoice_says_that_nothing_is_charged(as_counter, counter, shop):
    invoice = billing.issue_invoice(JobFactory(), by=counter)
    text = text_of(opened(as_counter, f"/invoice/{invoice.label}/paper/"))
    assert "Nothing is charged." in text and "Total $0.00" in text


def test_an_estimate_says_until_when_and_where_to_answer(as_bench, counter, job):
    estimate = proposed(job, counter, row(quantity="1.5"), row("part", "6L6GC", "1", "78.40"))
    paper = opened(as_bench, f"/job/{job.claim}/estimate/1/paper/")
    text = text_of(paper)
    for said in (
        "Estimate 1",
        "New tubes.",
        "Bench time",
        "$120.00",
        "Sales tax, 7.25 % of $78.40 $5.68",
        "Total $204.08",
        f"by {day_words(estimate.valid_until)}",
        "No, leave it",
    ):
        assert said in text, said
    assert paper.metadata.title == f"Estimate 1 for {job.claim}"


def test_an_answered_estimate_carries_its_answer(as_bench, counter, job):
    estimating.answer(
        proposed(job, counter), yes=False, how="phone", who="Dana Whitlow", words="Too dear.", by=counter
    )
    text = text_of(opened(as_bench, f"/job/{job.claim}/estimate/1/paper/"))
    assert "Declined Dana Whitlow, by phone" in text and "“Too dear.”" in text
    assert "No, leave it" not in text


def test_a_receipt_is_80_mm_wide_and_says_the_change(as_counter, counter, job):
    billing.issue_invoice(job, by=counter)
    paid = payments.take(job, amount=Decimal(100), method="cash", tendered=Decimal(120), by=counter)
    paper = opened(as_counter, f"/payment/{paid.pk}/receipt/")
    text = text_of(paper)
    for said in (
        "Paid, cash $100.00",
        "Cash handed over $120.00",
        "Change $20.00",
        "Owed $118.03",
        "INV-00001",
    ):
        assert said in text, said
    assert size_of(paper)[0] == 80
    assert len(paper.pages) == 1


def test_a_receipt_of_a_deposit_says_that_it_is_in_hand(as_counter, counter, job):
    paid = payments.take(job, amount=Decimal(40), method="card", by=counter, deposit=True)
    text = text_of(opened(as_counter, f"/payment/{paid.pk}/receipt/"))
    assert "not issued yet" in text and "In hand $40.00" in text and "Owed $0.00" in text


def test_the_receipt_of_a_pickup_says_what_went_home_and_the_warranty(as_counter, counter, job):
    switch, cover = LoosePieceFactory(job=job), LoosePieceFactory(job=job, name="Cover", position=1)
    invoice = billing.issue_invoice(job, by=counter)
    payments.take(job, amount=invoice.gross, method="card", by=counter)
    pickup.hand_back(
        job,
        by=counter,
        revision=job.revision,
        handed_to="Dana Whitlow",
        gear_went=True,
        went={switch.pk},
        stayed={cover.pk: "It is being washed."},
    )
    text = text_of(opened(as_counter, f"/job/{job.claim}/receipt/"))
    shop = Shop.current()
    until = day_words(billing.today(shop) + dt.timedelta(days=90))
    for said in (
        "Corvane Meridian 50, Footswitch",
        "To Dana Whitlow",
        "Stayed here: Cover: It is being washed.",
        f"Labour until {until}",
        "Owed $0.00",
    ):
        assert said in text, said


@pytest.mark.parametrize("role", ["as_owner", "as_bench", "as_counter"])
def test_staff_may_print(request, role, counter, job):
    invoice = billing.issue_invoice(job, by=counter)
    assert request.getfixturevalue(role).get(f"/invoice/{invoice.label}/paper/").status_code == 200


def test_the_pad_may_not(as_pad, counter, job):
    invoice = billing.issue_invoice(job, by=counter)
    for url in (f"/invoice/{invoice.label}/", f"/invoice/{invoice.label}/paper/", f"/job/{job.claim}/money/"):
        assert as_pad.get(url).status_code == 403


def test_what_people_typed_is_text_on_paper(as_counter, counter, shop):
    job = JobFactory(gear__owner__name="<b>Dana</b> & <i>Co</i>")
    charged(job, "part", "<img src=file:///etc/passwd>", "1", by=counter)
    invoice = billing.issue_invoice(job, by=counter, words="<script>alert(1)</script>")
    text = text_of(opened(as_counter, f"/invoice/{invoice.label}/paper/"))
    assert "<b>Dana</b> & <i>Co</i>" in text
    assert "<img src=file:///etc/passwd>" in text
    assert "<script>alert(1)</script>" in text


def test_a_reprint_after_a_payment_shows_it_and_the_invoice_stays_the_same(as_counter, counter, job):
    invoice = billing.issue_invoice(job, by=counter)
    payments.take(job, amount=invoice.gross, method="transfer", by=counter)
    text = text_of(opened(as_counter, f"/invoice/{invoice.label}/paper/"))
    assert "Paid, bank transfer, " in text and "-$218.03" in text
    assert f"Owed on {day_words(timezone.localdate(timezone=Shop.current().zone))} $0.00" in text
    assert Invoice.objects.get().gross == Decimal("218.03")
