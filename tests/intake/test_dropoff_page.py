"""The counter's drop-off page: one page, several pieces of gear, and nothing typed is ever lost."""

import pytest
from django.urls import reverse
from django.utils import timezone
from django.utils.html import escape
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from intake.dropoff import MOST_GEAR
from intake.models import Job, Person, Signature, State, Visit
from shop.models import OnceKey
from tests.factories import GearFactory, JobFactory, PersonFactory, PhoneFactory
from tests.intake.test_pad import HOSTILE, STROKES

PAGE = "/drop-off/"
WALK_IN = {
    "pieces": "1",
    "how": "counter",
    "who-name": "Dana Whitlow",
    "who-kind": "person",
    "who-phone_1": "555 010 0233",
    "gear-0-kind": "head",
    "gear-0-maker": "Corvane",
    "gear-0-model": "Meridian 50",
    "gear-0-serial": "CM1",
    "gear-0-complaint": "It hums.",
    "gear-0-came_with": ["Power cord"],
    "gear-0-came_with_more": "a strap",
    "gear-0-happened": ["was_wet"],
    "gear-0-diagnosis_fee": "45.00",
    "agreed-spend_limit": "150",
    "sign-strokes": STROKES,
}
BY_MAIL = {
    **{name: value for name, value in WALK_IN.items() if not name.startswith("sign-")},
    "how": "mail",
    "parcel-carrier": "Harbour Freight",
    "parcel-parcel_number": "HF 1",
    "parcel-parcel_condition": "A dent in one side.",
}


def shape(tablet, do: str, data=None, **more):
    response = tablet.post(reverse("dropoff-shape"), {**WALK_IN, **(data or {}), "do": do}, **more)
    assert response.status_code == 200
    return response


def typed(response) -> dict[str, str]:
    """What stands in the page's sheet."""
    sheet = response.context["sheet"]
    return {name: sheet.typed.get(name) for name in sheet.typed}


# --- taking in


def test_a_walk_in_is_taken_in_from_one_page(as_counter, counter):
    response = as_counter.send(PAGE, WALK_IN)
    job = Job.objects.get()
    assert response.url == reverse("dropoff-done", args=[job.visit_id])
    assert (job.person.name, str(job.gear), job.complaint) == (
        "Dana Whitlow",
        "Corvane Meridian 50",
        "It hums.",
    )
    assert [p.name for p in job.pieces.all()] == ["Power cord", "a strap"]
    assert (job.was_wet, job.was_dropped, job.diagnosis_fee, job.spend_limit) == (True, False, 45, 150)
    assert job.visit.taken_in_by == counter
    assert job.visit.signature.svg.startswith("<svg")
    assert "Go ahead without asking up to $150.00." in job.visit.signature.words


def test_a_name_is_typed_by_who_cannot_sign_on_glass(as_counter):
    as_counter.send(PAGE, {**WALK_IN, "sign-strokes": "", "sign-typed_name": "D. Whitlow"})
    signature = Signature.objects.get()
    assert (signature.name, signature.svg) == ("D. Whitlow", "")


def test_a_parcel_needs_no_signature(as_counter):
    assert as_counter.send(PAGE, BY_MAIL).status_code == 302
    visit = Visit.objects.get()
    assert (visit.how, visit.carrier, visit.signature) == ("mail", "Harbour Freight", None)


def test_two_pieces_are_two_jobs(as_counter):
    two = {**WALK_IN, "pieces": "2", "gear-1-kind": "cabinet", "gear-1-complaint": "Rattles."}
    as_counter.send(PAGE, two)
    assert [job.complaint for job in Job.objects.order_by("pk")] == ["It hums.", "Rattles."]


def test_known_gear_of_a_known_person_is_taken_in_as_a_comeback(as_counter):
    before = JobFactory(state=State.COLLECTED, labour_warranty_until=timezone.localdate())
    known = {"who-person": before.person_id, "gear-0-gear": before.gear_id, "gear-0-comeback": before.claim}
    as_counter.send(PAGE, {**WALK_IN, **known})
    job = Job.objects.first()
    assert (job.gear, job.comeback_of) == (before.gear, before)


def test_a_second_tap_takes_nothing_in_twice(as_counter):
    data = {**WALK_IN, "once": "k" * 24}
    first, second = as_counter.post(PAGE, data), as_counter.post(PAGE, data)
    assert first["Location"] == second["Location"]
    assert Job.objects.count() == 1


