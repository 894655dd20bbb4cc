"""Notices: what is due, letters for several at once, how they are recorded, what comes back."""

import datetime as dt
import io
from typing import Any

import pypdf
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image

from intake import keeping, register
from intake.models import Job, NoticeBack, Person, Photo, StorageNotice
from shop import timeline
from shop.errors import ChangedMeanwhile, NotAllowedYet
from shop.models import Shop, Staff
from tests.conftest import Tablet
from tests.intake.storage import ago, past_deadline, sent, today, waiting

LETTERS = "/storage/letters/"


def text_of(pdf: bytes) -> list[str]:
    return [" ".join(page.extract_text().split()) for page in pypdf.PdfReader(io.BytesIO(pdf)).pages]


def letter(job: Job, seen: int = 0, words: str = "Your gear waits.", **more: Any) -> keeping.Letter:
    return keeping.Letter(job, words, seen, **more)


def typed(*jobs: Job, how: str = "letter", sent_on: dt.date | None = None, **more: Any) -> dict[str, Any]:
    """The letters' page, filled in for these jobs."""
    data: dict[str, Any] = {
        "job": [job.pk for job in jobs],
        "how": how,
        "sent_on": (sent_on or today()).isoformat(),
    }
    for job in jobs:
        data |= {f"job-{job.pk}-words": f"Dear owner of {job.claim}.", f"job-{job.pk}-seen": "0"}
    return {**data, **more}


def picture() -> io.BytesIO:
    file = io.BytesIO()
    Image.new("RGB", (60, 40), "teal").save(file, "PNG")
    file.seek(0)
    file.name = "slip.png"
    return file


# --- What the shop is told is due ------------------------------------------------------------------------


def test_the_page_says_whose_notice_is_due_what_is_past_and_what_waits(
    as_counter: Tablet, counter: Staff
) -> None:
    due, past, rest = waiting(counter, 31), past_deadline(counter), waiting(counter, 3)
    context = as_counter.get("/storage/").context
    assert [row.job for row in context["due"]] == [due]
    assert [row.job for row in context["past"]] == [past]
    assert [row.job for row in context["rest"]] == [rest]


def test_the_front_page_says_whose_notice_is_due(as_bench: Tablet, bench: Staff) -> None:
    assert "Notices due today" not in as_bench.get("/").content.decode()
    waiting(bench, 33)
    page = as_bench.get("/").content.decode()
    assert "Notices due today" in page
    assert "Dana Whitlow, notice 1" in page


def test_pages_ask_the_database_as_often_for_thirty_as_for_three(as_owner: Tablet, owner: Staff) -> None:
    counts = {}
    for many in (3, 30):
        while Job.objects.count() < many:
            job = past_deadline(owner) if Job.objects.count() % 2 else waiting(owner, 40)
            keeping.pause(job, why="parts", words="A knob", by=owner)
            if job.storage_notices.exists():
                NoticeBack.objects.create(notice=job.storage_notices.first(), on=today(), by=owner)
        for path in ("/storage/", "/"):
            as_owner.get(path)
            with CaptureQueriesContext(
                connection,
            ) as asked:
                assert as_owner.get(path).status_code == 200
            counts.setdefault(path, []).append(len(asked))
    for path, (few, more) in counts.items():
        assert few == more, path


# --- Recording a notice ------------------------------------------------------------------------------------


def test_a_notice_keeps_its_words_whole_where_it_went_and_who_sent_it(counter: Staff) -> None:
    job = waiting(counter, 31)
    words = "Dear Dana,\n\nit waits.\n" * 40
    kept = keeping.send_notice(
        letter(job, words=words, tracking="RR 1"), how="registered", sent_on=ago(1), by=counter
    )
    assert (kept.number, kept.words, kept.tracking, kept.by) == (1, words, "RR 1", counter)
    assert kept.address == "Dana Whitlow\n7 Kiln Lane\nPort Ansley"
    assert "sent notice 1" in timeline.of(job).first().words


