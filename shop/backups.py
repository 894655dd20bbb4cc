"""Backups: one dated file of the database and the pictures, and the way back from it.

A backup is a zip file, so that any computer opens it:

    manifest.json            what it is, and the SHA-256 and size of every other member
    database/shop.sqlite3    or database/shop.pgdump where the shop runs on PostgreSQL
    media/…                  the pictures, as they lie in the shop's folder

Beside it lies `NAME.zip.sha256`, which `sha256sum --check` reads. A receipt of the same name is kept in the
shop's own folder, wherever the backup itself went: by it the front page knows how old the last one is.

A restore moves the shop's files aside and the backup's to their place. What it does stands in the file
`restore-under-way` beforehand: where the power fails in between, `recover` puts the shop back as it was when it is next
opened, and the restore can be made again.

Left out on purpose: who is signed in (a stolen backup must open no session) and the secret key (it makes
nothing that is kept: where it changes, everybody signs in again).
"""

import contextlib
import hashlib
import json
import os
import re
import shutil
import sqlite3
import subprocess
import tempfile
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path, PurePosixPath
from typing import BinaryIO

from django.conf import settings
from django.contrib.sessions.models import Session
from django.core.management import call_command
from django.db import connection, connections
from django.db.migrations.loader import MigrationLoader

from shop import debian, locks
from shop.errors import Refused

FORMAT = 1
MANIFEST = "manifest.json"
_MEMBER = {"sqlite": "database/shop.sqlite3", "postgresql": "database/shop.pgdump"}
_RECEIPT = re.compile(r"benchtag-(\d{4}-\d{2}-\d{2}-\d{6})(?:-\d+)?\.zip\.sha256")
_CHUNK = 1 << 20
_LONGEST_MANIFEST = 256 << 20  # bytes; a million pictures make half of that


class BackupRefused(Refused):
    """A backup can't be made, or isn't one to restore from. `str()` says why and what to do."""


@dataclass(frozen=True)
class Contents:
    """What a checked backup holds."""

    file: Path
    made: datetime
    database: str  # "sqlite" or "postgresql"
    migrations: frozenset[tuple[str, str]]
    members: dict[str, dict]  # name -> {"sha256": hex digits, "size": bytes}

    @property
    def pictures(self) -> int:
        return sum(name.startswith("media/") for name in self.members)


def folder() -> Path:
    """Where backups go unless told otherwise, and where their receipts always do."""
    return settings.HOME / "backups"


def open_lock() -> Path:
    """The file that an open shop holds, and a restore too: never both at once."""
    return settings.HOME / "open.lock"


def under_way() -> Path:
    """The file that names where a restore keeps what was there; it stands from its first move to its last."""
    return settings.HOME / "restore-under-way"


def last_made() -> datetime | None:
    """When the last backup was made, wherever it went, or None if none ever was."""
    found = [match for path in folder().glob("*.sha256") if (match := _RECEIPT.fullmatch(path.name))]
    if not found:
        return None
    return max(datetime.strptime(match[1], "%Y-%m-%d-%H%M%S") for match in found).astimezone()


# -- making one


def make(to: Path | None = None, *, at: datetime | None = None) -> Path:
    """Write a backup into the folder `to` and return its path. The shop may be open meanwhile.

    The database comes first, as of one moment: a picture that arrives later is in the file too, one that the
    database speaks of is never missing.

    Raises:
        BackupRefused: the folder can't be written to, the disk is full, PostgreSQL's tools are missing, or a
            restore was cut short: the shop is in two halves then.
    """
    if under_way().exists():
        raise BackupRefused("A restore is under way, or was cut short. Open the shop once; then back it up.")
    at = (at or datetime.now(UTC)).astimezone()
    target = Path(to) if to else folder()
    try:
        _private_folder(folder())
        target.mkdir(parents=True, exist_ok=True)
        path = _free_name(target, f"benchtag-{at:%Y-%m-%d-%H%M%S}")
        with tempfile.TemporaryDirectory(dir=target, prefix=".benchtag-") as room:
            draft = Path(room) / path.name
            _write(draft, at, Path(room))
            digest = _digest_of(draft)
            _sync(draft)
            draft.replace(path)
        line = f"{digest}  {path.name}\n"
        for place in {path.parent.resolve(), folder().resolve()}:
            _write_whole(place / f"{path.name}.sha256", line)
        _sync(target)
    except (OSError, sqlite3.Error) as error:
        raise BackupRefused(f"The backup couldn't be written to {target}: {_reason(error)}.") from error
    return path


