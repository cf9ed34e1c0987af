"""The stages between cells and a history: numbers, times, rows, steps, voltage, sign, digits."""

import numpy as np
import polars as pl

from teardown.formats.series_cells import Table
from teardown.formats.series_columns import plain, recognise
from teardown.formats.series_dates import read_clock, read_durations
from teardown.formats.series_digits import resolutions
from teardown.formats.series_draft import BAD_SHARE, CORE, Draft, say_bad
from teardown.formats.series_map import ColumnMap
from teardown.formats.series_repair import keep_rows
from teardown.formats.series_sign import settle_sign
from teardown.formats.series_times import settle_time
from teardown.science.electrochemistry.columns import Array, Series
from teardown.science.errors import Remark

SMALLEST_V, LARGEST_V = 0.02, 20.0
LARGEST_NUMBER = 1e17  # beyond it nothing was measured; microseconds since 1970 lie below
LARGEST_A = 1e6
LARGEST = 1e100  # of any quantity in any unit: beyond it a cell holds no reading, and sums overflow
OVERLOAD_TIMES = 1e4  # of the usual reading: a meter prints such where it could not read
OVERLOAD_LEAST = 1000.0  # A
OVERLOAD_TIMES_V = 50.0  # what is written in place of a voltage, such as -9999, may be less than 1e4 times it
FEW_OVERLOADS = 0.01
CELL_NAMES = frozenset(
    (
        "cell",
        "cell id",
        "cell name",
        "cell code",
        "battery",
        "battery id",
        "barcode",
        "serial number",
        "sample id",
        "zelle",
    )
)


def make_series(table: Table, column_map: ColumnMap, *, bdf: bool) -> tuple[Series | None, list[Remark]]:
    """Go through the stages; stop behind the one that leaves an error.

    Parameters
    ----------
    table : Table
    column_map : ColumnMap
    bdf : bool
        True for a file with the header of the Battery Data Format, where positive current charges by
        definition.

    Returns
    -------
    Series or None, list of Remark
    """
    draft = Draft(table, column_map)
    draft.remarks += one_cell(table)
    for stage in (
        _read_numbers,
        read_durations,
        read_clock,
        _read_words,
        _empty_overloads,
        _drop_rows,
        _drop_false_steps,
        settle_time,
        _check_voltage,
        _check_current,
    ):
        stage(draft)
        if draft.stopped:
            return None, draft.remarks
    columns = draft.columns
    counters = {n: c for n, c in columns.items() if n.endswith("_capacity_ah")}
    columns["current_ampere"], said = settle_sign(
        columns["test_time_second"],
        columns["current_ampere"],
        columns["voltage_volt"],
        claimed="1" if bdf and column_map.sign == "auto" else column_map.sign,
        words=draft.words,
        counters=counters,
    )
    draft.remarks += said
    if draft.stopped:
        return None, draft.remarks
    return Series(columns, resolutions(draft), draft.parts, draft.ends_unseen), draft.remarks


def one_cell(table: Table) -> list[Remark]:
    """Refuse a file that tells of several cells: their histories must not be joined."""
    for name in table.names:
        if plain(name) not in CELL_NAMES:
            continue
        held = sorted({cell for cell in table.sample(name) if cell})
        if len(held) > 1:
            text = f"Column «{name}» names several cells: {', '.join(held[:4])}."
            remedy = "Export each cell to a file of its own."
            return [Remark("SEVERAL_CELLS", "error", text, float(len(held)), f"column «{name}»", remedy)]
    return []


def _read_numbers(draft: Draft) -> None:
    """Read every number column; name the cells that are none."""
    wanted = [c for c in draft.map.columns if c.kind == "number"]
    read = draft.table.numbers([c.name for c in wanted])
    for column in wanted:
        values, bad, count = read[column.name]
        if column.quantity in ("step_id", "step_count") and count > 0.5 * values.size:
            draft.columns[column.quantity] = _coded(draft.table.texts(column.name))
            continue
        if farthest(values) > LARGEST:
            beyond = np.flatnonzero(np.abs(values) > LARGEST)
            values = values.copy()
            bad = [*bad, *((int(row), f"{values[row]:g}") for row in beyond[:5])]
            count += beyond.size
            values[beyond] = np.nan
        if count:
            say_bad(draft, column, bad, count, values.size)
        if np.isnan(values[:100]).all() and not np.isfinite(values).any():
            if column.quantity in CORE:
                draft.say(
                    "COLUMN_EMPTY",
                    "error",
                    f"Column «{column.name}» holds no number.",
                    where=f"column «{column.name}»",
                    remedy="Map another column.",
                )
            continue
        if (column.factor, column.offset) != (1.0, 0.0):
            values = values * column.factor + column.offset
        if column.quantity in ("cycle_count", "step_count", "step_id"):
            values = _carried(values)
        if column.quantity == "current_ampere" and column.quantity in draft.columns:
            values = _joined_currents(draft, draft.columns[column.quantity], values)
        draft.columns[column.quantity] = values
    _leave_other_table(draft, {c.quantity: read[c.name][1] for c in wanted if c.quantity in CORE})


