"""How a record is written down so that its hash can be recomputed by anyone, in any year.

The hash of a record is SHA-256 over the hash of the one before it and the record's own canonical text:
JSON with sorted keys, no spaces, UTF-8, and every number that is not whole kept as text, so that no
machine's way of printing a float can change it.
"""

import datetime as dt
import hashlib
import json
from collections.abc import Mapping
from contextvars import ContextVar
from decimal import Decimal
from typing import Any
from uuid import UUID

CANON = 1
FIRST_HASH = "0" * 64
REQUEST: ContextVar[str] = ContextVar("request_number", default="")


def plain(value: Any) -> Any:
    """Turn a value into what canonical JSON can hold: text, whole numbers, booleans, null, lists, maps."""
    match value:
        case None | bool() | int() | str():
            return value
        case float():
            return repr(value)
        case Decimal() | UUID():
            return str(value)
        case dt.datetime():
            return value.astimezone(dt.UTC).isoformat(timespec="microseconds")
        case dt.date() | dt.time():
            return value.isoformat()
        case Mapping():
            return {str(key): plain(item) for key, item in value.items()}
        case list() | tuple() | set() | frozenset():
            return [plain(item) for item in value]
        case _ if hasattr(value, "_meta"):
            return subject_of(value)
        case _:
            return str(value)


def canonical(value: Any) -> str:
    """Write a value as canonical JSON text."""
    return json.dumps(plain(value), sort_keys=True, ensure_ascii=False, separators=(",", ":"))


def link(previous: str, fields: Mapping[str, Any]) -> str:
    """Give the hash of a record that follows the one with hash ``previous``."""
    return hashlib.sha256((previous + canonical(fields)).encode()).hexdigest()


def subject_of(row: Any) -> str:
    """Name a row of the database in a record: ``cells.cell:17``."""
    return f"{row._meta.label_lower}:{row.pk}"


def request_number() -> str:
    """Give the number of the request being answered, or nothing outside of one."""
    return REQUEST.get()
