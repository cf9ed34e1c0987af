"""Constants of nature and of the elements in an iron-air cell, each with its source.

The fundamental constants are exact by definition of the SI (SI Brochure, 9th edition, 2019). Atomic weights
are the abridged values of the IUPAC Commission on Isotopic Abundances and Atomic Weights (2021 table). All
else is computed from these two, so that no two parts of the house can disagree on the mass of an iron atom.
"""

import re
from collections import Counter
from functools import cache

from teardown.science.errors import MeasurementError

ELEMENTARY_CHARGE_C = 1.602176634e-19
AVOGADRO_PER_MOL = 6.02214076e23
BOLTZMANN_J_PER_K = 1.380649e-23
GAS_CONSTANT_J_PER_MOL_K = AVOGADRO_PER_MOL * BOLTZMANN_J_PER_K
FARADAY_C_PER_MOL = ELEMENTARY_CHARGE_C * AVOGADRO_PER_MOL
FARADAY_Ah_PER_MOL = FARADAY_C_PER_MOL / 3600.0
ZERO_CELSIUS_K = 273.15
ATMOSPHERE_PA = 101_325.0

ATOMIC_WEIGHT = {
    "H": 1.0080, "Li": 6.94, "C": 12.011, "N": 14.007, "O": 15.999, "F": 18.998, "Na": 22.990,
    "Mg": 24.305, "Al": 26.982, "Si": 28.085, "P": 30.974, "S": 32.06, "Cl": 35.45, "K": 39.098,
    "Ca": 40.078, "Ti": 47.867, "Cr": 51.996, "Mn": 54.938, "Fe": 55.845, "Co": 58.933, "Ni": 58.693,
    "Cu": 63.546, "Zn": 65.38, "Se": 78.971, "Mo": 95.95, "Sn": 118.71, "Ba": 137.33, "Ce": 140.12,
    "Pb": 207.2, "Bi": 208.98,
}  # fmt: skip
"""Abridged standard atomic weights of the elements that occur in these cells, g/mol."""

ELECTRONS_PER_IRON = {
    "Fe": 0.0,
    "Fe(OH)2": 2.0,
    "FeCO3": 2.0,
    "FeO": 2.0,
    "Fe3O4": 8.0 / 3.0,
    "FeOOH": 3.0,
    "Fe2O3": 3.0,
}
"""Electrons that one iron atom of the compound takes up on its way back to the metal."""

_TOKEN = re.compile(r"([A-Z][a-z]?)(\d*\.?\d*)|(\()|(\))(\d*\.?\d*)")


class UnknownFormula(MeasurementError):
    """A chemical formula cannot be read."""

    code = "constants.E001"
    hint = "Write it with element symbols, whole or decimal counts and round brackets, such as Fe(OH)2."


@cache
def composition(formula: str) -> dict[str, float]:
    """Count the atoms of each element in one formula unit.

    Parameters
    ----------
    formula : str
        Element symbols with counts and round brackets, such as ``Fe(OH)2``.

    Raises
    ------
    UnknownFormula
        If a sign, a bracket or an element is not understood.
    """
    levels: list[Counter[str]] = [Counter()]
    position = 0
    while position < len(formula):
        token = _TOKEN.match(formula, position)
        if token is None or token.group(0) == "":
            raise UnknownFormula(f"{formula!r} cannot be read from {formula[position:]!r} on.")
        symbol, count, opened, closed, times = token.groups()
        if symbol:
            if symbol not in ATOMIC_WEIGHT:
                raise UnknownFormula(f"{symbol!r} in {formula!r} is not an element in the table.")
            levels[-1][symbol] += float(count or 1)  # type: ignore[assignment]
        elif opened:
            levels.append(Counter())
        elif closed and len(levels) > 1:
            for inner, number in levels.pop().items():
                levels[-1][inner] += number * float(times or 1)  # type: ignore[assignment]
        else:
            raise UnknownFormula(f"{formula!r} closes a bracket that was never opened.")
        position = token.end()
    if len(levels) != 1 or not levels[0]:
        raise UnknownFormula(f"{formula!r} is empty or leaves a bracket open.")
    return dict(levels[0])


def molar_mass_g(formula: str) -> float:
    """Give the molar mass of one formula unit in g/mol."""
    return sum(ATOMIC_WEIGHT[symbol] * count for symbol, count in composition(formula).items())


def iron_mass_fraction(formula: str) -> float:
    """Give the share of iron in the mass of a compound, 0 to 1."""
    return composition(formula).get("Fe", 0.0) * ATOMIC_WEIGHT["Fe"] / molar_mass_g(formula)


def charge_per_gram_iron_Ah(electrons_per_iron: float) -> float:
    """Give the charge of a reaction per gram of iron: n F / M(Fe), in Ah/g (2 electrons give 0.95985)."""
    return electrons_per_iron * FARADAY_Ah_PER_MOL / ATOMIC_WEIGHT["Fe"]


def charge_to_metal_Ah_per_g(formula: str) -> float:
    """Give the charge that reduces one gram of an iron compound to the metal, in Ah/g.

    Raises
    ------
    UnknownFormula
        If the oxidation state of iron in the compound is not in the table.
    """
    if composition(formula).get("Fe", 0.0) == 0.0:
        return 0.0
    if formula not in ELECTRONS_PER_IRON:
        raise UnknownFormula(f"The oxidation state of iron in {formula!r} is not in the table.")
    return iron_mass_fraction(formula) * charge_per_gram_iron_Ah(ELECTRONS_PER_IRON[formula])


HYDROGEN_G_PER_Ah = molar_mass_g("H2") / (2.0 * FARADAY_Ah_PER_MOL)
OXYGEN_G_PER_Ah = molar_mass_g("O2") / (4.0 * FARADAY_Ah_PER_MOL)
WATER_G_PER_Ah = molar_mass_g("H2O") / (2.0 * FARADAY_Ah_PER_MOL)
"""Gas set free, and water split, by one ampere-hour: H2 and water by two electrons, O2 by four."""
