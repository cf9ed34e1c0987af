"""Grains that absorb more than their neighbours hide part of themselves from the X-rays.

In a powder of iron and its oxides the metal absorbs most and is found too low; with a copper tube and
grains of a few micrometres it is the largest error of the whole balance.
"""

from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
ROUNDS = 10


def transmission(x: Floats) -> Floats:
    """Give Brindley's factor of a sphere whose absorption differs from the mean of the powder.

    Parameters
    ----------
    x : ndarray
        (absorption of the grain - mean absorption) times radius, dimensionless.

    Returns
    -------
    ndarray
        Share of its true weight at which the phase is found, 1 where nothing differs.

    References
    ----------
    Brindley, G. W., Philos. Mag. 36 (1945) 347; closed form of the mean of exp(-path) over a sphere, forward
    direction.
    """
    u = 2.0 * np.asarray(x, dtype=float)
    near = np.abs(u) < 0.02
    v = np.where(near, 1.0, u)
    closed = 3.0 * (2.0 - np.exp(-v) * (v**2 + 2.0 * v + 2.0)) / v**3
    series = 1.0 - 0.75 * u + 0.3 * u**2 - u**3 / 12.0
    return np.where(near, series, closed)


def corrected(found: Floats, absorption_per_cm: Floats, density: Floats, grain_um: Floats) -> Floats:
    """Give the weight fractions that a powder of equal spheres must have to be found as it was.

    Parameters
    ----------
    found : ndarray, shape (phases, ...)
        Weight fractions as refined.
    absorption_per_cm, density : ndarray, shape (phases,)
        Linear absorption for the radiation in 1/cm, and density in g/cm3.
    grain_um : ndarray, shape (...)
        Diameter of the grains in um.

    Returns
    -------
    ndarray, shape (phases, ...)
        Weight fractions, adding up to one.
    """
    shape = (-1, *([1] * (found.ndim - 1)))
    mu, rho = absorption_per_cm.reshape(shape), density.reshape(shape)
    true = found / found.sum(axis=0)
    for _ in range(ROUNDS):
        true = found / _factor(true, mu, rho, grain_um)
        true = true / true.sum(axis=0)
    return np.asarray(true)


def as_found(true: Floats, absorption_per_cm: Floats, density: Floats, grain_um: Any) -> Floats:
    """Give the weight fractions at which a known powder of equal spheres would be found."""
    shape = (-1, *([1] * (true.ndim - 1)))
    weight = true * _factor(true, absorption_per_cm.reshape(shape), density.reshape(shape), grain_um)
    return np.asarray(weight / weight.sum(axis=0))


def _factor(true: Floats, mu: Floats, rho: Floats, grain_um: Any) -> Floats:
    volume = true / rho
    mean = (volume * mu).sum(axis=0) / volume.sum(axis=0)
    return transmission((mu - mean) * np.asarray(grain_um) * 1e-4 / 2.0)
