"""Gear: what it is, all its visits, and correcting what was written."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from intake.forms_people import GearForm
from intake.models import GearKind
from shop import timeline
from tests.factories import FindingFactory, GearFactory, JobFactory, PersonFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def meridian(shop):
    return GearFactory(
        maker="Corvane", model="Meridian 50", serial="CM00412", owner=PersonFactory(name="Dana Whitlow")
    )


def typed(**more) -> dict:
    return {
        "kind": "head",
        "technology": "valve",
        "maker": "Corvane",
        "model": "Meridian 50",
        "serial": "CM00412",
        "year_guess": "",
        "marks": "",
        "revision": "1",
        **more,
    }


def test_its_page_shows_every_visit_with_what_was_found(as_bench, meridian):
    first, second = JobFactory(gear=meridian, state="collected"), JobFactory(gear=meridian)
    FindingFactory(job=first, fault="Screen resistor open", cure="Replaced")
    page = as_bench.get(f"/gear/{meridian.pk}/").content.decode()
    assert page.index(f"/job/{second.claim}/") < page.index(f"/job/{first.claim}/")
    assert "Screen resistor open" in page
    assert "CM00412" in page


def test_a_struck_finding_is_not_shown(as_bench, meridian):
    finding = FindingFactory(job=JobFactory(gear=meridian), fault="Screen resistor open")
    type(finding).objects.update(struck_at=finding.at)
    assert "Screen resistor open" not in as_bench.get(f"/gear/{meridian.pk}/").content.decode()


def test_its_page_says_when_it_was_never_here(as_bench, meridian):
    assert "has not been here" in as_bench.get(f"/gear/{meridian.pk}/").content.decode()


def test_its_page_takes_a_constant_number_of_queries(as_bench, meridian):
    counts = []
    for more in (2, 8):
        for _ in range(more):
            FindingFactory.create_batch(2, job=JobFactory(gear=meridian, state="collected"))
        with CaptureQueriesContext(connection) as caught:
            as_bench.get(f"/gear/{meridian.pk}/")
        counts.append(len(caught))
    assert counts[0] == counts[1]


def test_a_correction_is_kept_with_what_it_was(as_bench, bench, meridian):
    response = as_bench.send(f"/gear/{meridian.pk}/edit/", typed(serial="CM-00421", kind="combo"))
    meridian.refresh_from_db()
    assert response["Location"] == f"/gear/{meridian.pk}/"
    assert (meridian.serial, meridian.revision, meridian.folded) == (
        "CM-00421",
        2,
        "corvane meridian 50 cm 00421 cm00421",
    )
    entry = timeline.of(meridian).get()
    assert entry.by == bench
    assert [(c["what"], c["before"], c["after"]) for c in entry.changes] == [
        ("kind", "Amplifier head", "Combo amplifier"),
        ("serial number", "CM00412", "CM-00421"),
    ]


def test_the_second_tablet_sees_both_versions(as_bench, as_counter, meridian):
    path = f"/gear/{meridian.pk}/edit/"
    as_bench.send(path, typed(serial="CM00421"))
    response = as_counter.send(path, typed(serial="CM00142"))
    page = response.content.decode()
    assert response.status_code == 409
    assert "CM00421" in page and "CM00142" in page
    as_counter.send(path, {**dict(response.context["hidden"]), "keep": "mine"})
    meridian.refresh_from_db()
    assert (meridian.serial, meridian.revision) == ("CM00142", 3)


@pytest.mark.parametrize(
    "wrong", [{"kind": "spaceship"}, {"serial": "x" * 81}, {"revision": ""}, {"revision": "9" * 40}]
)
def test_a_slip_is_said_and_nothing_typed_is_lost(as_bench, meridian, wrong):
    response = as_bench.send(f"/gear/{meridian.pk}/edit/", typed(marks="Burn on the lid", **wrong))
    assert response.status_code == 422
    assert "Burn on the lid" in response.content.decode()


@settings(max_examples=50, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.dictionaries(st.sampled_from(sorted(typed())), st.text(max_size=400)))
def test_nothing_that_is_typed_breaks_it(as_bench, meridian, hostile):
    assert as_bench.send(f"/gear/{meridian.pk}/edit/", typed(**hostile)).status_code in (302, 409, 422)


@pytest.mark.parametrize("path", ["/gear/1/", "/gear/1/edit/"])
def test_the_pad_sees_no_gear(as_pad, path):
    GearFactory(pk=1, maker="Corvane")
    response = as_pad.get(path)
    assert response.status_code == 403
    assert "Corvane" not in response.content.decode()


def test_gear_that_isn_t_there_is_404(as_bench):
    assert as_bench.get("/gear/99999/").status_code == 404


@pytest.mark.parametrize("kind", GearKind.values)
def test_every_kind_has_a_page(as_bench, shop, kind):
    gear = GearFactory(kind=kind, maker="", model="")
    assert as_bench.get(f"/gear/{gear.pk}/").status_code == 200


def test_what_only_one_of_two_tablets_changed_is_kept_of_both(as_bench, as_counter, meridian):
    form = GearForm.opened_on(meridian, meridian.revision, "USD")
    held = {"revision": form.initial["revision"], "opened_with": form.initial["opened_with"]}
    path, texts = f"/gear/{meridian.pk}/edit/", GearForm.texts_of(meridian, "USD")
    as_bench.send(path, {**texts, **held, "serial": "CM00421"})
    assert as_counter.send(path, {**texts, **held, "marks": "Burn on the lid"}).status_code == 302
    meridian.refresh_from_db()
    assert (meridian.serial, meridian.marks, meridian.revision) == ("CM00421", "Burn on the lid", 3)
