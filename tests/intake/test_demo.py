"""The invented shop holds to everything that a real one would. It is made once, for a Sunday night."""

import csv
import datetime as dt
import io
import time
from collections import defaultdict
from collections.abc import Iterator
from decimal import Decimal
from itertools import pairwise
from typing import Any

import pytest
from django.db import transaction
from django.db.models import Sum
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from PIL import Image

from calc import listing, meters, safety
from calc.checklists import Stage
from calc.meters import Calibration
from calc.models import (
    EmergencyCard,
    GearBuild,
    KeptSheet,
    ListChange,
    ListRun,
    ListVersion,
    Mark,
    Meter,
    NearMiss,
    Reading,
    SafetyWord,
    UnsafeTag,
    Waiver,
)
from calc.safety import Standing
from intake import billing, claims, comebacks, keeping, spending
from intake.models import (
    Answer,
    CashUp,
    Charge,
    Circuit,
    Estimate,
    Finding,
    Gear,
    Invoice,
    Job,
    LabourSpell,
    LetGo,
    NoticeBack,
    PadEntry,
    Payment,
    Person,
    Photo,
    Pickup,
    State,
)
from inventory import stock
from inventory.models import Aside, CountRound, Loan, Move, Part, Tube, TubeSet, Want
from shop import demo, timeline
from shop.models import Entry, Shop, Staff
from shop.roles import Role
from tests.conftest import Tablet

pytestmark = pytest.mark.django_db

NOW = dt.datetime(
    2026, 11, 22, 7, 30, tzinfo=dt.UTC
)  # the shop is shut: the hardest time to make it look alive


@pytest.fixture(scope="module", autouse=True)
def town(django_db_setup, django_db_blocker, tmp_path_factory) -> Iterator[None]:
    from django.conf import settings

    with django_db_blocker.unblock(), pytest.MonkeyPatch.context() as patch:
        patch.setattr(settings, "MEDIA_ROOT", tmp_path_factory.mktemp("media"))
        patch.setattr(settings, "PASSWORD_HASHERS", ["django.contrib.auth.hashers.MD5PasswordHasher"])
        with transaction.atomic():
            assert demo.load_if_empty(NOW)
            yield
            transaction.set_rollback(True)


@pytest.fixture(autouse=True)
def _own_folders(settings: Any) -> None:
    """The module's own folder of pictures stays for all its tests, in place of a fresh one each."""
    settings.STORAGES = {
        **settings.STORAGES,
        "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
    }
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    settings.ALLOWED_HOSTS = ["*"]


def jobs() -> list[Job]:
    return list(Job.objects.select_related("gear", "visit").order_by("pk"))


# --- What there is to see


def test_there_are_two_hundred_jobs_over_three_years():
    assert Job.objects.count() == 200
    first = Job.objects.order_by("since").first()
    assert dt.timedelta(days=3 * 365 - 60) < NOW - first.since <= dt.timedelta(days=3 * 365 + 8)


@pytest.mark.parametrize("state", State.values)
def test_there_is_a_job_in_every_state(state):
    assert Job.objects.filter(state=state).exists()


def test_three_gear_are_left_behind_and_every_notice_is_recorded():
    left = Job.objects.filter(state=State.LEFT_BEHIND)
    assert left.count() == 3
    shop = Shop.current()
    for job in keeping.with_record(left):
        clock = keeping.clock_of(job, shop, billing.today(shop))
        assert (clock.counted, clock.may_act) == (3, True), clock.why_not


def test_one_letter_came_back_and_another_went_to_the_new_address():
    back = NoticeBack.objects.get()
    job = back.notice.job
    later = job.storage_notices.filter(sent_on__gte=back.on)
    assert job.state == State.LEFT_BEHIND
    assert later.count() == 3
    assert {n.address.splitlines()[1] for n in later} == {job.person.address}
    assert back.notice.address.splitlines()[1] != job.person.address


def test_one_was_let_go_and_what_is_left_over_is_its_owner_s():
    gone = LetGo.objects.get()
    assert (gone.job.state, gone.became, gone.decided_by.role) == (State.LET_GO, "sold", Role.OWNER)
    assert gone.surplus == gone.price - gone.costs - gone.claims > 0
    assert gone.may_act["may act"]


