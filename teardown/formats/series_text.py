"""From the bytes of a delimited text to a table: encoding, preamble, header, units row, delimiter, decimal
mark.
"""

import csv
import re
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

from teardown.formats.series_units import is_unit
from teardown.science.errors import ReadingError

DELIMITERS = ("\t", ";", ",", "|")
HEAD_LINES = 3000
SHORT_HEAD = 120  # most tables begin within these
ROWS_BELOW = 3  # that must look like the first row of values
LEAST_VALUES = 3
MANY_ROWS = 50  # a table of so many rows is the table
NUMBER = re.compile(r"^[+-]?(?:\d+(?:[.,]\d*)*|[.,]\d+|\d{1,3}(?:[ '’]\d{3})+(?:[.,]\d*)?)(?:[eE][+-]?\d+)?$")
CLOCK = re.compile(
    r"^[^A-Za-z]*\d{1,4}[:./-](?:\d{1,2}|[A-Za-z]{3})[:./-]\d{1,4}[\dT:., ]*"
    r"(?:[AaPp][Mm]|Z|[+-]\d\d:?\d\d)?$"
)
TYPESET_MINUS = re.compile("(?:\u2212|\u2013|\u2011|\ufe63|\uff0d)(?=[0-9.,])".encode())
GROUP_BLANK = re.compile("(?<=[0-9])(?:\u00a0|\u202f|\u2009)(?=[0-9]{3}(?![0-9]))".encode())
DECIMAL = re.compile(r"[+-]?\d+([.,])\d+(?:[eE][+-]?\d+)?")
GROUPS = re.compile(r"[+-]?[1-9]\d{0,2}[.,]\d{3}")
DURATION = re.compile(
    r"^(?:\d+(?:\s*d\w*\.?)?[ ,T]*\d{1,2}:\d{2}(?::\d{2}(?:[.,]\d+)?)?"
    r"|\d+[.:-]\d{1,2}:\d{2}:\d{2}(?:[.,]\d+)?"
    r"|P(?:\d+D)?T(?:\d+H)?(?:\d+M)?(?:\d+(?:[.,]\d+)?S)?)$"
)
COMPACT = re.compile(r"^\d{8}[T ]\d{6}(?:[.,]\d+)?(?:Z|[+-]\d\d:?\d\d)?$")


class NoTable(ReadingError):
    """No table of numbers under a row of names was found."""

    code = "HEADER_MISSING"
    hint = "Export it with one row of column names, at least time, voltage and current, above the numbers."


@dataclass(frozen=True, slots=True)
class TextTable:
    """A delimited table that is ready for reading.

    Attributes
    ----------
    names : tuple of str
        Column names, with a units row joined on.
    raw : bytes
        The whole text, UTF-8, lines ended by a line feed.
    offset : int
        Where in it the first row begins.
    delimiter, encoding : str
    decimal_comma : bool
    header_lines : tuple of int
        Lines of the file, from 1, that hold names (and units).
    first_line : int
        Line of the file, from 1, of the first row.
    width : int
        Fields of a row: names, and empty ones behind them.
    """

    names: tuple[str, ...]
    raw: bytes
    offset: int
    delimiter: str
    encoding: str
    decimal_comma: bool
    header_lines: tuple[int, ...]
    first_line: int
    width: int


def as_utf8(data: bytes, encoding: str | None = None) -> tuple[bytes, str]:
    """Give the text as UTF-8 with line feeds, and the name of the encoding it came in.

    A byte-order mark decides, else UTF-8 if valid, else Windows Western. Minus signs and blanks that
    typesetters put into numbers become plain ones. A text that is ASCII already is not copied.
    """
    raw, found, ascii_alone = _recoded(data, encoding)
    if not ascii_alone:
        raw = GROUP_BLANK.sub(b"", TYPESET_MINUS.sub(b"-", raw))
    if b"\r" in raw:
        raw = raw.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    end = len(raw)
    while end and raw[end - 1] in b" \t\n,;":
        end -= 1
    last = raw.find(b"\n", end)  # blanks that end the last row belong to it
    return (raw if last < 0 or last >= len(raw) - 1 else raw[: last + 1]), found


