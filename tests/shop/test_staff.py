"""The owner's page of staff."""

from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from shop import staffing
from shop.models import Entry, Staff
from shop.roles import Role
from tests.conftest import Tablet
from tests.factories import StaffFactory
from tests.shop.conftest import PASSWORD, PIN, come_in, give_keys
from tests.shop.test_settings import as_shown


def somebody(**changes: Any) -> dict[str, Any]:
    password = "a long password for ada"
    return {
        "name": "Ada Fenn",
        "sign_in": "ada",
        "role": Role.BENCH,
        "new_password": password,
        "new_password_again": password,
        "new_pin": "",
        **changes,
    }


def test_somebody_new_can_sign_in(owners_tablet: Tablet) -> None:
    assert owners_tablet.send("/shop/staff/new/", somebody()).status_code == 302
    answer = Client().post("/enter/", {"sign_in": "ada", "password": "a long password for ada"})
    assert answer.status_code == 302


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("name", ""),
        ("sign_in", "wren"),
        ("sign_in", "WREN"),
        ("sign_in", "a b"),
        ("role", Role.PAD),
        ("role", "admin"),
        ("new_password", "adafenn ada"),
        ("new_password_again", "another"),
        ("new_pin", "12"),
    ],
)
def test_somebody_who_cannot_be_is_refused_beside_the_field(
    owners_tablet: Tablet, field: str, value: str
) -> None:
    answer = owners_tablet.send("/shop/staff/new/", somebody(**{field: value}))
    assert answer.status_code == 422
    assert field in answer.context["form"].errors
    assert not Staff.objects.filter(name="Ada Fenn").exists()


def test_a_person_is_renamed_and_given_another_role(owners_tablet: Tablet, bench: Staff) -> None:
    path = f"/shop/staff/{bench.pk}/"
    typed = {**as_shown(owners_tablet.get(path)), "name": "Tomas L.", "role": Role.COUNTER}
    assert owners_tablet.send(path, typed).status_code == 302
    bench.refresh_from_db()
    assert (bench.name, bench.role, bench.is_active) == ("Tomas L.", Role.COUNTER, True)
    changes = {c["what"]: (c["before"], c["after"]) for c in Entry.objects.latest("pk").changes}
    assert changes == {"name": ("Tomas Lindqvist", "Tomas L."), "role": ("Bench", "Counter")}


@pytest.mark.parametrize("changes", [{"role": Role.BENCH}, {"is_active": ""}])
def test_the_last_owner_stays_one(owners_tablet: Tablet, owner: Staff, changes: dict[str, str]) -> None:
    StaffFactory(role=Role.OWNER, is_active=False)
    path = f"/shop/staff/{owner.pk}/"
    answer = owners_tablet.send(path, {**as_shown(owners_tablet.get(path)), **changes})
    assert answer.status_code == 422
    assert "only owner who may sign in" in answer.content.decode()
    owner.refresh_from_db()
    assert owner.role == Role.OWNER and owner.is_active


def test_one_of_two_owners_may_go(owners_tablet: Tablet) -> None:
    other = StaffFactory(role=Role.OWNER)
    path = f"/shop/staff/{other.pk}/"
    typed = as_shown(owners_tablet.get(path))
    del typed["is_active"]
    owners_tablet.send(path, typed)
    other.refresh_from_db()
    assert not other.is_active


def test_two_tablets_changing_one_person_choose(owners_tablet: Tablet, bench: Staff) -> None:
    path = f"/shop/staff/{bench.pk}/"
    opened = as_shown(owners_tablet.get(path))
    owners_tablet.send(path, {**opened, "name": "Tomas L."})
    answer = owners_tablet.send(path, {**opened, "role": Role.COUNTER})
    assert answer.status_code == 409
    assert "Tomas L." in answer.content.decode()


def test_the_pad_is_nobody_to_edit(owners_tablet: Tablet, pad: Staff) -> None:
    assert owners_tablet.get(f"/shop/staff/{pad.pk}/").status_code == 404
    assert owners_tablet.send(f"/shop/staff/{pad.pk}/password/").status_code == 404
    assert "Sign-in pad" not in owners_tablet.get("/shop/staff/").content.decode()


