"""Estimates: a priced proposal in numbered revisions, and the owner's word on it, once."""

import datetime as dt
from dataclasses import replace
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase

from intake import billing, estimating, workflow
from intake.models import Answer, Estimate, Job, Signature, State
from shop import timeline
from shop.errors import ChangedMeanwhile, NotAllowedYet
from shop.models import Shop, TaxRate
from shop.once import FIELD, new_key
from shop.roles import Role
from tests.conftest import Tablet
from tests.factories import JobFactory, ShopFactory, StaffFactory
from tests.intake.bills import STROKES, charged, proposed, repaired, row, rows_data

LATER = "2199-12-31"
SAID = {"yes": "yes", "how": "phone", "who": "Dana Whitlow", "words": "Just do it."}


def form_data(*rows: tuple[str, str, str, str], after: int = 0, **more: str) -> dict[str, str]:
    return {"words": "New tubes.", "valid_until": LATER, "after": str(after), **rows_data(*rows), **more}


LABOUR = ("labour", "Bench time", "1.5", "80")
PART = ("part", "6L6GC, matched pair", "1", "78.40")


# --- Making ----------------------------------------------------------------------------------------------


def test_it_keeps_what_it_comes_to(shop, counter):
    job = JobFactory()
    estimate = proposed(job, counter, row(quantity="1.5"), row("part", "6L6GC", "1", "78.40"))
    estimate.refresh_from_db()
    # 1.5 x 80 = 120.00, and 78.40 with 7.25 % = 5.684 -> 5.68 on it
    assert (estimate.number, estimate.net, estimate.gross) == (1, Decimal("198.40"), Decimal("204.08"))
    assert estimate.taxes == [{"name": "Sales tax", "percent": "7.25", "base": "78.40", "tax": "5.68"}]
    assert [(line.text, line.unit) for line in estimate.lines.all()] == [("Bench time", "h"), ("6L6GC", "")]
    TaxRate.objects.update(percent=50)
    estimate.refresh_from_db()
    assert estimate.gross == Decimal("204.08")


def test_a_new_one_takes_the_place_of_the_last(shop, counter):
    job = JobFactory()
    first, second = proposed(job, counter), proposed(job, counter, row(price="90"))
    assert [first.number, second.number] == [1, 2]
    assert "in the place of estimate 1" in timeline.of(job).first().words
    with pytest.raises(NotAllowedYet, match="Estimate 2 has taken its place"):
        estimating.answer(first, yes=True, how="phone", who="Dana", by=counter)


def test_one_that_was_made_meanwhile_is_noticed(shop, counter, owner):
    job = JobFactory()
    proposed(job, owner)
    with pytest.raises(ChangedMeanwhile, match="Estimate 1 was made by Wren Adeyemi") as why:
        estimating.make_estimate(
            job, lines=[row()], words="", valid_until=dt.date(2199, 1, 1), by=counter, after=0
        )
    assert why.value.revision == 1


@pytest.mark.parametrize(
    ("lines", "day", "sentence"),
    [
        ([], dt.date(2199, 1, 1), "nothing to propose"),
        ([row()] * 61, dt.date(2199, 1, 1), "at most 60 lines"),
        ([row()], dt.date(2001, 1, 1), "can't have passed"),
        ([row(), row("discount", "Friend", "1", "81")], dt.date(2199, 1, 1), "more than there is"),
        ([row(quantity="999999", price="999999")], dt.date(2199, 1, 1), "more than can be billed"),
    ],
)
def test_what_makes_no_estimate_is_refused(shop, counter, lines, day, sentence):
    with pytest.raises((billing.CantBill, NotAllowedYet), match=sentence):
        estimating.make_estimate(JobFactory(), lines=lines, words="", valid_until=day, by=counter)
    assert not Estimate.objects.exists()


@pytest.mark.parametrize("state", [State.COLLECTED, State.LET_GO])
def test_gear_that_is_gone_gets_none(shop, counter, state):
    with pytest.raises(NotAllowedYet, match="has left the shop"):
        proposed(JobFactory(state=state), counter)


# --- Making, over HTTP -----------------------------------------------------------------------------------


