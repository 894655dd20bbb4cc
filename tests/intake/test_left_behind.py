"""Left behind: what the clock says about a job, when it stands still, what storage costs, who may say it is left."""

import datetime as dt
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from intake import billing, keeping, spending, storage_picture, workflow
from intake.models import Job, ReadyNotice, State, StoragePause
from shop import timeline
from shop.errors import ChangedMeanwhile, NotAllowed, NotAllowedYet
from shop.models import Shop, Staff
from tests.conftest import Tablet
from tests.intake.storage import ago, past_deadline, sent, today, waiting


def clock_of(job: Job, shop: Shop):
    return keeping.clock_of(keeping.with_record().get(pk=job.pk), shop)


# --- The clock of a job --------------------------------------------------------------------------------------


def test_the_clock_goes_by_the_terms_that_were_signed(shop: Shop, counter: Staff) -> None:
    clock = clock_of(waiting(counter, 45), shop)
    assert (clock.told_on, clock.day, clock.chargeable_days, clock.fee) == (ago(45), 45, 15, Decimal(30))


def test_the_first_notice_since_it_last_became_ready_starts_the_clock(shop: Shop, counter: Staff) -> None:
    job = waiting(counter, 45)
    ReadyNotice.objects.create(job=job, how="phone", at=job.ready_at + dt.timedelta(days=5), by=counter)
    assert clock_of(job, shop).told_on == ago(45)
    Job.objects.filter(pk=job.pk).update(ready_at=job.ready_at + dt.timedelta(days=5))
    assert clock_of(job, shop).told_on == ago(40)


@pytest.mark.parametrize(("zone", "day"), [("America/New_York", 10), ("Pacific/Auckland", 11)])
def test_a_notice_near_midnight_is_of_the_day_on_the_shops_wall(
    shop: Shop, counter: Staff, zone: str, day: int
) -> None:
    job = waiting(counter, 45)
    job.ready_notices.model.objects.filter(job=job)
    late = dt.datetime(2026, 10, 10, 23, 30, tzinfo=ZoneInfo("America/New_York"))
    Job.objects.filter(pk=job.pk).update(ready_at=late)
    ReadyNotice.objects.create(job=job, how="phone", at=late, by=counter)
    shop.time_zone = zone
    job = keeping.with_record().get(pk=job.pk)
    assert keeping.record_of(job, shop).told_on in {dt.date(2026, 10, day), ago(45)}
    later = [n.at for n in job.ready_notices.all() if n.at == late]
    assert later[0].astimezone(shop.zone).date() == dt.date(2026, 10, day)


def test_the_clock_stops_when_it_is_collected(shop: Shop, counter: Staff) -> None:
    job = waiting(counter, 45)
    then = dt.datetime.combine(ago(10), dt.time(12), shop.zone)
    Job.objects.filter(pk=job.pk).update(state=State.COLLECTED, collected_at=then)
    assert clock_of(job, shop).day == 35


# --- When it stands still --------------------------------------------------------------------------------------


def test_a_pause_counts_both_its_days(shop: Shop, counter: Staff) -> None:
    job = waiting(counter, 45)
    keeping.pause(job, why="parts", words="A knob is missing", began=ago(20), by=counter)
    keeping.resume(job, ended=ago(16), by=counter)
    # 20, 19, 18, 17, 16 days ago: five of 45
    assert clock_of(job, shop).day == 40


def test_a_pause_is_written_to_the_timeline_with_its_reason(counter: Staff) -> None:
    job = waiting(counter, 45)
    keeping.pause(job, why="shop", words="We were closed", by=counter)
    entry = timeline.of(job).first()
    assert entry.words == "let the storage clock stand still"
    assert "We were closed" in str(entry.changes)


def test_the_clock_stands_still_once_at_a_time(counter: Staff) -> None:
    job = waiting(counter, 45)
    keeping.pause(job, why="parts", words="A knob", by=counter)
    with pytest.raises(NotAllowedYet, match="already"):
        keeping.pause(job, why="shop", words="Closed", by=counter)
    keeping.resume(job, by=counter)
    with pytest.raises(NotAllowedYet, match="runs already"):
        keeping.resume(job, by=counter)


