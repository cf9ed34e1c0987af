"""What the balance of one cell is made from, each measured value with its standard uncertainty."""

from collections.abc import Iterator
from dataclasses import dataclass, field, fields
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from teardown.science.balance.solids import Solid
from teardown.science.errors import MeasurementError

TIMES_U = 3.0
"""A ratio is made only of a denominator that lies this many standard uncertainties above zero."""

PLATEAU_U = 0.05
"""Relative uncertainty of a plateau that no reference electrode told apart (common practice, no source)."""

Tube = Literal["cu", "co", "mo", "cr", "ag", "other"]
TakenFrom = Literal["whole electrode", "one place", "surface", "not known"]
State = Literal["charged", "discharged"]


class NothingToBalance(MeasurementError):
    """A value that every part of the balance needs is missing or not above zero."""

    code = "balance.E001"
    hint = "Give the iron built in, the dry mass recovered, the phase fractions and the capacities."


@dataclass(frozen=True, slots=True)
class Quantity:
    """A measured value and its standard uncertainty, in the unit of its name."""

    value: float
    u: float = 0.0


ZERO = Quantity(0.0)


@dataclass(frozen=True, slots=True)
class AsBuilt:
    """The electrode as built. ``inert`` is binder, carbon and additives; ``pore_like`` is the part of its
    volume that a back-scatter image reads as pore (binder and carbon), 0 to 1. ``oxide_Ah`` is the charge
    that the fresh electrode would have taken to reduce (0 for a metal start).
    """

    iron_powder_g: Quantity
    purity: Quantity
    inert_g: Quantity
    inert_density_g_per_cm3: float
    area_cm2: Quantity
    pore_like: float = 1.0
    oxide_Ah: Quantity = ZERO
    inert_density_u: float = 0.0


@dataclass(frozen=True, slots=True)
class Recovered:
    """The electrode at teardown. ``rest`` is iron oxidised at open circuit, ``drying`` in drying, both as
    charge; ``converted`` bounds the share of the last hydroxide that turned into magnetite by itself;
    ``hydrous`` is the relative standard uncertainty that water held by precipitate adds to its mass.
    """

    dry_g: Quantity
    thickness_um: Quantity | None
    rest_Ah: Quantity = ZERO
    drying_Ah: Quantity = ZERO
    converted: tuple[float, float] = (0.0, 0.0)
    hydrous: float = 0.02


@dataclass(frozen=True, slots=True)
class Powder:
    """The phases by diffraction: weight fractions with their full covariance, one entry a solid.

    ``grain_um`` is the range of grain diameters, None if unknown, and ``grain_told`` whether it was measured
    or only assumed; ``absorption_per_cm`` the linear absorption of each solid for the tube, None if fractions
    cannot be or have been corrected; ``amorphous`` bounds the share that diffraction does not see, taken as
    like ferrous hydroxide.
    """

    solids: tuple[Solid, ...]
    fractions: NDArray[np.float64]
    covariance: NDArray[np.float64]
    tube: Tube = "cu"
    grain_um: tuple[float, float] | None = None
    grain_told: bool = True
    absorption_per_cm: NDArray[np.float64] | None = None
    corrected: bool = False
    amorphous: tuple[float, float] = (0.0, 0.0)
    taken_from: TakenFrom = "whole electrode"


@dataclass(frozen=True, slots=True)
class History:
    """The cycling: reference and last discharge, the first plateau of each, and the totals.

    ``state`` is what the cycler last did. ``net_charge_Ah`` is all charge less all discharge, with a doubt of
    its own: errors of gain cancel in it, errors of offset do not. ``reference_electrode`` tells whether the
    plateaus could be seen apart; where not, ``plateau_u`` is the relative uncertainty of their charge.
    """

    reference_Ah: Quantity
    reference_first_Ah: Quantity
    last_Ah: Quantity
    last_first_Ah: Quantity
    charge_total_Ah: Quantity
    net_charge_Ah: Quantity
    state: State | None = "discharged"
    reference_electrode: bool = True
    plateau_u: float = PLATEAU_U


