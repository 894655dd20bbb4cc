"""The sign-in pad: a stranger with a tablet. One question a screen, and nothing left behind."""

import datetime as dt
import json
import re
import time

import pytest
from django.urls import reverse
from django.utils import timezone
from django.utils.html import escape
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from intake.forms_pad import MOST_ON_THE_PAD, steps
from intake.models import Job, PadEntry, Person, Signature
from intake.views_pad import ANSWERS, FORGOTTEN_AFTER, TOUCHED
from shop.models import OnceKey, Staff, Terms
from shop.roles import Role
from tests.factories import GearFactory, PersonFactory, PhoneFactory, TermsFactory

STROKES = json.dumps(
    {
        "width": 600,
        "height": 240,
        "strokes": [{"points": [{"x": 40 + 30 * n, "y": 120 + 40 * (n % 2), "time": n} for n in range(12)]}],
    }
)
FILLED = {
    "you": {"name": "Dana Whitlow", "kind": "person"},
    "phones": {"phone_1": "555 010 0233"},
    "email": {"email": "dana@example.com"},
    "gear-1": {"kind": "head", "maker": "Corvane", "model": "Meridian 50", "serial": "CM1"},
    "complaint-1": {"complaint": "It hums and cuts out when warm."},
    "came-with-1": {"came_with": ["Power cord", "Footswitch"], "came_with_more": "a strap, Power cord"},
    "history-1": {"happened": ["was_dropped", "smelled"], "history_note": "Last week."},
    "more-1": {"more": "no"},
    "when": {"wanted_by": ""},
    "cost": {"go_ahead": "limit", "spend_limit": "150"},
    "terms": {"version": "1"},
    "sign": {"strokes": STROKES},
}


def url(step: str) -> str:
    return reverse("pad-step", args=[step])


def fill(tablet, upto: str = "", **changes):
    """Answer every screen before `upto`, or all of them. Return the last answer."""
    response = None
    for step, answers in {**FILLED, **changes}.items():
        if step == upto:
            break
        response = tablet.send(url(step), answers)
        assert response.status_code == 302, (step, response.content.decode())
    return response


# --- the way through


def test_the_pad_begins_with_a_word_of_welcome_and_the_first_question(as_pad):
    page = as_pad.get(reverse("pad")).content.decode()
    assert "Lantern Quay Electronics" in page
    assert url("you") in page


def test_every_screen_asks_one_question_with_its_place_in_the_row(as_pad):
    for at, step in enumerate(FILLED, start=1):
        page = as_pad.get(url(step)).content.decode()
        assert page.count("<h1>") == 1
        assert f"Question {at} of {len(FILLED)}" in page
        as_pad.send(url(step), FILLED[step])


def test_what_was_written_and_signed_waits_for_staff(as_pad):
    assert fill(as_pad).url == reverse("pad-done")
    entry = PadEntry.objects.get()
    assert entry.answers == {
        "name": "Dana Whitlow",
        "kind": "person",
        "group": "",
        "phones": ["555 010 0233"],
        "email": "dana@example.com",
        "address": "",
        "gear": [
            {
                "kind": "head",
                "maker": "Corvane",
                "model": "Meridian 50",
                "serial": "CM1",
                "complaint": "It hums and cuts out when warm.",
                "came_with": ["Power cord", "Footswitch", "a strap"],
                "happened": ["was_dropped", "smelled"],
                "history_note": "Last week.",
            }
        ],
        "wanted_by": None,
        "spend_limit": "150.00",
        "diagnosis_fee": "45.00",
    }
    assert not Person.objects.exists()
    assert not Job.objects.exists()


def test_the_signature_keeps_what_was_read_and_on_what(as_pad):
    fill(as_pad, "sign")
    as_pad.send(url("sign"), FILLED["sign"], HTTP_USER_AGENT="A tablet")
    signature = Signature.objects.get()
    assert signature.svg.startswith("<svg")
    assert "Corvane Meridian 50 (amplifier head), serial CM1. Diagnosis fee $45.00" in signature.words
    assert Terms.current().storage_text in signature.words
    assert (signature.name, signature.words_version, signature.device) == (
        "Dana Whitlow",
        "terms, version 1",
        "A tablet",
    )


def test_what_is_signed_is_on_the_screen(as_pad):
    fill(as_pad, "sign")
    page = as_pad.get(url("sign")).content.decode()
    assert "Corvane Meridian 50 (amplifier head), serial CM1. Diagnosis fee $45.00" in page
    assert "Go ahead without asking up to $150.00." in page
    assert Terms.current().text in page
    assert Terms.current().storage_text in page