def test_the_form_begins_with_the_charges_so_far(as_bench, bench, shop):
    job = repaired(JobFactory(plain_findings="The capacitors dried out."), bench)
    page = as_bench.get(f"/job/{job.claim}/estimate/").content.decode()
    assert "6L6GC, matched pair" in page and 'value="78.40"' in page
    assert "The capacitors dried out." in page
    assert 'name="rows-TOTAL_FORMS" value="6"' in page


def test_the_form_can_begin_from_the_estimate_before(as_bench, bench, shop):
    job = repaired(JobFactory(), bench)
    proposed(job, bench, row(text="Rewind the transformer"))
    assert "Rewind" not in as_bench.get(f"/job/{job.claim}/estimate/").content.decode()
    assert "Rewind" in as_bench.get(f"/job/{job.claim}/estimate/?from=estimate").content.decode()


def test_sent_it_is_made_and_blank_lines_are_left_out(as_bench, shop):
    job = JobFactory()
    blank = ("labour", "", "1", "")
    answer = as_bench.send(f"/job/{job.claim}/estimate/", form_data(LABOUR, blank, PART, blank))
    assert answer["Location"] == f"/job/{job.claim}/estimate/1/"
    assert list(Estimate.objects.get().lines.values_list("text", flat=True)) == [
        "Bench time",
        "6L6GC, matched pair",
    ]
    page = as_bench.get(answer["Location"]).content.decode()
    assert "$204.08" in page and "1.5 h" in page


def test_a_double_tap_makes_one(as_bench, shop):
    job = JobFactory()
    data = {**form_data(LABOUR), FIELD: new_key()}
    as_bench.post(f"/job/{job.claim}/estimate/", data)
    as_bench.post(f"/job/{job.claim}/estimate/", data)
    assert Estimate.objects.count() == 1


def test_one_more_line_keeps_what_was_typed_and_makes_nothing(as_bench, shop):
    job = JobFactory()
    half = form_data(("part", "Half a li", "1", "7,"))
    for htmx in (False, True):
        answer = as_bench.send(f"/job/{job.claim}/estimate/rows/", half, htmx=htmx)
        page = answer.content.decode()
        assert answer.status_code == 200
        assert 'value="Half a li"' in page and 'value="7,"' in page
        assert 'name="rows-TOTAL_FORMS" value="2"' in page
        assert ("<html" in page) is not htmx
    assert "New tubes." in as_bench.send(f"/job/{job.claim}/estimate/rows/", half).content.decode()
    assert not Estimate.objects.exists()


def test_a_second_tap_on_one_more_line_brings_a_second_line(as_bench, shop):
    job = JobFactory()
    first = as_bench.send(f"/job/{job.claim}/estimate/rows/", form_data(LABOUR))
    key = first.content.decode().split('name="once" value="')[1].split('"')[0]
    again = as_bench.post(f"/job/{job.claim}/estimate/rows/", {**form_data(LABOUR, LABOUR), FIELD: key})
    assert 'name="rows-TOTAL_FORMS" value="3"' in again.content.decode()


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        (rows_data(("labour", "", "1", "80")), "Say what it is for."),
        (rows_data(("part", "Reverb tank", "1", "")), "Write a price, or 0 if it costs nothing."),
        (rows_data(("labour", "Bench time", "0", "80")), "Write a quantity above zero."),
        (rows_data(("labour", "Bench time", "a lot", "80")), "Write a number, like 2 or 1.5."),
        (rows_data(("labour", "Bench time", "1", "1,234")), "can be read in two ways"),
        (rows_data(("gift", "Bench time", "1", "80")), "gift is not one of the available choices"),
        (rows_data(("labour", "x" * 201, "1", "80")), "at most 200 characters"),
        (rows_data(("labour", "", "1", "")), "nothing to propose"),
        ({"rows-TOTAL_FORMS": ""}, "This page is incomplete"),
        ({"rows-TOTAL_FORMS": "1000"}, "at most 60 lines"),
        ({"after": "x"}, "This page is incomplete"),
        ({"valid_until": ""}, "Say until when the price holds."),
        ({"valid_until": "31/12/2199"}, "Choose a day"),
        ({"valid_until": "9999-12-31"}, "Choose a day that somebody alive will see."),
        ({"valid_until": "2001-01-01"}, "have passed"),
        ({"words": "x" * 4001}, "at most 4000 characters"),
    ],
)
def test_what_is_wrong_is_said_and_nothing_typed_is_lost(as_bench, shop, change, sentence):
    job = JobFactory()
    for htmx in (False, True):
        answer = as_bench.send(f"/job/{job.claim}/estimate/", form_data(LABOUR) | change, htmx=htmx)
        page = answer.content.decode().replace("&#x27;", "'")
        assert answer.status_code == 422
        assert sentence in page
        assert ("words" in change) or "New tubes." in page
    assert not Estimate.objects.exists()


