"""Comebacks: linked at the drop-off or later, judged by the repair they come from, charged as the warranty says."""

import datetime as dt

import pytest
from django.urls import reverse
from django.utils import timezone

from intake import comebacks, covering, labour, pickup, work
from intake.comebacks import NotAComeback
from intake.models import Job, State
from intake.spending import AskFirst
from shop import timeline
from shop.errors import ChangedMeanwhile, NotAllowedYet
from shop.models import Shop, Terms
from tests.factories import FindingFactory, GearFactory, JobFactory, TermsFactory
from tests.intake.bills import charged

pytestmark = pytest.mark.django_db

HOME = dt.datetime(2026, 9, 1, 16, tzinfo=dt.UTC)  # noon of 1 Sep in Port Ansley


def repair(gear=None, *, labour_until="2026-11-30", parts_until="2026-10-01", **more) -> Job:
    """A repair that went home on 1 Sep 2026: 90 days on labour, 30 on parts."""
    return JobFactory(
        month="2608",
        gear=gear or GearFactory(),
        state=State.COLLECTED,
        collected_at=HOME,
        labour_warranty_until=labour_until and dt.date.fromisoformat(labour_until),
        parts_warranty_until=parts_until and dt.date.fromisoformat(parts_until),
        **more,
    )


def back(gear, on: str = "2026-11-02", **more) -> Job:
    """The same gear again, on the bench."""
    since = dt.datetime.fromisoformat(f"{on}T15:00Z")
    return JobFactory(gear=gear, since=since, state=State.ON_THE_BENCH, **{"spend_limit": 200, **more})


@pytest.fixture
def before(shop) -> Job:
    return repair()


@pytest.fixture
def job(before) -> Job:
    """Two months later: labour is under warranty still, parts aren't any more."""
    return back(before.gear, comeback_of=before)


# --- the warranty that was signed


def home_again(counter, terms: Terms, **shop_days: int) -> Job:
    Shop.objects.update(**shop_days)
    job = JobFactory(state=State.READY, ready_at=timezone.now(), diagnosis_fee=0, visit__terms=terms)
    pickup.hand_back(
        job, by=counter, revision=1, handed_to="Dana", gear_went=True, went=set(), stayed={}, svg=""
    )
    job.refresh_from_db()
    return job


@pytest.mark.parametrize(
    ("signed_labour", "signed_parts", "labour_days", "parts_days"),
    [
        (60, 365, 60, 365),  # what was signed holds, whatever the shop gives today
        (0, 0, None, None),  # also where it was none
        (None, None, 90, 30),  # terms that say nothing leave it to the shop
        (None, 10, 90, 10),
    ],
)
def test_the_warranty_is_the_one_that_was_signed(
    shop, counter, monkeypatch, signed_labour, signed_parts, labour_days, parts_days
):
    terms = TermsFactory(
        version=7, warranty_labour_days=signed_labour, warranty_parts_days=signed_parts, text="Seventh."
    )
    monkeypatch.setattr(timezone, "now", lambda: HOME)
    job = home_again(counter, terms, warranty_labour_days=90, warranty_parts_days=30)
    expected = [days and dt.date(2026, 9, 1) + dt.timedelta(days=days) for days in (labour_days, parts_days)]
    assert [job.labour_warranty_until, job.parts_warranty_until] == expected


def test_later_terms_of_the_shop_don_t_change_what_a_receipt_said(job, before):
    said = comebacks.verdict(job).sentence
    Shop.objects.update(warranty_labour_days=1, warranty_parts_days=1)
    assert comebacks.verdict(Job.objects.get(pk=job.pk)).sentence == said


def test_the_day_is_the_shop_s_own(before):
    """22:00 on 30 Nov in Port Ansley is the last day, though Greenwich has 1 Dec by then."""
    job = back(before.gear, comeback_of=before)
    job.since = dt.datetime(2026, 12, 1, 3, tzinfo=dt.UTC)
    assert comebacks.verdict(job).labour
    job.since = dt.datetime(2026, 12, 1, 6, tzinfo=dt.UTC)
    assert not comebacks.verdict(job).labour


# --- the link


def test_a_job_is_linked_later_and_the_link_undone(as_counter, before):
    job = back(before.gear)
    page = as_counter.get(job.get_absolute_url()).content.decode()
    assert "Does it come back from an earlier repair?" in page
    assert "Labour is under warranty until Mon 30 Nov 2026." in page
    as_counter.send(reverse("job-comeback", args=[job.claim]), {"repair": before.claim, "revision": 1})
    job.refresh_from_db()
    assert (job.comeback_of, job.revision) == (before, 2)
    as_counter.send(reverse("job-comeback-undo", args=[job.claim]), {"revision": 2})
    job.refresh_from_db()
    assert (job.comeback_of, job.revision) == (None, 3)
    assert [entry.words for entry in timeline.of(job)] == [
        "took back that it is a comeback",
        "linked it to the repair it comes back from",
    ]
    assert timeline.of(job).first().changes[0] == {
        "what": "Comeback of",
        "before": before.claim,
        "after": "",
    }


