"""What every test can ask for: the shop, its people, and a browser-like client that sends forms as our pages do."""

import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.core.management import call_command
from django.db import connection, connections
from django.http import HttpResponse
from django.test import Client

from shop import keep
from shop.models import Shop, Staff, Terms
from shop.once import FIELD, new_key
from shop.roles import Role
from tests.factories import ShopFactory, StaffFactory, TaxRateFactory, TermsFactory


@pytest.fixture(scope="session")
def django_db_setup(django_db_setup: None, django_db_blocker: Any) -> list[str]:
    """The test's database, with its rows free to be deleted between tests. Written-once rows still can't change.

    Its value is the list of tables that lacked their triggers as the migrations left them: see test_keep.
    """
    with django_db_blocker.unblock():
        missing = keep.missing(connection)
        for table in keep.kept_tables():
            keep.lift(connection, table)
    return missing


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """On PostgreSQL, the second database, run what asks it something; the rest has run on the first."""
    if settings.DATABASES["default"]["ENGINE"].endswith("sqlite3"):
        return
    asking = [item for item in items if _asks_the_database(item) and not item.get_closest_marker("anywhere")]
    asked = set(asking)
    config.hook.pytest_deselected(items=[item for item in items if item not in asked])
    items[:] = asking


def _asks_the_database(item: pytest.Item) -> bool:
    fixtures = set(getattr(item, "fixturenames", ()))
    return bool(
        item.get_closest_marker("django_db") or fixtures & {"db", "transactional_db", "racing_database"}
    )


@pytest.fixture(autouse=True)
def _own_folders(settings: Any, tmp_path: Any) -> None:
    """Pictures and static files of tests stay out of the shop's; hashing a password needn't be slow here."""
    settings.MEDIA_ROOT = tmp_path / "media"
    settings.STORAGES = {
        **settings.STORAGES,
        "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
    }
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    settings.ALLOWED_HOSTS = ["*"]


@pytest.fixture
def shop(db: None) -> Shop:
    """Lantern Quay Electronics, open for business: terms, 7.25 % on parts."""
    shop = ShopFactory()
    TermsFactory()
    TaxRateFactory()
    return shop


@pytest.fixture
def terms(shop: Shop) -> Terms:
    return Terms.current()


@pytest.fixture
def owner(shop: Shop) -> Staff:
    return StaffFactory(name="Wren Adeyemi", sign_in="wren", role=Role.OWNER)


@pytest.fixture
def bench(shop: Shop) -> Staff:
    return StaffFactory(name="Tomas Lindqvist", sign_in="tomas", role=Role.BENCH)


@pytest.fixture
def counter(shop: Shop) -> Staff:
    return StaffFactory(name="Ida Marsh", sign_in="ida", role=Role.COUNTER)


@pytest.fixture
def pad(shop: Shop) -> Staff:
    return StaffFactory(name="Sign-in pad", sign_in="pad", role=Role.PAD)


class Tablet(Client):
    """A client that adds the form's one-time key, and can ask the way htmx does."""

    def send(
        self, path: str, data: dict[str, Any] | None = None, *, htmx: bool = False, **extra: Any
    ) -> HttpResponse:
        """POST a form as one of our pages would: with a fresh one-time key unless the data has one."""
        headers = {"HX-Request": "true"} if htmx else {}
        return self.post(path, {FIELD: new_key(), **(data or {})}, headers=headers, **extra)

    def part(self, path: str, data: dict[str, Any] | None = None) -> HttpResponse:
        """GET as htmx would."""
        return self.get(path, data, headers={"HX-Request": "true"})


@pytest.fixture
def tablet_of(shop: Shop) -> Callable[[Staff], Tablet]:
    """`tablet_of(bench)`: a tablet on which that person is signed in."""

    def signed_in(staff: Staff) -> Tablet:
        tablet = Tablet()
        tablet.force_login(staff, backend="shop.doors.PasswordDoor")
        return tablet

    return signed_in


@pytest.fixture
def as_owner(tablet_of: Any, owner: Staff) -> Tablet:
    return tablet_of(owner)


@pytest.fixture
def as_bench(tablet_of: Any, bench: Staff) -> Tablet:
    return tablet_of(bench)


@pytest.fixture
def as_counter(tablet_of: Any, counter: Staff) -> Tablet:
    return tablet_of(counter)


@pytest.fixture
def as_pad(tablet_of: Any, pad: Staff) -> Tablet:
    return tablet_of(pad)


def _on_file(path: Path) -> Iterator[None]:
    """Let the default connection be to a SQLite file, for as long as the generator stands."""
    here, mine = connections.settings["default"], connections["default"]
    name = here["NAME"]
    here["NAME"] = str(path)
    del connections["default"]
    try:
        yield
        connections["default"].close()
    finally:
        here["NAME"] = name
        connections["default"] = mine


@pytest.fixture(scope="session")
def _empty_file(django_db_setup: Any, django_db_blocker: Any, tmp_path_factory: Any) -> Path:
    """A SQLite file with every table and nothing in them, made once."""
    path = tmp_path_factory.mktemp("race") / "empty.sqlite3"
    with django_db_blocker.unblock(), contextmanager(_on_file)(path):
        call_command("migrate", run_syncdb=True, verbosity=0)
        with connections["default"].cursor() as cursor:
            cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    return path


@pytest.fixture
def racing_database(request: Any, tmp_path: Path, django_db_blocker: Any) -> Iterator[None]:
    """A database that threads can race on.

    The suite's SQLite is in memory and one connection, on which nothing races: a file takes its place. On
    PostgreSQL mark the module with `django_db(transaction=True)`.
    """
    if connection.vendor != "sqlite":
        yield
        return
    path = tmp_path / "race.sqlite3"
    shutil.copyfile(request.getfixturevalue("_empty_file"), path)
    with django_db_blocker.unblock(), contextmanager(_on_file)(path):
        yield
