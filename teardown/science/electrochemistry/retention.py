"""Capacity against its best: the reference, the fade from it, the cycle where 80 % is passed."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from teardown.science.electrochemistry.columns import Array
from teardown.science.electrochemistry.table import running_median
from teardown.science.errors import MeasurementError

LIMIT = 0.80
CONFIRMED_BY = 3
Status = Literal[
    "reached",
    "reached-by-limit",
    "censored-running",
    "censored-planned",
    "censored-diagnosis",
    "censored-fault",
    "other-failure",
]

# what an end of test says about a capacity limit that was not crossed in the data
END_STATUS: dict[str, Status] = {
    "capacity limit": "reached-by-limit",
    "planned end": "censored-planned",
    "stopped for diagnosis": "censored-diagnosis",
    "lab fault": "censored-fault",
}

ENDS = (
    "capacity limit",
    "voltage limit on discharge",
    "cannot charge",
    "short or lost voltage",
    "leak",
    "gas",
    *tuple(END_STATUS)[1:],
)


class NoCompleteCycle(MeasurementError):
    """Without a complete cycle there is no capacity to refer to."""

    code = "electrochemistry.E003"
    hint = "Check the column map and the cycle numbers, or wait for the first whole cycle."


@dataclass(frozen=True, slots=True)
class Reference:
    """The peak capacity: value and 95 % limits in Ah, the cycle it stands at, and what was taken off as
    bias.
    """

    value_Ah: float
    low_Ah: float
    high_Ah: float
    cycle: float
    bias_Ah: float
    noise_Ah: float
    n: int


def reference_capacity(cycle: Array, capacity_Ah: Array, *, seed: int = 0, draws: int = 200) -> Reference:
    """Give the peak capacity: the largest 5-cycle running median, less what a maximum of noise adds to it.

    An iron electrode gains capacity over its first tens of cycles, so its first cycle is no reference. The
    maximum of medians is too high by about one noise standard deviation; how much here is found by drawing
    the same noise anew around the smoothed curve.

    Parameters
    ----------
    cycle, capacity_Ah : ndarray of float, shape (cycles,)
        Complete cycles of the reference rate class, after formation.
    seed, draws : int
        Of the drawing.

    Returns
    -------
    Reference

    Raises
    ------
    NoCompleteCycle
        If there is none.
    """
    n = capacity_Ah.size
    if not n:
        raise NoCompleteCycle("No complete cycle at the reference rate.")
    medians = running_median(capacity_Ah, 5)
    at = int(np.argmax(medians))
    if n < 5:
        value = float(medians[at])
        spread = float(np.ptp(capacity_Ah)) / 2
        return Reference(value, value - spread, value + spread, float(cycle[at]), 0.0, 0.0, n)
    smooth = _smooth(capacity_Ah)
    noise = _noise(capacity_Ah, smooth)
    near = np.flatnonzero(smooth >= smooth.max() - 4 * noise)
    a, b = max(0, int(near[0]) - 2), min(n, int(near[-1]) + 3)
    drawn = smooth[a:b] + noise * np.random.default_rng(seed).standard_normal((draws, b - a))
    windows = np.lib.stride_tricks.sliding_window_view(drawn, min(5, b - a), axis=1)
    peaks = np.median(windows, axis=2).max(axis=1)
    bias = max(float(peaks.mean() - smooth.max()), 0.0)
    value = float(medians[at]) - bias
    half = 1.96 * max(float(peaks.std()), float(noise / np.sqrt(5)))
    return Reference(value, value - half, value + half, float(cycle[at]), bias, noise, n)


def _smooth(values: Array) -> Array:
    """Smooth by local lines over about a tenth of the curve, at least nine cycles, on running medians of
    three.
    """
    half = max(4, values.size // 20)
    clean = running_median(values, 3)
    x = np.arange(values.size, dtype=float)
    sums = [np.concatenate(([0.0], np.cumsum(v))) for v in (np.ones_like(x), x, x * x, clean, x * clean)]
    low, high = (
        np.maximum(np.arange(values.size) - half, 0),
        np.minimum(np.arange(values.size) + half + 1, values.size),
    )
    s0, s1, s2, t0, t1 = (s[high] - s[low] for s in sums)
    slope = (s0 * t1 - s1 * t0) / np.maximum(s0 * s2 - s1 * s1, 1e-12)
    smooth: Array = (t0 - slope * s1) / s0 + slope * x
    return smooth


def _noise(values: Array, smooth: Array) -> float:
    """Give the noise of single cycles as a standard deviation, from the median absolute residual."""
    residual = values - smooth
    return float(1.4826 * np.median(np.abs(residual - np.median(residual))))


@dataclass(frozen=True, slots=True)
class Fade:
    """Loss per cycle as a share of the reference, above zero where capacity falls, with its 95 % interval."""

    per_cycle: float
    low: float
    high: float
    n: int


def fade(cycle: Array, capacity_Ah: Array, reference: Reference) -> Fade | None:
    """Give the Theil-Sen slope from the peak on, over the reference (Sen, J. Am. Stat. Assoc. 63 (1968)
    1379).

    Neighbouring cycles are alike, so the interval is widened by what their correlation takes from n.

    Returns
    -------
    Fade or None
        None where fewer than five cycles follow the peak.
    """
    later = cycle >= reference.cycle
    x, y = cycle[later], capacity_Ah[later]
    if x.size < 5 or reference.value_Ah <= 0:
        return None
    thin = np.unique(np.linspace(0, x.size - 1, min(x.size, 400)).astype(int))
    slope, low, high = theil_sen(x[thin], y[thin])
    rho = autocorrelation(y - slope * x)
    wide = np.sqrt((1 + rho) / (1 - rho))
    down, up = slope - (slope - low) * wide, slope + (high - slope) * wide
    scale = -1.0 / reference.value_Ah
    return Fade(float(slope * scale), float(up * scale), float(down * scale), int(x.size))


def theil_sen(x: Array, y: Array) -> tuple[float, float, float]:
    """Give the median of all slopes between pairs, with its 95 % limits from Kendall's variance.

    Sen, J. Am. Stat. Assoc. 63 (1968) 1379; pairs of equal ``x`` are left out.
    """
    first, second = np.triu_indices(x.size, 1)
    apart = x[second] != x[first]
    slopes = np.sort((y[second] - y[first])[apart] / (x[second] - x[first])[apart])
    n = x.size
    reach = 1.959964 * np.sqrt(n * (n - 1) * (2 * n + 5) / 18)
    low = max(int(np.round((slopes.size - reach) / 2)) - 1, 0)
    high = min(int(np.round((slopes.size + reach) / 2)), slopes.size - 1)
    return float(np.median(slopes)), float(slopes[low]), float(slopes[high])


def autocorrelation(residual: Array) -> float:
    """Give the correlation of neighbours, 0 to 0.95, corrected for short runs (rho + (1 + 4 rho)/n)."""
    centred = residual - residual.mean()
    power = float(np.sum(centred**2))
    if residual.size < 5 or power <= 0:
        return 0.0
    rho = float(np.sum(centred[1:] * centred[:-1])) / power
    return float(np.clip(rho + (1 + 4 * rho) / residual.size, 0.0, 0.95))


@dataclass(frozen=True, slots=True)
class Limit:
    """Where the capacity passed the limit for good, or why it is not known to have done so."""

    cycle: float | None
    status: Status
    limit_Ah: float


def limit_cycle(
    cycle: Array, capacity_Ah: Array, reference: Reference, *, end: str | None, share: float = LIMIT
) -> Limit:
    """Find the first cycle below ``share`` of the reference that stays below for three complete cycles.

    The crossing is interpolated between neighbours. A test that was ended by its capacity limit counts as
    reached although the data may stop just above it; other ends censor.

    Parameters
    ----------
    cycle, capacity_Ah : ndarray of float, shape (cycles,)
        Complete cycles of the reference rate class.
    reference : Reference
    end : str or None
        How the test ended, in the words of the fixed list; None while it runs.
    share : float
        The limit as a fraction of the reference.

    Returns
    -------
    Limit
    """
    limit = share * reference.value_Ah
    # the last cycles of a test that has ended have nothing after them to confirm them
    below = np.concatenate((capacity_Ah < limit, np.full(CONFIRMED_BY - 1, end is not None)))
    stays = np.lib.stride_tricks.sliding_window_view(below, CONFIRMED_BY).all(axis=1)
    found = np.flatnonzero(stays & (cycle >= reference.cycle))
    if found.size:
        k = int(found[0])
        if k == 0 or capacity_Ah[k - 1] < limit:
            return Limit(float(cycle[k]), "reached", limit)
        part = (capacity_Ah[k - 1] - limit) / (capacity_Ah[k - 1] - capacity_Ah[k])
        return Limit(float(cycle[k - 1] + part * (cycle[k] - cycle[k - 1])), "reached", limit)
    if end is None:
        return Limit(None, "censored-running", limit)
    status = END_STATUS.get(end, "other-failure")
    if status == "reached-by-limit":
        if capacity_Ah[-1] <= 1.005 * limit:
            return Limit(float(cycle[-1]), status, limit)
        return Limit(None, "other-failure", limit)
    return Limit(None, status, limit)