def _joined_currents(draft: Draft, one: Array, other: Array) -> Array:
    """Join the currents of two columns: what charges above zero, what discharges below it."""
    known = np.isfinite(one) | np.isfinite(other)
    parts = [np.abs(np.nan_to_num(part)) for part in (one, other)]
    ways = [-1.0 if c.factor < 0 else 1.0 for c in draft.map.columns if c.quantity == "current_ampere"]
    names = [c.name for c in draft.map.columns if c.quantity == "current_ampere"]
    both = np.minimum(*parts) > 0.002 * max(float(part.max(initial=0.0)) for part in parts)
    shown = " and ".join(f"«{name}»" for name in names)
    if np.mean(both) > BAD_SHARE:
        row = int(np.argmax(both)) + 1
        draft.say(
            "CURRENT_IN_TWO_COLUMNS",
            "error",
            f"{shown} both carry a current at once, first at data row {row}.",
            value=float(both.sum()),
            where=f"data row {row}",
            remedy="Map one current with its sign, or one with the mode (charge, rest, discharge) beside it.",
        )
    else:
        draft.say(
            "CURRENT_JOINED",
            "info",
            f"The current was joined from {shown}.",
            where="current column",
            remedy="Nothing needs to be done; map another column as current if this is wrong.",
        )
    return np.where(known, ways[0] * parts[0] + ways[1] * parts[1], np.nan)


def _leave_other_table(draft: Draft, bad: dict[str, list[tuple[int, str]]]) -> None:
    """Leave out what stands below another row of names, where time does not go on: it is another table."""
    time = draft.columns.get("test_time_second")
    if time is None or not {"voltage_volt", "current_ampere"} <= bad.keys():
        return
    heads = set.intersection(*({row for row, _ in cells} for cells in bad.values()))
    for row in sorted(heads):
        above, below = time[:row][np.isfinite(time[:row])], time[row + 1 :][np.isfinite(time[row + 1 :])]
        if not above.size or not below.size or below[0] >= above[-1]:
            continue
        line = draft.table.first_line + row
        names = tuple(str(draft.table.texts(name)[row]) for name in draft.table.names)
        have = {column.quantity for column in recognise(names, {})[0]}
        again = {"voltage_volt", "current_ampere"} <= have
        draft.say(
            "SECOND_TABLE",
            "error" if again else "warning",
            f"Another table begins at file line {line}, with «{names[0]}»"
            + (", and holds voltage and current too." if again else "; what stands there was left out."),
            value=float(time.size - row),
            where=f"file line {line}",
            remedy="Split the file there, and send each part."
            if again
            else "Nothing needs to be done if it is a summary.",
        )
        for name in ("voltage_volt", "current_ampere"):
            draft.columns[name] = np.where(np.arange(time.size) < row, draft.columns[name], np.nan)
        return


def _carried(values: Array) -> Array:
    """Give empty cells the number above: many exports write it only where it changes, or merge the cells."""
    known = np.isfinite(values)
    if known.all():
        return values
    place = np.maximum.accumulate(np.where(known, np.arange(values.size), int(np.argmax(known))))
    carried: Array = values[place]
    return carried


def farthest(values: Array) -> float:
    """Give the largest size among numbers, empty ones left out; NaN where all are empty."""
    return max(float(np.fmax.reduce(values)), -float(np.fmin.reduce(values))) if values.size else 0.0


def _coded(cells: pl.Series) -> Array:
    """Number the words of a step column by first appearance."""
    return cells.fill_null("").rle_id().cast(pl.Float64).to_numpy()


def _read_words(draft: Draft) -> None:
    column = draft.map.column("step_type")
    if column is not None:
        draft.words = draft.table.texts(column.name)


