"""Efficiencies of a cycle: what came out over what the charge before it put in."""

import numpy as np
from numpy.typing import NDArray

from teardown.science.electrochemistry.columns import Array


def efficiency(
    taken: Array, given: Array, valid: Array | NDArray[np.bool_], *, discharge_first: bool
) -> Array:
    """Divide what a discharge gave by what the preceding charge took.

    Coulombic with charges (IEV 482-05-39), energy efficiency with energies (IEV 482-05-53).

    Parameters
    ----------
    taken, given : ndarray of float, shape (cycles,)
        Charge or energy taken on charge and given on discharge.
    valid : ndarray of bool, shape (cycles,)
        Complete cycles.
    discharge_first : bool
        True where a cycle begins with its discharge: the charge before it is that of the cycle before.

    Returns
    -------
    ndarray of float, shape (cycles,)
        NaN where the cycle, or the one that holds its charge, is not complete.
    """
    known: NDArray[np.bool_] = valid.astype(bool)
    source = taken
    if discharge_first:
        source = np.concatenate(([np.nan], taken[:-1]))
        known = known & np.concatenate(([False], known[:-1]))
    known = known & (source > 0)
    return np.where(known, given / np.where(known, source, 1.0), np.nan)


def voltage_efficiency(
    mean_discharge_V: Array, mean_charge_V: Array, valid: Array | NDArray[np.bool_], *, discharge_first: bool
) -> Array:
    """Divide mean discharge voltage by the mean voltage of the preceding charge; times coulombic it is energy
    efficiency.
    """
    return efficiency(mean_charge_V, mean_discharge_V, valid, discharge_first=discharge_first)