def test_a_new_password_ends_the_persons_sessions(owners_tablet: Tablet, bench: Staff, enters: Any) -> None:
    theirs = enters(bench)
    new = "another harbour altogether"
    path = f"/shop/staff/{bench.pk}/password/"
    assert owners_tablet.send(path, {"new_password": new, "new_password_again": new}).status_code == 302
    assert theirs.get("/my-pin/").status_code == 302
    bench.refresh_from_db()
    assert bench.check_password(new)


def test_a_new_pin_ends_the_persons_sessions(owners_tablet: Tablet, bench: Staff, enters: Any) -> None:
    theirs = enters(bench)
    assert owners_tablet.send(f"/shop/staff/{bench.pk}/pin/", {"new_pin": PIN}).status_code == 302
    assert theirs.get("/my-pin/").status_code == 302
    assert owners_tablet.get("/shop/staff/").status_code == 200


def test_the_owner_stays_in_over_their_own_new_pin(owners_tablet: Tablet, owner: Staff) -> None:
    elsewhere = come_in(owner)
    owners_tablet.send(f"/shop/staff/{owner.pk}/pin/", {"new_pin": PIN})
    assert owners_tablet.get("/shop/staff/").status_code == 200
    assert elsewhere.get("/my-pin/").status_code == 302


def test_who_comes_back_has_to_come_in_anew(bench: Staff, owner: Staff, enters: Any) -> None:
    theirs = enters(bench)
    for is_active in (False, True):
        staffing.change(bench, name=bench.name, role=bench.role, is_active=is_active, by=owner)
    assert theirs.get("/my-pin/").status_code == 302


def test_the_owner_stays_in_over_their_own_new_password(owners_tablet: Tablet, owner: Staff) -> None:
    new = "another harbour altogether"
    path = f"/shop/staff/{owner.pk}/password/"
    owners_tablet.send(path, {"new_password": new, "new_password_again": new})
    assert owners_tablet.get("/shop/staff/").status_code == 200


def test_the_owner_sets_and_takes_a_pin(owners_tablet: Tablet, bench: Staff) -> None:
    path = f"/shop/staff/{bench.pk}/pin/"
    owners_tablet.send(path, {"new_pin": PIN})
    bench.refresh_from_db()
    assert bench.check_pin(PIN)
    owners_tablet.send(path, {"new_pin": ""})
    bench.refresh_from_db()
    assert bench.pin == ""


@pytest.mark.parametrize("pin", ["1111", "2345", "abc"])
def test_a_bad_pin_is_refused_on_the_page(owners_tablet: Tablet, bench: Staff, pin: str) -> None:
    answer = owners_tablet.send(f"/shop/staff/{bench.pk}/pin/", {"new_pin": pin})
    assert answer.status_code == 422
    assert "new_pin" in answer.context["pin_form"].errors


def test_the_owner_sees_a_lock_and_lifts_it(owners_tablet: Tablet, bench: Staff) -> None:
    give_keys(bench)
    stranger = Tablet()
    for _ in range(5):
        stranger.post("/enter/", {"sign_in": "tomas", "password": "wrong"})
    assert "Lift the lock" in owners_tablet.get("/shop/staff/").content.decode()
    owners_tablet.send(f"/shop/staff/{bench.pk}/unlock/")
    assert "Lift the lock" not in owners_tablet.get("/shop/staff/").content.decode()
    come_in(bench, stranger)
    assert Entry.objects.latest("pk").words == "had their lock lifted"


def test_a_key_never_stands_in_the_timeline(owner: Staff, bench: Staff) -> None:
    staffing.set_password(bench, PASSWORD, by=owner)
    staffing.set_pin(bench, PIN, by=owner)
    entries = str(list(Entry.objects.values()))
    assert PASSWORD not in entries and PIN not in entries


def test_the_page_takes_the_same_queries_for_two_people_as_for_twenty(
    owners_tablet: Tablet, django_assert_num_queries: Any
) -> None:
    with django_assert_num_queries(5):
        owners_tablet.get("/shop/staff/")
    StaffFactory.create_batch(18, since=timezone.now())
    with django_assert_num_queries(5):
        owners_tablet.get("/shop/staff/")
