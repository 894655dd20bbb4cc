"""What the owner decides: the shop's data, taxes, terms; and two tablets that decide at once."""

import datetime as dt
from decimal import Decimal
from typing import Any

import pytest
from django.utils import timezone

from shop import rules
from shop.errors import Refused
from shop.forms_setup import ShopForm, TermsForm
from shop.models import Entry, Shop, Staff, TaxRate, Terms
from tests.conftest import Tablet


def as_shown(page: Any) -> dict[str, Any]:
    """What a browser would send back of the page's form as it stands."""
    form = page.context["form"]
    values = {name: form[name].value() for name in form.fields}
    return {
        name: "on" if value is True else value for name, value in values.items() if value not in (None, False)
    }


# --- the shop's data


def test_the_form_sent_as_it_stands_changes_nothing(owners_tablet: Tablet, shop: Shop) -> None:
    before = Shop.objects.values().get()
    answer = owners_tablet.send("/shop/", as_shown(owners_tablet.get("/shop/")))
    assert answer.status_code == 302
    assert Shop.objects.values().get() == before
    assert not Entry.objects.exists()


def test_a_change_is_kept_and_stands_in_the_timeline(owners_tablet: Tablet, shop: Shop, owner: Staff) -> None:
    owners_tablet.send("/shop/", {**as_shown(owners_tablet.get("/shop/")), "labour_rate": "95,50"})
    shop.refresh_from_db()
    assert shop.labour_rate == Decimal("95.5")
    entry = Entry.objects.latest("pk")
    assert entry.by == owner
    assert [(c["what"], c["before"], c["after"]) for c in entry.changes] == [
        ("labour, an hour", "80", "95.5")
    ]


def test_electronic_invoices_are_offered_only_with_all_that_they_need(
    owners_tablet: Tablet, shop: Shop
) -> None:
    sent = {**as_shown(owners_tablet.get("/shop/")), "electronic_invoices": "on", "country": "pt"}
    answer = owners_tablet.send("/shop/", sent)
    assert answer.status_code == 422
    assert list(answer.context["form"].errors) == ["tax_number"]
    assert owners_tablet.send("/shop/", {**sent, "tax_number": "PT501964843"}).status_code == 302
    shop.refresh_from_db()
    assert (shop.electronic_invoices, shop.country) == (True, "PT")


def test_two_tablets_neither_change_is_lost_silently(owners_tablet: Tablet, shop: Shop) -> None:
    opened = as_shown(owners_tablet.get("/shop/"))
    owners_tablet.send("/shop/", {**opened, "phone": "555 0199"})
    second = {**opened, "name": "Lantern Quay"}
    answer = owners_tablet.send("/shop/", second)
    assert answer.status_code == 409
    rows = {row["label"]: row for row in answer.context["rows"] if row["differs"]}
    assert rows["Phone"]["theirs"] == "555 0199"
    assert rows["Name of the shop"]["mine"] == "Lantern Quay"
    shop.refresh_from_db()
    assert (shop.name, shop.phone) == ("Lantern Quay Electronics", "555 0199")

    hidden = dict(answer.context["hidden"])
    kept = owners_tablet.send("/shop/", {**hidden, "once": "a-new-key-for-the-choice", "keep": "mine"})
    assert kept.status_code == 302
    shop.refresh_from_db()
    assert (shop.name, shop.phone) == ("Lantern Quay", "555 0100")


def test_two_tablets_what_is_there_may_be_kept(owners_tablet: Tablet, shop: Shop) -> None:
    opened = as_shown(owners_tablet.get("/shop/"))
    owners_tablet.send("/shop/", {**opened, "phone": "555 0199"})
    owners_tablet.send("/shop/", {**opened, "name": "Lantern Quay", "keep": "theirs"})
    shop.refresh_from_db()
    assert (shop.name, shop.phone) == ("Lantern Quay Electronics", "555 0199")


