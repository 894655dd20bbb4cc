"""Charging what was agreed to in an estimate, in one act: all that isn't charged yet, judged as a whole."""

from dataclasses import replace
from decimal import Decimal

import pytest
from django.utils import timezone

from intake import billing, charges, estimating, labour, spending
from intake.models import Charge, Estimate, Invoice, Job, State
from intake.spending import AskFirst
from shop import timeline
from shop.errors import ChangedMeanwhile, NotAllowedYet
from shop.models import Shop, TaxRate
from shop.once import FIELD, new_key
from tests.factories import JobFactory
from tests.intake.bills import charged, proposed, row

TUBES = row("part", "EL34, matched pair", "2", "39.20")
COVER = replace(row("part", "Dust cover", "1", "38"), optional=True)
RUSH = replace(row("fee", "Rush", "1", "20"), optional=True)
OFF = row("discount", "Regular", "1", "30")


@pytest.fixture
def job(shop):
    return JobFactory(state=State.ON_THE_BENCH, spend_limit=None, diagnosis_fee=0)


def agree(job, by, *rows, taken=()) -> Estimate:
    estimate = proposed(job, by, *rows)
    keys = [line.pk for line in estimate.lines.all() if line.text in taken]
    estimating.answer(estimate, yes=True, how="phone", who="Dana", taken=keys, by=by)
    return estimate


def texts(job) -> list[str]:
    return list(job.charges.standing().values_list("text", flat=True))


def left(job) -> list[str]:
    return [charges.in_words(line, "USD") for line in charges.left_of_agreed(job).charges]


# --- The verb --------------------------------------------------------------------------------------------


def test_the_fixed_lines_and_the_options_that_were_taken_are_charged(job, bench):
    agree(job, bench, row(), TUBES, COVER, RUSH, taken=["Dust cover"])
    charges.charge_agreed(job, by=bench)
    assert texts(job) == ["Bench time", "EL34, matched pair", "Dust cover"]
    # 80 + 78.40 + 38 = 196.40, and 7.25 % on the parts (116.40): 8.439 -> 8.44
    assert spending.allowance(job).charged == spending.allowance(job).agreed == Decimal("204.84")


def test_a_discount_comes_in_the_same_act_so_the_sum_is_judged_as_it_was_agreed(job, bench):
    agree(job, bench, row(), TUBES, OFF, replace(OFF, text="Ten", unit_price=Decimal(0), percent=Decimal(10)))
    with pytest.raises(AskFirst):  # line by line, the last is refused before the discount stands
        for kind, text, quantity, price in (("labour", "Bench time", 1, 80), ("part", "EL34", 2, "39.20")):
            charges.charge(
                job, kind=kind, text=text, quantity=Decimal(quantity), unit_price=Decimal(price), by=bench
            )
    for line in job.charges.all():
        charges.strike(line, by=bench)
    charges.charge_agreed(job, by=bench)
    allowance = spending.allowance(job)
    assert (allowance.charged, allowance.over) == (allowance.agreed, 0)
    assert job.charges.standing().get(text="Ten").percent == 10


def test_it_keeps_quantity_price_kind_and_who(job, bench):
    agree(job, bench, row(quantity="1.5"))
    (made,) = charges.charge_agreed(job, by=bench)
    made.refresh_from_db()
    assert (made.kind, made.quantity, made.unit, made.unit_price) == ("labour", Decimal("1.5"), "h", 80)
    assert (made.by, made.job, made.invoice) == (bench, job, None)
    entry = timeline.of(job).first()
    assert entry.words == "charged what was agreed to in estimate 1"
    assert entry.changes[0]["after"] == "Bench time: 1.5 h × $80.00"


def test_twice_charges_once(job, bench):
    agree(job, bench, row(), OFF)
    charges.charge_agreed(job, by=bench)
    with pytest.raises(NotAllowedYet, match="charged already"):
        charges.charge_agreed(job, by=bench)
    assert job.charges.count() == 2


def test_what_was_charged_by_hand_isnt_charged_again(job, bench):
    agree(job, bench, row(), TUBES)
    charged(job, "part", "el34, matched pair", "39.20", by=bench)
    assert left(job) == ["Bench time: 1 h × $80.00", "EL34, matched pair: 1 × $39.20"]
    charges.charge_agreed(job, by=bench)
    assert spending.allowance(job).charged == spending.allowance(job).agreed
    assert left(job) == []


