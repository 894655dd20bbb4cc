"""Credit notes: an invoice taken back whole or in part, with its tax, under numbers without gaps."""

from decimal import Decimal

import pytest

from intake import billing, credits, payments
from intake.models import Charge, Invoice, Series
from shop import money, timeline
from shop.errors import ChangedMeanwhile
from shop.models import Shop, TaxRate
from tests.conftest import Tablet
from tests.factories import JobFactory
from tests.intake.bills import charged, repaired

D = Decimal


@pytest.fixture
def invoice(shop, counter):
    """Labour 120.00, parts 13.00 and 78.40, 7.25 % on parts: 218.03. See BILLS in test_invoices."""
    job = repaired(JobFactory(gear__owner__name="Dana Whitlow"), counter)
    return billing.issue_invoice(job, by=counter)


def line_of(invoice, kind, n=0):
    return invoice.lines.filter(kind=kind)[n]


def credit(invoice, by, taken=None, reason="Wrong hours.", **more):
    taken = credits.all_of(invoice) if taken is None else taken
    return credits.credit(invoice, taken=taken, reason=reason, by=by, **more)


def test_a_whole_credit_note_gives_back_the_whole_invoice(invoice, counter):
    note = credit(invoice, counter)
    assert (note.label, note.kind, note.credits) == ("CR-00001", "credit", invoice)
    assert (note.net, note.gross, note.taxes) == (invoice.net, invoice.gross, invoice.taxes)
    assert billing.account(invoice.job).owed == 0


def test_a_part_of_a_line_is_credited_with_its_tax(invoice, counter):
    # one of two capacitors: 6.50; its tax: the line bears 6.63 x 13.00 / 91.40 = 0.943 -> 0.94, half is 0.47
    note = credit(invoice, counter, {line_of(invoice, "part").pk: D(1)})
    assert (note.net, note.gross) == (D("6.50"), D("6.97"))
    assert note.taxes == [{"name": "Sales tax", "percent": "7.25", "base": "6.50", "tax": "0.47"}]
    assert [(line.text, line.quantity, line.amount) for line in note.lines.all()] == [
        ("Capacitor 22 µF 450 V", 1, D("6.50"))
    ]
    assert billing.owed(invoice.job) == D("211.06")  # 218.03 - 6.97


def test_hours_are_credited_in_parts_of_an_hour(invoice, counter):
    # 0.7 of 1.5 h at 80: 120 x 0.7 / 1.5 = 56.00
    assert credit(invoice, counter, {line_of(invoice, "labour").pk: D("0.7")}).gross == 56


def test_a_line_is_credited_at_what_the_discount_left_of_it(shop, counter):
    job = JobFactory()
    charged(job, "labour", "Work", "100", by=counter)
    charged(job, "fee", "Rush", "100", by=counter)
    charged(job, "discount", "Friend", "0", percent=D(10), by=counter)
    invoice = billing.issue_invoice(job, by=counter)
    assert invoice.gross == 180
    assert credit(invoice, counter, {line_of(invoice, "labour").pk: D(1)}).gross == 90  # 100 - 10 %
    assert [each.line.text for each in credits.creditable(invoice)] == ["Work", "Rush"]  # no discount


def test_thirds_add_up_to_the_whole(shop, counter):
    job = JobFactory()
    charged(job, "fee", "Three of it", "3.335", "3", by=counter)  # 10.005 -> 10.01
    invoice = billing.issue_invoice(job, by=counter)
    line = line_of(invoice, "fee")
    # 10.01 / 3 = 3.3367 -> 3.34; two thirds 6.6733 -> 6.67, less 3.34; the rest 10.01 - 6.67
    sums = [credit(invoice, counter, {line.pk: D(1)}).gross for _ in range(3)]
    assert sums == [D("3.34"), D("3.33"), D("3.34")]
    assert sum(sums) == invoice.gross


@pytest.mark.parametrize("quantity", ["2.001", "3", "-1"])
def test_no_more_is_credited_than_was_invoiced(invoice, counter, quantity):
    with pytest.raises(billing.CantBill, match="2 can still be credited"):
        credit(invoice, counter, {line_of(invoice, "part").pk: D(quantity)})


