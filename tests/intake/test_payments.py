"""Payments: the whole sum, a part of it, a deposit before; cash and its change; and what is owed then."""

from decimal import Decimal

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase

from intake import billing, credits, payments
from intake.models import Payment
from shop import timeline
from shop.errors import NotAllowed
from shop.once import FIELD, new_key
from shop.roles import Role
from tests.at_once import at_once
from tests.conftest import Tablet
from tests.factories import JobFactory, ShopFactory, StaffFactory
from tests.intake.bills import charged, repaired


def invoiced(by, price: str = "100"):
    job = JobFactory()
    charged(job, "fee", "Bench time", price, by=by)
    billing.issue_invoice(job, by=by)
    return job


def pay(job, amount: str, by, **more):
    return payments.take(job, amount=Decimal(amount), method=more.pop("method", "card"), by=by, **more)


# By hand: (charges, deposit, invoiced?, payments) -> owed, in hand
ACCOUNTS = [
    ("100", None, False, [], "0", "0"),  # before an invoice nothing is owed
    ("100", "30", False, [], "0", "30"),
    ("100", None, True, [], "100", "0"),
    ("100", "30", True, [], "70", "0"),  # 100 - 30
    ("100", "30", True, ["20", "0.01"], "49.99", "0"),  # 70 - 20 - 0.01
    ("100", "30", True, ["70"], "0", "0"),
    ("100", "130", True, [], "0", "30"),  # a deposit larger than the bill stays in hand
    ("0.30", None, True, ["0.10", "0.20"], "0", "0"),  # what floats get wrong
]


@pytest.mark.parametrize(("price", "deposit", "issue", "payments", "owed", "in_hand"), ACCOUNTS)
def test_what_is_owed(shop, counter, price, deposit, issue, payments, owed, in_hand):
    job = JobFactory()
    charged(job, "fee", "Bench time", price, by=counter)
    if deposit:
        pay(job, deposit, counter, deposit=True)
    if issue:
        billing.issue_invoice(job, by=counter)
    for amount in payments:
        pay(job, amount, counter)
    account = billing.account(job)
    assert (account.owed, account.in_hand) == (Decimal(owed), Decimal(in_hand))
    assert billing.owed(job) == Decimal(owed)


def test_two_invoices_are_owed_together(shop, counter):
    job = invoiced(counter)
    charged(job, "fee", "Rush", "25", by=counter)
    billing.issue_invoice(job, by=counter)
    pay(job, "110", counter)
    assert billing.owed(job) == 15  # 100 + 25 - 110


def test_many_accounts_take_two_queries(shop, counter, django_assert_num_queries):
    jobs = [invoiced(counter).pk for _ in range(3)]
    with django_assert_num_queries(2):
        accounts = billing.accounts([*jobs, 999])
    assert [accounts[pk].owed for pk in jobs] == [100, 100, 100]
    assert accounts[999].owed == 0


@pytest.mark.parametrize(
    ("amount", "more", "sentence"),
    [
        ("0", {}, "Write the sum that was paid"),
        ("-5", {}, "Money that goes back has a page of its own"),
        ("100.01", {}, "Only \\$100.00 is owed"),
        ("1000000000", {"deposit": True}, "more money than can be billed"),
        ("50", {"tendered": Decimal(60)}, "Only cash"),
        ("50", {"method": "cash", "tendered": Decimal("49.99")}, "Less cash was handed over"),
        ("100", {"deposit": True}, "Everything is invoiced"),
    ],
)
def test_what_is_no_payment_is_refused(shop, counter, amount, more, sentence):
    job = invoiced(counter)
    with pytest.raises(billing.CantBill, match=sentence):
        pay(job, amount, counter, **more)
    assert not Payment.objects.exists()


def test_before_the_invoice_only_a_deposit_is_taken(shop, counter):
    job = JobFactory()
    charged(job, "fee", "Bench time", "100", by=counter)
    with pytest.raises(billing.CantBill, match="Nothing is invoiced yet"):
        pay(job, "10", counter)
    pay(job, "10", counter, deposit=True)
    assert timeline.of(job).first().words == "took a deposit of $10.00, card"


