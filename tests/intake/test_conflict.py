"""Two tablets on one job: nothing is lost, and the second sees both versions and chooses."""

import json

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from intake import work
from intake.forms_bench import JobForm
from intake.models import Job, State
from shop import timeline
from shop.conflict import merge
from tests.factories import FindingFactory, JobFactory, LoosePieceFactory

texts = st.dictionaries(st.sampled_from("abcd"), st.sampled_from(["", "one", "two", "three"]))


def opened(job):
    """What the form holds when it is opened on a job."""
    job = Job.objects.get(pk=job.pk)
    form = JobForm.opened_on(job, job.revision, "USD")
    return {**JobForm.texts_of(job, "USD"), **{n: form.initial[n] for n in ("revision", "opened_with")}}


def send(tablet, job, form, **typed):
    return tablet.send(f"/job/{job.claim}/edit/", {k: v for k, v in {**form, **typed}.items() if v != ""})


def choose(answer, keep):
    """What the page of two versions sends when one of its buttons is tapped."""
    return {**dict(answer.context["hidden"]), "keep": keep}


def test_an_edit_is_kept_and_says_what_it_was(as_counter):
    job = JobFactory()
    LoosePieceFactory(job=job, name="Cover")
    typed = {
        "complaint": "It is silent.",
        "wanted_by": "2026-12-24",
        "spend_limit": "150",
        "was_wet": "on",
        "pieces": "Cover\r\nFootswitch",
    }
    assert send(as_counter, job, opened(job), **typed).status_code == 302
    job.refresh_from_db()
    assert (job.complaint, job.spend_limit, job.was_wet, job.revision) == ("It is silent.", 150, True, 2)
    assert [piece.name for piece in job.pieces.all()] == ["Cover", "Footswitch"]
    changes = {c["what"]: (c["before"], c["after"]) for c in timeline.of(job).get().changes}
    assert changes["Complaint"] == ("It hums and cuts out when warm.", "It is silent.")
    assert changes["Got wet"] == ("no", "yes")
    assert changes["Came with"] == ("Cover", "Cover, Footswitch")


def test_a_piece_that_keeps_its_name_keeps_its_row(bench):
    job = JobFactory()
    cover, switch = LoosePieceFactory(job=job, name="Cover"), LoosePieceFactory(job=job, name="Footswitch")
    work.change_job(job, fields={}, pieces=["Footswitch", "Lid", "Cover"], by=bench, revision=1)
    assert {p.name: p.pk for p in job.pieces.all()} | {"Lid": 0} == {
        "Footswitch": switch.pk,
        "Lid": 0,
        "Cover": cover.pk,
    }


def test_both_changed_the_same_and_the_second_sees_both(as_bench, as_counter, counter):
    job = JobFactory()
    form = opened(job)
    assert send(as_counter, job, form, complaint="Theirs: it crackles.").status_code == 302
    answer = send(as_bench, job, form, complaint="Mine: it pops.", condition="Scratched")
    assert answer.status_code == 409
    page = answer.content.decode()
    assert "Theirs: it crackles." in page
    assert "Mine: it pops." in page
    assert f"{counter.name} changed this" in page
    job.refresh_from_db()
    assert job.complaint == "Theirs: it crackles."


@pytest.mark.parametrize(
    ("keep", "complaint"), [("mine", "Mine: it pops."), ("theirs", "Theirs: it crackles.")]
)
def test_the_choice_holds_and_the_rest_of_both_is_kept(as_bench, as_counter, keep, complaint):
    job = JobFactory()
    form = opened(job)
    send(as_counter, job, form, complaint="Theirs: it crackles.", spend_limit="99")
    answer = send(as_bench, job, form, complaint="Mine: it pops.", condition="Scratched")
    assert as_bench.post(f"/job/{job.claim}/edit/", choose(answer, keep)).status_code == 302
    job.refresh_from_db()
    assert (job.complaint, job.condition, job.spend_limit) == (complaint, "Scratched", 99)


def test_a_choice_that_meets_a_third_change_asks_again(as_bench, as_counter, as_owner):
    job = JobFactory()
    form = opened(job)
    send(as_counter, job, form, complaint="Second.")
    answer = send(as_bench, job, form, complaint="Mine.")
    send(as_owner, job, opened(job), complaint="Third.")
    again = as_bench.post(f"/job/{job.claim}/edit/", choose(answer, "mine"))
    assert again.status_code == 409
    assert b"Third." in again.content


def test_changes_of_different_fields_go_together_without_a_question(as_bench, as_counter):
    job = JobFactory()
    form = opened(job)
    send(as_counter, job, form, spend_limit="200")
    assert send(as_bench, job, form, complaint="It is silent.").status_code == 302
    job.refresh_from_db()
    assert (job.complaint, job.spend_limit, job.revision) == ("It is silent.", 200, 3)


def test_a_move_meanwhile_does_not_keep_an_edit_back(as_bench, bench):
    from intake import workflow

    job = JobFactory(state=State.IN_LINE)
    form = opened(job)
    workflow.move(job, to=State.ON_THE_BENCH, by=bench, revision=1)
    assert send(as_bench, job, form, complaint="It is silent.").status_code == 302
    job.refresh_from_db()
    assert (job.complaint, job.state) == ("It is silent.", State.ON_THE_BENCH)