@dataclass(frozen=True, slots=True)
class Sections:
    """What the micrographs say: pore and oxide area fractions, and how many sections they rest on."""

    porosity: Quantity | None
    oxide: Quantity | None
    number: int
    full_thickness: bool = True


@dataclass(frozen=True, slots=True)
class Water:
    """Water filled and added less water found, and the carbonate that formed (which frees water).

    Where ``weighed``, the loss is instead what a weighed cell lost as vapour and hydrogen, carbon dioxide and
    oxygen already accounted for.
    """

    lost_g: Quantity
    carbonate_formed_mol: Quantity = ZERO
    weighed: bool = False


@dataclass(frozen=True, slots=True)
class Handling:
    """How the bench worked, since it decides what may be said."""

    whole_electrode_weighed: bool = True
    dried_in_air: bool = False
    leaked: bool = False
    state_recorded: State | None = None


@dataclass(frozen=True, slots=True)
class Inputs:
    """All that is known of one cell. ``oxide_at_reference`` is the share of the iron not reached at the
    reference that was oxide then; only a time-zero cell can tell it, and None means that none was opened.
    """

    built: AsBuilt
    recovered: Recovered
    powder: Powder
    history: History
    sections: Sections | None = None
    water: Water | None = None
    handling: Handling = field(default_factory=Handling)
    oxide_at_reference: Quantity | None = None

    def _readings(self) -> Iterator[tuple[str, Quantity]]:
        """Give every measured value with its name."""
        parts: list[Any] = [self.built, self.recovered, self.history, self.sections, self.water]
        for part in filter(None, parts):
            for known_field in fields(part):
                name, known = known_field.name, getattr(part, known_field.name)
                if isinstance(known, Quantity):
                    yield name, known
        if self.oxide_at_reference is not None:
            yield "oxide at the reference", self.oxide_at_reference

    def __post_init__(self) -> None:
        """Refuse a cell of which nothing can be said."""
        needed = {
            "iron built in": self.built.iron_powder_g.value * self.built.purity.value,
            "dry mass": self.recovered.dry_g.value - self.built.inert_g.value,
            "electrode area": self.built.area_cm2.value,
            "reference capacity": self.history.reference_Ah.value,
            "first plateau at the reference": self.history.reference_first_Ah.value,
            "sum of weight fractions": float(np.sum(self.powder.fractions)),
        }
        missing = [name for name, value in needed.items() if not value > 0]
        if missing:
            raise NothingToBalance(f"Not above zero: {', '.join(missing)}.")
        odd = [name for name, known in self._readings() if not (np.isfinite(known.value) and known.u >= 0)]
        odd += [
            name
            for name, numbers in (
                ("fractions", self.powder.fractions),
                ("covariance", self.powder.covariance),
            )
            if not np.all(np.isfinite(numbers))
        ]
        if odd:
            raise NothingToBalance(f"No number, or no doubt that can be: {', '.join(odd)}.")
        thickness = self.recovered.thickness_um
        below = {
            "iron built in": self.built.iron_powder_g,
            "purity of the iron": self.built.purity,
            "electrode area": self.built.area_cm2,
            "first plateau at the reference": self.history.reference_first_Ah,
            "total charge": self.history.charge_total_Ah,
        } | ({"thickness": thickness} if thickness else {})
        vague = [name for name, known in below.items() if not known.value > TIMES_U * known.u]
        if vague:
            raise NothingToBalance(
                f"Not three times as large as its own uncertainty, and divided by: {', '.join(vague)}."
            )
        size = len(self.powder.solids)
        if self.powder.fractions.shape != (size,) or self.powder.covariance.shape != (size, size):
            raise NothingToBalance(
                f"{size} phases have {self.powder.fractions.shape} fractions and"
                f" {self.powder.covariance.shape} covariances."
            )
