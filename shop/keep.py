"""What is written once stays: the database itself refuses to change or delete rows of `Kept` models.

`Kept.save` and `Kept.delete` refuse already, but `QuerySet.update`, a script or a slip at the database's
prompt go around them. Triggers don't let anybody around. A migration puts them up::

    operations = [keep.Forbid("intake_invoice")]

SQLite runs the deleting trigger for INSERT OR REPLACE only with `PRAGMA recursive_triggers=ON` (see
settings), and drops a table's triggers when Django alters that table (it makes a new one in its place). So a
migration that alters such a table ends with `Forbid` again; `missing()` says which tables have lost theirs,
and a test asks it.
"""

from typing import Any, Final

from django.apps import apps
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.backends.base.schema import BaseDatabaseSchemaEditor
from django.db.migrations.operations.base import Operation, OperationCategory
from django.db.migrations.state import ProjectState

from shop.models import Kept

SENTENCE: Final = "What is written once is kept: this row can't be changed or deleted."

_POSTGRES_FUNCTION: Final = f"""
CREATE OR REPLACE FUNCTION benchtag_keep() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN RAISE EXCEPTION '{SENTENCE.replace("'", "''")}' USING ERRCODE = 'integrity_constraint_violation'; END $$
"""
# What each trigger is for, and the event it stands before. TRUNCATE is PostgreSQL's alone.
_EVENTS: Final = {
    "sqlite": {"update": "UPDATE", "delete": "DELETE"},
    "postgresql": {"update": "UPDATE", "delete": "DELETE", "truncate": "TRUNCATE"},
}


def kept_tables() -> list[str]:
    """The tables of every `Kept` model, by name."""
    return sorted(model._meta.db_table for model in apps.get_models() if issubclass(model, Kept))


def forbid(connection: BaseDatabaseWrapper, table: str) -> None:
    """Let the database refuse every change and deletion of a table's rows from now on. Twice does no harm."""
    allow(connection, table)
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(_POSTGRES_FUNCTION)
        for name, event in _EVENTS[connection.vendor].items():
            cursor.execute(_trigger(connection, table, name, event))


def allow(connection: BaseDatabaseWrapper, table: str) -> None:
    """Take the triggers off a table: the way back of the migration."""
    _drop(connection, table, list(_EVENTS[connection.vendor]))


def lift(connection: BaseDatabaseWrapper, table: str) -> None:
    """Let rows be deleted again, never changed. Only for a test's database, which is emptied often."""
    _drop(connection, table, [name for name in _EVENTS[connection.vendor] if name != "update"])


def missing(connection: BaseDatabaseWrapper) -> list[str]:
    """The kept tables that lack a trigger: whoever altered them last forgot `Forbid`."""
    names = {
        "sqlite": "SELECT name FROM sqlite_master WHERE type = 'trigger'",
        "postgresql": "SELECT tgname FROM pg_trigger WHERE NOT tgisinternal",
    }[connection.vendor]
    with connection.cursor() as cursor:
        cursor.execute(names)
        there = {row[0] for row in cursor.fetchall()}
    return [
        table
        for table in kept_tables()
        if not {_name(table, name) for name in _EVENTS[connection.vendor]} <= there
    ]


class Forbid(Operation):
    """Migration: the rows of a table can't be changed or deleted. Runs backwards too."""

    category = OperationCategory.SQL
    reduces_to_sql = False
    reversible = True
    atomic = True

    def __init__(self, table: str):
        self.table = table

    def state_forwards(self, app_label: str, state: ProjectState) -> None:
        """Nothing changes for the models."""

    def database_forwards(
        self, app_label: str, schema_editor: BaseDatabaseSchemaEditor, from_state: Any, to_state: Any
    ) -> None:
        forbid(schema_editor.connection, self.table)

    def database_backwards(
        self, app_label: str, schema_editor: BaseDatabaseSchemaEditor, from_state: Any, to_state: Any
    ) -> None:
        allow(schema_editor.connection, self.table)

    def describe(self) -> str:
        return f"Keep the rows of {self.table} as they were written"


def _name(table: str, name: str) -> str:
    return f"{table}_keep_{name}"


def _trigger(connection: BaseDatabaseWrapper, table: str, name: str, event: str) -> str:
    quote = connection.ops.quote_name
    head = f"CREATE TRIGGER {quote(_name(table, name))} BEFORE {event} ON {quote(table)}"
    if connection.vendor == "postgresql":
        each = "STATEMENT" if event == "TRUNCATE" else "ROW"
        return f"{head} FOR EACH {each} EXECUTE FUNCTION benchtag_keep()"
    said = SENTENCE.replace("'", "''")
    return f"{head} BEGIN SELECT RAISE(ABORT, '{said}'); END"


def _drop(connection: BaseDatabaseWrapper, table: str, names: list[str]) -> None:
    quote = connection.ops.quote_name
    with connection.cursor() as cursor:
        for name in names:
            trigger = quote(_name(table, name))
            on = f" ON {quote(table)}" if connection.vendor == "postgresql" else ""
            cursor.execute(f"DROP TRIGGER IF EXISTS {trigger}{on}")
