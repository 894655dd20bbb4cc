"""The first start: its code, and the one act that opens the shop."""

import json
import re
import stat
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.test import Client

from shop import opening
from shop.models import Entry, Shop, Staff, TaxRate, Terms
from shop.roles import Role
from tests.conftest import Tablet

PASSWORD = "four old harbour lamps"


@pytest.fixture(autouse=True)
def _home(settings: Any, tmp_path: Any) -> None:
    settings.HOME = tmp_path


@pytest.fixture
def code() -> str:
    return opening.one_time_code()


def typed(code: str, **changes: Any) -> dict[str, Any]:
    """What an owner types on the page."""
    return {
        "code": code,
        "name": "Lantern Quay Electronics",
        "address": "4 Ropewalk\nPort Ansley",
        "phone": "555 0100",
        "email": "",
        "tax_number": "",
        "currency": "USD",
        "time_zone": "America/New_York",
        "paper": "Letter",
        "labour_rate": "80",
        "diagnosis_fee": "$45.00",
        "diagnosis_credited": "on",
        "warranty_labour_days": "90",
        "warranty_parts_days": "90",
        "tax_rounding": "invoice",
        "tax": "one",
        "tax_name": "Sales tax",
        "tax_percent": "7,25",
        "tax_on": ["on_parts"],
        "text": "We look at it first.",
        "storage_text": "Collect it in time.",
        "free_days": "30",
        "daily_fee": "2",
        "fee_cap": "",
        "notices": "3",
        "notice_gap_days": "14",
        "deadline_days": "90",
        "owner_name": "Wren Adeyemi",
        "owner_sign_in": "Wren",
        "new_password": PASSWORD,
        "new_password_again": PASSWORD,
        "new_pin": "4071",
        **changes,
    }


# --- the code


def test_the_code_is_easy_to_read_off_a_screen(code: str) -> None:
    assert re.fullmatch(r"[2-9A-HJKMNP-TV-Z]{4}-[2-9A-HJKMNP-TV-Z]{4}", code)


@pytest.mark.parametrize(
    "change", [str, str.lower, lambda c: c.replace("-", ""), lambda c: f" {c.replace('-', ' ')} "]
)
def test_the_code_is_taken_however_it_is_spaced(code: str, change: Any) -> None:
    opening.check_code(change(code))


def test_only_a_hash_of_the_code_is_kept_and_only_its_user_may_read_it(code: str, tmp_path: Any) -> None:
    kept = tmp_path / "first-start.json"
    assert code.replace("-", "") not in kept.read_text()
    assert stat.S_IMODE(kept.stat().st_mode) == 0o600


def test_each_start_makes_a_new_code(code: str) -> None:
    opening.check_code(opening.one_time_code())
    with pytest.raises(opening.WrongCode):
        opening.check_code(code)


def test_after_ten_wrong_codes_the_right_one_does_not_help_until_the_next_start(code: str) -> None:
    for _ in range(opening.TRIES):
        with pytest.raises(opening.WrongCode, match="isn't the code"):
            opening.check_code("AAAA-AAAA")
    with pytest.raises(opening.WrongCode, match="Start"):
        opening.check_code(code)
    opening.check_code(opening.one_time_code())


def test_the_right_code_uses_up_no_try(code: str, tmp_path: Any) -> None:
    for _ in range(opening.TRIES + 1):
        opening.check_code(code)
    assert json.loads((tmp_path / "first-start.json").read_text())["wrong"] == 0


def test_without_a_code_from_the_terminal_none_is_right() -> None:
    with pytest.raises(opening.WrongCode, match="no code yet"):
        opening.check_code("")


def test_a_file_cut_short_by_a_pulled_plug_opens_nothing(code: str, tmp_path: Any) -> None:
    (tmp_path / "first-start.json").write_text('{"hash": "')
    with pytest.raises(opening.WrongCode):
        opening.check_code(code)


# --- the page


def test_before_the_first_start_every_page_leads_to_it(db: None) -> None:
    for path in ("/", "/enter/", "/shop/", "/no-such-page/"):
        assert Client().get(path)["Location"] == "/first-start/"


def test_the_page_begins_with_terms_to_change_and_says_to_have_them_checked(db: None) -> None:
    page = Client().get("/first-start/").content.decode()
    assert "Have these terms checked locally before you rely on them." in page
    assert "Storage, lien and abandoned-property law differs by place." in page
    assert "The diagnosis fee pays for looking." in page


