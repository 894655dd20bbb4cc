"""What may be charged without asking the owner first: the rule in figures, and wherever charges grow."""

import datetime as dt
from decimal import Decimal

import pytest
from django.utils import timezone
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase

from intake import billing, charges, estimating, labour, spending, workflow
from intake.models import Charge, Job, State
from intake.spending import Allowance, AskFirst
from shop.errors import NotAllowedYet
from shop.models import Shop, TaxRate
from shop.roles import Role
from tests import safe
from tests.factories import (
    JobFactory,
    PersonFactory,
    ReadingFactory,
    ShopFactory,
    StaffFactory,
    TaxRateFactory,
)
from tests.intake.bills import charged, proposed, row

# --- The rule --------------------------------------------------------------------------------------------


def allowed(
    charged: str, *, limit: str = "", agreed: str = "", tolerance: str = "0", fee: str = "0"
) -> Allowance:
    return Allowance(
        "USD",
        charged=Decimal(charged),
        limit=Decimal(limit) if limit else None,
        agreed=Decimal(agreed) if agreed else None,
        tolerance=Decimal(tolerance),
        fee=Decimal(fee),
    )


@pytest.mark.parametrize(
    ("said", "most", "over"),
    [
        (allowed("0"), "0", "0"),
        (allowed("0.01"), "0", "0.01"),
        (allowed("45", fee="45"), "45", "0"),
        (allowed("45.01", fee="45"), "45", "0.01"),
        (allowed("150", limit="150"), "150", "0"),
        (allowed("150.01", limit="150"), "150", "0.01"),
        (allowed("204.08", agreed="204.08"), "204.08", "0"),
        (allowed("204.09", agreed="204.08"), "204.08", "0.01"),
        # the larger of the two counts
        (allowed("180", limit="150", agreed="204.08"), "204.08", "0"),
        (allowed("180", limit="300", agreed="204.08"), "300", "0"),
        # the tolerance is on what was agreed to in an estimate, not on a limit
        (allowed("110", agreed="100", tolerance="10"), "110", "0"),
        (allowed("110.01", agreed="100", tolerance="10"), "110", "0.01"),
        (allowed("110", limit="100", tolerance="10"), "100", "10"),
        # 7.5 % on 99.99 is 107.48925: never a part of a cent above
        (allowed("107.49", agreed="99.99", tolerance="7.5"), "107.48", "0.01"),
        # a limit of nothing is a limit: ask about everything but the fee
        (allowed("1", limit="0"), "0", "1"),
        (allowed("45", limit="0", fee="45"), "45", "0"),
    ],
)
def test_the_larger_of_limit_and_answer_may_be_charged(said, most, over):
    assert (said.most, said.over) == (Decimal(most), Decimal(over))
    assert bool(said.why) is bool(said.over)


@pytest.mark.parametrize(
    ("said", "sentence"),
    [
        (allowed("12"), "Ask first: the owner has agreed to nothing, and this comes to $12.00 with tax."),
        (
            allowed("57", fee="45"),
            "agreed to nothing beyond the diagnosis fee of $45.00, and this comes to $57.00",
        ),
        (
            allowed("200", limit="150"),
            "$200.00 with tax, $50.00 more than the owner agreed to (their spend limit is",
        ),
        (
            allowed("250", agreed="204.08"),
            "$45.92 more than the owner agreed to ($204.08). Make a new estimate",
        ),
        (allowed("250", agreed="200", tolerance="10"), "($200.00, and 10 % on top make $220.00)"),
    ],
)
def test_the_sentence_says_by_how_much_and_what_to_do(said, sentence):
    assert sentence in said.why
    assert "record their answer" in said.why


_sums = st.decimals(min_value=0, max_value=5000, places=2)


@given(
    charged=_sums,
    limit=st.none() | _sums,
    agreed=st.none() | _sums,
    tolerance=_sums.map(lambda x: x / 50),
    fee=_sums,
)
@settings(max_examples=200)
def test_the_rule_holds_for_every_sum(charged, limit, agreed, tolerance, fee):
    said = Allowance("USD", charged, limit, agreed, tolerance, fee)
    by_hand = max(limit or 0, (agreed or 0) * (1 + tolerance / 100), fee)
    assert (said.over == 0) == (charged <= by_hand)
    assert 0 <= by_hand - said.most < Decimal("0.01")
    assert said.charged + said.left - said.over == said.most
    more = Allowance("USD", charged, limit, (agreed or Decimal(0)) + 1, tolerance, fee)
    assert more.most >= said.most  # agreeing to more never allows less


# --- Where charges grow ----------------------------------------------------------------------------------


def put(job: Job, by, price: str, kind: str = "labour", **more) -> Charge:
    return charges.charge(
        job, kind=kind, text="Work", quantity=Decimal(1), unit_price=Decimal(price), by=by, **more
    )


@pytest.fixture
def job(shop) -> Job:
    return JobFactory(spend_limit=Decimal(100), state=State.ON_THE_BENCH, diagnosis_fee=45)


