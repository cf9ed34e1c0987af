"""Masses and gases add up."""

import pytest

from teardown.science.constants import HYDROGEN_G_PER_Ah, OXYGEN_G_PER_Ah, molar_mass_g
from teardown.science.electrolyte import gas
from teardown.science.electrolyte.weighing import (
    NotAMass,
    close_weighing,
    vapour_and_hydrogen_lost,
    water_freed_by_carbonation_g,
)


def test_parts_that_add_up_need_no_word():
    closure = close_weighing(
        100.0, {"iron electrode": 20.0, "electrolyte": 60.0, "case": 19.5}, {"blots": 0.3}
    )
    assert closure.residual_g == pytest.approx(0.2)
    assert closure.remarks == ()


@pytest.mark.parametrize(("case", "word"), [(10.0, "missing from"), (30.0, "too much in")])
def test_parts_that_do_not_add_up_are_asked_about(case, word):
    (remark,) = close_weighing(100.0, {"iron electrode": 20.0, "electrolyte": 60.0, "case": case}).remarks
    assert word in remark.message


def test_a_negative_mass_is_refused_by_name():
    with pytest.raises(NotAMass, match="sediment"):
        close_weighing(100.0, {"sediment": -1.0})
    with pytest.raises(NotAMass):
        vapour_and_hydrogen_lost(built_g=0.0, received_g=1.0)


def test_a_cell_that_only_splits_water_loses_its_hydrogen_and_no_vapour():
    charge = 10.0
    received = 100.0 - charge * (HYDROGEN_G_PER_Ah + OXYGEN_G_PER_Ah)
    lost = vapour_and_hydrogen_lost(built_g=100.0, received_g=received, net_discharge_Ah=-charge)
    assert lost.value == pytest.approx(charge * HYDROGEN_G_PER_Ah)


def test_iron_that_corrodes_at_rest_loses_only_its_hydrogen():
    # Fe + 2 H2O -> Fe(OH)2 + H2: no current, so no oxygen
    lost = vapour_and_hydrogen_lost(built_g=50.0, received_g=50.0 - molar_mass_g("H2"))
    assert lost.value == pytest.approx(molar_mass_g("H2"))


def test_a_cell_that_only_discharges_takes_oxygen_in_and_loses_nothing():
    lost = vapour_and_hydrogen_lost(built_g=50.0, received_g=50.0 + OXYGEN_G_PER_Ah, net_discharge_Ah=1.0)
    assert lost.value == pytest.approx(0.0)


def test_gas_taken_up_hides_water_that_went():
    plain = vapour_and_hydrogen_lost(built_g=100.0, received_g=95.0).value
    hidden = vapour_and_hydrogen_lost(
        built_g=100.0,
        received_g=95.0,
        carbonate_formed_mol=0.01,
        net_discharge_Ah=2.0,
        crust_wiped_g=0.3,
        added_g=5.0,
    )
    assert hidden.value == pytest.approx(plain + 0.44009 + 2 * OXYGEN_G_PER_Ah - 0.3 + 5.0)


def test_carbonation_conserves_mass():
    # 2 KOH + CO2 -> K2CO3 + H2O
    left = 2 * molar_mass_g("KOH") + molar_mass_g("CO2")
    assert left == pytest.approx(molar_mass_g("K2CO3") + water_freed_by_carbonation_g(1.0))


def test_gas_and_water_of_a_charge():
    assert gas.hydrogen_L(1.0) == pytest.approx(0.45642, abs=5e-6)
    assert gas.oxygen_L(1.0) == pytest.approx(0.22821, abs=5e-6)
    assert gas.hydrogen_L(1.0, 0.0, 1e5) == pytest.approx(0.42369, abs=5e-6)
    assert gas.water_split_g(21.33) == pytest.approx(7.169, abs=1e-3)


def test_a_gram_of_corroding_iron_makes_nearly_half_a_litre():
    assert gas.hydrogen_from_corrosion_L(1.0) == pytest.approx(0.44, abs=0.005)


def test_carbonation_by_the_air_of_discharge_is_slow():
    assert gas.carbon_dioxide_mol_per_Ah() == pytest.approx(1.87e-5, rel=2e-3)
    assert 10e-3 / (2 * gas.carbon_dioxide_mol_per_Ah()) == pytest.approx(267, abs=1)


def test_a_gas_below_absolute_zero_is_refused():
    with pytest.raises(gas.NotAGasState):
        gas.molar_volume_L(-300.0)
