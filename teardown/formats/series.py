"""A cycler's export, from its bytes to a history in canonical columns, with a word about everything that was
odd.

Text of any encoding, delimiter and decimal mark, workbooks, and files of the Battery Data Format
(``.bdf.csv``, ``.bdf.parquet``). Nothing is guessed that could make a number wrong: what is not told is asked
for.
"""

import zlib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from teardown.formats.series_cells import Table, open_table
from teardown.formats.series_columns import fingerprint, recognise
from teardown.formats.series_map import BadColumnMap, ColumnMap, read_map
from teardown.formats.series_stages import make_series
from teardown.science.electrochemistry.columns import Series
from teardown.science.errors import ReadingError, Remark

VERSION = "2"
LARGEST_BYTES = 2_000_000_000


@dataclass(frozen=True, slots=True)
class SeriesFile:
    """What was made of a file.

    Attributes
    ----------
    arrays : Series or None
        None where a remark of level error says why nothing could be made.
    map : ColumnMap or None
        How its columns were read, or would be.
    remarks : tuple of Remark
    names : tuple of str
        Its header.
    fingerprint : str
        16 hex digits that stand for the header.
    first_rows : tuple of tuple of str
        The first rows as they stand in the file, for a preview.
    rows : int
        Rows below the header.
    encoding, delimiter : str
        How a text was read; empty for workbooks and Parquet.
    """

    arrays: Series | None
    map: ColumnMap | None
    remarks: tuple[Remark, ...]
    names: tuple[str, ...] = ()
    fingerprint: str = ""
    first_rows: tuple[tuple[str, ...], ...] = ()
    rows: int = 0
    encoding: str = ""
    delimiter: str = ""

    @property
    def errors(self) -> tuple[Remark, ...]:
        """Give the remarks that stop an import."""
        return tuple(r for r in self.remarks if r.level == "error")

    def document(self) -> dict[str, Any]:
        """Give the column map that was used as an open document, to be kept and corrected."""
        return self.map.as_document(self.fingerprint) if self.map else {}


def read_series(
    data: bytes,
    *,
    name: str,
    column_map: ColumnMap | dict[str, Any] | None = None,
    remembered: Mapping[str, dict[str, Any]] | None = None,
) -> SeriesFile:
    """Read a cycling file.

    Parameters
    ----------
    data : bytes
        The file as received.
    name : str
        Its name; the ending tells workbooks, Parquet and packed files.
    column_map : ColumnMap or dict, optional
        How to read its columns, as a document or read already; without it they are recognised by their names.
    remembered : mapping of str to dict, optional
        Column maps of earlier files by the fingerprint of their header; used where none is given.

    Returns
    -------
    SeriesFile
        Never raises for what a file holds: a file that cannot be read comes back with remarks of level error.
    """
    try:
        wanted = read_map(column_map) if isinstance(column_map, dict) else column_map
        table = open_table(_unpacked(data, name), name=name, column_map=wanted)
    except ReadingError as refusal:
        return SeriesFile(None, None, (_as_remark(refusal),))
    found = SeriesFile(
        None, None, table.remarks, table.names, fingerprint(table.names), table.first_rows(8), table.rows,
        table.encoding, table.delimiter,
    )  # fmt: skip
    try:
        if wanted is None and remembered and found.fingerprint in remembered:
            wanted = read_map(remembered[found.fingerprint])
        chosen, remarks = _choose(table, wanted)
    except ReadingError as refusal:
        return replace(found, remarks=(*found.remarks, _as_remark(refusal)))
    found = replace(found, map=chosen, remarks=(*found.remarks, *remarks))
    if found.errors:
        return found
    try:
        arrays, remarks = make_series(table, chosen, bdf=_is_bdf(table.names, name))
    except ReadingError as refusal:
        return replace(found, remarks=(*found.remarks, _as_remark(refusal)))
    return replace(found, arrays=arrays, remarks=(*found.remarks, *remarks))


def _as_remark(refusal: ReadingError) -> Remark:
    text = refusal.args[0] if refusal.args else str(refusal)
    return Remark(refusal.code, "error", str(text), None, "", refusal.hint)


class TooLarge(ReadingError):
    """A packed file unfolds to more than can be read."""

    code = "FILE_TOO_LARGE"
    hint = "Split it at the edges of steps."


class NotPacked(ReadingError):
    """A file with the ending of a packed one is none."""

    code = "FILE_BROKEN"
    hint = "Send it again; it may have been cut off."


def _unpacked(data: bytes, name: str) -> bytes:
    """Unfold a gzip file, never beyond the limit."""
    if not (name.lower().endswith(".gz") or data.startswith(b"\x1f\x8b")):
        return data
    try:
        unfolding = zlib.decompressobj(wbits=31)
        text = unfolding.decompress(data, LARGEST_BYTES)
        if unfolding.unconsumed_tail:
            raise TooLarge(f"It unfolds to more than {LARGEST_BYTES:,} bytes.")
        if not unfolding.eof:
            raise NotPacked("The packed file ends too early.")
    except zlib.error as fault:
        raise NotPacked(f"The packed file cannot be unfolded: {fault}.") from None
    return text


def _is_bdf(names: tuple[str, ...], file: str) -> bool:
    """Tell whether a header is that of the Battery Data Format, where the sign of the current is settled."""
    flat = {"".join(n.lower().split()) for n in names}
    machine = {"voltage_volt", "current_ampere", "test_time_second"}
    label = {"voltage/v", "current/a", "testtime/s"}
    return machine <= flat or (label <= flat and ".bdf" in file.lower())


def _choose(table: Table, wanted: ColumnMap | None) -> tuple[ColumnMap, list[Remark]]:
    """Take the given map if it fits, else recognise the columns."""
    if wanted is None:
        samples = {n: table.sample(n) for n in table.names}
        columns, remarks = recognise(table.names, samples)
        return ColumnMap(tuple(columns), encoding=table.encoding or None, dialect=table.dialect()), remarks
    names = {" ".join(n.split()).lower(): n for n in table.names}
    lacking = [c.name for c in wanted.columns if " ".join(c.name.split()).lower() not in names]
    if lacking:
        shown = ", ".join(f"«{n}»" for n in table.names[:12])
        text = f"The column map asks for {', '.join(f'«{n}»' for n in lacking)}; the file has {shown}."
        return wanted, [
            Remark(
                "COLUMN_MISSING", "error", text, None, "header", "Correct the map, or choose another file."
            )
        ]
    have = {c.quantity for c in wanted.columns}
    if not {"voltage_volt", "current_ampere"} <= have or not have & {
        "test_time_second",
        "unix_time_second",
        "step_time_second",
    }:
        raise BadColumnMap("The column map gives no voltage, current or time.")
    columns = [replace(c, name=names[" ".join(c.name.split()).lower()]) for c in wanted.columns]
    return replace(wanted, columns=tuple(columns)), []
