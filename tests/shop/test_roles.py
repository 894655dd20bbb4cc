"""Every address of the shop, asked for by every role and by nobody.

The addresses are read off the resolver, so that a new one is walked without anybody thinking of it.
"""

from collections.abc import Iterator
from typing import Any

import pytest
from django.conf import settings
from django.http import HttpResponse
from django.test import Client
from django.urls import URLPattern, get_resolver, reverse
from django.utils import timezone

from shop.doors import PASSWORD_AT
from shop.models import Shop, Staff
from shop.once import FIELD, new_key
from shop.roles import ACTS, Role, may
from tests.factories import StaffFactory
from tests.samples import SAMPLES, World, fill

pytestmark = pytest.mark.anywhere

# POSTs that carry no one-time key, and why two taps of them do no harm.
HARMLESS_TWICE = {
    "theme": "keeps the look of the device in a cookie",
    "enter": "a door: each failure must be counted",
    "enter-again": "a door",
    "change-person": "a door",
    "my-pin": "a door",
    "list-run-sign-off": "a door; to sign twice is to sign once",
    "my-password": "a door",
    "leave": "to leave twice is to leave once",
    "pad-leave": "a door",
    "pad-again": "to wipe twice is to wipe once",
    "dropoff-words": "answers with what will be signed, writes nothing",
    "dropoff-shape": "answers with the form in another shape, writes nothing",
    "storage-letters-paper": "makes a paper, writes nothing",
    "recording": "reads a recording into the address of the next page, writes nothing",
    "job-recording": "reads a recording into the address of the next page, writes nothing",
    "parts-import": "reads a file and says what it would do, writes nothing",
    "pad-entry-shape": "answers with the form in another shape, writes nothing",
    "checklist-shape": "answers with the form in another shape, writes nothing",
}
NOT_YOURS = "This needs someone else"  # what shop.access says


def _patterns(of: Any = None) -> Iterator[URLPattern]:
    for pattern in (of or get_resolver()).url_patterns:
        if isinstance(pattern, URLPattern):
            yield pattern
        else:
            yield from _patterns(pattern)


PATTERNS = {pattern.name: pattern for pattern in _patterns()}
BY_NAME = pytest.mark.parametrize("name", sorted(PATTERNS, key=str))


@pytest.fixture
def world(shop: Shop) -> World:
    return World()


def address(name: str, world: World) -> str:
    return reverse(name, kwargs=fill(name, set(PATTERNS[name].pattern.converters), world))


def signed_in(role: Role, *, strict: bool = False) -> Client:
    """A tablet of that role, on which a password has just been typed."""
    staff = Staff.objects.filter(role=role).first() or StaffFactory(role=role, sign_in=f"a-{role}")
    tablet = Client(enforce_csrf_checks=strict)
    tablet.force_login(staff, backend="shop.doors.PasswordDoor")
    session = tablet.session
    session[PASSWORD_AT] = timezone.now().timestamp()
    session.save()
    return tablet


def send(tablet: Client, path: str, **data: Any) -> HttpResponse:
    return tablet.post(path, {FIELD: new_key(), **data})


def is_refused(answer: HttpResponse) -> bool:
    return answer.status_code == 403 and NOT_YOURS in answer.content.decode()


def test_every_address_has_a_name_of_its_own() -> None:
    names = [pattern.name for pattern in _patterns()]
    assert None not in names
    assert len(names) == len(set(names))


def test_every_sample_is_of_an_address() -> None:
    assert set(SAMPLES) <= set(PATTERNS)


@BY_NAME
def test_it_says_who_may_open_it(name: str) -> None:
    act = getattr(PATTERNS[name].callback, "act", "missing")
    assert act is None or act in ACTS, f"{name} has neither @allowed nor @open_to_all"


@BY_NAME
def test_roles_that_may_come_in_and_the_others_are_refused(name: str, world: World) -> None:
    path, act = address(name, world), PATTERNS[name].callback.act
    for role in Role:
        lets_in = act is None or may(role, act)
        tablet = signed_in(role)
        for method, answer in (("GET", tablet.get(path)), ("POST", send(tablet, path))):
            assert answer.status_code < 500, (role, method)
            if answer.status_code != 405:
                assert is_refused(answer) != lets_in, f"{role} {method} {path}: {answer.status_code}"


@BY_NAME
def test_nobody_gets_further_than_the_door(name: str, world: World) -> None:
    path = address(name, world)
    for answer in (Client().get(path), send(Client(), path)):
        if PATTERNS[name].callback.act is not None:
            assert answer.status_code in {302, 405}
            if answer.status_code == 302:
                assert answer["Location"].startswith("/enter/?next=")
        else:
            assert answer.status_code < 500


def a_role_for(name: str) -> Role:
    act = PATTERNS[name].callback.act
    return next(role for role in Role if act is None or may(role, act))


@BY_NAME
def test_a_post_without_its_csrf_token_is_refused(name: str, world: World) -> None:
    path, role = address(name, world), a_role_for(name)
    answer = send(signed_in(role, strict=True), path)
    assert answer.status_code in {403, 405}
    if answer.status_code == 403:
        assert "load it again" in answer.content.decode()


@BY_NAME
def test_a_post_without_its_one_time_key_is_refused(name: str, world: World) -> None:
    path, role = address(name, world), a_role_for(name)
    answer = signed_in(role).post(path, {})
    if answer.status_code == 405:
        return
    if PATTERNS[name].callback.__dict__.get("once") is True:
        assert answer.status_code == 400
        assert "too old to be sent" in answer.content.decode()
    else:
        assert name in HARMLESS_TWICE, (
            f"{name} takes POSTs: wrap it in @once, or say in HARMLESS_TWICE why not"
        )


def test_nothing_is_called_harmless_that_has_a_key_or_is_gone() -> None:
    for name in HARMLESS_TWICE:
        assert not getattr(PATTERNS[name].callback, "once", False), name


def test_the_walk_sees_what_the_settings_route() -> None:
    assert get_resolver().urlconf_name == settings.ROOT_URLCONF
    assert {"home", "enter", "staff", "job", "pad"} <= set(PATTERNS)
