"""Taking over a shared tablet with a PIN, and the password that is asked for again."""

import datetime as dt

import pytest
from django.utils import timezone
from freezegun import freeze_time

from shop.models import Entry, Staff
from shop.roles import Role
from tests.conftest import Tablet
from tests.shop.conftest import PASSWORD, PIN, come_in, give_keys


@pytest.fixture
def tablet(enters, owner: Staff, bench: Staff) -> Tablet:
    """The shared tablet: the owner signed in with the password, the bench has a PIN."""
    give_keys(bench, PIN)
    return enters(owner)


def take_over(tablet: Tablet, who: Staff, pin: str = PIN):
    return tablet.post("/change-person/", {"who": who.pk, "pin": pin})


def here(tablet: Tablet) -> int:
    return int(tablet.session["_auth_user_id"])


def test_the_page_shows_who_has_a_pin(tablet: Tablet, counter: Staff) -> None:
    page = tablet.get("/change-person/")
    assert page.context["people"].get().name == "Tomas Lindqvist"
    assert "Ida Marsh" not in page.content.decode()


def test_a_chosen_person_gets_the_keypad(tablet: Tablet, bench: Staff) -> None:
    assert "data-keypad" in tablet.get("/change-person/", {"who": bench.pk}).content.decode()


def test_the_right_pin_takes_over_with_a_new_session(tablet: Tablet, bench: Staff) -> None:
    before = tablet.session.session_key
    assert take_over(tablet, bench).status_code == 302
    assert here(tablet) == bench.pk
    assert tablet.session.session_key != before


def test_nothing_of_the_last_persons_session_stays_but_the_mark(tablet: Tablet, bench: Staff) -> None:
    session = tablet.session
    session["draft"] = "what the owner was typing"
    session.save()
    take_over(tablet, bench)
    kept = {key for key in dict(tablet.session) if not key.startswith("_")}
    assert kept == {"full_sign_in"}


def test_the_mark_lets_a_third_person_take_over(tablet: Tablet, bench: Staff, counter: Staff) -> None:
    give_keys(counter, "8302")
    take_over(tablet, bench)
    take_over(tablet, counter, "8302")
    assert here(tablet) == counter.pk


def test_a_device_without_a_full_sign_in_takes_no_pin(as_owner: Tablet, bench: Staff) -> None:
    give_keys(bench, PIN)
    answer = take_over(as_owner, bench)
    assert answer.status_code == 422
    assert here(as_owner) != bench.pk
    assert "someone signed in with a password" in answer.content.decode()


def test_the_mark_ends_twelve_hours_after_the_full_sign_in(tablet: Tablet, bench: Staff) -> None:
    start = timezone.now()
    with freeze_time(start + dt.timedelta(hours=11, minutes=59)):
        assert take_over(tablet, bench).status_code == 302
    with freeze_time(start + dt.timedelta(hours=12, minutes=1)):
        assert take_over(tablet, bench).status_code == 422


def test_the_mark_does_not_survive_leaving(tablet: Tablet, bench: Staff) -> None:
    tablet.post("/leave/")
    tablet.force_login(bench)
    assert take_over(tablet, bench).status_code == 422


def test_the_mark_ends_when_whose_it_is_gets_another_password(
    tablet: Tablet, owner: Staff, bench: Staff
) -> None:
    take_over(tablet, bench)
    owner.set_password("quite another harbour lamp")
    owner.save()
    assert take_over(tablet, bench).status_code == 422


def test_the_mark_ends_when_whose_it_is_may_no_longer_sign_in(
    tablet: Tablet, owner: Staff, bench: Staff
) -> None:
    take_over(tablet, bench)
    Staff.objects.filter(pk=owner.pk).update(is_active=False)
    assert take_over(tablet, bench).status_code == 422


@pytest.mark.parametrize("pin", ["0000", "407", "40711", "", "４０７１", "4071 0"])
def test_a_wrong_pin_does_not_take_over(tablet: Tablet, bench: Staff, pin: str) -> None:
    assert take_over(tablet, bench, pin).status_code == 422
    assert here(tablet) != bench.pk


def test_five_wrong_pins_lock_that_person_on_that_device(tablet: Tablet, bench: Staff) -> None:
    for _ in range(5):
        answer = take_over(tablet, bench, "9999")
    assert "Too many wrong tries" in answer.content.decode()
    assert take_over(tablet, bench).status_code == 422
    assert here(tablet) != bench.pk


def test_pins_and_passwords_count_together(tablet: Tablet, bench: Staff) -> None:
    for _ in range(3):
        take_over(tablet, bench, "9999")
    for _ in range(2):
        Tablet().post("/enter/", {"sign_in": "tomas", "password": "wrong"})
    assert Tablet().post("/enter/", {"sign_in": "tomas", "password": PASSWORD}).status_code == 429


def test_the_right_pin_wipes_the_count(tablet: Tablet, bench: Staff) -> None:
    for _ in range(4):
        take_over(tablet, bench, "9999")
    take_over(tablet, bench)
    assert "4 tries are left" in take_over(tablet, bench, "9999").content.decode()


def test_a_pin_is_no_password_at_the_front_door(bench: Staff) -> None:
    give_keys(bench, PIN)
    assert Tablet().post("/enter/", {"sign_in": "tomas", "password": PIN}).status_code == 422


def test_an_empty_pin_never_opens_where_none_is_set(tablet: Tablet, counter: Staff) -> None:
    assert take_over(tablet, counter, "").status_code == 422


def test_the_pad_cannot_change_person_by_this_page(as_pad: Tablet, bench: Staff) -> None:
    assert take_over(as_pad, bench).status_code == 403


