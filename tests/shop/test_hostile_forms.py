"""What nobody means to type, sent to every form at the doors and in the settings: a message each time."""

from typing import Any

import pytest
from django.http import HttpResponse
from hypothesis import HealthCheck, example, given
from hypothesis import settings as effort
from hypothesis import strategies as st

from shop import opening
from shop.models import Shop, Staff
from shop.once import FIELD, new_key
from shop.roles import Role
from tests.conftest import Tablet
from tests.factories import TaxRateFactory
from tests.shop.conftest import PASSWORD, give_keys

HOSTILE = st.one_of(
    st.sampled_from(
        [
            "",
            " ",
            "\0",
            "a\0b",
            "\r\n",
            "<script>alert(1)</script>",
            '"><img src=x onerror=alert(1)>',
            "{{ settings.SECRET_KEY }}",
            "{% include 'x' %}",
            "'; DROP TABLE shop_staff; --",
            "../../etc/passwd",
            "🎸" * 50,
            "é̂̃̄" * 20,
            "\u202egnp.exe",
            "NaN",
            "Infinity",
            "-1",
            "1e999999",
            "9" * 40,
            "0x10",
            "٣٤",
            "9999-12-31",
            "0000-00-00",
            "x" * 20_000,
            "true",
            "[]",
            "owner",
        ]
    ),
    st.text(max_size=200),
)
DB = [HealthCheck.function_scoped_fixture, HealthCheck.too_slow, HealthCheck.data_too_large]
hostile = effort(max_examples=30, deadline=None, suppress_health_check=DB)


def sends(tablet: Tablet, path: str, typed: dict[str, Any]) -> HttpResponse:
    """Send a form; whatever was in it, the answer is one of ours."""
    answer = tablet.post(path, {FIELD: new_key(), **typed})
    assert answer.status_code in {302, 400, 403, 404, 409, 422, 429}, answer.status_code
    assert b"<script>alert(1)</script>" not in answer.content
    return answer


def keeps(answer: HttpResponse, form: str, typed: dict[str, str], secret: set[str]) -> None:
    """Nothing typed is lost: each field of a refused form shows what was sent, but for keys."""
    if answer.status_code != 422:
        return
    page = answer.context[form]
    for name, value in typed.items():
        if name in page.fields and name not in secret:
            assert page[name].value() == value
    assert not any(
        typed[name].strip() and f'value="{typed[name]}"' in str(page[name]) for name in secret & set(typed)
    )


def everything(*names: str) -> st.SearchStrategy[dict[str, str]]:
    return st.fixed_dictionaries(dict.fromkeys(names, HOSTILE))


@pytest.fixture
def ready(owners_tablet: Tablet, bench: Staff) -> Tablet:
    """The owner's tablet, and somebody whose page can be opened."""
    return owners_tablet


@hostile
@given(typed=everything("sign_in", "password", "next"))
def test_the_front_door_stands_anything(shop: Shop, typed: dict[str, str]) -> None:
    answer = sends(Tablet(), "/enter/", typed)
    assert answer.status_code in {422, 429}
    if answer.status_code == 422:
        keeps(answer, "form", {"sign_in": typed["sign_in"]}, set())


@hostile
@given(typed=everything("who", "pin"))
def test_the_keypad_stands_anything(ready: Tablet, typed: dict[str, str]) -> None:
    assert sends(ready, "/change-person/", typed).status_code == 422


@hostile
@given(who=HOSTILE)
def test_the_choice_of_a_person_stands_anything(ready: Tablet, who: str) -> None:
    assert ready.get("/change-person/", {"who": who}).status_code == 200


@hostile
@given(typed=everything("new_pin", "password"))
def test_ones_own_pin_stands_anything(enters: Any, counter: Staff, typed: dict[str, str]) -> None:
    sends(enters(counter), "/my-pin/", typed)


@hostile
@given(typed=everything("password", "new_password", "new_password_again"))
def test_ones_own_password_stands_anything(enters: Any, counter: Staff, typed: dict[str, str]) -> None:
    sends(enters(counter), "/my-password/", typed)


@hostile
@given(typed=everything("password_again", "next"))
def test_the_password_asked_for_again_stands_anything(
    enters: Any, counter: Staff, typed: dict[str, str]
) -> None:
    assert sends(enters(counter), "/enter/again/", typed).status_code in {422, 429}


