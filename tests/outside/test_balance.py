"""Microabsorption, densities and volumes against published theory and handbook tables."""

from pathlib import Path

import chemicals
import numpy as np
import pytest
from scipy import integrate

from teardown.science.balance.microabsorption import as_found, transmission
from teardown.science.balance.solids import solids_of
from teardown.science.constants import ATOMIC_WEIGHT, molar_mass_g
from teardown.science.crystallography.phases import phase_table


@pytest.mark.parametrize("x", [-0.8, -0.1, -0.005, 0.0, 0.005, 0.0099, 0.0101, 0.1, 0.5, 2.0])
def test_brindleys_factor_is_the_mean_over_a_sphere(x):
    # Brindley, Philos. Mag. 36 (1945) 347: (1/V) integral of exp(-(mu - mean) path); forward direction, so
    # the path of a chord at distance b from the axis is its whole length 2 sqrt(1 - b^2).
    def along_chord(b):
        chord = 2 * np.sqrt(1 - b * b)
        return 2 * np.pi * b * chord * np.exp(-x * chord)

    mean, _ = integrate.quad(along_chord, 0, 1)
    assert float(transmission(np.array(x))) == pytest.approx(mean / (4 / 3 * np.pi), abs=2e-7)


def test_iron_hides_from_copper_and_not_from_molybdenum():
    # absorption of iron and magnetite, 1/cm, from Elam, Ravel and Sieber, Radiat. Phys. Chem. 63
    # (2002) 121: copper 2371 and 1148, cobalt 450 and 240, molybdenum 295 and 142
    half, density = np.array([0.5, 0.5]), np.array([7.874, 5.197])
    errors = {
        tube: [
            round(100 * float(as_found(half, np.array(mu), density, grain)[0]) - 50, 1)
            for grain in (1, 5, 20)
        ]
        for tube, mu in {"cu": (2371.0, 1148.0), "co": (450.0, 240.0), "mo": (295.0, 142.0)}.items()
    }
    assert errors == {"cu": [-2.3, -11.2, -35.9], "co": [-0.4, -2.0, -7.8], "mo": [-0.3, -1.4, -5.7]}


@pytest.mark.parametrize(
    ("phase", "formula", "cas"),
    [("iron", "Fe", "7439-89-6"), ("magnetite", "Fe3O4", "1317-61-9"), ("hematite", "Fe2O3", "1309-37-1")],
)
def test_densities_agree_with_a_handbook(phase, formula, cas):
    # CRC Handbook of Chemistry and Physics, molar volumes as carried by the library `chemicals`
    table = Path(chemicals.__file__).parent / "Density" / "CRC Solid Inorganic Constant Densities.tsv"
    rows = [line.split("\t") for line in table.read_text(encoding="utf-8").splitlines()]
    (molar_volume_m3,) = [float(row[2]) for row in rows if row[0] == cas]
    (solid,) = solids_of(phase_table(), [phase])
    assert solid.density_g_per_cm3 == pytest.approx(molar_mass_g(formula) / molar_volume_m3 * 1e-6, rel=0.01)


@pytest.mark.parametrize(
    ("phase", "ratio"), [("magnetite", 2.09), ("hematite", 2.14), ("goethite", 2.93), ("lepidocrocite", 3.16)]
)
def test_oxides_take_the_room_that_pilling_and_bedworth_tabulated(phase, ratio):
    # volume per mole of iron over that of the metal; goethite 20.84, lepidocrocite 22.40, magnetite 44.56/3
    # cm3/mol in table 5 of PMC5506973; iron 7.09
    iron, oxide = solids_of(phase_table(), ["iron", phase])
    volume = ATOMIC_WEIGHT["Fe"] / (oxide.iron_fraction * oxide.density_g_per_cm3)
    metal = ATOMIC_WEIGHT["Fe"] / iron.density_g_per_cm3
    assert volume / metal == pytest.approx(ratio, rel=0.012)
