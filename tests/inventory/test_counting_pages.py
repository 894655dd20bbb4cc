"""The pages of a counting round: walked with the tablet, the differences looked at, then posted."""

from decimal import Decimal

import pytest
from django.urls import reverse

from inventory import counting, stock
from inventory.models import CountRound, Drawer, Part
from tests.factories import DrawerFactory, PartFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def drawer(shop) -> Drawer:
    return DrawerFactory(code="B-14")


@pytest.fixture
def part(drawer, owner) -> Part:
    return stocked(drawer, owner, name="22u 450V axial")


@pytest.fixture
def a_round(bench) -> CountRound:
    return counting.begin(by=bench, words="The tube wall")


def stocked(drawer, by, **more) -> Part:
    part = PartFactory(drawer=drawer, **more)
    stock.receive(part, quantity=57, cost_each=Decimal("2.50"), by=by)
    return part


def now(part: Part) -> int:
    part.refresh_from_db()
    return part.quantity


def count(tablet, a_round, key, said, **more):
    return tablet.send(f"/counting/{a_round.pk}/drawer/{key}/", said, **more)


def post(tablet, a_round, **more):
    a_round.refresh_from_db()
    data = {"revision": a_round.revision, **more}
    return tablet.send(f"/counting/{a_round.pk}/post/", data)


def test_a_round_is_begun_walked_looked_at_and_posted(as_bench, drawer, part):
    begun = as_bench.send("/counting/", {"words": "The year’s end"}, follow=True)
    a_round = CountRound.objects.get()
    assert "0 of 1 drawer counted" in begun.content.decode()
    done = count(as_bench, a_round, drawer.pk, {f"count-{part.pk}": "55"}, follow=True)
    page = done.content.decode()
    assert done.redirect_chain[-1][0] == f"/counting/{a_round.pk}/differences/"
    assert "Nothing is posted yet" in page and "-2" in page and "$5.00" in page
    assert now(part) == 57
    posted = post(as_bench, a_round)
    assert posted.status_code == 302 and now(part) == 55
    over = as_bench.get(f"/counting/{a_round.pk}/").content.decode()
    assert "Posted" in over and "Post the differences" not in over


def test_whoever_counts_is_not_told_what_the_ledger_says(as_bench, drawer, part, a_round):
    """57 stands nowhere on the page."""
    page = as_bench.get(f"/counting/{a_round.pk}/drawer/{drawer.pk}/").content.decode()
    assert part.name in page and ">57<" not in page and 'value="57"' not in page


def test_the_next_drawer_comes_by_itself(as_bench, owner, drawer, part, a_round):
    other = stocked(DrawerFactory(code="C-1"), owner)
    response = count(as_bench, a_round, drawer.pk, {f"count-{part.pk}": "57"})
    assert response["Location"] == f"/counting/{a_round.pk}/drawer/{other.drawer.pk}/"


def test_a_scan_opens_the_drawer_within_the_round(as_bench, drawer, part, a_round):
    for text in ("b-14", f"http://192.0.2.20{reverse('drawer-scan', args=['B-14'])}"):
        response = as_bench.get(f"/counting/{a_round.pk}/scan/", {"q": text})
        assert response["Location"] == f"/counting/{a_round.pk}/drawer/{drawer.pk}/"
    label = reverse("part", args=[part.pk])
    assert as_bench.get(f"/counting/{a_round.pk}/scan/", {"q": label})["Location"].endswith(f"/{drawer.pk}/")


def test_a_scan_of_no_drawer_says_so(as_bench, a_round):
    response = as_bench.get(f"/counting/{a_round.pk}/scan/", {"q": "Z-99"}, follow=True)
    assert "No drawer is called “Z-99”" in response.content.decode()


def test_what_lives_in_no_drawer_is_counted_too(as_bench, owner, a_round):
    part = stocked(None, owner)
    count(as_bench, a_round, "none", {f"count-{part.pk}": "3"})
    post(as_bench, a_round)
    assert now(part) == 3


