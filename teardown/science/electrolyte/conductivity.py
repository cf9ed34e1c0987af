"""Conductivity of potassium hydroxide solutions: a mark of health, seldom a gauge of concentration."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from teardown.science.constants import ZERO_CELSIUS_K
from teardown.science.errors import MeasurementError

FLAT_FROM_mol_per_L = 5.0
FLAT_TO_mol_per_L = 7.5
"""Between these the conductivity passes over its maximum and says nothing about the concentration."""

MOST_mol_per_L = 12.0


class OutsideTheConductivityRange(MeasurementError):
    """The concentration or temperature lies outside the measured range of the conductivity equation."""

    code = "electrolyte.E005"
    hint = "It holds for 0 to 12 mol/L and 0 to 100 °C."


class ConductivityIsNoGauge(MeasurementError):
    """This conductivity belongs to concentrations near its maximum, where it hardly changes."""

    code = "electrolyte.E006"
    hint = "Titrate, or measure the density; conductivity is no gauge between 5 and 7.5 mol/L."


def conductivity_S_per_cm(
    concentration_mol_per_L: ArrayLike, temperature_C: ArrayLike
) -> NDArray[np.float64]:
    """Give the specific conductivity of aqueous KOH in S/cm, broadcast over the arguments.

    Raises
    ------
    OutsideTheConductivityRange
        If a value lies outside 0 to 12 mol/L or 0 to 100 °C.

    References
    ----------
    Gilliam, R. J. et al., Int. J. Hydrogen Energy 32 (2007) 359.
    """
    c, t = (np.asarray(value, dtype=float) for value in (concentration_mol_per_L, temperature_C))
    if not (np.all((c >= 0) & (c <= MOST_mol_per_L)) and np.all((t >= 0) & (t <= 100))):
        raise OutsideTheConductivityRange(f"{c} mol/L at {t} °C was asked for.")
    k = t + ZERO_CELSIUS_K
    return np.asarray(
        -2.041 * c - 0.0028 * c**2 + 0.005332 * c * k + 207.2 * c / k + 0.001043 * c**3 - 3e-7 * c**2 * k**2
    )


def concentrations_with(conductivity: float, temperature_C: float) -> tuple[float, ...]:
    """Give every KOH concentration (mol/L) with this conductivity in S/cm: below and above the maximum.

    Two concentrations share one reading, and carbonate lowers it too; the reader must know which side holds.

    Raises
    ------
    ConductivityIsNoGauge
        If one of them lies from 5 to 7.5 mol/L, or the reading lies above the maximum.
    OutsideTheConductivityRange
        If no concentration up to 12 mol/L has it.
    """
    grid = np.linspace(0.0, MOST_mol_per_L, 12_001)
    away = conductivity_S_per_cm(grid, temperature_C) - conductivity
    if conductivity >= 0 and away.max() < 0:
        raise ConductivityIsNoGauge(
            f"{conductivity:g} S/cm is more than KOH can have at {temperature_C:g} °C:"
            f" {away.max() + conductivity:.3f}."
        )
    crossings = np.flatnonzero(np.signbit(away[:-1]) != np.signbit(away[1:]))
    found = tuple(
        float(grid[i] - away[i] * (grid[i + 1] - grid[i]) / (away[i + 1] - away[i])) for i in crossings
    )
    if not found:
        raise OutsideTheConductivityRange(f"No KOH up to 12 mol/L has {conductivity:g} S/cm.")
    if any(FLAT_FROM_mol_per_L <= c <= FLAT_TO_mol_per_L for c in found):
        listed = " and ".join(f"{c:.2f}" for c in found)
        raise ConductivityIsNoGauge(f"{conductivity:g} S/cm belongs to {listed} mol/L.")
    return found