def test_a_dispute_takes_the_place_of_another_pause(shop: Shop, counter: Staff) -> None:
    job = past_deadline(counter)
    keeping.pause(job, why="parts", words="A knob", began=ago(2), by=counter)
    disputed(job, counter)
    assert [(p.why, p.ended) for p in job.storage_pauses.all()] == [("parts", today()), ("dispute", None)]
    assert clock_of(job, shop).why_not == ("A dispute about money is open. Settle it first.",)


def disputed(job: Job, by: Staff, **more: Any) -> StoragePause:
    job.refresh_from_db()
    said = {"who": "Dana Whitlow", "words": "Says that it is paid", "by": by, "revision": job.revision}
    return keeping.open_dispute(job, **{**said, **more})


def settled(job: Job, by: Staff, **more: Any) -> StoragePause:
    job.refresh_from_db()
    said = {"agreed": "Half of the storage", "by": by, "revision": job.revision}
    return keeping.settle_dispute(job, **{**said, **more})


def test_a_dispute_holds_the_clock_until_what_was_agreed_is_written_down(shop: Shop, counter: Staff) -> None:
    job = waiting(counter, 45)
    disputed(job, counter, began=ago(9))
    assert clock_of(job, shop).day == 35
    with pytest.raises(NotAllowedYet, match="how it was settled"):
        keeping.resume(job, by=counter)
    with pytest.raises(NotAllowedYet, match="what was agreed"):
        settled(job, counter, agreed=" ")
    over = settled(job, counter, ended=ago(5))
    assert (over.agreed, over.ended, over.ended_by) == ("Half of the storage", ago(5), counter)
    assert clock_of(job, shop).day == 40  # 9, 8, 7, 6, 5 days ago: five of 45
    said = [(entry.words, str(entry.changes)) for entry in timeline.of(job)[:2]]
    assert "Half of the storage" in said[0][1]
    assert "Dana Whitlow" in said[1][1] and "Says that it is paid" in said[1][1]


def test_there_is_one_way_to_record_a_dispute(as_bench: Tablet, bench: Staff) -> None:
    job = waiting(bench, 45)
    with pytest.raises(NotAllowedYet, match="as such"):
        keeping.pause(job, why="dispute", words="By hand", by=bench)
    typed = {"why": "dispute", "words": "By hand", "began": today().isoformat()}
    assert as_bench.send(f"/job/{job.claim}/storage/pause/", typed).status_code == 422
    assert not job.storage_pauses.exists()


@pytest.mark.parametrize(
    ("more", "why"),
    [
        ({"who": " "}, "who says so"),
        ({"words": " "}, "what it is about"),
        ({"began": ago(-1)}, "until today"),
        ({"began": ago(80)}, "from the day the gear came in"),
    ],
)
def test_what_a_dispute_lacks_is_said(counter: Staff, more: dict, why: str) -> None:
    job = waiting(counter, 45)
    with pytest.raises(NotAllowedYet, match=why):
        disputed(job, counter, **more)
    assert not job.storage_pauses.exists()


def test_a_dispute_is_open_once_and_settled_once(counter: Staff) -> None:
    job = waiting(counter, 45)
    with pytest.raises(NotAllowedYet, match="No dispute"):
        settled(job, counter)
    disputed(job, counter)
    with pytest.raises(NotAllowedYet, match="open already"):
        disputed(job, counter)
    with pytest.raises(ChangedMeanwhile):
        settled(job, counter, revision=0)
    settled(job, counter)
    with pytest.raises(NotAllowedYet, match="No dispute"):
        settled(job, counter)


def test_gear_that_isnt_ready_has_no_clock_for_a_dispute_to_hold(counter: Staff) -> None:
    with pytest.raises(NotAllowedYet, match="Only gear that waits"):
        disputed(waiting(counter, state="on-the-bench"), counter)


