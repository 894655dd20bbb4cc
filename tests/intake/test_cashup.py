"""The day's cash-up: what should be in the till, what was counted, and what is said where they differ."""

import datetime as dt
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest
from django.utils import timezone

from intake import cashup
from intake.models import CashUp, Payment
from tests.factories import JobFactory

pytestmark = pytest.mark.django_db
D = Decimal


@pytest.fixture
def till(shop, owner):
    """A till with 100 in change, 80.25 taken today, and 10.25 of it given back."""
    shop.cash_float = D(100)
    shop.save()
    job = JobFactory()
    for amount, method, kind in (
        ("50.25", "cash", "payment"),
        ("30", "cash", "deposit"),
        ("-10.25", "cash", "refund"),
        ("75", "card", "payment"),
        ("5", "none", "write-off"),
    ):
        Payment.objects.create(job=job, amount=D(amount), method=method, kind=kind, by=owner, note="x")
    return shop


def today(shop):
    return timezone.localdate(timezone=shop.zone)


def yesterday_s_cash(shop, by, *, days=1):
    at = timezone.now() - dt.timedelta(days=days)
    return Payment.objects.create(job=JobFactory(), amount=D(9), method="cash", by=by, at=at)


# --- what should be in it


def test_it_expects_the_change_and_the_cash_of_the_day(till):
    assert cashup.expected(today(till), till) == D("170.00")
    assert cashup.cash_of(today(till), till) == (D("80.25"), D("10.25"))


def test_the_day_is_the_one_on_the_shop_s_wall(shop, owner):
    """23:30 in New York is the next day in UTC."""
    at = dt.datetime(2026, 10, 3, 23, 30, tzinfo=ZoneInfo("America/New_York"))
    Payment.objects.create(job=JobFactory(), amount=D(20), method="cash", by=owner, at=at)
    assert cashup.expected(dt.date(2026, 10, 3), shop) == D(20)
    assert cashup.expected(dt.date(2026, 10, 4), shop) == 0


# --- the count


def test_a_count_that_fits_needs_no_note(till, counter):
    kept = cashup.count(day=today(till), counted=D(170), by=counter)
    assert (kept.expected, kept.counted, kept.note) == (D(170), D(170), "")


def test_a_difference_needs_a_note(till, counter):
    with pytest.raises(cashup.CountRefused, match=r"\$0\.05 less than there should be"):
        cashup.count(day=today(till), counted=D("169.95"), by=counter, note="  ")
    assert cashup.count(day=today(till), counted=D("169.95"), by=counter, note="A coin fell.").pk


@pytest.mark.parametrize(
    "days, counted, pieces, why",
    [(1, "0", {}, "hasn’t come"), (0, "-1", {}, "from nothing upwards"), (0, "20", {D(5): 3}, "come to")],
)
def test_what_makes_no_count_is_refused(shop, counter, days, counted, pieces, why):
    with pytest.raises(cashup.CountRefused, match=why):
        cashup.count(
            day=today(shop) + dt.timedelta(days=days), counted=D(counted), pieces=pieces, by=counter, note="x"
        )


def test_the_last_count_of_a_day_holds_and_the_first_stays(till, counter):
    cashup.count(day=today(till), counted=D(100), by=counter, note="Miscounted")
    last = cashup.count(day=today(till), counted=D(170), by=counter)
    assert cashup.last_counts(10) == [last]
    assert CashUp.objects.count() == 2


def test_days_with_cash_that_nobody_counted_are_named(shop, owner):
    yesterday_s_cash(shop, owner)
    yesterday_s_cash(shop, owner, days=3)
    yesterday_s_cash(shop, owner, days=40)
    day = today(shop)
    assert cashup.not_counted(shop, day) == [day - dt.timedelta(days=1), day - dt.timedelta(days=3)]
    cashup.count(day=day - dt.timedelta(days=1), counted=D(9), by=owner)
    assert cashup.not_counted(shop, day) == [day - dt.timedelta(days=3)]


# --- the page


def test_the_counter_counts_coins_and_notes(till, as_counter):
    sent = {"value-0": "50", "many-0": "3", "value-1": "0.25", "many-1": "80", "value-2": "20", "many-2": ""}
    answer = as_counter.send("/cash-up/", sent)
    kept = CashUp.objects.get()
    assert answer.status_code == 302
    assert answer["Location"] == f"/cash-up/{kept.pk}/"
    assert (kept.counted, kept.pieces) == (D(170), {"50.00": 3, "0.25": 80})
    page = as_counter.get(answer["Location"]).content.decode()
    assert "$150.00" in page
    assert "The till is counted. It is all there." in page
    assert 'value="50.00"' in as_counter.get("/cash-up/").content.decode()  # the next count knows them


