"""Grains that absorb more than their neighbours hide part of themselves from the X-rays.

In a powder of iron and its oxides the metal absorbs most and is found too low; with a copper tube and
grains of a few micrometres it is the largest error of the whole balance.
"""

from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
ROUNDS = 10
NODES = 33


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


def uncovered(found: Floats, absorption_per_cm: Floats, density: Floats, grain_um: Floats) -> Floats:
    """Correct many draws of one powder, each at its own grain size.

    What grains hide hangs on their size and hardly on the last percent of a share: the correction of the mean
    powder is solved at some sizes, and each draw takes its own from between them.

    Parameters
    ----------
    found : ndarray, shape (phases, draws)
        Weight fractions as drawn.
    grain_um : ndarray, shape (draws,) or ()
        Diameter of the grains of each draw, um.

    Returns
    -------
    ndarray, shape (phases, draws)
        Weight fractions, adding up to one; within 1e-3 of `corrected` draw by draw.
    """
    size = np.broadcast_to(np.log(np.asarray(grain_um, dtype=float)), found.shape[1:])
    middle = np.maximum(found.mean(axis=1), 1e-9)[:, None]
    nodes = np.linspace(float(size.min()), float(size.max()), NODES)
    powder = np.repeat(middle, NODES, axis=1)
    gained = corrected(powder, absorption_per_cm, density, np.exp(nodes)) / (middle / middle.sum())
    true = found * np.array([np.interp(size, nodes, each) for each in gained])
    return np.asarray(true / true.sum(axis=0))


def as_found(true: Floats, absorption_per_cm: Floats, density: Floats, grain_um: Any) -> Floats:
    """Give the weight fractions at which a known powder of equal spheres would be found."""
    shape = (-1, *([1] * (true.ndim - 1)))
    weight = true * _factor(true, absorption_per_cm.reshape(shape), density.reshape(shape), grain_um)
    return np.asarray(weight / weight.sum(axis=0))


def _factor(true: Floats, mu: Floats, rho: Floats, grain_um: Any) -> Floats:
    volume = true / rho
    mean = (volume * mu).sum(axis=0) / volume.sum(axis=0)
    return transmission((mu - mean) * np.asarray(grain_um) * 1e-4 / 2.0)