def test_an_estimate_made_meanwhile_is_shown_and_the_second_try_goes_through(as_bench, counter, shop):
    job = JobFactory()
    data = form_data(LABOUR)
    proposed(job, counter)
    answer = as_bench.send(f"/job/{job.claim}/estimate/", data)
    page = answer.content.decode()
    assert answer.status_code == 409
    assert "Estimate 1 was made by Ida Marsh" in page and "Bench time" in page
    assert 'name="after" value="1"' in page
    assert as_bench.send(f"/job/{job.claim}/estimate/", {**data, "after": "1"}).status_code == 302


@pytest.mark.parametrize(
    ("role", "status"), [("as_owner", 302), ("as_bench", 302), ("as_counter", 302), ("as_pad", 403)]
)
def test_who_may_make_one(request, role, status, shop):
    job = JobFactory()
    answer = request.getfixturevalue(role).send(f"/job/{job.claim}/estimate/", form_data(LABOUR))
    assert answer.status_code == status
    assert Estimate.objects.exists() is (status == 302)


class TestHostileEstimates(TestCase):
    """Whatever is sent, the answer is a sentence or an estimate: never a broken page."""

    @settings(max_examples=30, deadline=None, suppress_health_check=list(HealthCheck))
    @given(
        st.dictionaries(
            st.sampled_from(
                [
                    "rows-0-kind",
                    "rows-0-text",
                    "rows-0-quantity",
                    "rows-0-unit_price",
                    "rows-TOTAL_FORMS",
                    "rows-INITIAL_FORMS",
                    "words",
                    "valid_until",
                    "after",
                ]
            ),
            st.one_of(
                st.text(max_size=60),
                st.sampled_from(
                    ["-1", "1e9", "NaN", "Infinity", "1" * 400, "\x00", "٣", "0x10", "<b>", "2026-02-30"]
                ),
            ),
        )
    )
    def test_whatever_is_sent(self, change):
        ShopFactory()
        tablet = Tablet()
        tablet.force_login(StaffFactory(role=Role.BENCH), backend="shop.doors.PasswordDoor")
        job = JobFactory()
        for path in ("estimate/", "estimate/rows/"):
            answer = tablet.send(f"/job/{job.claim}/{path}", form_data(LABOUR) | change)
            assert answer.status_code in (200, 302, 409, 422)


# --- The answer ------------------------------------------------------------------------------------------


def test_an_answer_is_kept_with_who_when_and_how(shop, counter):
    job = JobFactory(state=State.OWNER_TO_DECIDE)
    estimate = proposed(job, counter)
    kept = estimating.answer(estimate, yes=True, how="phone", who="Dana Whitlow", words="Go on.", by=counter)
    assert (kept.yes, kept.get_how_display(), kept.by) == (True, "By phone", counter)
    entry = timeline.of(job).first()
    assert entry.words == "recorded that Dana Whitlow said go ahead to estimate 1, by phone"
    assert entry.changes == [{"what": "In their words", "before": "", "after": "Go on."}]
    job.refresh_from_db()
    assert job.state == State.OWNER_TO_DECIDE  # it goes on when somebody moves it


def test_it_is_answered_once(shop, counter):
    estimate = proposed(JobFactory(), counter)
    estimating.answer(estimate, yes=False, how="writing", who="Dana", by=counter)
    with pytest.raises(NotAllowedYet, match="has its answer"):
        estimating.answer(Estimate.objects.get(), yes=True, how="writing", who="Dana", by=counter)


def test_a_signed_answer_keeps_the_words_that_were_signed(shop, counter):
    estimate = proposed(JobFactory(), counter, row("part", "6L6GC", "2", "39.20"))
    kept = estimating.answer(
        estimate, yes=True, how="signed", who="Dana", svg="<svg/>", device="Tablet", by=counter
    )
    assert kept.signature.purpose == Signature.Purpose.ANSWER
    assert kept.signature.words.splitlines() == [
        f"Estimate 1 for Corvane Meridian 50, claim number {estimate.job.claim}",
        "New tubes.",
        "6L6GC: 2 × $39.20 = $78.40",
        "Sales tax 7.25 %: $5.68",
        "Total: $84.08",
        f"Valid until {estimating.day_words(estimate.valid_until)}",
        "",
        "I agree. Go ahead.",
    ]


