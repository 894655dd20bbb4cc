"""The books: whatever is tapped in whatever order, invoices stay as they were issued and the sums agree.

A machine of taps (hypothesis) on a real database, through the verbs alone, in currencies of ISO 4217 with no,
two and three decimals, with prices that have the tax in them and prices that don't, rounded both ways.
"""

import hashlib
from collections import Counter
from decimal import Decimal

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule, run_state_machine_as_test

from intake import billing, charges, counter_sale, credits, estimating, payments, pickup
from intake.models import Charge, Invoice, InvoiceLine, Job, Payment, Series
from shop import money
from shop.errors import Refused
from shop.models import Shop, TaxRate
from tests.at_once import at_once
from tests.factories import JobFactory, ShopFactory, StaffFactory, TaxRateFactory, TermsFactory
from tests.intake.bills import charged, repaired

D = Decimal
CURRENCIES = ["JPY", "USD", "KWD"]  # 0, 2 and 3 decimals

prices = st.decimals(0, 400, places=3)
quantities = st.sampled_from([D(1), D(2), D("0.333"), D("1.5"), D("7.125")])
shares = st.sampled_from([D("0.1"), D("0.5"), D(1), D("1.5")])


def digest(invoice: Invoice) -> str:
    """All that an invoice and its lines say."""
    rows = [
        *Invoice.objects.filter(pk=invoice.pk).values_list(),
        *InvoiceLine.objects.filter(invoice=invoice).order_by("pk").values_list(),
    ]
    return hashlib.sha256(repr(rows).encode()).hexdigest()


