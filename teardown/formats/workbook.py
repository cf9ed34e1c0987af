"""The first sheet of an XLSX workbook as rows of text (ECMA-376 Part 1, ISO/IEC 29500-1).

Read part by part from the archive, so that three things survive which a reader of values loses: the number
of each row, a formula as its text, and an error value as what it says.
"""

import datetime as dt
import io
import re
import zipfile
import zlib
from collections.abc import Iterator
from typing import IO, Any
from xml.etree import ElementTree as ET

from teardown.science.errors import ReadingError, Remark

NS = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"
LINK = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id"
LARGEST_SHEET = 24 * 2**20  # read row by row
LARGEST_STRINGS = 8 * 2**20
LARGEST_PART = 4 * 2**20  # held as a whole
MOST_PARTS = 2000
DATE_FORMATS = frozenset([*range(14, 23), *range(27, 37), *range(45, 48), *range(50, 59)])  # ECMA-376 18.8.30


class UnreadableWorkbook(ReadingError):
    """The archive is no workbook that can be read."""

    code = "tables.E002"
    hint = "Save the sheet as XLSX or CSV and send that."


BROKEN = (
    zipfile.BadZipFile,
    zlib.error,
    ET.ParseError,
    LookupError,
    ValueError,
    OverflowError,
    EOFError,
    NotImplementedError,
    RuntimeError,  # zipfile says so of an encrypted part
)
Record = tuple[int, list[str], str]


