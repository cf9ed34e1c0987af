"""How long cells last, when some were stopped before they failed."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from teardown.science.errors import MeasurementError
from teardown.science.reliability.quantiles import chi_square_beyond, normal

Floats = NDArray[np.float64]


class NotLifetimes(MeasurementError):
    """Lives and ends do not go together."""

    code = "reliability.E003"
    hint = "Give one life, zero or more and finite, and one end for each cell, and at least one cell."


@dataclass(frozen=True, slots=True)
class Survival:
    """Kaplan-Meier table: one entry for each distinct time at which a cell ended or was stopped.

    ``at_risk``, ``ends`` and ``stopped`` count cells; ``survival`` is the share still running just after the
    time, with Greenwood's standard error and log-log limits.
    """

    time: Floats
    at_risk: Floats
    ends: Floats
    stopped: Floats
    survival: Floats
    standard_error: Floats
    low: Floats
    high: Floats

    @property
    def median(self) -> float | None:
        """Give the first time at which half of the cells or fewer still run; None if it was not reached."""
        return _first_at_or_below(self.time, self.survival, 0.5)

    @property
    def median_interval(self) -> tuple[float | None, float | None]:
        """Give the times at which the limits of the curve pass one half; None where a limit never does."""
        return _first_at_or_below(self.time, self.low, 0.5), _first_at_or_below(self.time, self.high, 0.5)


@dataclass(frozen=True, slots=True)
class LogRank:
    """Ends seen and expected in each group, chi-square with its degrees of freedom, and p."""

    observed: Floats
    expected: Floats
    chi_square: float
    degrees: int
    p: float


def kaplan_meier(life: ArrayLike, ended: ArrayLike, confidence: float = 0.95) -> Survival:
    """Estimate the share of cells still running over time.

    Parameters
    ----------
    life : array_like of float, shape (cells,)
        Cycles, days or charge until the cell ended or was stopped.
    ended : array_like of bool, shape (cells,)
        True where the cell failed; False where the test was stopped first (a censored test). A failure counts
        before a stop at the same time.

    Raises
    ------
    NotLifetimes
        If the two do not go together.

    References
    ----------
    Kaplan, E. L. and Meier, P., J. Am. Stat. Assoc. 53 (1958) 457; log-log limits after Kalbfleisch and
    Prentice, *The Statistical Analysis of Failure Time Data* (1980).
    """
    life_, ended_ = _lives(life, ended)
    time, index = np.unique(life_, return_inverse=True)
    ends = np.bincount(index, weights=ended_, minlength=time.size).astype(float)
    stopped = np.bincount(index, weights=~ended_, minlength=time.size).astype(float)
    at_risk = life_.size - np.concatenate(([0.0], np.cumsum(ends + stopped)[:-1]))
    survival = np.cumprod(1 - ends / at_risk)
    with np.errstate(divide="ignore", invalid="ignore"):
        greenwood = np.cumsum(ends / (at_risk * (at_risk - ends)))
        inside = (survival > 0) & (survival < 1)
        z = normal(confidence)
        power = np.exp(z * np.sqrt(greenwood) / np.log(np.where(inside, survival, 0.5)))
        low = np.where(inside, survival ** (1 / power), survival)
        high = np.where(inside, survival**power, survival)
        error = np.where(survival > 0, survival * np.sqrt(greenwood), 0.0)
    return Survival(
        time, at_risk, ends, stopped, survival, error, np.minimum(low, high), np.maximum(low, high)
    )


def log_rank(
    life: ArrayLike, ended: ArrayLike, group: ArrayLike, stratum: ArrayLike | None = None
) -> LogRank:
    """Ask whether groups of cells last equally long, within strata (such as builds) if they are given.

    References
    ----------
    Mantel, N., Cancer Chemother. Rep. 50 (1966) 163, for several groups as in Kalbfleisch and Prentice
    (1980).
    """
    life_, ended_ = _lives(life, ended)
    names, member = np.unique(np.asarray(group), return_inverse=True)
    strata = np.zeros(life_.size) if stratum is None else np.asarray(stratum)
    if member.size != life_.size or strata.size != life_.size:
        raise NotLifetimes(f"{life_.size} lives have {member.size} groups and {strata.size} strata.")
    groups = names.size
    observed, expected, covariance = np.zeros(groups), np.zeros(groups), np.zeros((groups, groups))
    for name in np.unique(strata):
        inside = strata == name
        for time in np.unique(life_[inside & ended_]):
            running = np.bincount(member[inside & (life_ >= time)], minlength=groups).astype(float)
            dying = np.bincount(member[inside & ended_ & (life_ == time)], minlength=groups).astype(float)
            n, d = running.sum(), dying.sum()
            share = running / n
            observed += dying
            expected += d * share
            if n > 1:
                covariance += d * (n - d) / (n - 1) * (np.diag(share) - np.outer(share, share))
    degrees = groups - 1
    if degrees == 0:
        return LogRank(observed, expected, 0.0, 0, 1.0)
    away = (observed - expected)[:degrees]
    chi_square = float(away @ np.linalg.pinv(covariance[:degrees, :degrees]) @ away)
    return LogRank(observed, expected, chi_square, degrees, chi_square_beyond(chi_square, degrees))


def _lives(life: ArrayLike, ended: ArrayLike) -> tuple[Floats, NDArray[np.bool_]]:
    life_, ended_ = np.asarray(life, dtype=float), np.asarray(ended, dtype=bool)
    if life_.ndim != 1 or life_.shape != ended_.shape or life_.size == 0:
        raise NotLifetimes(f"{life_.size} lives and {ended_.size} ends were given.")
    if not np.all(np.isfinite(life_)) or life_.min() < 0:
        raise NotLifetimes("A life is below zero or not a number.")
    return life_, ended_


def _first_at_or_below(time: Floats, curve: Floats, level: float) -> float | None:
    reached = np.flatnonzero(curve <= level + 1e-12)
    return float(time[reached[0]]) if reached.size else None
