"""The same quantity of several cells, in one number."""

from collections.abc import Sequence
from math import comb
from statistics import median

from teardown.science.errors import MeasurementError
from teardown.science.estimate import Estimate

CONFIDENCE = 0.95
LEAST_CELLS = 6  # fewer have no order statistics that hold the median in 95 of 100


class NoCells(MeasurementError):
    """There is nothing to take a median of."""

    code = "balance.E002"
    hint = "Have the balance of at least one cell made."


def median_of(values: Sequence[float], unit: str) -> Estimate:
    """Give the median over cells, with what the spread between cells leaves open.

    The interval lies between two order statistics: it assumes nothing of how cells spread, and holds the
    median of the recipe in at least 95 of 100 samples. Fewer than six cells have none; then lowest and
    highest stand in its place, and the method says so.

    Parameters
    ----------
    values : sequence of float, one a cell
    unit : str

    Returns
    -------
    Estimate

    Raises
    ------
    NoCells

    References
    ----------
    David, H. A. and Nagaraja, H. N., *Order Statistics*, 3rd ed. (2003), section 7.1 (from memory).
    """
    held = sorted(values)
    n = len(held)
    if not n:
        raise NoCells("No cell gives this quantity.")
    rank = _rank(n)
    method = "median over cells, interval by order statistics"
    if rank is None:
        rank, method = 1, "median over cells; lowest and highest, for fewer than six have no interval"
    return Estimate(median(held), held[rank - 1], held[n - rank], unit, n, method)


def _rank(n: int) -> int | None:
    """Give the largest rank r for which r-th lowest and r-th highest hold the median in 95 of 100."""
    if n < LEAST_CELLS:
        return None
    outside, rank = 0.0, 0
    while True:
        outside += 2 * comb(n, rank) / 2**n
        if 1 - outside < CONFIDENCE:
            return rank
        rank += 1