class Taps(RuleBasedStateMachine):
    """Staff who tap what they like on two jobs and at the counter."""

    carried_out: Counter[str] = Counter()  # over all runs: a machine that is always refused shows nothing

    @initialize(
        currency=st.sampled_from(CURRENCIES),
        included=st.booleans(),
        rounding=st.sampled_from(["line", "invoice"]),
        exempt=st.booleans(),
    )
    def open_the_shop(self, currency, included, rounding, exempt):
        for model in (Charge, InvoiceLine, Payment, Invoice, Series):
            model.objects.all()._raw_delete("default")
        TaxRate.objects.all().delete()
        Shop.objects.update(currency=currency, prices_include_tax=included, tax_rounding=rounding)
        TaxRateFactory(name="VAT", percent=D("19"), on_labour=True, on_parts=True)
        TaxRateFactory(name="City", percent=D("1.25"), on_parts=True, on_fees=True)
        self.by = StaffFactory()
        self.currency = currency
        exempted = "EX-1" if exempt else ""
        self.jobs = [JobFactory(diagnosis_fee=D(45), spend_limit=D(10) ** 6) for _ in range(2)]
        type(self.jobs[0].person).objects.filter(pk=self.jobs[0].person.pk).update(tax_exempt_number=exempted)
        self.seen: dict[int, str] = {}
        for job in self.jobs:  # so that there is something to credit, to give back and to write off
            charged(job, "labour", "Bench time", "33", "1.5", by=self.by)
            charged(job, "part", "Tubes", "77", "3", by=self.by)
        billing.issue_invoice(self.job(0), by=self.by)
        payments.take(self.job(1), amount=D(50), method="cash", deposit=True, by=self.by)

    def tap(self, act, *args, **more):
        """Do it, or be refused with a sentence; nothing else may happen."""
        try:
            act(*args, by=self.by, **more)
        except Refused as why:
            assert str(why)
        else:
            self.carried_out[act.__name__] += 1

    def job(self, which: int) -> Job:
        return Job.objects.get(pk=self.jobs[which].pk)

    @rule(
        which=st.integers(0, 1),
        kind=st.sampled_from(["labour", "part", "fee", "discount"]),
        price=prices,
        quantity=quantities,
        free=st.booleans(),
    )
    def charge(self, which, kind, price, quantity, free):
        price = money.round_to(price, self.currency)
        extra = {"under_warranty": free} if kind in ("labour", "part") else {}
        self.tap(
            charges.charge,
            self.job(which),
            kind=kind,
            text=kind,
            quantity=quantity,
            unit_price=price,
            **extra,
        )

    @rule(which=st.integers(0, 1), percent=st.decimals("0.01", 100, places=2))
    def give_a_discount(self, which, percent):
        self.tap(
            charges.charge,
            self.job(which),
            kind="discount",
            text="Friend",
            quantity=D(1),
            unit_price=D(0),
            percent=percent,
        )

    @rule(which=st.integers(0, 1))
    def estimate(self, which):
        job = self.job(which)
        self.tap(
            estimating.make_estimate,
            job,
            lines=estimating.from_charges(job),
            words="",
            valid_until=billing.today(Shop.current()),
        )

    @rule(which=st.integers(0, 1), fee=st.sampled_from([None, True, False]))
    def invoice(self, which, fee):
        self.tap(billing.issue_invoice, self.job(which), charge_fee=fee)

    @rule(
        which=st.integers(0, 1), amount=prices, deposit=st.booleans(), keep=st.booleans(), whole=st.booleans()
    )
    def pay(self, which, amount, deposit, keep, whole):
        job = self.job(which)
        amount = billing.owed(job) if whole else money.round_to(amount, self.currency)
        self.tap(payments.take, job, amount=amount, method="cash", deposit=deposit, keep=keep)

    @rule(which=st.integers(0, 1), share=shares)
    def give_back(self, which, share):
        job = self.job(which)
        amount = money.round_to(billing.account(job).in_hand * share, self.currency)
        self.tap(payments.give_back, job, amount=amount, method="cash", reason="Too much.")

    @rule(which=st.integers(0, 1), share=shares)
    def write_off(self, which, share):
        job = self.job(which)
        amount = money.round_to(billing.owed(job) * share, self.currency)
        self.tap(payments.write_off, job, amount=amount, reason="Let go.")

    @rule(place=st.integers(0, 5), share=shares, again=st.booleans())
    def credit(self, place, share, again):
        bills = list(Invoice.objects.filter(kind="invoice").order_by("pk"))
        if not bills:
            return
        invoice = bills[place % len(bills)]
        taken = {key: round(left * share, 3) for key, left in credits.all_of(invoice).items()}
        self.tap(credits.credit, invoice, taken=taken, reason="Wrong.", charge_again=again)

    @rule(price=prices, quantity=quantities, later=st.booleans())
    def sell_over_the_counter(self, price, quantity, later):
        price = money.round_to(price, self.currency)
        self.tap(
            counter_sale.sell,
            [
                billing.Row("part", "Fuse", quantity, price),
                billing.Row("discount", "Five", D(1), D(0), percent=D(5)),
            ],
            method=None if later else "card",
            person=self.jobs[0].person if later else None,
        )

    @rule(which=st.integers(0, 1))
    def hand_back(self, which):
        job = self.job(which)
        Job.objects.filter(pk=job.pk, state="tagged-in").update(state="ready")
        self.tap(
            pickup.hand_back,
            self.job(which),
            revision=job.revision,
            handed_to="Somebody",
            gear_went=True,
            went=[],
            stayed={},
        )

    @invariant()
    def invoices_stay_as_they_were_issued(self):
        for invoice in Invoice.objects.all():
            assert self.seen.setdefault(invoice.pk, digest(invoice)) == digest(invoice)
        assert set(self.seen) == set(Invoice.objects.values_list("pk", flat=True))

    @invariant()
    def numbers_have_no_gap(self):
        for series in Series.objects.all():
            numbers = Invoice.objects.filter(series=series.name).values_list("number", flat=True)
            assert sorted(numbers) == list(range(1, series.next_number))

    @invariant()
    def every_paper_adds_up_to_the_minor_unit(self):
        for invoice in Invoice.objects.prefetch_related("lines"):
            lines = list(invoice.lines.all())
            left = billing.left_of(invoice)
            assert sum((each.net for each in left.values()), D(0)) == invoice.net
            assert sum((each.gross for each in left.values()), D(0)) == invoice.gross
            assert invoice.net + sum((D(tax["tax"]) for tax in invoice.taxes), D(0)) == invoice.gross
            column = invoice.gross if invoice.prices_include_tax else invoice.net
            assert sum((line.amount for line in lines), D(0)) == column
            for amount in (invoice.net, invoice.gross, *(each.net for each in left.values())):
                assert amount == money.round_to(amount, self.currency)
            assert not invoice.exempt_number or invoice.net == invoice.gross

    @invariant()
    def no_invoice_is_credited_beyond_what_it_charged(self):
        for invoice in Invoice.objects.filter(kind="invoice"):
            back = sum((note.gross for note in invoice.credit_notes.all()), D(0))
            assert D(0) <= back <= invoice.gross
            if not credits.all_of(invoice):
                assert back == invoice.gross

    @invariant()
    def accounts_say_what_the_papers_say(self):
        jobs, sales = billing.all_accounts()
        for account in (*jobs.values(), *sales.values()):
            assert account.owed >= 0 and account.in_hand >= 0
            assert not (account.owed and account.in_hand and not account.written_off)
            assert account.paid >= 0
            if not account.written_off:
                assert account.billed - account.paid == account.owed - account.in_hand
        billed = sum((account.billed for account in (*jobs.values(), *sales.values())), D(0))
        papers = Invoice.objects.values_list("kind", "gross")
        assert billed == sum((gross if kind == "invoice" else -gross for kind, gross in papers), D(0))
        owing = sum((debt.account.owed for debt in payments.who_owes()), D(0))
        assert owing == sum((account.owed for account in (*jobs.values(), *sales.values())), D(0))