# --- what is wrong is said, and nothing is lost


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"who-name": ""}, "Write the name, or find a person"),
        ({"who-phone_1": "none"}, "3 to 20 digits"),
        ({"who-email": "dana@"}, "looks like name@example.com"),
        ({"who-kind": "king"}, "valid choice"),
        ({"who-person": "999"}, "isn&#x27;t here any more"),
        ({"who-person": "9" * 40}, "isn&#x27;t here any more"),
        ({"gear-0-kind": ""}, "Choose what comes closest"),
        ({"gear-0-complaint": ""}, "Write what it does"),
        ({"gear-0-gear": "999"}, "isn&#x27;t here any more"),
        ({"gear-0-diagnosis_fee": "much"}, "not an amount"),
        ({"gear-0-came_with": ["Kitchen sink"]}, "valid choice"),
        ({"agreed-spend_limit": "-5"}, "without a minus"),
        ({"agreed-wanted_by": "2001-01-01"}, "That day is over"),
        ({"sign-strokes": ""}, "Turn the tablet round"),
        ({"sign-strokes": "{}"}, "did not arrive"),
        ({"pieces": "2", "gear-1-kind": "head"}, "Gear 2, Complaint"),
    ],
)
def test_a_mistake_is_said_and_everything_stays(as_counter, changes, said):
    response = as_counter.send(PAGE, {**WALK_IN, **changes})
    page = response.content.decode()
    assert response.status_code == 422
    assert said in page
    kept = {**WALK_IN, **changes}
    for name in (
        "who-name",
        "gear-0-maker",
        "gear-0-model",
        "gear-0-serial",
        "gear-0-complaint",
        "sign-strokes",
    ):
        assert escape(kept[name]) in page
    assert not Visit.objects.exists()
    assert not Person.objects.exists()


def test_every_mistake_is_said_at_once(as_counter):
    page = as_counter.send(PAGE, {}).content.decode()
    for sentence in (
        "Write the name",
        "Choose what comes closest",
        "Write what it does",
        "Turn the tablet round",
    ):
        assert sentence in page


@pytest.mark.parametrize("name", ["parcel-carrier", "parcel-parcel_condition"])
def test_a_parcel_needs_its_carrier_and_condition(as_counter, name):
    assert as_counter.send(PAGE, {**BY_MAIL, name: ""}).status_code == 422


def test_gear_that_is_here_already_is_refused_with_everything_kept(as_counter):
    here = JobFactory(state=State.ON_THE_BENCH)
    known = {"who-person": here.person_id, "gear-0-gear": here.gear_id}
    response = as_counter.send(PAGE, {**WALK_IN, **known})
    assert response.status_code == 422
    assert here.claim in response.content.decode()
    assert "It hums." in response.content.decode()
    assert Job.objects.count() == 1


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    sent=st.dictionaries(
        st.sampled_from([*WALK_IN, *BY_MAIL, "who-person", "gear-0-gear", "agreed-wanted_by", "q"]), HOSTILE
    )
)
def test_whatever_is_sent_is_answered_and_the_complaint_stays(as_counter, sent):
    response = as_counter.send(PAGE, {**WALK_IN, **sent})
    assert response.status_code in (302, 422)
    if response.status_code == 422:
        assert escape(sent.get("gear-0-complaint", WALK_IN["gear-0-complaint"])) in response.content.decode()


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    do=st.one_of(
        HOSTILE, st.from_regex(r"(add|drop|person|gear|unknown|new|mail)(:[0-9]{1,20}){0,3}", fullmatch=True)
    )
)
def test_whatever_shape_is_asked_for_the_complaint_stays(as_counter, do):
    response = as_counter.post(
        reverse("dropoff-shape"), {**WALK_IN, "pieces": "3", "gear-2-complaint": "Last.", "do": do}
    )
    assert response.status_code == 200
    assert "Last." in response.content.decode() or do.startswith("drop:2")


# --- the shape of the page


def test_another_piece_is_added_with_all_that_was_typed(as_counter):
    page = shape(as_counter, "add").content.decode()
    assert 'name="gear-1-complaint"' in page
    assert 'name="pieces" value="2"' in page
    for text in ("Dana Whitlow", "Meridian 50", "It hums.", "a strap", escape(STROKES)):
        assert text in page


def test_the_part_that_htmx_gets_is_the_sheet_alone(as_counter):
    part = shape(as_counter, "add", headers={"HX-Request": "true"}).content.decode()
    assert "<html" not in part
    assert 'name="gear-1-complaint"' in part
    assert "It hums." in part


def test_no_more_pieces_than_a_visit_may_have(as_counter):
    assert typed(shape(as_counter, "add", {"pieces": str(MOST_GEAR)}))["pieces"] == str(MOST_GEAR)
    assert typed(shape(as_counter, "drop:0"))["pieces"] == "1"


def test_taking_a_piece_off_moves_the_others_up(as_counter):
    three = {
        "pieces": "3",
        "gear-1-complaint": "Second.",
        "gear-2-complaint": "Third.",
        "gear-2-came_with": ["Lid", "Cover"],
    }
    sheet = shape(as_counter, "drop:1", three).context["sheet"]
    assert sheet.typed["pieces"] == "2"
    assert sheet.typed["gear-0-complaint"] == "It hums."
    assert sheet.typed["gear-1-complaint"] == "Third."
    assert sheet.typed.getlist("gear-1-came_with") == ["Lid", "Cover"]
    assert "gear-2-complaint" not in sheet.typed