def test_up_to_the_limit_charges_are_kept_and_beyond_it_none(job, bench):
    put(job, bench, "60")
    put(job, bench, "40")
    with pytest.raises(AskFirst, match=r"\$100.01 with tax, \$0.01 more"):
        put(job, bench, "0.01")
    assert job.charges.count() == 2


def test_tax_is_counted(job, bench):
    # 93.24 with 7.25 % (6.7599 -> 6.76) is 100.00; a cent more is beyond it
    put(job, bench, "93.24", "part")
    with pytest.raises(AskFirst):
        put(job, bench, "0.01", "part")


def test_whoever_pays_no_tax_is_counted_without_it(shop, bench):
    person = PersonFactory(tax_exempt_number="X-1")
    job = JobFactory(gear__owner=person, spend_limit=Decimal(100))
    put(job, bench, "100", "part")
    assert spending.allowance(job).charged == Decimal(100)


def test_without_a_limit_and_an_answer_only_the_diagnosis_fee_may_be_charged(shop, bench):
    job = JobFactory(spend_limit=None, diagnosis_fee=45)
    with pytest.raises(AskFirst, match="Ask first: the owner has agreed to nothing beyond"):
        put(job, bench, "45.01")
    put(job, bench, "45", "fee")
    with pytest.raises(AskFirst):
        put(job, bench, "1")


def test_the_diagnosis_fee_of_the_drop_off_counts_for_nothing(job, bench):
    put(job, bench, "45", "fee", origin=billing.fee_origin(job))
    put(job, bench, "100")
    assert (spending.allowance(job).charged, spending.allowance(job).fee) == (100, 0)


def test_a_discount_that_takes_off_from_the_fee_leaves_nothing_to_count(job, bench):
    put(job, bench, "45", "fee", origin=billing.fee_origin(job))
    put(job, bench, "10")
    put(job, bench, "30", "discount")
    assert spending.allowance(job).charged == 0


def test_warranty_work_at_nothing_counts_for_nothing(job, bench):
    charged(job, "labour", "Again, ours to mend", "500", under_warranty=True, by=bench)
    assert spending.allowance(job).charged == 0
    put(job, bench, "100")


def test_struck_out_lines_dont_count_and_come_back_only_within_the_limit(job, bench):
    first = put(job, bench, "80")
    charges.strike(first, by=bench)
    put(job, bench, "80")
    with pytest.raises(AskFirst):
        charges.put_back(first, by=bench)
    first.refresh_from_db()
    assert first.struck_at is not None


def test_a_charge_grows_only_within_the_limit(job, bench):
    line = put(job, bench, "80")
    with pytest.raises(AskFirst):
        charges.change(
            line,
            kind="labour",
            text="Work",
            quantity=Decimal(2),
            unit_price=Decimal(80),
            by=bench,
            revision=1,
        )
    line.refresh_from_db()
    assert (line.quantity, line.revision) == (1, 1)


def test_a_discount_is_struck_out_only_within_the_limit(job, bench):
    charged(job, "labour", "Work", "120", by=bench)
    off = put(job, bench, "20", "discount")
    with pytest.raises(AskFirst):
        charges.strike(off, by=bench)


def test_labour_from_the_timer_is_held_to_it_too(job, bench):
    spell = labour.write_down(job, minutes=90, words="Found it", by=bench)
    with pytest.raises(AskFirst, match=r"\$120.00"):
        charges.charge_labour(spell, hours=Decimal("1.5"), by=bench)
    assert charges.charge_labour(spell, hours=Decimal("1.25"), by=bench).unit_price == 80


def test_whatever_makes_it_less_is_never_refused(job, bench):
    line = charged(job, "labour", "Work of long ago", "300", by=bench)
    put(job, bench, "10", "discount")
    charges.change(
        line, kind="labour", text="Work", quantity=Decimal(1), unit_price=Decimal(250), by=bench, revision=1
    )
    assert spending.allowance(job).charged == 240


# --- What an answer allows -------------------------------------------------------------------------------


def said_yes(job: Job, by, *rows, yes: bool = True, taken=()) -> None:
    estimate = proposed(job, by, *rows)
    keys = [line.pk for line in estimate.lines.all() if line.text in taken]
    estimating.answer(estimate, yes=yes, how="phone", who="Dana", taken=keys, by=by)


def test_a_yes_by_phone_opens_the_way(job, bench):
    said_yes(job, bench, row(quantity="3"))
    put(job, bench, "240")
    with pytest.raises(AskFirst, match=r"more than the owner agreed to \(\$240.00\)"):
        put(job, bench, "1")


def test_an_estimate_that_nobody_answered_allows_nothing(job, bench):
    proposed(job, bench, row(quantity="3"))
    with pytest.raises(AskFirst):
        put(job, bench, "240")


def test_a_no_allows_nothing_and_takes_nothing_back(job, bench):
    said_yes(job, bench, row(quantity="3"))
    said_yes(job, bench, row(quantity="6"), yes=False)
    put(job, bench, "240")
    with pytest.raises(AskFirst):
        put(job, bench, "1")


def test_the_latest_yes_counts_even_where_it_is_for_less(job, bench):
    said_yes(job, bench, row(quantity="6"))
    said_yes(job, bench, row(quantity="3"))
    assert spending.allowance(job).agreed == 240


