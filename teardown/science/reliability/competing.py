"""By which mode cells end, when each cell can end only once.

The share that ended by a mode is read from the Aalen-Johansen estimator of all modes at once. One less a
Kaplan-Meier curve with the other modes taken as stops is not a share of cells, and is not offered here.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from teardown.science.reliability.lifetimes import NotLifetimes
from teardown.science.reliability.quantiles import normal

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Incidence:
    """Share of cells that ended by each mode, over time.

    ``share``, ``standard_error``, ``low`` and ``high`` have the shape (times, modes); ``running`` is the
    share of cells still running. At every time the shares and ``running`` add up to one.
    """

    modes: tuple[int, ...]
    time: Floats
    at_risk: Floats
    running: Floats
    share: Floats
    standard_error: Floats
    low: Floats
    high: Floats

    def at(self, time: float, mode: int) -> tuple[float, float, float, float]:
        """Give share, standard error and limits of one mode at a time; zeros before the first end."""
        row = int(np.searchsorted(self.time, time, side="right")) - 1
        if row < 0:
            return 0.0, 0.0, 0.0, 0.0
        column = self.modes.index(mode)
        values = (table[row, column] for table in (self.share, self.standard_error, self.low, self.high))
        share, error, low, high = (float(value) for value in values)
        return share, error, low, high


def aalen_johansen(life: ArrayLike, mode: ArrayLike, confidence: float = 0.95) -> Incidence:
    """Estimate the share of cells that ended by each mode.

    Parameters
    ----------
    life : array_like of float, shape (cells,)
        Until the cell ended or was stopped.
    mode : array_like of int, shape (cells,)
        0 where the test was stopped first, else the number of the mode that ended it.

    Raises
    ------
    NotLifetimes
        If the two do not go together, or no cell ended.

    References
    ----------
    Aalen, O. O. and Johansen, S., Scand. J. Stat. 5 (1978) 141; variance of Aalen's type with the tie factor
    1 - (d - 1)/(n - 1); limits on the log-log scale.
    """
    life_, mode_ = np.asarray(life, dtype=float), np.asarray(mode, dtype=int)
    if life_.ndim != 1 or life_.shape != mode_.shape or not np.any(mode_ > 0):
        raise NotLifetimes(f"{life_.size} lives and {int(np.sum(mode_ > 0))} ends were given.")
    if not np.all(np.isfinite(life_)) or life_.min() < 0 or mode_.min() < 0:
        raise NotLifetimes("A life or a mode is below zero or not a number.")
    modes = tuple(int(number) for number in np.unique(mode_[mode_ > 0]))
    time, index = np.unique(life_, return_inverse=True)
    ends = np.stack([np.bincount(index[mode_ == m], minlength=time.size) for m in modes], axis=1).astype(
        float
    )
    leaving = np.bincount(index, minlength=time.size)
    at_risk = life_.size - np.concatenate(([0.0], np.cumsum(leaving)[:-1]))
    running = np.cumprod(1 - ends.sum(axis=1) / at_risk)
    before = np.concatenate(([1.0], running[:-1]))
    share = np.cumsum((before / at_risk)[:, None] * ends, axis=0)
    error = np.sqrt(np.maximum(_variance(ends, at_risk, running, before, share), 0.0))
    low, high = _log_log(share, error, normal(confidence))
    return Incidence(modes, time, at_risk, running, share, error, low, high)


def _variance(ends: Floats, n: Floats, running: Floats, before: Floats, share: Floats) -> Floats:
    """Sum the three running terms of the variance, mode by mode, only while cells still run."""
    others = ends.sum(axis=1, keepdims=True) - ends
    scale = (before / n)[:, None] ** 2
    own, other = scale * _tied(ends, n) * ends, scale * _tied(others, n) * others
    s = np.where(running > 0, running, np.inf)[:, None]
    alive = (running > 0)[:, None]
    a1, a2 = 1 + share / s, share / s
    a = np.cumsum(np.where(alive, a1**2 * own + a2**2 * other, 0.0), axis=0)
    b = np.cumsum(np.where(alive, (a1 * own + a2 * other) / s, 0.0), axis=0)
    c = np.cumsum(np.where(alive, (own + other) / s**2, 0.0), axis=0)
    return np.asarray(a - 2 * share * b + share**2 * c)


def _tied(d: Floats, n: Floats) -> Floats:
    return np.asarray(1 - np.maximum(d - 1, 0) / np.maximum(n - 1, 1)[:, None])


def _log_log(share: Floats, error: Floats, z: float) -> tuple[Floats, Floats]:
    inside = (share > 0) & (share < 1)
    f = np.where(inside, share, 0.5)
    power = np.exp(z * error / (f * np.log(f)))
    low = np.where(inside, f ** (1 / power), share)
    high = np.where(inside, f**power, share)
    return np.minimum(low, high), np.maximum(low, high)
