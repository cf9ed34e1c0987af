"""What goes over the wire."""

from typing import Any

from ninja import Schema
from pydantic import ConfigDict, Field


class Refused(Schema):
    """Why nothing was done."""

    error: str


class Strict(Schema):
    """Input that holds what it says and nothing else."""

    model_config = ConfigDict(extra="forbid")


class Piece(Strict):
    """Which piece of a table."""

    cell: str = Field("", max_length=40, description="Code of a cell; rows of it alone.")
    first: int = Field(0, ge=0, le=10_000_000, description="Rows passed over.")
    most: int = Field(1000, ge=1, le=10_000, description="Rows given at most.")


class OfCell(Strict):
    """Perhaps of one cell."""

    cell: str = Field("", max_length=40, description="Code of a cell; rows of it alone.")


class CyclingIn(Strict):
    """What is told of a cycling file."""

    test: int = Field(0, ge=0, le=1000, description="Number of the test; the last one where it is 0.")
    sha256: str = Field("", max_length=64, description="SHA-256 of the bytes; checked if given.")


class MicrographIn(Strict):
    """What is told of a micrograph."""

    sample: str = Field("", max_length=40, description="Code of the sample; may be tied later.")
    pixel_size_um: float = Field(0, ge=0, le=1000, description="0 where the file tells it.")
    sha256: str = Field("", max_length=64, description="SHA-256 of the bytes; checked if given.")


class ColumnOut(Schema):
    """A column of a table."""

    name: str
    unit: str
    words: str


class TableOut(Schema):
    """A table that may be taken."""

    name: str
    words: str
    columns: list[ColumnOut]


class RowsOut(Schema):
    """A piece of a table: rows in the order of its columns; ``next`` is where the following piece begins."""

    table: str
    columns: list[ColumnOut]
    rows: list[list[Any]]
    next: int | None


class Me(Schema):
    """Whom a key speaks for."""

    name: str
    roles: list[str]


class CyclingOut(Schema):
    """A cycling file taken into the history of a test."""

    file: int
    sha256: str
    rows: int
    problems: list[dict[str, Any]]


class MicrographOut(Schema):
    """A micrograph kept; ``known`` if the same bytes were here already."""

    micrograph: int
    sha256: str
    known: bool