def test_what_is_credited_already_counts(invoice, counter):
    line = line_of(invoice, "part")
    credit(invoice, counter, {line.pk: D("1.5")})
    with pytest.raises(billing.CantBill, match=r"0\.5 can still be credited"):
        credit(invoice, counter, {line.pk: D(1)})
    credit(invoice, counter, {line.pk: D("0.5")})
    with pytest.raises(billing.CantBill, match="credited already"):
        credit(invoice, counter, {line.pk: D("0.001")})


def test_a_refused_credit_note_gives_its_number_back(invoice, counter):
    for taken, reason in (({}, "x"), ({999_999: D(1)}, "x"), (None, "  ")):
        with pytest.raises(billing.CantBill):
            credit(invoice, counter, taken, reason)
    with pytest.raises(ChangedMeanwhile):
        credit(invoice, counter, seen=D(1))
    assert credit(invoice, counter).number == 1
    assert Series.objects.get(name="CR").next_number == 2


def test_a_credit_note_is_not_credited(invoice, counter):
    note = credit(invoice, counter)
    with pytest.raises(billing.CantBill, match="Only an invoice"):
        credit(note, counter, {note.lines.first().pk: D(1)})


def test_the_tax_is_that_of_the_invoice_whatever_the_rates_are_now(invoice, counter):
    TaxRate.objects.update(percent=50)
    Shop.objects.update(prices_include_tax=True, tax_rounding="line")
    assert credit(invoice, counter).gross == D("218.03")


def test_an_invoice_from_before_lines_kept_their_shares_is_credited_to_the_cent(invoice, counter):
    for rounding in ("invoice", "line"):
        Shop.objects.update(tax_rounding=rounding)
        fresh = billing.issue_invoice(repaired(JobFactory(), counter), by=counter)
        lines = list(fresh.lines.all())
        for line in lines:
            line.net, line.taxes = None, []
        worked_out = billing._worked_out_again(fresh, lines)
        assert worked_out == billing.left_of(fresh)


def test_the_same_is_charged_again_where_it_is_asked_for(invoice, counter):
    note = credit(invoice, counter, charge_again=True)
    assert note.gross == D("218.03")
    again = invoice.job.charges.to_invoice()
    assert [(c.kind, c.text, c.quantity, c.unit_price) for c in again] == [
        ("labour", "New filter capacitors", D("1.5"), D(80)),
        ("part", "Capacitor 22 µF 450 V", D(2), D("6.50")),
        ("part", "6L6GC, matched pair", D(1), D("78.40")),
    ]
    second = billing.issue_invoice(invoice.job, by=counter)
    assert second.gross == D("218.03")
    assert billing.owed(invoice.job) == D("218.03")
    assert Charge.objects.filter(invoice=invoice).count() == 3  # the first invoice keeps its own


def test_the_timeline_says_what_was_credited_and_why(invoice, counter):
    credit(invoice, counter)
    entry = timeline.of(invoice.job).first()
    assert entry.words == "credited $218.03 of invoice INV-00001 by CR-00001"
    assert entry.changes[0]["after"] == "Wrong hours."


# --- The diagnosis fee of a job that is repaired after all -------------------------------------------------


def declined_then_repaired(counter, credited=True):
    Shop.objects.update(diagnosis_credited=credited)
    job = JobFactory(diagnosis_fee=45, state="going-home-as-is", declined=True)
    charged(job, "fee", "Diagnosis fee", "45", origin=billing.fee_origin(job), by=counter)
    billing.issue_invoice(job, by=counter)
    type(job).objects.filter(pk=job.pk).update(state="on-the-bench", declined=False)
    job = type(job).objects.get(pk=job.pk)
    charged(job, "labour", "Repair", "100", by=counter)
    return job


def test_the_diagnosis_fee_is_credited_when_a_declined_job_is_repaired(shop, counter):
    job = declined_then_repaired(counter)
    assert billing.draft(job).fee_to_credit.text == "Diagnosis fee"
    assert billing.still_open(job).owed == 100  # 45 + 100 - 45
    billing.issue_invoice(job, by=counter)
    note = Invoice.objects.get(kind="credit")
    assert (note.gross, note.reason) == (45, credits.FEE_REASON)
    assert billing.owed(job) == 100
    charged(job, "labour", "More", "10", by=counter)
    assert billing.draft(job).fee_to_credit is None  # once


