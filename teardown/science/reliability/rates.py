"""Shares of cells with their intervals, for small numbers, and for cells that share a chamber.

All functions take counts as arrays and broadcast. The interval that is simplest to write, estimate plus or
minus two standard errors, is not offered: for five cells it covers the truth two times in three.
"""

from math import comb, factorial, prod

import numpy as np
from numpy.typing import ArrayLike, NDArray

from teardown.science.errors import MeasurementError
from teardown.science.estimate import Estimate
from teardown.science.reliability.quantiles import normal, student

Floats = NDArray[np.float64]


class ImpossibleCount(MeasurementError):
    """More cells were counted than there are, or fewer than none."""

    code = "reliability.E001"
    hint = "Give 0 <= count <= number, and a number of at least one."


class TooFewClusters(MeasurementError):
    """One chamber cannot show how much chambers differ."""

    code = "reliability.E002"
    hint = "Show counts alone, or run the level in a second chamber."


def wilson(count: ArrayLike, number: ArrayLike, confidence: float = 0.95) -> tuple[Floats, Floats]:
    """Give the score interval of a share.

    Parameters
    ----------
    count, number : array_like
        Cells with the mode, and all cells. ``number`` need not be whole: it may be an effective number.

    Returns
    -------
    low, high : ndarray
        Limits, 0 to 1.

    Raises
    ------
    ImpossibleCount
        If a count is below zero or above its number.

    References
    ----------
    Wilson, E. B., J. Am. Stat. Assoc. 22 (1927) 209; method 3 of Newcombe, R. G., Stat. Med. 17 (1998) 857.
    """
    k, n = _counts(count, number)
    return _score_interval(k / n, n, normal(confidence))


def clopper_pearson(count: ArrayLike, number: ArrayLike, confidence: float = 0.95) -> tuple[Floats, Floats]:
    """Give the exact interval of a share, which covers at least as often as it says.

    References
    ----------
    Clopper, C. J. and Pearson, E. S., Biometrika 26 (1934) 404.
    """
    from scipy import special

    k, n = _counts(count, number)
    tail = (1 - confidence) / 2
    low = np.where(k == 0, 0.0, special.betaincinv(np.maximum(k, 0.5), n - k + 1, tail))
    high = np.where(k == n, 1.0, special.betaincinv(k + 1, np.maximum(n - k, 0.5), 1 - tail))
    return low, high


def jeffreys(count: ArrayLike, number: ArrayLike, confidence: float = 0.95) -> tuple[Floats, Floats]:
    """Give the equal-tailed interval of a share under Jeffreys' prior, closed at 0 for none and at 1 for all.

    References
    ----------
    Brown, L. D., Cai, T. T. and DasGupta, A., Stat. Sci. 16 (2001) 101.
    """
    from scipy import special

    k, n = _counts(count, number)
    tail = (1 - confidence) / 2
    low = np.where(k == 0, 0.0, special.betaincinv(k + 0.5, n - k + 0.5, tail))
    high = np.where(k == n, 1.0, special.betaincinv(k + 0.5, n - k + 0.5, 1 - tail))
    return low, high


def mid_p(count: ArrayLike, number: ArrayLike, confidence: float = 0.95) -> tuple[Floats, Floats]:
    """Give the exact interval of a share that counts half of the probability of what was seen.

    References
    ----------
    Lancaster, H. O., J. Am. Stat. Assoc. 56 (1961) 223.
    """
    from scipy import special

    k, n = _counts(count, number)
    tail = (1 - confidence) / 2

    def at_most(p: Floats) -> Floats:
        below = np.where(k > 0, special.bdtr(np.maximum(k - 1, 0), n.astype(int), p), 0.0)
        return np.asarray((below + special.bdtr(k, n.astype(int), p)) / 2)

    low = np.where(k == 0, 0.0, _falling_root(at_most, 1 - tail, k.shape))
    high = np.where(k == n, 1.0, _falling_root(at_most, tail, k.shape))
    return low, high


def newcombe_difference(
    count: ArrayLike,
    number: ArrayLike,
    other_count: ArrayLike,
    other_number: ArrayLike,
    confidence: float = 0.95,
) -> tuple[Floats, Floats, Floats]:
    """Give the difference of two shares, first less other, with the interval built from two score intervals.

    Returns
    -------
    difference, low, high : ndarray
        Between -1 and 1.

    References
    ----------
    Method 10 of Newcombe, R. G., Stat. Med. 17 (1998) 873.
    """
    k1, n1 = _counts(count, number)
    k2, n2 = _counts(other_count, other_number)
    p1, p2 = k1 / n1, k2 / n2
    (l1, u1), (l2, u2) = wilson(k1, n1, confidence), wilson(k2, n2, confidence)
    low = p1 - p2 - np.sqrt((p1 - l1) ** 2 + (u2 - p2) ** 2)
    high = p1 - p2 + np.sqrt((u1 - p1) ** 2 + (p2 - l2) ** 2)
    return p1 - p2, low, high