def _write(draft: Path, at: datetime, room: Path) -> None:
    members: dict[str, dict] = {}
    with zipfile.ZipFile(draft, "x", zipfile.ZIP_DEFLATED) as backup:
        os.chmod(draft, 0o600)
        dump = room / "database"
        _dump_database(dump)
        members[_MEMBER[connection.vendor]] = _put(backup, dump, _MEMBER[connection.vendor])
        for path in _pictures(settings.MEDIA_ROOT):
            name = f"media/{path.relative_to(settings.MEDIA_ROOT).as_posix()}"
            if not _is_safe(name, connection.vendor):  # it could be backed up, and then never restored
                raise BackupRefused(f"The file {str(path)!r} has a name that no backup can hold: rename it.")
            with contextlib.suppress(FileNotFoundError):  # taken away since it was listed
                members[name] = _put(backup, path, name, squeeze=False)
        manifest = {
            "benchtag backup": FORMAT,
            "made": at.isoformat(timespec="seconds"),
            "database": connection.vendor,
            "migrations": sorted(MigrationLoader(connection).applied_migrations),
            "members": members,
        }
        backup.writestr(MANIFEST, json.dumps(manifest, indent=1))


def _pictures(root: Path) -> Iterator[Path]:
    """Every file under `root`. No link is followed: it could lead out of the folder."""
    for here, _, names in os.walk(root):
        for name in sorted(names):
            path = Path(here) / name
            if path.is_file() and not path.is_symlink():
                yield path


def _put(backup: zipfile.ZipFile, path: Path, name: str, *, squeeze: bool = True) -> dict:
    """Write one file into the backup; return its line of the manifest, taken from the bytes as written."""
    info = zipfile.ZipInfo.from_file(path, name, strict_timestamps=False)
    info.compress_type = zipfile.ZIP_DEFLATED if squeeze else zipfile.ZIP_STORED  # a JPEG gets no smaller
    digest = hashlib.sha256()
    size = 0
    with open(path, "rb") as source, backup.open(info, "w", force_zip64=True) as out:
        while chunk := source.read(_CHUNK):
            digest.update(chunk)
            size += len(chunk)
            out.write(chunk)
    return {"sha256": digest.hexdigest(), "size": size}


def _dump_database(path: Path) -> None:
    if connection.vendor == "sqlite":
        _dump_sqlite(path)
    else:
        _postgres_tool(
            "pg_dump",
            "--format=custom",
            "--no-owner",
            "--no-privileges",
            f"--exclude-table-data={Session._meta.db_table}",
            f"--file={path}",
        )


def _dump_sqlite(path: Path) -> None:
    """Copy the database as of one moment, with SQLite's own backup: writers go on meanwhile."""
    if connection.is_in_memory_db():
        raise BackupRefused("A database that is kept in memory only can't be backed up.")
    # A connection of its own: SQLite would wait for ever on one that is in the middle of a transaction.
    with (
        contextlib.closing(sqlite3.connect(connection.settings_dict["NAME"], timeout=20)) as source,
        contextlib.closing(sqlite3.connect(path)) as copy,
    ):
        source.backup(copy)
        copy.execute("PRAGMA journal_mode=DELETE")  # one file, with no journal beside it
        sessions = Session._meta.db_table
        if copy.execute("SELECT 1 FROM sqlite_master WHERE name = ?", [sessions]).fetchone():
            copy.execute("PRAGMA secure_delete=ON")
            copy.execute(f'DELETE FROM "{sessions}"')
            copy.commit()
        _check_sqlite(copy)


def _check_sqlite(database: sqlite3.Connection) -> None:
    try:
        answer = database.execute("PRAGMA quick_check(1)").fetchone()[0]
    except sqlite3.DatabaseError as error:
        answer = str(error)
    if answer != "ok":
        raise BackupRefused(f"The database is damaged ({answer}). Go back to an older backup.")


# -- checking one


