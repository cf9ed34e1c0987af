"""Constants against general-purpose reference libraries."""

import periodictable
import pytest
from scipy import constants as si

from teardown.science import constants as c


def test_fundamental_constants_equal_the_codata_values_in_scipy():
    # scipy.constants carries the CODATA adjustment; these four are exact in the SI since 2019.
    assert si.elementary_charge == c.ELEMENTARY_CHARGE_C
    assert si.Avogadro == c.AVOGADRO_PER_MOL
    assert pytest.approx(si.physical_constants["Faraday constant"][0], rel=1e-11) == c.FARADAY_C_PER_MOL
    assert pytest.approx(si.R, rel=1e-11) == c.GAS_CONSTANT_J_PER_MOL_K
    assert si.atmosphere == c.ATMOSPHERE_PA
    assert si.zero_Celsius == c.ZERO_CELSIUS_K


@pytest.mark.parametrize(
    "formula", ["Fe(OH)2", "Fe3O4", "FeOOH", "Fe2O3", "FeCO3", "KOH", "K2CO3", "H2O", "H2", "O2"]
)
def test_molar_masses_agree_with_periodictable(formula):
    # periodictable: atomic weights of IUPAC; abridged values may differ by 6e-5 (hydrogen).
    assert c.molar_mass_g(formula) == pytest.approx(periodictable.formula(formula).mass, rel=7e-5)


@pytest.mark.parametrize("symbol", sorted(c.ATOMIC_WEIGHT))
def test_atomic_weights_agree_with_periodictable(symbol):
    assert c.ATOMIC_WEIGHT[symbol] == pytest.approx(periodictable.elements.symbol(symbol).mass, rel=3e-4)


def test_an_ampere_hour_of_hydrogen_fills_the_published_volume():
    # Molar volume of an ideal gas at 273.15 K and 100 kPa: CODATA, carried by scipy.constants.
    molar_volume_L = 1000 * si.physical_constants["molar volume of ideal gas (273.15 K, 100 kPa)"][0]
    assert molar_volume_L / (2 * c.FARADAY_Ah_PER_MOL) == pytest.approx(0.42369, abs=5e-6)
