"""Gas and water that go with charge and with corroding iron."""

from teardown.science.constants import (
    ATMOSPHERE_PA,
    ATOMIC_WEIGHT,
    GAS_CONSTANT_J_PER_MOL_K,
    ZERO_CELSIUS_K,
    FARADAY_Ah_PER_MOL,
    WATER_G_PER_Ah,
)
from teardown.science.errors import MeasurementError

OXYGEN_IN_DRY_AIR = 0.209476
"""Mole fraction of oxygen in dry air (US Standard Atmosphere, 1976)."""


class NotAGasState(MeasurementError):
    """Temperature or pressure of a gas is not above zero."""

    code = "electrolyte.E007"
    hint = "Give the temperature in °C above -273.15 and the pressure in pascal."


def molar_volume_L(temperature_C: float = 25.0, pressure_Pa: float = ATMOSPHERE_PA) -> float:
    """Give the volume of one mole of an ideal gas in litres.

    Raises
    ------
    NotAGasState
        If the absolute temperature or the pressure is not above zero.
    """
    kelvin = temperature_C + ZERO_CELSIUS_K
    if kelvin <= 0 or pressure_Pa <= 0:
        raise NotAGasState(f"{temperature_C:g} °C and {pressure_Pa:g} Pa were given.")
    return 1000 * GAS_CONSTANT_J_PER_MOL_K * kelvin / pressure_Pa


def hydrogen_L(charge_Ah: float, temperature_C: float = 25.0, pressure_Pa: float = ATMOSPHERE_PA) -> float:
    """Give the volume of hydrogen that a charge sets free, two electrons a molecule, in litres."""
    return charge_Ah / (2 * FARADAY_Ah_PER_MOL) * molar_volume_L(temperature_C, pressure_Pa)


def oxygen_L(charge_Ah: float, temperature_C: float = 25.0, pressure_Pa: float = ATMOSPHERE_PA) -> float:
    """Give the volume of oxygen that a charge sets free, four electrons a molecule, in litres."""
    return charge_Ah / (4 * FARADAY_Ah_PER_MOL) * molar_volume_L(temperature_C, pressure_Pa)


def hydrogen_from_corrosion_L(
    iron_g: float, temperature_C: float = 25.0, pressure_Pa: float = ATMOSPHERE_PA
) -> float:
    """Give the hydrogen that iron sets free when it corrodes to Fe(OH)2, one molecule an atom, in litres."""
    return iron_g / ATOMIC_WEIGHT["Fe"] * molar_volume_L(temperature_C, pressure_Pa)


def water_split_g(charge_Ah: float) -> float:
    """Give the water that a charge splits, in grams."""
    return charge_Ah * WATER_G_PER_Ah


def carbon_dioxide_mol_per_Ah(ppm: float = 420.0, excess: float = 1.0) -> float:
    """Give the carbon dioxide in the air that brings the oxygen for one Ah of discharge, in mol.

    Parameters
    ----------
    ppm : float
        Carbon dioxide in the air by volume.
    excess : float
        Air supplied over air needed; 1 is the least.
    """
    return ppm * 1e-6 * excess / (4 * FARADAY_Ah_PER_MOL * OXYGEN_IN_DRY_AIR)