def test_choosing_a_person_shows_their_earlier_gear(as_counter):
    gear = GearFactory(owner=PersonFactory(name="Piet Harrow"), maker="Tindall", model="Cadet 60")
    page = shape(as_counter, f"person:{gear.owner_id}").content.decode()
    assert "Piet Harrow" in page
    assert f'value="gear:0:{gear.pk}"' in page
    assert "It hums." in page


def test_choosing_gear_chooses_its_owner(as_counter):
    gear = GearFactory()
    chosen = typed(
        shape(
            as_counter,
            f"gear:{gear.pk}",
            {"gear-0-kind": "", "gear-0-maker": "", "gear-0-model": "", "gear-0-serial": ""},
        )
    )
    assert (chosen["who-person"], chosen["gear-0-gear"]) == (str(gear.owner_id), str(gear.pk))


def test_gear_that_is_found_while_other_gear_is_described_becomes_another_piece(as_counter):
    gear = GearFactory()
    chosen = typed(shape(as_counter, f"gear:{gear.pk}"))
    assert (chosen["pieces"], chosen["gear-1-gear"], chosen["gear-0-maker"]) == ("2", str(gear.pk), "Corvane")


def test_somebody_elses_gear_is_not_offered_nor_chosen(as_counter):
    gear, person = GearFactory(), PersonFactory()
    chosen = typed(shape(as_counter, f"gear:0:{gear.pk}", {"who-person": person.pk}))
    assert not chosen.get("gear-0-gear")


def test_another_person_lets_go_of_the_first_ones_gear(as_counter):
    gear, other = GearFactory(), PersonFactory()
    known = {"who-person": gear.owner_id, "gear-0-gear": gear.pk}
    assert typed(shape(as_counter, f"person:{other.pk}", known))["gear-0-gear"] == ""
    assert typed(shape(as_counter, "new", known))["gear-0-gear"] == ""


@pytest.mark.parametrize(
    ("text", "box"),
    [("Mira Holt", "who-name"), ("555 010 0777", "who-phone_1"), ("+1 (555) 010-0777", "who-phone_1")],
)
def test_what_found_nobody_is_the_name_or_the_number_of_somebody_new(as_counter, text, box):
    assert typed(shape(as_counter, "new", {"q": text, "who-name": "", "who-phone_1": ""}))[box] == text


def test_a_parcel_and_back_again_keeps_what_was_typed(as_counter):
    page = shape(as_counter, "mail")
    assert "parcel-carrier" in page.content.decode()
    assert "sign-strokes" not in page.content.decode()
    back = shape(as_counter, "counter", {"how": "mail", "parcel-carrier": "HF"}).content.decode()
    assert "sign-strokes" in back
    assert "It hums." in back


def test_changing_the_shape_writes_nothing(as_counter):
    keys = OnceKey.objects.count()
    for do in ("add", "mail", "new", "find"):
        shape(as_counter, do)
    assert not Visit.objects.exists()
    assert OnceKey.objects.count() == keys


def test_a_link_opens_the_page_for_a_person_and_their_gear(as_counter):
    gear = GearFactory(serial="CM77")
    assert gear.owner.name in as_counter.get(PAGE, {"person": gear.owner_id}).content.decode()
    page = as_counter.get(PAGE, {"gear": gear.pk}).content.decode()
    assert gear.owner.name in page
    assert "Serial CM77" in page
    assert as_counter.get(PAGE, {"person": "x" * 99, "gear": "-1", "how": "owl"}).status_code == 200


def test_the_words_above_the_signature_are_those_that_are_kept_with_it(as_counter):
    """What is shown while the page is filled is, once nothing is wrong any more, what is signed."""
    shown = as_counter.post(reverse("dropoff-words"), WALK_IN, headers={"HX-Request": "true"})
    as_counter.send(PAGE, WALK_IN)
    kept = Signature.objects.get().words
    (one,) = shown.context["agreed"]
    assert f"- {one}" in kept
    assert escape(one) in shown.content.decode()


def test_the_words_above_the_signature_speak_of_what_is_described_by_now(as_counter):
    known = GearFactory(serial="CM77")
    two = {
        "pieces": "4",
        "who-person": known.owner_id,
        "gear-0-gear": known.pk,
        "gear-0-diagnosis_fee": "",
        "gear-1-kind": "pedal",
        "gear-2-kind": "echo",
        "gear-2-diagnosis_fee": "nonsense",
    }
    shown = as_counter.post(reverse("dropoff-words"), {**WALK_IN, **two}, headers={"HX-Request": "true"})
    assert shown.context["agreed"] == [
        "Corvane Meridian 50 (amplifier head), serial CM77. No diagnosis fee. "
        "Go ahead without asking up to $150.00.",
        "Pedal. No diagnosis fee. Go ahead without asking up to $150.00.",
    ]


