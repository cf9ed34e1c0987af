"""Constants stand on each other, and a formula that cannot be read is refused."""

import pytest

from teardown.science import constants as c


def test_two_electrons_per_iron_atom_give_960_milliampere_hours_a_gram():
    assert c.charge_per_gram_iron_Ah(2) == pytest.approx(0.95985, abs=5e-6)
    assert c.charge_per_gram_iron_Ah(8 / 3) == pytest.approx(1.27980, abs=5e-6)
    assert c.charge_per_gram_iron_Ah(3) == pytest.approx(1.43978, abs=5e-6)


@pytest.mark.parametrize(
    ("formula", "iron", "charge"),
    [
        ("Fe(OH)2", 0.62147, 0.59652),
        ("Fe3O4", 0.72360, 0.92606),
        ("FeOOH", 0.62852, 0.90494),
        ("Fe2O3", 0.69943, 1.00703),
        ("FeCO3", 0.48203, 0.46268),
        ("Fe", 1.0, 0.0),
        ("K2CO3", 0.0, 0.0),
    ],
)
def test_a_gram_of_a_phase_holds_its_iron_and_its_charge(formula, iron, charge):
    assert c.iron_mass_fraction(formula) == pytest.approx(iron, abs=6e-6)
    assert c.charge_to_metal_Ah_per_g(formula) == pytest.approx(charge, abs=6e-6)


def test_an_ampere_hour_frees_its_gas_and_splits_its_water():
    assert pytest.approx(0.037610, abs=1e-6) == c.HYDROGEN_G_PER_Ah
    assert pytest.approx(0.298472, abs=1e-6) == c.OXYGEN_G_PER_Ah
    assert pytest.approx(0.336082, abs=1e-6) == c.WATER_G_PER_Ah


def test_water_split_is_the_gas_it_becomes():
    assert pytest.approx(c.HYDROGEN_G_PER_Ah + c.OXYGEN_G_PER_Ah, rel=1e-12) == c.WATER_G_PER_Ah


def test_brackets_multiply_what_they_hold():
    assert c.composition("Ca(Al(OH)4)2") == {"Ca": 1, "Al": 2, "O": 8, "H": 8}
    assert c.molar_mass_g("Fe(OH)2") == pytest.approx(c.molar_mass_g("FeO2H2"))


@pytest.mark.parametrize("formula", ["", "Fe(OH", "FeOH)2", "Xx2", "fe", "Fe-2"])
def test_a_formula_that_cannot_be_read_is_refused(formula):
    with pytest.raises(c.UnknownFormula):
        c.molar_mass_g(formula)


def test_iron_of_unknown_oxidation_state_has_no_charge():
    with pytest.raises(c.UnknownFormula, match="oxidation state"):
        c.charge_to_metal_Ah_per_g("FeS")
