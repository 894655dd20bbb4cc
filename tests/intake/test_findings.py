"""Findings: fault, cause, cure; changed with a revision; struck out and put back; and in plain words."""

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from intake import work
from intake.models import Finding, State
from shop import timeline
from shop.errors import ChangedMeanwhile, NotAllowedYet
from tests.factories import FindingFactory, JobFactory

WHOLE = {"fault": "First filter capacitor open", "cause": "Dried out with age", "cure": "Replace it"}


def test_a_finding_is_kept(as_bench, bench):
    job = JobFactory()
    assert as_bench.send(f"/job/{job.claim}/finding/", WHOLE).status_code == 302
    kept = job.findings.get()
    assert (kept.fault, kept.cause, kept.cure, kept.by) == (*WHOLE.values(), bench)
    assert {c["what"]: c["after"] for c in timeline.of(job).get().changes} == {
        "Fault": WHOLE["fault"],
        "Cause": WHOLE["cause"],
        "Cure": WHOLE["cure"],
    }


def test_a_fault_without_a_cause_is_enough(as_bench):
    job = JobFactory()
    assert as_bench.send(f"/job/{job.claim}/finding/", {"fault": "No bias on V3"}).status_code == 302


def test_a_finding_without_a_fault_loses_nothing_that_was_typed(as_bench):
    job = JobFactory()
    for htmx in (False, True):
        answer = as_bench.send(f"/job/{job.claim}/finding/", {**WHOLE, "fault": " "}, htmx=htmx)
        assert answer.status_code == 422
        assert b"Say what is wrong, and where." in answer.content
        assert b"Dried out with age" in answer.content
    assert not job.findings.exists()


def test_a_change_says_what_it_was(bench):
    finding = FindingFactory(by=bench)
    work.change_finding(finding, **{**WHOLE, "fault": "Both filter capacitors open"}, by=bench, revision=1)
    change = timeline.of(finding.job).get().changes[0]
    assert (change["before"], change["after"]) == (
        "First filter capacitor open",
        "Both filter capacitors open",
    )


def test_a_change_of_what_was_changed_meanwhile_is_refused(bench):
    finding = FindingFactory(by=bench)
    work.change_finding(finding, **WHOLE, by=bench, revision=1)
    with pytest.raises(ChangedMeanwhile):
        work.change_finding(Finding.objects.get(), **WHOLE, by=bench, revision=1)


def test_a_struck_finding_stays_and_can_be_put_back(as_bench, bench):
    finding = FindingFactory(by=bench)
    here = f"/job/{finding.job.claim}/finding/{finding.pk}"
    as_bench.send(f"{here}/strike/")
    finding.refresh_from_db()
    assert finding.struck_at
    assert b"Struck out: 1" in as_bench.get(f"/job/{finding.job.claim}/").content
    as_bench.send(f"{here}/put-back/")
    finding.refresh_from_db()
    assert finding.struck_at is None
    assert [e.words.split(":")[0] for e in timeline.of(finding.job)] == [
        "put back a finding",
        "struck out a finding",
    ]


def test_striking_twice_is_striking_once(bench):
    finding = FindingFactory(by=bench)
    work.strike(finding, by=bench)
    when = Finding.objects.get().struck_at
    work.strike(finding, by=bench)
    assert Finding.objects.get().struck_at == when
    assert timeline.of(finding.job).count() == 1


def test_what_was_struck_out_is_not_changed(bench):
    finding = FindingFactory(by=bench)
    work.strike(finding, by=bench)
    with pytest.raises(NotAllowedYet, match="struck out"):
        work.change_finding(finding, **WHOLE, by=bench, revision=1)


def test_what_was_found_is_history_once_it_is_gone(as_bench, bench):
    job = JobFactory(state=State.COLLECTED)
    finding = FindingFactory(job=job, by=bench)
    here = f"/job/{job.claim}/finding/"
    assert as_bench.send(here, WHOLE).status_code == 422
    assert as_bench.send(f"{here}{finding.pk}/", {**WHOLE, "revision": 1}).status_code == 422
    assert as_bench.send(f"{here}{finding.pk}/strike/").status_code == 422
    finding.refresh_from_db()
    assert (finding.revision, finding.struck_at) == (1, None)


def test_a_finding_of_another_job_is_not_found(as_bench, bench):
    finding = FindingFactory(by=bench)
    other = JobFactory()
    assert as_bench.get(f"/job/{other.claim}/finding/{finding.pk}/").status_code == 404
    assert as_bench.send(f"/job/{other.claim}/finding/{finding.pk}/strike/").status_code == 404
    assert as_bench.get(f"/job/{other.claim}/finding/{'9' * 30}/").status_code == 404


def test_the_counter_writes_no_findings(as_counter):
    job = JobFactory()
    assert as_counter.send(f"/job/{job.claim}/finding/", WHOLE).status_code == 403
    assert b"Write a finding" not in as_counter.get(f"/job/{job.claim}/").content


def test_plain_words_are_kept_for_the_invoice(as_bench):
    job = JobFactory()
    data = {"plain_findings": "A part had dried out.", "revision": 1, "opened_with": "{}"}
    assert as_bench.send(f"/job/{job.claim}/plain-findings/", data).status_code == 302
    job.refresh_from_db()
    assert (job.plain_findings, job.revision) == ("A part had dried out.", 2)
    assert timeline.of(job).get().words == "put the findings in plain words"


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    data=st.fixed_dictionaries(
        {},
        optional={
            name: st.text(max_size=400) for name in ("fault", "cause", "cure", "revision", "opened_with")
        },
    )
)
def test_hostile_findings_get_words_and_never_an_error(as_bench, data):
    finding = FindingFactory()
    here = f"/job/{finding.job.claim}/finding/"
    for path in (here, f"{here}{finding.pk}/"):
        assert as_bench.send(path, data).status_code in (302, 409, 422)
