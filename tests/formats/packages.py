"""Data Packages taken apart and held to the published rules of their standard."""

import csv
import datetime as dt
import hashlib
import io
import json
import zipfile
from typing import Any

import jsonschema

PATH = {
    "type": "string",
    "pattern": r"^((?=[^./~])(?!file:)((?!\/\.\.\/)(?!\\)(?!:\/\/).)*|(http|ftp)s?:\/\/.*)$",
}
TYPES = [
    "string", "number", "integer", "boolean", "object", "array", "list", "date", "time", "datetime", "year",
    "yearmonth", "duration", "geopoint", "geojson", "any",
]  # fmt: skip
PROFILE: dict[str, Any] = {
    # the rules that bind packages of tables, after the published profiles datapackage.json, dataresource.json
    # and tableschema.json of Data Package 2.0 (datapackage.org/profiles/2.0)
    "$schema": "http://json-schema.org/draft-07/schema#",
    "type": "object",
    "required": ["resources"],
    "properties": {
        "$schema": {"const": "https://datapackage.org/profiles/2.0/datapackage.json"},
        "name": {"type": "string", "pattern": "^[a-z0-9._/-]+$"},
        "title": {"type": "string"},
        "description": {"type": "string"},
        "created": {"type": "string", "format": "date-time"},
        "resources": {
            "type": "array",
            "minItems": 1,
            "items": {
                "type": "object",
                "oneOf": [{"required": ["name", "data"]}, {"required": ["name", "path"]}],
                "properties": {
                    "name": {"type": "string", "pattern": "^[a-z0-9._/-]+$"},
                    "type": {"enum": ["table"]},
                    "path": {"oneOf": [PATH, {"type": "array", "minItems": 1, "items": PATH}]},
                    "mediatype": {"type": "string", "pattern": "^(.+)/(.+)$"},
                    "encoding": {"type": "string"},
                    "bytes": {"type": "integer"},
                    "hash": {"type": "string", "pattern": "^([^:]+:[a-fA-F0-9]+|[a-fA-F0-9]{32}|)$"},
                    "schema": {
                        "type": "object",
                        "required": ["fields"],
                        "properties": {
                            "fields": {
                                "type": "array",
                                "minItems": 1,
                                "items": {
                                    "type": "object",
                                    "required": ["name"],
                                    "properties": {
                                        "name": {"type": "string"},
                                        "type": {"enum": TYPES},
                                        "description": {"type": "string"},
                                    },
                                },
                            },
                            "primaryKey": {
                                "oneOf": [
                                    {"type": "array", "minItems": 1, "items": {"type": "string"}},
                                    {"type": "string"},
                                ]
                            },
                            "missingValues": {"type": "array"},
                        },
                    },
                },
            },
        },
    },
}


def opened(data: bytes) -> tuple[dict[str, Any], dict[str, list[dict[str, str]]]]:
    """Unpack a package, hold it to the rules, and give its description and its tables.

    Beside the profile: names of resources and fields are unique, a primary key is made of fields and tells
    rows apart, sizes and digests are those of the files, and every cell can be read as its type says.
    """
    with zipfile.ZipFile(io.BytesIO(data)) as packed:
        files = {name: packed.read(name) for name in packed.namelist()}
    package = json.loads(files.pop("datapackage.json"))
    jsonschema.validate(package, PROFILE, format_checker=jsonschema.FormatChecker())
    tables = {}
    assert sorted(r["path"] for r in package["resources"]) == sorted(files)
    for resource in package["resources"]:
        text = files[resource["path"]]
        assert len(text) == resource["bytes"]
        assert f"sha256:{hashlib.sha256(text).hexdigest()}" == resource["hash"]
        rows = list(csv.DictReader(io.StringIO(text.decode(resource["encoding"]))))
        fields = resource["schema"]["fields"]
        names = [field["name"] for field in fields]
        assert len(set(names)) == len(names)
        assert next(csv.reader(io.StringIO(text.decode()))) == names
        for row in rows:
            for field in fields:
                readable(row[field["name"]], field["type"])
        key = resource["schema"].get("primaryKey", [])
        assert set(key) <= set(names)
        if key:
            assert len({tuple(row[k] for k in key) for row in rows}) == len(rows)
        tables[resource["name"]] = rows
    return package, tables


def readable(cell: str, kind: str) -> None:
    """Read a cell as Table Schema says that its type is written; empty ones are missing."""
    if not cell:
        return
    if kind == "number":
        float(cell)
    elif kind == "integer":
        int(cell)
    elif kind == "boolean":
        assert cell in ("true", "false")
    elif kind == "datetime":
        dt.datetime.fromisoformat(cell)
