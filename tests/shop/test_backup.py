"""Backup and restore, on the database that the suite runs on: SQLite in a file of its own, or PostgreSQL."""

import contextlib
import json
import os
import shutil
import sqlite3
import subprocess
import sys
import threading
import time
import zipfile
from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from django.contrib.sessions.models import Session
from django.core.management import CommandError, call_command
from django.db import connection, connections
from django.db.backends.sqlite3.base import DatabaseWrapper as SQLite
from django.utils import timezone

from shop import backups, locks
from shop.models import OnceKey

SQLITE = "sqlite"
# pg_dump sees only what is committed; of SQLite each test has a file of its own.
pytestmark = pytest.mark.django_db(transaction=connection.vendor != SQLITE)
ROOT = Path(backups.__file__).parents[1]
FOUR = datetime(2026, 3, 4, 16, 5, 6).astimezone()


@pytest.fixture(scope="module")
def empty_database(django_db_setup: None, django_db_blocker: Any, tmp_path_factory: Any) -> Path:
    """A copy of the suite's SQLite database, as its migrations left it; with PostgreSQL an empty file."""
    path = tmp_path_factory.mktemp("empty") / "shop.sqlite3"
    with contextlib.closing(sqlite3.connect(path)) as file, django_db_blocker.unblock():
        if connection.vendor == SQLITE:
            connection.ensure_connection()
            connection.connection.backup(file)
            file.execute("PRAGMA journal_mode=WAL")
    return path


@pytest.fixture
def open_shop(settings: Any, tmp_path: Path, empty_database: Path) -> Iterator[Path]:
    """A shop in a folder of its own with one note and two pictures. Yields the folder."""
    home = tmp_path / "home"
    (home / "media" / "jobs").mkdir(parents=True)
    (home / "media" / "jobs" / "front.jpg").write_bytes(b"front" * 1000)
    (home / "media" / "back.jpg").write_bytes(b"back" * 1000)
    settings.HOME = home
    settings.MEDIA_ROOT = home / "media"
    if connection.vendor == SQLITE:
        memory = connections["default"]
        shutil.copy(empty_database, home / "shop.sqlite3")
        connections["default"] = SQLite(
            {**memory.settings_dict, "NAME": str(home / "shop.sqlite3")}, "default"
        )
        OnceKey.objects.create(key="before")
        yield home
        connections["default"].close()
        connections["default"] = memory
    else:
        OnceKey.objects.create(key="before")
        yield home


def keys() -> set[str]:
    return set(OnceKey.objects.values_list("key", flat=True))


def pictures(home: Path) -> dict[str, bytes]:
    return {
        str(path.relative_to(home)): path.read_bytes()
        for path in (home / "media").rglob("*")
        if path.is_file()
    }


def rewrite(file: Path, change: Callable[[dict[str, bytes]], None]) -> Path:
    """Write a backup again with other members, and without the checksum beside it."""
    with zipfile.ZipFile(file) as backup:
        members = {name: backup.read(name) for name in backup.namelist()}
    change(members)
    changed = file.with_name("changed.zip")
    with zipfile.ZipFile(changed, "w") as backup:
        for name, content in members.items():
            backup.writestr(name, content)
    return changed


def edit_manifest(file: Path, **entries: Any) -> Path:
    def change(members: dict[str, bytes]) -> None:
        members["manifest.json"] = json.dumps(json.loads(members["manifest.json"]) | entries).encode()

    return rewrite(file, change)


# -- there and back


def test_a_restore_brings_back_the_rows_and_the_pictures(open_shop: Path) -> None:
    then = pictures(open_shop)
    backup = backups.make()
    OnceKey.objects.create(key="after")
    (open_shop / "media" / "back.jpg").unlink()
    (open_shop / "media" / "jobs" / "front.jpg").write_bytes(b"spoiled")
    backups.restore(backups.check(backup))
    assert keys() == {"before"}
    assert pictures(open_shop) == then


def test_a_restore_keeps_what_was_there_before(open_shop: Path) -> None:
    backup = backups.make()
    OnceKey.objects.create(key="after")
    (open_shop / "media" / "new.jpg").write_bytes(b"new")
    kept = backups.restore(backups.check(backup), at=FOUR)
    assert kept == open_shop / "before-restore-2026-03-04-160506"
    assert (kept / "media" / "new.jpg").read_bytes() == b"new"
    if connection.vendor == SQLITE:
        with contextlib.closing(sqlite3.connect(kept / "shop.sqlite3")) as database:
            assert {row[0] for row in database.execute("select key from shop_oncekey")} == {"before", "after"}
    else:
        listed = subprocess.run(
            ["pg_restore", "-f", "-", kept / "shop.pgdump"], capture_output=True, text=True
        )
        assert "\tafter\t" in listed.stdout


