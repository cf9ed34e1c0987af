"""The cells of a file, whatever it is: delimited text, workbook or Parquet. Every mapped number is declared,
never inferred.
"""

import io
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import polars as pl

from teardown.formats.series_blocks import NotATable, count_mark, one_line, read_columns, read_floats
from teardown.formats.series_map import ColumnMap
from teardown.formats.series_sheets import read_sheets
from teardown.formats.series_text import TextTable, fields, is_value, open_text
from teardown.science.electrochemistry.columns import Array
from teardown.science.errors import Remark

SAMPLE_ROWS = 60
FEW_SHARE = 0.001
SEND_AGAIN = "Send the file again when it is whole."
WORDS_SHARE = 0.05  # of rows that hold words alone, such as what somebody noted between the readings
GROUP_MARK = "[ '’\u00a0\u202f\u2009]"
GROUPED = rf"^[+-]?\d{{1,3}}(?:{GROUP_MARK}\d{{3}})+(?:[.,]\d*)?$"


@dataclass(slots=True)
class Table:
    """A header with cells below it.

    ``frame`` holds all columns as they came (workbook, Parquet); ``text`` is set instead for a delimited
    text, whose columns are read when asked for.
    """

    names: tuple[str, ...]
    rows: int
    remarks: tuple[Remark, ...] = ()
    text: TextTable | None = None
    frame: pl.DataFrame | None = None
    encoding: str = ""
    delimiter: str = ""
    missing: tuple[str, ...] = ()
    first_line: int = 2
    _rows: list[list[str]] = field(default_factory=list)

    def dialect(self) -> tuple[tuple[str, Any], ...]:
        """Give the Table Dialect of a text."""
        if self.text is None:
            return ()
        return (
            ("delimiter", self.delimiter),
            ("headerRows", list(self.text.header_lines)),
            ("headerJoin", " "),
        )

    def first_rows(self, count: int) -> tuple[tuple[str, ...], ...]:
        """Give the first rows as text."""
        columns = [self.sample(name)[:count] for name in self.names]
        height = max(map(len, columns), default=0)
        return tuple(tuple(c[k] if k < len(c) else "" for c in columns) for k in range(height))

    def sample(self, name: str) -> list[str]:
        """Give some cells of a column from all over the file, as text; the first ones come first."""
        place = self.names.index(name)
        if self.text is not None:
            return [row[place] if place < len(row) else "" for row in self._sample_rows()]
        assert self.frame is not None
        cells = self.frame.to_series(place)
        some = pl.concat([cells.head(SAMPLE_ROWS), cells.gather_every(max(1, len(cells) // SAMPLE_ROWS))])
        if cells.dtype.is_temporal() and cells.dtype != pl.Duration:
            return some.dt.to_string("%Y-%m-%d %H:%M:%S").fill_null("").to_list()
        return ["" if v is None else str(v).removesuffix(".0") for v in some.to_list()]

    def _sample_rows(self) -> list[list[str]]:
        """Give the first rows and blocks from all over a text, split."""
        if not self._rows and self.text is not None:
            raw, start = self.text.raw, self.text.offset
            lines = raw[start : start + 40_000].split(b"\n")[:SAMPLE_ROWS]
            stride = max((len(raw) - start) // 25, 1)
            for at in range(start + stride, len(raw), stride):
                lines += raw[at : at + 4000].split(b"\n")[1:21]
            texts = [line.decode("utf-8", errors="replace") for line in lines if line.strip()]
            self._rows = [fields(text, self.text.delimiter) for text in texts]
        return self._rows

    def trims_zeros(self, names: list[str]) -> bool:
        """Tell whether a writer drops trailing zeros: digits vary in a column, and none ends in a zero."""
        for name in names:
            found = [digits for cell in self.sample(name) if (digits := _fraction(cell))]
            lengths = {len(digits) for digits in found if digits != "0"}
            ending = sum(len(digits) > 1 and digits[-1] == "0" for digits in found)
            if len(lengths) > 1 and ending < 0.02 * len(found):
                return True
        return False

    def texts(self, name: str) -> pl.Series:
        """Give a column as text."""
        place = self.names.index(name)
        if self.text is not None:
            return read_columns(self.text, [place], pl.String).to_series(0)
        assert self.frame is not None
        cells = self.frame.to_series(place)
        if cells.dtype.is_temporal() and cells.dtype not in (pl.Duration, pl.Time):
            return cells.dt.to_string("%Y-%m-%d %H:%M:%S%.f")
        if cells.dtype == pl.Duration:
            return (cells.dt.total_microseconds() / 1e6).cast(pl.String)
        return cells.cast(pl.String)

    def numbers(self, names: list[str]) -> dict[str, tuple[Array, list[tuple[int, str]], int]]:
        """Read columns as numbers.

        Returns
        -------
        dict of str to (ndarray, list of (row, cell), int)
            Values with NaN for empty cells; the first cells that are no numbers, with their row; how many
            there are.
        """
        places = {name: self.names.index(name) for name in names}
        if self.text is not None:
            read = read_floats(self.text, sorted(set(places.values())), self.rows)
        out: dict[str, tuple[Array, list[tuple[int, str]], int]] = {}
        for name, place in places.items():
            values = read[place] if self.text is not None else self._numeric(place)
            out[name] = self._careful(name) if values is None else (values, [], 0)
        return out

    def _numeric(self, place: int) -> Array | None:
        """Give a column that is one of numbers already; None for others."""
        assert self.frame is not None
        cells = self.frame.to_series(place)
        if not cells.dtype.is_numeric():
            return None
        return np.asarray(cells.cast(pl.Float64).to_numpy(), dtype=np.float64)

    def _careful(self, name: str) -> tuple[Array, list[tuple[int, str]], int]:
        """Read a column cell by cell, to tell empty cells from bad ones, and a decimal point from a group
        mark.
        """
        cells = self.texts(name).str.strip_chars().fill_null("")
        cells = pl.select(
            pl.when(cells.is_in(list(self.missing))).then(pl.lit("")).otherwise(cells)
        ).to_series()
        values = _to_numbers(cells, comma=self.text is not None and self.text.decimal_comma)
        bad = ((cells != "") & values.is_null()).to_numpy()
        rows = np.flatnonzero(bad)
        return (
            values.to_numpy().astype(np.float64),
            [(int(r), str(cells[int(r)])) for r in rows[:5]],
            int(rows.size),
        )


def _to_numbers(cells: pl.Series, *, comma: bool) -> pl.Series:
    """Cast text to numbers; group marks are taken off only where the column shows which mark is which."""
    cells = cells.str.replace_all("^[\u2212\u2013]", "-")
    if bool(cells.str.contains(GROUPED).any()):
        bare = cells.str.replace_all(GROUP_MARK, "")
        cells = pl.select(pl.when(cells.str.contains(GROUPED)).then(bare).otherwise(cells)).to_series()
    both = bool(cells.str.contains(r"\d\.\d{3},\d|\d,\d{3}\.\d").any())
    if both:
        group = "." if bool(cells.str.contains(r"\d\.\d{3},\d").any()) else ","
        cells = cells.str.replace_all(group, "", literal=True)
    elif comma and not bool(cells.str.contains(r"\d,\d").any()):
        # where the decimal mark is a comma elsewhere, a point before every three digits groups them
        pointed = cells.filter(cells.str.contains(".", literal=True))
        if len(pointed) and bool(pointed.str.contains(r"^[+-]?\d{1,3}(?:\.\d{3})+$").all()):
            cells = cells.str.replace_all(".", "", literal=True)
        comma = False
    if bool(cells.str.contains(",", literal=True).any()) and not bool(cells.str.contains(r"\d\.\d").any()):
        cells = cells.str.replace_all(",", ".", literal=True)
    return cells.cast(pl.Float64, strict=False)


def _fraction(cell: str) -> str:
    """Give the digits behind the decimal mark of a printed number; empty where there are none."""
    whole, _, digits = cell.replace(",", ".").rpartition(".")
    return digits if digits.isdecimal() and whole[-1:].isdecimal() else ""


def open_table(data: bytes, *, name: str, column_map: ColumnMap | None = None) -> Table:
    """Open a file by what its bytes say it is.

    Raises
    ------
    ReadingError
        If it is empty, broken, or holds no table.
    """
    if data.startswith(b"PAR1"):
        return _parquet(data)
    if data.startswith((b"PK\x03\x04", b"\xd0\xcf\x11\xe0")):
        frame, said = read_sheets(data, column_map)
        return Table(
            tuple(frame.columns), frame.height, tuple(said), None, frame, missing=ColumnMap(()).missing
        )
    dialect = dict(column_map.dialect) if column_map else {}
    text = open_text(data, encoding=column_map.encoding if column_map else None, dialect=dialect)
    text, repeated = _without_repeated_header(text)
    text, rows, remarks = _sound_rows(text)
    missing = column_map.missing if column_map else ColumnMap(()).missing
    return Table(
        text.names,
        rows,
        (*repeated, *remarks),
        text,
        None,
        text.encoding,
        text.delimiter,
        missing,
        text.first_line,
    )


def _without_repeated_header(text: TextTable) -> tuple[TextTable, list[Remark]]:
    """Take out the row of names where it stands again between the rows, as on the pages of a report."""
    heads = text.raw[: text.offset].split(b"\n")[text.header_lines[0] - 1 : text.header_lines[-1]]
    again = b"\n" + b"\n".join(heads) + b"\n"
    times = text.raw.count(again, text.offset)
    if not times:
        return text, []
    start = text.offset
    raw = text.raw[:start] + text.raw[start:].replace(again, b"\n")
    said = f"The row of names stands again {times} time(s) between the rows; it was left out there."
    return replace(text, raw=raw), [
        Remark("HEADER_REPEATED", "info", said, float(times), "", "Nothing needs to be done.")
    ]


def _sound_rows(text: TextTable) -> tuple[TextTable, int, list[Remark]]:
    """Count rows, and leave out those that do not fit the header: a shifted row would be read wrongly."""
    text, cut = _without_cut_cell(text)
    found, rows, remarks = _fitting_rows(text)
    return found, rows, [*remarks, *cut]


def _without_cut_cell(text: TextTable) -> tuple[TextTable, list[Remark]]:
    """Leave the last row out where its last number is shorter than any other and no line end follows it."""
    raw = text.raw
    if raw.endswith(b"\n"):
        return text, []
    lines = raw[max(text.offset, len(raw) - 4000) :].split(b"\n")[-21:]
    ends = [_fraction(line.decode(errors="replace").rpartition(text.delimiter)[2].strip()) for line in lines]
    whole = {len(digits) for digits in ends[1:-1]}
    if len(ends) < 10 or len(whole) != 1 or len(ends[-1]) >= max(whole):
        return text, []
    where = f"last line, «{lines[-1].decode(errors='replace')[-30:]}»"
    said = "The last number of the file is cut off, as if it was copied while it was written; "
    cut = Remark("ROW_CUT_OFF", "warning", said + "its row was left out.", None, where, SEND_AGAIN)
    return replace(text, raw=raw[: raw.rindex(b"\n") + 1]), [cut]


def _fitting_rows(text: TextTable) -> tuple[TextTable, int, list[Remark]]:
    """Do what `_sound_rows` says for rows that are not cut off."""
    raw, start, mark = text.raw, text.offset, text.delimiter.encode()
    rows = count_mark(raw, b"\n", start) + (not raw.endswith(b"\n"))
    even = ((len(text.names) - 1) * rows, (text.width - 1) * rows)
    if raw.find(b'"', start) < 0 and count_mark(raw, mark, start) in even:
        return text, rows, []
    lines = raw[start:].rstrip(b"\n").split(b"\n")
    wide, short, words, open_quote = [], [], set(), []
    for number, line in enumerate(lines):
        count = line.count(mark) + 1
        quotes = line.count(b'"')
        if count == text.width and not quotes:
            continue
        if quotes % 2:
            open_quote.append(number)
            continue
        cells = fields(line.decode("utf-8", errors="replace"), text.delimiter)
        if any(cells[len(text.names) :]):
            wide.append(number)
        elif any(cells) and len(cells) < len(text.names):
            short.append(number)
            if not any(map(is_value, cells)):
                words.add(number)
    few = max(FEW_SHARE * len(lines), 3)
    out = set(short) if len(short) <= few else words if len(words) <= WORDS_SHARE * len(lines) else set()
    remarks = [
        *_wide(text, wide, few),
        *_short(text, short, len(out), len(lines)),
        *_open_quotes(text, open_quote),
    ]
    unsound = set(wide) | set(open_quote) | out
    if unsound:
        kept = b"\n".join(line for k, line in enumerate(lines) if k not in unsound)
        text = replace(text, raw=raw[:start] + kept + b"\n")
    return text, len(lines) - len(unsound), remarks


def _wide(text: TextTable, wide: list[int], few: float) -> list[Remark]:
    if not wide:
        return []
    where = f"file line {text.first_line + wide[0]}"
    said = f"{len(wide)} row(s) have more fields than the header has names, first at {where}"
    if len(wide) <= few:
        return [
            Remark(
                "ROW_TOO_WIDE",
                "warning",
                said + "; left out.",
                float(len(wide)),
                where,
                "Mend them in the export.",
            )
        ]
    remedy = (
        "A decimal comma in a comma-separated file shifts every later field: export with another delimiter."
    )
    return [Remark("ROW_TOO_WIDE", "error", said + ".", float(len(wide)), where, remedy)]


def _open_quotes(text: TextTable, rows: list[int]) -> list[Remark]:
    if not rows:
        return []
    where = f"file line {text.first_line + rows[0]}"
    said = f"{len(rows)} row(s) hold a quotation mark that is not closed, first at {where}; left out."
    remedy = "Mend them in the export: behind such a mark, cells cannot be told apart."
    return [Remark("ROW_QUOTE_OPEN", "warning", said, float(len(rows)), where, remedy)]


def _short(text: TextTable, short: list[int], out: int, rows: int) -> list[Remark]:
    if not short:
        return []
    where = f"file line {text.first_line + short[0]}"
    if short == [rows - 1]:
        said = "The last row is cut off, as if the file was copied while it was written; it was left out."
        return [Remark("ROW_CUT_OFF", "warning", said, None, where, SEND_AGAIN)]
    said = f"{len(short)} row(s) have fewer fields than the header has names, first at {where}"
    said += f"; {out} of them left out." if out else "."
    return [
        Remark(
            "ROW_TOO_SHORT", "warning", said, float(len(short)), where, "Compare them with their neighbours."
        )
    ]


def _parquet(data: bytes) -> Table:
    try:
        frame = pl.read_parquet(io.BytesIO(data))
    except Exception as fault:  # noqa: BLE001 - the engine raises many kinds; all mean that the file is broken
        raise NotATable(f"The Parquet file cannot be read: {one_line(fault)}") from None
    return Table(tuple(frame.columns), frame.height, (), None, frame)
