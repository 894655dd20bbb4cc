"""Reports: what they work out, against other reckonings; who sees them; that they ask no more of a bigger shop."""

import csv
import datetime as dt
import io
import statistics
from decimal import Decimal
from zoneinfo import ZoneInfo

import numpy
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st

from intake.demo.crowd import crowd
from intake.models import Invoice, InvoiceLine, Job, LabourSpell, Payment, State
from intake.reports import comebacks, figures, house, labour, owed, parts, picture, takings, tax, turnaround
from intake.reports.catalogue import REPORTS
from intake.reports.period import NoPeriod, Period, Span, place, stretch
from tests.factories import ChargeFactory, FindingFactory, JobFactory, PersonFactory

pytestmark = pytest.mark.django_db
EACH = pytest.mark.parametrize("report", REPORTS, ids=lambda r: r.slug)
DAY = dt.date(2026, 11, 25)
D = Decimal


def sheet_of(tablet, slug, query=""):
    """The spreadsheet of a report, as rows of column -> cell."""
    answer = tablet.get(f"/reports/{slug}.csv{query}")
    assert answer.status_code == 200
    return list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"))))


def issue(job, by, gross, *, on=None, kind="invoice", credits=None, taxes=(), lines=(), number=None, **more):
    """An invoice as its row stands, whatever verb wrote it."""
    number = number or Invoice.objects.count() + 1
    invoice = Invoice.objects.create(
        kind=kind, series="INV" if kind == "invoice" else "CRN", number=number, credits=credits,
        reason="Charged twice" if credits else "", job=job, person=job.person if job else None,
        issued_on=on or timezone.localdate(), by=by, seller={}, buyer={"name": job.person.name if job else ""},
        what="", currency="USD", gross=D(gross), taxes=list(taxes),
        **{"prices_include_tax": False, "net": D(gross) - sum((D(t["tax"]) for t in taxes), D(0)), **more},
    )  # fmt: skip
    for position, line in enumerate(lines):
        InvoiceLine.objects.create(
            **{
                "invoice": invoice,
                "position": position,
                "text": "",
                "unit_price": line["amount"],
                "quantity": 1,
                **line,
            }
        )
    return invoice


# --- days


@pytest.mark.parametrize(
    "span, day, first, last, words",
    [
        (Span.MONTH, dt.date(2024, 2, 10), dt.date(2024, 2, 1), dt.date(2024, 2, 29), "February 2024"),
        (
            Span.QUARTER,
            dt.date(2026, 11, 25),
            dt.date(2026, 10, 1),
            dt.date(2026, 12, 31),
            "Fourth quarter of 2026",
        ),
        (
            Span.QUARTER,
            dt.date(2026, 3, 31),
            dt.date(2026, 1, 1),
            dt.date(2026, 3, 31),
            "First quarter of 2026",
        ),
        (
            Span.QUARTER,
            dt.date(2026, 4, 1),
            dt.date(2026, 4, 1),
            dt.date(2026, 6, 30),
            "Second quarter of 2026",
        ),
        (Span.YEAR, dt.date(2026, 1, 1), dt.date(2026, 1, 1), dt.date(2026, 12, 31), "2026"),
        (
            Span.TWELVE,
            dt.date(2026, 1, 31),
            dt.date(2025, 2, 1),
            dt.date(2026, 1, 31),
            "Feb 2025 to Jan 2026",
        ),
        (
            Span.TWELVE,
            dt.date(2026, 12, 1),
            dt.date(2026, 1, 1),
            dt.date(2026, 12, 31),
            "Jan 2026 to Dec 2026",
        ),
    ],
)
def test_a_stretch_of_the_calendar_begins_and_ends_on_its_days(span, day, first, last, words):
    period = stretch(span, day)
    assert (period.first, period.last, period.words) == (first, last, words)


@given(st.sampled_from(list(Span)), st.dates(dt.date(1995, 1, 1), dt.date(2190, 12, 31)))
def test_stretches_follow_each_other_without_a_gap(span, day):
    period = stretch(span, day)
    assert period.first <= day <= period.last
    assert period.before.last + dt.timedelta(days=1) == period.first
    assert period.after.first - dt.timedelta(days=1) == period.last
    assert period.after.before == period