def test_when_nothing_is_owed_nothing_is_taken(shop, counter):
    job = invoiced(counter)
    pay(job, "100", counter)
    with pytest.raises(billing.CantBill, match="Nothing is owed"):
        pay(job, "1", counter)


def test_money_owed_can_still_be_paid_after_the_gear_has_gone(shop, counter):
    job = invoiced(counter)
    type(job).objects.filter(pk=job.pk).update(state="collected", collected_at="2026-11-25T12:00Z")
    pay(job, "100", counter)
    assert billing.owed(job) == 0


# By hand: 50 owed of it
@pytest.mark.parametrize(
    ("amount", "tendered", "change"),
    [("41.37", "50", "8.63"), ("50", "50", "0"), ("50", None, "0"), ("0.05", "100", "99.95")],
)
def test_change_goes_back_from_cash(shop, counter, amount, tendered, change):
    paid = pay(invoiced(counter), amount, counter, method="cash", tendered=tendered and Decimal(tendered))
    assert payments.change(paid) == Decimal(change)


@pytest.mark.django_db(transaction=True)
def test_two_tablets_cant_both_take_the_last_of_it(shop, counter):
    job = invoiced(counter)
    answers = at_once([lambda: pay(job, "60", counter)] * 4)
    assert sorted(type(answer).__name__ for answer in answers) == ["CantBill"] * 3 + ["Payment"]
    assert Payment.objects.count() == 1


# --- Too much, back, and let go ----------------------------------------------------------------------------


def back(job, amount: str, by, reason="Paid too much.", method="cash"):
    return payments.give_back(job, amount=Decimal(amount), method=method, reason=reason, by=by)


def off(job, amount: str, by, reason="Gone away."):
    return payments.write_off(job, amount=Decimal(amount), reason=reason, by=by)


def test_what_is_paid_too_much_is_kept_as_credit_where_that_is_said(shop, counter):
    job = invoiced(counter)
    pay(job, "120", counter, keep=True)
    assert billing.account(job).in_hand == 20  # 120 - 100
    assert timeline.of(job).first().words == "took $120.00, card; $20.00 of it stays as credit"
    charged(job, "fee", "Rush", "50", by=counter)
    billing.issue_invoice(job, by=counter)
    assert billing.owed(job) == 30  # 50 - 20


def test_credit_is_given_back_once_and_no_more_than_there_is(shop, counter):
    job = invoiced(counter)
    pay(job, "120", counter, keep=True)
    with pytest.raises(billing.CantBill, match=r"Only \$20.00 can be given back"):
        back(job, "20.01", counter)
    given = back(job, "20", counter)
    assert (given.kind, given.amount, given.note) == ("refund", -20, "Paid too much.")
    assert billing.account(job).paid == 100
    with pytest.raises(billing.CantBill, match="nothing to give back"):
        back(job, "0.01", counter)


def test_a_deposit_is_given_back_when_nothing_is_charged(shop, counter):
    job = JobFactory()
    pay(job, "50", counter, deposit=True)
    back(job, "50", counter, reason="The owner changed their mind.")
    assert billing.account(job).in_hand == 0


@pytest.mark.parametrize(
    ("amount", "reason", "method", "sentence"),
    [
        ("0", "x", "cash", "Write the sum"),
        ("-5", "x", "cash", "Write the sum"),
        ("5", " ", "cash", "Write down why"),
        ("5", "x", "none", "how the money went back"),
    ],
)
def test_what_is_no_refund_is_refused(shop, counter, amount, reason, method, sentence):
    job = JobFactory()
    pay(job, "50", counter, deposit=True)
    with pytest.raises(billing.CantBill, match=sentence):
        back(job, amount, counter, reason, method)
    assert billing.account(job).in_hand == 50


def test_what_is_written_off_is_owed_no_more_and_is_no_money(shop, owner):
    job = invoiced(owner)
    pay(job, "60", owner)
    lost = off(job, "40", owner)
    assert (lost.kind, lost.method, lost.amount) == ("write-off", "none", 40)
    account = billing.account(job)
    assert (account.owed, account.paid, account.in_hand, account.written_off) == (0, 60, 0, 40)
    with pytest.raises(billing.CantBill, match="nothing to give back"):
        back(job, "40", owner)