def test_asking_for_the_words_writes_nothing_and_works_as_a_page(as_counter):
    assert "It hums." in as_counter.post(reverse("dropoff-words"), WALK_IN).content.decode()
    assert not Visit.objects.exists()


# --- the find box


def test_the_find_box_answers_with_people_gear_and_somebody_new(as_counter):
    gear = GearFactory(owner=PersonFactory(name="Dana Corvane"))
    PhoneFactory(person=gear.owner, number="555 010 0233")
    part = as_counter.part(reverse("dropoff-find"), {"q": "corvane"}).content.decode()
    assert f'value="person:{gear.owner_id}"' in part
    assert f'value="gear:{gear.pk}"' in part
    assert 'value="new"' in part
    assert "555 010 0233" in part
    assert "<html" not in part


def test_without_htmx_the_find_box_answers_with_the_page(as_counter):
    response = as_counter.get(reverse("dropoff-find"), {"q": "corvane"})
    assert response.url == f"{PAGE}?q=corvane"
    GearFactory()
    assert 'value="gear:' in as_counter.get(response.url).content.decode()


def test_a_slip_in_a_claim_number_is_said_in_the_find_box(as_counter):
    job = JobFactory()
    wrong = job.claim[:-1] + ("Z" if job.claim[-1] != "Z" else "Y")
    assert "does not add up" in as_counter.part(reverse("dropoff-find"), {"q": wrong}).content.decode()


@pytest.mark.parametrize("n", [1, 5])
def test_the_find_box_takes_the_same_queries_however_much_it_finds(
    as_counter, n, django_assert_max_num_queries
):
    for _ in range(n):
        PhoneFactory(person=GearFactory(owner=PersonFactory(name="Corvane Fan")).owner)
    with django_assert_max_num_queries(6):
        as_counter.part(reverse("dropoff-find"), {"q": "corvane"})


@pytest.mark.parametrize("n", [1, 12])
def test_the_page_takes_the_same_queries_however_much_gear_somebody_has(
    as_counter, n, django_assert_max_num_queries
):
    person = PersonFactory()
    for _ in range(n):
        JobFactory(gear=GearFactory(owner=person), state=State.COLLECTED)
    with django_assert_max_num_queries(11):
        as_counter.get(PAGE, {"person": person.pk})


# --- afterwards


@pytest.fixture
def visit(as_counter) -> Visit:
    as_counter.send(PAGE, WALK_IN)
    return Visit.objects.get()


def test_the_result_shows_the_tags_and_prints_them(as_counter, visit):
    page = as_counter.get(reverse("dropoff-done", args=[visit.pk])).content.decode()
    job = visit.jobs.get()
    assert job.get_absolute_url() in page
    assert reverse("ticket-print", args=[visit.pk, "half"]) in page
    assert reverse("visit-tags-print", args=[visit.pk, "roll"]) in page
    assert reverse("job-photos", args=[job.claim]) in page
    assert "Power cord, a strap" in page


def test_wet_gear_comes_with_a_caution(as_counter, visit):
    address = reverse("dropoff-done", args=[visit.pk])
    assert "before anybody switches it on" in as_counter.get(address).content.decode()
    Job.objects.update(was_wet=False)
    assert "before anybody switches it on" not in as_counter.get(address).content.decode()


def test_what_was_signed_is_shown_and_cannot_be_sent_anything(as_bench, visit):
    address = reverse("visit-signed", args=[visit.pk])
    page = as_bench.get(address).content.decode()
    assert "Corvane Meridian 50 (amplifier head), serial CM1. Diagnosis fee $45.00" in page
    assert visit.terms.storage_text in page
    assert "terms, version 1" in page.lower()
    assert "data:image/svg+xml;base64," in page
    for method in (as_bench.post, as_bench.put, as_bench.patch, as_bench.delete):
        assert method(address).status_code == 405


def test_what_came_by_mail_says_so(as_counter):
    as_counter.send(PAGE, BY_MAIL)
    visit = Visit.objects.get()
    page = as_counter.get(reverse("visit-signed", args=[visit.pk])).content.decode()
    assert "Harbour Freight" in page
    assert as_counter.get(reverse("dropoff-done", args=[visit.pk])).status_code == 200


def test_a_visit_that_is_not_there_is_not_found(as_counter):
    assert as_counter.get(reverse("dropoff-done", args=[999])).status_code == 404
    assert as_counter.get(reverse("visit-signed", args=[999])).status_code == 404
