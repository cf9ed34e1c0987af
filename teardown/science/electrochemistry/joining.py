"""Histories that came in several files, joined into one."""

from collections.abc import Sequence

import numpy as np

from teardown.science.electrochemistry.columns import Array, Series
from teardown.science.errors import MeasurementError, Remark


class PartsOverlap(MeasurementError):
    """Two files tell of the same hours."""

    code = "electrochemistry.E004"
    hint = "Withdraw one of them, or import the longer one in place of the other."


def join(parts: Sequence[Series]) -> tuple[Series, list[Remark]]:
    """Join the histories of one test, in order of their clocks where all have one, else as given.

    A part whose test time goes on from the one before keeps it. Else the clock tells how long the pause was;
    without a clock the part follows at once and the pause is not known.

    Parameters
    ----------
    parts : sequence of Series
        At least one.

    Returns
    -------
    Series, list of Remark

    Raises
    ------
    PartsOverlap
        If two clocks run over the same hours.
    """
    if len(parts) == 1:
        return parts[0], []
    clocks = [p.get("unix_time_second") for p in parts]
    known = [c for c in clocks if c is not None and np.isfinite(c[[0, -1]]).all()]
    timed = len(known) == len(parts)
    ordered = [parts[k] for k in np.argsort([c[0] for c in known])] if timed else list(parts)
    whole, remarks, begins = ordered[0], [], []
    for number, part in enumerate(ordered[1:], 2):
        shift, told = _shift(whole, part, timed=timed)
        if not told:
            begins.append(len(whole))
            text = f"File {number} follows the one before at once: no clock tells how long the pause was."
            remarks.append(Remark("TIME_RESTART", "warning", text, float(number), f"file {number}"))
        begins += [len(whole) + k for k in part.parts]
        whole = _append(whole, part, shift, (*whole.parts, *begins))
    return whole, remarks


def _shift(before: Series, after: Series, *, timed: bool) -> tuple[float, bool]:
    """Give the seconds to add to the later part's test time, and whether they are known."""
    if timed:
        last = before.columns["unix_time_second"][-1]
        pause = float(after.columns["unix_time_second"][0] - last)
        if pause < -60:
            raise PartsOverlap(f"One file begins {-pause / 3600:.2g} h before the one before it ends.")
        return float(before.time_s[-1] - after.time_s[0]) + max(pause, 0.0), True
    if after.time_s[0] >= before.time_s[-1]:
        return 0.0, True
    return float(before.time_s[-1]), False


def _append(before: Series, after: Series, shift: float, parts: tuple[int, ...]) -> Series:
    """Put one part behind another; only columns that both have are kept."""
    columns: dict[str, Array] = {}
    for name in before.columns:
        if name not in after.columns:
            continue
        later = after.columns[name]
        if name == "test_time_second":
            later = later + shift
        elif name == "step_count":
            later = later - later[0] + before.columns[name][-1] + 1
        columns[name] = np.concatenate((before.columns[name], later))
    coarser = {n: max(before.step_of(n), after.step_of(n)) for n in columns}
    unseen = before.ends_unseen or after.ends_unseen
    return Series(columns, coarser, tuple(dict.fromkeys(parts)), unseen)
