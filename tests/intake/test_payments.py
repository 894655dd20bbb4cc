"""Payments: the whole sum, a part of it, a deposit before; cash and its change; and what is owed then."""

from decimal import Decimal

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase

from intake import billing, payments
from intake.models import Payment
from shop import timeline
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
