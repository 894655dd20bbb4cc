"""Notes: added, never changed."""

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from intake.models import Note, State
from shop import timeline
from tests.factories import JobFactory


def send(tablet, job, text, **how):
    return tablet.send(f"/job/{job.claim}/note/", {"text": text}, **how)


def test_a_note_is_kept_with_who_wrote_it(as_bench, bench):
    job = JobFactory()
    assert (
        send(as_bench, job, "Reservoir capacitor bulges.").headers["Location"] == f"/job/{job.claim}/#notes"
    )
    note = job.notes.get()
    assert (note.text, note.by) == ("Reservoir capacitor bulges.", bench)
    assert timeline.of(job).get().words == "wrote a note"


def test_htmx_gets_the_notes_alone_and_the_page_hears_of_it(as_bench):
    job = JobFactory()
    answer = send(as_bench, job, "Smells burnt.", htmx=True)
    assert answer.status_code == 200
    assert answer.content.strip().startswith(b'<section class="panel" id="notes"')
    assert b"Smells burnt." in answer.content
    assert answer["HX-Trigger"] == "job-changed"


def test_two_taps_of_one_form_keep_one_note(as_bench):
    job = JobFactory()
    for _ in range(2):
        as_bench.send(f"/job/{job.claim}/note/", {"text": "Once.", "once": "o" * 24})
    assert job.notes.count() == 1


def test_two_tablets_may_both_write(as_bench, as_counter):
    job = JobFactory()
    send(as_bench, job, "From the bench.")
    send(as_counter, job, "From the counter.")
    assert job.notes.count() == 2


@pytest.mark.parametrize("text", ["", "   ", "\r\n\t", "\x00", "x" * 4001])
@pytest.mark.parametrize("htmx", [False, True])
def test_a_note_that_is_none_is_refused_with_words(as_bench, text, htmx):
    job = JobFactory()
    answer = send(as_bench, job, text, htmx=htmx)
    assert answer.status_code == 422
    assert b"field-wrong" in answer.content
    assert not job.notes.exists()


def test_what_was_too_long_is_not_lost(as_bench):
    text = "long " * 900
    assert text.strip().encode() in send(as_bench, JobFactory(), text).content


def test_a_job_that_is_gone_still_takes_notes(as_counter):
    job = JobFactory(state=State.COLLECTED)
    assert send(as_counter, job, "They called: it works.").status_code == 302


def test_a_form_without_its_key_keeps_nothing(as_bench):
    job = JobFactory()
    assert as_bench.post(f"/job/{job.claim}/note/", {"text": "No key."}).status_code == 400
    assert not job.notes.exists()


def test_a_note_needs_a_form_that_was_sent(as_bench):
    assert as_bench.get(f"/job/{JobFactory().claim}/note/").status_code == 405


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(text=st.text(max_size=300))
def test_hostile_text_is_kept_as_it_is_or_refused(as_bench, text):
    job = JobFactory()
    answer = send(as_bench, job, text)
    if answer.status_code == 302:
        assert Note.objects.get(job=job).text
        assert as_bench.get(f"/job/{job.claim}/").status_code == 200
    else:
        assert answer.status_code == 422