def test_a_link_from_an_old_page_is_refused(before, counter):
    job = back(before.gear)
    work.change_job(job, fields={"condition": "Whole."}, by=counter, revision=1)
    with pytest.raises(ChangedMeanwhile):
        comebacks.link(job, to=before, by=counter, revision=1)
    assert Job.objects.get(pk=job.pk).comeback_of is None


def test_only_an_earlier_repair_of_the_same_gear_can_be_linked(before, counter):
    job = back(before.gear)
    as_it_was = repair(declined=True)
    for other, why in (
        (repair(), "same gear"),
        (job, "never collected"),
        (repair(before.gear), "earlier repair"),
        (as_it_was, "same gear"),
    ):
        with pytest.raises(NotAComeback, match=why):
            comebacks.link(job, to=other, by=counter, revision=1)
    with pytest.raises(NotAComeback, match="went home as it was"):
        comebacks.link(back(as_it_was.gear), to=as_it_was, by=counter, revision=1)


def test_what_is_over_stays_as_it_is(before, counter):
    job = back(before.gear)
    Job.objects.filter(pk=job.pk).update(state=State.COLLECTED, collected_at=timezone.now())
    with pytest.raises(NotAllowedYet, match="stays as it is"):
        comebacks.link(job, to=before, by=counter, revision=1)


def test_gear_that_is_here_for_the_first_time_has_no_warranty_box(as_counter):
    assert b'id="warranty"' not in as_counter.get(JobFactory().get_absolute_url()).content


def test_the_page_of_a_repair_names_what_came_back_from_it(as_counter, before, job):
    page = as_counter.get(before.get_absolute_url()).content.decode()
    assert "Came back from this repair" in page
    assert job.claim in page
    gear = as_counter.get(before.gear.get_absolute_url()).content.decode()
    assert f"A comeback of {before.claim}" in " ".join(gear.split())


# --- same fault or another


def test_the_bench_says_with_what_it_came_back(as_bench, job):
    address = reverse("job-comeback-fault", args=[job.claim])
    as_bench.send(address, {"fault": "same", "revision": 1})
    job.refresh_from_db()
    assert (job.comeback_fault, job.revision) == ("same", 2)
    assert timeline.of(job).first().changes == [
        {"what": "Came back with", "before": "", "after": "the same fault"}
    ]


def test_a_fault_of_an_old_page_or_of_none_changes_nothing(as_bench, job):
    address = reverse("job-comeback-fault", args=[job.claim])
    assert as_bench.send(address, {"fault": "same", "revision": 0}).status_code == 409
    as_bench.send(address, {"fault": "whatever", "revision": 1})
    as_bench.send(address, {})
    job.refresh_from_db()
    assert (job.comeback_fault, job.revision) == ("", 1)


def test_a_job_that_is_no_comeback_has_no_such_fault(shop, bench):
    with pytest.raises(NotAComeback, match="Link it first"):
        comebacks.say_fault(JobFactory(), fault="same", by=bench, revision=1)


# --- charges under warranty


def billed(job: Job, by) -> tuple:
    return (
        charged(job, "labour", "Solder joint re-made", "80", "0.5", by=by),
        charged(job, "part", "Capacitor", "6.50", by=by),
        charged(job, "fee", "Rush", "20", by=by),
    )


def under_warranty(job: Job) -> list[str]:
    return list(job.charges.filter(under_warranty=True).values_list("text", flat=True))


@pytest.mark.parametrize(
    ("came", "covered"),
    [
        ("2026-10-01", ["Solder joint re-made", "Capacitor"]),  # the last day of both
        ("2026-10-02", ["Solder joint re-made"]),  # labour alone
        ("2026-12-01", []),  # neither
    ],
)
def test_one_tap_puts_under_warranty_what_the_verdict_covers(before, as_counter, counter, came, covered):
    job = back(before.gear, came, comeback_of=before)
    billed(job, counter)
    as_counter.send(reverse("job-cover", args=[job.claim]))
    assert under_warranty(job) == covered


