"""Puts an import together: which kind of table it is, what it would do, what it refuses."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from teardown.cells.intake import cell_columns, cells, recipe_columns, recipes
from teardown.cells.intake.columns import Column, UnknownHeads, recognise
from teardown.cells.intake.reading import ReadRow, Step, read_rows
from teardown.cells.rules import fold
from teardown.formats.tables import RefusedRow, read_table


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of table that may be brought."""

    words: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[str, ...], ...]
    plan: Callable[[Sequence[ReadRow]], tuple[list[Step], list[RefusedRow]]]


KINDS = {
    "cells.recipes": Kind("recipes", recipe_columns.COLUMNS, recipe_columns.EXAMPLE, recipes.plan),
    "cells.cells": Kind("cells", cell_columns.COLUMNS, cell_columns.EXAMPLE, cells.plan),
}


@dataclass(frozen=True, slots=True)
class Plan:
    """What a table would bring: its steps, its refusals by row, and how it was read."""

    kind: str
    steps: list[Step]
    refused: list[RefusedRow]
    how: dict[str, Any]


def make_plan(data: bytes, kind: str = "") -> Plan:
    """Read a table and plan what it would do to the books as they stand now.

    Parameters
    ----------
    kind : str
        A key of ``KINDS``; without it, the heads decide.

    Raises
    ------
    ReadingError
        If it is no table, or its heads do not say what its columns are.
    """
    table = read_table(data)
    kind = kind or _kind_of(table.heads)
    known = KINDS[kind]
    found, remarks = recognise(table.heads, known.columns)
    rows = read_rows(table.rows, found)
    steps, refused = known.plan(rows)
    heads = {one.column.key: one.head for one in found}
    refused = [replace(one, column=heads.get(one.column, one.column)) for one in refused]
    refused += [fault for row in rows for fault in row.faults]
    how = {
        "encoding": table.encoding,
        "delimiter": table.delimiter,
        "sheet": table.sheet,
        "columns": {one.head: {"key": one.column.key, "unit": one.unit} for one in found},
        "remarks": [
            {"level": remark.level, "message": remark.message, "where": remark.where, "remedy": remark.remedy}
            for remark in (*table.remarks, *remarks)
        ],
    }
    return Plan(kind, steps, sorted([*table.refused, *refused], key=lambda one: one.row), how)


def _kind_of(heads: Sequence[str]) -> str:
    plain = {fold(head) for head in heads}
    if {"role", "material"} & plain:
        return "cells.recipes"
    if {"cell", "code", "cell code", "build", "batch"} & plain:
        return "cells.cells"
    raise UnknownHeads(f"The heads “{', '.join(heads)[:80]}” are neither those of recipes nor of cells.")


def example(kind: str) -> list[list[str]]:
    """Give an example table of this kind, heads first: invented, to be filled in."""
    known = KINDS[kind]
    return [[column.head for column in known.columns], *(list(row) for row in known.rows)]