def test_a_restored_shop_can_be_backed_up_and_restored_again(open_shop: Path) -> None:
    backups.restore(backups.check(backups.make()))
    OnceKey.objects.create(key="later")
    second = backups.make()
    OnceKey.objects.all().delete()
    backups.restore(backups.check(second))
    assert keys() == {"before", "later"}


def test_writers_go_on_while_a_backup_is_made_and_it_holds_no_half_transaction(open_shop: Path) -> None:
    stop = threading.Event()
    written: list[int] = []

    def write() -> None:
        # A plain connection: Django's belong to one thread, and the suite's hold a transaction.
        if connection_vendor == SQLITE:
            own = sqlite3.connect(open_shop / "shop.sqlite3", timeout=20)
        else:
            own = postgres.connect(**parameters)
        sentence = (
            "insert into shop_oncekey (key, at, status, headers, body) "
            "values ('{0}-{1}', '2026-01-01 00:00:00+00', 200, '{{}}', '')"
        )
        number = 0
        while not stop.is_set() and number < 20_000:
            for side in ("left", "right"):
                own.cursor().execute(sentence.format(side, number))
            own.commit()
            number += 1
            written.append(number)
        own.close()

    connection_vendor = connection.vendor
    if connection_vendor != SQLITE:
        import psycopg as postgres

        parameters = {
            k: v
            for k, v in connection.get_connection_params().items()
            if k in {"dbname", "user", "password", "host", "port"}
        }
    writer = threading.Thread(target=write)
    writer.start()
    try:
        while len(written) < 20 and writer.is_alive():
            time.sleep(0.01)
        made = []
        for _ in range(3):
            before = len(written)
            made.append(backups.make())
            assert len(written) > before, "the writer had to wait"
    finally:
        stop.set()
        writer.join()
    for backup in made:
        backups.restore(backups.check(backup))
        sides = [key.split("-") for key in keys() if "-" in key]
        left, right = ({number for side, number in sides if side == which} for which in ("left", "right"))
        assert len(left) >= 20
        assert left == right


# -- what is in the file


def test_it_is_one_dated_file_that_only_its_user_can_read(open_shop: Path) -> None:
    path = backups.make(at=FOUR)
    assert path == open_shop / "backups" / "benchtag-2026-03-04-160506.zip"
    assert sorted(os.listdir(path.parent)) == [path.name, f"{path.name}.sha256"]
    assert path.stat().st_mode & 0o777 == 0o600


def test_two_backups_in_one_second_are_two_files(open_shop: Path) -> None:
    assert backups.make(at=FOUR) != backups.make(at=FOUR)


@pytest.mark.skipif(not shutil.which("sha256sum"), reason="needs sha256sum")
def test_its_checksum_is_one_that_sha256sum_confirms(open_shop: Path) -> None:
    """Reference: sha256sum of the GNU core utilities."""
    path = backups.make()
    done = subprocess.run(
        ["sha256sum", "--check", f"{path.name}.sha256"], cwd=path.parent, capture_output=True
    )
    assert done.returncode == 0


def test_it_holds_nobodys_session_and_no_secret_key(open_shop: Path) -> None:
    Session.objects.create(session_key="a-secret-session-key", session_data="x", expire_date=timezone.now())
    (open_shop / "secret.key").write_text("the secret key")
    with zipfile.ZipFile(backups.make()) as backup:
        contents = {name: backup.read(name) for name in backup.namelist()}
    assert not any("secret" in name for name in contents)
    assert not any(b"a-secret-session-key" in content for content in contents.values())
    assert Session.objects.exists(), "the open shop's sessions go on"


def test_a_link_in_the_pictures_is_not_followed(open_shop: Path, tmp_path: Path) -> None:
    (tmp_path / "private").write_text("private")
    (open_shop / "media" / "link.jpg").symlink_to(tmp_path / "private")
    assert "media/link.jpg" not in backups.check(backups.make()).members