def test_two_are_comebacks_of_the_same_gear_within_its_warranty():
    backs = list(Job.objects.exclude(comeback_of=None).select_related("comeback_of", "visit"))
    assert {job.comeback_fault for job in backs} == {"same", "another"}
    assert len(backs) == 2
    for job in backs:
        assert job.gear_id == job.comeback_of.gear_id
        assert comebacks.verdict(job).covers
        came_in_time = timezone.localdate(job.since, Shop.current().zone)
        assert came_in_time <= job.comeback_of.labour_warranty_until


def test_the_same_fault_was_mended_at_nothing_and_the_other_paid_for():
    same, another = (Job.objects.get(comeback_fault=fault) for fault in ("same", "another"))
    assert same.charges.filter(under_warranty=True).exists()
    assert same.invoices.get().gross == 0
    assert not another.charges.filter(under_warranty=True).exists()
    assert another.invoices.get().gross > 0


def test_one_estimate_was_disputed():
    disputed = [e.job for e in Estimate.objects.filter(number=3).select_related("job")]
    assert len(disputed) == 1
    answers = Answer.objects.filter(estimate__job=disputed[0]).order_by("estimate__number")
    assert [answer.yes for answer in answers] == [True, False, True]
    assert any("disputes" in note.text for note in disputed[0].notes.all())
    pause = disputed[0].storage_pauses.get()
    assert (pause.why, pause.ended is not None) == ("dispute", True)


def test_estimates_had_options_and_some_were_taken():
    assert Answer.objects.exclude(taken=[]).filter(yes=True).exists()
    assert Answer.objects.filter(yes=True, taken=[], estimate__lines__optional=True).exists()


def test_nothing_was_charged_beyond_what_the_owner_agreed_to():
    for job in Job.objects.filter(declined=False).select_related("person"):
        assert not spending.allowance(job).over, job.claim


def test_every_finding_says_where_in_the_circuit():
    assert set(Finding.objects.values_list("circuit", flat=True)) <= set(Circuit.values)


def test_there_is_one_of_each_misfortune_with_money():
    credit_note = Invoice.objects.get(kind="credit")
    assert credit_note.gross == -Payment.objects.get(kind="refund").amount > 0
    assert Payment.objects.get(kind="write-off").by.role == Role.OWNER
    assert Payment.objects.filter(kind="deposit").exists()
    assert Pickup.objects.exclude(waiver="").count() == 2


def test_who_is_exempt_pays_no_tax():
    exempt = Invoice.objects.exclude(exempt_number="")
    assert exempt.exists()
    assert all(invoice.gross == invoice.net for invoice in exempt)


def test_parts_are_sold_over_the_counter_and_the_till_is_counted():
    sales = Invoice.objects.filter(job=None)
    assert sales.count() > 40
    assert sales.exclude(person=None).count() == 1
    counts = CashUp.objects.all()
    assert counts.count() > 5
    assert all(count.expected >= Shop.current().cash_float for count in counts)
    assert any(count.counted != count.expected and count.note for count in counts)


def test_makers_are_the_invented_ones():
    assert set(Gear.objects.values_list("maker", flat=True)) <= {
        "Corvane", "Bexley & Rook", "Tindall", "Oslin", "Kestrel", "Hollin",
    }  # fmt: skip


def test_the_staff_are_who_they_are_and_can_come_in():
    assert {(s.name, s.role) for s in Staff.objects.exclude(role=Role.PAD)} == {
        ("Wren Adeyemi", "owner"),
        ("Tomas Lindqvist", "bench"),
        ("Ida Marsh", "counter"),
    }
    for key in demo.KEYS:
        staff = Staff.objects.get(sign_in=key.sign_in)
        assert staff.check_password(demo.PASSWORD)
        assert staff.check_pin(key.pin)


def test_every_family_of_pages_has_something_to_show():
    for model, least in (
        (Person, 60),
        (Gear, 80),
        (Invoice, 150),
        (Photo, 8),
        (Reading, 300),
        (LabourSpell, 150),
    ):
        assert model.objects.count() >= least, model
    assert PadEntry.objects.filter(status="waiting").count() == 2
    assert LabourSpell.objects.filter(ended=None).count() == 2
    assert Answer.objects.filter(yes=False).exists()
    assert Answer.objects.filter(how="signed").exists()
    assert Job.objects.filter(visit__how="mail").exists()
    assert Job.objects.filter(state=State.COLLECTED, declined=True).exists()


