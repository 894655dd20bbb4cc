"""A job's page, and the address on its tag."""

import json

import pytest
from django.utils import timezone

from intake import claims, job_page, work
from intake.models import LabourSpell, State
from shop import timeline
from shop.models import Staff
from tests.factories import (
    ChargeFactory,
    FindingFactory,
    JobFactory,
    LoosePieceFactory,
    NoteFactory,
    PhoneFactory,
    ReadingFactory,
)


def fill(job, by, times):
    for _ in range(times):
        NoteFactory(job=job, by=by)
        FindingFactory(job=job, by=by)
        ChargeFactory(job=job, by=by)
        ReadingFactory(job=job, by=by)
        LoosePieceFactory(job=job)
        PhoneFactory(person=job.person)
        job.photos.create(image="a.jpg", thumb="b.jpg", width=4, height=3, by=by)
        now = timezone.now()
        LabourSpell.objects.create(job=job, who=by, began=now, ended=now, minutes=5)
        earlier = JobFactory(gear=job.gear)
        FindingFactory(job=earlier, by=by)
        timeline.write(job, by=by, words="did something")


def test_the_page_shows_what_a_tech_needs_to_begin(as_bench):
    job = JobFactory(was_wet=True, history_note="Rain on the way home.", gear__owner__name="Dana Whitlow")
    PhoneFactory(person=job.person, number="+1 555 010-2233")
    LoosePieceFactory(job=job, name="Footswitch")
    page = as_bench.get(f"/job/{job.claim}/").content.decode()
    for words in (
        job.complaint,
        "Dana Whitlow",
        "tel:+15550102233",
        "Got wet",
        "Rain on the way home.",
        "Footswitch",
        "Corvane Meridian 50",
        job.gear.serial,
    ):
        assert words in page


def test_an_empty_job_says_what_is_missing(as_bench):
    page = as_bench.get(f"/job/{JobFactory().claim}/").content.decode()
    for words in (
        "No notes yet.",
        "No photos yet.",
        "No labour yet.",
        "Nothing is charged yet.",
        "Nothing was measured",
    ):
        assert words in page


def test_earlier_visits_of_the_same_gear_stand_beside(as_bench):
    earlier = JobFactory(state=State.COLLECTED, complaint="Reverb is silent.")
    FindingFactory(job=earlier, fault="Tank return lead broken")
    job = JobFactory(gear=earlier.gear)
    page = as_bench.get(f"/job/{job.claim}/").content.decode()
    assert earlier.get_absolute_url() in page
    assert "Reverb is silent." in page
    assert "Tank return lead broken" in page


def test_the_page_takes_as_many_queries_with_much_as_with_little(
    as_bench, bench, django_assert_max_num_queries, django_assert_num_queries
):
    little, much = JobFactory(), JobFactory()
    fill(little, bench, 1)
    fill(much, bench, 12)
    as_bench.get(f"/job/{little.claim}/")  # what is read once for all is read
    with django_assert_max_num_queries(42) as little_took:
        as_bench.get(f"/job/{little.claim}/")
    with django_assert_num_queries(len(little_took)):
        as_bench.get(f"/job/{much.claim}/")


@pytest.mark.parametrize("part", sorted(job_page.SECTIONS))
def test_every_section_is_a_part_of_its_own(part, rf, bench, shop):
    from django_htmx.middleware import HtmxDetails

    request = rf.get("/", headers={"HX-Request": "true"})
    request.htmx, request.user, request.shop = HtmxDetails(request), bench, shop
    shown = job_page.show(request, job_page.find(JobFactory().claim), part=part).content.decode()
    assert shown.strip().startswith("<section")
    assert f'id="{part}"' in shown
    assert "<html" not in shown


def test_the_timeline_comes_in_pages_newest_first(as_bench, bench):
    job = JobFactory()
    for number in range(45):
        timeline.write(job, by=bench, words=f"act {number:02}")
    first = as_bench.part(f"/job/{job.claim}/timeline/").content.decode()
    last = as_bench.part(f"/job/{job.claim}/timeline/", {"page": "5"}).content.decode()
    assert first.index("Act 44") < first.index("Act 43")
    assert "Act 00" not in first
    assert "Act 00" in last


@pytest.mark.parametrize("page", ["0", "-1", "999", "x", "", "9" * 400])
def test_a_page_of_the_timeline_that_is_none_is_the_nearest(as_bench, page):
    assert as_bench.get(f"/job/{JobFactory().claim}/timeline/", {"page": page}).status_code == 200


