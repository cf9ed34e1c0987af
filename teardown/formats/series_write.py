"""Histories written out: the open Battery Data Format, and text in any dialect a cycler might use."""

import io
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import polars as pl

from teardown.science.electrochemistry.columns import QUANTITIES, Array, Series

FLOAT64 = ("test_time_second", "unix_time_second", "step_time_second")
WHOLE = ("cycle_count", "step_count", "record_index")
ROW_GROUP = 100_000
ZSTD_LEVEL = 2  # on such histories as small as level 3, in a fifth less time


@dataclass(frozen=True, slots=True)
class Dialect:
    """How a text is written.

    ``headers`` gives each quantity, in order, its header and the factor from the canonical unit; ``digits``
    the digits behind the point, full precision where not named.
    """

    headers: Mapping[str, tuple[str, float]]
    delimiter: str = ","
    decimal: str = "."
    encoding: str = "utf-8"
    preamble: tuple[str, ...] = ()
    digits: Mapping[str, int] = field(default_factory=dict)


BDF_HEADERS: dict[str, tuple[str, float]] = {notation: (notation, 1.0) for notation in QUANTITIES}


def write_text(series: Series, dialect: Dialect) -> bytes:
    """Write a history as a delimited text.

    Parameters
    ----------
    series : Series
    dialect : Dialect
        Quantities that the history lacks are left out.

    Returns
    -------
    bytes
    """
    columns = {}
    for notation, (header, factor) in dialect.headers.items():
        values = series.get(notation)
        if values is None:
            continue
        digits = dialect.digits.get(notation)
        cells = pl.Series(values * factor)
        if notation in WHOLE:
            columns[header] = cells.cast(pl.Int64).cast(pl.String)
        elif digits is None:
            columns[header] = cells.cast(pl.String)
        else:
            columns[header] = pl.Series(np.char.mod(f"%.{digits}f", values * factor))
        if dialect.decimal != ".":
            columns[header] = columns[header].str.replace(".", dialect.decimal, literal=True)
    text = pl.DataFrame(columns).write_csv(separator=dialect.delimiter, quote_style="necessary")
    return ("".join(line + "\n" for line in dialect.preamble) + text).encode(dialect.encoding)


def write_bdf(series: Series) -> bytes:
    """Write a history as ``.bdf.csv``: UTF-8, comma, point, machine names, current positive on charge."""
    return write_text(series, Dialect(BDF_HEADERS))


def write_parquet(series: Series) -> bytes:
    """Write a history as Parquet for keeping: zstd, values as float32, times as float64."""
    frame = pl.DataFrame({n: pl.Series(values=_slim(n, c)) for n, c in series.columns.items()})
    out = io.BytesIO()
    frame.write_parquet(
        out, compression="zstd", compression_level=ZSTD_LEVEL, row_group_size=ROW_GROUP, statistics=False
    )
    return out.getvalue()


def _slim(notation: str, values: Array) -> pl.Series:
    if notation in FLOAT64:
        return pl.Series(values)
    if notation in WHOLE and np.isfinite(values).all() and np.all(np.abs(values) < 2**31):
        return pl.Series(values.astype(np.int64)).cast(pl.Int32)
    return pl.Series(values).cast(pl.Float32)


def read_parquet(data: bytes, *, columns: list[str] | None = None) -> dict[str, Array]:
    """Read back what `write_parquet` kept; an absent column is left out."""
    frame = pl.read_parquet(io.BytesIO(data))
    return {n: frame[n].cast(pl.Float64).to_numpy() for n in frame.columns if columns is None or n in columns}
