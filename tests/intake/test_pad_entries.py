"""What waits from the pad: checked, matched with somebody known, corrected, tagged once, or put away."""

import copy

import pytest
from django.urls import reverse
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from intake import dropoff
from intake.models import Job, PadEntry, Person, Signature, State
from shop import sockets, timeline
from tests.factories import GearFactory, JobFactory, PersonFactory, PhoneFactory
from tests.intake.test_dropoff import ANSWERS
from tests.intake.test_pad import HOSTILE

UNDATED = {**ANSWERS, "wanted_by": None}


@pytest.fixture
def entry(terms, shop) -> PadEntry:
    return dropoff.sign_on_pad(
        answers=copy.deepcopy(UNDATED),
        drawing="<svg xmlns='http://www.w3.org/2000/svg'/>",
        terms=terms,
        shop=shop,
        device="",
    )


@pytest.fixture
def page(entry) -> str:
    return reverse("pad-entry", args=[entry.pk])


def as_shown(tablet, page: str, **changes) -> dict:
    """What the page would send if nothing was touched, and then the changes."""
    sheet = tablet.get(page).context["sheet"]
    return {**dict(sheet.typed.lists()), **changes}


def test_who_waits_is_listed_with_what_they_brought(as_counter, entry):
    text = as_counter.get(reverse("pad-entries")).content.decode()
    for words in ("Dana Whitlow, The Low Tides", "Oslin Drifter", "It flutters."):
        assert words in text


def test_nobody_waiting_is_said(as_counter):
    assert "Nobody waits" in as_counter.get(reverse("pad-entries")).content.decode()


def test_the_list_takes_the_same_queries_however_many_wait(
    as_counter, terms, shop, django_assert_max_num_queries
):
    for _ in range(6):
        dropoff.sign_on_pad(answers=UNDATED, drawing="", terms=terms, shop=shop, device="")
    with django_assert_max_num_queries(6):
        as_counter.get(reverse("pad-entries"))


def test_the_front_page_has_a_panel_while_somebody_waits(rf, counter, entry):
    request = rf.get("/")
    request.user = counter
    shown = {panel.name: panel for panel in [p for p in sockets.panels if p.name == "waiting from the pad"]}
    panel = shown["waiting from the pad"]
    assert panel.context(request, None) == {"waiting": [entry]}
    dropoff.put_away(entry, by=counter)
    assert panel.context(request, None) is None


def test_the_page_shows_what_they_wrote_and_signed(as_counter, page):
    text = as_counter.get(page).content.decode()
    for words in (
        "The Low Tides",
        "555 010 0233",
        "Oslin",
        "It flutters.",
        "A spare tape",
        "Rain in the van.",
    ):
        assert words in text
    assert "Oslin Drifter (echo unit). Diagnosis fee $45.00" in text
    assert "up to $150.00" in text


def test_it_is_tagged_as_it_was_written(as_counter, page, entry):
    response = as_counter.send(page, as_shown(as_counter, page))
    job = Job.objects.get()
    assert response.url == reverse("dropoff-done", args=[job.visit_id])
    assert (job.person.name, job.person.kind, job.visit.signature) == (
        "The Low Tides",
        "band",
        entry.signature,
    )
    assert [p.name for p in job.pieces.all()] == ["Power cord", "A spare tape"]
    assert (job.was_wet, job.spend_limit, job.diagnosis_fee) == (True, 150, 45)
    assert not timeline.of(job).filter(words__contains="corrected").exists()
    assert not timeline.of(job.person).filter(words__contains="corrected").exists()


def test_a_correction_is_in_the_timeline_and_the_signature_stays(as_counter, page, entry):
    words = entry.signature.words
    as_counter.send(page, as_shown(as_counter, page, **{"gear-0-serial": "OD 7", "gear-0-happened": []}))
    changes = timeline.of(Job.objects.get()).get(words__contains="corrected").changes
    assert changes == [
        {"what": "Serial number", "before": "", "after": "OD 7"},
        {"what": "What happened", "before": "got wet", "after": ""},
    ]
    assert Signature.objects.get().words == words


def test_it_is_matched_with_somebody_known_and_their_gear(as_counter, page, entry):
    band = PersonFactory(name="Low Tides", kind="band")
    PhoneFactory(person=band, number="+1 (555) 010-0233")
    gear = GearFactory(owner=band, maker="Oslin", model="Drifter", serial="OD 7")
    text = as_counter.get(page).content.decode()
    assert f'value="person:{band.pk}"' in text
    assert "same phone and name" in text
    shape = reverse("pad-entry-shape", args=[entry.pk])
    sheet = as_counter.post(shape, as_shown(as_counter, page, do=f"person:{band.pk}"))
    assert f'value="gear:0:{gear.pk}"' in sheet.content.decode()
    typed = dict(sheet.context["sheet"].typed.lists())
    sheet = as_counter.post(shape, {**typed, "do": f"gear:0:{gear.pk}"})
    as_counter.send(page, dict(sheet.context["sheet"].typed.lists()))
    job = Job.objects.get()
    assert (job.person, job.gear) == (band, gear)
    assert band.phones.count() == 1
    assert Person.objects.count() == 1