def test_a_dispute_is_recorded_and_settled_by_its_pages(as_counter: Tablet, counter: Staff) -> None:
    job = past_deadline(counter)
    path = f"/job/{job.claim}/storage/dispute/"
    assert "Record a dispute" in as_counter.get(f"/job/{job.claim}/").content.decode()
    typed = {
        "who": "Their brother",
        "words": "It was <paid>.",
        "began": today().isoformat(),
        "revision": job.revision,
    }
    wrong = as_counter.send(path, {**typed, "who": ""})
    assert wrong.status_code == 422 and "It was &lt;paid&gt;." in wrong.content.decode()
    late = as_counter.send(path, {**typed, "revision": job.revision - 1})
    assert late.status_code == 409 and "It was &lt;paid&gt;." in late.content.decode()
    assert as_counter.send(path, typed).status_code == 302
    for page in (f"/job/{job.claim}/", f"/job/{job.claim}/storage/", path, f"{path}settled/"):
        assert "Their brother" in as_counter.get(page).content.decode(), page
    assert "a dispute is open" in as_counter.get("/storage/").content.decode()
    job.refresh_from_db()
    end = {"agreed": "Ten off", "ended": today().isoformat(), "revision": job.revision}
    assert as_counter.send(f"{path}settled/", {**end, "agreed": ""}).status_code == 422
    assert as_counter.send(f"{path}settled/", end).status_code == 302
    page = as_counter.get(f"/job/{job.claim}/storage/").content.decode()
    assert "Agreed: Ten off" in page and "Nobody disputes" in page


@pytest.mark.parametrize("days", [-1, 80])
def test_a_pause_begins_while_the_gear_is_here(counter: Staff, days: int) -> None:
    # told 45 days ago, in the house for 65
    with pytest.raises(NotAllowedYet, match="from the day the gear came in"):
        keeping.pause(waiting(counter, 45), why="shop", words="Closed", began=ago(days), by=counter)


def test_pausing_and_resuming_by_the_page(as_bench: Tablet, bench: Staff) -> None:
    job = waiting(bench, 45)
    path = f"/job/{job.claim}/storage/"
    typed = {"why": "parts", "words": "A knob", "began": today().isoformat()}
    wrong = as_bench.send(f"{path}pause/", {**typed, "why": "", "words": "Kept as typed"})
    assert wrong.status_code == 422
    assert "Kept as typed" in wrong.content.decode()
    assert as_bench.send(f"{path}pause/", typed).status_code == 302
    assert as_bench.send(f"{path}pause/", typed).status_code == 422
    assert "Let it run again" in as_bench.get(path).content.decode()
    assert as_bench.send(f"{path}resume/", {"ended": "2999-01-01"}).status_code == 422
    assert as_bench.send(f"{path}resume/", {"ended": today().isoformat()}).status_code == 302


# --- What storage costs ------------------------------------------------------------------------------------------


def test_storage_is_charged_once_and_brought_up_to_date(shop: Shop, counter: Staff) -> None:
    job = waiting(counter, 45)
    first = keeping.charge_storage(job, by=counter)
    assert (first.kind, first.unit_price, first.text) == (
        "fee",
        Decimal(30),
        f"Storage, 15 days until {keeping.day_words(today())}",
    )
    assert first.origin.startswith(f"storage/{job.pk}/")
    keeping.charge_storage(job, by=counter)  # the same day again: written anew, not twice
    assert [line.unit_price for line in job.charges.standing()] == [Decimal(30)]
    assert keeping.fee_charged(job) == Decimal(30)


def test_what_is_invoiced_stays_and_only_the_rest_is_charged(
    shop: Shop, counter: Staff, monkeypatch: pytest.MonkeyPatch
) -> None:
    job = waiting(counter, 45)
    keeping.charge_storage(job, by=counter)
    billing.issue_invoice(job, by=counter, charge_fee=False)
    with pytest.raises(NotAllowedYet, match="isn't charged already"):
        keeping.charge_storage(job, by=counter)
    later = today() + dt.timedelta(days=3)
    monkeypatch.setattr(billing, "today", lambda shop: later)  # three days later
    assert keeping.charge_storage(job, by=counter).unit_price == Decimal(6)
    assert keeping.fee_charged(job) == Decimal(36)


def test_free_days_leave_nothing_to_charge(counter: Staff) -> None:
    with pytest.raises(NotAllowedYet, match="no storage to charge"):
        keeping.charge_storage(waiting(counter, 30), by=counter)


def test_storage_is_charged_by_the_page(as_counter: Tablet, counter: Staff) -> None:
    job = waiting(counter, 45)
    assert "Charge $30.00 for storage" in as_counter.get(f"/job/{job.claim}/storage/").content.decode()
    assert as_counter.send(f"/job/{job.claim}/storage/charge/").status_code == 302
    assert job.charges.standing().get().unit_price == Decimal(30)