def test_several_pieces_of_gear_get_their_questions_each(as_pad):
    second = {
        "gear-2": {"kind": "cabinet"},
        "complaint-2": {"complaint": "One speaker rattles."},
        "came-with-2": {},
        "history-2": {},
        "more-2": {"more": "no"},
    }
    order = {
        step: FILLED[step] for step in ("you", "phones", "email", "gear-1", "complaint-1", "came-with-1")
    }
    order |= {"history-1": {}, "more-1": {"more": "yes"}, **second}
    order |= {step: FILLED[step] for step in ("when", "cost", "terms", "sign")}
    for step, answers in order.items():
        assert as_pad.send(url(step), answers).status_code == 302
    gear = PadEntry.objects.get().answers["gear"]
    assert [(g["kind"], g["complaint"]) for g in gear] == [
        ("head", "It hums and cuts out when warm."),
        ("cabinet", "One speaker rattles."),
    ]
    assert "- Speaker cabinet. Diagnosis fee" in Signature.objects.get().words


def test_only_so_many_pieces_of_gear_are_asked_about():
    answers = {f"more-{n}": {"more": ["yes"]} for n in range(1, 50)}
    path = [step.slug for step in steps(answers, ask_address=False)]
    assert f"gear-{MOST_ON_THE_PAD}" in path
    assert f"gear-{MOST_ON_THE_PAD + 1}" not in path
    assert f"more-{MOST_ON_THE_PAD}" not in path


def test_the_address_is_asked_only_where_the_shop_asks_it(as_pad, shop):
    assert as_pad.get(url("address")).status_code == 404
    shop.ask_address = True
    shop.save()
    for step in ("you", "phones", "email"):
        response = as_pad.send(url(step), FILLED[step])
    assert response.url == url("address")


def test_a_band_gives_its_own_name_beside_that_of_who_signs(as_pad):
    fill(as_pad, you={"name": "Dana Whitlow", "kind": "band", "group": "The Low Tides"})
    assert PadEntry.objects.get().answers["group"] == "The Low Tides"
    assert Signature.objects.get().name == "Dana Whitlow"


# --- back, and mending


def test_back_shows_what_was_written(as_pad):
    fill(as_pad, "came-with-1")
    page = as_pad.get(url("gear-1")).content.decode()
    assert 'value="Meridian 50"' in page
    assert re.search(r'value="head"[^>]*checked', page)
    assert f'href="{url("email")}"' in page


def test_no_question_can_be_jumped(as_pad):
    assert as_pad.get(url("sign")).url == url("you")
    fill(as_pad, "email")
    assert as_pad.get(url("terms")).url == url("email")
    assert as_pad.send(url("sign"), FILLED["sign"]).url == url("email")
    assert not PadEntry.objects.exists()


def test_an_answer_that_makes_a_later_one_wrong_brings_it_up_again(as_pad):
    fill(as_pad, "when", email={"email": ""})
    as_pad.send(url("phones"), {"phone_1": ""})
    assert as_pad.get(url("when")).url == url("email")
    assert "we need an e-mail" in as_pad.get(url("email")).content.decode()


@pytest.mark.parametrize(
    ("step", "answers", "said"),
    [
        ("you", {"name": " ", "kind": "person"}, "Write your name."),
        ("you", {"name": "Dana", "kind": "band", "group": ""}, "Write its name, or choose"),
        ("you", {"name": "Dana", "kind": "king"}, "valid choice"),
        ("phones", {"phone_1": "ask my wife"}, "3 to 20 digits"),
        ("email", {"email": "dana@"}, "looks like name@example.com"),
        ("gear-1", {"maker": "Corvane"}, "Choose what comes closest"),
        ("complaint-1", {"complaint": "  "}, "Write what it does"),
        ("came-with-1", {"came_with_more": "x" * 81}, "Put commas"),
        ("history-1", {"happened": ["exploded"]}, "valid choice"),
        ("more-1", {}, "Choose one"),
        ("when", {"wanted_by": "2020-01-01"}, "That day is over"),
        ("when", {"wanted_by": "tomorrow"}, "year-month-day"),
        ("when", {"wanted_by": "2999-01-01"}, "two years"),
        ("cost", {}, "Choose one"),
        ("cost", {"go_ahead": "limit"}, "Write the sum"),
        ("cost", {"go_ahead": "limit", "spend_limit": "a lot"}, "not an amount"),
        ("cost", {"go_ahead": "limit", "spend_limit": "99999999"}, "too much"),
        ("terms", {"version": "7"}, "has just changed its terms"),
        ("terms", {}, "required"),
        ("sign", {"strokes": ""}, "Sign in the box"),
        ("sign", {"strokes": "[]"}, "did not arrive"),
        ("sign", {"strokes": '{"width": 600, "height": 240, "strokes": []}'}, "Sign in the box"),
        ("sign", {"strokes": '{"width": "x"}'}, "did not arrive"),
        ("sign", {"strokes": '{"width": 1e999, "height": 1, "strokes": []}'}, "did not arrive"),
    ],
)
def test_a_wrong_answer_is_said_with_how_to_mend_it(as_pad, step, answers, said):
    fill(as_pad, step)
    response = as_pad.send(url(step), answers)
    assert response.status_code == 422
    assert said in response.content.decode()
    assert not PadEntry.objects.exists()