def test_a_third_change_before_the_choice_is_shown_again(owners_tablet: Tablet, shop: Shop) -> None:
    opened = as_shown(owners_tablet.get("/shop/"))
    Shop.objects.update(phone="555 0199")
    hidden = dict(owners_tablet.send("/shop/", {**opened, "name": "Lantern Quay"}).context["hidden"])
    Shop.objects.update(phone="555 0177")
    answer = owners_tablet.send("/shop/", {**hidden, "once": "a-new-key-for-the-choice", "keep": "mine"})
    assert answer.status_code == 409


def test_a_form_without_its_digest_asks(owners_tablet: Tablet, shop: Shop) -> None:
    typed = {**as_shown(owners_tablet.get("/shop/")), "name": "Lantern Quay"}
    del typed["opened_with"]
    assert owners_tablet.send("/shop/", typed).status_code == 409


def test_the_same_change_twice_is_no_conflict(owners_tablet: Tablet, shop: Shop) -> None:
    opened = as_shown(owners_tablet.get("/shop/"))
    for _ in range(2):
        assert owners_tablet.send("/shop/", {**opened, "phone": "555 0199"}).status_code == 302


def test_a_zone_outside_our_list_that_the_shop_has_stays_to_choose(shop: Shop) -> None:
    shop.time_zone = "US/Eastern"
    assert "US/Eastern" in str(ShopForm(instance=shop)["time_zone"])


# --- taxes


def new_rate(**changes: Any) -> dict[str, Any]:
    return {"name": "City tax", "percent": "1.5", "on_labour": "on", "valid_from": "2026-01-01", **changes}


def test_a_rate_is_added(owners_tablet: Tablet, shop: Shop) -> None:
    assert owners_tablet.send("/shop/taxes/", new_rate()).status_code == 302
    rate = TaxRate.objects.get(name="City tax")
    assert (rate.percent, rate.on_labour, rate.on_parts) == (Decimal("1.5"), True, False)


@pytest.mark.parametrize(
    "changes", [{"on_labour": ""}, {"percent": "-1"}, {"percent": "7.25123"}, {"valid_from": "30.2.2026"}]
)
def test_a_rate_that_makes_no_sense_is_refused(
    owners_tablet: Tablet, shop: Shop, changes: dict[str, str]
) -> None:
    assert owners_tablet.send("/shop/taxes/", new_rate(**changes)).status_code == 422
    assert TaxRate.objects.count() == 1


def test_a_rate_ends_on_a_day_and_nothing_else_of_it_changes(owners_tablet: Tablet, shop: Shop) -> None:
    rate = TaxRate.objects.get()
    before = TaxRate.objects.values().get()
    typed = as_shown(owners_tablet.get(f"/shop/taxes/{rate.pk}/end/"))
    answer = owners_tablet.send(
        f"/shop/taxes/{rate.pk}/end/", {**typed, "valid_to": "2026-12-31", "percent": "1"}
    )
    assert answer.status_code == 302
    assert TaxRate.objects.values().get() == {**before, "valid_to": dt.date(2026, 12, 31)}


def test_no_page_edits_a_rate(owners_tablet: Tablet, shop: Shop) -> None:
    assert owners_tablet.get(f"/shop/taxes/{TaxRate.objects.get().pk}/").status_code == 404


def test_a_rate_ended_before_it_began_is_taken_off_the_list(owner: Staff, shop: Shop) -> None:
    today = timezone.localdate()
    rate = rules.add_rate(values={"name": "Typo tax", "percent": 72, "valid_from": today}, by=owner)
    rules.end_rate(rate, last_day=today - dt.timedelta(days=1), by=owner)
    assert not TaxRate.objects.filter(name="Typo tax").exists()
    assert Entry.objects.latest("pk").words == "took off the tax Typo tax 72 % before it held"


def test_an_ended_rate_is_not_made_to_hold_again(owner: Staff, shop: Shop) -> None:
    rate = TaxRate.objects.get()
    rules.end_rate(rate, last_day=dt.date(2025, 6, 30), by=owner)
    with pytest.raises(Refused, match="ended before"):
        rules.end_rate(rate, last_day=dt.date(2025, 12, 31), by=owner)