@given(st.dates(dt.date(2000, 1, 1), dt.date(2100, 1, 1)), st.integers(0, 4000))
def test_the_pieces_of_a_period_are_all_of_its_days(first, length):
    period = Period(first, first + dt.timedelta(days=length), Span.DAYS)
    for pieces in (period.pieces(), period.months()):
        assert (pieces[0].first, pieces[-1].last) == (period.first, period.last)
        assert all(a.last + dt.timedelta(days=1) == b.first for a, b in zip(pieces, pieces[1:], strict=False))
        for n in {0, length // 2, length}:
            day = first + dt.timedelta(days=n)
            at = place(pieces, day)
            assert pieces[at].first <= day <= pieces[at].last
        assert place(pieces, period.last + dt.timedelta(days=1)) is None


def test_a_period_is_bounded_by_the_shop_s_midnights_also_when_the_clock_changes():
    """On 1 Nov 2026 New York goes from UTC-4 back to UTC-5 (IANA's table)."""
    since, until = Period(dt.date(2026, 11, 1), dt.date(2026, 11, 1), Span.DAYS).bounds(
        ZoneInfo("America/New_York")
    )
    assert since.astimezone(dt.UTC).isoformat() == "2026-11-01T04:00:00+00:00"
    assert until.astimezone(dt.UTC).isoformat() == "2026-11-02T05:00:00+00:00"


@pytest.mark.parametrize("first, last", [(DAY, DAY - dt.timedelta(days=1)), (dt.date(1900, 1, 1), DAY)])
def test_days_the_wrong_way_round_or_out_of_the_world_are_no_period(first, last):
    with pytest.raises(NoPeriod):
        Period(first, last, Span.DAYS)


@pytest.mark.parametrize(
    "query, said",
    [
        ("?from=2026-11-25&until=2026-11-01", "before the first"),
        ("?from=2026-11-25", "Choose both days"),
        ("?from=soon&until=later", "Choose a day"),
        ("?from=0001-01-01&until=9999-12-31", "between 1990 and 2199"),
        ("?span=fortnight&on=2026-11-25", "Choose one of the stretches"),
        ("?span=twelve-months&on=0001-01-01", "Choose"),
        ("?span=twelve-months&on=9999-12-31", "Choose"),
    ],
)
def test_days_that_make_no_sense_are_said_beside_the_field(as_owner, query, said):
    answer = as_owner.get(f"/reports/takings/{query}")
    assert answer.status_code == 422
    assert said in answer.content.decode()


# --- figures


@given(st.lists(st.floats(0, 4000), min_size=1, max_size=40))
def test_median_and_quartiles_are_numpy_s(values):
    """Against numpy's percentile with its own default method, linear (type 7)."""
    spread = figures.spread(values)
    wanted = numpy.percentile(values, [25, 50, 75])
    assert (spread.lower, spread.median, spread.upper) == pytest.approx(tuple(wanted), abs=1e-6)
    assert spread.median == pytest.approx(statistics.median(values))


def test_there_is_no_spread_of_nothing():
    assert figures.spread([]) is None


@pytest.mark.parametrize(
    "part, whole, percent",
    [
        (1, 3, D("33.3")),
        (2, 3, D("66.7")),
        (-1, 8, D("-12.5")),
        (0, 5, D("0.0")),
        (1, 0, None),
        (1, 2000, D("0.1")),
    ],
)
def test_a_percentage_is_rounded_half_up(part, whole, percent):
    assert figures.percent(part, whole) == percent


# --- pictures

NUMBERS = st.one_of(st.none(), st.floats(-5000, 1e6))


@given(st.lists(NUMBERS, min_size=1, max_size=42))
def test_no_bar_leaves_the_picture_and_lengths_keep_their_proportion(values):
    drawn = picture.upright([picture.Bar(str(n), v) for n, v in enumerate(values)])
    shown = [v for v in values if v is not None]
    assert len(drawn.boxes) == len(shown)
    assert all(b.y >= 0 and b.x >= 0 and b.height >= 0 for b in drawn.boxes)
    assert all(b.y + b.height <= drawn.height and b.x + b.width <= drawn.width for b in drawn.boxes)
    if shown and (most := max(shown, key=abs)):
        tallest = max(b.height for b in drawn.boxes)
        for box, value in zip(drawn.boxes, shown, strict=True):
            assert box.height == pytest.approx(tallest * abs(value / most), abs=0.2)


@given(st.lists(st.floats(0, 1e6), min_size=1, max_size=12))
def test_bars_that_lie_keep_their_proportion(values):
    drawn = picture.lying([picture.Bar("a", v, "f") for v in values])
    longest = max(b.width for b in drawn.boxes)
    for box, value in zip(drawn.boxes, values, strict=True):
        assert box.width == pytest.approx(longest * value / (max(values) or 1), abs=0.2)
        assert box.y + box.height <= drawn.height


@given(st.floats(0, 1e9))
def test_a_scale_ends_no_lower_than_what_it_measures_and_less_than_ten_times_above(value):
    end = picture.round_up(value)
    assert value <= end
    assert value < 1 or end <= value * 2.0001


# --- every report


@EACH
def test_each_has_a_page_and_a_spreadsheet_in_an_empty_shop(as_owner, report):
    page = as_owner.get(f"/reports/{report.slug}/")
    sheet = as_owner.get(f"/reports/{report.slug}.csv")
    assert (page.status_code, sheet.status_code) == (200, 200)
    assert report.title in page.content.decode()
    assert sheet.content.startswith(b"\xef\xbb\xbf")


@EACH
def test_the_right_people_see_each(as_owner, as_bench, as_counter, as_pad, report):
    counter = 200 if report.slug in ("owed", "house") else 403
    for path in (f"/reports/{report.slug}/", f"/reports/{report.slug}.csv"):
        got = [tablet.get(path).status_code for tablet in (as_owner, as_bench, as_counter, as_pad)]
        assert got == [200, 403, counter, 403]
        assert as_owner.send(path).status_code == 405


@EACH
def test_each_asks_no_more_of_a_bigger_shop(as_owner, report):
    asked = []
    for jobs in (30, 90):
        crowd(jobs, seed=jobs)
        with CaptureQueriesContext(connection) as caught:
            page = as_owner.get(f"/reports/{report.slug}/?from=2015-01-01&until=2027-12-31")
            asked.append(len(caught))
        assert '<table class="figures">' in page.content.decode()
    assert asked[0] == asked[1]


@EACH
def test_what_people_typed_is_no_formula_in_a_spreadsheet(as_owner, owner, report):
    person = PersonFactory(name="=HYPERLINK(1)")
    job = JobFactory(gear__owner=person)
    issue(job, owner, "50")
    Payment.objects.create(job=job, amount=D(20), method="cash", by=owner)
    assert not any(
        value.startswith(("=", "@", "+")) for row in sheet_of(as_owner, report.slug) for value in row.values()
    )


# --- takings


def test_takings_are_what_was_taken_less_what_was_given_back_by_method_and_day(as_owner, owner):
    job = JobFactory()
    for amount, method, kind, day in (
        ("100.10", "cash", "payment", 3),
        ("0.20", "cash", "deposit", 3),
        ("-50.05", "cash", "refund", 4),
        ("80", "card", "payment", 4),
        ("999", "none", "write-off", 4),
    ):
        at = dt.datetime(2026, 10, day, 23, 30, tzinfo=ZoneInfo("America/New_York"))  # the next day in UTC
        Payment.objects.create(job=job, amount=D(amount), method=method, kind=kind, at=at, by=owner, note="x")
    rows = {row["day or month"]: row for row in sheet_of(as_owner, "takings", "?span=month&on=2026-10-01")}
    assert len(rows) == 31
    assert (rows["2026-10-03"]["cash"], rows["2026-10-03"]["taken"]) == ("100.30", "100.30")
    assert (rows["2026-10-04"]["cash"], rows["2026-10-04"]["card"]) == ("-50.05", "80.00")
    assert rows["2026-10-05"]["taken"] == "0.00"
    page = as_owner.get("/reports/takings/?span=month&on=2026-10-01").content.decode()
    assert "$130.25" in page
    assert "$50.05 went out again" in page


@given(
    st.lists(
        st.tuples(st.integers(0, 40), st.sampled_from(takings.METHODS), st.decimals(-999, 999, places=2))
    )
)
def test_no_payment_is_counted_twice_or_lost(paid):
    pieces = stretch(Span.MONTH, DAY).pieces()
    rows = [(pieces[0].first + dt.timedelta(days=n), method, amount) for n, method, amount in paid]
    found = takings.by_piece(pieces, rows, D(0))
    assert sum(sum(each.values()) for each in found) == sum(a for d, _, a in rows if d <= pieces[-1].last)


# --- tax


def kept_tax(name, percent, base, tax):
    return {"name": name, "percent": percent, "base": base, "tax": tax}


def test_tax_is_what_invoices_said_less_what_credit_notes_took_back(as_owner, owner):
    """Summed by hand from three invoices and a credit note, over a change of the rate."""
    job = JobFactory()
    old, new = kept_tax("Sales tax", "7", "100", "7.00"), kept_tax("Sales tax", "7.25", "200", "14.50")
    issue(job, owner, "107", on=dt.date(2026, 10, 31), taxes=[old])
    first = issue(job, owner, "214.50", on=dt.date(2026, 11, 1), taxes=[new])
    issue(job, owner, "45", on=dt.date(2026, 11, 2))
    back = kept_tax("Sales tax", "7.25", "40", "2.90")
    issue(job, owner, "42.90", on=dt.date(2026, 11, 3), kind="credit", credits=first, taxes=[back])
    rows = sheet_of(as_owner, "tax", "?span=quarter&on=2026-11-25")
    assert [list(row.values()) for row in rows] == [
        ["2026-10", "Sales tax", "7", "100.00", "7.00", "0.00"],
        ["2026-11", "Sales tax", "7.25", "160.00", "11.60", "2.90"],
    ]
    page = as_owner.get("/reports/tax/?span=quarter&on=2026-11-25").content.decode()
    assert "<dt>Tax</dt><dd>$18.60</dd>" in page
    assert "<dt>Invoiced before tax</dt><dd>$305.00</dd>" in page
    assert "<dt>Invoiced without any tax</dt><dd>$45.00</dd>" in page


# --- labour


def test_sold_hours_belong_to_whose_clock_they_were_charged_from(as_owner, owner, bench):
    job, now = JobFactory(), timezone.now()
    spell = LabourSpell.objects.create(job=job, who=bench, began=now, ended=now, minutes=100)
    LabourSpell.objects.create(job=job, who=bench, began=now, ended=now, minutes=35, struck_at=now)
    LabourSpell.objects.create(job=job, who=owner, began=now, ended=now, minutes=50)
    lines = [
        {"kind": "labour", "quantity": D("1.5"), "unit": "h", "amount": D(120)},
        {"kind": "labour", "quantity": D("0.5"), "unit": "h", "amount": D(40)},
        {"kind": "labour", "quantity": D("0.25"), "unit": "h", "amount": D(0)},
    ]
    invoice = issue(job, owner, "160", lines=lines)
    ChargeFactory(
        job=job, kind="labour", quantity=D("1.5"), unit="h", unit_price=D(80), origin=labour.ORIGIN + str(spell.pk),
        invoice=invoice,
    )  # fmt: skip
    note = [{"kind": "labour", "quantity": D("0.5"), "unit": "h", "amount": D(40)}]
    issue(job, owner, "40", kind="credit", credits=invoice, lines=note, number=1)
    rows = [list(row.values()) for row in sheet_of(as_owner, "labour")]
    assert rows == [
        ["Tomas Lindqvist", "1.67", "1.50", "0.00", "89.8"],
        ["Wren Adeyemi", "0.83", "0.00", "0.00", "0.0"],
        ["Not from a clock", "", "0.50", "0.25", ""],
        ["Taken back by credit notes", "", "-0.50", "", ""],
    ]


def test_a_charge_names_its_spell_as_the_report_reads_it():
    from intake.labour import origin

    assert origin(LabourSpell(pk=17)) == f"{labour.ORIGIN}17"


# --- parts


def test_the_margin_counts_lines_whose_cost_is_known_and_says_how_many_are_not(as_owner, owner):
    job = JobFactory()
    part = {"kind": "part", "quantity": 2, "unit_price": D(10), "amount": D(20)}
    invoice = issue(job, owner, "60", lines=[{**part, "unit_cost": D("6.125")}, part, part])
    credit = [{**part, "quantity": 1, "amount": D(10), "unit_cost": D("6.125")}]
    issue(job, owner, "10", kind="credit", credits=invoice, lines=credit, number=1)
    row = sheet_of(as_owner, "parts")[-1]
    # 20 - 10 sold; 12.25 - 6.13 cost, each line rounded half up
    assert list(row.values())[1:] == ["4", "10.00", "6.12", "3.88", "38.8", "2", "40.00"]
    assert "Lines without a cost: 2 of 4." in as_owner.get("/reports/parts/").content.decode()


@pytest.mark.parametrize(
    "amount, percents, includes, currency, net",
    [("107.25", ["7.25"], True, "USD", "100.00"), ("107.25", ["7.25"], False, "USD", "107.25"),
     ("120", ["10", "10"], True, "USD", "100.00"), ("110", ["10"], True, "JPY", "100"),
     ("1.001", [], True, "KWD", "1.001")],
)  # fmt: skip
def test_tax_in_a_price_is_taken_out_of_it(amount, percents, includes, currency, net):
    assert parts.net_of(D(amount), percents, includes_tax=includes, currency=currency) == D(net)


# --- turnaround


def _ready(days_ago, after):
    ready = timezone.now() - dt.timedelta(days=days_ago)
    JobFactory(state="ready", ready_at=ready, since=ready - dt.timedelta(days=after))


def test_turnaround_shows_median_and_quartiles_of_this_month(as_owner):
    for after in (1, 3, 80):
        _ready(0, after)
    row = sheet_of(as_owner, "turnaround")[-1]
    assert list(row.values())[1:] == [
        "3",
        "2.0",
        "3.0",
        "41.5",
    ]  # by hand: halfway from 1 to 3, and from 3 to 80
    page = as_owner.get("/reports/turnaround/").content.decode()
    assert '<td class="n">2.0</td><td class="n">3.0</td><td class="n">41.5</td>' in page


def test_what_was_ready_more_than_a_year_ago_is_left_out_at_first(as_owner):
    _ready(400, 2)
    assert {row["jobs that became ready"] for row in sheet_of(as_owner, "turnaround")} == {"0"}


def test_what_ends_before_it_began_is_left_out():
    pieces = stretch(Span.MONTH, DAY).months()
    moment = dt.datetime(2026, 11, 20, 12, tzinfo=dt.UTC)
    times = [turnaround.Time(moment, moment - dt.timedelta(days=1)), turnaround.Time(moment, moment)]
    assert [each.count for each in turnaround.by_piece(pieces, times)] == [1]


# --- work in progress


def test_work_in_progress_is_what_stands_in_the_house_with_what_is_not_invoiced(as_owner, bench):
    bench_job = JobFactory(state=State.ON_THE_BENCH, since=timezone.now() - dt.timedelta(days=40))
    JobFactory(state=State.READY)
    JobFactory(state=State.COLLECTED)
    ChargeFactory(job=bench_job, quantity=3, unit_price=D("6.50"))
    ChargeFactory(job=bench_job, kind="discount", unit_price=D(0), percent=D(10))
    ChargeFactory(job=bench_job, kind="labour", unit_price=D(80), under_warranty=True)
    ChargeFactory(job=bench_job, unit_price=D(99), struck_at=timezone.now())
    rows = {row["where it stands"]: list(row.values())[1:] for row in sheet_of(as_owner, "house")}
    assert rows == {
        "on the bench": ["1", "40", "40", "0", "0", "1", "0", "17.55"],  # 19.50 less a tenth
        "ready": ["1", "0", "0", "1", "0", "0", "0", "0.00"],
    }


def test_discounts_above_the_charges_count_as_nothing_and_are_said(as_owner):
    ChargeFactory(job=JobFactory(state=State.READY), kind="discount", unit_price=D(5))
    assert "1 of the jobs have discounts" in as_owner.get("/reports/house/").content.decode()


# --- comebacks


def repaired(*circuits, days_ago=10, back=()):
    collected = timezone.now() - dt.timedelta(days=days_ago)
    job = JobFactory(state=State.COLLECTED, collected_at=collected)
    for circuit in circuits:
        FindingFactory(job=job, circuit=circuit)
    for fault in back:
        JobFactory(comeback_of=job, comeback_fault=fault)
    return job


def test_the_rate_of_comebacks_by_fault(as_owner):
    repaired("supply", "supply", back=["same"])
    repaired("supply", "output")
    repaired("output", back=["another", "unclear"])
    repaired()
    Job.objects.filter(pk=repaired("supply").pk).update(declined=True)
    repaired("mains", days_ago=700)
    rows = {row["part of the circuit"]: list(row.values())[1:] for row in sheet_of(as_owner, "comebacks")}
    assert rows == {
        "Power supply": ["2", "1", "1", "0", "0", "50.0"],
        "Output stage": ["2", "1", "0", "1", "0", "50.0"],
        "Not said": ["1", "0", "0", "0", "0", "0.0"],
    }


FAULTS = st.lists(st.sampled_from(["same", "another", "unclear", ""]), max_size=3).map(tuple)


@given(st.lists(st.builds(comebacks.Repair, st.frozensets(st.sampled_from(["mains", "supply"])), FAULTS)))
def test_every_comeback_is_of_one_sort(repairs):
    rates, whole = comebacks.by_circuit(repairs)
    assert whole.repairs == len(repairs)
    for rate in (*rates, whole):
        assert rate.same + rate.another + rate.unclear == rate.came_back <= rate.repairs
    assert whole.same == sum("same" in r.came_back for r in repairs)


# --- who owes


def test_who_owes_is_by_person_the_oldest_first_with_payments_on_the_oldest_invoice(as_counter, owner):
    dana, noor = PersonFactory(name="Dana Whitlow"), PersonFactory(name="Noor Haddad")
    today = timezone.localdate()
    old = JobFactory(gear__owner=dana)
    issue(old, owner, "100", on=today - dt.timedelta(days=95))
    issue(old, owner, "50", on=today - dt.timedelta(days=5))
    Payment.objects.create(job=old, amount=D("120.10"), method="cash", by=owner)
    other = JobFactory(gear__owner=noor)
    first = issue(other, owner, "80", on=today - dt.timedelta(days=61))
    issue(other, owner, "30", kind="credit", credits=first, number=1)
    paid = JobFactory(gear__owner=dana)
    issue(paid, owner, "0.30", on=today - dt.timedelta(days=400))
    for _ in range(3):
        Payment.objects.create(job=paid, amount=D("0.10"), method="card", by=owner)
    Payment.objects.create(job=JobFactory(), amount=D(25), method="card", kind="deposit", by=owner)
    rows = [list(row.values()) for row in sheet_of(as_counter, "owed")]
    assert rows == [
        [
            "Noor Haddad",
            (today - dt.timedelta(days=61)).isoformat(),
            "0.00",
            "0.00",
            "50.00",
            "0.00",
            "50.00",
        ],
        [
            "Dana Whitlow",
            (today - dt.timedelta(days=5)).isoformat(),
            "29.90",
            "0.00",
            "0.00",
            "0.00",
            "29.90",
        ],
    ]
    assert "<dt>Held for customers</dt><dd>$25.00</dd>" in as_counter.get("/reports/owed/").content.decode()


def test_a_sale_over_the_counter_that_is_not_paid_is_owed_too(as_owner, owner):
    sale = issue(None, owner, "12")
    issue(None, owner, "2", kind="credit", credits=sale, number=1)
    Payment.objects.create(invoice=sale, amount=D(4), method="cash", by=owner)
    assert [(row["who"], row["owed"]) for row in sheet_of(as_owner, "owed")] == [
        ("Sold over the counter, INV-00001", "6.00")
    ]


MONEY = st.decimals("0.01", "500", places=2)


@given(
    st.lists(
        st.builds(
            owed.Account,
            who=st.integers(1, 3),
            bills=st.lists(st.builds(owed.Bill, st.dates(dt.date(2026, 1, 1), DAY), MONEY), max_size=4),
            paid=st.decimals("-100", "600", places=2),
        )
    )
)
def test_what_is_owed_adds_up_to_what_the_open_accounts_come_to(accounts):
    debts = owed.who_owes(accounts, DAY, D(0))
    with_bills = [a for a in accounts if a.bills]
    assert sum((d.owed for d in debts), D(0)) == sum((max(a.balance, D(0)) for a in with_bills), D(0))
    assert [d.oldest for d in debts] == sorted(d.oldest for d in debts)


def test_work_in_progress_counts_ages_from_the_shop_s_days():
    found = house.by_state(
        [house.Here("ready", DAY - dt.timedelta(days=n), D(0)) for n in (0, 7, 8, 91)], DAY, D(0)
    )
    assert [s.bands for s in found] == [[2, 1, 0, 1]]


def test_tax_of_a_day_outside_is_not_counted():
    pieces = stretch(Span.MONTH, DAY).months()
    issued = [(DAY.replace(month=10), "invoice", D(1), D(1), [kept_tax("A", "5", "1", "1")])]
    assert tax.by_rate(pieces, issued, D(0)) == [[]]
