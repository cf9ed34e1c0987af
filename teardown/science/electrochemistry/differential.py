"""Voltage curves, and differential capacity in bins of equal voltage."""

from dataclasses import dataclass

import numpy as np

from teardown.science.electrochemistry.columns import Array
from teardown.science.errors import MeasurementError

BIN_V = 0.005


class CurveTooShort(MeasurementError):
    """A curve of fewer than four records has no shape."""

    code = "electrochemistry.E002"
    hint = "Choose a cycle with more records."


@dataclass(frozen=True, slots=True)
class Differential:
    """Differential capacity: ``charge_Ah[k]`` passed between the edges k and k+1 of equal voltage bins."""

    edge_V: Array
    charge_Ah: Array

    @property
    def middle_V(self) -> Array:
        """Voltage at the middle of each bin, V."""
        return (self.edge_V[1:] + self.edge_V[:-1]) / 2

    @property
    def dQdV_Ah_per_V(self) -> Array:
        """Charge per voltage, Ah/V, above zero."""
        return self.charge_Ah / np.diff(self.edge_V)


def differential_capacity(charge_Ah: Array, voltage_V: Array, *, bin_V: float = BIN_V) -> Differential:
    """Share the charge of one half-cycle out over equal voltage bins.

    Each pair of neighbouring records spreads its charge evenly over the voltages between them, so that the
    sum over bins is the charge of the half-cycle however the voltage wavers. Point-to-point differences would
    not keep it.

    Parameters
    ----------
    charge_Ah : ndarray of float, shape (records,)
        Charge since the half-cycle began, above zero and not falling.
    voltage_V : ndarray of float, shape (records,)
    bin_V : float
        Width of a bin, V.

    Returns
    -------
    Differential

    Raises
    ------
    CurveTooShort
        If there are fewer than four records.
    """
    if charge_Ah.size < 4:
        raise CurveTooShort(f"The curve has {charge_Ah.size} record(s).")
    low = np.floor(float(voltage_V.min()) / bin_V) * bin_V
    bins = int(np.floor((float(voltage_V.max()) - low) / bin_V)) + 1
    edge = low + bin_V * np.arange(bins + 1)
    step = np.diff(charge_Ah)
    v0, v1 = np.minimum(voltage_V[1:], voltage_V[:-1]), np.maximum(voltage_V[1:], voltage_V[:-1])
    width = v1 - v0
    sloped = width > 0
    # the charge below an edge: all of a pair that lies below, the crossed share of one that straddles it
    below = np.zeros(edge.size)
    density = np.where(sloped, step / np.where(sloped, width, 1.0), 0.0)
    for start, sign in ((v0, 1.0), (v1, -1.0)):
        order = np.argsort(start[sloped])
        at, rate = start[sloped][order], density[sloped][order] * sign
        rates, moments = np.concatenate(([0], np.cumsum(rate))), np.concatenate(([0], np.cumsum(rate * at)))
        place = np.searchsorted(at, edge)
        below += rates[place] * edge - moments[place]
    flat = np.histogram(voltage_V[1:][~sloped], bins=edge, weights=step[~sloped])[0]
    return Differential(edge, np.diff(below) + flat)


def first_plateau_Ah(charge_Ah: Array, voltage_V: Array, *, bin_V: float = BIN_V) -> float:
    """Give the charge of the first discharge plateau: down to the least dQ/dV between the two highest peaks.

    Parameters
    ----------
    charge_Ah, voltage_V : ndarray of float, shape (records,)
        One discharge: charge since its beginning, and voltage.

    Returns
    -------
    float
        Ah; NaN where there are no two peaks with a valley of less than half the lower peak between them.
    """
    curve = differential_capacity(charge_Ah, voltage_V, bin_V=bin_V)
    height = np.convolve(np.pad(curve.dQdV_Ah_per_V, 2, mode="edge"), np.ones(5) / 5, mode="valid")
    inner = np.flatnonzero((height[1:-1] >= height[:-2]) & (height[1:-1] > height[2:])) + 1
    peaks = inner[np.argsort(height[inner])[::-1]]
    for other in peaks[1:6] if peaks.size > 1 else []:
        a, b = sorted((int(peaks[0]), int(other)))
        if b - a < 4 or height[other] < 0.05 * height[peaks[0]]:
            continue
        valley = a + int(np.argmin(height[a : b + 1]))
        if height[valley] < 0.5 * min(height[a], height[b]):
            return float(curve.charge_Ah[valley:].sum() - curve.charge_Ah[valley] / 2)
    return float("nan")
