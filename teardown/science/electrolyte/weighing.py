"""What a cell weighs: parts against the whole, and the water that went."""

from collections.abc import Mapping
from dataclasses import dataclass
from math import sqrt

from teardown.science.constants import ATOMIC_WEIGHT, OXYGEN_G_PER_Ah, molar_mass_g
from teardown.science.errors import MeasurementError, Remark
from teardown.science.estimate import Estimate

NORMAL_95 = 1.959963984540054
CARBON_DIOXIDE_G_PER_MOL = ATOMIC_WEIGHT["C"] + 2 * ATOMIC_WEIGHT["O"]


class NotAMass(MeasurementError):
    """A mass is below zero, or the whole weighs nothing."""

    code = "electrolyte.E008"
    hint = "Give masses in grams, the tare taken off."


@dataclass(frozen=True, slots=True)
class WeighingClosure:
    """How far the parts add up to the whole: residual in grams and as a share of the whole."""

    residual_g: float
    residual_share: float
    remarks: tuple[Remark, ...]


def close_weighing(
    received_g: float,
    parts_g: Mapping[str, float],
    losses_g: Mapping[str, float] | None = None,
    *,
    ask_at: float = 0.02,
) -> WeighingClosure:
    """Compare the cell as received, dry outside, with its parts and the losses that were named.

    Parameters
    ----------
    received_g : float
        Mass of the cell before opening.
    parts_g, losses_g : mapping of str to float
        Parts as separated, electrolyte, blots, sediment; and losses by name.
    ask_at : float
        Share of the whole beyond which the difference is asked about (2 %: common practice, no source).

    Raises
    ------
    NotAMass
        If the cell weighs nothing or a part is below zero.
    """
    rows = {**parts_g, **(losses_g or {})}
    wrong = [name for name, mass in rows.items() if mass < 0]
    if received_g <= 0 or wrong:
        raise NotAMass(f"The cell weighs {received_g:g} g; below zero: {', '.join(wrong) or 'none'}.")
    residual = received_g - sum(rows.values())
    share = residual / received_g
    if abs(share) <= ask_at:
        return WeighingClosure(residual, share, ())
    words = "missing from" if residual > 0 else "too much in"
    remark = Remark(
        code="electrolyte.W007",
        level="warning",
        message=f"{abs(residual):.2f} g ({100 * abs(share):.1f} % of the cell) is {words} the parts.",
        value=residual,
        remedy="Look for a part not weighed, a tare not taken off, liquid in blots, or rinse water left in.",
    )
    return WeighingClosure(residual, share, (remark,))


def vapour_and_hydrogen_lost(
    *,
    built_g: float,
    received_g: float,
    carbonate_formed_mol: float = 0.0,
    net_discharge_Ah: float = 0.0,
    crust_wiped_g: float = 0.0,
    added_g: float = 0.0,
    weighing_u_g: float = 0.1,
    carbonate_u_mol: float = 0.0,
) -> Estimate:
    """Give the mass that left a weighed cell as water vapour and hydrogen, in grams.

    Loss = built - received + CO2 taken up + O2 taken up - crust wiped + water added. Oxygen stays in the
    cell for every ampere-hour of net discharge (and leaves on net charge: give it a minus), carbon dioxide
    for every mole of carbonate formed. Take off the hydrogen of the parasitic charge (0.0376 g/Ah) to be
    left with vapour.

    Raises
    ------
    NotAMass
        If a mass is below zero.
    """
    if min(built_g, received_g, crust_wiped_g, added_g) < 0 or built_g == 0:
        raise NotAMass(f"Built {built_g:g} g, received {received_g:g} g.")
    value = (
        built_g
        - received_g
        + CARBON_DIOXIDE_G_PER_MOL * carbonate_formed_mol
        + OXYGEN_G_PER_Ah * net_discharge_Ah
        - crust_wiped_g
        + added_g
    )
    u = sqrt(2 * weighing_u_g**2 + (CARBON_DIOXIDE_G_PER_MOL * carbonate_u_mol) ** 2)
    return Estimate(
        value, value - NORMAL_95 * u, value + NORMAL_95 * u, "g", 1, "weighing, normal 95 % interval"
    )


def water_freed_by_carbonation_g(carbonate_formed_mol: float) -> float:
    """Give the water that two hydroxides free when they become one carbonate, in grams."""
    return molar_mass_g("H2O") * carbonate_formed_mol
