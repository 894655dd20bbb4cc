"""Unsafe gear: it goes home only as it is, with its tag on it and whoever takes it having signed that they know.

Who may judge, and how a tag is worded, is ours; that equipment which failed its test is taken out of use and marked is
common practice, no source.
"""

import datetime as dt
import io
from typing import Any

import pypdf
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from calc import safety, sheets
from calc.models import GearBuild, KeptSheet, SafetyWord, UnsafeTag
from calc.worksheets import by_slug
from intake import keeping, pickup
from intake.models import Job, LetGo, Pickup, State
from intake.workflow import held_back
from shop.errors import NotAllowed, NotAllowedYet
from shop.roles import Role
from tests.calc.examples import example
from tests.factories import JobFactory, StaffFactory
from tests.intake.bills import STROKES
from tests.intake.storage import past_deadline
from tests.intake.test_let_go import typed as let_go_data
from tests.safe import passed

pytestmark = pytest.mark.django_db

WHY = "The protective earth is broken"
STAFF = [Role.OWNER, Role.BENCH, Role.COUNTER]


def path(job: Job, *more: str) -> str:
    return "/".join(["", "job", job.claim, "unsafe", *more, ""])


def judged(job: Job, by: Any, words: str = WHY) -> Job:
    safety.judge_unsafe(job, words=words, by=by)
    return job


def as_it_is(state: State = State.GOING_HOME_AS_IS, **more: Any) -> Job:
    ready_at = timezone.now() if state == State.READY else None
    return JobFactory(state=state, declined=True, ready_at=ready_at, **more)


def moved(tablet: Any, job: Job, to: State) -> Any:
    job.refresh_from_db()
    return tablet.send(f"/job/{job.claim}/move/", {"to": to, "revision": job.revision})


def pickup_data(job: Job, **change: Any) -> dict[str, Any]:
    job.refresh_from_db()
    data = {
        "revision": job.revision,
        "known": pickup.must_know(job),
        "handed_to": "Dana Whitlow",
        "how": "counter",
        "gear": "on",
        "strokes": STROKES,
    }
    return {name: value for name, value in {**data, **change}.items() if value is not None}


def handed_back(tablet: Any, job: Job, **change: Any) -> Any:
    return tablet.send(f"/job/{job.claim}/pickup/", pickup_data(job, **change))


def kept_test(job: Job, by: Any, **change: str) -> KeptSheet:
    """The after-repair test, kept as its form would."""
    said = {**example("after-repair-test"), **change}
    return sheets.keep(job, sheet=by_slug("after-repair-test"), said=said, when="after", by=by)


@pytest.fixture
def job(bench):
    """On the bench, built as the test's example is, nothing in the way of reading under power."""
    job = passed(JobFactory(state=State.ON_THE_BENCH), bench)
    GearBuild.objects.create(gear=job.gear, protection="class-i", by=bench)
    return job


# --- A test says so


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"earth": "0.9"}, "Protective earth failed"),
        ({"earth": "0.29 ± 0.02"}, "Protective earth was too close to call"),
        ({"insulation": "0.2"}, "Insulation failed"),
    ],
)
def test_a_failed_test_makes_it_unsafe_without_anybody_pressing_a_button(as_bench, job, change, said):
    """EN 50678:2020's limits, through the worksheet: 0.3 Ω of protective earth, 1 MΩ of insulation."""
    keep = f"/job/{job.claim}/worksheets/after-repair-test/keep/"
    sent = {**example("after-repair-test"), **change, "when": "after"}
    assert as_bench.send(keep, sent).status_code == 302
    assert not SafetyWord.objects.exists()
    assert said in as_bench.get(path(job)).content.decode()
    assert said in as_bench.get(f"/job/{job.claim}/").content.decode()
    Job.objects.filter(pk=job.pk).update(state=State.SOAK_TEST)
    answer = moved(as_bench, job, State.READY)
    assert answer.status_code == 422
    assert said in answer.content.decode()