def _recoded(data: bytes, encoding: str | None) -> tuple[bytes, str, bool]:
    """Give the text as UTF-8, the encoding it came in, and whether it is known to be ASCII alone."""
    if encoding and encoding.lower().replace("_", "-") not in ("utf-8", "ascii"):
        return data.decode(encoding, errors="replace").lstrip("\ufeff").encode(), encoding, False
    marks = ((b"\xff\xfe\0\0", "utf-32"), (b"\0\0\xfe\xff", "utf-32"))
    for mark, name in (*marks, (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16")):
        if data.startswith(mark):
            return data.decode(name, errors="replace").encode(), name, False
    if data.startswith(b"\xef\xbb\xbf"):
        data = data[3:]
    if data[:2000].count(0) > 0.3 * min(len(data), 2000):
        name = "utf-16-le" if data[1:2] == b"\0" else "utf-16-be"
        return data.decode(name, errors="replace").encode(), name, False
    if data.isascii():
        return data, "utf-8", True
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace").encode(), "cp1252", False
    return data, "utf-8", False


def open_text(
    data: bytes, *, encoding: str | None = None, dialect: dict[str, object] | None = None
) -> TextTable:
    """Find the table in a text file.

    Parameters
    ----------
    data : bytes
        The file as received.
    encoding : str, optional
        Where it is known.
    dialect : dict, optional
        Table Dialect (Data Package v2): ``delimiter`` is tried first where given.

    Returns
    -------
    TextTable

    Raises
    ------
    NoTable
        If no row of names above rows of numbers is found.
    """
    raw, found = as_utf8(data, encoding)
    head = _head(raw)
    wanted = str((dialect or {}).get("delimiter") or "")
    layouts = [layout for layout in (_layout(head, wanted) if wanted else None,) if layout]
    layouts = layouts or [layout for d in DELIMITERS if (layout := _layout(head, d))]
    if not layouts:
        raw = re.sub(rb"[ \t]{2,}", b"\t", re.sub(rb"(?m)^[ \t]+|[ \t]+$", b"", raw))
        head = _head(raw)
        layouts = [layout for layout in (_layout(head, "\t"),) if layout]
    if not layouts:
        raise NoTable(_why(head))
    best = max(layouts, key=lambda layout: len(layout.names))
    offset = sum(len(line.encode()) + 1 for line in head[: best.first])
    return TextTable(
        tuple(best.names),
        raw,
        offset,
        best.delimiter,
        found,
        _decimal_comma(head[best.first :], best.delimiter),
        tuple(line + 1 for line in best.header),
        best.first + 1,
        best.width,
    )


@dataclass(frozen=True, slots=True)
class Layout:
    """Where a table stands: names, lines of the header, first row of values, fields of a row."""

    delimiter: str
    names: list[str]
    header: list[int]
    first: int
    width: int


def _head(raw: bytes) -> list[str]:
    """Give the first lines."""
    end = -1
    for _ in range(HEAD_LINES):
        at = raw.find(b"\n", end + 1)
        if at < 0:
            return raw.decode("utf-8", errors="replace").split("\n")
        end = at
    return raw[:end].decode("utf-8", errors="replace").split("\n")


def fields(line: str, delimiter: str) -> list[str]:
    """Split one line, quotes respected."""
    if '"' in line:
        return [cell.strip() for cell in next(csv.reader([line], delimiter=delimiter))]
    return [cell.strip() for cell in line.split(delimiter)]


def is_value(cell: str) -> bool:
    """Tell whether a cell is a number, a clock time or a duration."""
    return any(form.match(cell) for form in (NUMBER, DURATION, CLOCK, COMPACT))


def _layout(head: list[str], delimiter: str) -> Layout | None:
    """Find the first row of values that has a row of names above it, in the first lines where it is there."""
    for lines in (head[:SHORT_HEAD], head):
        if not any(delimiter in line for line in lines):
            continue
        found = layout_of_rows([_cells(line, delimiter) for line in lines], delimiter)
        if found is not None and (found.first < len(lines) - MANY_ROWS or len(lines) == len(head)):
            return found
    return None


def _cells(line: str, delimiter: str) -> list[str]:
    return fields(line, delimiter) if delimiter in line else [line.strip()] if line.strip() else []


def layout_of_rows(rows: list[list[str]], delimiter: str = "") -> Layout | None:
    """Find the table in rows that are split already: of several below each other, the one with most rows.

    A small one above it, such as the program of a test, is none.
    """
    best, most, start = None, 0, 0
    while found := _next_layout(rows, delimiter, start):
        run = _length(rows, found)
        if run > most:
            best, most = found, run
        start = found.first + run
        if start >= len(rows) or run >= MANY_ROWS:
            break
    return best


def _length(rows: list[list[str]], found: Layout) -> int:
    """Count the rows of a table: it ends where rows are of another width, or where other names stand."""
    own = rows[found.header[0]]
    for k, row in enumerate(rows[found.first :]):
        held = [cell for cell in row if cell]
        names = len(held) >= LEAST_VALUES and not any(map(is_value, held))
        if held and (abs(len(row) - found.width) > 1 or (names and row != own)):
            return k
    return len(rows) - found.first


def _next_layout(rows: list[list[str]], delimiter: str, start: int) -> Layout | None:
    """Find the first row of values, from one on, that has a row of names above it."""
    for first in range(start, len(rows)):
        row = rows[first]
        if len(row) < LEAST_VALUES or sum(map(is_value, row)) < LEAST_VALUES or not _goes_on(rows, first):
            continue
        above = [i for i in range(start, first) if any(rows[i])]
        if not above:
            return None
        units: list[str] = []
        header = [above[-1]]
        if len(above) > 1 and _only_units(rows[above[-1]]):
            units, header = rows[above[-1]], above[-2:]
        names = rows[header[0]]
        while names and not names[-1]:
            names = names[:-1]
        if (
            sum(map(bool, names)) < 3
            or sum(map(is_value, names)) >= 0.2 * len(names)
            or len(names) > len(row) + 1
        ):
            continue
        if units:
            names = [f"{n} [{u.strip('[]() ')}]" if u else n for n, u in _pad(names, units)]
        extra = [cell for cell in row[len(names) :] if cell]
        if extra:
            continue
        return Layout(delimiter, names, header, first, max(len(row), len(names)))
    return None


def _pad(names: list[str], units: list[str]) -> Iterator[tuple[str, str]]:
    yield from ((name, units[i] if i < len(units) else "") for i, name in enumerate(names))


def _goes_on(rows: list[list[str]], first: int) -> bool:
    """Tell whether the rows below have values and the same width, give or take one."""
    width = len(rows[first])
    below = [row for row in rows[first + 1 : first + 1 + ROWS_BELOW] if row]
    return all(abs(len(row) - width) <= 1 and sum(map(is_value, row)) >= 2 for row in below)


def _only_units(cells: list[str]) -> bool:
    held = [cell.strip("[]() ") for cell in cells if cell.strip("[]() ")]
    return bool(held) and all(is_unit(cell) for cell in held)


def _decimal_comma(lines: list[str], delimiter: str) -> bool:
    """Tell whether more cells hold a decimal comma than a decimal point.

    What may be groups of three digits, such as 1.234 or 1,234, counts only where nothing is surer.
    """
    counts = dict.fromkeys(((mark, sure) for mark in ",." for sure in (True, False)), 0)
    for line in lines[:400]:
        if delimiter == "," and '"' not in line:
            counts[".", True] += 1
            continue
        for cell in fields(line, delimiter):
            if found := DECIMAL.fullmatch(cell):
                counts[found[1], GROUPS.fullmatch(cell) is None] += 1
    if counts[",", True] or counts[".", True]:
        return counts[",", True] > counts[".", True]
    return counts[",", False] > counts[".", False]


def _why(head: list[str]) -> str:
    """Say what was seen instead of a table."""
    filled = [line for line in head if line.strip()]
    if not filled:
        return "The file is empty."
    if sum(map(is_value, re.split(r"[\t;,|]", filled[0]))) >= 3:
        return "The file begins with numbers; no row names its columns."
    for above, below in pairwise(filled[:SHORT_HEAD]):
        for mark in DELIMITERS:
            names, cells = fields(above, mark), fields(below, mark)
            odd = [k for k, cell in enumerate(cells) if cell and not is_value(cell)]
            if len(names) >= LEAST_VALUES and len(cells) == len(names) and odd and len(odd) < len(cells):
                name, cell = names[odd[0]][:30], cells[odd[0]][:40]
                return f"Below «{name}» stands «{cell}», which is neither a number nor a date nor a duration."
    longest = max((len(fields(line, d)) for line in filled[:50] for d in DELIMITERS), default=0)
    if longest < 3:
        return f"No line of the first {min(len(filled), 50)} has three fields or more."
    return "No row of names with rows of as many numbers below it was found."