def first_sheet(data: bytes, *, rows: int, columns: int) -> tuple[str, list[Record], tuple[Remark, ...]]:
    """Read the first sheet: its name, records of (row number, cells, no fault), and remarks.

    Raises
    ------
    UnreadableWorkbook
        If it is no workbook, is encrypted, unfolds beyond measure, or has more rows or columns than these.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            return _first_sheet(archive, rows, columns)
    except (
        zipfile.BadZipFile,
        ET.ParseError,
        KeyError,
        EOFError,
        NotImplementedError,
        RuntimeError,
    ) as error:
        raise UnreadableWorkbook(f"The file is not a whole XLSX workbook ({error}).") from error


def _first_sheet(
    archive: zipfile.ZipFile, rows: int, columns: int
) -> tuple[str, list[Record], tuple[Remark, ...]]:
    parts = archive.infolist()
    if len(parts) > MOST_PARTS or sum(part.file_size for part in parts) > 4 * LARGEST_SHEET:
        raise UnreadableWorkbook("The workbook unfolds to far more than a table of this kind holds.")
    if "xl/workbook.xml" not in archive.namelist():
        raise UnreadableWorkbook("The archive holds no workbook.")
    book = _tree(archive, "xl/workbook.xml")
    sheets = book.findall(f"{NS}sheets/{NS}sheet")
    if not sheets:
        raise UnreadableWorkbook("The workbook has no sheet.")
    targets = {
        link.get("Id"): link.get("Target", "") for link in _tree(archive, "xl/_rels/workbook.xml.rels")
    }
    target = targets[sheets[0].get(LINK)]
    path = target.lstrip("/") if target.startswith("/") else f"xl/{target}"
    properties = book.find(f"{NS}workbookPr")
    early = properties is not None and properties.get("date1904") in ("1", "true")
    reader = _Reader(_shared(archive), _dates(archive), early, columns)
    records = []
    for record in reader.records(_open(archive, path)):
        records.append(record)
        if len(records) > rows + 1:
            raise UnreadableWorkbook(f"The sheet has more than {rows} rows. Send it in parts.")
    name = sheets[0].get("name", "")
    return name, records, tuple(_remarks(name, len(sheets), reader))


def _remarks(name: str, sheets: int, reader: "_Reader") -> Iterator[Remark]:
    if sheets > 1:
        yield Remark(
            "tables.W002",
            "info",
            f"Only the first of {sheets} sheets was read: “{name}”.",
            remedy="Put what you want to send on the first sheet.",
        )
    if reader.formulas:
        yield Remark(
            "tables.W003",
            "warning",
            f"{len(reader.formulas)} cells hold formulas, which are read as their text.",
            where=", ".join(reader.formulas[:5]),
            remedy="Where a number is wanted, paste the value in place of the formula.",
        )


class _Capped(io.RawIOBase):
    """Reads a part of an archive up to a cap, whatever the archive says of its size."""

    def __init__(self, part: IO[bytes], cap: int) -> None:
        self.part, self.left, self.tail = part, cap, b""

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: Any) -> int:
        piece = self.part.read(min(len(buffer), self.left + 1))
        self.left -= len(piece)
        if self.left < 0:
            raise UnreadableWorkbook("A part of the workbook unfolds to far more than a table holds.")
        seen, self.tail = self.tail + piece, piece[-16:]
        if any(mark in seen for mark in (b"<!DOCTYPE", b"<!ENTITY", b"\x00")):  # NUL: UTF-16 could hide them
            raise UnreadableWorkbook("The workbook defines entities, which no table needs.")
        buffer[: len(piece)] = piece
        return len(piece)


def _open(archive: zipfile.ZipFile, path: str, cap: int = LARGEST_SHEET) -> IO[bytes]:
    return io.BufferedReader(_Capped(archive.open(path), cap), 65536)


def _tree(archive: zipfile.ZipFile, path: str) -> ET.Element:
    with _open(archive, path, LARGEST_PART) as part:
        return ET.parse(part).getroot()  # noqa: S314 - entities are refused before the parser sees them


def _shared(archive: zipfile.ZipFile) -> list[str]:
    if "xl/sharedStrings.xml" not in archive.namelist():
        return []
    with _open(archive, "xl/sharedStrings.xml", LARGEST_STRINGS) as part:
        return [_words(item) for item in _each(part, "si")]


def _each(part: IO[bytes], tag: str) -> Iterator[ET.Element]:
    """Give each element of a part that is done, and forget what it held."""
    for _, element in ET.iterparse(part):  # noqa: S314 - entities are refused before the parser sees them
        if element.tag == f"{NS}{tag}":
            yield element
            element.clear()


def _words(item: ET.Element) -> str:
    """Join the runs of a rich text, without its phonetic readings."""
    plain = item.findall(f"{NS}t") + item.findall(f"{NS}r/{NS}t")
    return "".join(run.text or "" for run in plain)


def _dates(archive: zipfile.ZipFile) -> list[bool]:
    """Tell for each cell format whether it shows a date."""
    if "xl/styles.xml" not in archive.namelist():
        return []
    root = _tree(archive, "xl/styles.xml")
    own = {
        int(item.get("numFmtId", 0))
        for item in root.findall(f"{NS}numFmts/{NS}numFmt")
        if re.search(
            r"[dmyhs]", re.sub(r'"[^"]*"|\[[^\]]*\]|\\.', "", item.get("formatCode", "")), re.IGNORECASE
        )
    }
    formats = root.findall(f"{NS}cellXfs/{NS}xf")
    return [int(item.get("numFmtId", 0)) in DATE_FORMATS | own for item in formats]


class _Reader:
    """Reads the cells of a sheet."""

    def __init__(self, shared: list[str], dates: list[bool], early: bool, columns: int) -> None:
        self.shared, self.dates, self.early, self.columns = shared, dates, early, columns
        self.formulas: list[str] = []

    def records(self, part: IO[bytes]) -> Iterator[Record]:
        """Give each row that has cells."""
        number = 0
        with part:
            for element in _each(part, "row"):
                number = int(element.get("r", number + 1))
                cells: list[str] = []
                for cell in element:
                    self._place(cells, cell, number)
                yield number, cells, ""

    def _place(self, cells: list[str], cell: ET.Element, row: int) -> None:
        letters = re.match(r"[A-Z]+", cell.get("r", ""))
        column = _column(letters.group()) if letters else len(cells)
        text = self._text(cell, row)
        if not text:
            return
        if column >= self.columns:
            raise UnreadableWorkbook(f"The sheet has more than {self.columns} columns.")
        cells.extend([""] * (column + 1 - len(cells)))
        cells[column] = text

    def _text(self, cell: ET.Element, row: int) -> str:
        formula = cell.find(f"{NS}f")
        value = cell.findtext(f"{NS}v") or ""
        kind = cell.get("t", "n")
        if formula is not None:
            self.formulas.append(cell.get("r", f"row {row}"))
            return f"={formula.text or '(shared formula)'}"
        if kind == "s":
            return self.shared[int(value)] if value else ""
        if kind == "inlineStr":
            inline = cell.find(f"{NS}is")
            return _words(inline) if inline is not None else ""
        if kind == "b":
            return {"1": "yes", "0": "no"}.get(value, value)
        if kind == "n" and value:
            return self._number(value, int(cell.get("s", 0)))
        return value

    def _number(self, value: str, style: int) -> str:
        number = float(value)
        if style < len(self.dates) and self.dates[style]:
            return _date(number, self.early)
        return f"{number:.15g}"  # a spreadsheet itself shows no more than 15 figures


def _column(letters: str) -> int:
    column = 0
    for letter in letters:
        column = column * 26 + ord(letter) - 64
    return column - 1


def _date(serial: float, early: bool) -> str:
    """Turn a serial day into ISO 8601. Day 60 of the 1900 system is a 29 February that never was."""
    if not 0 <= serial < 2_958_466:
        return f"{serial:.15g}"
    origin = dt.datetime(1904, 1, 1) if early else dt.datetime(1899, 12, 30 if serial >= 61 else 31)  # noqa: DTZ001
    when = origin + dt.timedelta(seconds=round(serial * 86400))
    if serial < 1:
        return f"{when:%H:%M:%S}"
    return f"{when:%Y-%m-%d}" if when.time() == dt.time() else f"{when:%Y-%m-%d %H:%M:%S}"
