"""How far two assessors agree beyond chance."""

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray

from teardown.science.errors import MeasurementError
from teardown.science.estimate import Estimate

NORMAL_95 = 1.959963984540054
ENOUGH_DOUBLE_READINGS = 100
"""Below this the interval of kappa is too wide for a verdict (about 0.11 either way at 100)."""


class NotAnAgreementTable(MeasurementError):
    """Two assessors' answers do not make a square table of counts."""

    code = "reliability.E004"
    hint = "Give as many rows as columns, counts of zero or more, and at least one cell read by both."


@dataclass(frozen=True, slots=True)
class Agreement:
    """Agreement of two assessors: kappa and AC1 with intervals, raw share, positive agreement.

    ``positive`` is None for tables of more than two answers or where neither said yes. ``enough`` tells
    whether there are double readings enough for a verdict.
    """

    kappa: Estimate | None
    kappa_standard_error: float | None
    ac1: Estimate
    observed: float
    positive: float | None
    n: int

    @property
    def enough(self) -> bool:
        """Tell whether a hundred cells or more were read twice."""
        return self.n >= ENOUGH_DOUBLE_READINGS


def table_of(first: Sequence[Hashable], second: Sequence[Hashable]) -> NDArray[np.float64]:
    """Count the pairs of answers; rows are the first assessor's, columns the second's, in sorted order."""
    if len(first) != len(second):
        raise NotAnAgreementTable(f"{len(first)} and {len(second)} answers were given.")
    answers = sorted({*first, *second}, key=str)
    place = {answer: i for i, answer in enumerate(answers)}
    table = np.zeros((len(answers), len(answers)))
    for a, b in zip(first, second, strict=True):
        table[place[a], place[b]] += 1
    return table


def agreement(table: ArrayLike) -> Agreement:
    """Compare two assessors over one table of their answers.

    For two answers, put "present" first: positive agreement is that of the first.

    Raises
    ------
    NotAnAgreementTable
        If the table is not square, holds a negative count or nothing at all.

    References
    ----------
    Kappa: Cohen, J., Educ. Psychol. Meas. 20 (1960) 37; its variance: Fleiss, J. L., Cohen, J. and Everitt,
    B. S., Psychol. Bull. 72 (1969) 323. AC1: Gwet, K. L., Br. J. Math. Stat. Psychol. 61 (2008) 29.
    """
    counts = np.asarray(table, dtype=float)
    if counts.ndim != 2 or counts.shape[0] != counts.shape[1] or np.any(counts < 0) or counts.sum() == 0:
        raise NotAnAgreementTable(f"A table of shape {counts.shape} was given.")
    n = int(counts.sum())
    p = counts / n
    observed = float(np.trace(p))
    kappa, error = _kappa(p, observed, n)
    return Agreement(kappa, error, _ac1(p, observed, n), observed, _positive(counts), n)


def _kappa(p: NDArray[np.float64], observed: float, n: int) -> tuple[Estimate | None, float | None]:
    rows, columns = p.sum(axis=1), p.sum(axis=0)
    if np.isclose(rows.max(), 1) or np.isclose(columns.max(), 1):
        return None, None  # who gives one answer alone agrees as chance does: there is nothing to estimate
    chance = float(rows @ columns)
    if np.isclose(observed, 1):
        return _unanimous(chance, n, "Cohen's kappa"), 0.0
    kappa = (observed - chance) / (1 - chance)
    sums = rows[:, None] + columns[None, :]
    turned = columns[:, None] + rows[None, :]
    diagonal = np.diag(p)
    a = float(np.sum(diagonal * (1 - np.diag(sums) * (1 - kappa)) ** 2))
    b = (1 - kappa) ** 2 * float(np.sum(p * turned**2) - np.sum(diagonal * np.diag(turned) ** 2))
    c = (kappa - chance * (1 - kappa)) ** 2
    error = sqrt(max(a + b - c, 0.0) / n) / (1 - chance)
    return _limits(kappa, error, n, "Cohen's kappa, Fleiss-Cohen-Everitt interval"), error


