"""The reports page lists what the floors plugged in."""

import pytest

from shop import sockets

pytestmark = pytest.mark.django_db


def test_it_lists_what_the_floors_plugged_in(as_owner):
    page = as_owner.get("/reports/").content.decode()
    for report in sockets.reports:
        assert report.title in page


def test_it_says_so_when_there_is_none(as_owner, monkeypatch):
    monkeypatch.setattr(sockets, "reports", sockets.Socket())
    assert "No report is offered yet." in as_owner.get("/reports/").content.decode()


@pytest.mark.parametrize("path", ["/reports/", "/reports/turnaround/", "/reports/turnaround.csv"])
def test_only_the_owner_sees_figures(as_bench, as_counter, as_pad, path):
    assert {t.get(path).status_code for t in (as_bench, as_counter, as_pad)} == {403}
