"""A file half way to a history: what was read so far, and what is to be said of it."""

from dataclasses import dataclass, field
from typing import Any

import polars as pl

from teardown.formats.series_cells import Table
from teardown.formats.series_columns import Column
from teardown.formats.series_map import ColumnMap
from teardown.science.electrochemistry.columns import Array
from teardown.science.errors import Level, Remark

BAD_SHARE = 0.001
CORE = ("test_time_second", "unix_time_second", "step_time_second", "voltage_volt", "current_ampere")


@dataclass
class Draft:
    """A file half way to a history."""

    table: Table
    map: ColumnMap
    remarks: list[Remark] = field(default_factory=list)
    columns: dict[str, Array] = field(default_factory=dict)
    words: pl.Series | None = None
    parts: tuple[int, ...] = ()
    ends_unseen: bool = False

    def say(self, code: str, level: Level, message: str, **more: Any) -> None:
        """Add a remark."""
        self.remarks.append(Remark(code, level, message, **more))

    @property
    def stopped(self) -> bool:
        """Tell whether an error was found."""
        return any(r.level == "error" for r in self.remarks)


def say_bad(draft: Draft, column: Column, bad: list[tuple[int, str]], count: int, rows: int) -> None:
    """Name the first of some cells that are no numbers; an error where they are many in a column that
    counts.
    """
    row, cell = bad[0]
    line = draft.table.first_line + row
    text = (
        f"Column «{column.name}»: {count} cell(s) are not numbers, first at file line {line}: «{cell[:40]}»."
    )
    core = column.quantity in CORE
    level: Level = "error" if core and count > max(BAD_SHARE * rows, 3) else "warning"
    remedy = (
        "Mend the cells in the export, or map another column."
        if level == "error"
        else "Rows without a reading are left out."
    )
    draft.say("NOT_A_NUMBER", level, text, value=float(count), where=f"file line {line}", remedy=remedy)