def test_what_is_on_an_invoice_isnt_charged_again(job, bench):
    agree(job, bench, row(), TUBES)
    charged(job, "labour", "Bench time", "80", by=bench)
    billing.issue_invoice(job, by=bench)
    assert left(job) == ["EL34, matched pair: 2 × $39.20"]


def test_what_it_charged_can_be_changed_and_stays_charged(job, bench):
    agree(job, bench, row(), TUBES)
    labour_line, tubes = charges.charge_agreed(job, by=bench)
    charges.change(
        tubes,
        kind="part",
        text="EL34, single",
        quantity=Decimal(1),
        unit_price=Decimal(35),
        revision=tubes.revision,
        by=bench,
    )
    assert left(job) == []
    charges.strike(labour_line, by=bench)
    assert left(job) == ["Bench time: 1 h × $80.00"]  # struck out, it isn't charged


def test_one_that_was_struck_out_comes_back_once(job, bench):
    agree(job, bench, row())
    (first,) = charges.charge_agreed(job, by=bench)
    charges.strike(first, by=bench)
    charges.charge_agreed(job, by=bench)
    with pytest.raises(NotAllowedYet, match="charged again meanwhile"):
        charges.put_back(first, by=bench)
    assert texts(job) == ["Bench time"]


def test_a_revision_charges_what_came_with_it(job, bench):
    agree(job, bench, row(), TUBES)
    charges.charge_agreed(job, by=bench)
    agree(job, bench, row(), TUBES, row("part", "Socket", "1", "6"))
    assert left(job) == ["Socket: 1 × $6.00"]


def test_a_later_no_takes_nothing_back(job, bench):
    agree(job, bench, row())
    estimating.answer(proposed(job, bench, row(), TUBES), yes=False, how="phone", who="Dana", by=bench)
    assert left(job) == ["Bench time: 1 h × $80.00"]


def test_without_a_yes_nothing_is_charged(job, bench):
    proposed(job, bench)
    assert charges.left_of_agreed(job) is None
    with pytest.raises(NotAllowedYet, match="agreed to nothing yet"):
        charges.charge_agreed(job, by=bench)


def test_with_other_charges_it_is_more_than_was_agreed_and_none_of_it_is_charged(job, bench):
    agree(job, bench, row(), OFF)
    charged(job, "part", "Reverb tank", "55", by=bench)  # by a slip of ours, around the rule
    with pytest.raises(AskFirst, match="more than the owner agreed to"):
        charges.charge_agreed(job, by=bench)
    assert texts(job) == ["Reverb tank"]


def test_taxes_that_rose_since_are_asked_about(job, bench):
    agree(job, bench, TUBES)
    TaxRate.objects.update(percent=Decimal(20))
    with pytest.raises(AskFirst):
        charges.charge_agreed(job, by=bench)


def test_labour_by_the_timer_is_shown_beside_it(job, bench):
    agree(job, bench, row())
    spell = labour.write_down(job, minutes=60, words="Measured", by=bench)
    charges.charge_labour(spell, hours=Decimal(1), by=bench)
    agreed = charges.left_of_agreed(job)
    assert [line.text for line in agreed.others] == ["Measured"]
    assert [line.text for line in agreed.charges] == ["Bench time"]


@pytest.mark.parametrize("change", [{"prices_include_tax": True}, {"currency": "EUR"}])
def test_prices_that_are_meant_otherwise_now_arent_taken_over(job, bench, change):
    agree(job, bench, row())
    Shop.objects.update(**change)
    with pytest.raises(NotAllowedYet, match="otherwise than when estimate 1 was made"):
        charges.charge_agreed(job, by=bench)


@pytest.mark.parametrize("state", [State.COLLECTED, State.LET_GO])
def test_gear_that_is_gone_is_charged_no_more(job, bench, state):
    agree(job, bench, row())
    Job.objects.update(state=state, collected_at=timezone.now())
    with pytest.raises(NotAllowedYet, match="stays as it is"):
        charges.charge_agreed(job, by=bench)


def test_what_was_seen_is_what_is_charged(job, bench):
    agree(job, bench, row(), TUBES)
    seen = charges.left_of_agreed(job).mark
    charged(job, "part", "EL34, matched pair", "39.20", by=bench)
    with pytest.raises(ChangedMeanwhile):
        charges.charge_agreed(job, seen=seen, by=bench)


