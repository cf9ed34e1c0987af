"""The sheet of a workbook that holds a history, among others that hold statistics or notes."""

from typing import Any

import polars as pl

from teardown.formats.series_blocks import NotATable, one_line
from teardown.formats.series_columns import recognise
from teardown.formats.series_map import ColumnMap
from teardown.formats.series_text import LEAST_VALUES, is_value, layout_of_rows
from teardown.science.errors import Remark


def read_sheets(data: bytes, column_map: ColumnMap | None) -> tuple[pl.DataFrame, list[Remark]]:
    """Open the sheet that holds a history; sheets that go on with the same header are joined.

    Parameters
    ----------
    data : bytes
        The workbook.
    column_map : ColumnMap, optional
        Its names, and the name of a sheet in its dialect, tell which one is meant.

    Returns
    -------
    DataFrame, list of Remark

    Raises
    ------
    NotATable
        If the workbook is broken, or no sheet holds a table.
    """
    import fastexcel

    dialect = dict(column_map.dialect) if column_map else {}
    bare: list[str] = []
    try:
        book = fastexcel.read_excel(data)
        names = [str(dialect["sheetName"])] if dialect.get("sheetName") else list(book.sheet_names)
        tables = [(name, found) for name in names if (found := _sheet(book, name, bare)) is not None]
    except Exception as fault:  # noqa: BLE001 - the engine raises many kinds; all mean that the file is broken
        raise NotATable(f"The workbook cannot be read: {one_line(fault)}") from None
    if not tables:
        raise NotATable("No sheet of the workbook holds a row of names above rows of numbers.")
    first_name, first = max(tables, key=lambda named: _fitness(named[1], column_map))  # the first of the best
    same = [frame for _, frame in tables if frame.columns == first.columns]
    remarks = []
    if len(same) > 1:
        first = pl.concat(same, how="vertical_relaxed")
        remarks.append(
            Remark(
                "SHEETS_JOINED",
                "info",
                f"{len(same)} sheets with the same header were read one after the other.",
                float(len(same)),
                "",
                "Check that they follow each other and belong to one cell.",
            )
        )
    elif len(tables) > 1:
        others = ", ".join(f"«{n}»" for n, _ in tables if n != first_name)
        remarks.append(
            Remark(
                "SHEETS_LEFT",
                "info",
                f"Sheet «{first_name}» was read; {others} hold tables too.",
                None,
                "",
                "Name another sheet in the column map (dialect, sheetName) if it is the right one.",
            )
        )
    if bare:
        shown = ", ".join(f"«{n}»" for n in bare[:4])
        said = f"{shown} hold(s) numbers without a row of names, and was not read."
        remedy = "If the history goes on there, give that sheet the row of names too."
        remarks.append(Remark("SHEETS_LEFT", "warning", said, float(len(bare)), shown, remedy))
    return first, remarks


def _fitness(frame: pl.DataFrame, column_map: ColumnMap | None) -> int:
    """Count the columns of a sheet that a history needs, or that a map names."""
    if column_map is not None and column_map.columns:
        return len({c.name for c in column_map.columns} & set(frame.columns))
    head = frame.head(30)
    samples = {n: ["" if v is None else str(v) for v in head[n].to_list()] for n in frame.columns}
    have = {c.quantity for c in recognise(tuple(frame.columns), samples)[0]}
    times = {"test_time_second", "unix_time_second", "step_time_second"}
    return len(have & {"voltage_volt", "current_ampere"}) + bool(have & times)


def _sheet(book: Any, name: str, bare: list[str]) -> pl.DataFrame | None:
    """Find names and values in one sheet; one that holds numbers without names is noted in ``bare``."""
    head = book.load_sheet(name, header_row=None, n_rows=200, dtypes="string").to_polars()
    rows = [[("" if c is None else str(c)).strip() for c in row] for row in head.iter_rows()]
    found = layout_of_rows(rows)
    if found is None:
        held = [row for row in rows if any(row)]
        if len(held) >= 2 and all(sum(map(is_value, row)) >= LEAST_VALUES for row in held[:50]):
            bare.append(name)
        return None
    frame: pl.DataFrame = book.load_sheet(name, header_row=None, skip_rows=found.first).to_polars()
    labels = [n or f"column {k + 1}" for k, n in enumerate(found.names)]
    frame = frame.select(frame.columns[: len(labels)])
    return frame.rename(dict(zip(frame.columns, _unique(labels), strict=False)))


def _unique(names: list[str]) -> list[str]:
    seen: dict[str, int] = {}
    out = []
    for name in names:
        seen[name] = seen.get(name, 0) + 1
        out.append(name if seen[name] == 1 else f"{name} ({seen[name]})")
    return out