def test_only_the_options_that_were_taken_are_agreed_to(job, bench):
    from dataclasses import replace

    option, other = replace(row(text="Recone"), optional=True), replace(row(text="Rush"), optional=True)
    said_yes(job, bench, row(quantity="2"), option, other, taken=["Recone"])
    put(job, bench, "240")
    with pytest.raises(AskFirst):
        put(job, bench, "80")


def test_the_shops_tolerance_is_on_top(job, bench):
    Shop.objects.update(estimate_tolerance=10)
    said_yes(job, bench, row(quantity="3"))
    put(job, bench, "264")
    with pytest.raises(AskFirst, match="10 % on top make"):
        put(job, bench, "0.01")


def test_an_estimate_charged_as_agreed_fits_to_the_cent(shop, bench):
    job = JobFactory(spend_limit=None)
    rows = [
        row(quantity="1.5"),
        row("part", "Capacitor", "3", "6.57"),
        row("discount", "Regular", "1", "7.77"),
    ]
    said_yes(job, bench, *rows)
    for line in (rows[0], rows[2], rows[1]):  # the discount before the last line, or that is too much
        charges.charge(
            job, kind=line.kind, text=line.text, quantity=line.quantity, unit_price=line.unit_price, by=bench
        )
    assert spending.allowance(job).left == 0


def test_a_tax_that_rose_meanwhile_is_asked_about(shop, bench):
    job = JobFactory(spend_limit=None)
    said_yes(job, bench, row("part", "Tubes", "1", "100"))
    TaxRate.objects.update(percent=Decimal(8))
    with pytest.raises(AskFirst, match=r"\$108.00 with tax, \$0.75 more"):
        put(job, bench, "100", "part")


def test_what_an_invoice_said_is_counted_with_the_tax_of_its_day(shop, bench):
    job = JobFactory(spend_limit=Decimal("107.25"), diagnosis_fee=0)
    put(job, bench, "100", "part")
    today = timezone.localdate()
    billing.issue_invoice(job, by=bench, on=today - dt.timedelta(days=2))
    TaxRate.objects.update(valid_to=today - dt.timedelta(days=1))
    TaxRateFactory(percent=Decimal(20), valid_from=today)
    assert spending.allowance(job).left == 0


@pytest.mark.parametrize("role", [Role.OWNER, Role.BENCH, Role.COUNTER])
def test_nobody_overrides_it(job, role):
    with pytest.raises(AskFirst):
        put(job, StaffFactory(role=role), "101")


# --- The gate --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("was", "to"), [(State.ON_THE_BENCH, State.SOAK_TEST), (State.SOAK_TEST, State.READY)]
)
def test_work_isnt_called_done_with_more_charged_than_agreed(shop, bench, was, to):
    job = safe.passed(JobFactory(state=was, spend_limit=Decimal(100)), bench)
    ReadingFactory(job=job, by=bench)
    charged(job, "labour", "Work", "120", by=bench)
    with pytest.raises(NotAllowedYet, match="The charges exceed what the owner agreed to"):
        workflow.move(job, to=to, by=bench, revision=1)
    said_yes(job, bench, row(quantity="1.5"))
    assert workflow.move(job, to=to, by=bench, revision=1).state == to


def test_other_moves_are_left_alone(job, bench):
    charged(job, "labour", "Work", "120", by=bench)
    assert workflow.move(job, to=State.PARTS_ON_ORDER, by=bench, revision=1).state == State.PARTS_ON_ORDER


def test_what_goes_home_as_it_is_is_let_through(shop, counter):
    job = JobFactory(state=State.IN_LINE, spend_limit=None, diagnosis_fee=45)
    job = billing.take_home_as_is(job, by=counter, revision=1, reason="Too dear.")
    assert workflow.move(job, to=State.READY, by=counter, revision=job.revision).state == State.READY


# --- Whatever is clicked ---------------------------------------------------------------------------------


class TestWhateverIsClicked(TestCase):
    """No order of charges, changes, strikes and discounts leads beyond what was agreed to."""

    @settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
    @given(
        limit=st.integers(0, 300),
        acts=st.lists(
            st.tuples(
                st.sampled_from(["charge", "change", "strike", "put back"]),
                st.sampled_from(["labour", "part", "discount"]),
                st.integers(1, 200),
            ),
            max_size=8,
        ),
    )
    def test_it_stays_within_the_limit(self, limit, acts):
        ShopFactory()
        TaxRateFactory()
        by = StaffFactory(role=Role.BENCH)
        job = JobFactory(spend_limit=limit)
        for act, kind, price in acts:
            line = job.charges.order_by("?").first()
            try:
                if act == "charge":
                    put(job, by, str(price), kind)
                elif line is not None and act == "change":
                    charges.change(
                        line,
                        kind=kind,
                        text="Work",
                        quantity=Decimal(1),
                        unit_price=Decimal(price),
                        by=by,
                        revision=line.revision,
                    )
                elif line is not None:
                    (charges.strike if act == "strike" else charges.put_back)(line, by=by)
            except NotAllowedYet:
                pass
            assert spending.allowance(job).over == 0