def test_the_pickup_offers_the_storage_that_isnt_charged(as_counter: Tablet, counter: Staff) -> None:
    job = waiting(counter, 45)
    page = as_counter.get(f"/job/{job.claim}/pickup/").content.decode()
    assert "Storage of $30.00 has come together" in page
    keeping.charge_storage(job, by=counter)
    assert "has come together" not in as_counter.get(f"/job/{job.claim}/pickup/").content.decode()


# --- Left behind -------------------------------------------------------------------------------------------------


def test_past_the_deadline_with_every_notice_the_owner_says_that_it_is_left_behind(owner: Staff) -> None:
    job = past_deadline(owner)
    left = keeping.leave_behind(job, by=owner, revision=job.revision)
    assert left.state == State.LEFT_BEHIND
    assert "recorded that it is left behind" in [entry.words for entry in timeline.of(job)]


def test_nothing_happens_by_itself(shop: Shop, owner: Staff, as_owner: Tablet) -> None:
    job = past_deadline(owner, 400)
    for path in ("/", "/storage/", f"/job/{job.claim}/", f"/job/{job.claim}/storage/"):
        assert as_owner.get(path).status_code == 200
    job.refresh_from_db()
    assert (job.state, job.charges.count()) == (State.READY, 0)


def test_before_that_it_says_exactly_why_not(owner: Staff) -> None:
    job = waiting(owner, 95)
    sent(job, 30, owner)
    with pytest.raises(NotAllowedYet, match="2 notices are missing: 1 of 3"):
        keeping.leave_behind(job, by=owner, revision=job.revision)
    job.refresh_from_db()
    assert job.state == State.READY


def test_only_the_owner_of_the_shop_says_so(owner: Staff, bench: Staff, counter: Staff) -> None:
    job = past_deadline(owner)
    for somebody in (bench, counter):
        with pytest.raises(NotAllowed):
            keeping.leave_behind(job, by=somebody, revision=job.revision)


def test_by_hand_no_job_becomes_left_behind_or_let_go(owner: Staff) -> None:
    job = past_deadline(owner)
    for to in (State.LEFT_BEHIND, State.LET_GO):
        with pytest.raises(NotAllowedYet):
            workflow.move(job, to=to, by=owner, revision=job.revision)
        job.refresh_from_db()


def test_two_tablets_say_it_once(as_owner: Tablet, owner: Staff) -> None:
    job = past_deadline(owner)
    path = f"/job/{job.claim}/storage/left-behind/"
    assert as_owner.send(path, {"revision": job.revision}).status_code == 302
    assert as_owner.send(path, {"revision": job.revision}).status_code in {409, 422}
    with pytest.raises(ChangedMeanwhile):
        keeping.leave_behind(job, by=owner, revision=job.revision)


def test_the_page_says_why_not_and_offers_nothing(as_owner: Tablet, owner: Staff) -> None:
    job = waiting(owner, 95)
    page = as_owner.get(f"/job/{job.claim}/storage/").content.decode()
    assert "3 notices are missing" in page
    assert "Record it as left behind" not in page
    answer = as_owner.send(f"/job/{job.claim}/storage/left-behind/", {"revision": job.revision})
    assert answer.status_code == 422
    assert "3 notices are missing" in answer.content.decode()


@pytest.mark.parametrize(
    ("path", "roles"),
    [
        ("pause/", {"owner", "bench", "counter"}),
        ("resume/", {"owner", "bench", "counter"}),
        ("dispute/", {"owner", "bench", "counter"}),
        ("dispute/settled/", {"owner", "bench", "counter"}),
        ("charge/", {"owner", "bench", "counter"}),
        ("left-behind/", {"owner"}),
        ("let-go/", {"owner"}),
    ],
)
def test_a_raw_post_gets_as_far_as_its_role(
    as_owner: Tablet,
    as_bench: Tablet,
    as_counter: Tablet,
    as_pad: Tablet,
    owner: Staff,
    path: str,
    roles: set,
) -> None:
    job = waiting(owner, 3)
    tablets = {"owner": as_owner, "bench": as_bench, "counter": as_counter, "pad": as_pad}
    for role, tablet in tablets.items():
        answer = tablet.send(f"/job/{job.claim}/storage/{path}", {"revision": job.revision})
        assert answer.status_code == (422 if role in roles else 403), role


