"""Who is let through, how a refusal looks, and what every answer carries."""

import pytest
from django.test import Client, RequestFactory
from hypothesis import HealthCheck, given
from hypothesis import settings as effort
from hypothesis import strategies as st

from shop.access import allowed
from shop.http import safe_next
from shop.models import Shop, Staff
from shop.roles import ACTS, Role, may
from tests.conftest import Tablet
from tests.factories import JobFactory


def test_an_act_that_is_not_in_the_table_is_a_mistake_at_import() -> None:
    with pytest.raises(KeyError):
        allowed("paint the shop")


PADS = {"fill the pad", "read and sign", "take the tablet back"}  # with a customer at the glass


def test_the_owner_may_do_everything_but_fill_the_pad() -> None:
    assert {act for act in ACTS if not may(Role.OWNER, act)} == PADS


def test_the_pad_may_do_nothing_but_fill_itself() -> None:
    assert {act for act in ACTS if may(Role.PAD, act)} == PADS


@pytest.mark.parametrize("act", ["see reports", "set up the shop", "manage staff", "waive money owed"])
def test_what_is_the_owners_is_nobody_elses(act: str) -> None:
    assert [role for role in Role if may(role, act)] == [Role.OWNER]


def test_somebody_who_may_not_sign_in_may_do_nothing(owner: Staff) -> None:
    owner.is_active = False
    assert not any(owner.may(act) for act in ACTS)


# --- the front door


def test_a_stranger_is_sent_to_the_door_and_then_back(shop: Shop) -> None:
    assert Client().get("/shop/?a=b")["Location"] == "/enter/?next=%2Fshop%2F%3Fa%3Db"


def test_a_strangers_post_leads_back_to_the_page_it_was_sent_from(shop: Shop) -> None:
    answer = Client().post("/shop/staff/new/", headers={"Referer": "http://testserver/shop/staff/new/"})
    assert answer["Location"] == "/enter/?next=%2Fshop%2Fstaff%2Fnew%2F"


def test_a_part_asked_for_after_the_session_ended_moves_the_whole_page(shop: Shop) -> None:
    headers = {"HX-Request": "true", "HX-Current-URL": "http://testserver/shop/taxes/"}
    answer = Client().get("/shop/", headers=headers)
    assert answer["HX-Redirect"] == "/enter/?next=%2Fshop%2Ftaxes%2F"
    assert answer.status_code == 200


def test_a_referer_from_elsewhere_leads_home(shop: Shop) -> None:
    answer = Client().post("/shop/", headers={"Referer": "https://example.org/shop/"})
    assert answer["Location"] == "/enter/?next=%2F"


# What browsers make of backslashes and control characters in an address is in the WHATWG URL standard, 4.4.
@pytest.mark.parametrize(
    "elsewhere",
    [
        "https://example.org/",
        "//example.org/",
        "///example.org",
        "/\\example.org",
        "\\\\example.org",
        "http:example.org",
        "javascript:alert(1)",
        "\thttps://example.org",
        "data:text/html,x",
        "staff",
        "no-such-name",
        "",
    ],
)
def test_going_on_stays_in_the_shop(db: None, elsewhere: str) -> None:
    request = RequestFactory().post("/", {"next": elsewhere})
    assert safe_next(request, "home") == "/"


@effort(max_examples=50, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(wanted=st.text(max_size=60))
def test_going_on_never_leaves_the_shop_whatever_is_asked(wanted: str) -> None:
    onward = safe_next(RequestFactory().get("/", {"next": wanted}), "home")
    assert onward.startswith("/") and not onward.replace("\\", "/").startswith("//")


# --- refusals


def test_a_refused_page_says_what_to_do(as_bench: Tablet) -> None:
    answer = as_bench.get("/shop/")
    assert answer.status_code == 403
    assert "Change person, or ask the owner" in answer.content.decode()


def test_a_refused_part_is_a_sentence_for_the_place_of_words(as_bench: Tablet) -> None:
    answer = as_bench.part("/shop/")
    assert answer.status_code == 403
    assert answer["HX-Retarget"] == "#words"
    assert "<html" not in answer.content.decode()


def test_a_form_from_before_the_last_sign_in_is_told_to_load_again(owner: Staff) -> None:
    tablet = Tablet(enforce_csrf_checks=True)
    tablet.force_login(owner)
    answer = tablet.send("/shop/staff/new/")
    assert answer.status_code == 403
    assert "load it again" in answer.content.decode()


def test_a_page_that_is_not_there_says_so_in_our_words(as_owner: Tablet) -> None:
    answer = as_owner.get("/no-such-page/")
    assert answer.status_code == 404
    assert "There is no such page" in answer.content.decode()


# --- what every answer carries


@pytest.mark.parametrize("path", ["/enter/", "/no-such-page/", "/shop/"])
def test_no_answer_may_run_a_script_of_its_own_or_stay_in_a_shared_cache(as_bench: Tablet, path: str) -> None:
    answer = as_bench.get(path)
    policy = answer["Content-Security-Policy"]
    assert "default-src 'self'" in policy and "unsafe" not in policy
    assert answer["Cache-Control"] == "private, no-store"
    assert answer["X-Frame-Options"] == "DENY"
    assert answer["X-Content-Type-Options"] == "nosniff"


def test_the_session_cookie_is_out_of_reach_of_scripts_and_other_sites(owners_tablet: Tablet) -> None:
    cookie = owners_tablet.cookies["sessionid"]
    assert cookie["httponly"] and cookie["samesite"] == "Lax"


def test_an_address_that_only_takes_a_form_is_a_page_with_a_way_back(as_counter: Tablet) -> None:
    answer = as_counter.get("/theme/", HTTP_REFERER="http://testserver/jobs/")
    assert (answer.status_code, answer["Allow"]) == (405, "POST")
    page = answer.content.decode()
    assert "only takes what a form of ours sends" in page
    assert 'href="http://testserver/jobs/"' in page and 'href="/"' in page


def test_the_way_back_from_a_typed_address_is_the_page_above_it(as_counter: Tablet) -> None:
    job = JobFactory()
    page = as_counter.get(f"/job/{job.claim}/move/").content.decode()
    assert "<h1>Not this way</h1>" in page and f'class="button" href="/job/{job.claim}/"' in page