def test_the_page_opens_the_shop_and_the_owner_is_in(db: None, code: str) -> None:
    tablet = Tablet()
    answer = tablet.send("/first-start/", typed(code))
    assert answer.status_code == 302, answer.context["form"].errors
    assert answer["Location"] == "/"
    shop, owner, rate, terms = (
        Shop.current(),
        Staff.objects.get(role=Role.OWNER),
        TaxRate.objects.get(),
        Terms.current(),
    )
    assert (shop.name, shop.currency, shop.labour_rate, shop.diagnosis_fee) == (
        "Lantern Quay Electronics",
        "USD",
        Decimal(80),
        Decimal(45),
    )
    assert (rate.percent, rate.on_labour, rate.on_parts, rate.on_fees) == (
        Decimal("7.25"),
        False,
        True,
        False,
    )
    assert (terms.version, terms.text, terms.daily_fee, terms.fee_cap) == (
        1,
        "We look at it first.",
        Decimal(2),
        None,
    )
    assert owner.sign_in == "wren" and owner.check_password(PASSWORD) and owner.check_pin("4071")
    assert int(tablet.session["_auth_user_id"]) == owner.pk
    assert tablet.get("/shop/").status_code == 200
    assert Entry.objects.get(about="shop").words == "opened the shop"


def test_the_shop_opens_with_a_pad_that_no_password_opens(db: None, code: str) -> None:
    Tablet().send("/first-start/", typed(code))
    assert not Staff.objects.get(role=Role.PAD).has_usable_password()


def test_a_shop_may_charge_no_tax(db: None, code: str) -> None:
    assert (
        Tablet().send("/first-start/", typed(code, tax="none", tax_name="", tax_percent="")).status_code
        == 302
    )
    assert not TaxRate.objects.exists()


def test_amounts_are_read_in_the_currency_that_is_chosen(db: None, code: str) -> None:
    wrong = Tablet().send(
        "/first-start/", typed(code, currency="JPY", labour_rate="80.50", diagnosis_fee="4500")
    )
    assert "labour_rate" in wrong.context["form"].errors
    assert (
        Tablet()
        .send("/first-start/", typed(code, currency="JPY", labour_rate="8000", diagnosis_fee="4500"))
        .status_code
        == 302
    )


def test_a_wrong_code_opens_nothing_and_everything_typed_is_kept(db: None, code: str) -> None:
    answer = Tablet().send("/first-start/", typed("AAAA-AAAA"))
    assert answer.status_code == 422
    assert Shop.current() is None
    page = answer.content.decode()
    for kept in ("Lantern Quay Electronics", "$45.00", "7,25", "We look at it first.", "Wren Adeyemi"):
        assert kept in page
    assert PASSWORD not in page


def test_what_the_computer_cannot_know_is_chosen_and_not_guessed(db: None) -> None:
    assert Client().get("/first-start/").context["form"]["currency"].value() == ""


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("code", ""),
        ("name", ""),
        ("email", "not an address"),
        ("currency", "XXX"),
        ("currency", "usd"),
        ("currency", ""),
        ("time_zone", ""),
        ("time_zone", "Mars/Olympus"),
        ("paper", "A3"),
        ("labour_rate", "-5"),
        ("labour_rate", "1,234"),
        ("warranty_labour_days", "-1"),
        ("warranty_parts_days", "99999999999999999999"),
        ("tax_percent", ""),
        ("tax_percent", "101"),
        ("tax_percent", "NaN"),
        ("tax_on", []),
        ("tax_on", ["is_staff"]),
        ("free_days", "4000"),
        ("deadline_days", "29"),
        ("deadline_days", "71"),  # 30 free and three notices of 14 need 72
        ("notice_gap_days", "a fortnight"),
        ("daily_fee", "free"),
        ("owner_sign_in", "två ord"),
        ("new_password", "short"),
        ("new_password_again", "something else"),
        ("new_pin", "1234"),
    ],
)
def test_what_cannot_be_is_said_beside_its_field(db: None, code: str, field: str, value: Any) -> None:
    answer = Tablet().send("/first-start/", {**typed(code), field: value})
    assert answer.status_code == 422
    assert field in answer.context["form"].errors
    assert Shop.current() is None


def test_the_second_tablet_is_told_that_the_shop_is_open(db: None, code: str) -> None:
    form_values = {
        "shop": {"name": "The other"},
        "terms": opening.example_terms(),
        "tax": None,
        "owner_name": "Other",
        "sign_in": "other",
        "password": PASSWORD,
    }
    Tablet().send("/first-start/", typed(code))
    with pytest.raises(opening.AlreadyOpen):
        opening.open_shop(**form_values)
    assert Shop.current().name == "Lantern Quay Electronics"
    assert not Staff.objects.filter(sign_in="other").exists()


def test_a_taken_sign_in_word_leaves_nothing_behind(db: None) -> None:
    Staff.objects.create_user("wren", "Wren", Role.BENCH, PASSWORD)
    with pytest.raises(ValidationError, match="sign_in"):
        opening.open_shop(
            shop={"name": "Half a shop"},
            terms=opening.example_terms(),
            tax=None,
            owner_name="Wren",
            sign_in="wren",
            password=PASSWORD,
        )
    assert Shop.current() is None


def test_once_the_shop_is_open_the_page_is_gone(shop: Shop) -> None:
    assert Client().get("/first-start/")["Location"] == "/"
    assert Tablet().send("/first-start/", typed("AAAA-AAAA"))["Location"] == "/"


def test_the_used_code_is_gone(db: None, code: str, tmp_path: Any) -> None:
    Tablet().send("/first-start/", typed(code))
    assert not (tmp_path / "first-start.json").exists()
