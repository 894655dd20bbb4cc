"""Signing with one's PIN on a tablet on which one is signed in."""

import datetime as dt

import pytest
from django.utils import timezone
from freezegun import freeze_time

from shop import doors
from shop.models import Staff
from shop.roles import Role
from tests.factories import StaffFactory
from tests.shop.conftest import PASSWORD, PIN, give_keys


@pytest.fixture
def at(rf, shop):
    """`at(staff)`: a request of somebody who is signed in."""

    def request_of(staff: Staff):
        request = rf.post("/")
        request.user, request.session = staff, {"kept": "as it was"}
        return request

    return request_of


def test_the_right_pin_signs_and_the_session_stays(at, bench):
    request = at(give_keys(bench, PIN))
    assert doors.sign(request, PIN) is None
    assert request.session == {"kept": "as it was"}
    assert request.user == bench


@pytest.mark.parametrize("wrong", ["", "4072", " 4071", "40711", "４０７１", PASSWORD])
def test_who_has_a_pin_signs_with_nothing_else(at, bench, wrong):
    with pytest.raises(doors.WrongKey, match="4 tries are left"):
        doors.sign(at(give_keys(bench, PIN)), wrong)


def test_who_has_no_pin_signs_with_the_password(at, bench):
    request = at(give_keys(bench))
    doors.sign(request, PASSWORD)
    with pytest.raises(doors.WrongKey, match="password"):
        doors.sign(request, "four old harbour lamp")


def test_the_pin_of_somebody_else_signs_nothing(at, bench, owner):
    give_keys(owner, "8302")
    with pytest.raises(doors.WrongKey):
        doors.sign(at(give_keys(bench, PIN)), "8302")


def test_five_wrong_tries_lock_it_and_the_right_pin_opens_nothing(at, bench):
    give_keys(bench, PIN)
    for _ in range(4):
        with pytest.raises(doors.WrongKey):
            doors.sign(at(bench), "0000")
    with pytest.raises(doors.LockedOut):
        doors.sign(at(bench), "0000")
    with pytest.raises(doors.LockedOut):
        doors.sign(at(bench), PIN)


def test_the_lock_ends_after_a_quarter_of_an_hour(at, bench):
    give_keys(bench, PIN)
    for _ in range(5):
        with pytest.raises(doors.Refused):
            doors.sign(at(bench), "0000")
    with freeze_time(timezone.now() + dt.timedelta(minutes=16)):
        doors.sign(at(bench), PIN)


def test_a_right_pin_wipes_out_the_wrong_ones_before_it(at, bench):
    give_keys(bench, PIN)
    for _ in range(3):
        for _ in range(4):
            with pytest.raises(doors.WrongKey):
                doors.sign(at(bench), "0000")
        doors.sign(at(bench), PIN)


def test_a_lock_on_signing_is_one_on_every_door(at, bench):
    give_keys(bench, PIN)
    for _ in range(5):
        with pytest.raises(doors.Refused):
            doors.sign(at(bench), "0000")
    assert bench.sign_in in doors.locks()


def test_the_sign_in_pad_signs_nothing(at, shop):
    with pytest.raises(doors.WrongKey):
        doors.sign(at(StaffFactory(role=Role.PAD, sign_in="pad", pin="")), "")


def test_who_no_longer_works_here_signs_nothing(at, bench):
    give_keys(bench, PIN)
    bench.is_active = False
    bench.save()
    with pytest.raises(doors.WrongKey):
        doors.sign(at(bench), PIN)