def check(file: Path) -> Contents:
    """Read a backup from end to end and return what it holds. Changes nothing.

    Raises:
        BackupRefused: it is damaged, isn't a backup, or is one that this Benchtag or its database can't take.
    """
    file = Path(file)
    if not file.is_file():
        raise BackupRefused(f"There is no file {file}.")
    _check_whole(file)
    try:
        with zipfile.ZipFile(file) as backup:
            contents = _read_manifest(file, backup)
            _check_members(backup, contents)
    except (
        zipfile.BadZipFile,
        zlib.error,
        OSError,
        EOFError,
        NotImplementedError,
        RuntimeError,
        ValueError,
    ) as error:
        raise BackupRefused(f"{file.name} is damaged or no backup of Benchtag ({error}).") from error
    _check_fits(contents)
    return contents


def _check_whole(file: Path) -> None:
    """Hold the file against the checksum beside it, where there is one: it may have stayed behind."""
    beside = file.with_name(f"{file.name}.sha256")
    if beside.is_file() and beside.read_text().split()[:1] != [_digest_of(file)]:
        raise BackupRefused(
            f"{file.name} isn't what it was when it was written: its checksum differs. Take another backup."
        )


def _read_manifest(file: Path, backup: zipfile.ZipFile) -> Contents:
    try:
        if backup.getinfo(MANIFEST).file_size > _LONGEST_MANIFEST:
            raise ValueError("longer than any manifest")
        manifest = json.loads(backup.read(MANIFEST))
        if manifest["benchtag backup"] != FORMAT:
            raise BackupRefused(
                f"{file.name} was made by another version of Benchtag: restore it with that one."
            )
        return Contents(
            file=file,
            made=datetime.fromisoformat(manifest["made"]),
            database=str(manifest["database"]),
            migrations=frozenset((str(app), str(name)) for app, name in manifest["migrations"]),
            members={
                str(name): {"sha256": str(m["sha256"]), "size": int(m["size"])}
                for name, m in manifest["members"].items()
            },
        )
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise BackupRefused(
            f"{file.name} is no backup of Benchtag: its manifest is missing or unreadable."
        ) from error


def _check_members(backup: zipfile.ZipFile, contents: Contents) -> None:
    """Refuse members that are missing, unannounced, changed, or would land outside of the shop's folder."""
    names = backup.namelist()
    if sorted(names) != sorted({*contents.members, MANIFEST}):
        raise BackupRefused(f"{contents.file.name} doesn't hold what its manifest says.")
    if _MEMBER.get(contents.database) not in contents.members:
        raise BackupRefused(f"{contents.file.name} holds no database.")
    for name, said in contents.members.items():
        if not _is_safe(name, contents.database):
            raise BackupRefused(
                f"{contents.file.name} holds a file with a name that isn't allowed: {name!r}."
            )
        if backup.getinfo(name).file_size != said["size"]:  # before unpacking: no bomb is opened
            raise BackupRefused(f"{name} in {contents.file.name} has another size than its manifest says.")
        with backup.open(name) as member:
            if _digest(member) != said["sha256"]:
                raise BackupRefused(f"{name} in {contents.file.name} isn't what it was when it was written.")


def _is_safe(name: str, database: str) -> bool:
    """Tell whether a member is the database or a plain relative path under media/."""
    if name == _MEMBER.get(database):
        return True
    parts = PurePosixPath(name).parts
    return (
        len(parts) > 1
        and parts[0] == "media"
        and "/".join(parts) == name
        and ".." not in parts
        and "\\" not in name  # a folder on Windows
        and name.isprintable()
    )


def _check_fits(contents: Contents) -> None:
    """Refuse a backup from a newer Benchtag, or from the other kind of database."""
    if contents.database != connection.vendor:
        kinds = {"sqlite": "SQLite", "postgresql": "PostgreSQL"}
        raise BackupRefused(
            f"{contents.file.name} comes from a shop on {kinds[contents.database]}, and this one runs on "
            f"{kinds.get(connection.vendor, connection.vendor)}. Set or unset DATABASE_URL to match."
        )
    known = set(MigrationLoader(None, ignore_no_migrations=True).disk_migrations)
    if contents.migrations - known:
        raise BackupRefused(
            f"{contents.file.name} was made by a newer Benchtag: bring this one up to date first."
        )