def test_striking_the_failed_worksheet_out_keeps_it_unsafe_until_the_test_is_passed(as_bench, bench, job):
    failed = kept_test(job, bench, earth="0.9")
    as_bench.send(f"/kept-worksheet/{failed.pk}/strike/")
    assert safety.unsafe(job) == "Protective earth failed"
    kept_test(job, bench, earth="0.12")
    assert not safety.unsafe(job)


def test_a_test_that_was_left_out_passes_nothing(bench, job):
    kept_test(job, bench, insulation="0.2")
    kept_test(job, bench, insulation_by="left-out", insulation="")
    assert safety.unsafe(job) == "Insulation failed"


def test_what_a_test_says_is_not_taken_back_by_a_word(as_owner, owner, job):
    kept_test(job, owner, earth="0.9")
    html = as_owner.get(path(job)).content.decode()
    assert "nobody can take that back" in html
    assert "It is no longer unsafe" not in html
    answer = as_owner.send(path(job, "take-back"), {"more": "It looks fine."})
    assert answer.status_code == 422
    judged(job, owner)
    as_owner.send(path(job, "take-back"), {"more": "The wire was only off for the test."})
    assert safety.unsafe(job) == "Protective earth failed"


# --- Somebody says so


def test_it_is_judged_unsafe_by_tapping_alone(as_bench, bench, job):
    answer = as_bench.send(path(job, "judge"), {"reasons": [WHY, "A cover or a guard is missing"]})
    assert answer.status_code == 302
    word = SafetyWord.objects.get()
    assert (word.words, word.by, word.unsafe) == (f"{WHY}. A cover or a guard is missing", bench, True)
    assert f"{WHY}. A cover or a guard is missing." in as_bench.get(path(job)).content.decode()


@pytest.mark.parametrize(
    ("data", "sentence"),
    [
        ({}, "Tap what it is"),
        ({"more": "   "}, "Tap what it is"),
        ({"reasons": ["It is cursed"]}, "It is cursed is not one of the available choices"),
        ({"more": "hum " * 90}, "characters too long for the tag"),
        ({"more": "\x00"}, "field-wrong"),
    ],
)
@pytest.mark.parametrize("act", ["judge", "take-back"])
def test_what_gives_no_reason_is_refused_beside_its_field(as_bench, bench, job, act, data, sentence):
    if act == "take-back":
        judged(job, bench)
    answer = as_bench.send(path(job, act), data)
    assert answer.status_code == 422
    assert sentence in answer.content.decode()
    assert data.get("more", "").strip() in answer.content.decode()
    assert SafetyWord.objects.count() == (act == "take-back")


def test_only_the_bench_and_the_owner_judge_and_everybody_at_work_sees_it(as_counter, as_pad, bench, job):
    assert as_counter.send(path(job, "judge"), {"reasons": [WHY]}).status_code == 403
    assert as_pad.get(path(job)).status_code == 403
    judged(job, bench)
    html = as_counter.get(path(job)).content.decode()
    assert WHY in html
    assert "It is unsafe</button>" not in html
    assert "Unsafe tag, 62 mm roll" in html


def test_gear_that_is_gone_is_judged_no_more(as_bench):
    job = JobFactory(state=State.COLLECTED)
    assert as_bench.get(path(job)).status_code == 200
    assert as_bench.send(path(job, "judge"), {"reasons": [WHY]}).status_code == 422


# --- Taken back


def test_the_bench_takes_it_back_only_after_a_test_that_was_begun_and_passed_since(as_bench, bench, job):
    judged(job, bench)
    answer = as_bench.send(path(job, "take-back"), {"more": "Mended the wire"})
    assert answer.status_code == 403
    assert "Pass the after-repair test first" in answer.content.decode()
    assert "Mended the wire" in answer.content.decode()
    Job.objects.filter(pk=job.pk).update(state=State.IN_LINE)
    moved(as_bench, job, State.ON_THE_BENCH)
    job.refresh_from_db()
    passed(job, bench)
    assert as_bench.send(path(job, "take-back"), {"more": "Mended the wire"}).status_code == 302
    assert not safety.unsafe(job)