class TestTaps(TestCase):
    def test_no_sequence_of_taps_changes_an_invoice_or_leaves_a_gap(self):
        ShopFactory()
        TermsFactory()
        run_state_machine_as_test(
            Taps,
            settings=settings(
                max_examples=25,
                stateful_step_count=15,
                deadline=None,
                suppress_health_check=list(HealthCheck),
            ),
        )
        wanted = {"charge", "issue_invoice", "take", "credit", "give_back", "write_off", "sell"}
        assert wanted <= set(Taps.carried_out)


@pytest.mark.django_db(transaction=True)
def test_eight_clerks_at_once_leave_no_gap_in_either_series(shop, counter):
    jobs = [repaired(JobFactory(), counter) for _ in range(8)]
    issued = [billing.issue_invoice(repaired(JobFactory(), counter), by=counter) for _ in range(4)]

    def credit(invoice):
        return lambda: credits.credit(invoice, taken=credits.all_of(invoice), reason="Wrong.", by=counter)

    lines = [billing.Row("part", "Fuse", D(1), D("1.20"))]
    acts = [lambda job=job: billing.issue_invoice(job, by=counter) for job in jobs[:3]]
    acts += [credit(invoice) for invoice in issued[:3]]
    acts += [lambda: counter_sale.sell(lines, method="cash", by=counter)[0] for _ in range(2)]
    outcomes = at_once(acts)
    assert [type(outcome).__name__ for outcome in outcomes] == ["Invoice"] * 8
    for series, count in (("INV", 9), ("CR", 3)):
        numbers = Invoice.objects.filter(series=series).values_list("number", flat=True)
        assert sorted(numbers) == list(range(1, count + 1))
        assert Series.objects.get(name=series).next_number == count + 1


@pytest.mark.django_db(transaction=True)
def test_eight_clerks_crediting_one_invoice_credit_it_once(shop, counter):
    job = JobFactory()
    charged(job, "fee", "Bench time", "100", by=counter)
    invoice = billing.issue_invoice(job, by=counter)
    taken = credits.all_of(invoice)
    outcomes = at_once(
        [lambda: credits.credit(invoice, taken=taken, reason="Wrong.", by=counter) for _ in range(8)]
    )
    assert sorted(type(outcome).__name__ for outcome in outcomes) == ["CantBill"] * 7 + ["Invoice"]
    assert billing.account(job).credited == 100


@pytest.mark.django_db(transaction=True)
def test_eight_clerks_cant_give_the_same_money_back_twice(shop, counter):
    job = JobFactory()
    payments.take(job, amount=D(100), method="cash", deposit=True, by=counter)
    outcomes = at_once(
        [lambda: payments.give_back(job, amount=D(60), method="cash", reason="Back.", by=counter)] * 8
    )
    assert sorted(type(outcome).__name__ for outcome in outcomes) == ["CantBill"] * 7 + ["Payment"]
    assert billing.account(job).in_hand == 40
