"""Stretches of a scan that were not measured, or not measured like the rest of it."""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from teardown.science.errors import Remark

Array = NDArray[np.float64]
# Thresholds are our own, set on drawn patterns; no source
GAP_STEPS = 10.0
GAP_DEG = 0.5
ALIKE = 30  # neighbours of one value
SIDE = 12  # points on either side of a break
BREAK_SIGMA = 12.0
BREAK_RATIO = 1.4
WIDE_DEG = 3.0  # over which the quiet level is taken
MOST_TRIED = 8


def of_stretches(x: Array, y: Array, noise_factor: float) -> Iterator[Remark]:
    """Remark on gaps, stretches of one value, a detector at its end, and a break of the level.

    Parameters
    ----------
    x, y : ndarray, shape (points,)
        Rising angles in degrees, and counts.
    noise_factor : float
        Variance of a count over the count: 1 for raw counts.
    """
    yield from _gaps(x)
    yield from _flat(x, y)
    if (at := broken_level(x, y, noise_factor)) is not None:
        yield Remark(
            "LEVEL_BREAKS",
            "warning",
            (
                f"At {x[at]:.2f}° the counts go over to another level from one point to the next, as where "
                "two ranges of another counting time were joined."
            ),
            float(x[at]),
            remedy="Bring both ranges to one counting time, or choose a range on one side of it.",
        )


def _gaps(x: Array) -> Iterator[Remark]:
    """Remark on angles that were left out."""
    steps = np.diff(x)
    usual = float(np.median(steps))
    wide = np.flatnonzero((steps > GAP_STEPS * usual) & (steps > GAP_DEG))
    if len(wide):
        k = int(wide[0])
        more = f", and in {len(wide) - 1} more places" if len(wide) > 1 else ""
        yield Remark(
            "GAP",
            "warning",
            f"Nothing was measured between {x[k]:.2f}° and {x[k + 1]:.2f}°{more}.",
            float(steps[wide].max()),
            remedy="Lines that lie there are lost; check that the row before it is not of the header.",
        )


def _flat(x: Array, y: Array) -> Iterator[Remark]:
    """Remark on a run of one value where counts would scatter, and on lines cut off at the top."""
    ends = np.flatnonzero(np.concatenate([np.diff(y) != 0, [True]]))
    runs = np.diff(np.concatenate([[-1], ends]))
    k = int(np.argmax(runs))
    first, last = int(ends[k] - runs[k] + 1), int(ends[k])
    rest = np.concatenate([y[:first], y[last + 1 :]])
    if runs[k] >= ALIKE and len(rest) and float(np.percentile(rest, 25)) >= 5:
        yield Remark(
            "STRETCH_OF_ONE_VALUE",
            "error",
            f"All {runs[k]} counts from {x[first]:.2f}° to {x[last]:.2f}° are {y[first]:g}: nothing counted.",
            float(runs[k]),
            remedy="Fit with a range that leaves it out, or measure again.",
        )
    at_top = runs[y[ends] == y.max()]
    if y.max() >= 1000 and at_top.max() >= 3:
        yield Remark(
            "DETECTOR_AT_ITS_END",
            "warning",
            (
                f"The highest {at_top.max()} neighbouring points are all {y.max():g}: lines are cut off at "
                "the top, and the strongest phase reads too low."
            ),
            float(at_top.max()),
            remedy="Count more slowly or with an absorber, and measure again.",
        )


def broken_level(x: Array, y: Array, noise_factor: float) -> int | None:
    """Find where smooth counts go over to another level from one point to the next, or None.

    Lines are laid through twelve points on either side of each place; both must be straight within their
    noise, must miss one another by twelve standard deviations and 40 % of the level, and the quiet points
    further out must differ in like measure.
    """
    if len(y) < 4 * SIDE:
        return None
    t = np.arange(SIDE) - (SIDE - 1) / 2
    windows = np.lib.stride_tricks.sliding_window_view(y, SIDE)
    mean = windows.mean(axis=1)
    slope = windows @ t / float(t @ t)
    scatter = ((windows - mean[:, None] - slope[:, None] * t) ** 2).sum(axis=1) / (SIDE - 2)
    reach = SIDE / 2
    before, after = (mean + slope * reach)[:-SIDE], (mean - slope * reach)[SIDE:]
    noise = np.maximum(noise_factor * np.maximum(mean, 1.0), 1e-9)
    low, high = np.minimum(before, after), np.maximum(before, after)
    # counts that were brought to another time scatter more by as much as they were raised
    noise_before, noise_after = noise[:-SIDE], noise[SIDE:]
    raised = np.clip(high / np.maximum(low, 1e-9), 1.0, 100.0)
    straight = (scatter[:-SIDE] < 3 * raised * noise_before) & (scatter[SIDE:] < 3 * raised * noise_after)
    doubt = np.sqrt((noise_before + noise_after) * 4 / SIDE)
    steps = np.diff(x)
    around = np.lib.stride_tricks.sliding_window_view(steps, 2 * SIDE - 1)
    even = np.ptp(around, axis=1) < 0.5 * np.median(steps)
    broken = straight & even & (high - low > BREAK_SIGMA * doubt)
    broken &= high > BREAK_RATIO * np.maximum(low, 1e-9)
    # A flank of a line goes back to its background; a joined range stays at its level.
    size = np.where(broken, (high - low) / doubt, 0.0)
    wide = max(120, round(WIDE_DEG / float(np.median(steps))))
    for k in np.argsort(size)[::-1][:MOST_TRIED]:
        if size[k] <= 0:
            break
        if _stays(y, int(k) + SIDE, wide, float(high[k] / max(low[k], 1e-9))):
            return int(k) + SIDE
    return None


def _stays(y: Array, at: int, wide: int, ratio: float) -> bool:
    """Say whether the quiet points of both sides differ as the counts at the break do."""
    left, right = (float(np.percentile(side, 20)) for side in (y[max(0, at - wide) : at], y[at : at + wide]))
    stays = max(left, right) / max(min(left, right), 1.0)
    return bool(stays > 1 + 0.6 * (ratio - 1)) and bool((y[at] > y[at - 1]) == (right > left))
