"""The call list: who has to be phoned, why, and what to say."""

import datetime as dt
from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from intake import billing, calling, estimating, pickup
from intake.calling import Known, Why, script
from intake.models import Estimate, Job, State
from intake.proposals import Item, Option
from tests.factories import JobFactory, PhoneFactory
from tests.intake.bills import charged, proposed, row

TODAY = dt.date(2026, 11, 25)
KNOWN = Known(
    shop="Lantern Quay Electronics",
    caller="Ida Marsh",
    person="Dana Whitlow",
    gear="Corvane Meridian 50",
    claim="2611-0042-K",
    currency="USD",
)


# --- What to say -----------------------------------------------------------------------------------------


def test_asked_for_an_answer_everything_of_the_estimate_is_said():
    option = Option(Item("part", "Recone kit", Decimal(1), Decimal(52), optional=True), Decimal("55.77"))
    known = replace(
        KNOWN,
        words="The capacitors\ndried out.",
        total=Decimal("204.08"),
        options=(option,),
        valid_until=TODAY,
        fee=Decimal(45),
    )
    assert script(Why.ANSWER, known) == [
        "This is Ida Marsh from Lantern Quay Electronics, for Dana Whitlow. "
        "It is about your Corvane Meridian 50, claim number 2611 0042 K.",
        "We have looked at it. The capacitors dried out.",
        "The repair comes to $204.08, tax included.",
        "If you like, there is also “Recone kit” for $55.77 more. Shall we do that?",
        "The price is good until Wed 25 Nov 2026.",
        "Shall we go ahead, or leave it?",
        "If you leave it, there is the diagnosis fee of $45.00 to pay.",
    ]


@pytest.mark.parametrize(
    ("why", "more", "sentence"),
    [
        (
            Why.EXPIRED,
            {"valid_until": TODAY},
            "was good until Wed 25 Nov 2026. If you say yes now, it still holds.",
        ),
        (
            Why.OVER,
            {"charged": Decimal(250), "most": Decimal(204)},
            "comes to $250.00 so far, tax included. You had",
        ),
        (
            Why.LIMIT,
            {"charged": Decimal(140), "most": Decimal(150)},
            "go ahead up to $150.00. With tax it has come",
        ),
        (Why.READY, {}, "It is ready to be collected."),
        (Why.READY, {"owed": Decimal("204.08")}, "There is $204.08 to pay."),
        (Why.READY, {"free_days": 30}, "We keep it free of charge for 30 days from today."),
    ],
)
def test_each_call_says_what_it_is_about(why, more, sentence):
    assert sentence in " ".join(script(why, replace(KNOWN, **more)))


def test_nothing_is_said_that_isnt_known():
    said = " ".join(script(Why.READY, KNOWN))
    assert "to pay" not in said and "free of charge" not in said
    assert "diagnosis fee" not in " ".join(script(Why.ANSWER, replace(KNOWN, valid_until=TODAY)))


# --- Who -------------------------------------------------------------------------------------------------


def due() -> list[tuple[str, Why]]:
    shop = billing.the_shop()
    return [(call.job.claim, call.why) for call in calling.due(today=billing.today(shop), shop=shop)]


def test_an_open_estimate_is_a_call_until_it_is_answered(shop, bench):
    job = JobFactory(state=State.OWNER_TO_DECIDE)
    estimate = proposed(job, bench)
    assert due() == [(job.claim, Why.ANSWER)]
    estimating.answer(estimate, yes=True, how="phone", who="Dana", by=bench)
    assert due() == []


def test_past_its_last_day_it_says_so(shop, bench):
    job = JobFactory(state=State.OWNER_TO_DECIDE)
    proposed(job, bench, days_ago=2)
    assert due() == [(job.claim, Why.EXPIRED)]


def test_only_the_latest_estimate_asks(shop, bench):
    job = JobFactory(state=State.OWNER_TO_DECIDE)
    proposed(job, bench)  # nobody answered the first
    estimating.answer(proposed(job, bench), yes=False, how="phone", who="Dana", by=bench)
    assert due() == []


def test_ready_gear_is_a_call_until_its_owner_was_told_since_it_became_ready(shop, counter):
    job = JobFactory(state=State.READY)
    pickup.tell(job, how="phone", by=counter)
    assert due() == []
    Job.objects.update(ready_at=timezone.now() + dt.timedelta(minutes=1))  # it was on the bench again
    assert due() == [(job.claim, Why.READY)]


@pytest.mark.parametrize(
    ("limit", "price", "why"),
    [
        (None, "1", Why.OVER),
        ("100", "100.01", Why.OVER),
        ("100", "90.01", Why.LIMIT),
        ("100", "90", None),
        ("0", "0", None),
    ],
)
def test_work_with_nothing_left_to_charge_is_a_call(shop, bench, limit, price, why):
    job = JobFactory(state=State.ON_THE_BENCH, spend_limit=limit)
    charged(job, "labour", "Work", price, by=bench)
    assert due() == ([(job.claim, why)] if why else [])