def test_the_owner_takes_it_back_with_a_reason(as_owner, bench, job):
    judged(job, bench)
    assert as_owner.send(path(job, "take-back"), {}).status_code == 422
    sent = {"reasons": ["Another piece of gear was meant"]}
    assert as_owner.send(path(job, "take-back"), sent).status_code == 302
    assert not safety.unsafe(job)
    assert "Another piece of gear was meant" in as_owner.get(path(job)).content.decode()
    assert as_owner.send(path(job, "take-back"), sent).status_code == 422


# --- The tag


@pytest.mark.parametrize("size", ["roll", "card"])
def test_the_tag_says_what_is_wrong_whose_judgement_it_was_and_where_it_belongs(
    as_counter, bench, shop, size
):
    job = judged(as_it_is(gear__serial="C-20417"), bench)
    answer = as_counter.send(path(job, "tag", size, "print"))
    assert answer["Location"] == path(job, "tag", size)
    html = as_counter.get(f"{path(job, 'tag', size)}?view=html").content.decode()
    for words in ("Unsafe", "Do not use", "Do not plug it in", WHY, "C-20417", bench.name, shop.name):
        assert words in html
    assert "Reprint" not in html and "Preview" not in html


@pytest.mark.parametrize(("size", "width"), [("roll", 62), ("card", 101.6)])
def test_the_tag_is_one_piece_of_its_paper(as_counter, bench, size, width):
    long = "The insulation between the primary and the chassis has failed, " * 4
    job = as_it_is(
        gear__maker="Bexley & Rook", gear__model="Meridian Reverberation 100", gear__serial="B-1" * 8
    )
    kept_test(job, bench, protective_current="", earth="0.9", insulation="0.2")
    judged(job, bench, words=long[:300])
    for _ in range(3):
        safety.print_unsafe_tag(job, by=bench)
    answer = as_counter.get(path(job, "tag", size))
    assert answer["Content-Type"] == "application/pdf"
    pages = pypdf.PdfReader(io.BytesIO(answer.content)).pages
    assert len(pages) == 1
    assert float(pages[0].mediabox.width) * 25.4 / 72 == pytest.approx(width, abs=0.5)


def test_a_tag_that_is_only_looked_at_counts_for_nothing_and_a_second_one_says_so(as_counter, bench):
    job = judged(as_it_is(), bench)
    paper = f"{path(job, 'tag', 'roll')}?view=html"
    assert "Preview" in as_counter.get(paper).content.decode()
    assert not UnsafeTag.objects.exists()
    for _ in range(2):
        as_counter.send(path(job, "tag", "roll", "print"))
    assert "Reprint 1" in as_counter.get(paper).content.decode()
    assert UnsafeTag.objects.count() == 2


def test_the_same_tap_twice_counts_one_tag(as_counter, bench):
    job = judged(as_it_is(), bench)
    for _ in range(2):
        as_counter.send(path(job, "tag", "roll", "print"), {"once": "u" * 24})
    assert UnsafeTag.objects.count() == 1


def test_there_is_no_tag_for_gear_that_nobody_judged_and_no_other_size(as_counter, bench):
    job = as_it_is()
    assert as_counter.get(path(job, "tag", "roll")).status_code == 422
    assert as_counter.send(path(job, "tag", "roll", "print")).status_code == 422
    judged(job, bench)
    assert as_counter.get(path(job, "tag", "letter")).status_code == 404
    assert as_counter.send(path(job, "tag", "letter", "print")).status_code == 404
    assert not UnsafeTag.objects.exists()


def test_what_is_said_anew_wants_a_new_tag(bench):
    job = judged(as_it_is(), bench)
    safety.print_unsafe_tag(job, by=bench)
    assert not held_back(job, State.READY, bench)
    judged(job, bench, words="A battery leaks or swells")
    assert any("A battery leaks" in why and "tag" in why for why in held_back(job, State.READY, bench))
    assert WHY not in safety.unsafe(job)


def test_a_test_that_fails_after_the_tag_was_printed_wants_a_new_one(bench, job):
    judged(job, bench)
    safety.print_unsafe_tag(job, by=bench)
    kept_test(job, bench, earth="0.9")
    assert safety.tags_printed(job, safety.found_unsafe(job)) == 0
    assert safety.unsafe(job) == f"{WHY}. Protective earth failed"


