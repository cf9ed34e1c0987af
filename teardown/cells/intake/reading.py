"""Rows of a table with their values read, and steps that they would lead to."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from typing import Any

from teardown.cells.intake.columns import Found, Unread
from teardown.formats.tables import RefusedRow, Row


@dataclass(frozen=True, slots=True)
class ReadRow:
    """A row whose values were read in their units; ``shown`` keeps them as they were typed."""

    number: int
    values: dict[str, Any]
    shown: dict[str, str]
    faults: tuple[RefusedRow, ...] = ()
    notes: tuple[str, ...] = ()

    def __getitem__(self, key: str) -> Any:
        """Give a value, None where the column is not there."""
        return self.values.get(key)


@dataclass(frozen=True, slots=True)
class Step:
    """What some rows of an import would do, or did: ``made`` names the rows of the books once applied."""

    rows: list[int]
    code: str
    does: str
    values: dict[str, Any]
    shown: dict[str, str] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)
    made: list[str] = field(default_factory=list)

    def plain(self) -> dict[str, Any]:
        """Give it as what JSON holds."""
        return asdict(self)


def read_rows(rows: Sequence[Row], found: Sequence[Found]) -> list[ReadRow]:
    """Read the values of each row; what cannot be read is among its faults."""
    return [_read(row, found) for row in rows]


def _read(row: Row, found: Sequence[Found]) -> ReadRow:
    values: dict[str, Any] = {}
    shown: dict[str, str] = {}
    faults, notes = [], []
    for one in found:
        text = row.cells.get(one.head, "")
        key = one.column.key
        try:
            values[key], shown[key] = one.read(text)
        except Unread as refusal:
            faults.append(RefusedRow(row.number, one.head, text[:60], str(refusal)))
            continue
        if isinstance(values[key], str) and values[key].startswith(("=", "+", "@")):
            notes.append(f"{one.head}: looks like a formula and is kept as text")
        usual = one.column.usual
        if usual and values[key] is not None and not usual[0] <= values[key] <= usual[1]:
            notes.append(f"{one.head}: {shown[key]} is unusual (commonly {usual[0]:g} to {usual[1]:g})")
    return ReadRow(row.number, values, shown, tuple(faults), tuple(notes))
