"""Columns of a delimited text, read block by block, so that a large file is not held twice."""

import re
from collections.abc import Iterator
from typing import Any

import numpy as np
import polars as pl

from teardown.formats.series_text import TextTable
from teardown.science.electrochemistry.columns import Array
from teardown.science.errors import ReadingError

BLOCK_BYTES = 4_000_000
COUNT_BYTES = 1_000_000


class NotATable(ReadingError):
    """A workbook or Parquet file cannot be opened as a table."""

    code = "FILE_BROKEN"
    hint = "Export it again, or as a text file."


def read_columns(text: TextTable, places: list[int], dtype: Any, block: bytes | None = None) -> pl.DataFrame:
    """Read some columns of a text, or of a block of its rows."""
    names = [f"column_{k + 1}" for k in range(text.width)]
    try:
        return pl.read_csv(
            text.raw if block is None else block,
            has_header=False,
            skip_lines=text.first_line - 1 if block is None else 0,
            schema=dict.fromkeys(names, dtype),
            columns=[names[k] for k in places],
            separator=text.delimiter,
            decimal_comma=text.decimal_comma and text.delimiter != "," and dtype == pl.Float64,
            truncate_ragged_lines=True,
            ignore_errors=True,
            quote_char='"',
        )
    except pl.exceptions.PolarsError as fault:
        raise NotATable(f"The rows cannot be told apart: {one_line(fault)}") from None


def read_floats(text: TextTable, places: list[int], rows: int) -> dict[int, Array | None]:
    """Read columns of numbers block by block, so that little is held twice; None where a cell is no number.

    Parameters
    ----------
    text : TextTable
    places : list of int
        Columns, from 0.
    rows : int
        At least as many as the text has.

    Returns
    -------
    dict of int to ndarray of float or None
    """
    out: dict[int, Array | None] = {place: np.empty(rows) for place in places}
    done = 0
    for block in blocks(text.raw, text.offset):
        frame = read_columns(text, places, pl.Float64, block)
        for place in _pointed(text, places, block):
            out[place] = None
        if done + frame.height > rows:  # never seen; the whole text is then read cell by cell
            return dict.fromkeys(places)
        for k, place in enumerate(places):
            cells, held = frame.to_series(k), out[place]
            if held is None or cells.null_count():
                out[place] = None
            else:
                held[done : done + frame.height] = cells.to_numpy()
        done += frame.height
    return {place: held if held is None else held[:done] for place, held in out.items()}


def _pointed(text: TextTable, places: list[int], block: bytes) -> list[int]:
    """List the columns that hold a point beside decimal commas: it may group digits."""
    if not text.decimal_comma or b"." not in block:
        return []
    cells = read_columns(text, places, pl.String, block)
    return [p for k, p in enumerate(places) if cells.to_series(k).str.contains(".", literal=True).any()]


def blocks(raw: bytes, start: int) -> Iterator[bytes]:
    """Cut a text at ends of lines; no block begins with an empty line, which would not be read as a row."""
    while start < len(raw):
        end = raw.find(b"\n", start + BLOCK_BYTES) + 1
        while 0 < end < len(raw) and raw[end] in b"\n":
            end += 1
        yield raw[start:] if end <= 0 else raw[start:end]
        start = end if end > 0 else len(raw)


def count_mark(raw: bytes, mark: bytes, start: int) -> int:
    """Count a mark; one of a single byte many at a time."""
    if len(mark) != 1:
        return raw.count(mark, start)
    cells = np.frombuffer(raw, dtype=np.uint8)
    return sum(
        int(np.count_nonzero(cells[k : k + COUNT_BYTES] == mark[0]))
        for k in range(start, len(raw), COUNT_BYTES)
    )


def one_line(fault: Exception) -> str:
    return re.sub(r"\s+", " ", str(fault))[:160]
