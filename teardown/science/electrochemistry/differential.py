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
    """Differential capacity: ``charge_Ah[k]`` passed between the edges k and k+1 of equal voltage bins.

    ``records`` counts the records it was made from.
    """

    edge_V: Array
    charge_Ah: Array
    records: int = 0

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
    sloped = v1 > v0
    flat = np.zeros(bins)
    if not sloped.all():
        flat = _flat(voltage_V[1:][~sloped], step[~sloped], edge)
        step, v0, v1 = step[sloped], v0[sloped], v1[sloped]
    density = step / (v1 - v0)
    # the charge below an edge: all of a pair that lies below, the crossed share of one that straddles it
    below = np.zeros(edge.size)
    rates, moments = np.zeros(step.size + 1), np.zeros(step.size + 1)
    for start, sign in ((v0, 1.0), (v1, -1.0)):
        order = np.argsort(start)
        at, rate = start[order], density[order] * sign
        np.cumsum(rate, out=rates[1:])
        np.cumsum(rate * at, out=moments[1:])
        place = np.searchsorted(at, edge)
        below += rates[place] * edge - moments[place]
    return Differential(edge, np.diff(below) + flat, int(charge_Ah.size))


def _flat(voltage_V: Array, charge_Ah: Array, edge: Array) -> Array:
    """Share the charge of records of one and the same voltage out over bins; the last bin holds its edge."""
    order = np.argsort(voltage_V)
    at, summed = voltage_V[order], np.concatenate(([0.0], np.cumsum(charge_Ah[order])))
    place = np.concatenate((np.searchsorted(at, edge[:-1]), np.searchsorted(at, edge[-1:], side="right")))
    return np.diff(summed[place])


def first_plateau_Ah(curve: Differential) -> float:
    """Give the charge of the first discharge plateau: down to the least dQ/dV between the two highest peaks.

    Parameters
    ----------
    curve : Differential
        Of one discharge.

    Returns
    -------
    float
        Ah; NaN where there are no two peaks with a valley of less than half the lower peak between them.
    """
    bare = curve.dQdV_Ah_per_V
    padded = np.concatenate((bare[[0, 0]], bare, bare[[-1, -1]]))
    height = np.convolve(padded, np.ones(5) / 5, mode="valid")
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
