"""Coming in by the front door, its lock, and leaving."""

import datetime as dt

import pytest
from axes.models import AccessAttempt
from django.contrib.auth.models import AnonymousUser
from django.contrib.sessions.models import Session
from django.http import HttpResponse
from django.utils import timezone
from freezegun import freeze_time

from shop import doors
from shop.models import OnceKey, Staff
from tests.conftest import Tablet
from tests.shop.conftest import PASSWORD, come_in, give_keys


def guess(tablet: Tablet, sign_in: str, password: str = "wrong", **extra):
    return tablet.post("/enter/", {"sign_in": sign_in, "password": password}, **extra)


@pytest.mark.parametrize("typed", ["wren", "Wren", " WREN "])
def test_a_sign_in_word_may_be_typed_as_a_tablet_writes_it(owner: Staff, typed: str) -> None:
    give_keys(owner)
    answer = guess(Tablet(), typed, PASSWORD)
    assert answer.status_code == 302
    assert answer["Location"] == "/"


def test_a_wrong_password_is_refused_and_the_word_stays_typed(owner: Staff) -> None:
    give_keys(owner)
    answer = guess(Tablet(), "wren", "not this one")
    assert answer.status_code == 422
    page = answer.content.decode()
    assert 'value="wren"' in page
    assert "4 tries are left" in page
    assert "not this one" not in page


def test_it_does_not_say_whether_the_word_or_the_password_was_wrong(owner: Staff) -> None:
    give_keys(owner)
    known, unknown = guess(Tablet(), "wren"), guess(Tablet(), "nobody")
    assert known.context["form"].non_field_errors() == unknown.context["form"].non_field_errors()


def test_the_pad_has_no_password_and_cannot_come_in_with_one(pad: Staff) -> None:
    give_keys(pad)
    assert guess(Tablet(), "pad", PASSWORD).status_code == 422


def test_somebody_who_may_not_sign_in_does_not(bench: Staff) -> None:
    give_keys(bench)
    bench.is_active = False
    bench.save()
    assert guess(Tablet(), "tomas", PASSWORD).status_code == 422


def test_a_session_ends_with_the_right_to_sign_in(bench: Staff, enters) -> None:
    tablet = enters(bench)
    Staff.objects.filter(pk=bench.pk).update(is_active=False)
    assert tablet.get("/my-pin/").status_code == 302


def test_coming_in_changes_the_session_key_also_for_the_same_person(owner: Staff, enters) -> None:
    tablet = enters(owner)
    first = tablet.session.session_key
    come_in(owner, tablet)
    assert tablet.session.session_key != first


def test_it_goes_on_to_the_page_that_was_asked_for(owner: Staff) -> None:
    give_keys(owner)
    data = {"sign_in": "wren", "password": PASSWORD, "next": "/my-pin/"}
    assert Tablet().post("/enter/", data)["Location"] == "/my-pin/"


@pytest.mark.parametrize("elsewhere", ["https://example.org/", "//example.org/", "javascript:alert(1)"])
def test_it_never_goes_on_to_another_site(owner: Staff, elsewhere: str) -> None:
    give_keys(owner)
    data = {"sign_in": "wren", "password": PASSWORD, "next": elsewhere}
    assert Tablet().post("/enter/", data)["Location"] == "/"


# --- the lock


def test_five_wrong_tries_lock_and_the_page_says_what_to_do(owner: Staff) -> None:
    give_keys(owner)
    tablet = Tablet()
    answers = [guess(tablet, "wren") for _ in range(5)]
    assert [a.status_code for a in answers] == [422, 422, 422, 422, 429]
    assert "Wait 15 minutes, or ask the owner to lift it" in answers[-1].content.decode()


def test_the_right_password_does_not_open_a_lock(owner: Staff) -> None:
    give_keys(owner)
    tablet = Tablet()
    for _ in range(5):
        guess(tablet, "wren")
    assert guess(tablet, "wren", PASSWORD).status_code == 429
    assert "_auth_user_id" not in tablet.session


def test_capitals_and_spaces_are_no_way_around_the_count(owner: Staff) -> None:
    give_keys(owner)
    tablet = Tablet()
    answers = [guess(tablet, word) for word in ("wren", "Wren", "WREN", " wren", "wReN")]
    assert answers[-1].status_code == 429


