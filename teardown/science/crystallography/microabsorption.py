"""Grains that absorb more than their neighbours hide themselves: Brindley's correction.

Brindley 1945 (Phil. Mag. 36, 347): the intensity of a phase in a mixture of spheres is weakened by the
mean of exp(-(µ - µ̄) l) over the paths l inside its grains. Valid for grains that absorb little (µD < 0.1);
beyond that it shows a direction, not a value. Iron with Cu Kα is nearly always beyond.
"""

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from teardown.science.crystallography.absorption import linear_absorption_per_cm
from teardown.science.crystallography.phases import Phase

Array = NDArray[np.float64]
FINE = 0.01  # µD up to here: no correction needed (Brindley 1945)
VALID = 0.1  # µD beyond here: outside the range of the correction
TWO_THETA_DEG = 45.0


@lru_cache(maxsize=1)
def _paths() -> Array:
    """Give path lengths, in radii, into and out of a sphere for points that fill it evenly, at 45° 2θ."""
    k = np.arange(1, 4001)
    radius = ((k - 0.5) / 4000) ** (1 / 3)
    # A golden spiral in direction and an irrational step in depth: evenly spread, and the same every time.
    depth = (k * 0.7548776662466927) % 1.0 * 2 - 1
    turn = 2 * np.pi * (k * 0.5698402909980532 % 1.0)
    flat = np.sqrt(1 - depth**2)
    points = radius[:, None] * np.column_stack([flat * np.cos(turn), flat * np.sin(turn), depth])
    angle = np.radians(TWO_THETA_DEG)
    back = np.array([0.0, 0.0, -1.0])
    out = np.array([np.sin(angle), 0.0, np.cos(angle)])
    length = np.zeros(len(k))
    for direction in (back, out):
        along = points @ direction
        length += -along + np.sqrt(along**2 + 1 - (points**2).sum(axis=1))
    return np.asarray(length, dtype=np.float64)


def tau(contrast_times_radius: float) -> float:
    """Give the weakening factor of a grain for (µ - µ̄) times its radius, dimensionless."""
    return float(np.exp(-contrast_times_radius * _paths()).mean())


def weakened(phases: Sequence[Phase], weight: Array, anode: str, diameter_um: float) -> Array:
    """Give the shares that a fit would find in a mixture of known shares, shape (n,)."""
    shown = weight * _taus(phases, weight, anode, diameter_um)
    return np.asarray(shown / shown.sum(), dtype=np.float64)


def corrected(phases: Sequence[Phase], found: Array, anode: str, diameter_um: float) -> Array:
    """Give the shares that, weakened by microabsorption, look like those found; shape (n,).

    Parameters
    ----------
    found : ndarray, shape (n,)
        Plain shares, adding up to one.
    diameter_um : float
        Diameter of the grains, one for all phases.
    """
    true = np.array(found, dtype=np.float64)
    for _ in range(60):
        new = found / _taus(phases, true, anode, diameter_um)
        new /= new.sum()
        if np.abs(new - true).max() < 1e-9:
            break
        true = (true + new) / 2
    return np.asarray(true, dtype=np.float64)


def _taus(phases: Sequence[Phase], weight: Array, anode: str, diameter_um: float) -> Array:
    """Give the weakening of each phase against the mean of the mixture by volume."""
    mu = np.array([linear_absorption_per_cm(p, anode) for p in phases])
    volume = weight / np.array([p.density_g_cm3 for p in phases])
    mean = float((mu * volume).sum() / volume.sum())
    return np.array([tau((m - mean) * diameter_um * 1e-4 / 2) for m in mu])


def contrast_times_diameter(phases: Sequence[Phase], anode: str, diameter_um: float) -> float:
    """Give (largest µ - smallest µ) times the diameter, dimensionless."""
    mu = [linear_absorption_per_cm(p, anode) for p in phases]
    return (max(mu) - min(mu)) * diameter_um * 1e-4
