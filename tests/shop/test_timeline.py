"""The timeline: who, when, what, before and after; written once."""

import pytest
from django.db import DatabaseError, connection, transaction

from shop import keep, timeline
from shop.models import Entry, Shop, Staff, Terms
from tests.factories import StaffFactory


def test_an_entry_says_who_and_what_changed(owner: Staff, bench: Staff) -> None:
    entry = timeline.write(
        bench, by=owner, words="was changed", before={"role": "Bench"}, after={"role": "Counter"}
    )
    assert (entry.by, entry.about, entry.words) == (owner, f"staff/{bench.pk}", "was changed")
    assert entry.changes == [{"what": "role", "before": "Bench", "after": "Counter"}]


def test_what_did_not_change_is_left_out(owner: Staff) -> None:
    entry = timeline.write("shop", by=owner, words="x", before={"a": 1, "b": None}, after={"a": "1", "b": ""})
    assert entry.changes == []


def test_what_is_new_has_no_before_and_what_is_gone_no_after(owner: Staff) -> None:
    entry = timeline.write("shop", by=owner, words="x", before={"gone": "it"}, after={"new": "it"})
    assert entry.changes == [
        {"what": "gone", "before": "it", "after": ""},
        {"what": "new", "before": "", "after": "it"},
    ]


def test_the_newest_comes_first_and_only_of_the_thing_asked_for(owner: Staff, bench: Staff) -> None:
    for words in ("first", "second"):
        timeline.write(owner, by=owner, words=words)
    timeline.write(bench, by=owner, words="another's")
    assert [entry.words for entry in timeline.of(owner)] == ["second", "first"]


def test_reading_it_with_who_wrote_takes_one_query(owner: Staff, django_assert_num_queries) -> None:
    for _ in range(5):
        timeline.write("shop", by=StaffFactory(), words="acted")
    with django_assert_num_queries(1):
        assert len([entry.by.name for entry in timeline.of("shop")]) == 5


@pytest.fixture(params=["entry", "terms"])
def kept(request: pytest.FixtureRequest, shop: Shop, owner: Staff) -> Entry | Terms:
    """A row that is written once: a line of the timeline, a version of the terms."""
    if request.param == "terms":
        return Terms.current()
    return timeline.write("shop", by=owner, words="acted")


def test_what_is_kept_is_not_changed_by_us(kept: Entry | Terms) -> None:
    with pytest.raises(TypeError, match="can't be changed"):
        kept.save()


def test_what_is_kept_is_not_deleted_by_us(kept: Entry | Terms) -> None:
    with pytest.raises(TypeError, match="can't be deleted"):
        kept.delete()


@pytest.mark.parametrize(
    "act", ["UPDATE {table} SET id = id WHERE id = {pk}", "DELETE FROM {table} WHERE id = {pk}"]
)
def test_the_database_itself_holds_to_it(kept: Entry | Terms, act: str) -> None:
    keep.forbid(connection, kept._meta.db_table)  # as a migration did, where the suite runs them
    with pytest.raises(DatabaseError), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(act.format(table=kept._meta.db_table, pk=kept.pk))
