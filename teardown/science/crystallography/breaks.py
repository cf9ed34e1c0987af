"""A level that breaks from one point to the next, as where two ranges of another counting time were joined.

A break multiplies all that follows it, lines and background alike. So the quiet points of both sides tell
by how much, and a smooth curve must run on through the place once the far side is divided by that, and must
not without. That holds on the flank of a line as well as between lines.
"""

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
# Thresholds are our own, set on drawn patterns; no source
RATIO = 1.4  # of the quiet levels of both sides
QUIET = 20  # percentile that no line reaches
SURE = 6.0  # standard deviations of the quiet levels
GAIN = 130.0  # by which the weighted squares fall once the far side is divided
MISFIT = 2.0  # standard deviations of what may be left of them
NEAR_DEG, FAR_DEG = 1.5, 3.0
FEWEST = 60
DRIFT = 0.5  # share of the break by which the levels may drift beside it
DRIFT_SIGMA = 2.5
# Points on either side and degree of the curve; the last one also where the levels drift, as among lines.
CURVES = ((12, 2), (12, 1), (6, 2), (6, 4))
TRIED = np.exp(np.linspace(-0.3, 0.3, 9))  # factors on the ratio of the quiet levels
EDGE = 24


def broken_level(x: Array, y: Array, noise_factor: float) -> int | None:
    """Find where counts go over to another level from one point to the next, or None.

    Parameters
    ----------
    x, y : ndarray, shape (points,)
        Rising angles in degrees, and counts.
    noise_factor : float
        Variance of a count over the count: 1 for raw counts.
    """
    step = float(np.median(np.diff(x)))
    calm, ratio_calm = _level_changes(y, noise_factor, max(FEWEST, round(NEAR_DEG / step)), drift=False)
    any_, ratio_any = _level_changes(y, noise_factor, max(2 * FEWEST, round(FAR_DEG / step)), drift=True)
    uneven = np.abs(np.diff(x, prepend=x[0] - step) - step) > 0.25 * step
    level = np.maximum(np.maximum(y, np.convolve(y, np.full(5, 0.2), mode="same")), 1.0)
    variance = noise_factor * level
    best, found = GAIN, None
    for at, ratio, curves in ((calm, ratio_calm, CURVES), (any_, ratio_any, CURVES[-1:])):
        for side, degree in curves:
            gain = _gains(at, ratio, y, variance, side, degree)
            gain[_any_near(uneven, at, side)] = 0.0
            if len(at) and gain.max() > best:
                best, found = float(gain.max()), int(at[int(np.argmax(gain))])
    return found


def _level_changes(
    y: Array, noise_factor: float, wide: int, *, drift: bool
) -> tuple[NDArray[np.intp], Array]:
    """Give the places between quiet levels that differ, and the ratio of the levels.

    Unless ``drift``, the levels must not change nearly as much beside the place.
    """
    from scipy.ndimage import percentile_filter

    half, n = wide // 2, len(y)
    if n < 4 * half + 2 * EDGE:
        return np.empty(0, dtype=np.intp), np.empty(0)
    quiet = np.maximum(percentile_filter(y, QUIET, size=2 * half, mode="nearest"), 1.0)
    at = np.arange(half + EDGE, n - half - EDGE)
    before, after = quiet[at - half], quiet[at + half]
    doubt = 1.4 * np.sqrt(noise_factor / (0.01 * QUIET * 2 * half))  # of a level, over its root
    broken = np.abs(np.log(after / before)) > np.log(RATIO)
    broken &= np.abs(after - before) > SURE * doubt * np.sqrt(np.maximum(before, after))
    if not drift:
        further = quiet[np.maximum(at - 3 * half, 0)], quiet[np.minimum(at + 3 * half, n - 1)]
        moved = np.abs(np.log(before / further[0])) + np.abs(np.log(further[1] / after))
        chance = DRIFT_SIGMA * doubt * (before**-0.5 + after**-0.5)
        broken &= moved < DRIFT * np.abs(np.log(after / before)) + chance
    return at[broken], (after / before)[broken]


def _gains(at: NDArray[np.intp], ratio: Array, y: Array, variance: Array, side: int, degree: int) -> Array:
    """Give by how much a curve through each place fits better once the far side is divided by the ratio.

    Zero where it does not fit even then.
    """
    gain = np.zeros(len(at))
    beyond = np.arange(2 * side) >= side
    # counts that were brought to another time scatter more by as much as they were raised
    raised = np.where(beyond, np.maximum(ratio, 1)[:, None], np.maximum(1 / ratio, 1)[:, None])
    rows = at[:, None] + np.arange(-side, side)
    counts, spread = y[rows], variance[rows] * raised
    before = _misfit(counts, spread, degree)
    some = np.flatnonzero(before > GAIN)
    after = np.full(len(some), np.inf)
    for factor in TRIED:
        by = np.where(beyond, factor * ratio[some, None], 1.0)
        after = np.minimum(after, _misfit(counts[some] / by, spread[some] / by**2, degree))
    free = 2 * side - degree - 2
    fits = after < free + MISFIT * np.sqrt(2 * free)
    gain[some[fits]] = (before[some] - after)[fits]
    return gain


def _misfit(counts: Array, variance: Array, degree: int) -> Array:
    """Give the weighted squares that a polynomial leaves of each row, shape (places,)."""
    n = counts.shape[1]
    powers = np.vander((np.arange(n) - (n - 1) / 2) / n, degree + 1)
    weight = 1 / variance
    normal = np.einsum("nt,ti,tj->nij", weight, powers, powers)
    solved = np.linalg.solve(normal, ((weight * counts) @ powers)[..., None])[..., 0]
    return np.asarray((weight * (counts - solved @ powers.T) ** 2).sum(axis=1), dtype=np.float64)


def _any_near(marked: NDArray[np.bool_], at: NDArray[np.intp], side: int) -> NDArray[np.bool_]:
    """Say at which places a step beside them is not like the others."""
    so_far = np.concatenate([[0], np.cumsum(marked)])
    return np.asarray(so_far[at + side] > so_far[at - side + 1], dtype=np.bool_)