def test_an_empty_box_is_not_counted_and_a_nought_is(as_bench, owner, drawer, part, a_round):
    other = stocked(drawer, owner)
    count(as_bench, a_round, drawer.pk, {f"count-{part.pk}": "0", f"count-{other.pk}": ""})
    page = as_bench.get(f"/counting/{a_round.pk}/differences/").content.decode()
    assert "B-14: 1 of 2 parts counted" in page
    post(as_bench, a_round)
    assert (now(part), now(other)) == (0, 57)


def test_what_isnt_counted_is_looked_at(as_bench, drawer, part, a_round):
    screws = PartFactory(drawer=drawer, is_loose=True, level="plenty")
    count(as_bench, a_round, drawer.pk, {f"level-{screws.pk}": "low"})
    screws.refresh_from_db()
    assert screws.level == "low" and not a_round.lines.exists()


@pytest.mark.parametrize(
    ("typed", "why"),
    [("-1", "0 if there is none"), ("a few", "whole number"), ("9999999", "Check the number")],
)
def test_a_count_that_cannot_be_says_how_to_mend_it_and_keeps_the_rest(
    as_bench, owner, drawer, part, a_round, typed, why
):
    other = stocked(drawer, owner)
    response = count(as_bench, a_round, drawer.pk, {f"count-{part.pk}": typed, f"count-{other.pk}": "41"})
    page = response.content.decode()
    assert response.status_code == 422 and why in page and 'value="41"' in page
    assert not a_round.lines.exists()


def test_an_empty_drawer_form_is_refused(as_bench, drawer, part, a_round):
    response = count(as_bench, a_round, drawer.pk, {}, htmx=True)
    assert response.status_code == 422 and "at least one count" in response.content.decode()


def test_differences_that_were_not_seen_are_not_posted(as_bench, drawer, part, a_round):
    count(as_bench, a_round, drawer.pk, {f"count-{part.pk}": "55"})
    response = post(as_bench, a_round, revision=0)
    assert response.status_code == 409 and "More was counted meanwhile" in response.content.decode()
    assert now(part) == 57
    assert post(as_bench, a_round, revision="x").status_code == 422


def test_a_count_that_has_gone_stale_says_why(as_bench, bench, drawer, part, a_round):
    other = counting.begin(by=bench)
    for each in (a_round, other):
        count(as_bench, each, drawer.pk, {f"count-{part.pk}": "55"})
    post(as_bench, other)
    page = as_bench.get(f"/counting/{a_round.pk}/differences/").content.decode()
    assert "Another count of it was posted since." in page
    assert post(as_bench, a_round).status_code == 422 and now(part) == 55


def test_a_round_is_dropped(as_bench, drawer, part, a_round):
    count(as_bench, a_round, drawer.pk, {f"count-{part.pk}": "55"})
    as_bench.send(f"/counting/{a_round.pk}/drop/")
    assert now(part) == 57
    assert "Dropped" in as_bench.get(f"/counting/{a_round.pk}/").content.decode()
    assert count(as_bench, a_round, drawer.pk, {f"count-{part.pk}": "5"}).status_code == 422


def test_only_who_sees_to_parts_counts(as_counter, a_round, drawer):
    for path in ("/counting/", f"/counting/{a_round.pk}/", f"/counting/{a_round.pk}/drawer/{drawer.pk}/"):
        assert as_counter.get(path).status_code == 403


@pytest.mark.parametrize("key", ["999", "x", "99999999999999"])
def test_a_drawer_that_isnt_there_is_not_found(as_bench, a_round, key):
    assert as_bench.get(f"/counting/{a_round.pk}/drawer/{key}/").status_code == 404


def test_the_pages_take_a_fixed_number_of_queries(
    as_bench, bench, owner, drawer, part, a_round, django_assert_max_num_queries
):
    def queries() -> list[int]:
        found = []
        for path in ("/counting/", f"/counting/{a_round.pk}/", f"/counting/{a_round.pk}/differences/"):
            with django_assert_max_num_queries(40) as seen:
                assert as_bench.get(path).status_code == 200
            found.append(len(seen))
        return found

    def more() -> None:
        other = stocked(DrawerFactory(), owner)
        count(as_bench, a_round, other.drawer.pk, {f"count-{other.pk}": "5"})
        counting.begin(by=bench)
        counting.drop(counting.begin(by=bench), by=bench)

    more()
    few = queries()
    for _ in range(4):
        more()
    assert queries() == few