def _empty_overloads(draft: Draft) -> None:
    """Take single readings that no meter can have measured for no readings."""
    for name, code, words, times, smallest in (
        ("voltage_volt", "VOLTAGE_OVERLOAD", "voltage", OVERLOAD_TIMES_V, LARGEST_V),
        ("current_ampere", "CURRENT_OVERLOAD", "current", OVERLOAD_TIMES, OVERLOAD_LEAST),
    ):
        values = draft.columns.get(name)
        if values is None:
            continue
        some = np.abs(values[:: max(1, values.size // 100_000)])
        some = some[some > 0]
        # one of the two in the middle, not their mean: the sum of two wild ones overflows
        usual = float(np.quantile(some, 0.5, method="lower")) if some.size else 0.0
        # a noise of microamperes in long rests makes the usual one small: only what no cell gives is wild
        least = max(times * usual, smallest)
        if not farthest(values) > least:
            continue
        size = np.abs(values)
        wild = (size > least) & np.isfinite(size)
        if not wild.any() or np.mean(wild) > FEW_OVERLOADS:
            continue
        row = int(np.argmax(wild))
        draft.columns[name] = np.where(wild, np.nan, values)
        draft.say(
            code,
            "warning",
            f"{int(wild.sum())} reading(s) of {words} are beyond {times:g} times the usual one, "
            f"first {values[row]:.3g} at data row {row + 1}; those rows were left out.",
            value=float(values[row]),
            where=f"data row {row + 1}",
            remedy="The meter was out of range or not connected there.",
        )
    for name, values in draft.columns.items():
        if farthest(values) > LARGEST_NUMBER:
            draft.columns[name] = np.where(np.abs(values) > LARGEST_NUMBER, np.nan, values)


def _drop_rows(draft: Draft) -> None:
    columns = draft.columns
    for name in ("voltage_volt", "current_ampere"):
        if name not in columns:
            draft.say("COLUMN_MISSING", "error", f"The map gives no {name}.", remedy="Map it.")
            return
    time = next(
        (columns[n] for n in ("test_time_second", "unix_time_second", "step_time_second") if n in columns),
        None,
    )
    if time is None:
        draft.say("COLUMN_MISSING", "error", "No time column could be read.", remedy="Map a time column.")
        return
    keep, said = keep_rows(columns)
    draft.remarks += said
    timeless = keep & ~np.isfinite(time)
    if timeless.any():
        row = int(np.argmax(timeless)) + 1
        draft.say(
            "EMPTY_ROWS",
            "warning",
            f"{int(timeless.sum())} row(s) without a time dropped, first data row {row}.",
            value=float(timeless.sum()),
            where=f"data row {row}",
            remedy="Look at those rows in the export.",
        )
        keep &= ~timeless
    if keep.sum() < 2:
        draft.say(
            "TOO_SHORT",
            "error",
            f"{int(keep.sum())} row(s) with time, voltage and current are left.",
            remedy="Check the column map and the file.",
        )
        return
    lost = 1 - float(keep.sum()) / keep.size
    if lost > 0.5:
        draft.say(
            "ROWS_LOST",
            "error",
            f"{lost:.0%} of the rows have no time, voltage or current.",
            value=lost,
            remedy="Check the column map: another column may hold the reading.",
        )
        return
    if not keep.all():
        draft.columns = {n: c[keep] for n, c in columns.items()}
    if draft.words is not None:
        draft.words = draft.words.filter(pl.Series(keep))


def _drop_false_steps(draft: Draft) -> None:
    """Leave a step column out that numbers records: with it, nothing would lie within a step."""
    for name in ("step_count", "step_id"):
        own = draft.columns.get(name)
        if own is not None and np.mean(np.diff(own) != 0) > 0.5:
            del draft.columns[name]
            said = "The step column changes at every record; steps were seen from the current instead."
            draft.say(
                "STEP_NUMBERS_RECORDS",
                "warning",
                said,
                where="step column",
                remedy="Map another column as step.",
            )


def _check_current(draft: Draft) -> None:
    if not farthest(draft.columns["current_ampere"]) > LARGEST_A:
        return
    current = np.abs(draft.columns["current_ampere"])
    usual = float(np.median(current[current > 0])) if np.any(current > 0) else 0.0
    if usual > LARGEST_A:
        draft.say(
            "CURRENT_SCALE",
            "error",
            f"The usual current is {usual:.4g} A: no cell of this laboratory carries that.",
            value=usual,
            where="current column",
            remedy="Correct the unit of current in the column map, or map another column.",
        )


def _check_voltage(draft: Draft) -> None:
    shown = draft.columns["voltage_volt"]
    if shown.min() < -SMALLEST_V and (middle := float(np.median(shown))) < -SMALLEST_V:
        draft.say(
            "VOLTAGE_NEGATIVE",
            "warning",
            f"The usual voltage is {middle:.4g} V: that of one electrode against a reference? "
            "Charge and discharge may be taken for each other.".replace("-", "−", 1),
            value=middle,
            where="voltage column",
            remedy="Map the voltage of the whole cell, or state the sign of the current in the column map.",
        )
    voltage = np.abs(shown)
    if voltage.max() <= LARGEST_V and 2 * np.count_nonzero(voltage < SMALLEST_V) < voltage.size - 1:
        return  # whatever the usual one is, it lies between
    usual = float(np.median(voltage))
    where, remedy = "voltage column", "Correct the unit of voltage in the column map."
    if usual > LARGEST_V:
        draft.say(
            "VOLTAGE_SCALE",
            "error",
            f"The usual voltage is {usual:.4g} V: mV taken for V?",
            value=usual,
            where=where,
            remedy=remedy,
        )
    elif usual < SMALLEST_V:
        draft.say(
            "VOLTAGE_SCALE",
            "warning",
            f"The usual voltage is {usual:.4g} V: V taken for mV?",
            value=usual,
            where=where,
            remedy=remedy,
        )