# --- On pages ----------------------------------------------------------------------------------------------------


def test_the_jobs_page_tells_the_clock_in_words_and_as_a_picture(as_bench: Tablet, bench: Staff) -> None:
    job = waiting(bench, 45)
    sent(job, 30, bench)
    page = as_bench.get(f"/job/{job.claim}/").content.decode()
    for said in ("Storage so far", "$30.00 for 15 days", "1 of 3 count", 'role="img"', "today"):
        assert said in page
    assert "style=" not in page


def test_a_job_on_the_bench_has_no_storage(as_bench: Tablet, bench: Staff) -> None:
    job = waiting(bench, 1, state="on-the-bench")
    assert 'id="storage"' not in as_bench.get(f"/job/{job.claim}/").content.decode()
    assert as_bench.get(f"/job/{job.claim}/storage/").status_code == 200


def test_the_picture_says_in_words_all_that_it_shows(shop: Shop, bench: Staff) -> None:
    job = waiting(bench, 45)
    sent(job, 30, bench)
    clock = clock_of(job, shop)
    picture = storage_picture.draw(clock)
    for day in (clock.told_on, clock.last_free_day, clock.deadline, clock.on, clock.next_notice.on):
        assert keeping.day_words(day) in picture.words
    assert [mark.kind for mark in picture.marks] == ["counts", "planned"]


@pytest.mark.parametrize("days", [0, 1, 45, 91, 3000])
def test_everything_of_the_picture_lies_within_it(shop: Shop, bench: Staff, days: int) -> None:
    picture = storage_picture.draw(clock_of(waiting(bench, days), shop))
    places = [picture.free_to, picture.deadline, picture.today, picture.end, *(m.x for m in picture.marks)]
    assert all(picture.left <= x <= picture.width for x in places)
    assert picture.free_wide >= 0
    assert picture.rest_wide >= 0


def test_every_storage_page_says_that_the_law_differs(as_owner: Tablet, owner: Staff) -> None:
    job = past_deadline(owner)
    paths = [
        "/storage/",
        f"/job/{job.claim}/storage/",
        f"/job/{job.claim}/storage/let-go/",
        "/storage/letters/",
    ]
    for path in paths:
        assert "differ by place" in as_owner.get(path).content.decode(), path


junk = st.text(max_size=30) | st.sampled_from(
    ["", "-1", "9" * 40, "2026-02-30", "0000-00-00", "\x00", "dispute"]
)


@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(why=junk, words=junk, began=junk, ended=junk, revision=junk)
def test_the_pauses_stand_anything(
    as_owner: Tablet, owner: Staff, why: str, words: str, began: str, ended: str, revision: str
) -> None:
    job = Job.objects.first() or waiting(owner, 3)
    path = f"/job/{job.claim}/storage/"
    assert as_owner.send(f"{path}pause/", {"why": why, "words": words, "began": began}).status_code == 422
    assert as_owner.send(f"{path}resume/", {"ended": ended}).status_code == 422
    typed = {"who": words, "words": why, "began": began, "revision": revision}
    assert as_owner.send(f"{path}dispute/", typed).status_code in {409, 422}
    typed = {"agreed": words, "ended": ended, "revision": revision}
    assert as_owner.send(f"{path}dispute/settled/", typed).status_code in {409, 422}
    assert as_owner.send(f"{path}left-behind/", {"revision": revision}).status_code in {409, 422}


def test_storage_that_the_signed_terms_ask_for_isnt_held_against_the_spend_limit(
    shop: Shop, counter: Staff
) -> None:
    job = waiting(counter, 45, spend_limit=Decimal(0))
    keeping.charge_storage(job, by=counter)
    assert spending.allowance(job).over == 0
    moved = workflow.move(job, to=State.ON_THE_BENCH, by=counter, revision=job.revision)
    assert (
        workflow.move(moved, to=State.SOAK_TEST, by=counter, revision=moved.revision).state == State.SOAK_TEST
    )