# --- What holds in any shop


@pytest.mark.parametrize("kind", ["invoice", "credit"])
def test_invoice_numbers_have_no_gap_and_their_days_don_t_go_back(kind):
    invoices = list(Invoice.objects.filter(kind=kind).order_by("number"))
    assert len({i.series for i in invoices}) == 1
    assert [i.number for i in invoices] == list(range(1, len(invoices) + 1))
    days = [i.issued_on for i in invoices]
    assert days == sorted(days)


def test_every_invoice_adds_up():
    for invoice in Invoice.objects.prefetch_related("lines"):
        assert sum(line.amount for line in invoice.lines.all()) == invoice.net
        assert invoice.net + sum(Decimal(tax["tax"]) for tax in invoice.taxes) == invoice.gross


def test_tax_falls_on_parts_and_not_on_labour():
    """7.25 % of the parts, half up to the cent; the demo's own terms."""
    for invoice in Invoice.objects.filter(kind="invoice", exempt_number="").prefetch_related("lines")[:60]:
        lines = invoice.lines.all()
        if any(line.kind == "discount" for line in lines):
            continue
        parts = sum(line.amount for line in lines if line.kind == "part")
        tax = (parts * Decimal("0.0725")).quantize(Decimal("0.01"), rounding="ROUND_HALF_UP")
        assert invoice.gross - invoice.net == tax


def test_what_is_collected_has_a_pickup_and_nothing_else_has():
    collected = set(Job.objects.filter(state=State.COLLECTED).values_list("pk", flat=True))
    assert collected == set(Pickup.objects.values_list("job", flat=True))


def test_nothing_went_home_with_money_owed_but_what_the_owner_waived():
    gone = list(Job.objects.filter(state=State.COLLECTED).values_list("pk", flat=True))
    waived = set(Pickup.objects.exclude(waiver="").values_list("job", flat=True))
    accounts = billing.accounts(gone)
    owing = {key for key, account in accounts.items() if account.owed}
    assert owing < waived  # the other was written off
    assert len(owing) == 1
    assert {account.in_hand for account in accounts.values()} == {Decimal(0)}


def test_every_claim_is_right_and_of_the_month_it_came():
    for job in jobs():
        assert claims.read(job.claim) == job.claim
        assert job.claim.startswith(f"{timezone.localtime(job.since, Shop.current().zone):%y%m}-")


def test_claims_run_as_the_gear_came():
    came = [(job.since, job.claim) for job in jobs()]
    assert came == sorted(came)


def test_every_timeline_begins_with_the_drop_off_and_runs_on():
    for job in jobs():
        entries = list(timeline.of(job).order_by("pk"))
        assert entries[0].words == "took it in"
        moments = [entry.at for entry in entries]
        assert moments == sorted(moments)


def test_worksheets_are_kept_before_and_after_with_meters_of_which_one_is_overdue():
    kept = KeptSheet.objects.standing()
    assert set(kept.values_list("slug", flat=True)) >= {
        "idle-current",
        "supply",
        "after-repair-test",
    }
    before = set(kept.filter(slug="idle-current", when="before").values_list("job", flat=True))
    after = set(kept.filter(slug="idle-current", when="after").values_list("job", flat=True))
    assert len(before & after) >= 3
    assert not kept.filter(meter=None).exists()
    assert kept.filter(slug="after-repair-test").exclude(verdict="good").count() == 1  # mended, and passed
    standing = {meters.calibration(meter.due_on, NOW.date()) for meter in Meter.objects.all()}
    assert standing == {Calibration.FINE, Calibration.OVERDUE}


def test_nothing_happens_after_now():
    assert Entry.objects.filter(at__gt=NOW).count() == 0
    assert LabourSpell.objects.filter(began__gt=NOW).count() == 0


def test_what_was_repaired_was_measured_after_the_repair():
    for job in Job.objects.filter(state__in=(State.READY, State.COLLECTED), declined=False):
        assert job.readings.filter(when="after").exists(), job.claim


def test_no_piece_of_gear_is_here_twice():
    here = list(Job.objects.in_the_house().values_list("gear", flat=True))
    assert len(here) == len(set(here))