def test_a_shop_that_keeps_the_fee_keeps_it(shop, counter):
    job = declined_then_repaired(counter, credited=False)
    billing.issue_invoice(job, by=counter)
    assert not Invoice.objects.filter(kind="credit").exists()
    assert billing.owed(job) == 145


# --- Over HTTP -------------------------------------------------------------------------------------------


def form(invoice, **changes):
    rows = {f"line-{pk}": f"{quantity.normalize():f}" for pk, quantity in credits.all_of(invoice).items()}
    return {**rows, "reason": "Wrong hours.", **changes}


def test_the_page_offers_the_whole_of_it_and_issues_the_credit_note(invoice, as_counter):
    path = f"/invoice/{invoice.label}/credit/"
    page = as_counter.get(path).content.decode()
    assert 'value="1.5"' in page and 'value="2"' in page
    answer = as_counter.send(path, form(invoice))
    assert answer["Location"] == "/invoice/CR-00001/"
    page = as_counter.get(answer["Location"]).content.decode()
    assert "Credit note CR-00001" in page and "Wrong hours." in page
    assert "All of this invoice is credited." in as_counter.get(path).content.decode()


def test_the_credit_note_prints_what_it_credits(invoice, as_counter, counter):
    note = credit(invoice, counter)
    page = as_counter.get(f"/invoice/{note.label}/paper/?view=html").content.decode()
    assert "<h1>Credit note CR-00001</h1>" in page
    assert "It credits invoice INV-00001" in page and "$218.03" in page


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"reason": ""}, "Write down why it is credited."),
        ({"labour": "99"}, "At most 1.5 of it can still be credited."),
        ({"labour": "ten"}, "Write a number"),
        ({"labour": "-1"}, "Write a quantity above zero."),
        ({"labour": "NaN"}, "Write a number"),
        ({"labour": "1e5"}, "At most 1.5"),
        ({"everything": ""}, "at least one line"),
    ],
)
def test_what_is_wrong_is_said_and_nothing_is_credited(invoice, as_counter, changes, sentence):
    data = form(invoice)
    if "everything" in changes:
        data = {"reason": "Why"}
    elif "labour" in changes:
        data[f"line-{line_of(invoice, 'labour').pk}"] = changes["labour"]
    else:
        data |= changes
    for htmx in (False, True):
        answer = as_counter.send(f"/invoice/{invoice.label}/credit/", data, htmx=htmx)
        assert answer.status_code == 422
        assert sentence in answer.content.decode().replace("&#x27;", "'")
    assert not Invoice.objects.filter(kind="credit").exists()


@pytest.mark.parametrize(
    ("role", "status"), [("as_owner", 302), ("as_counter", 302), ("as_bench", 403), ("as_pad", 403)]
)
def test_who_may_credit(request, role, status, invoice):
    tablet: Tablet = request.getfixturevalue(role)
    assert tablet.send(f"/invoice/{invoice.label}/credit/", form(invoice)).status_code == status


def test_money_for_what_was_credited_can_be_given_back(invoice, counter):
    payments.take(invoice.job, amount=invoice.gross, method="card", by=counter)
    credit(invoice, counter, {line_of(invoice, "labour").pk: D("1.5")})
    assert billing.account(invoice.job).in_hand == 120
    payments.give_back(invoice.job, amount=D(120), method="card", reason="Credited.", by=counter)
    assert billing.account(invoice.job) == billing.Account(D("218.03"), D("98.03"), D(120))


def test_part_of_gives_back_the_whole_in_pieces():
    # 10 in thirds of a currency without decimals: 3.33 -> 3, 6.67 -> 7 less 3, 10 less 7
    parts = [money.part_of(D(10), D(1), D(3), before=D(n), currency="JPY") for n in range(3)]
    assert parts == [3, 4, 3]
    with pytest.raises(money.MoneyError):
        money.part_of(D(10), D(1), D(3), before=D(3), currency="JPY")