# --- the owner's things need a password typed lately


def test_an_owner_reached_by_pin_is_asked_for_the_password(
    tablet: Tablet, owner: Staff, bench: Staff
) -> None:
    give_keys(owner, "8302")
    come_in(owner, tablet)
    take_over(tablet, bench)
    take_over(tablet, owner, "8302")
    answer = tablet.get("/shop/")
    assert answer.status_code == 302
    assert answer["Location"] == "/enter/again/?next=%2Fshop%2F"


def test_the_password_typed_again_goes_on_to_the_page(tablet: Tablet) -> None:
    answer = tablet.post("/enter/again/?next=%2Fshop%2F", {"password_again": PASSWORD})
    assert answer["Location"] == "/shop/"


def test_half_an_hour_after_the_password_it_is_asked_for_again(tablet: Tablet) -> None:
    start = timezone.now()
    with freeze_time(start + dt.timedelta(minutes=29)):
        assert tablet.get("/shop/staff/").status_code == 200
    with freeze_time(start + dt.timedelta(minutes=31)):
        assert tablet.get("/shop/staff/").status_code == 302


def test_a_clock_set_back_makes_nothing_hold_longer(tablet: Tablet, bench: Staff) -> None:
    with freeze_time(timezone.now() - dt.timedelta(days=1)):
        assert tablet.get("/shop/staff/").status_code == 302
        assert take_over(tablet, bench).status_code == 422


def test_a_part_asked_for_too_late_moves_the_whole_page(as_owner: Tablet) -> None:
    assert as_owner.part("/shop/staff/")["HX-Redirect"] == "/enter/again/?next=%2Fshop%2Fstaff%2F"


def test_a_form_sent_too_late_is_kept_over_the_question(as_owner: Tablet, owner: Staff) -> None:
    give_keys(owner)
    as_owner.force_login(owner)
    typed = {
        "name": "Ada\r\nFenn <b>",
        "sign_in": "ada",
        "role": Role.BENCH,
        "new_password": "a long password for ada",
        "new_password_again": "a long password for ada",
        "new_pin": "",
    }
    asked = as_owner.send("/shop/staff/new/", typed)
    assert asked.status_code == 403
    hidden = dict(asked.context["hidden"])
    assert {name: hidden[name] for name in typed} == typed
    assert not Staff.objects.filter(sign_in="ada").exists()

    wrong = as_owner.post("/shop/staff/new/", {**hidden, "password_again": "wrong"})
    assert wrong.status_code == 403
    assert dict(wrong.context["hidden"]) == hidden

    answer = as_owner.post("/shop/staff/new/", {**hidden, "password_again": PASSWORD})
    assert answer.status_code == 302
    assert Staff.objects.filter(sign_in="ada").exists()


def test_wrong_passwords_over_a_form_lock_too(as_owner: Tablet, owner: Staff) -> None:
    give_keys(owner)
    as_owner.force_login(owner)
    for _ in range(5):
        as_owner.send("/shop/staff/new/", {"password_again": "wrong"})
    answer = as_owner.send("/shop/staff/new/", {"password_again": PASSWORD})
    assert answer.status_code == 403
    assert "Too many wrong tries" in answer.content.decode()


# --- one's own keys


def test_anybody_sets_their_own_pin_with_their_password(enters, counter: Staff) -> None:
    tablet = enters(counter)
    assert tablet.post("/my-pin/", {"new_pin": PIN, "password": PASSWORD}).status_code == 302
    counter.refresh_from_db()
    assert counter.check_pin(PIN)
    assert PIN not in counter.pin
    assert PIN not in str(list(Entry.objects.values()))


def test_a_pin_is_not_set_without_the_password(enters, counter: Staff) -> None:
    assert enters(counter).post("/my-pin/", {"new_pin": PIN, "password": "wrong"}).status_code == 422
    counter.refresh_from_db()
    assert not counter.pin


def test_an_empty_pin_takes_it_away(enters, counter: Staff) -> None:
    tablet = enters(counter, PIN)
    tablet.post("/my-pin/", {"new_pin": "", "password": PASSWORD})
    counter.refresh_from_db()
    assert counter.pin == ""


@pytest.mark.parametrize("pin", ["1111", "1234", "4321", "123", "123456789", "12a4", "１２９４"])
def test_a_pin_that_anybody_tries_first_or_that_is_none_is_refused(enters, counter: Staff, pin: str) -> None:
    assert enters(counter).post("/my-pin/", {"new_pin": pin, "password": PASSWORD}).status_code == 422


def test_a_new_password_keeps_this_session_and_ends_the_others(enters, counter: Staff) -> None:
    tablet, other = enters(counter), come_in(counter)
    new = "another harbour altogether"
    data = {"password": PASSWORD, "new_password": new, "new_password_again": new}
    assert tablet.post("/my-password/", data).status_code == 302
    assert tablet.get("/my-pin/").status_code == 200
    assert other.get("/my-pin/").status_code == 302


def test_a_new_pin_keeps_this_session_and_ends_the_others(enters, counter: Staff) -> None:
    tablet, other = enters(counter), come_in(counter)
    assert tablet.post("/my-pin/", {"new_pin": "7302", "password": PASSWORD}).status_code == 302
    assert tablet.get("/my-pin/").status_code == 200
    assert other.get("/my-pin/").status_code == 302


@pytest.mark.parametrize("new", ["short", "1234567890", "password123", "ida marsh ida"])
def test_a_weak_new_password_is_refused(enters, counter: Staff, new: str) -> None:
    data = {"password": PASSWORD, "new_password": new, "new_password_again": new}
    assert enters(counter).post("/my-password/", data).status_code == 422
