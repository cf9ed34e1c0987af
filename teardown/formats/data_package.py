"""Tables as they leave together: CSV files with their description, packed as a Data Package.

The open standard Data Package, version 2.0 (datapackage.org): ``datapackage.json`` names each file, and each
column with its type and definition (Table Schema). A column's ``unit`` is our own key beside the standard's.
"""

import csv
import datetime as dt
import hashlib
import io
import json
import re
import zipfile
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from teardown.formats.export import neutral

PROFILE = "https://datapackage.org/profiles/2.0/datapackage.json"
Type = Literal["string", "number", "integer", "boolean", "datetime"]


@dataclass(frozen=True, slots=True)
class Field:
    """One column: its name, type, unit (empty for words and pure numbers), and what it is."""

    name: str
    type: Type = "number"
    unit: str = ""
    description: str = ""

    def described(self) -> dict[str, Any]:
        """Give the field as Table Schema describes it."""
        said = {"name": self.name, "type": self.type, "description": self.description, "unit": self.unit}
        return {key: value for key, value in said.items() if value}


@dataclass(frozen=True, slots=True)
class Resource:
    """One table: rows of cells in the order of its fields; ``key`` names the fields that tell rows apart."""

    name: str
    title: str
    fields: tuple[Field, ...]
    rows: Iterable[Sequence[Any]]
    key: tuple[str, ...] = ()

    def text(self) -> bytes:
        """Write the rows as CSV (RFC 4180), UTF-8 without a mark."""
        out = io.StringIO()
        writer = csv.writer(out)
        writer.writerow([field.name for field in self.fields])
        types = [field.type for field in self.fields]
        writer.writerows(
            [_cell(value, kind) for value, kind in zip(row, types, strict=True)] for row in self.rows
        )
        return out.getvalue().encode()


def slug(words: str) -> str:
    """Make a name that may stand in an address: lower case, digits, points, hyphens.

    >>> slug("SP-0007, test 2")
    'sp-0007-test-2'
    """
    return re.sub(r"[^a-z0-9.]+", "-", words.lower()).strip("-.") or "data"


def data_package(
    name: str,
    title: str,
    resources: Sequence[Resource],
    *,
    created: dt.datetime,
    description: str = "",
) -> bytes:
    """Pack tables with their description as a zip file.

    Parameters
    ----------
    name, title, description : str
        The name is made fit for an address.
    resources : sequence of Resource
        At least one.
    created : datetime
        With its zone; it is the time of every file in the zip, so that equal tables make equal bytes.

    Returns
    -------
    bytes
    """
    out, described = io.BytesIO(), []
    stamp = created.astimezone(dt.UTC)
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:

        def put(path: str, data: bytes) -> None:
            packed.writestr(
                zipfile.ZipInfo(path, max(stamp.timetuple()[:6], (1980, 1, 1, 0, 0, 0))),
                data,
                zipfile.ZIP_DEFLATED,
            )

        for resource in resources:
            data = resource.text()
            described.append(_described(resource, data))
            put(f"{resource.name}.csv", data)
        package = {
            "$schema": PROFILE,
            "name": slug(name),
            "title": title,
            "description": description,
            "created": stamp.isoformat(timespec="seconds").replace("+00:00", "Z"),
            "resources": described,
        }
        package = {key: value for key, value in package.items() if value}
        put("datapackage.json", json.dumps(package, indent=2, ensure_ascii=False).encode())
    return out.getvalue()


def _described(resource: Resource, data: bytes) -> dict[str, Any]:
    schema: dict[str, Any] = {
        "fields": [field.described() for field in resource.fields],
        "missingValues": [""],
    }
    if resource.key:
        schema["primaryKey"] = list(resource.key)
    return {
        "name": resource.name,
        "type": "table",
        "path": f"{resource.name}.csv",
        "title": resource.title,
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "bytes": len(data),
        "hash": f"sha256:{hashlib.sha256(data).hexdigest()}",
        "schema": schema,
    }


def _cell(value: Any, kind: Type) -> str:
    """Write one value; what is not known is empty."""
    if value is None or value != value:
        return ""
    if kind == "integer":
        return str(int(value))
    if kind == "boolean":
        return "true" if value else "false"
    if kind == "datetime":
        return str(value.astimezone(dt.UTC).isoformat(timespec="seconds").replace("+00:00", "Z"))
    return repr(float(value)) if kind == "number" else neutral(value)