def test_another_browser_on_the_device_shares_the_lock(owner: Staff) -> None:
    give_keys(owner)
    for n in range(5):
        guess(Tablet(), "wren", headers={"User-Agent": f"browser {n}"})
    assert guess(Tablet(), "wren", PASSWORD).status_code == 429


def test_a_lock_on_one_device_leaves_the_person_free_on_another(owner: Staff) -> None:
    give_keys(owner)
    for _ in range(5):
        guess(Tablet(), "wren", REMOTE_ADDR="192.0.2.1")
    assert guess(Tablet(), "wren", PASSWORD, REMOTE_ADDR="192.0.2.2").status_code == 302


def test_a_lock_is_one_persons_not_the_devices(owner: Staff, bench: Staff) -> None:
    give_keys(owner), give_keys(bench)
    tablet = Tablet()
    for _ in range(5):
        guess(tablet, "wren")
    assert guess(tablet, "tomas", PASSWORD).status_code == 302


def test_a_lock_ends_after_fifteen_minutes_however_often_it_was_tried_meanwhile(owner: Staff) -> None:
    give_keys(owner)
    tablet = Tablet()
    start = timezone.now()
    for _ in range(5):
        guess(tablet, "wren")
    with freeze_time(start + dt.timedelta(minutes=14)):
        assert guess(tablet, "wren").status_code == 429
    with freeze_time(start + dt.timedelta(minutes=16)):
        assert guess(tablet, "wren", PASSWORD).status_code == 302


def test_coming_in_wipes_the_count(owner: Staff) -> None:
    give_keys(owner)
    tablet = Tablet()
    for _ in range(4):
        guess(tablet, "wren")
    come_in(owner, tablet)
    assert not AccessAttempt.objects.exists()


def test_what_was_typed_as_a_key_is_not_kept_with_the_failure(owner: Staff) -> None:
    give_keys(owner)
    guess(Tablet(), "wren", "a password mistyped")
    kept = AccessAttempt.objects.get()
    assert "mistyped" not in kept.post_data


def test_the_owner_sees_until_when_somebody_is_locked(bench: Staff) -> None:
    for _ in range(5):
        guess(Tablet(), "tomas")
    until = doors.locks()["tomas"]
    assert dt.timedelta(minutes=14) < until - timezone.now() <= dt.timedelta(minutes=15)


def test_a_view_that_met_a_lock_and_said_nothing_of_it_is_answered_for(rf, shop) -> None:
    request = rf.post("/anywhere/")
    request.user, request.shop = AnonymousUser(), shop
    answer = doors.locked_out(request, HttpResponse("unaware"), None)
    assert answer.status_code == 429
    assert "Locked for now" in answer.content.decode()


def test_the_page_of_locks_can_be_opened_by_anybody(shop) -> None:
    assert "Wait 15 minutes" in Tablet().get("/locked/").content.decode()


# --- leaving


def test_leaving_ends_the_session(owner: Staff, enters) -> None:
    tablet = enters(owner)
    assert tablet.post("/leave/")["Location"] == "/enter/"
    assert not dict(tablet.session)
    assert tablet.get("/my-pin/").status_code == 302


def test_a_link_cannot_make_somebody_leave(owner: Staff, enters) -> None:
    assert enters(owner).get("/leave/").status_code == 405


def test_the_pad_cannot_leave(as_pad: Tablet) -> None:
    assert as_pad.post("/leave/").status_code == 403


def test_whoever_comes_in_sweeps_up_what_nobody_needs_any_more(owner: Staff) -> None:
    give_keys(owner)
    now = timezone.now()
    for name, age in (("old", dt.timedelta(days=3)), ("young", dt.timedelta(hours=1))):
        OnceKey.objects.create(key=name, at=now - age)
        # A session's age counts from when it ran out; the young one runs for an hour yet.
        left = -age if name == "old" else age
        Session.objects.create(session_key=name, session_data="", expire_date=now + left)
    assert guess(Tablet(), "wren", PASSWORD).status_code == 302
    assert list(OnceKey.objects.values_list("key", flat=True)) == ["young"]
    assert not Session.objects.filter(session_key="old").exists()
    assert Session.objects.filter(session_key="young").exists()
