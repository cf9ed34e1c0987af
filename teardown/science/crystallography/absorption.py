"""How strongly a phase absorbs the radiation it is looked at with."""

import json
from functools import lru_cache
from importlib.resources import files

from teardown.science.crystallography.phases import Phase
from teardown.science.errors import MeasurementError


class AbsorptionUnknown(MeasurementError):
    """No mass absorption coefficient is kept for an element and tube."""

    code = "crystallography.E006"


@lru_cache(maxsize=1)
def _table() -> dict[str, dict[str, float]]:
    """Give the shipped coefficients, element to tube to cm²/g; their source stands in the file."""
    text = files("teardown.science.crystallography").joinpath("absorption.json").read_text(encoding="utf-8")
    data = json.loads(text)
    return {e: dict(zip(data["anodes"], row, strict=True)) for e, row in data["elements"].items()}


def mass_absorption_cm2_g(phase: Phase, anode: str) -> float:
    """Give the mass absorption coefficient of a phase, in cm²/g, from its elements.

    Raises
    ------
    AbsorptionUnknown
    """
    table, total = _table(), 0.0
    for element, share in phase.mass_fractions.items():
        if anode not in table.get(element, {}):
            raise AbsorptionUnknown(
                f"No mass absorption coefficient is kept for {element} and the tube {anode}."
            )
        total += share * table[element][anode]
    return total


def linear_absorption_per_cm(phase: Phase, anode: str) -> float:
    """Give the linear absorption coefficient of a compact grain, in 1/cm."""
    return mass_absorption_cm2_g(phase, anode) * phase.density_g_cm3


def information_depth_um(phase: Phase, anode: str, two_theta_deg: float, packing: float = 0.5) -> float:
    """Give the depth from which 95 % of a reflection comes, in µm: 3 sin θ / (2 µ packing)."""
    from math import radians, sin

    return 3 * sin(radians(two_theta_deg) / 2) / (2 * linear_absorption_per_cm(phase, anode) * packing) * 1e4