def test_an_estimate_that_is_charged_as_agreed_is_no_call(shop, bench):
    job = JobFactory(state=State.ON_THE_BENCH, spend_limit=None)
    estimating.answer(proposed(job, bench), yes=True, how="phone", who="Dana", by=bench)
    charged(job, "labour", "Bench time", "80", by=bench)
    assert due() == []


@pytest.mark.parametrize("state", [State.COLLECTED, State.LET_GO])
def test_gear_that_is_gone_needs_no_call(shop, bench, state):
    job = JobFactory(state=State.OWNER_TO_DECIDE)
    proposed(job, bench)
    Job.objects.update(state=state, collected_at=timezone.now())
    assert due() == []


def test_one_job_is_one_call_and_those_who_wait_longest_come_first(shop, bench):
    late, later = (
        JobFactory(state=State.OWNER_TO_DECIDE),
        JobFactory(state=State.OWNER_TO_DECIDE, spend_limit=None),
    )
    ready = JobFactory(state=State.READY)
    charged(later, "labour", "Work", "100", by=bench)  # over, but the estimate asks for that
    proposed(later, bench), proposed(late, bench, days_ago=3, holds=9)
    assert due() == [(late.claim, Why.ANSWER), (later.claim, Why.ANSWER), (ready.claim, Why.READY)]


def test_charges_that_dont_add_up_hide_nobody_else(shop, bench):
    broken, fine = JobFactory(state=State.ON_THE_BENCH), JobFactory(state=State.OWNER_TO_DECIDE)
    charged(broken, "discount", "Too much", "10", by=bench)
    proposed(fine, bench)
    assert due() == [(fine.claim, Why.ANSWER)]


# --- The page --------------------------------------------------------------------------------------------


def town(bench: Any) -> None:
    """One job of each reason, and one that is nobody's call."""
    for why in Why:
        job = JobFactory(state=State.ON_THE_BENCH, spend_limit=100)
        PhoneFactory(person=job.person)
        if why in (Why.ANSWER, Why.EXPIRED):
            days_ago = 9 if why == Why.EXPIRED else 0
            proposed(job, bench, row(), replace(row(text="Recone"), optional=True), days_ago=days_ago)
        if why in (Why.OVER, Why.LIMIT):
            charged(job, "labour", "Work", "95" if why == Why.LIMIT else "120", by=bench)
        if why == Why.READY:
            Job.objects.filter(pk=job.pk).update(state=State.READY, ready_at=timezone.now())
    JobFactory(state=State.IN_LINE)


def test_the_page_shows_every_reason_with_phones_and_what_to_say(as_counter, bench, shop):
    town(bench)
    page = as_counter.get("/calls/").content.decode()
    for why in Why:
        assert why.heading in page
    assert page.count('href="tel:') == 5
    assert "This is Ida Marsh from Lantern Quay Electronics" in page
    assert "there is also “Recone” for $80.00 more" in page
    estimate = Estimate.objects.filter(valid_until__gte=timezone.localdate()).get()
    assert f"/job/{estimate.job.claim}/estimate/1/#estimate-answer" in page


def test_nobody_to_phone_says_so(as_bench, shop):
    assert "Nobody has to be phoned." in as_bench.get("/calls/").content.decode()


def test_without_a_phone_the_list_says_so(as_bench, bench, shop):
    proposed(JobFactory(), bench)
    assert "No phone number is written down." in as_bench.get("/calls/").content.decode()


def test_what_a_customer_is_called_is_escaped(as_bench, bench, shop):
    proposed(JobFactory(gear__owner__name="<script>alert(1)</script>"), bench)
    assert "<script>alert(1)" not in as_bench.get("/calls/").content.decode()


def test_it_prints(as_counter, bench, shop):
    town(bench)
    paper = as_counter.get("/calls/paper/")
    assert paper["Content-Type"] == "application/pdf"


@pytest.mark.parametrize("path", ["/calls/", "/"])
def test_the_list_costs_the_same_however_many_there_are(as_counter, bench, shop, path):
    town(bench)
    as_counter.get(path)
    with CaptureQueriesContext(
        connection,
    ) as few:
        as_counter.get(path)
    for _ in range(3):
        town(bench)
    with CaptureQueriesContext(connection) as many:
        as_counter.get(path)
    assert len(many) == len(few)


def test_the_front_page_says_how_many(as_bench, bench, shop):
    town(bench)
    page = as_bench.get("/").content.decode()
    assert 'Calls <span class="panel-count">5</span>' in page
    assert 'href="/calls/"' in page


@pytest.mark.parametrize(
    ("role", "status"), [("as_owner", 200), ("as_bench", 200), ("as_counter", 200), ("as_pad", 403)]
)
def test_who_may_see_it(request, role, status, shop):
    assert request.getfixturevalue(role).get("/calls/").status_code == status