def test_nobody_works_on_two_things_at_once():
    """Spells of one person may touch, not overlap by more than a visit to the other bench."""
    for staff in Staff.objects.all():
        minutes = staff.labour.filter(ended__isnull=False).aggregate(Sum("minutes"))["minutes__sum"] or 0
        assert minutes < 3 * 365 * 8 * 60


def test_pictures_are_our_own_jpegs_without_metadata():
    photo = Photo.objects.first()
    with Image.open(photo.image) as image:
        assert (image.format, dict(image.getexif())) == ("JPEG", {})
        assert image.size == (photo.width, photo.height)


# --- The making of it


def test_the_clock_is_right_again():
    assert abs(timezone.now().timestamp() - time.time()) < 2
    assert timezone.datetime is dt.datetime


def test_the_clock_is_right_again_after_a_slip():
    with pytest.raises(ZeroDivisionError), demo.clock_set_back(NOW) as clock:
        clock.moment = NOW - dt.timedelta(days=900)
        assert timezone.now() == clock.moment
        raise ZeroDivisionError
    assert timezone.datetime is dt.datetime


def test_a_shop_that_is_there_is_left_alone():
    before = Job.objects.count()
    assert demo.load_if_empty(NOW) is False
    assert Job.objects.count() == before


def test_the_keys_are_shown_at_the_demo_s_door_and_at_no_other(settings):
    settings.DEMO = False
    assert demo.PASSWORD not in Client().get("/enter/").content.decode()
    settings.DEMO = True
    page = Client().get("/enter/").content.decode()
    assert demo.PASSWORD in page
    assert all(key.sign_in in page and key.pin in page for key in demo.KEYS)


def test_the_password_opens_the_door():
    came_in = Client().post("/enter/", {"sign_in": "ida", "password": demo.PASSWORD})
    assert (came_in.status_code, came_in["Location"]) == (302, "/")


# --- its books


def journal_of(tablet: Tablet, query: str) -> list[dict[str, str]]:
    answer = tablet.get(f"/reports/journal.csv?{query}")
    return list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"))))


@pytest.fixture
def owners_tablet() -> Tablet:
    tablet = Tablet()
    tablet.force_login(Staff.objects.get(sign_in="wren"), backend="shop.doors.PasswordDoor")
    return tablet


def test_its_journal_balances(owners_tablet):
    rows = journal_of(owners_tablet, "from=2020-01-01&until=2030-12-31")
    assert list(rows[0]) == ["date", "account", "debit", "credit", "text", "document"]
    sums: dict[str, list[Decimal]] = defaultdict(lambda: [Decimal(0), Decimal(0)])
    for row in rows:
        for n, name in enumerate(("debit", "credit")):
            sums[row["document"]][n] += Decimal(row[name])
            sums["all"][n] += Decimal(row[name])
    assert len(rows) > 100
    assert {document for document, (debit, credit) in sums.items() if debit != credit} == set()