def test_a_folder_that_cannot_be_written_to_is_refused_in_words(open_shop: Path, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(backups.BackupRefused, match="couldn't be written to"):
        backups.make(tmp_path / "file")


# -- how old the last one is


def test_there_is_no_last_backup_at_first(open_shop: Path) -> None:
    assert backups.last_made() is None


def test_the_last_backup_is_known_wherever_it_went(open_shop: Path, tmp_path: Path) -> None:
    backups.make(at=FOUR.replace(day=1))
    elsewhere = backups.make(tmp_path / "stick", at=FOUR)
    backups.make(at=FOUR.replace(day=2))
    assert elsewhere.parent == tmp_path / "stick"
    assert (tmp_path / "stick" / f"{elsewhere.name}.sha256").exists()
    assert backups.last_made() == FOUR


# -- what is refused before anything is touched


def refused(file: Path, words: str, home: Path) -> None:
    before = sorted(os.listdir(home))
    with pytest.raises(backups.BackupRefused, match=words):
        backups.check(file)
    assert sorted(os.listdir(home)) == before
    assert keys() == {"before"}


@pytest.mark.parametrize("per_cent", range(0, 100, 7))
def test_one_wrong_byte_anywhere_is_caught_by_the_checksum_beside_it(open_shop: Path, per_cent: int) -> None:
    path = backups.make()
    content = bytearray(path.read_bytes())
    content[len(content) * per_cent // 100] ^= 1
    path.write_bytes(content)
    refused(path, "checksum differs", open_shop)


def test_one_wrong_byte_in_a_picture_is_caught_without_it_too(open_shop: Path) -> None:
    path = backups.make()
    path.with_name(f"{path.name}.sha256").unlink()
    content = path.read_bytes()
    path.write_bytes(content.replace(b"frontfront", b"frontFront", 1))
    refused(path, "damaged", open_shop)


@pytest.mark.parametrize("share", [0, 0.1, 0.5, 0.9, 0.999])
def test_a_file_that_was_cut_short_is_refused(open_shop: Path, share: float) -> None:
    path = backups.make()
    cut = path.with_name("cut.zip")
    cut.write_bytes(path.read_bytes()[: int(path.stat().st_size * share)])
    refused(cut, "damaged or no backup", open_shop)


def test_a_picture_that_was_exchanged_is_refused(open_shop: Path) -> None:
    file = rewrite(backups.make(), lambda members: members.update({"media/back.jpg": b"evil" * 1000}))
    refused(file, "isn't what it was", open_shop)


def test_a_picture_that_was_taken_out_is_refused(open_shop: Path) -> None:
    file = rewrite(backups.make(), lambda members: members.pop("media/back.jpg"))
    refused(file, "doesn't hold what its manifest says", open_shop)


@pytest.mark.parametrize(
    "name",
    [
        "media/../../planted",
        "../planted",
        "/tmp/planted",
        "media/..",
        "media\\..\\planted",
        "media//planted",
        "planted",
    ],
)
def test_a_name_that_leads_out_of_the_folder_is_refused(open_shop: Path, name: str) -> None:
    def plant(members: dict[str, bytes]) -> None:
        manifest = json.loads(members["manifest.json"])
        manifest["members"][name] = manifest["members"]["media/back.jpg"]
        members["manifest.json"] = json.dumps(manifest).encode()
        members[name] = members["media/back.jpg"]

    refused(rewrite(backups.make(), plant), "isn't allowed", open_shop)


def test_a_backup_of_a_newer_benchtag_is_refused(open_shop: Path) -> None:
    migrations = [["shop", "0001_initial"], ["shop", "9999_from_the_future"]]
    refused(edit_manifest(backups.make(), migrations=migrations), "newer Benchtag", open_shop)


def test_a_backup_of_the_other_kind_of_database_is_refused(open_shop: Path) -> None:
    other = "postgresql" if connection.vendor == SQLITE else "sqlite"
    member, theirs = backups._MEMBER[connection.vendor], backups._MEMBER[other]

    def change(members: dict[str, bytes]) -> None:
        manifest = json.loads(members["manifest.json"]) | {"database": other}
        manifest["members"][theirs] = manifest["members"].pop(member)
        members["manifest.json"] = json.dumps(manifest).encode()
        members[theirs] = members.pop(member)

    refused(rewrite(backups.make(), change), "Set or unset DATABASE_URL", open_shop)


@pytest.mark.parametrize(
    "manifest", [b"", b"[]", b"{}", b"null", b'{"benchtag backup": 2}', b"\xff\xfe", b"[" * 9999]
)
def test_a_file_without_a_manifest_of_ours_is_refused(open_shop: Path, manifest: bytes) -> None:
    file = rewrite(backups.make(), lambda members: members.update({"manifest.json": manifest}))
    refused(file, "no backup of Benchtag|another version", open_shop)


def test_a_file_that_is_not_there_is_refused(open_shop: Path) -> None:
    refused(open_shop / "nowhere.zip", "There is no file", open_shop)


def test_an_open_shop_is_not_restored(open_shop: Path) -> None:
    contents = backups.check(backups.make())
    OnceKey.objects.create(key="after")
    with locks.held(backups.open_lock()), pytest.raises(backups.BackupRefused, match="The shop is open"):
        backups.restore(contents)
    assert keys() == {"before", "after"}


def test_a_restore_that_fails_on_the_way_puts_everything_back(open_shop: Path, settings: Any) -> None:
    contents = backups.check(backups.make())
    OnceKey.objects.create(key="after")
    (open_shop / "blocked").write_text("a file where the folder of the pictures should be made")
    settings.MEDIA_ROOT = open_shop / "blocked" / "media"
    with pytest.raises(backups.BackupRefused, match="couldn't be restored"):
        backups.restore(contents)
    assert keys() == {"before", "after"}


# -- the commands


def test_the_command_says_where_the_backup_is(open_shop: Path, capsys: pytest.CaptureFixture[str]) -> None:
    call_command("backup")
    [path] = (open_shop / "backups").glob("*.zip")
    assert f"Backup: {path}" in capsys.readouterr().out


KILLED = r"""
import os, shutil, sys
from pathlib import Path
import django
django.setup()
from django.db import connection
from shop import backups
from shop.models import OnceKey
left, move = int(sys.argv[2]), shutil.move
contents = backups.check(Path(sys.argv[1]))
OnceKey.objects.create(key="later")
def count_down(*args):
    global left
    if not left:
        os._exit(9)  # as if the plug were pulled: nothing is put back, no file is closed
    left -= 1
    move(*args)
shutil.move = count_down
backups.call_command = lambda *args, **options: None
backups.restore(contents)
"""


@pytest.mark.skipif(connection.vendor != SQLITE, reason="PostgreSQL replaces its rows in one transaction")
def test_a_restore_that_is_cut_short_at_any_point_is_taken_back_at_the_next_start(
    open_shop: Path, tmp_path: Path
) -> None:
    backup = backups.make()
    (open_shop / "media" / "back.jpg").write_bytes(b"a later picture")
    connections.close_all()
    aside = tmp_path / "aside"
    shutil.copytree(open_shop, aside)
    surroundings = os.environ | {"BENCHTAG_HOME": str(open_shop), "DJANGO_SETTINGS_MODULE": "shop.settings"}
    surroundings.pop("DATABASE_URL", None)
    for moves in range(9):
        shutil.rmtree(open_shop)
        shutil.copytree(aside, open_shop)
        command = [sys.executable, "-c", KILLED, str(backup), str(moves)]
        done = subprocess.run(command, env=surroundings, cwd=ROOT, capture_output=True, text=True)
        if done.returncode == 0:
            break
        assert done.returncode == 9, done.stderr
        with pytest.raises(backups.BackupRefused, match="cut short"):
            backups.make()
        assert backups.recover()
        assert keys() == {"before", "later"}, moves
        assert (open_shop / "media" / "back.jpg").read_bytes() == b"a later picture"
        assert not backups.under_way().exists() and not list(open_shop.glob(".restore-*"))
        connections.close_all()
    assert moves >= 4, "the database, its journals, the pictures, and what takes their place"
    assert not backups.recover()
    assert keys() == {"before"}


@pytest.mark.parametrize(
    ("answer", "left"), [("yes\n", {"before"}), ("no\n", {"before", "after"}), ("", {"before", "after"})]
)
def test_a_restore_asks_first(
    open_shop: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, answer: str, left: set[str]
) -> None:
    path = backups.make()
    OnceKey.objects.create(key="after")
    (tmp_path / "answer").write_text(answer)
    with open(tmp_path / "answer") as keyboard:
        monkeypatch.setattr("sys.stdin", keyboard)
        with contextlib.suppress(CommandError):
            call_command("restore", path)
    assert keys() == left


def test_a_restore_with_yes_does_not_ask(open_shop: Path) -> None:
    path = backups.make()
    OnceKey.objects.create(key="after")
    call_command("restore", path, yes=True)
    assert keys() == {"before"}


def test_a_refusal_is_said_in_its_own_words(open_shop: Path) -> None:
    with pytest.raises(CommandError, match="There is no file"):
        call_command("restore", open_shop / "nowhere.zip")