def test_the_tag_of_a_word_that_was_taken_back_serves_for_no_other_reason(owner, job):
    kept_test(job, owner, earth="0.9")
    judged(job, owner, words="A cover or a guard is missing")
    safety.print_unsafe_tag(job, by=owner)
    safety.take_back_unsafe(job, words="The cover was found.", by=owner)
    assert safety.tags_printed(job, safety.found_unsafe(job)) == 0


# --- The way out, for every role


@pytest.mark.parametrize("role", STAFF)
def test_what_is_unsafe_is_not_ready_with_every_list_passed_and_the_tag_printed(tablet_of, bench, job, role):
    Job.objects.filter(pk=job.pk).update(state=State.SOAK_TEST)
    judged(job, bench)
    safety.print_unsafe_tag(job, by=bench)
    tablet = tablet_of(StaffFactory(role=role))
    assert moved(tablet, job, State.READY).status_code == 422
    job.refresh_from_db()
    assert job.state == State.SOAK_TEST


@pytest.mark.parametrize("role", STAFF)
def test_what_is_safe_moves_to_ready(tablet_of, job, role):
    Job.objects.filter(pk=job.pk).update(state=State.SOAK_TEST)
    assert moved(tablet_of(StaffFactory(role=role)), job, State.READY).status_code == 302


@pytest.mark.parametrize("role", STAFF)
def test_as_it_is_it_is_ready_with_its_tag_and_not_without(tablet_of, bench, role):
    job = judged(as_it_is(), bench)
    tablet = tablet_of(StaffFactory(role=role))
    answer = moved(tablet, job, State.READY)
    assert answer.status_code == 422
    assert "Print the “unsafe, do not use” tag first" in answer.content.decode()
    tablet.send(path(job, "tag", "card", "print"))
    assert moved(tablet, job, State.READY).status_code == 302


@pytest.mark.parametrize("role", [Role.OWNER, Role.COUNTER])
def test_it_is_collected_with_its_tag_and_a_hand_under_the_words_and_no_other_way(tablet_of, bench, role):
    job = judged(as_it_is(State.READY), bench)
    tablet = tablet_of(StaffFactory(role=role))
    answer = handed_back(tablet, job)
    assert answer.status_code == 422
    assert "tag first" in answer.content.decode()
    tablet.send(path(job, "tag", "roll", "print"))
    for change, sentence in (
        ({"strokes": None, "typed": "on"}, "A typed name isn’t enough"),
        ({"strokes": None}, "Sign on the glass"),
        ({"how": "mail", "carrier": "Harbor Parcel 77 120", "strokes": None}, "It can’t go by mail"),
        ({"how": "mail", "carrier": "Harbor Parcel 77 120"}, "It can’t go by mail"),
    ):
        answer = handed_back(tablet, job, **change)
        assert answer.status_code == 422
        assert sentence in answer.content.decode()
        assert not Pickup.objects.exists()
    assert handed_back(tablet, job).status_code == 302
    signature = Pickup.objects.get().signature
    assert f"I know that it is unsafe: {WHY}." in signature.words
    assert signature.svg


def test_the_bench_hands_nothing_back(as_bench, bench):
    job = judged(as_it_is(State.READY), bench)
    safety.print_unsafe_tag(job, by=bench)
    assert handed_back(as_bench, job).status_code == 403


def test_the_pickup_page_says_it_and_takes_no_typed_name(as_counter, as_owner, bench):
    job = judged(as_it_is(State.READY), bench)
    html = as_counter.get(f"/job/{job.claim}/pickup/").content.decode()
    assert f"I know that it is unsafe: {WHY}." in html
    assert "Its tag isn’t printed yet" in html
    assert "They sign with their own hand" in html
    assert 'name="typed"' not in html
    for tablet in (as_counter, as_owner):
        safe = tablet.get(f"/job/{JobFactory(state=State.READY).claim}/pickup/").content.decode()
        assert "unsafe" not in safe.lower()
        assert 'name="typed"' in safe