@hostile
@given(
    typed=everything(
        *["name", "address", "phone", "email", "tax_number", "currency", "time_zone", "paper", "labour_rate"],
        *[
            "diagnosis_fee",
            "warranty_labour_days",
            "warranty_parts_days",
            "tax_rounding",
            "backup_reminder_days",
        ],
    )
)
def test_the_shops_settings_stand_anything(ready: Tablet, shop: Shop, typed: dict[str, str]) -> None:
    keeps(sends(ready, "/shop/", typed), "form", typed, set())


@hostile
@given(typed=everything("name", "percent", "on_labour", "valid_from"))
@example(typed={"name": "Tax", "percent": "7.25", "on_labour": "on", "valid_from": "0001-01-01"})
@example(typed={"name": "Tax", "percent": "1E+5", "on_labour": "on", "valid_from": "2026-01-01"})
def test_a_new_tax_stands_anything(ready: Tablet, typed: dict[str, str]) -> None:
    kept = {name: value for name, value in typed.items() if name != "on_labour"}
    keeps(sends(ready, "/shop/taxes/", typed), "form", kept, set())


@hostile
@given(typed=everything("valid_to", "opened_with", "keep"))
def test_the_end_of_a_tax_stands_anything(ready: Tablet, typed: dict[str, str]) -> None:
    rate = TaxRateFactory(name="City tax")
    answer = sends(ready, f"/shop/taxes/{rate.pk}/end/", typed)
    assert answer.status_code in {302, 409, 422}


@hostile
@given(
    typed=everything(
        *["text", "storage_text", "free_days", "daily_fee", "fee_cap", "notices", "notice_gap_days"],
        *["deadline_days", "warranty_labour_days", "warranty_parts_days", "opened_with"],
    )
)
def test_the_terms_stand_anything(ready: Tablet, shop: Shop, typed: dict[str, str]) -> None:
    keeps(sends(ready, "/shop/terms/", typed), "form", typed, set())


@hostile
@given(typed=everything("name", "sign_in", "role", "new_password", "new_password_again", "new_pin"))
def test_somebody_new_stands_anything(ready: Tablet, typed: dict[str, str]) -> None:
    secret = {"new_password", "new_password_again", "new_pin"}
    keeps(sends(ready, "/shop/staff/new/", typed), "form", typed, secret)


@hostile
@given(
    typed=everything(
        "name", "role", "is_active", "opened_with", "new_password", "new_password_again", "new_pin"
    )
)
def test_somebodys_page_stands_anything(ready: Tablet, bench: Staff, typed: dict[str, str]) -> None:
    for page in ("", "password/", "pin/"):
        sends(ready, f"/shop/staff/{bench.pk}/{page}", typed)


@hostile
@given(
    typed=everything(
        *["code", "name", "address", "phone", "email", "tax_number", "currency", "time_zone", "paper"],
        *["labour_rate", "diagnosis_fee", "warranty_labour_days", "warranty_parts_days", "tax_rounding"],
        *["tax", "tax_name", "tax_percent", "tax_on", "text", "storage_text", "free_days", "daily_fee"],
        *["fee_cap", "notices", "notice_gap_days", "deadline_days", "owner_name", "owner_sign_in"],
        *["new_password", "new_password_again", "new_pin"],
    )
)
def test_the_first_start_stands_anything(
    db: None, settings: Any, tmp_path: Any, typed: dict[str, str]
) -> None:
    settings.HOME = tmp_path
    opening.one_time_code()
    answer = sends(Tablet(), "/first-start/", typed)
    assert answer.status_code == 422
    kept = {name: value for name, value in typed.items() if name != "tax_on"}
    keeps(answer, "form", kept, {"new_password", "new_password_again", "new_pin"})
    assert Shop.current() is None


@hostile
@given(values=st.dictionaries(st.text(max_size=20), HOSTILE, max_size=8))
def test_a_form_kept_over_the_password_stands_any_names(
    as_owner: Tablet, owner: Staff, values: dict[str, str]
) -> None:
    give_keys(owner)
    as_owner.force_login(owner)
    session = as_owner.session
    session.pop("password_at", None)
    session.save()
    answer = sends(as_owner, "/shop/staff/new/", {**values, "password_again": "wrong"})
    assert answer.status_code == 403


def test_the_pages_of_these_tests_take_what_is_meant(ready: Tablet) -> None:
    """The hostile tests would pass on a form that refuses everything."""
    typed = {
        "name": "Ada",
        "sign_in": "ada",
        "role": Role.BENCH,
        "new_password": PASSWORD,
        "new_password_again": PASSWORD,
    }
    assert sends(ready, "/shop/staff/new/", typed).status_code == 302