def test_before_and_after_stand_in_the_timeline(as_bench, bench):
    job = JobFactory()
    work.change_job(job, fields={"complaint": "It is silent."}, by=bench, revision=1)
    page = as_bench.get(f"/job/{job.claim}/").content.decode()
    assert '<span class="unseen">was </span>It hums and cuts out when warm.' in page
    assert '<span class="after">It is silent.' in page


def test_what_was_written_is_never_markup(as_bench, bench):
    job = JobFactory(complaint="<script>alert(1)</script>")
    NoteFactory(job=job, text="<img src=x onerror=alert(1)>", by=bench)
    page = as_bench.get(f"/job/{job.claim}/").content.decode()
    assert "<script>alert" not in page
    assert "<img src=x" not in page


def test_the_tag_opens_its_job(as_counter):
    job = JobFactory()
    assert as_counter.get(f"/t/{job.claim}/").headers["Location"] == f"/job/{job.claim}/"


@pytest.mark.parametrize("written", [str.lower, lambda c: c.replace("-", ""), lambda c: c.replace("-", " ")])
def test_the_tag_opens_its_job_however_it_is_written(as_counter, written):
    job = JobFactory()
    assert as_counter.get(f"/t/{written(job.claim)}/").headers["Location"] == f"/job/{job.claim}/"


def test_a_mistyped_tag_opens_no_job_and_says_so(as_counter):
    job = JobFactory()
    for place in (0, 1, 2, 3, 5, 6, 7, 8):
        wrong = job.claim[:place] + str((int(job.claim[place]) + 1) % 10) + job.claim[place + 1 :]
        answer = as_counter.get(f"/t/{wrong}/")
        assert answer.status_code == 404
        assert b"Check it against the ticket" in answer.content


def test_a_claim_that_was_never_given_says_so(as_counter):
    number, claim = claims.following(2026, 1)
    answer = as_counter.get(f"/t/{claim}/")
    assert answer.status_code == 404
    assert b"No job here has the claim number" in answer.content


@pytest.mark.parametrize("text", ["x", "%00", "..", "2611", "9" * 250, "%F0%9F%8E%B8", "' OR 1=1"])
def test_an_address_that_is_no_claim_opens_nothing(as_counter, text):
    assert as_counter.get(f"/t/{text}/").status_code == 404
    assert as_counter.get(f"/job/{text}/").status_code == 404


def test_the_pad_sees_no_job(as_pad):
    job = JobFactory()
    for path in (f"/job/{job.claim}/", f"/t/{job.claim}/", f"/job/{job.claim}/timeline/", "/queue/"):
        assert as_pad.get(path).status_code == 403


def test_nobody_sees_a_job_without_signing_in(client, shop):
    assert client.get(f"/job/{JobFactory().claim}/").status_code == 302


# --- Who left the shop ---------------------------------------------------------------------------------------


def edit(tablet, job, **changes):
    page = tablet.get(f"/job/{job.claim}/edit/")
    form = page.context["form"]
    texts = {name: str(value) for name, value in form.initial.items() if value not in (None, "")}
    return tablet.send(f"/job/{job.claim}/edit/", texts | changes)


def test_who_left_the_shop_still_had_the_job_after_an_edit_of_something_else(as_counter, bench):
    job = JobFactory(assigned_to=bench)
    Staff.objects.filter(pk=bench.pk).update(is_active=False)
    assert f"{bench.name} (no longer here)" in as_counter.get(f"/job/{job.claim}/edit/").content.decode()
    assert edit(as_counter, job, complaint="Hums again").status_code == 302
    job.refresh_from_db()
    assert (job.complaint, job.assigned_to) == ("Hums again", bench)
    assert "is no longer here" in as_counter.get(f"/job/{job.claim}/").content.decode()


def test_nobody_who_left_the_shop_is_given_a_job(as_counter, bench, owner):
    job = JobFactory(assigned_to=owner)
    Staff.objects.filter(pk=bench.pk).update(is_active=False)
    opened = json.dumps({"assigned_to": str(bench.pk)})
    answer = edit(as_counter, job, assigned_to=str(bench.pk), opened_with=opened)
    assert answer.status_code in (409, 422)
    job.refresh_from_db()
    assert job.assigned_to == owner