def test_an_answer_after_the_last_day_is_taken_and_said_to_be_late(shop, counter):
    estimate = proposed(JobFactory(), counter, days_ago=3)
    estimating.answer(estimate, yes=True, how="phone", who="Dana", by=counter)
    assert "after its last day" in timeline.of(estimate.job).first().words


def test_after_a_yes_it_may_go_on_and_after_a_no_it_may_not(shop, counter):
    for yes in (True, False):
        job = JobFactory(state=State.OWNER_TO_DECIDE)
        estimate = proposed(job, counter)
        with pytest.raises(NotAllowedYet, match="isn't recorded yet"):
            workflow.move(job, to=State.ON_THE_BENCH, by=counter, revision=1)
        estimating.answer(estimate, yes=yes, how="phone", who="Dana", by=counter)
        if yes:
            assert (
                workflow.move(job, to=State.ON_THE_BENCH, by=counter, revision=1).state == State.ON_THE_BENCH
            )
        else:
            with pytest.raises(NotAllowedYet, match="declined the estimate"):
                workflow.move(job, to=State.ON_THE_BENCH, by=counter, revision=1)


def answered(tablet, estimate: Estimate, **change: str):
    url = f"/job/{estimate.job.claim}/estimate/{estimate.number}/answer/"
    return tablet.send(url, {**SAID, **change})


def test_the_page_shows_the_estimate_and_takes_the_answer(as_counter, counter, shop):
    estimate = proposed(JobFactory(), counter)
    assert answered(as_counter, estimate)["Location"] == f"/job/{estimate.job.claim}/#money"
    page = as_counter.get(f"/job/{estimate.job.claim}/estimate/1/").content.decode()
    assert "<b>Go ahead</b>, Dana Whitlow, by phone" in page
    assert 'name="yes"' not in page


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"yes": ""}, "Say whether it is a yes or a no."),
        ({"yes": "maybe"}, "maybe is not one of the available choices"),
        ({"how": ""}, "Say how the answer came."),
        ({"who": " "}, "Write down who gave the answer."),
        ({"who": "x" * 121}, "at most 120 characters"),
        ({"words": "x" * 501}, "at most 500 characters"),
        ({"how": "signed"}, "To have it signed, hand over the tablet."),
    ],
)
def test_an_answer_that_says_too_little_is_asked_again(as_counter, counter, shop, change, sentence):
    estimate = proposed(JobFactory(), counter)
    answer = answered(as_counter, estimate, **change)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert sentence in page
    assert "words" in change or "Just do it." in page
    assert not Answer.objects.exists()


def test_a_second_answer_is_refused_over_http(as_counter, counter, shop):
    estimate = proposed(JobFactory(), counter)
    answered(as_counter, estimate)
    again = answered(as_counter, estimate, yes="no")
    assert again.status_code == 422 and "has its answer" in again.content.decode()
    assert Answer.objects.get().yes is True


@pytest.mark.parametrize(
    ("role", "status"), [("as_owner", 302), ("as_bench", 302), ("as_counter", 302), ("as_pad", 403)]
)
def test_who_may_record_an_answer(request, role, status, counter, shop):
    estimate = proposed(JobFactory(), counter)
    assert answered(request.getfixturevalue(role), estimate).status_code == status
    assert Answer.objects.exists() is (status == 302)


def test_the_jobs_page_offers_what_comes_next(as_counter, counter, shop):
    job = JobFactory(state=State.OWNER_TO_DECIDE)
    panel = f"/job/{job.claim}/money/"
    assert as_counter.part(panel).context["money"]["next"] == "estimate"
    estimate = proposed(job, counter)
    assert as_counter.part(panel).context["money"]["next"] == "answer"
    estimating.answer(estimate, yes=True, how="phone", who="Dana", by=counter)
    page = as_counter.part(panel)
    assert page.context["money"]["next"] == "bench"
    assert "Put it on the bench" in page.content.decode()
    estimating.answer(proposed(job, counter), yes=False, how="phone", who="Dana", by=counter)
    assert as_counter.part(panel).context["money"]["next"] == "as is"