def test_strokes_come_back_onto_the_glass_when_something_was_wrong(as_pad):
    fill(as_pad, "sign")
    short = STROKES.replace("600", "2")
    page = as_pad.send(url("sign"), {"strokes": short}).content.decode()
    assert json.dumps(short)[1:-1].replace('\\"', "&quot;") in page


def test_a_drawing_from_the_browser_is_never_kept(as_pad):
    fill(as_pad, "sign")
    as_pad.send(url("sign"), {**FILLED["sign"], "svg": "<svg onload='alert(1)'>"})
    assert "alert" not in Signature.objects.get().svg


def test_asking_first_forgets_a_sum_that_was_written(as_pad):
    fill(as_pad, cost={"go_ahead": "ask", "spend_limit": "abc"})
    assert PadEntry.objects.get().answers["spend_limit"] is None


def test_terms_that_changed_meanwhile_are_read_again(as_pad):
    fill(as_pad, "sign")
    TermsFactory(version=2, text="Other terms.")
    assert as_pad.send(url("sign"), FILLED["sign"]).url == url("terms")
    assert "Other terms." in as_pad.get(url("terms")).content.decode()


# --- it forgets


def test_start_again_wipes_it(as_pad):
    fill(as_pad, "cost")
    assert as_pad.post(reverse("pad-again")).url == reverse("pad")
    assert ANSWERS not in as_pad.session
    assert "Dana" not in as_pad.get(url("you")).content.decode()


def test_signing_wipes_it(as_pad):
    fill(as_pad)
    assert ANSWERS not in as_pad.session
    assert as_pad.get(url("sign")).url == url("you")
    assert "Dana" not in as_pad.get(reverse("pad-done")).content.decode()


def test_somebody_who_comes_back_in_the_middle_finds_their_question_not_the_welcome(as_pad):
    fill(as_pad, "gear-1")
    assert as_pad.get(reverse("pad")).url == url("gear-1")


def test_a_tablet_that_was_shut_off_has_forgotten_when_it_wakes(as_pad):
    fill(as_pad, "cost")
    session = as_pad.session
    session[TOUCHED] -= FORGOTTEN_AFTER + 1
    session.save()
    assert as_pad.get(url("cost")).url == url("you")
    assert ANSWERS not in as_pad.session


def test_every_question_forgets_after_ninety_seconds_of_silence(as_pad):
    for step in FILLED:
        page = as_pad.get(url(step)).content.decode()
        assert f'action="{reverse("pad-again")}" data-idle-seconds="90"' in page
        as_pad.send(url(step), FILLED[step])


def test_what_was_answered_is_not_kept_beside_the_one_time_keys(as_pad):
    fill(as_pad)
    assert not any("Dana" in row.body for row in OnceKey.objects.all())


def test_a_second_tap_on_signing_makes_no_second_entry(as_pad):
    fill(as_pad, "sign")
    data = {**FILLED["sign"], "once": "k" * 24}
    first, second = as_pad.post(url("sign"), data), as_pad.post(url("sign"), data)
    assert first["Location"] == second["Location"] == reverse("pad-done")
    assert PadEntry.objects.count() == 1


# --- it shows nothing of others, and goes nowhere else


def test_nothing_of_the_shops_people_is_shown(as_pad, owner, counter):
    person = PersonFactory(name="Piet Harrow", email="piet@example.com")
    PhoneFactory(person=person, number="555 010 0999")
    GearFactory(owner=person, serial="SECRET9")
    pages = [as_pad.get(reverse("pad")), as_pad.get(reverse("pad-leave")), as_pad.get(reverse("pad-done"))]
    for step, answers in FILLED.items():
        pages.append(as_pad.get(url(step)))
        as_pad.send(url(step), answers)
    for page in pages:
        text = page.content.decode()
        assert not any(
            secret in text for secret in ("Piet", "piet@", "0999", "SECRET9", owner.name, counter.name)
        )


