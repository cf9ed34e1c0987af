"""What is looked at before the application starts."""

from typing import Any

from django.core import checks
from django.db import connection
from django.db.utils import DatabaseError

from teardown.records import guards
from teardown.site import sqlite


@checks.register()
def sqlite_is_new_enough(**_: Any) -> list[checks.CheckMessage]:
    """Warn of a SQLite with the rare race in its write-ahead log."""
    if connection.vendor != "sqlite" or sqlite.version() >= sqlite.SAFE_SINCE:
        return []
    found = ".".join(map(str, sqlite.version()))
    return [
        checks.Warning(
            f"SQLite {found} carries a rare race in its write-ahead log, mended in 3.51.3.",
            hint="Install pysqlite3 where a wheel exists, or a newer system library.",
            id="site.W001",
        )
    ]


@checks.register(checks.Tags.database)
def guards_stand(databases: Any = None, **_: Any) -> list[checks.CheckMessage]:
    """Say loudly when guards of the record are down.

    A warning, not an error: it is ``migrate`` that puts them back, and an error would keep it from running.
    """
    if not databases:
        return []
    try:
        if "records_record" not in connection.introspection.table_names():
            return []
        gone = guards.missing(connection)
    except DatabaseError:
        return []
    if not gone:
        return []
    return [
        checks.Warning(
            f"Guards of the record are down: {', '.join(gone)}.",
            hint="Run manage.py migrate.",
            id="site.W002",
        )
    ]
