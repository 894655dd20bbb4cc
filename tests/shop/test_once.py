"""One-time keys: two taps are one act."""

import datetime as dt
import threading
from typing import Any

import pytest
from django.db import IntegrityError, connections
from django.http import HttpRequest, HttpResponse
from django.test import RequestFactory
from django.utils import timezone

from shop.models import Entry, OnceKey, Shop, Staff
from shop.once import FIELD, NoOnceKey, forget_old, new_key, once
from shop.roles import Role
from tests.conftest import Tablet

KEY = "a-key-of-one-form"


def request_of(staff: Staff, key: str = KEY, path: str = "/act/") -> HttpRequest:
    request = RequestFactory().post(path, {FIELD: key})
    request.user = staff
    return request


def acting(status: int = 200) -> Any:
    """A view that writes one line and answers with how many lines there are."""

    @once
    def act(request: HttpRequest) -> HttpResponse:
        Entry.objects.create(about="shop", words="acted")
        return HttpResponse(
            f"line {Entry.objects.count()}", status=status, headers={"HX-Redirect": "/there/"}
        )

    return act


def test_the_second_tap_gets_the_first_answer_and_does_nothing(owner: Staff) -> None:
    act = acting()
    first, second = act(request_of(owner)), act(request_of(owner))
    assert Entry.objects.count() == 1
    assert second.content == first.content == b"line 1"
    assert second["HX-Redirect"] == "/there/"


def test_another_showing_of_the_form_is_another_act(owner: Staff) -> None:
    act = acting()
    act(request_of(owner)), act(request_of(owner, new_key()))
    assert Entry.objects.count() == 2


def test_keys_of_two_people_or_two_forms_do_not_meet(owner: Staff, bench: Staff) -> None:
    act = acting()
    act(request_of(owner)), act(request_of(bench)), act(request_of(owner, path="/other/"))
    assert Entry.objects.count() == 3


@pytest.mark.parametrize("status", [403, 409, 422])
def test_a_refused_form_gives_its_key_back_and_leaves_nothing_written(owner: Staff, status: int) -> None:
    acting(status)(request_of(owner))
    assert not Entry.objects.exists() and not OnceKey.objects.exists()
    acting()(request_of(owner))
    assert Entry.objects.count() == 1


def test_an_exception_gives_the_key_back(owner: Staff) -> None:
    @once
    def breaks(request: HttpRequest) -> HttpResponse:
        Entry.objects.create(about="shop", words="half done")
        raise RuntimeError("pulled plug")

    with pytest.raises(RuntimeError):
        breaks(request_of(owner))
    assert not Entry.objects.exists() and not OnceKey.objects.exists()


def test_a_clash_in_the_view_itself_is_not_taken_for_a_second_tap(owner: Staff) -> None:
    @once
    def clashes(request: HttpRequest) -> HttpResponse:
        Staff.objects.create(name="Twin", sign_in=owner.sign_in, role=Role.BENCH)
        return HttpResponse()

    with pytest.raises(IntegrityError):
        clashes(request_of(owner))


@pytest.mark.parametrize(
    "key", ["", "short", "x" * 65, "a key with spaces in", "schlüssel-schlüssel", "\0" * 20]
)
def test_a_form_without_a_proper_key_is_refused(owner: Staff, key: str) -> None:
    with pytest.raises(NoOnceKey):
        acting()(request_of(owner, key))


def test_keys_are_long_and_never_the_same() -> None:
    assert len({new_key() for _ in range(100)}) == 100
    assert all(len(new_key()) >= 20 for _ in range(5))


def test_two_taps_through_the_whole_app_make_one_person(owners_tablet: Tablet) -> None:
    typed = {
        "name": "Ada",
        "sign_in": "ada",
        "role": Role.BENCH,
        "new_password": "a long password",
        "new_password_again": "a long password",
        FIELD: KEY,
    }
    first, second = (owners_tablet.send("/shop/staff/new/", typed) for _ in range(2))
    assert (first.status_code, second.status_code) == (302, 302)
    assert first["Location"] == second["Location"]
    assert Staff.objects.filter(name="Ada").count() == 1


def test_a_mended_form_is_sent_with_the_same_key(owners_tablet: Tablet) -> None:
    typed = {"name": "City tax", "percent": "x", "on_labour": "on", "valid_from": "2026-01-01", FIELD: KEY}
    assert owners_tablet.send("/shop/taxes/", typed).status_code == 422
    assert owners_tablet.send("/shop/taxes/", {**typed, "percent": "1.5"}).status_code == 302


def test_old_keys_are_forgotten_and_young_ones_kept(db: None) -> None:
    now = timezone.now()
    OnceKey.objects.create(key="old", at=now - dt.timedelta(days=3))
    OnceKey.objects.create(key="young", at=now - dt.timedelta(hours=1))
    assert forget_old(now) == 1
    assert OnceKey.objects.get().key == "young"


@pytest.mark.django_db(transaction=True)
def test_two_taps_at_the_same_moment_are_one_act() -> None:
    """On whichever database the suite runs, in real transactions."""
    owner = Staff.objects.create_user("wren", "Wren", Role.OWNER, "x")
    Shop.objects.create(name="Lantern Quay Electronics")
    act, together, answers = acting(), threading.Barrier(2, timeout=10), []

    def tap() -> None:
        try:
            together.wait()
            answers.append(act(request_of(owner)).content)
        finally:
            connections.close_all()

    taps = [threading.Thread(target=tap) for _ in range(2)]
    for one in taps:
        one.start()
    for one in taps:
        one.join(timeout=30)
    assert answers == [b"line 1", b"line 1"]
    assert Entry.objects.count() == 1