def test_crediting_what_was_written_off_makes_no_money(shop, owner):
    job = invoiced(owner)
    off(job, "100", owner)
    bill = job.invoices.get()
    credits.credit(bill, taken=credits.all_of(bill), reason="Wrong.", by=owner)
    assert billing.account(job).in_hand == 0


@pytest.mark.parametrize(
    ("amount", "reason", "sentence"),
    [("100.01", "x", "Only"), ("0", "x", "Write the sum"), ("5", "", "Write down why")],
)
def test_what_cant_be_written_off_stays_owed(shop, owner, amount, reason, sentence):
    job = invoiced(owner)
    with pytest.raises(billing.CantBill, match=sentence):
        off(job, amount, owner, reason)
    assert billing.owed(job) == 100


def test_only_the_owner_of_the_shop_writes_off(shop, counter):
    job = invoiced(counter)
    with pytest.raises(NotAllowed):
        off(job, "10", counter)


def test_gear_goes_home_when_the_rest_is_written_off(shop, owner):
    job = invoiced(owner)
    assert not billing.still_open(job).is_settled
    off(job, "100", owner)
    assert billing.still_open(job).is_settled


def test_who_owes_takes_four_queries_and_names_the_most_first(shop, counter, django_assert_num_queries):
    small, large, none = (invoiced(counter, price) for price in ("10", "90", "50"))
    pay(none, "50", counter)
    JobFactory()
    with django_assert_num_queries(4):
        debts = payments.who_owes()
    assert [(debt.job_id, debt.account.owed) for debt in debts] == [(large.pk, 90), (small.pk, 10)]


# --- Over HTTP -------------------------------------------------------------------------------------------

CASH = {"amount": "100", "method": "cash", "tendered": "120"}


def test_the_form_begins_with_what_is_owed(as_counter, counter, shop):
    page = as_counter.get(f"/job/{invoiced(counter).claim}/payment/").content.decode()
    assert 'name="amount" value="100.00"' in page
    assert 'name="deposit" id="id_deposit" aria-describedby="id_deposit_said" checked' not in page


def test_before_an_invoice_it_begins_as_a_deposit(as_counter, counter, shop):
    job = repaired(JobFactory(), counter)
    page = as_counter.get(f"/job/{job.claim}/payment/")
    assert page.context["form"].initial == {"amount": None, "deposit": True}
    assert "so it is a deposit" in page.content.decode()


def test_taken_it_says_the_change_and_offers_the_receipt(as_counter, counter, shop):
    job = invoiced(counter)
    answer = as_counter.send(f"/job/{job.claim}/payment/", CASH)
    paid = Payment.objects.get()
    assert answer["Location"] == f"/payment/{paid.pk}/"
    page = as_counter.get(answer["Location"]).content.decode()
    assert "Change to give back" in page and "$20.00" in page
    assert f"/payment/{paid.pk}/receipt/" in page


def test_a_double_tap_takes_the_money_once(as_counter, counter, shop):
    job = invoiced(counter)
    data = {"amount": "40", "method": "card", FIELD: new_key()}
    first, second = (as_counter.post(f"/job/{job.claim}/payment/", data) for _ in range(2))
    assert first["Location"] == second["Location"]
    assert Payment.objects.count() == 1


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"amount": ""}, "Write the sum that was paid."),
        ({"amount": "0"}, "it can’t be nothing"),
        ({"amount": "-5"}, "without a minus"),
        ({"amount": "1,234"}, "can be read in two ways"),
        ({"amount": "0.345"}, "USD has 2 decimals"),
        ({"amount": "ten"}, "is not an amount"),
        ({"amount": "999999999999999999"}, "more money than can be billed"),
        ({"amount": "100.01"}, "Only $100.00 is owed"),
        ({"method": ""}, "Say how it was paid."),
        ({"method": "gold"}, "gold is not one of the available choices"),
        ({"method": "card"}, "Only cash is handed over"),
        ({"tendered": "99"}, "Less cash was handed over"),
        ({"note": "x" * 201}, "at most 200 characters"),
    ],
)
def test_what_is_wrong_is_said_beside_what_was_typed(as_counter, counter, shop, change, sentence):
    job = invoiced(counter)
    for htmx in (False, True):
        answer = as_counter.send(
            f"/job/{job.claim}/payment/", {**CASH, "note": "A note.", **change}, htmx=htmx
        )
        page = answer.content.decode().replace("&#x27;", "'")
        assert answer.status_code == 422
        assert sentence in page
        assert "note" in change or "A note." in page
    assert not Payment.objects.exists()


