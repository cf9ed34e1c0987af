"""Test time of a file: made from the best column, put right, and compared with the clock."""

from typing import Any

import numpy as np

from teardown.formats.series_draft import Draft
from teardown.formats.series_repair import check_reach, check_scale, repair_time
from teardown.science.electrochemistry.columns import Array
from teardown.science.electrochemistry.steps import directions

DAY_S = 86400.0


def settle_time(draft: Draft) -> None:
    """Make test time from the best column, put it right, and compare it with the clock."""
    columns = draft.columns
    clock = columns.get("unix_time_second")
    new_step = _new_steps(columns)
    if "test_time_second" not in columns and clock is not None:
        columns["test_time_second"] = clock - clock[0]
        draft.say(
            "TIME_FROM_CLOCK",
            "info",
            "Test time was taken from the clock.",
            where="clock column",
            remedy="Nothing needs to be done; map a column of test time if the file has one.",
        )
        clock = None
    elif "test_time_second" not in columns:
        columns["test_time_second"] = _from_step_time(columns["step_time_second"])
        draft.ends_unseen = True
        draft.say(
            "TIME_FROM_STEP_TIME",
            "warning",
            "Test time was added up from step time; pauses between steps are not in it.",
            remedy="Export the test time too, if the cycler keeps it.",
        )
    elif _is_time_of_day(columns["test_time_second"]):
        columns["test_time_second"] = _past_midnight(columns["test_time_second"])
        draft.say(
            "MIDNIGHT_PASSED",
            "info",
            "The time column is a time of day; a day was added at each midnight.",
            where="time column",
            remedy="Nothing needs to be done unless records of more than a day are missing.",
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
    draft.remarks += check_reach(columns["test_time_second"])
    if draft.stopped:
        return
    fixed = repair_time(columns["test_time_second"], clock, new_step)
    columns["test_time_second"] = fixed.time_s
    draft.remarks += fixed.remarks
    draft.parts = fixed.parts
    if not draft.stopped:
        draft.remarks += check_scale(fixed.time_s, clock)


def _runs_back(clock: Array, time_s: Array) -> bool:
    """Tell whether a clock falls by more than a second while test time goes on."""
    return bool(np.any((np.diff(clock) < -1.5) & (np.diff(time_s) >= 0)))


def _new_steps(columns: dict[str, Array]) -> Any:
    """Mark records that begin a step: by a step column, or by the direction of the current."""
    state = directions(columns["current_ampere"])
    new = np.ones(state.size, dtype=bool)
    new[1:] = state[1:] != state[:-1]
    for name in ("step_count", "step_id", "cycle_count"):
        if name in columns:
            new[1:] |= columns[name][1:] != columns[name][:-1]
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
