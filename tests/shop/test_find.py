"""The one search box: what it answers while typing, and after Enter."""

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from shop import sockets
from shop.search import SHORTEST, search
from tests.factories import GearFactory, JobFactory, PersonFactory, PhoneFactory


@pytest.fixture
def job(shop):
    return JobFactory(month="2611", number=7, gear=GearFactory(owner=PersonFactory(name="Dana Whitlow")))


def test_a_scanned_claim_opens_its_job(as_counter, job):
    response = as_counter.get("/find/", {"q": f"http://10.0.0.7:8000/t/{job.claim}/\r"})
    assert (response.status_code, response["Location"]) == (302, f"/job/{job.claim}/")


def test_while_typing_it_is_shown_and_not_opened(as_counter, job):
    response = as_counter.part("/find/", {"q": job.claim})
    assert response.status_code == 200
    assert f'href="/job/{job.claim}/"' in response.content.decode()
    assert b"<html" not in response.content


def test_a_mistyped_claim_says_so_and_opens_nothing(as_counter, job):
    wrong = job.claim[:-1] + ("A" if job.claim[-1] != "A" else "B")
    for response in (as_counter.get("/find/", {"q": wrong}), as_counter.part("/find/", {"q": wrong})):
        page = response.content.decode()
        assert response.status_code == 200
        assert "Check it against the ticket" in page
        assert "/job/" not in page.replace("/jobs/", "")


def test_one_hit_alone_is_not_opened(as_counter, job):
    response = as_counter.get("/find/", {"q": "2611-0007"})
    assert response.status_code == 200
    assert f'href="/job/{job.claim}/"' in response.content.decode()


def test_it_finds_every_kind(as_counter, job):
    page = as_counter.part("/find/", {"q": "whitlow"}).content.decode()
    assert 'aria-label="Jobs"' in page
    assert 'aria-label="People"' in page


def test_a_whole_page_comes_without_htmx(as_counter, job):
    page = as_counter.get("/find/", {"q": "whitlow"}).content.decode()
    assert "<html" in page
    assert f'href="/job/{job.claim}/"' in page


@pytest.mark.parametrize("text", ["", "w", " w "])
def test_one_letter_is_too_short(as_counter, job, text):
    assert 'role="option"' not in as_counter.part("/find/", {"q": text}).content.decode()


def test_nothing_found_says_what_to_try(as_counter, job):
    assert "Nothing fits" in as_counter.part("/find/", {"q": "zzyzx"}).content.decode()


def test_hits_are_shown_as_text(as_counter, shop):
    PersonFactory(name="<img src=x> Whitlow")
    page = as_counter.part("/find/", {"q": "<img src whitlow"}).content.decode()
    assert "&lt;img src=x&gt;" in page
    assert "<img src=x" not in page


def test_a_finder_answers_only_whom_it_may(owner, counter, bench, monkeypatch):
    finders = sockets.Socket()
    finders.plug(
        sockets.Finder(
            "Secrets", "set up the shop", lambda text, limit: [sockets.Hit("Key", "", "/")], lambda text: "/"
        )
    )
    monkeypatch.setattr(sockets, "finders", finders)
    assert search("key", owner).straight == "/"
    for staff in (counter, bench):
        found = search("key", staff)
        assert (found.kinds, found.straight) == ((), "")


def test_the_pad_finds_nothing(as_pad, job):
    for answer in (as_pad.get("/find/", {"q": "whitlow"}), as_pad.part("/find/", {"q": job.claim})):
        assert answer.status_code == 403
        assert job.claim not in answer.content.decode()


def test_it_rejects_post(as_counter):
    assert as_counter.post("/find/").status_code == 405


def test_the_number_of_queries_doesn_t_grow(as_counter, django_assert_max_num_queries, shop):
    def fill(count: int) -> None:
        for n in range(count):
            person = PersonFactory(name=f"Quillon {n}")
            PhoneFactory(person=person)
            JobFactory(gear=GearFactory(owner=person, maker="Quillon"))

    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    counts = []
    for more in (2, 12):
        fill(more)
        with CaptureQueriesContext(
            connection,
        ) as caught:
            as_counter.part("/find/", {"q": "quillon"})
        counts.append(len(caught))
    assert counts[0] == counts[1]


@settings(max_examples=50, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.text(max_size=400))
def test_nothing_that_is_typed_breaks_it(as_counter, text):
    response = as_counter.part("/find/", {"q": text})
    assert response.status_code == 200


def test_two_letters_are_enough(as_counter, job):
    assert SHORTEST == 2
    assert 'role="option"' in as_counter.part("/find/", {"q": "wh"}).content.decode()
