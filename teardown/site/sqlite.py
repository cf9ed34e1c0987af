"""Choose the SQLite library before Django loads one.

Versions 3.7.0 to 3.51.2 carry a rare race between two connections that write and checkpoint a
write-ahead log at the same moment (fixed in 3.51.3, March 2026). Where the interpreter's own library is
older and a newer one is installed as ``pysqlite3``, that one takes its place.
"""

import sqlite3
import sys

SAFE_SINCE = (3, 51, 3)


def use_the_safe_one() -> None:
    """Put the newer library in place of the interpreter's own, once, before any connection."""
    if sqlite3.sqlite_version_info >= SAFE_SINCE:
        return
    try:
        import pysqlite3
    except ImportError:  # no wheel for this machine: a system check says so
        return
    for name in ("sqlite3", "sqlite3.dbapi2"):
        sys.modules[name] = pysqlite3 if name == "sqlite3" else pysqlite3.dbapi2


def version() -> tuple[int, ...]:
    """Tell which SQLite is in use."""
    import sqlite3 as chosen

    return tuple(chosen.sqlite_version_info)