# -- going back to one


def restore(contents: Contents, *, at: datetime | None = None) -> Path:
    """Put the shop back to what a backup holds: `restore(check(file))`.

    The backup is unpacked in full, and held against its checksums once more, before anything of the shop is
    touched; if the change itself fails, the shop is put back as it was.

    Returns:
        The folder that keeps what was there before.

    Raises:
        BackupRefused: the shop is open, the disk is too full, or the file changed since it was checked.
    """
    at = (at or datetime.now(UTC)).astimezone()
    try:
        with locks.held(open_lock()):
            recover()
            kept = _free_name(settings.HOME, f"before-restore-{at:%Y-%m-%d-%H%M%S}")
            with tempfile.TemporaryDirectory(dir=settings.HOME, prefix=".restore-") as room:
                _unpack(contents, Path(room))
                connections.close_all()
                kept.mkdir(mode=0o700)
                (_swap_sqlite if contents.database == "sqlite" else _swap_postgresql)(Path(room), kept)
            call_command("migrate", interactive=False, verbosity=0)
            connections.close_all()
            return kept
    except locks.Busy as busy:
        raise BackupRefused(
            f"The shop is open ({busy}): close it first, with Ctrl-C in its window."
        ) from None
    except (OSError, sqlite3.Error) as error:
        raise BackupRefused(f"The backup couldn't be restored: {_reason(error)}.") from error


def _unpack(contents: Contents, room: Path) -> None:
    """Unpack every member into `room` and check it once more: the backup may be on a failing stick."""
    needed = sum(said["size"] for said in contents.members.values())
    if needed > shutil.disk_usage(room).free:
        raise BackupRefused(
            f"The disk has no room for what is in the backup: {needed / 1e6:.0f} MB are needed."
        )
    with zipfile.ZipFile(contents.file) as backup:
        for name, said in contents.members.items():
            path = room / name
            path.parent.mkdir(parents=True, exist_ok=True)
            with backup.open(name) as member, open(path, "xb") as out:
                os.chmod(path, 0o600)
                shutil.copyfileobj(member, out, _CHUNK)
                out.flush()
                os.fsync(out.fileno())
            if _digest_of(path) != said["sha256"]:
                raise BackupRefused(
                    f"{name} in {contents.file.name} couldn't be read twice the same: try another copy."
                )
    (room / "media").mkdir(exist_ok=True)
    if contents.database == "sqlite":
        with contextlib.closing(sqlite3.connect(room / _MEMBER["sqlite"])) as database:
            _check_sqlite(database)


def _swap_sqlite(room: Path, kept: Path) -> None:
    """Move the shop's files into `kept` and the unpacked ones to their place; on failure, move them back."""
    place = Path(connection.settings_dict["NAME"])
    _write_whole(under_way(), kept.name)
    _sync(under_way().parent)
    with _moves() as move:
        for path in _own_files():  # a journal left behind would be played into the restored database
            move(path, kept / path.name)
        _sync(kept)
        move(room / _MEMBER["sqlite"], place)
        move(Path(settings.MEDIA_ROOT), kept / "media")
        move(room / "media", Path(settings.MEDIA_ROOT))
    _sync(place.parent)
    under_way().unlink()


def _own_files() -> list[Path]:
    """The files of a database that is a file: its journals, then itself. While it lies in its place, they are its."""
    place = Path(connection.settings_dict["NAME"])
    return [*(place.with_name(place.name + ending) for ending in ("-wal", "-shm", "-journal")), place]


def recover() -> bool:
    """Put the shop back as it was before a restore that was cut short. Return whether there was one.

    Whoever calls it holds the open lock, so that no restore is under way now. To do it twice is to do it once: where
    it is cut short itself, it goes on the next time.
    """
    if not under_way().exists():
        return False
    connections.close_all()
    kept = settings.HOME / under_way().read_text().strip()
    *journals, database = _own_files()
    if (kept / database.name).exists():  # it was moved aside: what lies in its place came from the backup
        for path in journals:
            path.unlink(missing_ok=True)
        shutil.move(kept / database.name, database)
    for path in journals:
        if (kept / path.name).exists():
            shutil.move(kept / path.name, path)
    if (kept / "media").exists():
        shutil.rmtree(settings.MEDIA_ROOT, ignore_errors=True)
        shutil.move(kept / "media", settings.MEDIA_ROOT)
    for room in settings.HOME.glob(".restore-*"):
        shutil.rmtree(room, ignore_errors=True)
    _sync(database.parent)
    under_way().unlink()
    with contextlib.suppress(OSError):
        kept.rmdir()
    return True