def test_a_notice_cant_be_changed(counter: Staff) -> None:
    notice = sent(waiting(counter, 31), 30, counter)
    notice.words = "Something else."
    with pytest.raises(TypeError):
        notice.save()


@pytest.mark.parametrize("days", [-1, 32])
def test_a_notice_is_sent_between_the_ready_notice_and_today(counter: Staff, days: int) -> None:
    job = waiting(counter, 31)
    with pytest.raises(NotAllowedYet, match="and today"):
        keeping.send_notice(letter(job), how="letter", sent_on=ago(days), by=counter)


def test_without_a_ready_notice_no_notice_is_sent(counter: Staff) -> None:
    job = waiting(counter, 31)
    Job.objects.filter(pk=job.pk).update(ready_at=job.ready_at + dt.timedelta(days=2))
    with pytest.raises(NotAllowedYet, match="hasn’t been told"):
        keeping.send_notice(letter(job), how="letter", sent_on=today(), by=counter)


def test_two_tablets_dont_record_the_same_letter_twice(counter: Staff) -> None:
    job = waiting(counter, 31)
    keeping.send_notice(letter(job), how="letter", sent_on=today(), by=counter)
    with pytest.raises(ChangedMeanwhile):
        keeping.send_notice(letter(job), how="letter", sent_on=today(), by=counter)
    assert job.storage_notices.count() == 1


def test_gear_that_doesnt_wait_gets_no_notice(counter: Staff) -> None:
    job = waiting(counter, 31, state="on-the-bench")
    with pytest.raises(NotAllowedYet, match="Only gear that waits"):
        keeping.send_notice(letter(job), how="letter", sent_on=today(), by=counter)


# --- Letters ------------------------------------------------------------------------------------------------


def test_the_letter_says_the_gear_the_fee_and_the_deadline_politely(shop: Shop, counter: Staff) -> None:
    job = keeping.with_record().get(pk=waiting(counter, 40).pk)
    clock = keeping.clock_of(job, shop)
    words = keeping.letter_words(job, clock, shop)
    # day 40: ten chargeable days at $2
    for said in ("Dear Dana Whitlow", job.claim, "$2.00 a day", "comes to $20.00", "differ by place"):
        assert said in words
    for threat in ("must", "will be sold", "dispose", "legal action", "final"):
        assert threat not in words.lower()


def test_several_letters_print_as_one_file_with_a_page_each_and_record_nothing(
    as_counter: Tablet, counter: Staff
) -> None:
    jobs = [waiting(counter, 31), waiting(counter, 35), waiting(counter, 40)]
    answer = as_counter.send(f"{LETTERS}paper/", typed(*jobs))
    assert answer["Content-Type"] == "application/pdf"
    pages = text_of(answer.content)
    assert len(pages) == 3
    for page, job in zip(pages, jobs, strict=True):
        assert f"Dear owner of {job.claim}." in page
        assert "7 Kiln Lane" in page
    assert not StorageNotice.objects.exists()


def test_letters_are_recorded_together(as_counter: Tablet, counter: Staff) -> None:
    jobs = [waiting(counter, 31), waiting(counter, 35)]
    tracked = {f"job-{jobs[0].pk}-tracking": "RR 17"}
    answer = as_counter.send(LETTERS, typed(*jobs, how="registered", **tracked))
    assert (answer.status_code, answer["Location"]) == (302, "/storage/")
    kept = {notice.job_id: notice for notice in StorageNotice.objects.all()}
    assert kept[jobs[0].pk].tracking == "RR 17"
    assert kept[jobs[1].pk].words == f"Dear owner of {jobs[1].claim}."


