"""The pattern page: every part renders, for staff only, and costs no queries of its own."""

import pytest


def test_it_shows_every_part(as_bench):
    page = as_bench.get("/pattern/").content.decode()
    for part in (
        "tag big",
        "state-let-go",
        "caution",
        "form-wrong",
        "timeline",
        "keypad",
        "signature-paper",
        "conflict",
    ):
        assert part in page


def test_it_is_not_for_the_sign_in_pad(as_pad):
    assert as_pad.get("/pattern/").status_code == 403


def test_it_rejects_post(as_bench):
    assert as_bench.send("/pattern/").status_code == 405


def test_a_page_without_rows_asks_only_who_is_here(as_bench, django_assert_max_num_queries):
    with django_assert_max_num_queries(3):  # the session, the person, the shop
        as_bench.get("/pattern/")


@pytest.mark.parametrize(
    ("role", "seen", "unseen"),
    [
        ("as_owner", ["Drop-off", "Queue", "Jobs", "People", "Reports", "Shop"], []),
        ("as_bench", ["Drop-off", "Queue", "Jobs", "People"], ["Reports", "> Shop"]),
        ("as_counter", ["Drop-off", "Queue", "Jobs", "People"], ["Reports", "> Shop"]),
    ],
)
def test_the_nav_shows_only_what_is_open_to_this_person(request, role, seen, unseen):
    page = request.getfixturevalue(role).get("/pattern/").content.decode()
    nav = page.split('<nav class="nav"')[1].split("</nav>")[0]
    for word in seen:
        assert f"{word}</a>" in nav
    for word in unseen:
        assert f"{word}</a>" not in nav