def test_two_rows_of_the_same_coin_are_added_up(till, as_counter):
    as_counter.send(
        "/cash-up/", {"value-0": "50", "many-0": "3", "value-1": "50.00", "many-1": "1", "note": "x"}
    )
    assert CashUp.objects.get().pieces == {"50.00": 4}


@pytest.mark.parametrize(
    "sent, said",
    [
        ({}, "Count the pieces, or write what it all comes to"),
        ({"counted": "169"}, "$1.00 less than there should be. Write a note about it."),
        ({"counted": "170", "value-0": "50", "many-0": "1"}, "come to $50.00, not to $170.00"),
        ({"many-0": "4"}, "Write what one of them is worth"),
        ({"value-0": "a lot", "many-0": "x"}, "is not an amount"),
        ({"counted": "-5"}, "without a minus"),
        ({"value-0": "5", "many-0": "-1"}, "greater than or equal to 0"),
        ({"counted": "99999999999"}, "more money than can be"),
    ],
)
def test_a_count_that_cannot_be_kept_says_why_and_loses_nothing(till, as_counter, sent, said):
    for htmx in (False, True):
        answer = as_counter.send("/cash-up/", {"note": "", **sent}, htmx=htmx)
        page = answer.content.decode()
        assert answer.status_code == 422
        assert said in page
        for value in sent.values():
            assert f'value="{value}"' in page
    assert not CashUp.objects.exists()


def test_nothing_in_the_till_is_a_count(shop, as_counter):
    as_counter.send("/cash-up/", {"counted": "0"})
    assert CashUp.objects.get().counted == 0


def test_a_forgotten_day_can_be_counted_later(shop, as_counter, owner):
    yesterday_s_cash(shop, owner)
    day = today(shop) - dt.timedelta(days=1)
    assert f"/cash-up/?day={day.isoformat()}" in as_counter.get("/cash-up/").content.decode()
    assert "Nobody counted" in as_counter.get("/").content.decode()
    as_counter.send(f"/cash-up/?day={day.isoformat()}", {"counted": "9"})
    assert CashUp.objects.get().day == day
    assert "Nobody counted" not in as_counter.get("/").content.decode()


@pytest.mark.parametrize("day", ["soon", "9999-12-31", "0001-01-01", ""])
def test_a_day_that_makes_no_sense_is_today_or_long_ago(shop, as_counter, day):
    assert as_counter.get(f"/cash-up/?day={day}").status_code == 200


def test_two_taps_keep_one_count(till, as_counter):
    for _ in range(2):
        as_counter.send("/cash-up/", {"counted": "170", "once": "a-key-of-this-form-1"})
    assert CashUp.objects.count() == 1


def test_a_currency_without_decimals_is_counted_too(till, as_counter):
    till.currency, till.cash_float = "JPY", D(0)
    till.save()
    Payment.objects.create(job=JobFactory(), amount=D(430), method="cash", by=as_counter_staff())
    as_counter.send("/cash-up/", {"value-0": "500", "many-0": "1", "note": "x"})
    assert CashUp.objects.get().pieces == {"500": 1}


def as_counter_staff():
    from shop.models import Staff

    return Staff.objects.first()


def test_the_bench_and_the_pad_do_not_count(as_bench, as_pad, as_owner):
    for path in ("/cash-up/",):
        assert as_bench.get(path).status_code == as_pad.get(path).status_code == 403
        assert as_bench.send(path, {"counted": "0"}).status_code == 403
    assert as_owner.get("/cash-up/").status_code == 200
    assert not CashUp.objects.exists()


def test_the_paper_says_what_was_counted(till, as_counter):
    as_counter.send("/cash-up/", {"value-0": "50", "many-0": "3", "note": "The rest is at the bank."})
    paper = as_counter.get(f"/cash-up/{CashUp.objects.get().pk}/paper/?view=html").content.decode()
    for words in (
        "3 × $50.00",
        "$150.00",
        "-$20.00",
        "The rest is at the bank.",
        "Ida Marsh",
        'id="paper-end"',
    ):
        assert words in paper


def test_a_later_count_is_said_on_the_earlier(till, as_counter, counter):
    first = cashup.count(day=today(till), counted=D(1), by=counter, note="x")
    cashup.count(day=today(till), counted=D(170), by=counter)
    assert "It was counted again" in as_counter.get(f"/cash-up/{first.pk}/").content.decode()