def test_a_month_of_its_journal_is_what_that_month_has_in_the_whole(owners_tablet):
    whole = journal_of(owners_tablet, "from=2020-01-01&until=2030-12-31")
    month = whole[len(whole) // 2]["date"][:7]
    wanted = [row for row in whole if row["date"].startswith(month)]
    assert journal_of(owners_tablet, f"span=month&on={month}-01") == wanted


# --- its drawers


def test_its_drawers_hold_what_their_moves_say():
    assert stock.check() == []
    assert Move.objects.filter(left__lt=0).count() == 0


def test_every_part_that_was_charged_came_out_of_a_drawer():
    """But what an owner of gear brought along, or the shop has no drawer for: there is none of these in the demo."""
    charged = set(Charge.objects.filter(kind="part").values_list("pk", flat=True))
    used = Move.objects.filter(why="used").exclude(charge=None)
    assert charged == set(used.values_list("charge", flat=True))
    for move in used.select_related("charge"):
        assert (-move.quantity, move.cost.quantize(Decimal("0.001"))) == (
            move.charge.quantity,
            move.charge.unit_cost,
        )


def test_its_ledger_has_moves_of_every_kind_but_gear_let_go():
    why = set(Move.objects.order_by().values_list("why", flat=True).distinct())
    assert {"received", "used", "sold", "counted", "scrapped", "harvested", "sent back"} <= why


def test_three_jobs_wait_for_parts_each_in_another_way():
    wants = list(Want.objects.open().select_related("part", "job"))
    assert [want.job.state for want in wants] == [State.PARTS_ON_ORDER] * 3
    lines = [want.part.order_lines.filter(job=want.job, order__closed_at=None).first() for want in wants]
    coming = [line and line.is_back_ordered for line in lines]
    assert sorted(coming, key=str) == [False, None, True]


def test_something_of_its_stock_is_put_aside_counted_lent_and_asleep():
    assert Aside.objects.filter(ended_at=None, job__state=State.IN_LINE).count() == 2
    assert CountRound.objects.filter(posted_at=None, dropped_at=None).count() == 1
    assert CountRound.objects.exclude(posted_at=None).count() == 1
    assert Loan.objects.get(back_at=None).due_on < NOW.date()
    moved = Part.objects.filter(moves__at__gt=NOW - dt.timedelta(days=2 * 365))
    assert Part.objects.counted().filter(quantity__gt=0).exclude(pk__in=moved).count() >= 3


def test_two_boxes_of_its_tubes_are_measured_and_the_closest_two_of_each_are_a_pair():
    pairs = TubeSet.objects.filter(gone_at=None, taken_apart_at=None).prefetch_related("tubes__readings")
    assert [pair.part.name for pair in pairs.order_by("part__name")] == ["6L6GC", "EL34"]
    for pair in pairs:
        first, second = (tube.readings.get().current for tube in pair.tubes.all())
        assert abs(first - second) <= 0.0003
    assert Tube.objects.filter(is_used=True).exclude(came_from=None).count() == 1


# --- Its safety lists

REPAIRED = (State.READY, State.COLLECTED, State.LEFT_BEHIND, State.LET_GO)


def repaired() -> list[Job]:
    return list(Job.objects.filter(state__in=REPAIRED, declined=False).select_related("gear"))


def test_what_was_repaired_passed_every_list_that_keeps_it_from_being_ready():
    for job in repaired():
        assert safety.why_not_ready(job) == [], job.claim
        assert safety.lists_on(job).of(Stage.AFTER_REPAIR, Stage.SOAK), job.claim


def test_every_list_that_its_gear_asks_for_was_run_on_it():
    for job in repaired()[::6]:
        undone = [
            each.checklist.name
            for each in safety.lists_on(job).lists
            if each.standing not in (Standing.PASSED, Standing.WAIVED)
        ]
        assert undone == [], job.claim


def test_nothing_was_read_under_power_before_the_list_that_allows_it_was_signed():
    signed = defaultdict(list)
    for run in ListRun.objects.filter(version__stage=Stage.BEFORE_POWER).select_related("sign_off"):
        signed[run.job_id].append(run.sign_off.at)
    powered = Reading.objects.filter(powered=True)
    assert powered.count() > 500
    for reading in powered:
        assert min(signed[reading.job_id]) <= reading.at, reading


def test_lines_were_signed_from_the_top_in_time_and_after_their_waits():
    runs = ListRun.objects.select_related("version", "sign_off").prefetch_related("marks", "version__lines")
    for run in runs:
        checklist = listing.as_value(run.version)
        first = {}
        for mark in run.marks.all():
            first.setdefault(mark.key, mark.at)
        assert [line.key for line in checklist.lines] == list(first), run
        for above, below in pairwise([run.at, *first.values()]):
            assert above <= below, run
        for line in checklist.lines:
            since = first[line.since] if line.since else run.at
            assert first[line.key] - since >= dt.timedelta(seconds=line.wait), (run, line.key)
        assert list(first.values())[-1] <= run.sign_off.at <= NOW


def test_what_it_says_of_each_list_is_on_the_job_s_timeline_in_order():
    run = ListRun.objects.filter(version__slug="soak").select_related("job", "version").last()
    words = list(timeline.of(run.job).order_by("pk").values_list("words", flat=True))
    assert words.index("began the list “Soak test”") < words.index("signed the list “Soak test”: passed")


def test_gear_with_mains_is_written_down_as_it_is_built():
    with_mains = {job.gear_id for job in repaired() if job.gear.technology != "passive"}
    assert with_mains == set(
        GearBuild.objects.filter(gear__in=with_mains).exclude(protection="").values_list("gear", flat=True)
    )
    assert set(GearBuild.objects.values_list("protection", flat=True)) == {"class-i", "class-ii"}


def test_every_reading_and_test_names_its_meter_and_some_were_done_with_one_that_is_overdue():
    assert not Reading.objects.filter(with_meter=None).exists()
    tests = KeptSheet.objects.filter(slug=safety.TEST)
    assert not tests.filter(meter=None).exists()
    assert any(sheet.meter_was_due for sheet in tests)
    assert not all(sheet.meter_was_due for sheet in tests)


# --- What is shown


def test_one_soak_test_is_waived_by_the_owner_of_the_shop_with_a_reason():
    waiver = Waiver.objects.get()
    assert (waiver.slug, waiver.by.role) == ("soak", Role.OWNER)
    assert "The band plays tonight" in waiver.words
    assert safety.lists_on(waiver.job).get("soak").standing is Standing.WAIVED


def test_one_earth_test_failed_and_passed_when_it_was_mended():
    failed = Mark.objects.get(outcome="failed")
    again = failed.run.marks.filter(key=failed.key, pk__gt=failed.pk).get()
    assert (failed.sheet.verdict, again.sheet.verdict, again.outcome) == ("bad", "good", "done")
    mended = failed.run.job.findings.get(fault__startswith="Earth wire loose")
    assert failed.at < mended.at <= again.at
    assert failed.run.sign_off.passed
    assert safety.failed_test(failed.run.job) == ""


def test_one_unsafe_unit_went_home_as_it_is_with_its_tag_and_a_signature():
    job = SafetyWord.objects.get().job
    assert (job.state, job.declined) == (State.COLLECTED, True)
    assert UnsafeTag.objects.get().job == job
    signature = job.pickup.signature
    assert signature.svg
    assert "I know that it is unsafe" in signature.words


def test_near_misses_are_written_down_within_the_year():
    on = list(NearMiss.objects.values_list("on", flat=True))
    assert len(on) == 3
    assert all(NOW.date() - dt.timedelta(days=365) < day < NOW.date() for day in on)


def test_the_emergency_card_has_invented_numbers_alone():
    card = EmergencyCard.objects.get()
    for number in (card.ambulance, card.fire, card.poison):
        assert number.startswith("555 01")
    assert all((card.address, card.switch, card.extinguisher, card.first_aid, card.trained))


def test_one_list_was_changed_by_the_owner_of_the_shop_and_older_runs_keep_the_first_version():
    changed = ListVersion.objects.get(number=2)
    assert (changed.slug, changed.by.role) == ("soak", Role.OWNER)
    assert {run.version.number for run in ListRun.objects.filter(version__slug="soak")} == {1, 2}
    late = ListRun.objects.filter(version__slug="soak", at__gt=changed.at)
    assert {run.version.number for run in late} == {2}


def test_one_list_was_put_on_and_one_taken_off_against_what_the_gear_asks_for():
    put_on, taken_off = ListChange.objects.order_by("-applies")
    assert (put_on.applies, taken_off.applies) == (True, False)
    assert taken_off.by.role == Role.OWNER
    assert taken_off.words
    assert safety.lists_on(put_on.job).get(put_on.slug).was_put_on
    assert safety.lists_on(taken_off.job).get(taken_off.slug) is None


# --- Its pages


@pytest.mark.parametrize(
    "name", ["safety", "emergency", "cautions", "near-misses", "safety-year", "checklists"]
)
def test_pages_of_the_shop_s_safety_open(owners_tablet, name):
    assert owners_tablet.get(reverse(name)).status_code == 200


@pytest.mark.parametrize("turn", [Waiver, ListChange, SafetyWord])
@pytest.mark.parametrize("name", ["job", "job-lists", "job-report"])
def test_pages_of_a_job_that_took_a_turn_open(owners_tablet, turn, name):
    job = turn.objects.first().job
    assert owners_tablet.get(reverse(name, kwargs={"claim": job.claim})).status_code == 200


def test_the_run_that_was_stopped_opens(owners_tablet):
    run: Any = Mark.objects.get(outcome="failed").run
    page = owners_tablet.get(reverse("list-run", kwargs={"pk": run.pk})).content.decode()
    assert "Protective earth" in page


def test_nothing_of_it_happens_after_now():
    for model in (Mark, Reading, ListRun, KeptSheet, Entry):
        assert not model.objects.filter(at__gt=NOW).exists(), model
