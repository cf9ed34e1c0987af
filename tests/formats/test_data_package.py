"""Packages hold to the published rules of the standard, and give back the tables that went in."""

import datetime as dt

import pytest

from teardown.formats.data_package import Field, Resource, data_package, slug
from tests.formats.packages import opened

NOW = dt.datetime(2031, 3, 4, 12, 30, tzinfo=dt.UTC)


def some() -> Resource:
    fields = (
        Field("cell", "string", description="code"),
        Field("cycle", "integer"),
        Field("charge", "number", "Ah", "charge taken"),
        Field("whole", "boolean"),
        Field("at", "datetime"),
    )
    rows = [
        ("SP-1", 1.0, 0.1, True, NOW),
        ("SP-1", 2, float("nan"), 0.0, None),
        ("=1+1", 3, 1e-30, None, NOW),
    ]
    return Resource("cycles", "Cycles", fields, rows, ("cell", "cycle"))


def test_a_package_holds_to_the_rules_and_gives_its_tables_back() -> None:
    package, tables = opened(data_package("SP-1, test 1", "A cell", [some()], created=NOW))
    assert package["name"] == "sp-1-test-1"
    assert package["created"] == "2031-03-04T12:30:00Z"
    described = {field["name"]: field for field in package["resources"][0]["schema"]["fields"]}
    assert described["charge"] == {
        "name": "charge", "type": "number", "unit": "Ah", "description": "charge taken"
    }  # fmt: skip
    assert "unit" not in described["cycle"]
    first, second, third = tables["cycles"]
    assert (first["cycle"], first["charge"], first["whole"]) == ("1", "0.1", "true")
    assert (second["charge"], second["whole"], second["at"]) == ("", "false", "")
    assert float(third["charge"]) == 1e-30


def test_no_spreadsheet_takes_a_cell_for_a_formula() -> None:
    _, tables = opened(data_package("x", "x", [some()], created=NOW))
    assert tables["cycles"][2]["cell"] == "'=1+1"


def test_equal_tables_make_equal_bytes() -> None:
    assert data_package("x", "x", [some()], created=NOW) == data_package("x", "x", [some()], created=NOW)


@pytest.mark.parametrize("words", ["SP-0007, test 2", "Ärger/../x", "...", "a b"])
def test_names_are_fit_for_an_address(words: str) -> None:
    assert set(slug(words)) <= set("abcdefghijklmnopqrstuvwxyz0123456789.-")
    assert slug(words).strip(".-")
