"""People: looking them up, writing them down, correcting them, and two tablets at it at once."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from intake import register
from intake.forms_people import PersonForm
from intake.models import Person, Phone
from shop import timeline
from shop.errors import ChangedMeanwhile
from tests.factories import GearFactory, JobFactory, PersonFactory, PhoneFactory

pytestmark = pytest.mark.django_db


def typed(name: str = "Dana Whitlow", numbers: tuple[str, ...] = ("555 0142",), **more) -> dict:
    """The form as a browser sends it."""
    rows = {f"phones-{n}-number": number for n, number in enumerate(numbers)}
    return {
        "name": name,
        "kind": "person",
        "email": "",
        "address": "",
        "note": "",
        "revision": "0",
        "phones-TOTAL_FORMS": str(max(len(numbers), 1)),
        "phones-INITIAL_FORMS": "0",
        **rows,
        **more,
    }


# --- the list


def test_the_list_finds_by_name_and_phone(as_counter, shop):
    PhoneFactory(person=PersonFactory(name="Dana Whitlow"), number="555 0142")
    PersonFactory(name="Otis Farrow")
    for text in ("whit", "0142"):
        page = as_counter.get("/people/", {"q": text}).content.decode()
        assert "Dana Whitlow" in page
        assert "Otis Farrow" not in page


def test_the_list_says_how_many_jobs_somebody_has(as_counter, shop):
    gear = GearFactory(owner=PersonFactory(name="Dana Whitlow"))
    for state in ("ready", "collected", "collected"):
        JobFactory(gear=gear, state=state)
    page = as_counter.get("/people/").content.decode()
    assert "Dana Whitlow" in page
    assert "1 here" in page
    assert "3 jobs" in page


def test_the_list_comes_in_pages(as_counter, shop):
    for n in range(41):
        PersonFactory(name=f"Person {n:02d}")
    first, second = (as_counter.get("/people/", {"page": n}).content.decode() for n in (1, 2))
    assert "Person 39" in first and "Person 40" not in first
    assert "Person 40" in second


@pytest.mark.parametrize("page", ["0", "-1", "999", "x", "", "1e9"])
def test_a_page_that_isn_t_there_is_still_a_page(as_counter, shop, page):
    assert as_counter.get("/people/", {"page": page}).status_code == 200


def test_the_list_says_when_it_is_empty(as_counter, shop):
    assert "Nobody is written down yet" in as_counter.get("/people/").content.decode()
    assert "Nobody here fits that" in as_counter.get("/people/", {"q": "zz"}).content.decode()


def test_the_list_takes_a_constant_number_of_queries(as_counter, shop):
    counts = []
    for more in (3, 27):
        for _ in range(more):
            person = PersonFactory()
            PhoneFactory.create_batch(2, person=person)
            JobFactory(gear=GearFactory(owner=person))
        with CaptureQueriesContext(connection) as caught:
            as_counter.get("/people/")
        counts.append(len(caught))
    assert counts[0] == counts[1]


# --- one person


def test_a_person_s_page_has_a_link_that_calls(as_counter, shop):
    person = PersonFactory(name="Dana Whitlow", email="dana@example.org")
    PhoneFactory(person=person, number="+1 (555) 0142", label="home")
    page = as_counter.get(f"/people/{person.pk}/").content.decode()
    assert 'href="tel:+15550142"' in page
    assert 'href="mailto:dana@example.org"' in page


def test_a_person_s_page_parts_what_is_here_from_what_went_home(as_counter, shop):
    gear = GearFactory()
    here, gone = JobFactory(gear=gear, state="in-line"), JobFactory(gear=gear, state="collected")
    page = as_counter.get(f"/people/{gear.owner_id}/").content.decode()
    assert page.index(f"/job/{here.claim}/") < page.index("Earlier jobs") < page.index(f"/job/{gone.claim}/")


def test_a_person_s_page_takes_a_constant_number_of_queries(as_counter, shop):
    person = PersonFactory()
    counts = []
    for more in (2, 12):
        for n in range(more):
            JobFactory(gear=GearFactory(owner=person), state=("ready", "collected")[n % 2])
        with CaptureQueriesContext(connection) as caught:
            as_counter.get(f"/people/{person.pk}/")
        counts.append(len(caught))
    assert counts[0] == counts[1]


@pytest.mark.parametrize(
    "path", ["/people/99999/", "/people/99999/edit/", "/people/99999999999999999999999/"]
)
def test_nobody_is_404(as_counter, shop, path):
    assert as_counter.get(path).status_code == 404


@pytest.mark.parametrize("path", ["/people/", "/people/1/", "/people/new/", "/people/1/edit/"])
def test_the_pad_sees_nobody(as_pad, path):
    PersonFactory(pk=1, name="Dana Whitlow")
    response = as_pad.get(path)
    assert response.status_code == 403
    assert "Whitlow" not in response.content.decode()


# --- writing down


def test_somebody_is_written_down_with_phones_in_order(as_counter, counter):
    data = typed(numbers=("555 0142", "", "555 0143"), **{"phones-2-label": "after six"})
    response = as_counter.send("/people/new/", data)
    person = Person.objects.get()
    assert response["Location"] == f"/people/{person.pk}/"
    assert [(p.number, p.label) for p in person.phones.all()] == [("555 0142", ""), ("555 0143", "after six")]
    entry = timeline.of(person).get()
    assert (entry.by, entry.words) == (counter, "wrote them down")


def test_a_second_tap_writes_down_nobody_else(as_counter):
    data = typed(once="a-key-that-is-long-enough")
    first, second = as_counter.send("/people/new/", data), as_counter.send("/people/new/", data)
    assert first["Location"] == second["Location"]
    assert Person.objects.count() == 1


@pytest.mark.parametrize(
    "wrong, said",
    [
        ({"name": ""}, "Write the name"),
        ({"name": "x" * 121}, "at most 120"),
        ({"email": "dana@"}, "valid email"),
        ({"kind": "robot"}, "valid choice"),
        ({"phones-0-number": "ask Dana"}, "A phone number has digits"),
        ({"phones-0-number": "", "phones-0-label": "home"}, "Write the number that goes with"),
        ({"name": "a\x00b"}, "Null characters"),
    ],
)
def test_a_slip_is_said_and_nothing_typed_is_lost(as_counter, wrong, said):
    response = as_counter.send("/people/new/", typed(note="Rings twice", **wrong))
    page = response.content.decode()
    assert response.status_code == 422
    assert said in page
    assert "Rings twice" in page
    assert not Person.objects.exists()


def test_one_more_phone_keeps_what_was_typed_and_keeps_nothing(as_counter):
    response = as_counter.send("/people/new/", typed(more="1"))
    page = response.content.decode()
    assert response.status_code == 200
    assert 'value="555 0142"' in page
    assert 'name="phones-1-number"' in page
    assert "Not kept yet" not in page
    assert not Person.objects.exists()


@pytest.mark.parametrize("total", ["", "x", "-1", "99999999999", "1e3"])
def test_a_broken_count_of_phones_is_no_crash(as_counter, total):
    for more in ({}, {"more": "1"}):
        response = as_counter.send("/people/new/", typed(**{"phones-TOTAL_FORMS": total}, **more))
        assert response.status_code in (200, 302, 422)


def test_too_many_phones_are_said(as_counter):
    response = as_counter.send("/people/new/", typed(numbers=tuple(f"555 {n:04d}" for n in range(9))))
    assert response.status_code == 422
    assert "at most 8" in response.content.decode()


@settings(max_examples=50, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.dictionaries(
        st.sampled_from(
            ["name", "kind", "email", "address", "note", "revision", "phones-0-number", "phones-0-label"]
        ),
        st.text(max_size=600),
    )
)
def test_nothing_that_is_typed_breaks_it(as_counter, hostile):
    assert as_counter.send("/people/new/", typed(**hostile)).status_code in (302, 422)


# --- correcting


@pytest.fixture
def dana(shop):
    person = PersonFactory(name="Dana Whitlow")
    PhoneFactory(person=person, number="555 0142")
    return person


def test_a_correction_is_kept_with_what_it_was(as_counter, dana):
    as_counter.send(f"/people/{dana.pk}/edit/", typed("Dana Whitlaw", ("555 0199",), revision=1))
    dana.refresh_from_db()
    assert (dana.name, dana.revision, dana.folded) == ("Dana Whitlaw", 2, "dana whitlaw")
    assert list(timeline.of(dana)[0].changes) == [
        {"what": "name", "before": "Dana Whitlow", "after": "Dana Whitlaw"},
        {"what": "phones", "before": "555 0142", "after": "555 0199"},
    ]


def test_clearing_a_number_takes_it_away(as_counter, dana):
    as_counter.send(f"/people/{dana.pk}/edit/", typed(numbers=("",), revision=1))
    assert not Phone.objects.exists()


def test_keeping_it_as_it_was_writes_nothing(as_counter, dana):
    as_counter.send(f"/people/{dana.pk}/edit/", typed(revision=1))
    assert not timeline.of(dana).exists()


def test_the_second_tablet_sees_both_versions(as_counter, as_bench, dana):
    as_bench.send(f"/people/{dana.pk}/edit/", typed("Dana Whitlaw", revision=1))
    response = as_counter.send(
        f"/people/{dana.pk}/edit/", typed("Dana Whitelow", note="left-handed", revision=1)
    )
    page = response.content.decode()
    assert response.status_code == 409
    assert "Dana Whitlaw" in page and "Dana Whitelow" in page
    dana.refresh_from_db()
    assert dana.name == "Dana Whitlaw"


def _sent_again(response, keep: str) -> dict:
    """What the choice of a 409 page sends."""
    hidden = dict(response.context["hidden"])
    return {**hidden, "keep": keep}


def test_choosing_mine_puts_it_in_its_place(as_counter, as_bench, dana):
    as_bench.send(f"/people/{dana.pk}/edit/", typed("Dana Whitlaw", revision=1))
    path = f"/people/{dana.pk}/edit/"
    response = as_counter.send(path, typed("Dana Whitelow", note="left-handed", revision=1))
    assert as_counter.send(path, _sent_again(response, "mine")).status_code == 302
    dana.refresh_from_db()
    assert (dana.name, dana.note, dana.phones.get().number) == ("Dana Whitelow", "left-handed", "555 0142")


def test_choosing_theirs_keeps_theirs(as_counter, as_bench, dana):
    as_bench.send(f"/people/{dana.pk}/edit/", typed("Dana Whitlaw", revision=1))
    path = f"/people/{dana.pk}/edit/"
    response = as_counter.send(path, typed("Dana Whitelow", revision=1))
    assert as_counter.send(path, _sent_again(response, "theirs"))["Location"] == f"/people/{dana.pk}/"
    dana.refresh_from_db()
    assert dana.name == "Dana Whitlaw"


def test_a_third_tablet_meanwhile_asks_again(as_counter, as_bench, dana):
    path = f"/people/{dana.pk}/edit/"
    as_bench.send(path, typed("Dana Whitlaw", revision=1))
    response = as_counter.send(path, typed("Dana Whitelow", revision=1))
    as_bench.send(path, typed("Dana W.", revision=2))
    assert as_counter.send(path, _sent_again(response, "mine")).status_code == 409


def test_the_verb_says_what_both_wanted(dana, counter):
    facts = {"name": "D. W.", "kind": "person", "email": "", "address": "", "note": ""}
    with pytest.raises(ChangedMeanwhile) as caught:
        register.change_person(dana, facts=facts, phones=[], by=counter, revision=7)
    assert (caught.value.theirs["name"], caught.value.yours["name"]) == ("Dana Whitlow", "D. W.")
    assert caught.value.revision == 1


def test_a_form_without_its_key_is_refused(as_counter, dana):
    assert as_counter.post(f"/people/{dana.pk}/edit/", typed(revision=1)).status_code == 400


# --- two tablets, field by field


def opened(person: Person) -> dict[str, str]:
    """What the form of a person holds when it is opened."""
    fresh = Person.objects.get(pk=person.pk)
    form = PersonForm.opened_on(fresh, fresh.revision, "USD")
    return {
        **PersonForm.texts_of(fresh, "USD"),
        **{name: form.initial[name] for name in ("revision", "opened_with")},
    }


def correct(tablet, person: Person, form: dict[str, str], **change: str):
    return tablet.send(f"/people/{person.pk}/edit/", form | change)


def test_what_only_one_of_two_tablets_changed_is_kept_of_both(as_counter, as_bench, dana):
    form = opened(dana)
    correct(as_bench, dana, form, note="left-handed")
    assert correct(as_counter, dana, form, phones="555 0199\tat work").status_code == 302
    dana.refresh_from_db()
    assert (dana.note, dana.phones.get().number, dana.phones.get().label) == (
        "left-handed",
        "555 0199",
        "at work",
    )


@pytest.mark.parametrize(("keep", "number"), [("mine", "555 0177"), ("theirs", "555 0188")])
def test_phones_that_both_changed_are_chosen_as_one_and_the_rest_is_kept(
    as_counter, as_bench, dana, keep, number
):
    form = opened(dana)
    correct(as_bench, dana, form, phones="555 0188", email="dana@example.com")
    answer = correct(as_counter, dana, form, phones="555 0177\tat home", note="left-handed")
    page = answer.content.decode()
    assert answer.status_code == 409
    assert "555 0177 (at home)" in page and "555 0188" in page and "Tomas Lindqvist changed this" in page
    assert as_counter.post(f"/people/{dana.pk}/edit/", _sent_again(answer, keep)).status_code == 302
    dana.refresh_from_db()
    assert (dana.phones.get().number, dana.email, dana.note) == (number, "dana@example.com", "left-handed")


def test_phones_that_i_cleared_can_be_chosen(as_counter, as_bench, dana):
    form = opened(dana)
    correct(as_bench, dana, form, phones="555 0188")
    answer = correct(as_counter, dana, form, phones="")
    assert as_counter.post(f"/people/{dana.pk}/edit/", _sent_again(answer, "mine")).status_code == 302
    assert not Phone.objects.exists()


def test_phones_that_somebody_cleared_meanwhile_stay_cleared(as_counter, as_bench, dana):
    form = opened(dana)
    correct(as_bench, dana, form, phones="")
    assert correct(as_counter, dana, form, note="left-handed").status_code == 302
    assert not Phone.objects.exists()


@pytest.mark.parametrize("phones", ["\t", "\n\n", "1\t2\t3", "x" * 9000, "\n".join("123456789012345")])
def test_phones_as_text_are_read_as_carefully_as_rows(as_counter, dana, phones):
    assert correct(as_counter, dana, opened(dana), phones=phones).status_code in (302, 422)
