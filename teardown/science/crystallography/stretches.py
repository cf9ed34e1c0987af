"""Stretches of a scan that were not measured, or not measured like the rest of it."""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from teardown.science.crystallography.breaks import broken_level
from teardown.science.errors import Remark

Array = NDArray[np.float64]
# Thresholds are our own, set on drawn patterns; no source
GAP_STEPS = 10.0
GAP_DEG = 0.5
ALIKE = 30  # neighbours of one value


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