def test_another_fault_is_not_covered(job, counter, bench):
    billed(job, counter)
    job = comebacks.say_fault(job, fault="another", by=bench, revision=1)
    assert not comebacks.is_covered(job)
    with pytest.raises(NotAllowedYet, match="No charge here is for the warranty"):
        covering.put_under_warranty(job, by=counter)


def test_what_is_under_warranty_can_be_charged_after_all(job, counter, as_counter):
    billed(job, counter)
    covering.put_under_warranty(job, by=counter)
    assert "1 charge under warranty" in as_counter.get(job.get_absolute_url()).content.decode()
    as_counter.send(reverse("job-uncover", args=[job.claim]))
    assert under_warranty(job) == []
    assert [entry.words for entry in timeline.of(job)] == [
        "charged after all what was under warranty",
        "put charges under warranty, at nothing",
    ]


def test_charging_after_all_is_held_to_what_the_owner_agreed_to(before, counter):
    job = back(before.gear, comeback_of=before, spend_limit=None)
    charged(job, "labour", "Solder joint re-made", "80", "0.5", by=counter)
    covering.put_under_warranty(job, by=counter)
    with pytest.raises(AskFirst):
        covering.charge_after_all(job, by=counter)
    assert under_warranty(job) == ["Solder joint re-made"]


@pytest.mark.parametrize(("fault", "at_nothing"), [("", True), ("same", True), ("another", False)])
def test_time_on_a_comeback_is_charged_as_the_warranty_says(before, bench, as_bench, fault, at_nothing):
    job = back(before.gear, comeback_of=before, comeback_fault=fault)
    spell = labour.write_down(job, minutes=30, words="Re-made", by=bench)
    page = as_bench.get(job.get_absolute_url()).content.decode()
    assert ("time is charged at nothing" in page) is at_nothing
    as_bench.send(reverse("job-labour-charge", args=[job.claim, spell.pk]), {"hours": "0.5"})
    assert job.charges.get().under_warranty is at_nothing


def test_a_charge_under_warranty_holds_the_link_and_the_fault(job, counter, bench):
    billed(job, counter)
    covering.put_under_warranty(job, by=counter)
    with pytest.raises(NotAllowedYet, match="Charge them after all first"):
        comebacks.unlink(job, by=counter, revision=1)
    with pytest.raises(NotAllowedYet, match="Charge them after all first"):
        comebacks.say_fault(job, fault="another", by=bench, revision=1)
    covering.charge_after_all(job, by=counter)
    comebacks.unlink(job, by=counter, revision=1)


def test_a_charge_that_was_open_on_another_tablet_says_so(job, counter):
    line, *_ = billed(job, counter)
    covering.put_under_warranty(job, by=counter)
    line.refresh_from_db()
    assert line.revision == 2


# --- the part of the circuit


def test_a_finding_says_where_in_the_circuit(as_bench):
    job = JobFactory()
    address = reverse("job-finding", args=[job.claim])
    as_bench.send(address, {"fault": "Ripple on the supply", "circuit": "supply"})
    assert job.findings.get().circuit == "supply"
    assert "Power supply" in as_bench.get(job.get_absolute_url()).content.decode()
    wrong = as_bench.send(address, {"fault": "Hum", "circuit": "flux"})
    assert wrong.status_code == 422
    assert "Choose one of these, or leave it." in wrong.content.decode()


def test_the_part_of_the_circuit_is_changed_with_its_finding(as_bench, bench):
    finding = FindingFactory(by=bench, circuit="input")
    address = reverse("job-finding-edit", args=[finding.job.claim, finding.pk])
    as_bench.send(address, {"fault": finding.fault, "circuit": "output", "revision": 1})
    finding.refresh_from_db()
    assert finding.circuit == "output"
    assert timeline.of(finding.job).get().changes == [
        {"what": "Part of the circuit", "before": "Input and preamplifier", "after": "Output stage"}
    ]


# --- at the drop-off


@pytest.mark.parametrize(("until", "said"), [(1, "under warranty until"), (-1, "ended on")])
def test_the_counter_chooses_among_the_gear_s_own_repairs_with_the_verdict_beside(as_counter, until, said):
    last = timezone.localdate() + dt.timedelta(days=until)
    earlier = repair(labour_until=last.isoformat(), parts_until=last.isoformat())
    page = as_counter.get(f"{reverse('dropoff')}?gear={earlier.gear_id}").content.decode()
    assert f'value="{earlier.claim}"' in page
    assert said in page


def test_gear_without_a_repair_behind_it_is_asked_nothing(as_counter):
    gear = GearFactory()
    repair(gear, declined=True)
    assert "gear-0-comeback" not in as_counter.get(f"{reverse('dropoff')}?gear={gear.pk}").content.decode()
