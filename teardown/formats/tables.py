"""Tables as laboratories send them: bytes of CSV or XLSX in, rows of text out.

Nothing is guessed in silence. How the bytes were read is said in ``encoding``, ``delimiter`` and
``remarks``; a row that cannot be read is refused by its number and the others go on. Values stay text: what
a number or a date is, the reader of the column decides.

Delimited text follows RFC 4180, with any line end and with ``;``, tab or ``|`` beside the comma.
"""

import re
import string
import unicodedata
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field, replace

from teardown.formats.workbook import first_sheet
from teardown.science.errors import ReadingError, Remark

DELIMITERS = (",", ";", "\t", "|")
NAMES = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"}


class UnreadableTable(ReadingError):
    """The file is no table that can be read."""

    code = "tables.E001"
    hint = "Send a CSV file or an XLSX workbook with one row of heads."


@dataclass(frozen=True, slots=True)
class Limits:
    """How much is read. A table beyond is refused, never cut."""

    bytes: int = 16 * 2**20
    rows: int = 20_000
    columns: int = 200
    characters: int = 300_000


@dataclass(frozen=True, slots=True)
class Row:
    """One row: its number as a spreadsheet counts, and its cells by head. Empty cells are empty text."""

    number: int
    cells: dict[str, str]


@dataclass(frozen=True, slots=True)
class RefusedRow:
    """A row, or one value of it, that was not understood: which, what it holds, what is wrong."""

    row: int
    column: str
    value: str
    message: str


@dataclass(frozen=True, slots=True)
class Table:
    """What a file holds: heads in their order, rows, rows refused, and how the bytes were read."""

    heads: tuple[str, ...]
    rows: tuple[Row, ...]
    refused: tuple[RefusedRow, ...] = ()
    encoding: str = ""
    delimiter: str = ""
    sheet: str = ""
    remarks: tuple[Remark, ...] = field(default=())


def read_table(data: bytes, limits: Limits | None = None) -> Table:
    """Read a table from the bytes of a CSV file or an XLSX workbook (its first sheet).

    Formulas come as their text (``=B2*2``), never as their last value; dates of a workbook as ISO 8601.

    Raises
    ------
    UnreadableTable
        If it is no table, is empty, has two columns of one name, or is larger than the limits.
    """
    limits = limits or Limits()
    if len(data) > limits.bytes:
        raise UnreadableTable(
            f"The table has {len(data) / 2**20:.1f} MB; {limits.bytes // 2**20} MB are read."
        )
    if data.startswith(b"PK\x03\x04"):
        sheet, records, remarks = first_sheet(data, rows=limits.rows, columns=limits.columns)
        table = _assemble(iter(records), limits)
        return replace(table, encoding="XLSX", sheet=sheet, remarks=(*table.remarks, *remarks))
    if data.startswith(b"\xd0\xcf\x11\xe0"):
        raise UnreadableTable("This is a workbook of the old kind (XLS). Save it as XLSX or CSV.")
    text, encoding, remarks = decode(data)
    if not text.strip(";,|" + string.whitespace + "\ufeff\x1c\x1d\x1e\x1f"):
        raise UnreadableTable("The file is empty.")
    delimiter = choose_delimiter(text)
    table = _assemble(_records(text, delimiter), limits)
    return replace(table, encoding=encoding, delimiter=NAMES[delimiter], remarks=(*table.remarks, *remarks))


def decode(data: bytes) -> tuple[str, str, tuple[Remark, ...]]:
    """Turn bytes into text: by their byte order mark, else UTF-8, else Windows-1252 with a remark.

    Raises
    ------
    UnreadableTable
        If the bytes are none of these.
    """
    if unicode := _utf_16_or_marked(data):
        try:
            return data.decode(unicode), _shown(unicode), ()
        except UnicodeDecodeError as error:
            raise UnreadableTable(
                f"The file begins as {_shown(unicode)} does, but byte {error.start + 1} does not fit."
            ) from error
    if data[:4096].count(0) > len(data[:4096]) / 20:
        raise UnreadableTable("The file holds bytes that no text has.")
    try:
        return data.decode("utf-8"), "UTF-8", ()
    except UnicodeDecodeError as first:
        line = data.count(b"\n", 0, first.start) + 1
    try:
        text = data.decode("cp1252")
    except UnicodeDecodeError as error:
        raise UnreadableTable(
            f"The text is neither UTF-8 nor Windows-1252 (line {line}). Save it as UTF-8."
        ) from error
    return (
        text,
        "Windows-1252",
        (
            Remark(
                "tables.W001",
                "warning",
                "The text is not UTF-8 and was read as Windows-1252.",
                where=f"line {line}",
                remedy="Look at special letters in names and units; if they are wrong, save as UTF-8.",
            ),
        ),
    )


