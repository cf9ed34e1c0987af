"""Voltage against charge of every half-cycle, and its differential capacity, on grids that are alike for all
cycles.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from teardown.science.electrochemistry.columns import Array, Series
from teardown.science.electrochemistry.differential import BIN_V, differential_capacity
from teardown.science.electrochemistry.table import CycleTable

POINTS = 120
Half = tuple[Array, Array]
Slim = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class VoltageCurves:
    """Curves of all cycles; index 0 charge, 1 discharge.

    Attributes
    ----------
    cycle : ndarray, shape (cycles,)
    charge_Ah : ndarray, shape (2, cycles)
        Charge of the half-cycle that the curve covers.
    voltage_V : ndarray of float32, shape (2, cycles, points)
        Voltage at equal shares of that charge; NaN where the half-cycle has too few records.
    edge_V : ndarray, shape (bins + 1,)
        Edges of voltage bins, the same for all cycles.
    binned_Ah : ndarray of float32, shape (2, cycles, bins)
        Charge that passed within each bin: its sum is the charge of the half-cycle.
    """

    cycle: Array
    charge_Ah: Array
    voltage_V: Slim
    edge_V: Array
    binned_Ah: Slim


def voltage_curves(
    series: Series, table: CycleTable, *, points: int = POINTS, bin_V: float = BIN_V
) -> VoltageCurves:
    """Lay the voltage curves of a history on common grids.

    Parameters
    ----------
    series : Series
    table : CycleTable
        As `tabulate` makes it from the same series.
    points : int
        Shares of the charge at which the voltage is kept.
    bin_V : float
        Width of the voltage bins, V.

    Returns
    -------
    VoltageCurves
    """
    n = len(table)
    flowing = series.current_A != 0
    under = series.voltage_V[flowing]
    low, high = (float(under.min()), float(under.max())) if under.size else (0.0, bin_V)
    first = int(np.floor(low / bin_V))
    bins = int(np.floor(high / bin_V)) - first + 1
    charge = np.zeros((2, n))
    voltage = np.full((2, n, points), np.nan, dtype=np.float32)
    binned = np.zeros((2, n, bins), dtype=np.float32)
    share = np.linspace(0, 1, points)
    for (place, way), (passed, volts) in _halves(series, table).items():
        charge[way, place] = passed[-1]
        if passed.size < 4 or passed[-1] <= 0:
            continue
        voltage[way, place] = np.interp(share * passed[-1], passed, volts)
        known = table.spreads.get(place) if way == 1 and bin_V == BIN_V else None
        if known is None or known.records != passed.size:  # a half-cycle of several steps
            known = differential_capacity(passed, volts, bin_V=bin_V)
        spread = known
        at = round(spread.edge_V[0] / bin_V) - first
        room = binned[way, place, max(at, 0) : at + spread.charge_Ah.size]
        room += spread.charge_Ah[: room.size].astype(np.float32)
    return VoltageCurves(
        table["cycle"], charge, voltage, bin_V * np.arange(first, first + bins + 1, dtype=np.float64), binned
    )


def _halves(series: Series, table: CycleTable) -> dict[tuple[int, int], Half]:
    """Give passed charge and voltage of each half-cycle: the steps of one direction behind each other."""
    found: dict[tuple[int, int], Half] = {}
    steps, numbering = table.steps, table.numbering
    assert steps is not None and numbering is not None  # noqa: PT018 - both come from tabulate
    for step in np.flatnonzero(steps.kind != 0).tolist():
        a, b = int(steps.first[step]), int(steps.last[step]) + 1
        key = (int(numbering.of_step[step]), 0 if steps.kind[step] > 0 else 1)
        current = np.abs(series.current_A[a:b])
        flow = np.diff(series.time_s[a:b]) * (current[1:] + current[:-1]) / 7200
        passed = np.concatenate(([0.0], np.cumsum(flow)))
        if key in found:
            before = found[key]
            passed = np.concatenate((before[0], before[0][-1] + passed))
            found[key] = (passed, np.concatenate((before[1], series.voltage_V[a:b])))
        else:
            found[key] = (passed, series.voltage_V[a:b])
    return found
