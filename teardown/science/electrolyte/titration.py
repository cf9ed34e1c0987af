"""Hydroxide and carbonate of an alkaline electrolyte from acid burette readings at two end points.

The method is Warder's: hydrochloric acid takes the hydroxide and turns carbonate to bicarbonate by the first
end point (near pH 8.3), and turns the bicarbonate to carbonic acid by the second (near pH 4). Both readings
are cumulative, from the zero of the burette.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from teardown.science.constants import molar_mass_g
from teardown.science.electrolyte.titration_checks import (
    NotAVolume,
    remark_on_bicarbonate,
    remark_on_constituents,
    remark_on_little_carbonate,
    remark_on_replicates,
)
from teardown.science.errors import MeasurementError, Remark
from teardown.science.estimate import Estimate

NORMAL_95 = 1.959963984540054
METHOD = "two end points with acid, first-order propagation, normal 95 % interval"


class ReadingsOutOfOrder(MeasurementError):
    """The second end point cannot come before the first."""

    code = "electrolyte.E001"
    hint = (
        "Both readings count from the zero of the burette: look whether the two were swapped, or whether the"
        " second was read from the first on; then enter both as they stood on the burette."
    )


@dataclass(frozen=True, slots=True)
class Titration:
    """One titration as read: volumes in mL, acid in mol/L, and the standard uncertainty of each.

    Defaults of the uncertainties: colour end points, class A glass (common practice, no source). Write
    ``end_u_mL=0.01`` for end points from a pH curve.
    """

    sample_mL: float
    made_up_mL: float
    aliquot_mL: float
    acid_mol_per_L: float
    first_end_mL: float
    second_end_mL: float
    blank_first_mL: float = 0.0
    blank_second_mL: float = 0.0
    end_u_mL: float = 0.03
    sample_u_mL: float = 0.006
    made_up_u_mL: float = 0.06
    aliquot_u_mL: float = 0.01
    acid_u_relative: float = 0.002


@dataclass(frozen=True, slots=True)
class Alkali:
    """What the titration found, in mol per litre of electrolyte.

    ``hydroxide`` is KOH, LiOH and NaOH together. ``total`` is in equivalents per litre. ``bicarbonate`` is 0
    where hydroxide is left. ``carbonate_limit`` is the carbonate (mol/L) below which none can be told.
    """

    hydroxide: Estimate
    carbonate: Estimate
    bicarbonate: Estimate
    total: Estimate
    carbonated_share: Estimate
    carbonate_limit_mol_per_L: float
    remarks: tuple[Remark, ...]

    @property
    def carbonate_g_per_L(self) -> float:
        """Give the carbonate as grams of K2CO3 per litre."""
        return self.carbonate.value * molar_mass_g("K2CO3")


def warder(replicates: Titration | Sequence[Titration], constituents: Sequence[str] = ()) -> Alkali:
    """Work out hydroxide and carbonate from one titration, or from several aliquots of one solution.

    With f = made up / (sample x aliquot): carbonate = c (V2 - V1) f, hydroxide = c (2 V1 - V2) f,
    total = c V2 f.
    Where 2 V1 < V2 no hydroxide is left, and carbonate = c V1 f, bicarbonate = c (V2 - 2 V1) f.
    The end points of replicates are independent; glass and acid are shared and do not average out.

    Parameters
    ----------
    replicates : Titration or sequence of Titration
        Aliquots of one made-up solution. Sample, flask and acid are taken from the first.
    constituents : sequence of str
        What the recipe holds; those that spoil the method are remarked upon.

    Returns
    -------
    Alkali
        In mol/L (total in equivalents/L), with 95 % intervals and remarks.

    Raises
    ------
    NotAVolume
        If a volume or the acid is not above zero.
    ReadingsOutOfOrder
        If a second reading lies before its first.

    References
    ----------
    The scheme is in every textbook of volumetric analysis; the formulas follow from the two reactions by
    arithmetic, and the tests recompute them from weighed-in mixtures.
    """
    runs = [replicates] if isinstance(replicates, Titration) else list(replicates)
    if not runs:
        raise NotAVolume("No titration was given.")
    ends = np.array([_net_readings(run) for run in runs])
    first = runs[0]
    bicarbonate_left = bool(2.0 * ends[:, 0].mean() < ends[:, 1].mean())
    values, uncertainties = _propagate(first, ends, bicarbonate_left)
    names = ("hydroxide", "carbonate", "bicarbonate", "total", "share")
    units = ("mol/L", "mol/L", "mol/L", "mol/L", "1")
    found = {
        name: _estimate(float(value), float(u), unit, len(runs))
        for name, value, u, unit in zip(names, values, uncertainties, units, strict=True)
    }
    limit = 3.0 * sqrt(2.0) * first.end_u_mL * first.acid_mol_per_L * _factor(first) / sqrt(len(runs))
    remarks = (
        *remark_on_bicarbonate(ends, first.end_u_mL),
        *remark_on_little_carbonate(found["carbonate"], limit),
        *remark_on_replicates(ends, first.end_u_mL),
        *remark_on_constituents(constituents),
    )
    return Alkali(
        hydroxide=found["hydroxide"],
        carbonate=found["carbonate"],
        bicarbonate=found["bicarbonate"],
        total=found["total"],
        carbonated_share=found["share"],
        carbonate_limit_mol_per_L=limit,
        remarks=remarks,
    )


def _factor(run: Titration) -> float:
    return run.made_up_mL / (run.sample_mL * run.aliquot_mL)


def _net_readings(run: Titration) -> tuple[float, float]:
    """Take the blanks off both readings, or refuse them."""
    for name in ("sample_mL", "made_up_mL", "aliquot_mL", "acid_mol_per_L"):
        if not getattr(run, name) > 0:
            raise NotAVolume(f"{name} is {getattr(run, name)}.")
    first, second = run.first_end_mL - run.blank_first_mL, run.second_end_mL - run.blank_second_mL
    if first < 0 or second <= 0:
        raise NotAVolume(f"The readings less their blanks are {first:.2f} and {second:.2f} mL.")
    if second < first:
        raise ReadingsOutOfOrder(
            f"The second end point ({run.second_end_mL:.2f} mL) lies before the first"
            f" ({run.first_end_mL:.2f} mL)."
        )
    return first, second


def _quantities(c: float, f: float, v1: float, v2: float, *, bicarbonate: bool) -> NDArray[np.float64]:
    """Hydroxide, carbonate, bicarbonate, total, carbonated share of the alkali."""
    hydroxide = 0.0 if bicarbonate else c * f * (2 * v1 - v2)
    carbonate = c * f * (v1 if bicarbonate else v2 - v1)
    hydrogencarbonate = c * f * (v2 - 2 * v1) if bicarbonate else 0.0
    total = c * f * v2
    share = (2 * carbonate + hydrogencarbonate) / total
    return np.array([hydroxide, carbonate, hydrogencarbonate, total, share])


def _propagate(
    run: Titration, ends: NDArray[np.float64], bicarbonate: bool
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """First-order propagation by central differences over every reading (JCGM 100:2008, 5.1.2)."""
    v1, v2 = ends.mean(axis=0)
    end_u = run.end_u_mL / sqrt(len(ends))
    inputs = np.array([run.acid_mol_per_L, run.sample_mL, run.made_up_mL, run.aliquot_mL, v1, v2])
    u = np.array(
        [
            run.acid_u_relative * run.acid_mol_per_L,
            run.sample_u_mL,
            run.made_up_u_mL,
            run.aliquot_u_mL,
            end_u,
            end_u,
        ]
    )

    def of(x: NDArray[np.float64]) -> NDArray[np.float64]:
        c, sample, made_up, aliquot, a, b = (float(value) for value in x)
        return _quantities(c, made_up / (sample * aliquot), a, b, bicarbonate=bicarbonate)

    variance = np.zeros(5)
    for i, step in enumerate(u):
        move = np.zeros(6)
        move[i] = step / 2
        variance += (of(inputs + move) - of(inputs - move)) ** 2
    return of(inputs), np.sqrt(variance)


def _estimate(value: float, u: float, unit: str, n: int) -> Estimate:
    top = 1.0 if unit == "1" else float("inf")
    value = min(max(value, 0.0), top)
    return Estimate(value, max(value - NORMAL_95 * u, 0.0), min(value + NORMAL_95 * u, top), unit, n, METHOD)