def weighted_kappa(table: ArrayLike, *, power: int = 1) -> Estimate | None:
    """Compare two assessors on an ordered scale: near answers count as near.

    Parameters
    ----------
    table : array_like of shape (answers, answers)
        Counts, answers in their order; rows are the first assessor's.
    power : int
        1 weighs disagreement by its steps, 2 by their square.

    Returns
    -------
    Estimate or None
        Weighted kappa with its 95 % interval; None where both gave one answer alone.

    Raises
    ------
    NotAnAgreementTable
        As `agreement`.

    References
    ----------
    Cohen, J., Psychol. Bull. 70 (1968) 213; variance of Fleiss, J. L., Cohen, J. and Everitt, B. S., Psychol.
    Bull. 72 (1969) 323.
    """
    counts = np.asarray(table, dtype=float)
    if counts.ndim != 2 or counts.shape[0] != counts.shape[1] or np.any(counts < 0) or counts.sum() == 0:
        raise NotAnAgreementTable(f"A table of shape {counts.shape} was given.")
    n, answers = int(counts.sum()), counts.shape[0]
    p = counts / n
    step = np.abs(np.subtract.outer(np.arange(answers), np.arange(answers))) / max(answers - 1, 1)
    weights = 1 - step**power
    rows, columns = p.sum(axis=1), p.sum(axis=0)
    chance = float(rows @ weights @ columns)
    if chance >= 1 - 1e-12:
        return None
    name = "linear" if power == 1 else "quadratic"
    if np.isclose(np.trace(p), 1):
        return _unanimous(chance, n, f"weighted kappa ({name})")
    kappa = (float(np.sum(weights * p)) - chance) / (1 - chance)
    mean = (weights @ columns)[:, None] + (rows @ weights)[None, :]
    spread = float(np.sum(p * (weights - mean * (1 - kappa)) ** 2)) - (kappa - chance * (1 - kappa)) ** 2
    error = sqrt(max(spread, 0.0) / n) / (1 - chance)
    return _limits(kappa, error, n, f"weighted kappa ({name}), Fleiss-Cohen-Everitt interval")


def _ac1(p: NDArray[np.float64], observed: float, n: int) -> Estimate:
    """Gwet's AC1 with the variance from the subjects' own terms."""
    answers = max(p.shape[0], 2)
    mean = (p.sum(axis=0) + p.sum(axis=1)) / 2
    chance = float(np.sum(mean * (1 - mean))) / (answers - 1)
    if np.isclose(observed, 1):
        return _unanimous(chance, n, "Gwet's AC1")
    value = (observed - chance) / (1 - chance)
    # each pair of answers has one value of its own; their spread gives the variance of the mean
    share = (1 - mean) / (answers - 1)
    own = (share[:, None] + share[None, :]) / 2
    agree = np.eye(p.shape[0])
    term = (agree - chance) / (1 - chance) - 2 * (1 - value) * (own - chance) / (1 - chance)
    spread = float(np.sum(p * (term - value) ** 2))
    return _limits(value, sqrt(spread / max(n - 1, 1)), n, "Gwet's AC1, normal 95 % interval")


def _positive(counts: NDArray[np.float64]) -> float | None:
    if counts.shape != (2, 2):
        return None
    said = 2 * counts[0, 0] + counts[0, 1] + counts[1, 0]
    return float(2 * counts[0, 0] / said) if said else None


def _unanimous(chance: float, n: int, name: str) -> Estimate:
    """Bound a statistic where nobody disagreed: a normal interval would shrink to nothing.

    The share of disagreement that n agreeing pairs leave possible is Clopper's and Pearson's (Biometrika 26
    (1934) 404); what chance would agree on is held as seen.
    """
    most = 1 - 0.025 ** (1 / n)
    low = max(1 - most / (1 - chance), -1.0)
    return Estimate(1.0, low, 1.0, "1", n, f"{name}, none disagreed: exact binomial limit, chance held")


def _limits(value: float, error: float, n: int, method: str) -> Estimate:
    low, high = max(value - NORMAL_95 * error, -1.0), min(value + NORMAL_95 * error, 1.0)
    return Estimate(value, min(low, value), max(high, value), "1", n, method)