def test_the_button_after_a_yes_puts_it_on_the_bench(as_bench, bench, shop):
    job = JobFactory(state=State.OWNER_TO_DECIDE)
    estimating.answer(proposed(job, bench), yes=True, how="phone", who="Dana", by=bench)
    data = {"to": "on-the-bench", "revision": str(job.revision), "seen": "owner-to-decide"}
    as_bench.send(f"/job/{job.claim}/move/", data)
    assert Job.objects.get().state == State.ON_THE_BENCH


def test_an_estimate_of_another_job_isnt_found(as_counter, counter, shop):
    proposed(JobFactory(), counter)
    assert as_counter.get(f"/job/{JobFactory().claim}/estimate/1/").status_code == 404


def test_the_currency_is_the_estimates_own(as_counter, counter, shop):
    estimate = proposed(JobFactory(), counter)
    Shop.objects.update(currency="EUR")
    page = as_counter.get(f"/job/{estimate.job.claim}/estimate/1/").content.decode()
    assert "$80.00" in page and "€" not in page


def test_what_the_customer_reads_is_escaped(as_counter, counter, shop):
    job = JobFactory()
    charged(job, "part", "<script>alert(1)</script>", "1", by=counter)
    page = as_counter.get(f"/job/{job.claim}/estimate/").content.decode()
    assert "<script>alert(1)" not in page


# --- Options, revisions, and the owner's own hand ----------------------------------------------------------

RECONE = replace(row("part", "Recone kit, 12 in", "1", "52"), optional=True)
RUSH = replace(row("fee", "Rush", "1", "20"), optional=True)


def key_of(estimate: Estimate, text: str) -> str:
    return str(estimate.lines.get(text=text).pk)


def sign_path(estimate: Estimate) -> str:
    return f"/job/{estimate.job.claim}/estimate/{estimate.number}/sign/"


def hand_over(tablet, estimate: Estimate):
    """Staff give the tablet to the owner of the gear."""
    return tablet.send(f"/job/{estimate.job.claim}/estimate/{estimate.number}/hand-over/")


def signed(tablet, estimate: Estimate, **change: object):
    hand_over(tablet, estimate)
    said = {"yes": "yes", "who": "Dana Whitlow", "seen": str(estimate.gross), "strokes": STROKES}
    return tablet.send(sign_path(estimate), said | change)


def test_labour_without_a_price_is_at_the_shops_rate(as_bench, shop):
    job = JobFactory()
    as_bench.send(f"/job/{job.claim}/estimate/", form_data(("labour", "Bench time", "1.5", "")))
    assert Estimate.objects.get().gross == Decimal("120.00")


def test_it_is_valid_for_as_long_as_the_shop_says(as_bench, shop):
    Shop.objects.update(estimate_days=12)
    form = as_bench.get(f"/job/{JobFactory().claim}/estimate/").context["form"]
    assert form["valid_until"].value() == billing.today(shop) + dt.timedelta(days=12)


def test_options_and_discounts_in_per_cent_come_from_the_form(as_bench, shop):
    job = JobFactory()
    data = form_data(LABOUR, ("fee", "Rush", "1", "20"), ("discount", "Regular", "1", ""))
    as_bench.send(f"/job/{job.claim}/estimate/", {**data, "rows-1-optional": "on", "rows-2-percent": "10"})
    estimate = Estimate.objects.get()
    assert estimate.gross == Decimal("108.00")
    assert [(o.item.text, o.adds) for o in estimating.options(estimate)] == [("Rush", Decimal("18.00"))]
    page = as_bench.get(f"/job/{job.claim}/estimate/1/").content.decode()
    assert "Rush: $18.00 more" in page and "10 %" in page


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"rows-0-percent": "10"}, "Only a discount is given in per cent."),
        ({"rows-0-kind": "discount", "rows-0-optional": "on"}, "it can’t be an option"),
        ({"rows-0-kind": "discount", "rows-0-percent": "10"}, "not both"),
        (
            {"rows-0-kind": "discount", "rows-0-percent": "101", "rows-0-unit_price": ""},
            "between 0.01 and 100",
        ),
    ],
)
def test_what_goes_with_no_such_line_is_said(as_bench, shop, change, sentence):
    answer = as_bench.send(f"/job/{JobFactory().claim}/estimate/", form_data(LABOUR) | change)
    assert answer.status_code == 422 and sentence in answer.content.decode()