def mid_p_of_table(count: int, number: int, other_count: int, other_number: int) -> float:
    """Give the two-sided central mid-p value that two shares are one, from the hypergeometric tails.

    References
    ----------
    Hirji, K. F., Tan, S. and Elashoff, R. M., Stat. Med. 10 (1991) 1137.
    """
    _counts([count, other_count], [number, other_number])
    marked = count + other_count
    total = comb(number + other_number, marked)
    lowest, highest = max(0, marked - other_number), min(marked, number)
    p = {x: comb(number, x) * comb(other_number, marked - x) / total for x in range(lowest, highest + 1)}
    seen = p[count] / 2
    below = sum(value for x, value in p.items() if x < count) + seen
    return min(1.0, 2 * min(below, 1 - below))


def share(count: int, number: int) -> Estimate:
    """Give one share with its score interval, ready to be shown."""
    low, high = wilson(count, number)
    value = count / number
    return Estimate(
        value, min(float(low), value), max(float(high), value), "1", int(number), "Wilson 95 % interval"
    )


def clustered_share(counts: ArrayLike, numbers: ArrayLike, confidence: float = 0.95) -> Estimate:
    """Give a share whose cells came in clusters, such as chambers that each hold one level of a factor.

    The spread of the clusters about the common share tells how many independent cells the sample is worth;
    that effective number, never more than the cells there are, goes into the score interval with Student's
    t of one less than the clusters. Where all or none of the cells have the mode, no spread can be seen,
    and the clusters alone count.

    Parameters
    ----------
    counts, numbers : array_like, one entry a cluster
        Cells with the mode, and all cells, of each cluster.

    Returns
    -------
    Estimate
        The share, with ``n`` the number of cells.

    Raises
    ------
    TooFewClusters
        If there are fewer than two clusters.

    References
    ----------
    Effective number from the linearised variance of a ratio: Korn, E. L. and Graubard, B. I., Survey
    Methodology 24 (1998) 193.
    """
    k, n = _counts(counts, numbers)
    clusters = k.size
    if clusters < 2:
        raise TooFewClusters(f"All {int(n.sum())} cells came from {clusters} chamber.")
    value = float(k.sum() / n.sum())
    spread = clusters / (clusters - 1) * float(np.sum((k - value * n) ** 2)) / float(n.sum()) ** 2
    plain = value * (1 - value)
    if plain == 0:
        effective = float(clusters)
    else:
        effective = min(plain / spread, float(n.sum())) if spread > 0 else float(n.sum())
    t = student(confidence, clusters - 1)
    low, high = _score_interval(np.asarray(value), np.asarray(effective), t)
    return Estimate(
        value,
        min(float(low), value),
        max(float(high), value),
        "1",
        int(n.sum()),
        f"Wilson 95 % interval, {effective:.1f} effective cells in {clusters} chambers, Student's t",
    )


def bounds_with_undetermined(count: int, number: int, undetermined: int) -> tuple[float, float]:
    """Give the least and the greatest share, were none or all of the undetermined cells to have the mode.

    Parameters
    ----------
    count, number : int
        Cells with the mode, and cells whose mode was told.
    undetermined : int
        Cells that were judged and could not be told; not among ``number``.
    """
    _counts(count, number + undetermined)
    if undetermined < 0 or number + undetermined == 0:
        raise ImpossibleCount(f"{count} of {number} with {undetermined} undetermined cannot be.")
    everyone = number + undetermined
    return count / everyone, (count + undetermined) / everyone


def smallest_p(clusters_per_level: ArrayLike) -> float:
    """Give the smallest p that shuffling whole clusters between levels can ever reach, from the actual split.

    Four chambers, two a level, give 1/3; the level of a factor that varies between chambers cannot be told
    from chance below that, however many cells stand in them.
    """
    sizes = [int(size) for size in np.asarray(clusters_per_level).ravel() if size > 0]
    if not sizes:
        raise ImpossibleCount("No level has a cluster.")
    arrangements = factorial(sum(sizes)) // prod(factorial(size) for size in sizes)
    alike = prod(factorial(sizes.count(size)) for size in set(sizes))
    return min(1.0, alike / arrangements)


def _counts(count: ArrayLike, number: ArrayLike) -> tuple[Floats, Floats]:
    k, n = np.broadcast_arrays(np.asarray(count, dtype=float), np.asarray(number, dtype=float))
    if np.any(k < 0) or np.any(k > n) or np.any(n <= 0):
        raise ImpossibleCount(f"{k.tolist()} of {n.tolist()} cannot be.")
    return k, n


def _score_interval(p: Floats, n: Floats, z: float) -> tuple[Floats, Floats]:
    middle = (p + z**2 / (2 * n)) / (1 + z**2 / n)
    half = z / (1 + z**2 / n) * np.sqrt(p * (1 - p) / n + z**2 / (4 * n**2))
    low = np.where(p == 0, 0.0, np.maximum(middle - half, 0.0))
    high = np.where(p == 1, 1.0, np.minimum(middle + half, 1.0))
    return low, high


def _falling_root(f, target: float, shape: tuple[int, ...]) -> Floats:  # type: ignore[no-untyped-def]
    """Bisect for the argument in 0 to 1 at which a falling function meets a target."""
    low, high = np.zeros(shape), np.ones(shape)
    for _ in range(60):
        middle = (low + high) / 2
        above = f(middle) > target
        low, high = np.where(above, middle, low), np.where(above, high, middle)
    return np.asarray((low + high) / 2)
