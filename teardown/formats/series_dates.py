"""Columns of dates and durations of a file, read into a clock that runs on."""

import numpy as np
import polars as pl

from teardown.formats.series_clocks import durations, run_on, stamps
from teardown.formats.series_columns import Column
from teardown.formats.series_draft import BAD_SHARE, Draft, say_bad
from teardown.science.electrochemistry.columns import Array
from teardown.science.errors import Level

DAY_S = 86400.0


def read_durations(draft: Draft) -> None:
    """Read columns of the form hh:mm:ss; a bare number among them is seconds."""
    for column in draft.map.columns:
        if column.kind != "duration":
            continue
        cells = draft.table.texts(column.name)
        values = durations(cells)
        plain = cells.cast(pl.Float64, strict=False).to_numpy()
        values = np.where(np.isnan(values) & np.isfinite(plain), plain, values)
        bad = np.flatnonzero(np.isnan(values) & (cells.fill_null("").str.strip_chars() != "").to_numpy())
        if bad.size:
            say_bad(draft, column, [(int(bad[0]), str(cells[int(bad[0])]))], int(bad.size), values.size)
        draft.columns[column.quantity] = values


def read_clock(draft: Draft) -> None:
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


def _with_time_of_day(draft: Draft, column: Column, seconds: Array, *, needed: bool) -> Array:
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
                where=f"column «{column.name}»",
                remedy="Nothing needs to be done.",
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


def _settle_order(draft: Draft, column: Column, day_first: Array) -> Array | None:
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
        where=f"column «{column.name}»",
        remedy="Nothing needs to be done; state the form in the column map if this is wrong.",
    )
    return day_first if fits[0] else month_first


def _say_ambiguous(draft: Draft, column: Column, *, needed: bool) -> None:
    text = f"«{column.name}» may be read day first or month first, and no day is beyond 12."
    draft.say(
        "DATE_AMBIGUOUS",
        "error" if needed else "warning",
        text if needed else text + " The clock was left out.",
        where=f"column «{column.name}»",
        remedy="State the form in the column map, e.g. %d/%m/%Y %H:%M:%S.",
    )