@pytest.mark.parametrize("role", [Role.OWNER, Role.BENCH, Role.COUNTER])
@pytest.mark.parametrize("name", ["pad", "pad-done", "pad-leave"])
def test_staff_dont_fill_the_pad(role, name, as_owner, as_bench, as_counter):
    tablet = {Role.OWNER: as_owner, Role.BENCH: as_bench, Role.COUNTER: as_counter}[role]
    assert tablet.get(reverse(name)).status_code == 403


@pytest.mark.parametrize("name", ["dropoff", "pad-entries", "home", "jobs", "people", "dropoff-find"])
def test_the_pad_reaches_nothing_else(as_pad, name):
    assert as_pad.get(reverse(name)).status_code == 403


# --- handing over and taking back


@pytest.fixture
def lent(tablet_of, counter):
    """A tablet that Ida signed in on with her password and handed over."""
    counter.set_password("a long password")
    counter.set_pin("4711")
    counter.save()
    tablet = tablet_of(counter)
    tablet.logout()
    tablet.post(reverse("enter"), {"sign_in": "ida", "password": "a long password"})
    assert tablet.send(reverse("pad-open")).url == reverse("pad")
    return tablet


def test_handing_over_makes_the_tablet_the_pad(lent):
    assert lent.get(reverse("pad")).status_code == 200
    assert lent.get(reverse("dropoff")).status_code == 403


def test_the_pin_of_whoever_opened_it_takes_it_back(lent):
    fill(lent, "cost")
    response = lent.post(reverse("pad-leave"), {"pin": "4711"})
    assert response.url == reverse("pad-entries")
    assert lent.get(reverse("dropoff")).status_code == 200
    assert ANSWERS not in lent.session


def test_another_pin_does_not_take_it_back_and_no_name_is_said(lent, counter):
    response = lent.post(reverse("pad-leave"), {"pin": "0000"})
    assert response.status_code == 422
    assert "the PIN of whoever handed this tablet over" in response.content.decode()
    assert counter.name not in response.content.decode()
    assert lent.get(reverse("dropoff")).status_code == 403


def test_somebody_else_takes_it_back_with_their_sign_in_word(lent, bench):
    bench.set_pin("8642")
    bench.save()
    assert lent.post(reverse("pad-leave"), {"pin": "8642"}).status_code == 422
    assert lent.post(reverse("pad-leave"), {"pin": "8642", "sign_in": "Tomas"}).url == reverse("pad-entries")


@pytest.mark.parametrize("data", [{}, {"pin": ""}, {"pin": "x" * 500}, {"pin": "4711", "sign_in": "nobody"}])
def test_a_broken_pin_is_said(lent, data):
    assert lent.post(reverse("pad-leave"), data).status_code == 422


def test_only_staff_open_the_pad(as_pad):
    assert as_pad.send(reverse("pad-open")).status_code == 403
    assert Staff.objects.filter(role=Role.PAD).count() == 1


# --- whatever is sent

ANYTHING = st.text(alphabet=st.characters(exclude_categories=["Cs"]), max_size=60)
HOSTILE = st.one_of(
    ANYTHING,
    st.sampled_from(
        ["\x00", "<script>", "'; DROP TABLE", "9" * 400, "x" * 5000, "\u202e", "-1", "NaN", "1e9"]
    ),
)


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(step=st.sampled_from(list(FILLED)), sent=st.data())
def test_whatever_is_sent_is_answered_and_comes_back_as_it_was_typed(as_pad, step, sent):
    session = as_pad.session
    session[TOUCHED] = time.time()
    session[ANSWERS] = {
        each: {name: value if isinstance(value, list) else [value] for name, value in answers.items()}
        for each, answers in FILLED.items()
        if list(FILLED).index(each) < list(FILLED).index(step)
    }
    session.save()
    names = {"you": ("name", "kind", "group"), "gear-1": ("kind", "maker", "model", "serial")}
    data = {name: sent.draw(HOSTILE) for name in names.get(step, FILLED[step])}
    response = as_pad.send(url(step), data)
    assert response.status_code in (302, 422)
    if response.status_code == 302:
        assert as_pad.get(response.url).status_code in (200, 302)
        return
    page = response.content.decode()
    choices = {"kind", "go_ahead", "more", "happened", "came_with", "version"}
    assert all(escape(value) in page for name, value in data.items() if name not in choices)


def test_a_day_from_today_on_is_taken(as_pad):
    today = timezone.localdate().isoformat()
    fill(as_pad, when={"wanted_by": today})
    assert dt.date.fromisoformat(PadEntry.objects.get().answers["wanted_by"]) == timezone.localdate()