def test_only_what_is_chosen_is_charged(job, bench):
    agree(job, bench, row(), TUBES)
    chosen = [line.origin for line in charges.left_of_agreed(job).charges if line.kind == "part"]
    charges.charge_agreed(job, chosen=chosen, by=bench)
    assert left(job) == ["Bench time: 1 h × $80.00"]
    with pytest.raises(NotAllowedYet, match="at least one"):
        charges.charge_agreed(job, chosen=chosen, by=bench)


def test_it_can_be_invoiced_as_any_charge(job, bench):
    agree(job, bench, row(), TUBES, OFF)
    charges.charge_agreed(job, by=bench)
    assert billing.issue_invoice(job, by=bench).gross == spending.allowance(job).agreed
    assert Invoice.objects.count() == 1 and left(job) == []


# --- Over HTTP -------------------------------------------------------------------------------------------


def path(job) -> str:
    return f"/job/{job.claim}/charge/agreed/"


def sent(job, **change) -> dict[str, object]:
    agreed = charges.left_of_agreed(job)
    return {"lines": [line.origin for line in agreed.charges], "seen": agreed.mark} | change


def test_the_money_panel_leads_there_until_all_is_charged(as_bench, job, bench):
    link = f'href="{path(job)}"'
    assert link not in as_bench.get(job.get_absolute_url()).content.decode()
    agree(job, bench, row())
    assert link in as_bench.get(job.get_absolute_url()).content.decode()
    assert as_bench.send(path(job), sent(job))["Location"] == f"{job.get_absolute_url()}#charges"
    assert link not in as_bench.get(job.get_absolute_url()).content.decode()


def test_the_page_shows_the_lines_and_what_it_comes_to(as_counter, job, bench):
    agree(job, bench, row(), TUBES, COVER, OFF)
    charged(job, "fee", "Courier", "12", by=bench)
    page = as_counter.get(path(job)).content.decode()
    for words in ("EL34, matched pair: 2 × $39.20", "Regular: 1 × $30.00 off", "Courier: 1 × $12.00"):
        assert words in page
    assert "Dust cover" not in page
    # agreed: 80 + 78.40 - 30, and 7.25 % on the parts less their share of the discount: 78.40 - 14.85 = 63.55, 4.61
    # with the courier's 12 the parts' share is 13.80: 64.60, 4.68
    assert "$133.01" in page and "$145.08" in page
    assert page.count("checked") == 3
    assert job.charges.count() == 1  # a look charges nothing


def test_a_double_tap_charges_once(as_bench, job, bench):
    agree(job, bench, row(), OFF)
    data = {**sent(job), FIELD: new_key()}
    first, second = as_bench.post(path(job), data), as_bench.post(path(job), data)
    assert first["Location"] == second["Location"]
    assert job.charges.count() == 2


def test_two_tablets_charge_it_once(as_bench, as_counter, job, bench):
    agree(job, bench, row(), OFF)
    data = sent(job)
    as_bench.send(path(job), data)
    answer = as_counter.send(path(job), data)
    assert answer.status_code in (409, 422) and "charged" in answer.content.decode()
    assert job.charges.count() == 2


def test_what_changed_meanwhile_is_shown_anew(as_bench, job, bench):
    agree(job, bench, row(), TUBES)
    data = sent(job)
    charged(job, "part", "EL34, matched pair", "39.20", by=bench)
    answer = as_bench.send(path(job), data)
    assert answer.status_code == 409
    assert "EL34, matched pair: 1 × $39.20" in answer.content.decode()
    assert job.charges.count() == 1


def test_more_than_was_agreed_leads_to_a_new_estimate(as_bench, job, bench):
    agree(job, bench, row())
    charged(job, "part", "Reverb tank", "55", by=bench)
    answer = as_bench.send(path(job), sent(job), htmx=True)
    page = answer.content.decode()
    assert answer.status_code == 422 and "Ask first" in page
    assert f"/job/{job.claim}/estimate/" in page and "<html" not in page


@pytest.mark.parametrize("lines", [[], ["estimate/0"], ["x" * 5000]])
def test_no_line_or_one_that_isnt_there_is_said(as_bench, job, bench, lines):
    agree(job, bench, row())
    assert as_bench.send(path(job), sent(job, lines=lines)).status_code == 422
    assert not Charge.objects.exists()


def test_with_nothing_agreed_the_page_says_so(as_bench, job):
    assert "agreed to nothing yet" in as_bench.get(path(job)).content.decode()
    assert as_bench.send(path(job), {"lines": "estimate/1", "seen": "x"}).status_code in (409, 422)