def test_one_letter_that_cant_be_sent_keeps_back_the_others_and_what_was_typed(
    as_counter: Tablet, counter: Staff
) -> None:
    jobs = [waiting(counter, 31), waiting(counter, 35, address="")]
    answer = as_counter.send(LETTERS, typed(*jobs))
    assert answer.status_code == 422
    page = answer.content.decode()
    assert "Ask for it by phone" in page
    assert f"Dear owner of {jobs[0].claim}." in page
    assert not StorageNotice.objects.exists()


def test_a_letter_without_an_address_isnt_printed(as_counter: Tablet, counter: Staff) -> None:
    job = waiting(counter, 31, address="")
    answer = as_counter.send(f"{LETTERS}paper/", typed(job))
    assert answer.status_code == 422
    assert "Ask for it by phone" in answer.content.decode()


def test_a_proof_is_taken_as_a_photo_of_the_job(as_counter: Tablet, counter: Staff) -> None:
    job = waiting(counter, 31)
    answer = as_counter.send(LETTERS, typed(job, **{f"job-{job.pk}-picture": picture()}))
    assert answer.status_code == 302
    notice = job.storage_notices.get()
    assert notice.proof == Photo.objects.get(job=job)
    assert notice.proof.caption == "Proof of a notice"


def test_a_proof_is_chosen_from_the_photos_of_the_job_alone(as_counter: Tablet, counter: Staff) -> None:
    job, other = waiting(counter, 31), waiting(counter, 31)
    rows = [
        Photo.objects.create(job=j, image="photos/a.jpg", thumb="photos/b.jpg", width=4, height=3, by=counter)
        for j in (job, other)
    ]
    wrong = as_counter.send(LETTERS, typed(job, **{f"job-{job.pk}-proof": rows[1].pk}))
    assert wrong.status_code == 422
    assert as_counter.send(LETTERS, typed(job, **{f"job-{job.pk}-proof": rows[0].pk})).status_code == 302
    assert job.storage_notices.get().proof == rows[0]
    with pytest.raises(NotAllowedYet, match="another job"):
        keeping.send_notice(letter(other, proof=rows[0]), how="letter", sent_on=today(), by=counter)


def test_a_letter_prints_again_as_it_was_sent(as_counter: Tablet, counter: Staff) -> None:
    job = waiting(counter, 40)
    notice = sent(job, 30, counter, words="The words of that day.")
    Person.objects.filter(pk=job.person.pk).update(address="Elsewhere")
    (page,) = text_of(as_counter.get(f"/storage/notice/{notice.pk}/paper/").content)
    assert "The words of that day." in page
    assert "7 Kiln Lane" in page


@pytest.mark.parametrize("how", ["email", "in person"])
def test_without_an_address_other_ways_are_open(counter: Staff, how: str) -> None:
    job = waiting(counter, 31, address="")
    kept = keeping.send_notice(letter(job), how=how, sent_on=today(), by=counter)
    assert kept.address == ("dana@whitlow.example" if how == "email" else "Dana Whitlow")


# --- What comes back ---------------------------------------------------------------------------------------


@pytest.fixture
def returned(counter: Staff) -> Job:
    """Its second letter came back yesterday."""
    job = waiting(counter, 65)
    sent(job, 30, counter)
    keeping.came_back(sent(job, 50, counter), on=ago(1), words="Moved away", by=counter)
    return job


def test_a_letter_that_came_back_puts_the_address_in_question(
    as_counter: Tablet, shop: Shop, counter: Staff, returned: Job
) -> None:
    clock = keeping.clock_of(keeping.with_record().get(pk=returned.pk), shop)
    assert (clock.counted, clock.next_notice.number) == (1, 2)
    assert keeping.address_in_question(returned.person)
    assert "Address in question" in as_counter.get(returned.person.get_absolute_url()).content.decode()
    with pytest.raises(NotAllowedYet, match="in question"):
        keeping.send_notice(letter(returned, seen=2), how="letter", sent_on=today(), by=counter)
    assert as_counter.send(f"{LETTERS}paper/", typed(returned)).status_code == 422


