"""Powder patterns as text: two or three columns of all usual kinds, and powder CIF.

Angles and counts come out as they stand in the file; header and comment lines are kept word for word. What
the counts look like (scaled, smoothed, background taken off) is remarked at once.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from teardown.formats.powder_cif import looks_like_cif, pattern_in_cif
from teardown.science.crystallography.quality import Quality, checked, quality
from teardown.science.crystallography.radiation import nearest_anode
from teardown.science.errors import ReadingError, Remark

Array = NDArray[np.float64]
NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?|[+-]?(?:nan|inf)", re.IGNORECASE)
COMMENTS = ("#", "!", "'", '"', "/", "*", "%")
LARGEST_LINES = 400_000
TUBE = re.compile(
    r"(?:anode|tube|target|radiation|k-?\s?alpha|kα)\W{0,12}(cu|co|mo|cr|fe)\b|\b(cu|co|mo|cr|fe)[\s-]*k",
    re.IGNORECASE,
)
WAVELENGTH = re.compile(r"(?:wavelength|lambda|λ)\D{0,25}([12]\.\d{2,7}|0\.7\d{1,6})", re.IGNORECASE)


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
class PowderPattern:
    """A pattern as it was read.

    ``sigma`` are standard uncertainties of the counts where the file gives them; ``anode`` is a hint from the
    header or the wavelength, never more than that.
    """

    two_theta_deg: Array
    counts: Array
    sigma: Array | None
    header: str
    anode: str | None
    kind: str
    quality: Quality
    remarks: tuple[Remark, ...]


def read_pattern(data: bytes, name: str = "") -> PowderPattern:
    """Read a powder pattern.

    Parameters
    ----------
    data : bytes
        The file as it came.
    name : str
        Its name; only the ending ".xye" is taken as a hint that a third column holds uncertainties.

    Raises
    ------
    NotText, NoPattern, OneColumn, BrokenRow
        If the text holds no two columns.
    MeasurementError
        If they are not a powder pattern (too few points, angles that fall or are not degrees, not numbers).
    """
    text = decoded(data)
    if looks_like_cif(text):
        cif = pattern_in_cif(text)
        anode = None if cif.wavelength_A is None else nearest_anode(cif.wavelength_A)
        return _pattern(cif.two_theta_deg, cif.counts, cif.sigma, cif.header, anode, "powder CIF", ())
    rows, kept, lines = _rows(text)
    columns, decimal_comma = _columns(rows, lines)
    sigma, remarks = _third(columns, name, "\n".join(kept))
    header = "\n".join(kept)
    kind = f"{len(columns)} columns of text" + (" with decimal comma" if decimal_comma else "")
    return _pattern(columns[0], columns[1], sigma, header, anode_in(header), kind, remarks)


def _pattern(
    x: Array,
    y: Array,
    sigma: Array | None,
    header: str,
    anode: str | None,
    kind: str,
    remarks: tuple[Remark, ...],
) -> PowderPattern:
    """Check the two columns and look at the counts."""
    x, y = checked(x, y)
    looks = quality(x, y)
    return PowderPattern(x, y, sigma, header, anode, kind, looks, (*remarks, *looks.remarks))


def decoded(data: bytes) -> str:
    """Give the text of a file in the encodings that instruments use.

    Raises
    ------
    NotText
    """
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return data.decode("utf-16", errors="replace")
    if b"\x00" in data[:4096]:
        raise NotText("The file is binary.")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("latin-1")


def _rows(text: str) -> tuple[list[str], list[str], list[int]]:
    """Part the lines into rows of numbers (with their line numbers) and lines to keep."""
    rows: list[str] = []
    kept: list[str] = []
    numbers: list[int] = []
    for n, line in enumerate(text.splitlines(), 1):
        if n > LARGEST_LINES:
            raise NoPattern(f"The file has more than {LARGEST_LINES} lines.")
        bare = line.strip()
        if not bare:
            continue
        if bare.startswith(COMMENTS) or not _is_row(bare):
            if rows and not bare.startswith(COMMENTS) and any(c.isdigit() for c in bare):
                _refuse_if_inside(bare, n, rows, text)
            kept.append(line)
        else:
            rows.append(bare)
            numbers.append(n)
    if not rows:
        raise NoPattern(
            "No line of the file begins with two numbers." if text.strip() else "The file is empty."
        )
    return _without_preamble(rows, kept, numbers)


def _is_row(line: str) -> bool:
    """Say whether a line is made of numbers alone, whatever parts them."""
    return all(NUMBER.fullmatch(field) for field in re.split(r"[\s;,]+", line) if field)


def _refuse_if_inside(line: str, n: int, rows: Sequence[str], text: str) -> None:
    """Refuse a line with letters among the numbers, unless nothing but such lines follow."""
    rest = [later.strip() for later in text.splitlines()[n:] if later.strip()]
    if len(rows) > 3 and rest and _is_row(rest[0]):
        raise BrokenRow(f'Line {n} reads "{line[:60]}", where two numbers should be.')


def _without_preamble(
    rows: list[str], kept: list[str], numbers: list[int]
) -> tuple[list[str], list[str], list[int]]:
    """Move rows of another width before the data (start, step, number of points) to the header."""
    width = len(_split(rows[len(rows) // 2]))
    first = next((i for i, row in enumerate(rows) if len(_split(row)) == width), 0)
    return rows[first:], kept + rows[:first], numbers[first:]


def _split(row: str) -> list[str]:
    """Split a row at semicolons or tabs, else at spaces, else at commas."""
    for mark in (";", "\t"):
        if mark in row:
            return [f.strip() for f in row.split(mark) if f.strip()]
    parts = [f for f in re.split(r",?\s+", row.strip().rstrip(",")) if f]
    return parts if len(parts) > 1 else [f for f in row.strip().rstrip(",").split(",") if f]


def _columns(rows: Sequence[str], lines: Sequence[int]) -> tuple[list[Array], bool]:
    """Turn rows into columns of floats, decimal comma or point."""
    fields = [_split(row) for row in rows]
    width = len(fields[0])
    commas = any("," in f for row in fields for f in row)
    if width == 2 and _is_one_decimal_column(rows, fields):
        raise OneColumn(f"All {len(rows)} rows hold one number with a decimal comma.")
    if width == 1:
        raise OneColumn(f"All {len(rows)} rows hold one number.")
    if width == 4 and not commas and all(row.count(",") == 3 for row in rows):
        raise BrokenRow(f'Line {lines[0]} reads "{rows[0]}": commas part both columns and decimals.')
    table = np.empty((min(width, 3), len(rows)))
    for i, (row, n) in enumerate(zip(fields, lines, strict=True)):
        if len(row) < min(width, 2):
            raise BrokenRow(f'Line {n} reads "{rows[i]}": {len(row)} number where {width} should be.')
        for c in range(len(table)):
            table[c, i] = _number(row[c], n, rows[i]) if c < len(row) else np.nan
    return list(table), commas


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


def _third(columns: Sequence[Array], name: str, header: str) -> tuple[Array | None, tuple[Remark, ...]]:
    """Decide whether a third column holds the uncertainties of the counts."""
    if len(columns) < 3:
        return None, ()
    third, counts = columns[2], columns[1]
    usable = bool(np.all(np.isfinite(third)) and np.all(third > 0))
    named = name.lower().endswith(".xye") or re.search(
        r"\b(esd|e\.s\.d|sigma|uncert|error|su)\b", header, re.IGNORECASE
    )
    ratio = float(np.median(third**2 / np.maximum(counts, 1.0))) if usable else 0.0
    if usable and (named or 0.2 < ratio < 5):
        return third, ()
    message = "A third column is there and is not taken as the uncertainty of the counts."
    return None, (Remark("THIRD_COLUMN", "info", message, remedy="Name the file .xye if it is."),)


def anode_in(header: str) -> str | None:
    """Find a hint of the tube in the words of a header."""
    length = WAVELENGTH.search(header)
    if length and (anode := nearest_anode(float(length[1]))):
        return anode
    tube = TUBE.search(header)
    return (tube[1] or tube[2]).lower() if tube else None
