"""Density and gas against general-purpose reference tables."""

from pathlib import Path

import chemicals
import numpy as np
import pytest

from teardown.science.electrolyte import density, gas


@pytest.mark.parametrize("solute", [density.KOH, density.K2CO3])
def test_coefficients_are_those_the_chemicals_library_carries(solute):
    # Laliberté, J. Chem. Eng. Data 54 (2009) 1725, as tabulated in the library `chemicals`.
    table = Path(chemicals.__file__).parent / "Electrolytes" / "Laliberte2009.tsv"
    rows = [line.split("\t") for line in table.read_text(encoding="utf-8").splitlines()]
    (row,) = [row for row in rows if row[2] == solute.formula]
    assert [solute.c0, solute.c1, solute.c2, solute.c3, solute.c4] == pytest.approx(
        list(map(float, row[4:9]))
    )
    assert solute.most == pytest.approx(float(row[11]), abs=1e-4)


def test_water_density_agrees_with_iapws():
    # IAPWS-95 through the library `chemicals`.
    for temperature in (5.0, 20.0, 25.0, 60.0, 90.0):
        published = chemicals.iapws95_rho(temperature + 273.15, 101_325.0) / 1000
        assert density.water_density_g_per_cm3(temperature) == pytest.approx(published, rel=2e-5)


def test_potassium_hydroxide_density_agrees_with_a_handbook_table():
    # CRC Handbook of Chemistry and Physics, "Concentrative properties of aqueous solutions", 20 °C:
    # 10 % 1.0905, 20 % 1.1884, 30 % 1.2905, 40 % 1.3991 g/cm3 (from memory).
    found = density.density_g_per_cm3(np.array([0.1, 0.2, 0.3, 0.4]), 20.0)
    assert found == pytest.approx([1.0905, 1.1884, 1.2905, 1.3991], rel=2e-3)


def test_dry_air_holds_its_oxygen():
    # US Standard Atmosphere, 1976, table 3: mole fraction of O2 0.209476.
    assert gas.OXYGEN_IN_DRY_AIR == 0.209476