def _swap_postgresql(room: Path, kept: Path) -> None:
    """Dump the database into `kept`, then replace it in one transaction: all of it, or nothing."""
    _dump_database(kept / "shop.pgdump")
    script = room / "restore.sql"
    _postgres_tool(
        "pg_restore",
        "--no-owner",
        "--no-privileges",
        f"--file={script}",
        str(room / _MEMBER["postgresql"]),
        connect=False,
    )
    with _moves() as move:
        move(Path(settings.MEDIA_ROOT), kept / "media")
        move(room / "media", Path(settings.MEDIA_ROOT))
        _postgres_tool(
            "psql",
            "--quiet",
            "--no-psqlrc",
            "--single-transaction",
            "--set=ON_ERROR_STOP=1",
            "--command=DROP SCHEMA public CASCADE; CREATE SCHEMA public;",
            f"--file={script}",
        )


@contextlib.contextmanager
def _moves() -> Iterator:
    """Give a function that moves a file or folder if it is there; undo all its moves if the block fails."""
    done: list[tuple[Path, Path]] = []

    def move(source: Path, target: Path) -> None:
        if source.exists():
            target.parent.mkdir(parents=True, exist_ok=True)
            shutil.move(source, target)
            done.append((source, target))

    try:
        yield move
    except BaseException:
        for source, target in reversed(done):
            shutil.move(target, source)
        under_way().unlink(missing_ok=True)
        raise


# -- small tools


def _postgres_tool(name: str, *arguments: str, connect: bool = True) -> None:
    """Run one of PostgreSQL's own programs on the shop's database. No password on the command line."""
    if not shutil.which(name) and not debian.install(["postgresql-client"], why="to back up PostgreSQL"):
        command = debian.command_for(["postgresql-client"])
        raise BackupRefused(f"PostgreSQL's program {name} is missing. On Debian: `{command}`.")
    params = connection.get_connection_params() if connect else {}
    names = {
        "host": "PGHOST",
        "port": "PGPORT",
        "user": "PGUSER",
        "password": "PGPASSWORD",
        "dbname": "PGDATABASE",
    }
    surroundings = {**os.environ, **{names[key]: str(params[key]) for key in names if params.get(key)}}
    done = subprocess.run([name, *arguments], env=surroundings, capture_output=True, text=True)
    if done.returncode:
        last = done.stderr.strip().splitlines()[-1:] or ["no reason given"]
        raise BackupRefused(f"PostgreSQL's program {name} failed: {last[0]}")


def _free_name(place: Path, stem: str) -> Path:
    """A path in `place` that isn't taken: two backups in one second, or the hour that autumn repeats."""
    ending = ".zip" if stem.startswith("benchtag-") else ""
    for number in range(1, 1000):
        path = place / f"{stem}{'' if number == 1 else f'-{number}'}{ending}"
        if not path.exists():
            return path
    raise BackupRefused(f"{place} is full of files named {stem}.")


def _reason(error: Exception) -> str:
    return getattr(error, "strerror", None) or str(error)


def _private_folder(path: Path) -> None:
    path.mkdir(parents=True, exist_ok=True)
    os.chmod(path, 0o700)


def _digest(file: BinaryIO) -> str:
    return hashlib.file_digest(file, "sha256").hexdigest()


def _digest_of(path: Path) -> str:
    with open(path, "rb") as file:
        return _digest(file)


def _sync(path: Path) -> None:
    """Make sure that what was written is on the disk. Windows can't do it for a folder, and needs it less."""
    if path.is_dir() and os.name == "nt":
        return
    number = os.open(path, os.O_RDWR if os.name == "nt" else os.O_RDONLY)
    try:
        os.fsync(number)
    finally:
        os.close(number)


def _write_whole(path: Path, text: str) -> None:
    new = path.with_name(f".{path.name}.new")
    new.write_text(text)
    _sync(new)
    new.replace(path)
