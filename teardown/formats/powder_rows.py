"""The lines of a text pattern: which hold numbers, which words, and what the marks in the numbers mean."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from teardown.science.errors import ReadingError, Remark

Array = NDArray[np.float64]
NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?|[+-]?(?:nan|inf)", re.IGNORECASE)
COMMENTS = ("#", "!", "'", '"', "/", "*", "%")
LARGEST_LINES = 400_000
THOUSANDS = re.compile(r"[+-]?\d{1,3}(?:([.,])\d{3})(?:\1\d{3})*")


class NotText(ReadingError):
    """The file is not text."""

    code = "powder.E010"
    hint = "Export the pattern as two columns of text (angle and counts)."


class NoPattern(ReadingError):
    """No rows of angle and counts were found."""

    code = "powder.E011"
    hint = "Give two columns: 2θ in degrees and counts, one point a line."


class OneColumn(ReadingError):
    """The file holds one column of numbers."""

    code = "powder.E012"
    hint = "Export angle and counts side by side, one point a line."


class BrokenRow(ReadingError):
    """A row in the middle of the data cannot be read."""

    code = "powder.E013"
    hint = "Repair or remove this row."


@dataclass(frozen=True, slots=True)
class Rows:
    """Columns of numbers as they stand in a text, and its words.

    ``columns`` are all columns, NaN where a row is shorter; ``titles`` their heads, empty for none.
    """

    columns: list[Array]
    titles: tuple[str, ...]
    header: str
    decimal_comma: bool
    remarks: tuple[Remark, ...]


def decoded(data: bytes) -> str:
    """Give the text of a file in the encodings that instruments use.

    Raises
    ------
    NotText
    """
    if data[:4] in (b"\xff\xfe\x00\x00", b"\x00\x00\xfe\xff"):
        return data.decode("utf-32", errors="replace")
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return data.decode("utf-16", errors="replace")
    if data[:4] == b"PK\x03\x04":
        raise NotText("The file is a workbook or an archive.")
    data = data.rstrip(b"\x00\x1a")  # what fills the last block of old file systems
    if b"\x00" in data[:4096]:
        raise NotText("The file is binary.")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("latin-1")


def read_rows(text: str) -> Rows:
    """Read the columns of a text, whatever parts them.

    Raises
    ------
    NoPattern, OneColumn, BrokenRow
    """
    rows, kept, numbers, before = _parted(text)
    rows, preamble, numbers = _without_preamble(rows, numbers)
    columns, comma, remarks = _columns(rows, numbers)
    titles = _titles([*kept[:before], *preamble], len(columns))
    return Rows(columns, titles, "\n".join(kept + preamble), comma, remarks)


def _parted(text: str) -> tuple[list[str], list[str], list[int], int]:
    """Give rows of numbers, words, the line numbers of rows, and how many words stand before them."""
    rows: list[str] = []
    kept: list[str] = []
    numbers: list[int] = []
    before = 0
    lines = text.splitlines()
    if len(lines) > LARGEST_LINES:
        raise NoPattern(f"The file has more than {LARGEST_LINES} lines.")
    for n, line in enumerate(lines, 1):
        bare = _unquoted(line.strip())
        if not bare.strip(";, \t"):
            continue
        if bare.startswith(COMMENTS) or not _is_row(bare):
            if rows and not bare.startswith(COMMENTS) and any(c.isdigit() for c in bare):
                _refuse_if_inside(bare, n, rows, lines)
            kept.append(line)
        else:
            before = before if rows else len(kept)
            rows.append(bare)
            numbers.append(n)
    if not rows:
        raise NoPattern(
            "No line of the file begins with two numbers." if text.strip() else "The file is empty."
        )
    return rows, kept, numbers, before


def _unquoted(line: str) -> str:
    """Take quotation marks off numbers, so that commas inside them are told from commas between them."""
    if '"' in line:
        plain = re.sub(r'"\s*[,;\t]\s*"?|[,;\t]\s*"', ";", line).strip('"')
        if _is_row(plain):
            return plain
    if "'" in line[1:] or "−" in line or "’" in line:
        return re.sub(r"(?<=\d)['’](?=\d{3}(?!\d))", "", line.replace("−", "-"))
    return line


def _is_row(line: str) -> bool:
    """Say whether a line is made of numbers alone, whatever parts them."""
    return all(NUMBER.fullmatch(field) for field in re.split(r"[\s;,]+", line) if field)


def _refuse_if_inside(line: str, n: int, rows: Sequence[str], lines: Sequence[str]) -> None:
    """Refuse a line with letters among the numbers, or one that goes on with their angles."""
    rest = next((later for later in lines[n:] if later.strip()), "")
    within = len(rows) > 3 and bool(rest) and _is_row(rest.strip())
    if within or _goes_on(line, rows):
        raise BrokenRow(f'Line {n} reads "{line[:60]}", where two numbers should be.')


def _goes_on(line: str, rows: Sequence[str]) -> bool:
    """Say whether a line begins with the angle that would come next."""
    first = [re.match(r"[+-]?\d+(?:[.,]\d+)?", text) for text in (*rows[-2:], line)]
    if len(first) < 3 or not all(first):
        return False
    a, b, c = (float(m[0].replace(",", ".")) for m in first if m)
    return b != a and abs(c - (2 * b - a)) < 0.5 * abs(b - a)


def _without_preamble(rows: list[str], numbers: list[int]) -> tuple[list[str], list[str], list[int]]:
    """Take rows of another width before the data (start, step, number of points) off."""
    width = len(_split(rows[len(rows) // 2]))
    first = next((i for i, row in enumerate(rows) if len(_split(row)) == width), 0)
    return rows[first:], rows[:first], numbers[first:]


def _split(row: str) -> list[str]:
    """Split a row at semicolons or tabs, else at spaces, else at commas."""
    for mark in (";", "\t"):
        if mark in row:
            return [f.strip() for f in row.split(mark) if f.strip()]
    parts = [f for f in re.split(r",?\s+", row.strip().rstrip(",")) if f]
    return parts if len(parts) > 1 else [f for f in row.strip().rstrip(",").split(",") if f]


def _titles(words: Sequence[str], width: int) -> tuple[str, ...]:
    """Give the heads of the columns: the last line before the data that has as many words as they are."""
    for line in reversed(words[-3:]):
        heads = _split(line.strip().lstrip("#!%*/ ").replace('"', ""))
        if len(heads) == width and any(c.isalpha() for c in line):
            return tuple(heads)
    return ()


def _columns(rows: Sequence[str], lines: Sequence[int]) -> tuple[list[Array], bool, tuple[Remark, ...]]:
    """Turn rows into columns of floats, decimal comma or point."""
    fields = [_split(row) for row in rows]
    width = len(fields[0])
    commas = any("," in f for row in fields for f in row)
    if width == 2 and _is_one_decimal_column(rows, fields):
        raise OneColumn(f"All {len(rows)} rows hold one number with a decimal comma.")
    if width == 1:
        raise OneColumn(f"All {len(rows)} rows hold one number.")
    if width in (3, 4) and not commas and _are_decimals_parted(rows, fields):
        raise BrokenRow(f'Line {lines[0]} reads "{rows[0]}": commas part both columns and decimals.')
    marks, remarks = _thousands(fields, min(width, 12))
    table = np.full((min(width, 12), len(rows)), np.nan)
    for i, (row, n) in enumerate(zip(fields, lines, strict=True)):
        if len(row) < min(width, 2):
            raise BrokenRow(f'Line {n} reads "{rows[i]}": {len(row)} number where {width} should be.')
        for c in range(min(len(table), len(row))):
            table[c, i] = _number(row[c].replace(marks[c], "") if marks[c] else row[c], n, rows[i])
    return list(table), commas and "," not in marks, remarks


def _are_decimals_parted(rows: Sequence[str], fields: Sequence[Sequence[str]]) -> bool:
    """Tell "20,02,272" from three columns: whole fields throughout, and angles that do not rise."""
    if not all(row.count(",") == len(row_) - 1 for row, row_ in zip(rows, fields, strict=True)):
        return False
    if not all(f.lstrip("+-").isdigit() for row in fields for f in row):
        return False
    if len(fields[0]) == 4:
        return True
    return any(int(b[0]) <= int(a[0]) for a, b in pairwise(fields))


def _thousands(fields: Sequence[Sequence[str]], width: int) -> tuple[list[str], tuple[Remark, ...]]:
    """Find the columns in which a point or comma parts thousands: the angles use the other for decimals.

    Returns
    -------
    (marks, remarks)
        For each column the mark to take out, empty for none.
    """
    marks = [""] * width
    decimal = next((m for row in fields for m in ".," if m in row[0]), "")
    other = {".": ",", ",": "."}.get(decimal, "")
    for c in range(1, width if other else 0):
        marked = [row[c] for row in fields if c < len(row) and other in row[c]]
        if marked and all(THOUSANDS.fullmatch(f) for f in marked):
            marks[c] = other
    said = {".": "point", ",": "comma"}
    return marks, tuple(
        Remark(
            "THOUSANDS",
            "info",
            f"In column {c + 1} the {said[mark]} parts thousands: angles have another decimal mark.",
            remedy="Export numbers without marks between thousands.",
        )
        for c, mark in enumerate(marks)
        if mark
    )


def _is_one_decimal_column(rows: Sequence[str], fields: Sequence[Sequence[str]]) -> bool:
    """Tell one column with decimal commas from two columns parted by commas: in the latter, angles rise."""
    if not all(re.fullmatch(r"[+-]?\d+,\d+", row) for row in rows):
        return False
    whole = [int(row[0]) for row in fields]
    return any(b <= a for a, b in pairwise(whole))


def _number(text: str, line: int, row: str) -> float:
    """Read one number with point or comma; a value that is none is left to the check of the pattern."""
    try:
        return float(text.replace(",", "."))
    except ValueError as failure:
        raise BrokenRow(f'Line {line} reads "{row[:60]}": "{text}" is not a number.') from failure