def test_a_yes_keeps_the_options_that_are_taken_and_what_that_comes_to(as_counter, counter, shop):
    estimate = proposed(JobFactory(), counter, row(), RECONE, RUSH)
    answered(as_counter, estimate, taken=key_of(estimate, "Recone kit, 12 in"))
    kept = Answer.objects.get()
    # 80.00 + 52.00 with 7.25 % on it (3.77)
    assert (kept.agreed, kept.taken) == (Decimal("135.77"), [int(key_of(estimate, "Recone kit, 12 in"))])
    changes = {c["what"]: c["after"] for c in timeline.of(estimate.job).first().changes}
    assert (changes["Taken"], changes["Left"]) == ("Recone kit, 12 in", "Rush")


def test_what_it_comes_to_is_of_the_day_on_which_it_was_made(counter, shop):
    estimate = proposed(JobFactory(), counter, row(), RECONE)
    TaxRate.objects.update(percent=50)
    Shop.objects.update(prices_include_tax=True)
    assert estimating.options(Estimate.objects.get())[0].adds == Decimal("55.77")
    taken = [int(key_of(estimate, "Recone kit, 12 in"))]
    kept = estimating.answer(estimate, yes=True, how="phone", who="Dana", taken=taken, by=counter)
    assert kept.agreed == Decimal("135.77")


def test_a_no_takes_nothing(as_counter, counter, shop):
    estimate = proposed(JobFactory(), counter, row(), RUSH)
    answered(as_counter, estimate, yes="no", taken=key_of(estimate, "Rush"))
    assert (Answer.objects.get().taken, Answer.objects.get().agreed) == ([], 0)


@pytest.mark.parametrize("taken", ["0", "-1", "x", "9" * 5000])
def test_an_option_that_isnt_there_is_refused(as_counter, counter, shop, taken):
    estimate = proposed(JobFactory(), counter, row(), RUSH)
    assert answered(as_counter, estimate, taken=taken).status_code == 422
    assert signed(as_counter, estimate, taken=taken).status_code == 422
    assert as_counter.get(sign_path(estimate), {"taken": taken}).status_code == 200
    assert not Answer.objects.exists()


def test_a_fixed_line_or_another_jobs_option_is_no_option(counter, shop):
    estimate, other = (
        proposed(JobFactory(), counter, row(), RUSH),
        proposed(JobFactory(), counter, row(), RUSH),
    )
    for key in (key_of(estimate, "Bench time"), key_of(other, "Rush")):
        with pytest.raises(NotAllowedYet, match="no such option"):
            estimating.answer(estimate, yes=True, how="phone", who="Dana", taken=[int(key)], by=counter)


def test_a_yes_to_nothing_is_no_yes(counter, shop):
    estimate = proposed(JobFactory(), counter, RUSH)
    with pytest.raises(NotAllowedYet, match="Nothing is taken"):
        estimating.answer(estimate, yes=True, how="phone", who="Dana", by=counter)


def test_the_words_that_are_signed_list_what_is_taken_and_left(as_counter, counter, shop):
    estimate = proposed(JobFactory(), counter, row(), RECONE, RUSH)
    assert signed(as_counter, estimate, taken=key_of(estimate, "Rush"), seen="100.00").status_code == 302
    words = Answer.objects.get().signature.words.splitlines()
    assert "Left: Recone kit, 12 in, $55.77 more with tax" in words
    assert "Taken: Rush, $20.00 more with tax" in words
    assert "Total with what is taken: $100.00" in words


def test_signed_on_the_tablet_it_keeps_our_own_drawing(as_counter, counter, shop):
    signed(as_counter, proposed(JobFactory(), counter), signature="<svg onload=alert(1)>")
    svg = Answer.objects.get().signature.svg
    assert svg.startswith("<svg") and "onload" not in svg and "<path" in svg


def test_what_is_signed_is_what_was_read(as_counter, counter, shop):
    estimate = proposed(JobFactory(), counter, row(), RUSH)
    answer = signed(as_counter, estimate, taken=key_of(estimate, "Rush"))  # the sum without it stood there
    page = answer.content.decode()
    assert answer.status_code == 409 and "it comes to $100.00" in page
    assert 'name="seen" value="100.00"' in page and "checked" in page and "Dana Whitlow" in page
    assert not Answer.objects.exists()


