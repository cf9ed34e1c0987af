"""How well a calculated pattern follows the measured one."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from teardown.science.crystallography.refinement import Refinement

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Statistics:
    """Figures of merit; shares are 0 to 1 (Hill & Flack 1987, J. Appl. Cryst. 20, 356).

    ``Rwp_background`` leaves the background out of the denominator; ``serial_factor`` is by how much serial
    correlation widens an e.s.d. (Bérar & Lelann 1991, J. Appl. Cryst. 24, 1). ``unexplained`` is what
    ``Rwp_background`` is beyond counting noise: noise alone makes it large where the specimen fluoresces.
    """

    Rwp: float
    Rwp_background: float
    unexplained: float
    Rexp: float
    GoF: float
    durbin_watson: float
    serial_factor: float
    points: int
    fitted_parameters: int


def statistics(fit: Refinement) -> Statistics:
    """Compute the figures of merit of a finished fit."""
    background, by_phase = fit.curves
    weighted = (fit.y - background - by_phase.sum(axis=0)) * fit.weight
    p = len(fit.free) + len(fit.non_negative)
    observed = float(((fit.y * fit.weight) ** 2).sum())
    net = float((((fit.y - background) * fit.weight) ** 2).sum())
    chi2 = float(weighted @ weighted)
    n = len(fit.x)
    return Statistics(
        Rwp=float(np.sqrt(chi2 / observed)),
        Rwp_background=float(np.sqrt(chi2 / net)) if net > 0 else 1.0,
        unexplained=float(np.sqrt(max(chi2 - (n - p), 0.0) / net)) if net > 0 else 1.0,
        Rexp=float(np.sqrt((n - p) / observed)),
        GoF=float(np.sqrt(chi2 / (n - p))),
        durbin_watson=float((np.diff(weighted) ** 2).sum() / chi2) if chi2 > 0 else 2.0,
        serial_factor=serial_factor(weighted),
        points=n,
        fitted_parameters=p,
    )


def serial_factor(weighted: Array) -> float:
    """Add residuals up in runs of one sign, and give the root of their squares over the plain sum of squares.

    For independent normal residuals its mean is √(1 + 4/π) = 1.51.
    """
    run = np.cumsum(np.concatenate([[0], np.diff(np.sign(weighted)) != 0]))
    sums = np.bincount(run, weighted)
    total = float(weighted @ weighted)
    return float(np.sqrt((sums**2).sum() / total)) if total > 0 else 1.0
