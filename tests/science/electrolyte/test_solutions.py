"""Density tells a composition; conductivity does not, near its maximum."""

import numpy as np
import pytest

from teardown.science.electrolyte.conductivity import (
    ConductivityIsNoGauge,
    OutsideTheConductivityRange,
    concentrations_with,
    conductivity_S_per_cm,
)
from teardown.science.electrolyte.density import (
    NotADensityOfThisSolution,
    OutsideTheDensityRange,
    density_g_per_cm3,
    koh_from_density,
    koh_from_molarity,
    molarity_mol_per_L,
    remark_on_lithium,
    water_density_g_per_cm3,
)


def test_the_table_at_25_degrees_comes_out_to_its_printed_digits():
    share = np.array([5, 10, 20, 25, 30, 35, 40]) / 100
    density = density_g_per_cm3(share, 25.0)
    concentration = molarity_mol_per_L(share, 25.0)
    assert np.round(density, 4).tolist() == [1.0424, 1.0888, 1.1851, 1.2352, 1.2868, 1.3398, 1.3945]
    assert np.round(concentration, 3).tolist() == [0.929, 1.941, 4.225, 5.504, 6.880, 8.358, 9.942]
    conductivity = conductivity_S_per_cm(concentration, 25.0)
    assert conductivity == pytest.approx([0.202, 0.370, 0.582, 0.623, 0.621, 0.587, 0.535], abs=6e-4)


@pytest.mark.parametrize("share", [0.0, 0.01, 0.2, 0.3, 0.5])
@pytest.mark.parametrize("temperature", [10.0, 25.0, 60.0])
def test_a_density_leads_back_to_its_composition(share, temperature):
    density = float(density_g_per_cm3(share, temperature))
    assert koh_from_density(density, temperature) == pytest.approx(share, abs=1e-9)
    concentration = float(molarity_mol_per_L(share, temperature))
    assert koh_from_molarity(concentration, temperature) == pytest.approx(share, abs=1e-9)


def test_no_solute_is_water():
    assert density_g_per_cm3(0.0, 20.0) == pytest.approx(water_density_g_per_cm3(20.0))


def test_carbonate_makes_a_solution_denser_than_its_hydroxide_alone():
    assert density_g_per_cm3(0.25, 25.0, k2co3=0.05) > density_g_per_cm3(0.30, 25.0)


@pytest.mark.parametrize(("share", "temperature"), [(0.6, 25.0), (-0.1, 25.0), (0.3, 120.0)])
def test_a_solution_outside_the_measured_range_is_refused(share, temperature):
    with pytest.raises(OutsideTheDensityRange):
        density_g_per_cm3(share, temperature)


@pytest.mark.parametrize("density", [0.9, 1.9, 1290.0])
def test_a_density_in_the_wrong_unit_is_refused(density):
    with pytest.raises(NotADensityOfThisSolution):
        koh_from_density(density)


def test_a_concentration_beyond_the_range_is_refused():
    with pytest.raises(NotADensityOfThisSolution):
        koh_from_molarity(20.0)


def test_lithium_puts_a_remark_beside_the_value():
    assert remark_on_lithium(0.0) == ()
    assert remark_on_lithium(0.5)[0].code == "electrolyte.W006"


@pytest.mark.parametrize(
    ("temperature", "top", "at"), [(25, 0.627, 6.13), (10, 0.464, 5.5), (40, 0.813, 6.7)]
)
def test_the_maximum_of_conductivity_moves_up_with_temperature(temperature, top, at):
    c = np.linspace(0, 12, 2401)
    conductivity = conductivity_S_per_cm(c, temperature)
    assert conductivity.max() == pytest.approx(top, abs=6e-4)
    assert c[conductivity.argmax()] == pytest.approx(at, abs=0.06)


def test_one_conductivity_belongs_to_two_concentrations():
    assert concentrations_with(float(conductivity_S_per_cm(2.0, 25.0)), 25.0)[0] == pytest.approx(
        2.0, abs=1e-6
    )
    low, high = concentrations_with(0.55, 25.0)
    assert low < 5 < 7.5 < high
    assert conductivity_S_per_cm([low, high], 25.0) == pytest.approx([0.55, 0.55], abs=1e-6)


@pytest.mark.parametrize("concentration", [5.0, 5.5, 6.0, 6.13, 7.0, 7.49])
@pytest.mark.parametrize("temperature", [10.0, 25.0, 40.0])
def test_near_the_maximum_no_concentration_is_offered(concentration, temperature):
    with pytest.raises(ConductivityIsNoGauge):
        concentrations_with(float(conductivity_S_per_cm(concentration, temperature)), temperature)


def test_more_than_the_maximum_is_refused():
    with pytest.raises(ConductivityIsNoGauge, match="more than KOH can have"):
        concentrations_with(0.9, 25.0)


def test_less_than_nothing_is_refused():
    with pytest.raises(OutsideTheConductivityRange):
        concentrations_with(-0.1, 25.0)
    with pytest.raises(OutsideTheConductivityRange):
        conductivity_S_per_cm(13.0, 25.0)
