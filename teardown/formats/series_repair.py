"""Rows and times put right, and a word about each: empty and double rows, single wrong stamps, restarts,
wrong scales.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from teardown.science.electrochemistry.columns import Array
from teardown.science.errors import Remark

Mask = NDArray[np.bool_]
LONGEST_S = 5 * 365.25 * 86400
FEW_SHARE = 0.01
ROUNDING_S = 1e-6  # by this much sums of times run back where nothing is wrong
MOST_RESTARTS = 0.02  # of the records; more is no test that was started again


def keep_rows(columns: dict[str, Array]) -> tuple[Mask, list[Remark]]:
    """Mark the rows to keep: those with voltage and current that are not the row before over again.

    Only neighbours are compared: a row that equals one far above may be the genuine first row of an appended
    part.
    """
    remarks = []
    keep = np.isfinite(columns["voltage_volt"]) & np.isfinite(columns["current_ampere"])
    empty = int(np.sum(~keep))
    if empty:
        row = int(np.argmin(keep)) + 1
        remarks.append(
            Remark(
                "EMPTY_ROWS",
                "warning",
                f"{empty} row(s) without voltage or current dropped, first data row {row}.",
                float(empty),
                f"data row {row}",
                "Look at those rows in the export; what flowed there is reckoned from their neighbours.",
            )
        )
    kept = np.flatnonzero(keep)
    same = _like_before(columns, kept)
    times = [
        columns[n]
        for n in ("test_time_second", "unix_time_second", "step_time_second", "record_index")
        if n in columns
    ]
    if times and same.size:
        row = int(kept[same[0]]) + 1
        remarks.append(
            Remark(
                "DUPLICATE_ROWS",
                "warning",
                f"{same.size} row(s) equal to the row before dropped, first data row {row}.",
                float(same.size),
                f"data row {row}",
                "Nothing needs to be done if the export wrote them twice.",
            )
        )
        keep[kept[same]] = False
    return keep, remarks


def _like_before(columns: dict[str, Array], kept: NDArray[np.int64]) -> NDArray[np.int64]:
    """Give the places among the kept rows whose row says in every column what the one before says."""
    time = columns.get("test_time_second")
    if time is not None and kept.size == time.size:  # nearly all rows differ there, which spares the others
        same = np.flatnonzero((time[1:] == time[:-1]) | np.isnan(time[1:])) + 1
    else:
        same = np.arange(1, kept.size)
    for values in columns.values():
        now, before = values[kept[same]], values[kept[same - 1]]
        same = same[(now == before) | (np.isnan(now) & np.isnan(before))]
    return same


@dataclass(frozen=True, slots=True)
class Times:
    """Test time put right, and where parts were joined."""

    time_s: Array
    parts: tuple[int, ...]
    remarks: list[Remark]


def repair_time(time_s: Array, clock_s: Array | None, new_step: Mask) -> Times:
    """Put test time right where that is safe, and refuse where it is not.

    Parameters
    ----------
    time_s : ndarray of float, shape (records,)
    clock_s : ndarray or None
        A clock that runs on, to tell how long a pause between two parts was.
    new_step : ndarray of bool, shape (records,)
        Records that begin a step.

    Returns
    -------
    Times
        Remarks of level error mean that the time cannot be used.
    """
    time, remarks = _isolated(time_s.copy())
    back = np.flatnonzero(np.diff(time) < 0) + 1
    if not back.size:
        return Times(time, (), remarks)
    span = float(np.max(time) - np.min(time))
    if back.size == 1 and time[0] > 0.05 * span and time[-1] <= time[0]:
        row = int(back[0]) + 1
        text = f"What stands from data row {row} on ends at {time[-1]:.6g} s, before the first row begins."
        remedy = "The parts stand in the wrong order: put them in the order of time."
        remarks.append(Remark("TIME_BACKWARDS", "error", text, float(time[-1]), f"data row {row}", remedy))
        return Times(time, (), remarks)
    near_zero = time[back] <= np.minimum(0.05 * span, 0.5 * time[back - 1])
    if back.size >= 3 and np.mean(new_step[back]) >= 0.8 and np.mean(near_zero) >= 0.8:
        text = (
            f"The time column starts again {back.size} times, each time with a new step: "
            "it looks like step time."
        )
        remarks.append(
            Remark(
                "STEP_TIME_AS_TEST_TIME",
                "error",
                text,
                float(back.size),
                f"data row {back[0] + 1}",
                "Map it as step time; test time is then built from it.",
            )
        )
        return Times(time, (), remarks)
    if not near_zero.all() or back.size > max(MOST_RESTARTS * time.size, 3):
        row = int(back[np.argmin(near_zero)])
        text = f"Test time runs back at data row {row + 1}: from {time[row - 1]:.6g} s to {time[row]:.6g} s."
        remarks.append(
            Remark(
                "TIME_BACKWARDS",
                "error",
                text,
                float(time[row]),
                f"data row {row + 1}",
                "Sort the rows, remove overlapping ones, or map the right column.",
            )
        )
        return Times(time, (), remarks)
    return _joined(time, clock_s, back, remarks)


def _joined(time: Array, clock_s: Array | None, back: NDArray[np.int64], remarks: list[Remark]) -> Times:
    """Put parts behind each other that begin again near zero; the clock tells the pause where there is
    one.
    """
    known = clock_s is not None and bool(
        np.isfinite(clock_s[back]).all() and np.isfinite(clock_s[back - 1]).all()
    )
    for k in back.tolist():
        pause = float(clock_s[k] - clock_s[k - 1]) if known and clock_s is not None else float(time[k])
        time[k:] += time[k - 1] + max(pause, 0.0) - time[k]
    first = f"data row {back[0] + 1}"
    text = f"Test time starts again {back.size} time(s) (first at {first}); parts joined, "
    text += "the gap was taken from the clock." if known else "gap unknown because there is no clock column."
    remedy = "Check that the parts belong to one cell and follow each other."
    remarks.append(Remark("TIME_RESTART", "warning", text, float(back.size), first, remedy))
    return Times(time, () if known else tuple(back.tolist()), remarks)


def _isolated(time: Array) -> tuple[Array, list[Remark]]:
    """Replace single stamps that stand outside both neighbours, where the series then goes on."""
    before, at, after = time[:-2], time[1:-1], time[2:]
    odd = (before <= after) & ((at < before) | (at > after))
    # before a restart a record stands above its follower too, but then the follower is below the one before
    where = np.flatnonzero(odd) + 1
    if time.size > 1 and time[0] > time[1] and (time.size < 3 or time[1] <= time[2]) and time[1] > 0:
        where = np.concatenate(([0], where))
    if not where.size:
        return time, []
    off = 0.0
    for k in where.tolist():
        held = time[k]
        time[k] = _between(time, k)
        off = max(off, abs(held - time[k]))
    if off <= ROUNDING_S:
        return time, []
    text = (
        f"{where.size} single record(s) carry an impossible test time (first: data row {where[0] + 1}); "
        "a neighbour's time was used for them."
    )
    return time, [
        Remark(
            "TIME_STAMP_ISOLATED",
            "warning",
            text,
            float(where.size),
            f"data row {where[0] + 1}",
            "The cycler wrote wrong stamps; nothing else was changed.",
        )
    ]


def _between(time: Array, k: int) -> float:
    """Give the time of a neighbour for a stamp that stands outside both: the later one where it is hardly
    beyond that, else the one before.
    """
    if k == 0:
        return float(time[1])
    before, at, after = time[k - 1], time[k], time[k + 1]
    return float(after if after < at <= 2 * after - before else before)


def check_reach(time_s: Array) -> list[Remark]:
    """Refuse times that lie further apart than tests have been run, before anything is added up.

    Single ones are left to `repair_time`, which replaces what stands outside both neighbours.
    """
    span = float(np.max(time_s) - np.min(time_s))
    if span <= 100 * LONGEST_S or np.mean(np.abs(time_s - np.median(time_s)) > 100 * LONGEST_S) <= FEW_SHARE:
        return []
    text = f"The times lie {span / 365.25 / 86400:.3g} years apart: wrong column, or wrong time unit?"
    remedy = "Correct the unit of time in the column map, or mend the stamps in the export."
    return [Remark("TIME_SCALE", "error", text, span, "time column", remedy)]


def check_scale(time_s: Array, clock_s: Array | None) -> list[Remark]:
    """Compare test time with the clock, and with the longest that a test may last."""
    span = float(time_s[-1] - time_s[0])
    if span > LONGEST_S:
        text = f"The test lasts {span / 365.25 / 86400:.1f} years: wrong time unit?"
        return [
            Remark(
                "TIME_SCALE",
                "error",
                text,
                span,
                "time column",
                "Correct the unit of time in the column map.",
            )
        ]
    if span <= 0:
        return [
            Remark(
                "TIME_STANDS",
                "error",
                "Test time does not advance.",
                span,
                "time column",
                "Map another column as time.",
            )
        ]
    if clock_s is None:
        return []
    known = np.flatnonzero(np.isfinite(clock_s))
    if known.size < 2:
        return []
    a, b = int(known[0]), int(known[-1])
    by_clock, by_test = float(clock_s[b] - clock_s[a]), float(time_s[b] - time_s[a])
    if by_clock > 0 and abs(by_test / by_clock - 1) > 0.1 and abs(by_test - by_clock) > 120:
        text = (
            f"Test time covers {by_test:.6g} s, the clock {by_clock:.6g} s: factor {by_test / by_clock:.4g}."
        )
        # a test clock that stops in pauses is slower than the wall clock, by no fixed factor
        paused = by_test < by_clock and by_test / by_clock > 0.3
        return [
            Remark(
                "TIME_SCALE",
                "warning" if paused else "error",
                text,
                by_test / by_clock,
                "time column",
                "Test time may stand still in pauses."
                if paused
                else "Correct the unit of time in the column map.",
            )
        ]
    return []