@pytest.mark.parametrize("known", [None, "", "I know that all is well."])
def test_who_signed_other_words_than_hold_now_signs_again(as_counter, bench, known):
    job = as_it_is(State.READY)
    page = pickup_data(job)
    judged(job, bench)
    safety.print_unsafe_tag(job, by=bench)
    sent = {**page, "known": known} if known is not None else page
    answer = as_counter.send(f"/job/{job.claim}/pickup/", sent)
    html = answer.content.decode()
    assert answer.status_code == 409
    assert "What they sign has changed" in html
    assert f"I know that it is unsafe: {WHY}." in html
    assert "strokes&quot;" not in html
    assert not Pickup.objects.exists()
    assert handed_back(as_counter, job).status_code == 302


def test_a_repaired_one_that_is_ready_goes_back_to_the_bench_tag_or_no_tag(as_counter, bench):
    job = judged(JobFactory(state=State.READY, ready_at=timezone.now()), bench)
    safety.print_unsafe_tag(job, by=bench)
    answer = handed_back(as_counter, job)
    assert answer.status_code == 422
    assert "goes back to the bench, or home as it is" in answer.content.decode()
    assert moved(as_counter, job, State.ON_THE_BENCH).status_code == 302


def test_what_was_left_behind_is_collected_after_all_with_tag_and_signature(as_counter, bench):
    job = judged(JobFactory(state=State.LEFT_BEHIND, ready_at=timezone.now()), bench)
    assert handed_back(as_counter, job).status_code == 422
    safety.print_unsafe_tag(job, by=bench)
    assert handed_back(as_counter, job, strokes=None, typed="on").status_code == 422
    assert handed_back(as_counter, job).status_code == 302


def test_it_is_let_go_with_its_tag_and_the_page_says_why_not_without(as_owner, owner):
    job = past_deadline(owner)
    job = judged(keeping.leave_behind(job, by=owner, revision=job.revision), owner)
    page = f"/job/{job.claim}/storage/let-go/"
    html = as_owner.get(page).content.decode()
    assert WHY in html
    assert "Its tag isn’t printed yet" in html
    answer = as_owner.send(page, let_go_data(job))
    assert answer.status_code == 422
    assert "tag first" in answer.content.decode()
    assert not LetGo.objects.exists()
    as_owner.send(path(job, "tag", "card", "print"))
    assert as_owner.send(page, let_go_data(job)).status_code == 302
    assert LetGo.objects.get().became == "scrapped"


def test_the_way_to_judge_it_stands_where_it_goes_home_as_it_is_and_on_the_job(as_bench, as_counter):
    job = JobFactory(state=State.ON_THE_BENCH)
    link = f'href="{path(job)}"'
    for page in (f"/job/{job.claim}/as-is/", f"/job/{job.claim}/"):
        assert link in as_bench.get(page).content.decode()
        assert link not in as_counter.get(page).content.decode()


# --- The verbs, and how often they ask


def test_the_verbs_keep_to_their_rules_without_a_page(bench, job):
    with pytest.raises(NotAllowedYet, match="what makes it unsafe"):
        safety.judge_unsafe(job, words=" ", by=bench)
    with pytest.raises(NotAllowedYet, match="Nobody judged"):
        safety.take_back_unsafe(job, words="All is well.", by=bench)
    judged(job, bench)
    with pytest.raises(NotAllowed):
        safety.take_back_unsafe(job, words="All is well.", by=bench)
    with pytest.raises(TypeError):
        SafetyWord.objects.get().delete()


def test_the_page_takes_as_many_queries_however_often_it_was_judged(as_bench, bench):
    few, many = (judged(JobFactory(), bench) for _ in range(2))
    for hours in range(6):
        at = timezone.now() + dt.timedelta(hours=hours)
        SafetyWord.objects.create(job=many, unsafe=True, words="Again", by=bench, at=at)
        UnsafeTag.objects.create(job=many, by=bench, at=at)

    def asked(job: Job) -> int:
        with CaptureQueriesContext(connection) as took:
            assert as_bench.get(path(job)).status_code == 200
        return len(took)

    asked(few)
    assert asked(few) == asked(many)