def test_a_tick_shows_at_once_what_it_comes_to(as_counter, counter, shop):
    estimate = proposed(JobFactory(), counter, row(), RUSH)
    hand_over(as_counter, estimate)
    part = as_counter.part(sign_path(estimate), {"taken": key_of(estimate, "Rush")}).content.decode()
    assert "$100.00" in part and "<html" not in part


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"yes": ""}, "Say whether it is a yes or a no."),
        ({"who": ""}, "Write down who gave the answer."),
        ({"seen": ""}, "This page is incomplete."),
        ({"seen": "a lot"}, "not an amount"),
        ({"strokes": ""}, "Sign on the glass."),
        ({"strokes": "not json"}, "The signature did not arrive."),
        ({"strokes": '{"width": 300, "height": 120, "strokes": []}'}, "Sign in the box, please."),
    ],
)
def test_a_name_under_too_little_is_asked_for_again(as_counter, counter, shop, change, sentence):
    answer = signed(as_counter, proposed(JobFactory(), counter), **change)
    assert answer.status_code == 422 and sentence in answer.content.decode()
    assert not Answer.objects.exists()


def test_whoever_cant_sign_on_glass_is_named_by_staff(as_counter, counter, shop):
    assert signed(as_counter, proposed(JobFactory(), counter), strokes="", typed="on").status_code == 302
    assert Answer.objects.get().signature.svg == ""


def test_the_page_says_what_changed_from_the_one_before(as_bench, bench, shop):
    job = JobFactory()
    proposed(job, bench, row(quantity="1.5"), row("part", "6L6GC", "1", "78.40"))
    proposed(job, bench, row(quantity="2"), RUSH)
    page = as_bench.get(f"/job/{job.claim}/estimate/2/").content.decode()
    assert "In the place of estimate 1." in page
    assert '<span class="before">1.5 h</span> <span class="after">2 h</span>' in page
    assert "New: Rush, 1 × $20.00" in page and "Gone: 6L6GC, 1 × $78.40" in page
    assert "$204.08" in page and "$160.00" in page


def test_a_quarrel_is_answered_from_one_page(as_bench, as_counter, bench, counter, shop):
    job = JobFactory()
    signed(as_counter, proposed(job, bench, row(), RUSH))
    second = proposed(job, bench, row(quantity="3"))
    estimating.answer(second, yes=False, how="phone", who="Dana", words="Not a cent more.", by=counter)
    proposed(job, bench, row())
    page = as_bench.get(f"/job/{job.claim}/estimates/").content.decode()
    assert page.index("Estimate 1</h2>") < page.index("Estimate 2</h2>") < page.index("Estimate 3</h2>")
    assert "Left: Rush, $20.00 more with tax" in page and "Not a cent more." in page
    assert 'alt="Signature of Dana Whitlow"' in page and "No answer is recorded." in page
    assert as_bench.get(f"/job/{job.claim}/estimates/paper/")["Content-Type"] == "application/pdf"


def test_the_history_costs_the_same_however_long_it_is(as_bench, bench, shop):
    job = JobFactory()
    estimating.answer(proposed(job, bench, row(), RUSH), yes=True, how="phone", who="Dana", by=bench)
    with CaptureQueriesContext(connection) as few:
        as_bench.get(f"/job/{job.claim}/estimates/")
    for _ in range(4):
        estimating.answer(proposed(job, bench, row(), RUSH), yes=True, how="phone", who="Dana", by=bench)
    with CaptureQueriesContext(connection) as many:
        as_bench.get(f"/job/{job.claim}/estimates/")
    assert len(many) == len(few)


def test_a_charge_beyond_what_was_agreed_leads_to_an_estimate_with_it(as_bench, shop):
    job = JobFactory(spend_limit=None, diagnosis_fee=0)
    line = {"kind": "part", "text": "Output transformer & labour", "quantity": "2", "unit_price": "52.00"}
    answer = as_bench.send(f"/job/{job.claim}/charge/", line)
    assert answer.status_code == 422 and "Ask first" in answer.content.decode()
    form = as_bench.get(answer.context["ask_url"]).content.decode()
    assert 'value="Output transformer &amp; labour"' in form and 'value="52.00"' in form
    assert not job.charges.exists()
