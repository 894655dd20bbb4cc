"""The look of a device: kept on the device, changed by a form."""

import pytest
from django.test import Client


def test_it_is_kept_for_a_year_on_the_device(as_bench):
    response = as_bench.post("/theme/", {"theme": "bench", "next": "/jobs/"})
    cookie = response.cookies["theme"]
    assert (response.status_code, response["Location"]) == (302, "/jobs/")
    assert cookie.value == "bench"
    assert int(cookie["max-age"]) == 365 * 24 * 3600
    assert cookie["samesite"] == "Lax"


def test_the_page_wears_it_from_then_on(as_bench):
    as_bench.post("/theme/", {"theme": "bench"})
    assert b'data-theme="bench"' in as_bench.get("/reports/turnaround/", follow=True).content


@pytest.mark.parametrize("wanted", ["", "neon", "bench;x=1", "<b>"])
def test_a_theme_that_isn_t_ours_is_not_kept(as_bench, wanted):
    assert "theme" not in as_bench.post("/theme/", {"theme": wanted}).cookies


def test_it_goes_on_only_within_the_shop(as_bench):
    response = as_bench.post("/theme/", {"theme": "auto", "next": "https://elsewhere.example/"})
    assert response["Location"] == "/"


def test_it_rejects_get(as_bench):
    assert as_bench.get("/theme/").status_code == 405


def test_it_needs_the_form_s_token(shop):
    assert Client(enforce_csrf_checks=True).post("/theme/", {"theme": "bench"}).status_code == 403


def test_it_works_at_the_door_too(shop):
    assert Client().post("/theme/", {"theme": "counter"}).cookies["theme"].value == "counter"
