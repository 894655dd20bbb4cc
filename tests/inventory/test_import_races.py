"""Files of parts read in on several tablets at the same moment, with real threads.

On a SQLite file, as shops have it, and on PostgreSQL. Whatever happens: no part is there twice, nothing comes in
twice, and whoever was too late is told to look again.
"""

from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection

from inventory import files, importing, parts, stock
from inventory.importing import Does
from inventory.models import Drawer, Import, Part
from shop.errors import ChangedMeanwhile, Refused
from shop.once import FIELD, new_key
from tests.at_once import at_once
from tests.conftest import Tablet
from tests.factories import PartFactory, ShopFactory, StaffFactory, TermsFactory

FOUR = 4
pytestmark = [pytest.mark.django_db(transaction=True)] if connection.vendor != "sqlite" else []
HEAD = "name;kind;drawer;quantity;cost\n"
ONE = HEAD + "33k 1W;resistor;B-14;20;0.12\n10n 400V film;capacitor;B-14;8;0.31\n"


@pytest.fixture
def by(racing_database: None) -> Any:
    ShopFactory()
    TermsFactory()
    return StaffFactory(role="owner")


def reading(text: str, by: Any) -> Any:
    """An act that says yes to the plan as it is now."""
    lines = files.read_parts(text.encode(), "USD").lines
    seal = importing.plan(lines).seal
    return lambda: importing.read_in("parts.csv", lines, seal=seal, by=by)


def all_at_once(acts: list[Any]) -> list[Any]:
    """What came of each; nobody gets anything but an import or a sentence."""
    outcomes = at_once(acts)
    assert all(isinstance(each, Import | Refused) for each in outcomes), outcomes
    return outcomes


def names() -> list[str]:
    return sorted(Part.objects.values_list("name", flat=True))


def test_the_same_file_on_four_tablets_is_read_in_once_and_the_others_are_told(by):
    outcomes = all_at_once([reading(ONE, by) for _ in range(FOUR)])
    assert sum(isinstance(each, Import) for each in outcomes) == 1
    assert sum(isinstance(each, ChangedMeanwhile) for each in outcomes) == FOUR - 1
    assert names() == ["10n 400V film", "33k 1W"]
    assert sorted(Part.objects.values_list("quantity", flat=True)) == [8, 20]
    assert Drawer.objects.filter(code="B-14").count() == 1
    assert stock.check() == []


def test_of_two_files_that_bring_the_same_part_the_second_is_looked_at_again(by):
    texts = [HEAD + f"33k 1W;resistor;B-14;{count};0.12\n{count}k 1W;resistor;;1;1\n" for count in (5, 6)]
    acts = [reading(text, by) for text in texts]
    outcomes = all_at_once(acts)
    assert sorted(type(each).__name__ for each in outcomes) == ["ChangedMeanwhile", "Import"]
    late = next(place for place, each in enumerate(outcomes) if isinstance(each, ChangedMeanwhile))
    again = importing.plan(files.read_parts(texts[late].encode(), "USD").lines)
    assert [each.does for each in again.lines] == [Does.CHANGE, Does.NEW]
    assert names().count("33k 1W") == 1
    assert stock.check() == []


def test_of_two_files_that_count_the_same_part_one_is_looked_at_again(by):
    part = PartFactory()
    texts = [f"part no.;how many\n{part.pk};{count}\n" for count in (5, 6)]
    outcomes = all_at_once([reading(text, by) for text in texts])
    assert sorted(type(each).__name__ for each in outcomes) == ["ChangedMeanwhile", "Import"]
    part.refresh_from_db()
    assert part.quantity in (5, 6)
    assert part.moves.count() == 1
    assert stock.check() == []


def test_files_that_bring_other_parts_to_the_same_new_drawer_make_it_once(by):
    texts = [HEAD + f"{count}k 1W;resistor;B-14;1;1\n" for count in (5, 6, 7)]
    outcomes = all_at_once([reading(text, by) for text in texts])
    assert any(isinstance(each, Import) for each in outcomes)
    assert Drawer.objects.filter(code="B-14").count() == 1
    assert len(names()) == sum(isinstance(each, Import) for each in outcomes)


def test_a_drawer_written_down_on_four_tablets_is_there_once_and_the_others_are_told(by):
    outcomes = at_once([lambda: parts.new_drawer(facts={"code": "B-14"}, by=by)] * FOUR)
    assert sum(isinstance(each, Drawer) for each in outcomes) == 1, outcomes
    assert sum(isinstance(each, parts.CodeTaken) for each in outcomes) == FOUR - 1, outcomes


def test_two_tablets_that_say_yes_to_the_same_page_get_the_import_and_a_page_to_look_again(by):
    """Through the web: the second one's page is what the file would do now, which is nothing."""
    tablets = [Tablet() for _ in range(2)]
    pages = []
    for tablet in tablets:
        tablet.force_login(by, backend="shop.doors.PasswordDoor")
        upload = _file(ONE)
        pages.append(tablet.send("/parts/import/", {"file": upload}).context["parcel"])
    answers = at_once(
        [
            lambda tablet=tablet, parcel=parcel: tablet.post(
                "/parts/import/yes/", {FIELD: new_key(), "parcel": parcel}
            )
            for tablet, parcel in zip(tablets, pages, strict=True)
        ]
    )
    assert sorted(answer.status_code for answer in answers) == [302, 409], answers
    told = next(answer for answer in answers if answer.status_code == 409).content.decode()
    assert "The stock changed while you looked" in told
    assert "stands there already" in told
    assert len(names()) == 2


def _file(text: str) -> Any:
    return SimpleUploadedFile("parts.csv", text.encode())