@pytest.mark.parametrize(
    ("role", "status"), [("as_owner", 302), ("as_counter", 302), ("as_bench", 403), ("as_pad", 403)]
)
def test_who_may_take_money(request, role, status, counter, shop):
    job = invoiced(counter)
    assert request.getfixturevalue(role).send(f"/job/{job.claim}/payment/", CASH).status_code == status
    assert Payment.objects.exists() is (status == 302)


class TestHostilePayments(TestCase):
    @settings(max_examples=30, deadline=None, suppress_health_check=list(HealthCheck))
    @given(
        st.dictionaries(
            st.sampled_from(["amount", "method", "tendered", "deposit", "note"]),
            st.one_of(
                st.text(max_size=60),
                st.sampled_from(
                    ["1e99", "NaN", "-0", "٣", "\x00", "cash", "card", "0.01", "$5", "9" * 38, "1 000,00"]
                ),
            ),
        )
    )
    def test_whatever_is_sent(self, data):
        ShopFactory()
        counter = StaffFactory(role=Role.COUNTER)
        tablet = Tablet()
        tablet.force_login(counter, backend="shop.doors.PasswordDoor")
        job = invoiced(counter)
        answer = tablet.send(f"/job/{job.claim}/payment/", {**CASH, **data})
        assert answer.status_code in (302, 422)
        assert billing.owed(job) >= 0


# --- Back and off, over HTTP -------------------------------------------------------------------------------

BACK = {"amount": "20", "method": "cash", "reason": "Paid too much."}
OFF = {"amount": "100", "reason": "Gone away."}


def overpaid(by):
    job = invoiced(by)
    pay(job, "120", by, keep=True)
    return job


@pytest.mark.parametrize(
    ("role", "status"), [("as_owner", 302), ("as_counter", 302), ("as_bench", 403), ("as_pad", 403)]
)
def test_who_may_give_money_back(request, role, status, counter, shop):
    job = overpaid(counter)
    assert request.getfixturevalue(role).send(f"/job/{job.claim}/refund/", BACK).status_code == status
    assert (billing.account(job).in_hand == 0) is (status == 302)


@pytest.mark.parametrize(
    ("role", "status"), [("as_owner", 302), ("as_counter", 403), ("as_bench", 403), ("as_pad", 403)]
)
def test_who_may_write_off(request, role, status, counter, shop):
    job = invoiced(counter)
    assert request.getfixturevalue(role).send(f"/job/{job.claim}/write-off/", OFF).status_code == status
    assert (billing.owed(job) == 0) is (status == 302)


@pytest.mark.parametrize("act", ["refund", "write-off"])
@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"amount": ""}, "Write the sum."),
        ({"amount": "0"}, "be nothing"),
        ({"amount": "-1"}, "without a minus"),
        ({"amount": "999999"}, "Only $"),
        ({"amount": "NaN"}, "is not an amount"),
        ({"reason": " "}, "Write down why"),
        ({"reason": "x" * 201}, "at most 200 characters"),
    ],
)
def test_what_is_wrong_with_money_back_or_off_is_said(as_owner, owner, shop, act, changes, sentence):
    job = overpaid(owner) if act == "refund" else invoiced(owner)
    before = billing.account(job)
    for htmx in (False, True):
        data = {**(BACK if act == "refund" else OFF), **changes}
        answer = as_owner.send(f"/job/{job.claim}/{act}/", data, htmx=htmx)
        assert answer.status_code == 422
        assert sentence in answer.content.decode().replace("&#x27;", "'")
    assert billing.account(job) == before


def test_the_receipt_of_a_refund_says_that_it_was_given_back(as_counter, counter, shop):
    given = back(overpaid(counter), "20", counter)
    page = as_counter.get(f"/payment/{given.pk}/receipt/?view=html").content.decode()
    assert "Given back, cash" in page and "$20.00" in page