def _utf_16_or_marked(data: bytes) -> str:
    """Name the encoding that a byte order mark tells, or UTF-16 by its pattern of zero bytes."""
    for mark, name in ((b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16")):
        if data.startswith(mark):
            return name
    for name, first in (("utf-16-le", 1), ("utf-16-be", 0)):
        half = data[first:4096:2]
        if half.count(0) > 0.9 * len(half) > 0:
            return name
    return ""


def _shown(encoding: str) -> str:
    return "UTF-8" if encoding.startswith("utf-8") else "UTF-16"


def choose_delimiter(text: str) -> str:
    """Tell what parts the fields: what gives the head most fields and the rows below it as many."""
    head = text[:200_000]

    def score(delimiter: str) -> tuple[float, int]:
        counts = [len(fields) for _, fields, _ in _some(_records(head, delimiter), 60) if any(fields)]
        if not counts or counts[0] < 2:
            return 0.0, 0
        alike = Counter(counts[1:] or counts)[counts[0]] / max(1, len(counts) - 1)
        return round(min(alike, 1.0), 1), counts[0]

    best = max(DELIMITERS, key=lambda d: (score(d)[0] * score(d)[1], -DELIMITERS.index(d)))
    return best if score(best)[1] else _by_count(head)


def _by_count(head: str) -> str:
    line = next((line for line in head.splitlines() if line.strip()), "")
    return max(DELIMITERS, key=lambda d: (line.count(d), -DELIMITERS.index(d)))


def _some(records: Iterator[tuple[int, list[str], str]], most: int) -> Iterator[tuple[int, list[str], str]]:
    for _, record in zip(range(most), records, strict=False):
        yield record


def _records(text: str, delimiter: str) -> Iterator[tuple[int, list[str], str]]:
    """Give (row number, fields, fault) for each record; a mark left open spoils its own line alone."""
    stop = re.compile(f"[{re.escape(delimiter)}\r\n]")
    at, number, end = 0, 0, len(text)
    while at < end:
        number += 1
        fields, after, fault = _record(text, at, delimiter, stop)
        yield number, fields, fault
        at = after + 2 if text.startswith("\r\n", after) else after + 1


def _record(text: str, at: int, delimiter: str, stop: re.Pattern[str]) -> tuple[list[str], int, str]:
    """Read one record. A faulty one ends with its first line, so that it takes no other row with it."""
    begin, fields, end = at, [], len(text)
    fault = ""
    while not fault:
        if text.startswith('"', at):
            close = _closing(text, at)
            if close is None:
                fault = "opens a quotation mark that is never closed."
                break
            fields.append(text[at + 1 : close].replace('""', '"'))
            at = close + 1
            if at < end and text[at] not in (delimiter, "\r", "\n"):
                fault = "has letters after a closing quotation mark; double each mark inside."
        else:
            found = stop.search(text, at)
            after = found.start() if found else end
            fields.append(text[at:after])
            at = after
        if at >= end or text[at] != delimiter:
            break
        at += 1
    if fault:
        line = _line(text, begin)
        if line < at:
            fault = "opens a quotation mark that is never closed."
        return text[begin:line].split(delimiter), line, fault
    return fields, at, ""


def _closing(text: str, opening: int, longest: int = 300_000) -> int | None:
    at = opening + 1
    while (at := text.find('"', at, opening + longest)) != -1:
        if not text.startswith('""', at):
            return at
        at += 2
    return None


def _line(text: str, at: int) -> int:
    ends = [found for found in (text.find("\n", at), text.find("\r", at)) if found != -1]
    return min(ends, default=len(text))


def _assemble(records: Iterator[tuple[int, list[str], str]], limits: Limits) -> Table:
    heads = _heads(records, limits)
    rows: list[Row] = []
    refused: list[RefusedRow] = []
    for number, fields, fault in records:
        if not any(cell.strip() for cell in fields):
            continue
        if len(rows) + len(refused) >= limits.rows:
            raise UnreadableTable(f"The table has more than {limits.rows} rows. Send it in parts.")
        if bad := _refused(number, fields, fault, heads, limits):
            refused.append(bad)
        else:
            padded = [cell.strip() for cell in fields] + [""] * (len(heads) - len(fields))
            rows.append(Row(number, {head: cell for head, cell in zip(heads, padded, strict=False) if head}))
    return Table(tuple(head for head in heads if head), tuple(rows), tuple(refused))


def _heads(records: Iterator[tuple[int, list[str], str]], limits: Limits) -> list[str]:
    fields: list[str] = []
    for _, fields, fault in records:
        if fault:
            raise UnreadableTable(f"The row of heads {fault}")
        if any(cell.strip() for cell in fields):
            break
    heads = [" ".join(unicodedata.normalize("NFC", cell).split()) for cell in fields]
    while heads and not heads[-1]:
        heads.pop()
    if not heads:
        raise UnreadableTable("The table has no heads.")
    if len(heads) > limits.columns:
        raise UnreadableTable(f"The table has {len(heads)} columns; {limits.columns} are read.")
    twice = [head for head, times in Counter(h.casefold() for h in heads if h).items() if times > 1]
    if twice:
        raise UnreadableTable(f"Two columns are called “{twice[0]}”. Give each column its own name.")
    return heads


def _refused(
    number: int, fields: list[str], fault: str, heads: list[str], limits: Limits
) -> RefusedRow | None:
    """Say what is wrong with the shape of a row, if anything is."""
    shown = " | ".join(fields)[:120]
    if fault:
        return RefusedRow(number, "", shown, f"The row {fault}")
    if any(cell.strip() for cell in fields[len(heads) :]):
        return RefusedRow(
            number,
            "",
            shown,
            f"The row has {len(fields)} fields, the head has {len(heads)}. "
            "A field that holds the delimiter belongs in quotation marks.",
        )
    for head, cell in zip(heads, fields, strict=False):
        if cell.strip() and not head:
            return RefusedRow(number, "", cell[:60], "The row has a value in a column that has no head.")
        if len(cell) > limits.characters:
            return RefusedRow(
                number,
                head,
                cell[:60] + "…",
                f"The field has {len(cell)} characters; {limits.characters} are read.",
            )
        if "\x00" in cell:
            return RefusedRow(number, head, cell[:60], "The field holds a NUL, which no text has.")
    return None
