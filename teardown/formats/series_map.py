"""Column maps as documents of open standards: Table Dialect and Table Schema (Data Package v2), quantities as
BDF terms.

Own keys of a field: ``factor``, ``offset``, ``sign`` ("auto", 1 or -1: which way the file's current counts),
``timezone``.
"""

import re
from dataclasses import dataclass
from typing import Any

from teardown.formats.series_columns import Column
from teardown.science.electrochemistry.columns import BDF, QUANTITIES
from teardown.science.errors import ReadingError

MISSING = ("", "NA", "N/A", "n/a", "nan", "NaN", "null", "NULL", "--", "-")


class BadColumnMap(ReadingError):
    """A column map cannot be used."""

    code = "MAP_INVALID"
    hint = "Give a Table Schema with fields that have a name, and an rdfType of the Battery Data Format."


@dataclass(frozen=True, slots=True)
class ColumnMap:
    """How a file's columns are read."""

    columns: tuple[Column, ...]
    sign: str = "auto"
    timezone: str | None = None
    formats: tuple[tuple[str, str], ...] = ()
    encoding: str | None = None
    dialect: tuple[tuple[str, Any], ...] = ()
    missing: tuple[str, ...] = MISSING
    name: str = ""

    def column(self, quantity: str) -> Column | None:
        """Give the column of a quantity."""
        return next((c for c in self.columns if c.quantity == quantity), None)

    def format_of(self, column: str) -> str | None:
        """Give the stated form of a date column."""
        return dict(self.formats).get(column)

    def as_document(self, fingerprint: str = "") -> dict[str, Any]:
        """Give the map as plain data, for JSON."""
        fields = []
        for c in self.columns:
            field: dict[str, Any] = {"name": c.name, "rdfType": BDF + c.quantity}
            field["type"] = {"clock": "datetime", "duration": "duration", "text": "string"}.get(
                c.kind, "number"
            )
            if c.kind == "number":
                field |= {"factor": c.factor} | ({"offset": c.offset} if c.offset else {})
            if c.quantity == "current_ampere":
                field["sign"] = self.sign if self.sign == "auto" else int(self.sign)
            if c.kind == "clock":
                field |= {"format": self.format_of(c.name) or "any"} | (
                    {"timezone": self.timezone} if self.timezone else {}
                )
            fields.append(field)
        document = {
            "name": self.name,
            "fingerprint": fingerprint,
            "dialect": dict(self.dialect),
            "schema": {"fieldsMatch": "superset", "missingValues": list(self.missing), "fields": fields},
        }
        return document | ({"encoding": self.encoding} if self.encoding else {})


def read_map(document: Any) -> ColumnMap:
    """Read a column map document.

    Parameters
    ----------
    document : mapping
        As `ColumnMap.as_document` writes it; a bare Table Schema is understood too.

    Returns
    -------
    ColumnMap

    Raises
    ------
    BadColumnMap
        If a field has no name, an unknown quantity, or a factor that is no number.
    """
    if not isinstance(document, dict):
        raise BadColumnMap("A column map is a JSON object.")
    schema = document.get("schema", document)
    fields = schema.get("fields") if isinstance(schema, dict) else None
    if not isinstance(fields, list) or not fields:
        raise BadColumnMap("The column map has no fields.")
    columns, formats, sign, zone = [], [], "auto", None
    for number, field in enumerate(fields, 1):
        if not isinstance(field, dict) or not field.get("name"):
            raise BadColumnMap(f"Field {number} has no name.")
        if not field.get("rdfType"):
            continue
        column = _column(field)
        columns.append(column)
        if column.quantity == "current_ampere":
            sign = _sign(field.get("sign", "auto"))
        zone = field.get("timezone") or zone
        if column.kind == "clock" and field.get("format") not in (None, "any", "default"):
            formats.append((column.name, str(field["format"])))
    twice = {c.quantity for c in columns if sum(d.quantity == c.quantity for d in columns) > 1}
    if sorted(c.factor > 0 for c in columns if c.quantity == "current_ampere") == [False, True]:
        twice -= {"current_ampere"}  # one column for each direction
    if twice:
        raise BadColumnMap(f"Two fields are mapped to {', '.join(sorted(twice))}.")
    dialect = document.get("dialect") or {}
    missing = schema.get("missingValues") or list(MISSING)
    return ColumnMap(
        tuple(columns),
        sign,
        zone,
        tuple(formats),
        document.get("encoding") or None,
        tuple(dict(dialect).items()),
        tuple(map(str, missing)),
        str(document.get("name") or ""),
    )


def _column(field: dict[str, Any]) -> Column:
    notation = re.split(r"[#/]", str(field["rdfType"]))[-1]
    if notation not in QUANTITIES:
        raise BadColumnMap(
            f"«{field['name']}» is mapped to {notation!r}, which is no term of the Battery Data Format."
        )
    kind = {
        "datetime": "clock",
        "date": "clock",
        "duration": "duration",
        "time": "duration",
        "string": "text",
    }.get(str(field.get("type", "number")), "number")
    if notation == "step_type":
        kind = "text"
    try:
        factor, offset = float(field.get("factor", 1.0)), float(field.get("offset", 0.0))
    except (TypeError, ValueError):
        raise BadColumnMap(f"«{field['name']}» has a factor or offset that is no number.") from None
    if factor == 0:
        raise BadColumnMap(f"«{field['name']}» has a factor of zero.")
    return Column(str(field["name"]), notation, factor, offset, kind)


def _sign(given: Any) -> str:
    if given in ("auto", None):
        return "auto"
    if str(given) in ("1", "+1", "-1", "1.0", "-1.0"):
        return "-1" if str(given).startswith("-") else "1"
    raise BadColumnMap(f'The sign of the current is {given!r}; it is "auto", 1 or -1.')
