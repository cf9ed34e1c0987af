"""Triggers that hold the record: the database refuses what the application must never do.

They are installed after every migration, because Django's way of rebuilding a SQLite table drops them
silently. A model names its guards in ``guards``; a system check and a test see that each one stands.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Literal

from django.apps import apps
from django.db.backends.base.base import BaseDatabaseWrapper

NEVER = "TRUE"
PREFIX = "guard_"


@dataclass(frozen=True, slots=True)
class Guard:
    """Refuse an event on a table while a condition over OLD and NEW holds.

    ``when`` is SQL that both engines understand; it may hold a subquery.
    """

    event: Literal["INSERT", "UPDATE", "DELETE"]
    when: str
    message: str = ""


@dataclass(frozen=True, slots=True)
class Placed:
    """A guard at its table."""

    table: str
    guard: Guard
    number: int

    @property
    def name(self) -> str:
        """Name the trigger; short enough for PostgreSQL's 63 characters."""
        return f"{PREFIX}{self.table}_{self.guard.event.lower()}_{self.number}"

    @property
    def message(self) -> str:
        """Say in words what is refused."""
        deed = {"INSERT": "added to", "UPDATE": "changed", "DELETE": "taken away"}[self.guard.event]
        return (self.guard.message or f"{self.table}: a row here is never {deed}").replace("'", "''")


def all_guards() -> Iterator[Placed]:
    """Give every guard of every model."""
    for model in apps.get_models():
        for number, guard in enumerate(getattr(model, "guards", [])):
            yield Placed(model._meta.db_table, guard, number)


def _sqlite(placed: Placed) -> list[str]:
    when = "" if placed.guard.when == NEVER else f"WHEN {placed.guard.when} "
    return [
        f'DROP TRIGGER IF EXISTS "{placed.name}"',
        f'CREATE TRIGGER "{placed.name}" BEFORE {placed.guard.event} ON "{placed.table}" {when}'
        f"BEGIN SELECT RAISE(ABORT, '{placed.message}'); END",
    ]


def _postgresql(placed: Placed) -> list[str]:
    back = "OLD" if placed.guard.event == "DELETE" else "NEW"
    statements = [
        f'DROP TRIGGER IF EXISTS "{placed.name}" ON "{placed.table}"',
        f'CREATE OR REPLACE FUNCTION "{placed.name}"() RETURNS trigger AS $guard$ BEGIN '
        f"IF {placed.guard.when} THEN RAISE EXCEPTION '{placed.message.replace('%', '%%')}' "
        "USING ERRCODE = 'integrity_constraint_violation'; END IF; "
        f"RETURN {back}; END $guard$ LANGUAGE plpgsql",
        f'CREATE TRIGGER "{placed.name}" BEFORE {placed.guard.event} ON "{placed.table}" '
        f'FOR EACH ROW EXECUTE FUNCTION "{placed.name}"()',
    ]
    if placed.guard.event == "DELETE" and placed.guard.when == NEVER:
        statements += [
            f'DROP TRIGGER IF EXISTS "{placed.name}_t" ON "{placed.table}"',
            f'CREATE TRIGGER "{placed.name}_t" BEFORE TRUNCATE ON "{placed.table}" '
            f'FOR EACH STATEMENT EXECUTE FUNCTION "{placed.name}"()',
        ]
    return statements


def install(connection: BaseDatabaseWrapper, **_: Any) -> None:
    """Put every guard in place, or put it again."""
    write = _sqlite if connection.vendor == "sqlite" else _postgresql
    with connection.cursor() as cursor:
        tables = set(connection.introspection.table_names(cursor))
        for placed in all_guards():
            if placed.table in tables:
                for statement in write(placed):
                    cursor.execute(statement)


def remove(connection: BaseDatabaseWrapper) -> None:
    """Take every guard away: only for tests that flush their database."""
    with connection.cursor() as cursor:
        for name, table in standing(connection):
            on = "" if connection.vendor == "sqlite" else f' ON "{table}"'
            cursor.execute(f'DROP TRIGGER IF EXISTS "{name}"{on}')


def standing(connection: BaseDatabaseWrapper) -> set[tuple[str, str]]:
    """Tell which guards stand, as (trigger, table)."""
    sql = (
        "SELECT name, tbl_name FROM sqlite_master WHERE type = 'trigger' AND name LIKE 'guard%'"
        if connection.vendor == "sqlite"
        else "SELECT tgname, tgrelid::regclass::text FROM pg_trigger WHERE tgname LIKE 'guard%'"
    )
    with connection.cursor() as cursor:
        cursor.execute(sql)
        return {(name, table.strip('"')) for name, table in cursor.fetchall()}


def missing(connection: BaseDatabaseWrapper) -> list[str]:
    """Name the guards that should stand and do not."""
    names = {name for name, _ in standing(connection)}
    with connection.cursor() as cursor:
        tables = set(connection.introspection.table_names(cursor))
    return [placed.name for placed in all_guards() if placed.table in tables and placed.name not in names]
