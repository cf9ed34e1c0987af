"""Quantiles and tails of the usual distributions.

The special functions are brought in when one is asked for: pages that show plain rates need none of them,
and a web process that never asks stays small.
"""

from statistics import NormalDist


def normal(confidence: float) -> float:
    """Give the standard normal deviate of a two-sided confidence: 1.96 for 0.95."""
    return NormalDist().inv_cdf(0.5 + confidence / 2)


def student(confidence: float, degrees: int) -> float:
    """Give Student's t of a two-sided confidence."""
    from scipy.special import stdtrit

    return float(stdtrit(degrees, 0.5 + confidence / 2))


def chi_square_beyond(value: float, degrees: int) -> float:
    """Give the probability of a larger chi-square."""
    from scipy.special import chdtrc

    return float(chdtrc(degrees, value))
