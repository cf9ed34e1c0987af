"""The quantities of a section as ratios of sums, so that fields can be pooled without averaging averages."""

from dataclasses import dataclass
from math import pi

import numpy as np
from numpy.typing import NDArray

from teardown.science.stereology.classes import BRIGHT, EXCLUDED, METAL, OXIDE, PORE
from teardown.science.stereology.interfaces import Sums
from teardown.science.stereology.sampling import WALL, Cells, class_cells, outline_cells


@dataclass(frozen=True, slots=True)
class Quantity:
    """A named ratio, in the trade's words.

    ``power`` is the power of a length in its value, ``below_power`` that in its denominator (2 area, 1
    length).
    """

    key: str
    words: str
    power: int = 0
    bounded: bool = True
    below_power: int = 2

    def unit(self, scaled: bool) -> str:
        """Give the unit of its values: dimensionless, or in micrometres where the pixel size is known."""
        length = "um" if scaled else "px"
        return {0: "1", 1: length, -1: f"1/{length}"}[self.power]


QUANTITIES = (
    Quantity("porosity", "porosity"),
    Quantity("oxide_fraction", "oxide area fraction"),
    Quantity("oxide_share_of_solid", "oxide share of the solid"),
    Quantity("oxide_coverage", "oxide coverage of the metal", below_power=1),
    Quantity("wetted_oxide_share", "oxide share of the pore wall", below_power=1),
    Quantity("bright_fraction", "fraction brighter than metal"),
    Quantity("specific_surface", "metal surface per volume", power=-1, bounded=False),
    Quantity("oxide_thickness", "mean oxide thickness", power=1, bounded=False, below_power=1),
    Quantity("pore_chord", "mean pore chord", power=1, bounded=False, below_power=1),
    Quantity("metal_chord", "mean metal chord", power=1, bounded=False, below_power=1),
)
BY_KEY = {quantity.key: quantity for quantity in QUANTITIES}


@dataclass(frozen=True, slots=True)
class Parts:
    """Numerator and denominator of a quantity over one field, in pixels."""

    above: float
    below: float

    @property
    def value(self) -> float | None:
        """Give the ratio, or None where there is nothing to divide by."""
        return self.above / self.below if self.below > 0 else None


def parts_of(sums: Sums, outline: float = 1.0) -> dict[str, Parts]:
    """Give every quantity's numerator and denominator from the sums of a field.

    ``outline`` is the factor by which the metal outline is longer than it reads; coverage is free of it.
    """
    pore, oxide, metal, bright = (float(sums.counts[code]) for code in (PORE, OXIDE, METAL, BRIGHT))
    area = float(sums.area_px)
    metal_oxide = sums.line_length_px(METAL, OXIDE)
    metal_pore = sums.line_length_px(METAL, PORE)
    oxide_pore = sums.line_length_px(OXIDE, PORE)
    return {
        "porosity": Parts(pore, area),
        "oxide_fraction": Parts(oxide, area),
        "oxide_share_of_solid": Parts(oxide, oxide + metal + bright),
        "oxide_coverage": Parts(metal_oxide, metal_oxide + metal_pore),
        "wetted_oxide_share": Parts(oxide_pore, oxide_pore + metal_pore),
        "bright_fraction": Parts(bright, area),
        # S_V = (4 / pi) L_A for sections placed at random
        "specific_surface": Parts(4 / pi * (metal_oxide + metal_pore) * outline, area),
        # V_V / S_V = (pi / 4) A / L: a random section cuts a layer askew and shows it thicker than it is
        "oxide_thickness": Parts(pi / 4 * oxide, metal_oxide * outline),
        "pore_chord": Parts(4 * pore, _crossings(sums, PORE)),
        "metal_chord": Parts(4 * metal, _crossings(sums, METAL)),
    }


def _crossings(sums: Sums, code: int) -> float:
    """Count the ends of a class's runs along rows and columns; two ends make a run."""
    others = [other for other in (PORE, OXIDE, METAL, BRIGHT) if other != code]
    return float(sum(sums.transitions(code, other)[:2].sum() for other in others))


def cells_of(
    labels: NDArray[np.uint8], size: int, *, rows: int | None = None
) -> dict[str, tuple[Cells, Cells]]:
    """Give numerator and denominator of the main quantities in every cell of a grid, for their sampling
    error.

    With ``rows``, only so many rows from the top are put in cells; the one below serves as partner.
    """
    rows = labels.shape[0] if rows is None else rows
    own = labels[:rows]
    one = {code: class_cells(own, code, size) for code in (PORE, OXIDE, METAL)}
    left_out = class_cells(own, EXCLUDED, size)
    area = size**2 - left_out
    one[BRIGHT] = area - one[PORE] - one[OXIDE] - one[METAL]
    walls = outline_cells(labels, size, rows=rows)
    metal_oxide, metal_pore, oxide_pore = (walls[pair] for pair in WALL)
    solid = one[OXIDE] + one[METAL] + one[BRIGHT]
    wall = metal_oxide + metal_pore
    return {
        "porosity": (one[PORE], area),
        "oxide_fraction": (one[OXIDE], area),
        "oxide_share_of_solid": (one[OXIDE], solid),
        "oxide_coverage": (metal_oxide, wall),
        "wetted_oxide_share": (oxide_pore, oxide_pore + metal_pore),
        "bright_fraction": (one[BRIGHT], area),
        "specific_surface": (4 / pi * wall, area),
        "oxide_thickness": (pi / 4 * one[OXIDE], metal_oxide),
        "pore_chord": (one[PORE] * pi, metal_pore + oxide_pore),
        "metal_chord": (one[METAL] * pi, wall),
    }