def test_a_tick_taken_away_and_a_tick_set_are_seen_side_by_side(as_bench, as_counter):
    job = JobFactory(was_wet=True)
    form = opened(job)
    send(as_counter, job, form, was_wet="", complaint="Theirs.")
    answer = send(as_bench, job, form, complaint="Mine.")
    rows = {row["label"]: row for row in answer.context["rows"]}
    assert set(rows) == {"Complaint, in the owner's words"}
    assert as_bench.post(f"/job/{job.claim}/edit/", choose(answer, "mine")).status_code == 302
    job.refresh_from_db()
    assert not job.was_wet


def test_a_form_that_lost_what_it_was_opened_with_asks_rather_than_overwrites(as_bench, as_counter):
    job = JobFactory()
    form = opened(job)
    send(as_counter, job, form, spend_limit="200")
    for broken in ("", "{", "[]", "3", '{"spend_limit": 5}'):
        answer = send(as_bench, job, {**form, "opened_with": broken}, complaint="Mine.")
        assert answer.status_code == 409
        assert "Spend limit" in {row["label"] for row in answer.context["rows"]}


def test_two_changes_of_a_finding_are_seen_side_by_side(as_bench, as_owner):
    finding = FindingFactory()
    here = f"/job/{finding.job.claim}/finding/{finding.pk}/"
    base = {"fault": finding.fault, "cause": "", "cure": ""}
    form = {**base, "revision": 1, "opened_with": json.dumps(base)}
    assert as_owner.send(here, {**form, "cure": "Replace it"}).status_code == 302
    answer = as_bench.send(here, {**form, "cure": "Replace both", "cause": "Age"})
    assert answer.status_code == 409
    assert as_bench.post(here, choose(answer, "theirs")).status_code == 302
    finding.refresh_from_db()
    assert (finding.cause, finding.cure) == ("Age", "Replace it")


def test_an_edit_in_which_nothing_changed_leaves_no_trace_in_the_timeline(as_bench):
    job = JobFactory()
    assert send(as_bench, job, opened(job)).status_code == 302
    assert not timeline.of(job).exists()


def test_a_bad_edit_loses_nothing_that_was_typed(as_bench):
    job = JobFactory()
    answer = send(
        as_bench, job, opened(job), complaint=" ", condition="Typed for a long time", wanted_by="soon"
    )
    assert answer.status_code == 422
    assert b"Typed for a long time" in answer.content
    assert b"Enter a valid date" in answer.content


@pytest.mark.parametrize("pieces", ["x" * 81, "\n".join("abcdefghijklmnopqrstuvwxyz12345")])
def test_pieces_that_no_tag_holds_are_refused(as_bench, pieces):
    job = JobFactory()
    assert send(as_bench, job, opened(job), pieces=pieces).status_code == 422


def test_a_piece_that_went_home_stays_in_the_list(as_bench):
    from django.utils import timezone

    job = JobFactory()
    LoosePieceFactory(job=job, name="Cover", went_home_at=timezone.now())
    answer = send(as_bench, job, opened(job), pieces="")
    assert answer.status_code == 422
    assert b"went home already" in answer.content
    assert job.pieces.count() == 1


def test_a_job_that_is_gone_is_not_edited(as_owner):
    job = JobFactory(state=State.COLLECTED)
    assert send(as_owner, job, opened(job), complaint="Rewritten.").status_code == 422
    job.refresh_from_db()
    assert job.revision == 1


# --- Putting two changes together --------------------------------------------------------------------------


@given(base=texts, mine=texts, theirs=texts)
@settings(max_examples=200)
def test_what_one_of_us_changed_is_never_lost(base, mine, theirs):
    mine = {name: mine.get(name, base.get(name, "")) for name in "abcd"}
    theirs = {name: theirs.get(name, base.get(name, "")) for name in "abcd"}
    base = {name: base.get(name, "") for name in "abcd"}
    merged = merge(base, mine, theirs)
    for name in "abcd":
        i_changed, they_changed = mine[name] != base[name], theirs[name] != base[name]
        if i_changed and they_changed and mine[name] != theirs[name]:
            assert name in merged.clashes
        else:
            assert name not in merged.clashes
            assert merged.texts[name] == (mine[name] if i_changed else theirs[name])


def test_a_browsers_line_ends_are_no_change():
    merged = merge({"a": "one\ntwo"}, {"a": "one\r\ntwo "}, {"a": "three"})
    assert (merged.texts, merged.clashes) == ({"a": "three"}, ())


@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    data=st.fixed_dictionaries(
        {},
        optional={name: st.text(max_size=120) for name in [*JobForm.base_fields, "keep", "theirs-complaint"]},
    )
)
def test_hostile_edits_get_words_and_never_an_error(as_bench, data):
    job = JobFactory()
    for form in (data, {**opened(job), **data}):
        assert as_bench.send(f"/job/{job.claim}/edit/", form).status_code in (302, 409, 422)
    assert as_bench.get(f"/job/{job.claim}/edit/").status_code == 200
