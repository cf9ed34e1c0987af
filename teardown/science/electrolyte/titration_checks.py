"""What a titration gives away about itself: order, replicates, bicarbonate, interference, the fill."""

from collections.abc import Sequence
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from teardown.science.errors import MeasurementError, Remark
from teardown.science.estimate import Estimate

OUTSIDE_THE_METHOD = {
    "sulfide": "Sulfide is titrated between the two end points: it reads as carbonate, and acid drives it out"
    " as toxic hydrogen sulfide.",
    "silicate": "Silicate, from glass storage, takes acid between the end points and reads as carbonate.",
    "stannate": "Stannate takes acid and throws down a precipitate near the first end point.",
    "zincate": "Zincate takes acid and throws down a precipitate near the first end point.",
    "borate": "Borate takes acid between the end points and reads as carbonate.",
}
"""Constituents that spoil the reading (common practice, no source)."""


class NotAVolume(MeasurementError):
    """A volume or a concentration of the titration is not above zero."""

    code = "electrolyte.E002"
    hint = "Enter the volume taken, the volume made up, the aliquot, the acid and both burette readings."


def against_build(
    total: Estimate, built_mol_per_L: float, *, volume_left_share: float = 1.0, tolerance: float = 0.10
) -> tuple[Remark, ...]:
    """Compare the total alkali found with what was filled in, after water was lost or gained.

    Parameters
    ----------
    total : Estimate
        Equivalents per litre from `warder`.
    built_mol_per_L : float
        Alkali as filled, mol/L.
    volume_left_share : float
        Volume of electrolyte at the end over the volume filled, above 0; 1 if not known.
    tolerance : float
        Share by which the two may differ (10 %: common practice, no source).
    """
    if built_mol_per_L <= 0 or volume_left_share <= 0:
        raise NotAVolume(f"{built_mol_per_L} mol/L in {volume_left_share} of the volume is not a fill.")
    expected = built_mol_per_L / volume_left_share
    share = total.value / expected
    if total.low / expected <= 1 + tolerance and total.high / expected >= 1 - tolerance:
        return ()
    side = "more" if share > 1 else "less"
    return (
        Remark(
            code="electrolyte.W004",
            level="warning",
            message=f"The total alkali found, {total.value:.2f} mol/L, is {side} than the {expected:.2f}"
            " mol/L that the fill and the water lost would give.",
            value=share,
            remedy="Look at the water lost, at leaks and crusts, and at the acid's certificate.",
        ),
    )


def remark_on_bicarbonate(ends: NDArray[np.float64], end_u_mL: float) -> tuple[Remark, ...]:
    """Say that bicarbonate is present, which an alkaline cell seldom holds."""
    v1, v2 = ends.mean(axis=0)
    if 2 * v1 >= v2:
        return ()
    surely = v2 - 2 * v1 > 3 * sqrt(5.0) * end_u_mL
    return (
        Remark(
            code="electrolyte.W001",
            level="error" if surely else "warning",
            message="Twice the first reading is less than the second: no hydroxide is left, and bicarbonate"
            " is present. That is rare in an alkaline cell.",
            value=float(v2 - 2 * v1),
            remedy="Look whether the readings belong to this sample and both count from zero, and whether the"
            " vial stood open.",
        ),
    )


def remark_on_little_carbonate(carbonate: Estimate, limit: float) -> tuple[Remark, ...]:
    """Say that the carbonate lies below what the end points can tell."""
    if carbonate.value >= limit:
        return ()
    return (
        Remark(
            code="electrolyte.W002",
            level="info",
            message=f"The carbonate lies below {limit:.3f} mol/L, the least that these end points can tell.",
            value=carbonate.value,
            remedy="A larger aliquot, or end points from a pH curve, lower this limit.",
        ),
    )


def remark_on_replicates(ends: NDArray[np.float64], end_u_mL: float) -> tuple[Remark, ...]:
    """Replicates must agree within three combined standard uncertainties of their end points."""
    if len(ends) < 2:
        return ()
    carbonate_gap = np.ptp(ends[:, 1] - ends[:, 0])
    hydroxide_gap = np.ptp(2 * ends[:, 0] - ends[:, 1])
    u = end_u_mL * sqrt(2.0)
    if carbonate_gap <= 3 * u * sqrt(2.0) and hydroxide_gap <= 3 * u * sqrt(5.0):
        return ()
    return (
        Remark(
            code="electrolyte.W003",
            level="warning",
            message=f"The replicates do not agree: hydroxide differs by {hydroxide_gap:.2f} mL and carbonate"
            f" by {carbonate_gap:.2f} mL of acid.",
            value=float(max(carbonate_gap, hydroxide_gap)),
            remedy="Titrate a third aliquot, and keep all three.",
        ),
    )


def remark_on_constituents(constituents: Sequence[str]) -> tuple[Remark, ...]:
    """Say which constituents of the recipe put the method out of use."""
    return tuple(
        Remark(
            code="electrolyte.W005",
            level="error" if name == "sulfide" else "warning",
            message=why,
            where=name,
            remedy="Not by acid at the open bench: use the route that the laboratory has approved."
            if name == "sulfide"
            else "Have the constituent determined, and read the carbonate as an upper bound.",
        )
        for name, why in OUTSIDE_THE_METHOD.items()
        if any(name in given.lower() for given in constituents)
    )
