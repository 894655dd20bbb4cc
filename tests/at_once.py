"""Several tablets at the same moment: threads with a database connection each, let go together.

Tests' SQLite lives in memory, where threads lock each other out of whole tables, as no shop's file does. So what the
test made is copied into a file first, and the threads work on that: with WAL and IMMEDIATE, as in a shop. On
PostgreSQL they work on the test's own database. The test must be `django_db(transaction=True)`.
"""

import sqlite3
import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest
from django.db import close_old_connections, connection, connections


def at_once(acts: list[Callable[[], Any]], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> list[Any]:
    """Run each act in a thread of its own, all let go together. Return what each returned, or the exception it raised."""
    if connection.vendor == "sqlite":
        file = tmp_path / "shop.sqlite3"
        with sqlite3.connect(file) as copy:
            connection.connection.backup(copy)
        copy.close()
        monkeypatch.setitem(connections.settings["default"], "NAME", str(file))
    gate = threading.Barrier(len(acts))

    def run(act: Callable[[], Any]) -> Any:
        close_old_connections()
        gate.wait(10)
        try:
            return act()
        except Exception as error:  # noqa: BLE001  the test looks at it
            return error
        finally:
            connections["default"].close()

    with ThreadPoolExecutor(len(acts)) as pool:
        return list(pool.map(run, acts))


def asked_there(question: Callable[[], Any]) -> Any:
    """Ask the database that the threads worked on."""

    def ask() -> Any:
        try:
            return question()
        finally:
            connections["default"].close()

    with ThreadPoolExecutor(1) as pool:
        return pool.submit(ask).result()