def test_somebody_chosen_by_mistake_is_new_again_with_what_they_wrote(as_counter, page, entry):
    stranger = PersonFactory()
    shape = reverse("pad-entry-shape", args=[entry.pk])
    chosen = (
        as_counter.post(shape, as_shown(as_counter, page, do=f"person:{stranger.pk}")).context["sheet"].typed
    )
    back = as_counter.post(shape, {**dict(chosen.lists()), "do": "new"}).context["sheet"].typed
    assert (back["who-person"], back["who-name"]) == ("", "The Low Tides")


def test_what_was_signed_about_money_is_not_raised(as_counter, page):
    response = as_counter.send(page, as_shown(as_counter, page, **{"gear-0-diagnosis_fee": "46"}))
    assert response.status_code == 422
    assert "$45.00 was signed" in response.content.decode()
    as_counter.send(
        page, as_shown(as_counter, page, **{"gear-0-diagnosis_fee": "0", "agreed-spend_limit": "9999"})
    )
    job = Job.objects.get()
    assert (job.diagnosis_fee, job.spend_limit) == (0, 150)


def test_an_entry_has_as_many_pieces_as_were_signed_for(as_counter, page, entry):
    more = {"pieces": "3", "gear-1-kind": "head", "gear-1-complaint": "x"}
    as_counter.send(page, as_shown(as_counter, page, **more))
    assert Job.objects.count() == 1
    shape = reverse("pad-entry-shape", args=[entry.pk])
    assert as_counter.post(shape, {"do": "add", "pieces": "1"}).context["sheet"].count == 1


def test_a_mistake_is_said_and_everything_stays(as_counter, page):
    response = as_counter.send(
        page, as_shown(as_counter, page, **{"gear-0-complaint": "", "who-name": "The Low Tide"})
    )
    assert response.status_code == 422
    assert "Write what it does" in response.content.decode()
    assert "The Low Tide" in response.content.decode()
    assert not Job.objects.exists()


def test_it_is_tagged_once_however_many_try(as_counter, as_bench, page):
    data = as_shown(as_counter, page)
    assert as_counter.send(page, data).status_code == 302
    late = as_bench.send(page, data)
    assert late.status_code == 409
    assert "dealt with this one already" in late.content.decode()
    assert Job.objects.count() == 1
    assert as_bench.get(page).url == reverse("dropoff-done", args=[Job.objects.get().visit_id])


def test_gear_that_is_here_already_is_refused(as_counter, page):
    here = JobFactory(state=State.READY)
    known = {"who-person": here.person_id, "gear-0-gear": here.gear_id}
    response = as_counter.send(page, as_shown(as_counter, page, **known))
    assert response.status_code == 422
    assert here.claim in response.content.decode()


def test_it_is_put_away_and_brought_back(as_counter, page, entry):
    data = as_shown(as_counter, page)
    as_counter.send(reverse("pad-entry-put-away", args=[entry.pk]))
    text = as_counter.get(reverse("pad-entries")).content.decode()
    assert "Nobody waits" in text
    assert reverse("pad-entry-bring-back", args=[entry.pk]) in text
    assert as_counter.send(page, data).status_code == 409
    response = as_counter.send(reverse("pad-entry-bring-back", args=[entry.pk]))
    assert response.url == page
    assert as_counter.send(page, data).status_code == 302


def test_what_was_taken_in_is_not_put_away(as_counter, page, entry):
    as_counter.send(page, as_shown(as_counter, page))
    assert as_counter.send(reverse("pad-entry-put-away", args=[entry.pk])).status_code == 409
    entry.refresh_from_db()
    assert entry.status == PadEntry.Status.TAKEN_IN


def test_the_find_box_of_an_entry_answers_with_its_own_shape(as_counter, entry):
    person = PersonFactory(name="Mira Holt")
    find = reverse("pad-entry-find", args=[entry.pk])
    part = as_counter.part(find, {"q": "mira"}).content.decode()
    assert reverse("pad-entry-shape", args=[entry.pk]) in part
    assert f"person:{person.pk}" in part
    assert as_counter.get(as_counter.get(find, {"q": "mira"}).url).status_code == 200


@pytest.mark.parametrize("name", ["pad-entry", "pad-entry-find"])
def test_the_pad_sees_no_entry(as_pad, entry, name):
    assert as_pad.get(reverse(name, args=[entry.pk])).status_code == 403


@pytest.mark.parametrize(
    "name", ["pad-entry", "pad-entry-shape", "pad-entry-put-away", "pad-entry-bring-back"]
)
def test_the_pad_changes_no_entry(as_pad, entry, name):
    assert as_pad.send(reverse(name, args=[entry.pk])).status_code == 403


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    sent=st.dictionaries(
        st.sampled_from(
            [
                "who-name",
                "who-phone_2",
                "gear-0-kind",
                "gear-0-gear",
                "who-person",
                "agreed-wanted_by",
                "gear-0-diagnosis_fee",
                "gear-0-came_with",
                "q",
            ]
        ),
        HOSTILE,
    )
)
def test_whatever_is_sent_is_answered(as_counter, terms, shop, sent):
    entry = dropoff.sign_on_pad(
        answers=copy.deepcopy(UNDATED), drawing="<svg/>", terms=terms, shop=shop, device=""
    )
    page = reverse("pad-entry", args=[entry.pk])
    response = as_counter.send(page, as_shown(as_counter, page, **sent))
    assert response.status_code in (302, 422)
    if response.status_code == 422:
        assert "It flutters." in response.content.decode()
