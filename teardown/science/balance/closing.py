"""The balance of one cell: every quantity with its interval, the marks, the flags and the ledger."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from teardown.science.balance.causes import Flag, flags_of
from teardown.science.balance.draws import first_order, monte_carlo
from teardown.science.balance.inputs import Inputs
from teardown.science.balance.ledger import Ledger, ledger_of
from teardown.science.balance.marks import Mark, marks_of
from teardown.science.balance.quantiles import quantiles
from teardown.science.balance.trust import Trust, trust_of
from teardown.science.estimate import Estimate

VERSION = "2"
"""Rises whenever a change here or below alters a number."""

DRAWS = 20_000
SEED = 20_260_101

UNITS = {
    "closure": "1",
    "shed_share": "1",
    "oxide_Ah": "Ah",
    "locked_Ah": "Ah",
    "locked_share": "1",
    "metal_share": "1",
    "reached_share": "1",
    "shed_as_oxide_Ah": "Ah",
    "hydroxide_mol": "mol",
    "hydroxide_least_mol": "mol",
    "hydroxide_most_mol": "mol",
    "porosity": "1",
    "image_porosity": "1",
    "oxide_volume_share": "1",
    "parasitic_Ah": "Ah",
    "parasitic_share": "1",
    "hydrogen_g": "g",
    "water_bound_g": "g",
    "evaporated_g": "g",
    "loss_Ah": "Ah",
    "utilisation": "1",
    "proportional_Ah": "Ah",
    "ledger_shed_Ah": "Ah",
    "ledger_less_per_atom_Ah": "Ah",
    "ledger_locked_Ah": "Ah",
    "ledger_metal_Ah": "Ah",
}


@dataclass(frozen=True, slots=True)
class Balance:
    """What became of the capacity of one cell.

    ``values`` and ``u`` are by first-order propagation, ``shown`` by Monte Carlo (median and 95 % interval);
    ``narrowing`` names, for each quantity, the measurement that brings the largest share of its variance.
    ``apart`` lists quantities where the two methods differ by more than a tenth of the interval.
    """

    shown: dict[str, Estimate]
    values: dict[str, float]
    u: dict[str, float]
    narrowing: dict[str, tuple[str, float]]
    apart: tuple[str, ...]
    trust: Trust
    marks: tuple[Mark, ...]
    flags: tuple[Flag, ...]
    ledger: Ledger


def close_cell(inputs: Inputs, *, draws: int = DRAWS, seed: int = SEED) -> Balance:
    """Close charge, iron, volume and water of one cell against each other.

    Parameters
    ----------
    inputs : Inputs
        What was measured, each with its standard uncertainty.
    draws, seed : int
        Of the Monte Carlo; the same seed gives the same numbers.

    Returns
    -------
    Balance

    References
    ----------
    JCGM 101:2008, *Propagation of distributions using a Monte Carlo method*; JCGM 100:2008 for the
    first-order method that checks it.
    """
    drawn = monte_carlo(inputs, draws, seed)
    values, u, shares = first_order(inputs)
    trust = trust_of(inputs)
    shown = {name: _shown(name, drawn[name]) for name in drawn}
    marks = marks_of(inputs, values, u, trust)
    return Balance(
        shown=shown,
        values=values,
        u=u,
        narrowing={name: next(iter(parts.items())) for name, parts in shares.items() if parts},
        apart=tuple(name for name in drawn if _apart(shown[name], values[name], u[name])),
        trust=trust,
        marks=marks,
        flags=flags_of(inputs, values, u, trust),
        ledger=ledger_of(inputs, drawn, shown, values, u, trust),
    )


def _shown(name: str, drawn: NDArray[np.float64]) -> Estimate:
    low, middle, high = quantiles(drawn)
    return Estimate(
        middle, min(low, middle), max(high, middle), UNITS[name], 1, f"Monte Carlo, {drawn.size} draws"
    )


def _apart(shown: Estimate, value: float, u: float) -> bool:
    """Tell whether first order and Monte Carlo disagree (JCGM 101:2008, clause 8, in spirit)."""
    width = max(shown.half_width, 1.96 * u)
    return width > 0 and (
        abs(shown.low - (value - 1.96 * u)) > 0.1 * 2 * width
        or abs(shown.high - (value + 1.96 * u)) > 0.1 * 2 * width
    )
