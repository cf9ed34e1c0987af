"""The stages between cells and a history: numbers, times, rows, time put right, voltage, sign, resolution."""

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import polars as pl

from teardown.formats.series_cells import Table
from teardown.formats.series_clocks import durations, printed_step, run_on, stamps
from teardown.formats.series_columns import Column, plain
from teardown.formats.series_map import ColumnMap
from teardown.formats.series_repair import check_scale, keep_rows, repair_time
from teardown.formats.series_sign import settle_sign
from teardown.science.electrochemistry.columns import Array, Series
from teardown.science.electrochemistry.steps import rest_threshold_A
from teardown.science.errors import Level, Remark

BAD_SHARE = 0.001
SMALLEST_V, LARGEST_V = 0.02, 20.0
DAY_S = 86400.0
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
CORE = ("test_time_second", "unix_time_second", "step_time_second", "voltage_volt", "current_ampere")


@dataclass
class _Draft:
    """A file half way to a history."""

    table: Table
    map: ColumnMap
    remarks: list[Remark] = field(default_factory=list)
    columns: dict[str, Array] = field(default_factory=dict)
    words: pl.Series | None = None
    parts: tuple[int, ...] = ()

    def say(self, code: str, level: Level, message: str, **more: Any) -> None:
        self.remarks.append(Remark(code, level, message, **more))

    @property
    def stopped(self) -> bool:
        return any(r.level == "error" for r in self.remarks)


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
    draft = _Draft(table, column_map)
    draft.remarks += one_cell(table)
    for stage in (
        _read_numbers,
        _read_durations,
        _read_clock,
        _read_words,
        _drop_rows,
        _drop_false_steps,
        _settle_time,
        _check_voltage,
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
    return Series(columns, _resolutions(draft), draft.parts), draft.remarks


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


def _read_numbers(draft: _Draft) -> None:
    """Read every number column; name the cells that are none."""
    wanted = [c for c in draft.map.columns if c.kind == "number"]
    read = draft.table.numbers([c.name for c in wanted])
    for column in wanted:
        values, bad, count = read[column.name]
        if column.quantity in ("step_id", "step_count") and count > 0.5 * values.size:
            draft.columns[column.quantity] = _coded(draft.table.texts(column.name))
            continue
        if count:
            _say_bad(draft, column, bad, count, values.size)
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
        draft.columns[column.quantity] = values


def _coded(cells: pl.Series) -> Array:
    """Number the words of a step column by first appearance."""
    return cells.fill_null("").rle_id().cast(pl.Float64).to_numpy()


def _say_bad(draft: _Draft, column: Column, bad: list[tuple[int, str]], count: int, rows: int) -> None:
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


def _read_durations(draft: _Draft) -> None:
    for column in draft.map.columns:
        if column.kind != "duration":
            continue
        cells = draft.table.texts(column.name)
        values = durations(cells)
        plain = cells.cast(pl.Float64, strict=False).to_numpy()
        values = np.where(np.isnan(values) & np.isfinite(plain), plain, values)
        bad = np.flatnonzero(np.isnan(values) & (cells.fill_null("").str.strip_chars() != "").to_numpy())
        if bad.size:
            _say_bad(draft, column, [(int(bad[0]), str(cells[int(bad[0])]))], int(bad.size), values.size)
        draft.columns[column.quantity] = values


def _read_clock(draft: _Draft) -> None:
    """Read a date column into a clock that runs on; join a date with a time of day that stands beside it."""
    column = draft.map.column("unix_time_second")
    if column is None or column.kind != "clock":
        return
    form = draft.map.format_of(column.name)
    seconds, told = stamps(draft.table.texts(column.name), form=form)
    needed = not set(draft.columns) & {"test_time_second", "step_time_second"}
    if told["bad"]:
        few = int(told["bad"]) <= max(BAD_SHARE * seconds.size, 3)
        level: Level = "error" if form or (needed and not few) else "warning"
        expected = f"do not match {form}" if form else "are no dates"
        draft.say(
            "DATE_FORMAT",
            level,
            f"«{column.name}»: {told['bad']} values {expected}, e.g. «{str(told['example'])[:40]}».",
            value=float(told["bad"]),
            where=f"file line {draft.table.first_line + int(told['row'])}",
            remedy="State the form in the column map, e.g. %d.%m.%Y %H:%M:%S.",
        )
        if level == "error" or not few:
            return
    if told["dated_only"]:
        seconds = _with_time_of_day(draft, column, seconds, needed=needed)
        if seconds.size == 0:
            return
    if told["ambiguous"]:
        settled = _settle_order(draft, column, seconds)
        if settled is None:
            _say_ambiguous(draft, column, needed=needed)
            return
        seconds = settled
    known = np.isfinite(seconds)
    zone = None if told["zoned"] else draft.map.timezone
    seconds[known], said = run_on(seconds[known], zone=zone)
    draft.remarks += said
    draft.columns["unix_time_second"] = seconds


def _with_time_of_day(draft: _Draft, column: Column, seconds: Array, *, needed: bool) -> Array:
    """Add the time of day from a column beside a bare date, if there is one."""
    beside = draft.columns.get("test_time_second")
    if beside is not None and np.nanmax(beside) < DAY_S and np.any(np.diff(seconds) > 0):
        joined = seconds + beside
        if np.mean(np.diff(joined) >= 0) > 0.99:
            del draft.columns["test_time_second"]
            draft.say(
                "DATE_AND_TIME_JOINED",
                "info",
                f"«{column.name}» and the time of day beside it were read as one clock.",
            )
            return joined
    if needed:
        draft.say(
            "DATE_FORMAT",
            "error",
            f"«{column.name}» holds dates without a time of day, and there is no other time column.",
            where=f"column «{column.name}»",
            remedy="Export the test time too.",
        )
    return np.zeros(0)


def _settle_order(draft: _Draft, column: Column, day_first: Array) -> Array | None:
    """Tell day and month apart by the test time, where one reading alone agrees with it."""
    time_s = draft.columns.get("test_time_second")
    cells = draft.table.texts(column.name)
    parts = (
        cells.str.extract_groups(r"^\s*(\d{1,2})([/-])(\d{1,2})([/-])(\d{2,4})(.*)$")
        .struct.unnest()
        .fill_null("")
    )
    a, m1, b, m2, year, rest = (parts[n] for n in parts.columns)
    month_first, _ = stamps(
        pl.select(year.str.pad_start(4, "2").str.replace(r"^22", "20") + "-" + a + "-" + b + rest).to_series()
    )
    del m1, m2
    if np.array_equal(day_first, month_first, equal_nan=True):
        return day_first
    if time_s is None:
        return None
    span = float(np.nanmax(time_s) - np.nanmin(time_s))
    spans = [float(c[-1] - c[0]) for c in (day_first, month_first)]
    fits = [
        abs(s - span) < 0.1 * span + 120 and bool(np.all(np.diff(c) > -7200))
        for s, c in zip(spans, (day_first, month_first), strict=True)
    ]
    if fits[0] == fits[1]:
        return None
    draft.say(
        "DATE_ORDER_FROM_TIME",
        "info",
        f"«{column.name}» was read {'day' if fits[0] else 'month'} first, which alone fits the test time.",
    )
    return day_first if fits[0] else month_first


def _say_ambiguous(draft: _Draft, column: Column, *, needed: bool) -> None:
    text = f"«{column.name}» may be read day first or month first, and no day is beyond 12."
    draft.say(
        "DATE_AMBIGUOUS",
        "error" if needed else "warning",
        text if needed else text + " The clock was left out.",
        where=f"column «{column.name}»",
        remedy="State the form in the column map, e.g. %d/%m/%Y %H:%M:%S.",
    )


def _read_words(draft: _Draft) -> None:
    column = draft.map.column("step_type")
    if column is not None:
        draft.words = draft.table.texts(column.name)


def _drop_rows(draft: _Draft) -> None:
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


def _settle_time(draft: _Draft) -> None:
    """Make test time from the best column, put it right, and compare it with the clock."""
    columns = draft.columns
    clock = columns.get("unix_time_second")
    new_step = _new_steps(columns)
    if "test_time_second" not in columns and clock is not None:
        columns["test_time_second"] = clock - clock[0]
        draft.say("TIME_FROM_CLOCK", "info", "Test time was taken from the clock.")
        clock = None
    elif "test_time_second" not in columns:
        columns["test_time_second"] = _from_step_time(columns["step_time_second"])
        draft.say(
            "TIME_FROM_STEP_TIME",
            "warning",
            "Test time was added up from step time; pauses between steps are not in it.",
            remedy="Export the test time too, if the cycler keeps it.",
        )
    elif _is_time_of_day(columns["test_time_second"]):
        columns["test_time_second"] = _past_midnight(columns["test_time_second"])
        draft.say(
            "MIDNIGHT_PASSED", "info", "The time column is a time of day; a day was added at each midnight."
        )
    if clock is not None and _runs_back(clock, columns["test_time_second"]):
        draft.say(
            "CLOCK_BACKWARDS",
            "warning",
            "The clock runs backwards where test time does not; it was left out.",
            where="clock column",
            remedy="Look at the stamps around the fault; test time was used alone.",
        )
        del columns["unix_time_second"]
        clock = None
    fixed = repair_time(columns["test_time_second"], clock, new_step)
    columns["test_time_second"] = fixed.time_s
    draft.remarks += fixed.remarks
    draft.parts = fixed.parts
    if not draft.stopped:
        draft.remarks += check_scale(fixed.time_s, clock)


def _runs_back(clock: Array, time_s: Array) -> bool:
    """Tell whether a clock falls by more than a second while test time goes on."""
    return bool(np.any((np.diff(clock) < -1.5) & (np.diff(time_s) >= 0)))


def _drop_false_steps(draft: _Draft) -> None:
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


def _new_steps(columns: dict[str, Array]) -> Any:
    """Mark records that begin a step: by a step column, or by the direction of the current."""
    current = columns["current_ampere"]
    state = np.where(np.abs(current) <= rest_threshold_A(current), 0.0, np.sign(current))
    new = np.concatenate(([True], np.diff(state) != 0))
    for name in ("step_count", "step_id", "cycle_count"):
        if name in columns:
            new |= np.concatenate(([True], np.diff(columns[name]) != 0))
    return new


def _from_step_time(step_s: Array) -> Array:
    """Add step times up: each step begins where the one before was last seen."""
    change = np.diff(step_s, prepend=0.0)
    return np.cumsum(np.where(change < 0, step_s, change))


def _is_time_of_day(time_s: Array) -> bool:
    """Tell a time of day, which falls by a whole day at midnight, from a test time that starts again."""
    if np.max(time_s) >= DAY_S:
        return False
    step = np.diff(time_s)
    back = step[step < 0]
    usual = float(np.median(step[step > 0])) if np.any(step > 0) else 0.0
    return bool(back.size and np.all(back + DAY_S < max(20 * usual, 600.0)))


def _past_midnight(time_s: Array) -> Array:
    return time_s + DAY_S * np.concatenate(([0.0], np.cumsum(np.diff(time_s) < 0)))


def _check_voltage(draft: _Draft) -> None:
    usual = float(np.median(np.abs(draft.columns["voltage_volt"])))
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


def _resolutions(draft: _Draft) -> dict[str, float]:
    """Find the smallest written step of time, current, voltage and each counter, in canonical units."""
    wanted = {
        c.quantity: c
        for c in draft.map.columns
        if c.quantity in draft.columns
        and c.kind == "number"
        and (c.quantity in CORE or c.quantity.endswith(("_ah", "_wh")))
    }
    if draft.table.text is None:
        found = {q: _distinct_step(draft.columns[q]) for q in wanted}
    else:
        printed = {q: printed_step(draft.table.sample(c.name)) for q, c in wanted.items()}
        digits = {q: d for q, (_, d) in printed.items()}
        step = {q: s for q, (s, _) in printed.items()}
        if draft.table.trims_zeros([c.name for c in wanted.values()]) and "current_ampere" in step:
            # a writer that drops trailing zeros shows its digits in the voltage, not in a constant current
            finest = max(digits.get("voltage_volt", 0), digits["current_ampere"])
            step["current_ampere"] = (
                0.0 if step.get("voltage_volt") == 0 else min(step["current_ampere"], 10.0**-finest)
            )
        found = {q: s * abs(wanted[q].factor) for q, s in step.items()}
    clock = draft.map.column("test_time_second") or draft.map.column("unix_time_second")
    if clock is not None and clock.kind != "number":
        found["test_time_second"] = _clock_step(draft.columns["test_time_second"])
    return found


def _distinct_step(values: Array) -> float:
    """Give the smallest step between distinct values of some records; 0 where they are of full precision."""
    some = np.unique(values[np.isfinite(values)][:: max(1, values.size // 5000)])
    if some.size < 2:
        return 0.0
    steps = np.diff(some)
    least = float(steps.min())
    whole = np.abs(some / least - np.round(some / least))
    return least if least > 1e-9 * float(np.max(np.abs(some))) and float(whole.max()) < 1e-3 else 0.0


def _clock_step(time_s: Array) -> float:
    """Give one second for a clock that shows whole seconds, else a thousandth."""
    return 1.0 if np.all(np.abs(time_s[:5000] - np.round(time_s[:5000])) < 1e-9) else 0.001