def test_a_confirmed_address_takes_letters_again(as_counter: Tablet, counter: Staff, returned: Job) -> None:
    person = returned.person
    path = f"/people/{person.pk}/address/"
    assert as_counter.send(path, {"revision": person.revision + 1}).status_code == 409
    assert as_counter.send(path, {"revision": person.revision}).status_code == 302
    person.refresh_from_db()
    assert (person.address_since, keeping.address_in_question(person)) == (today(), False)
    keeping.send_notice(letter(returned, seen=2), how="letter", sent_on=today(), by=counter)


def test_a_corrected_address_takes_letters_again_and_the_old_ones_dont_count(
    shop: Shop, counter: Staff, returned: Job
) -> None:
    person = returned.person
    facts = {"name": person.name, "kind": person.kind, "email": "", "address": "9 New Street", "note": ""}
    register.change_person(person, facts=facts, phones=[], by=counter, revision=person.revision)
    job = keeping.with_record().get(pk=returned.pk)
    assert not keeping.address_in_question(job.person)
    clock = keeping.clock_of(job, shop)
    assert clock.counted == 0
    assert "went to an old address" in " ".join(clock.why_not)


def test_another_way_of_writing_the_same_address_is_no_move(shop: Shop, counter: Staff) -> None:
    job = waiting(counter, 40)
    sent(job, 30, counter)
    Person.objects.filter(pk=job.person.pk).update(address="7  KILN lane\n\nPort Ansley ")
    assert keeping.clock_of(keeping.with_record().get(pk=job.pk), shop).counted == 1


def test_an_address_that_isnt_in_question_needs_no_word(counter: Staff) -> None:
    person = waiting(counter, 1).person
    with pytest.raises(NotAllowedYet, match="isn't in question"):
        keeping.confirm_address(person, by=counter, revision=person.revision)


def test_a_notice_comes_back_once_and_after_it_was_sent(counter: Staff) -> None:
    job = waiting(counter, 65)
    notice = sent(job, 30, counter)
    with pytest.raises(NotAllowedYet, match="when it was sent"):
        keeping.came_back(notice, on=ago(36), by=counter)
    keeping.came_back(notice, on=today(), by=counter)
    with pytest.raises(NotAllowedYet, match="already"):
        keeping.came_back(notice, on=today(), by=counter)


def test_it_came_back_by_its_page(as_bench: Tablet, counter: Staff) -> None:
    notice = sent(waiting(counter, 65), 30, counter)
    path = f"/storage/notice/{notice.pk}/back/"
    assert as_bench.get(path).status_code == 200
    assert as_bench.send(path, {"on": "yesterday", "words": "Gone"}).status_code == 422
    assert as_bench.send(path, {"on": today().isoformat(), "words": "Gone"}).status_code == 302
    assert notice.back.words == "Gone"


# --- Anything may be sent ------------------------------------------------------------------------------------

junk = st.text(max_size=40) | st.sampled_from(
    ["", "-1", "9" * 30, "2026-13-45", "0001-01-01", "\x00", "<b>", "٣"]
)


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(how=junk, sent_on=junk, words=junk, seen=junk, proof=junk, job=junk)
def test_the_letters_stand_anything(
    as_counter: Tablet, counter: Staff, how: str, sent_on: str, words: str, seen: str, proof: str, job: str
) -> None:
    one = Job.objects.first() or waiting(counter, 31)
    data = {
        "job": [one.pk, job],
        "how": how,
        "sent_on": sent_on,
        f"job-{one.pk}-words": words,
        f"job-{one.pk}-seen": seen,
        f"job-{one.pk}-proof": proof,
    }
    assert as_counter.send(LETTERS, data).status_code == 422
    assert as_counter.get(LETTERS, {"job": [job, str(one.pk)]}).status_code == 200
    assert not StorageNotice.objects.exists()