def test_two_tablets_ending_a_rate_on_different_days_choose(owners_tablet: Tablet, shop: Shop) -> None:
    path = f"/shop/taxes/{TaxRate.objects.get().pk}/end/"
    opened = as_shown(owners_tablet.get(path))
    owners_tablet.send(path, {**opened, "valid_to": "2026-12-31"})
    assert owners_tablet.send(path, {**opened, "valid_to": "2026-11-30"}).status_code == 409


# --- terms


def test_a_change_of_the_terms_makes_a_version_and_leaves_the_old_one(
    owners_tablet: Tablet, shop: Shop, owner: Staff
) -> None:
    first = Terms.objects.values().get()
    typed = {**as_shown(owners_tablet.get("/shop/terms/")), "text": "New words.", "fee_cap": "100"}
    assert owners_tablet.send("/shop/terms/", typed).status_code == 302
    now = Terms.current()
    assert (now.version, now.text, now.fee_cap, now.made_by) == (2, "New words.", Decimal(100), owner)
    assert Terms.objects.filter(version=1).values().get() == first


def test_terms_sent_unchanged_make_no_version(owners_tablet: Tablet, shop: Shop) -> None:
    owners_tablet.send("/shop/terms/", as_shown(owners_tablet.get("/shop/terms/")))
    assert Terms.objects.count() == 1


def test_old_versions_can_be_read(owners_tablet: Tablet, shop: Shop, owner: Staff) -> None:
    rules.write_terms(values={"text": "New.", "storage_text": "New.", "daily_fee": Decimal(3)}, by=owner)
    page = owners_tablet.get("/shop/terms/1/").content.decode()
    assert "do what you agree to" in page
    assert "Customers sign version 2 now" in page


def test_two_tablets_writing_terms_choose(owners_tablet: Tablet, shop: Shop) -> None:
    opened = as_shown(owners_tablet.get("/shop/terms/"))
    owners_tablet.send("/shop/terms/", {**opened, "text": "The first tablet's."})
    assert owners_tablet.send("/shop/terms/", {**opened, "text": "The second tablet's."}).status_code == 409
    assert Terms.current().text == "The first tablet's."


def test_the_deadline_cannot_come_before_free_storage_ends(shop: Shop) -> None:
    form = TermsForm(
        {
            "text": "a",
            "storage_text": "b",
            "free_days": 30,
            "daily_fee": "0",
            "notices": 1,
            "deadline_days": 29,
        },
        currency="USD",
    )
    assert "deadline_days" in form.errors


@pytest.mark.parametrize(("deadline", "fits"), [(71, False), (72, True)])
def test_the_deadline_leaves_room_for_every_notice(shop: Shop, deadline: int, fits: bool) -> None:
    # 30 free days, then three notices with 14 days after each: 30 + 42
    figures = {"free_days": 30, "daily_fee": "0", "notices": 3, "notice_gap_days": 14}
    form = TermsForm({"text": "a", "storage_text": "b", **figures, "deadline_days": deadline}, currency="USD")
    assert form.is_valid() == fits
    if not fits:
        assert "need 72 days" in form.errors["deadline_days"][0]


def test_terms_may_give_a_warranty_of_their_own(owners_tablet: Tablet, shop: Shop) -> None:
    opened = as_shown(owners_tablet.get("/shop/terms/"))
    typed = {**opened, "notice_gap_days": "10", "warranty_labour_days": "180", "warranty_parts_days": ""}
    assert owners_tablet.send("/shop/terms/", typed).status_code == 302
    now = Terms.current()
    assert (now.notice_gap_days, now.warranty_labour_days, now.warranty_parts_days) == (10, 180, None)
    assert "180 days" in owners_tablet.get(f"/shop/terms/{now.version}/").content.decode()


def test_the_page_says_to_have_terms_checked(owners_tablet: Tablet, shop: Shop) -> None:
    assert "Have these terms checked locally" in owners_tablet.get("/shop/terms/").content.decode()
