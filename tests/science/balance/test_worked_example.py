"""One cell worked through by hand: every printed digit comes out of the code."""

from dataclasses import replace

import numpy as np
import pytest
from uncertainties import ufloat

from teardown.science.balance.account import account
from teardown.science.balance.closing import close_cell
from teardown.science.balance.draws import first_order, values_at
from teardown.science.balance.inputs import (
    AsBuilt,
    History,
    Inputs,
    Powder,
    Quantity,
    Recovered,
    Sections,
    Water,
)
from teardown.science.balance.microabsorption import as_found
from teardown.science.balance.phantoms import COBALT_PER_CM, COPPER_PER_CM
from teardown.science.balance.solids import Solid
from teardown.science.constants import charge_to_metal_Ah_per_g, iron_mass_fraction, molar_mass_g

FRACTIONS = np.array([0.300, 0.250, 0.430, 0.020])
FRACTION_U = np.array([0.010, 0.015, 0.012, 0.005])


def solid(name, part, formula, density, u, hydrogens=0):
    charge = 0.0 if part == "salt" else charge_to_metal_Ah_per_g(formula)
    return Solid(
        name, part, iron_mass_fraction(formula), charge, hydrogens / molar_mass_g(formula), density, u
    )


SOLIDS = (
    solid("iron", "metal", "Fe", 7.874, 0.005),
    solid("iron-hydroxide", "hydroxide", "Fe(OH)2", 3.46, 0.046, hydrogens=2),
    solid("magnetite", "oxide", "Fe3O4", 5.18, 0.02),
    solid("potassium-carbonate", "salt", "K2CO3", 2.43, 0.02),
)


def worked_cell(fractions=FRACTIONS, tube="co", **changes) -> Inputs:
    """Give the invented cell of the worked example, with the uncertainties its text names."""
    spread = np.eye(4) - np.outer(fractions, np.ones(4))
    return replace(
        Inputs(
            AsBuilt(
                Quantity(1.200, 0.002),
                Quantity(0.990, 0.003),
                Quantity(0.048, 0.002),
                2.20,
                Quantity(6.00, 0.03),
            ),
            Recovered(Quantity(1.560, 0.004), Quantity(950.0, 14.25), Quantity(0.012, 0.006), hydrous=0.0),
            Powder(SOLIDS, fractions, spread @ np.diag(FRACTION_U**2) @ spread.T, tube),
            History(
                Quantity(0.640, 0.0019),
                Quantity(0.520, 0.0016),
                Quantity(0.402, 0.0012),
                Quantity(0.350, 0.0010),
                Quantity(172.40, 0.52),
                Quantity(20.50, 0.23),
            ),
            Sections(Quantity(0.455, 0.025), Quantity(0.395, 0.030), 3),
            Water(Quantity(11.50, 0.1)),
        ),
        **changes,
    )


@pytest.fixture(scope="module")
def worked():
    return close_cell(worked_cell())


@pytest.mark.parametrize(
    ("quantity", "digits", "printed"),
    [
        ("closure", 4, 0.9756),
        ("oxide_Ah", 4, 0.8276),
        ("locked_Ah", 4, 0.4136),
        ("locked_share", 3, 0.276),
        ("metal_share", 3, 0.382),
        ("reached_share", 3, 0.317),
        ("shed_share", 3, 0.024),
        ("porosity", 3, 0.449),
        ("image_porosity", 3, 0.487),
        ("oxide_volume_share", 3, 0.412),
        ("parasitic_Ah", 2, 21.33),
        ("parasitic_share", 3, 0.124),
        ("hydrogen_g", 3, 0.802),
        ("water_bound_g", 3, 7.244),
        ("evaporated_g", 2, 4.26),
        ("utilisation", 3, 0.561),
        ("hydroxide_mol", 5, 0.00421),
        ("hydroxide_least_mol", 5, 0.00384),
        ("loss_Ah", 3, 0.226),
        ("proportional_Ah", 3, 0.177),
    ],
)
def test_every_printed_digit_comes_out(worked, quantity, digits, printed):
    assert round(worked.values[quantity], digits) == printed


def test_the_proportional_part_is_74_percent_of_the_fall_in_capacity(worked):
    assert worked.values["proportional_Ah"] / (0.640 - 0.402) == pytest.approx(0.743, abs=5e-4)


@pytest.mark.parametrize(
    ("quantity", "u"),
    [
        ("closure", 0.0078),
        ("oxide_Ah", 0.0118),
        ("locked_Ah", 0.0134),
        ("parasitic_Ah", 0.23),
        ("water_bound_g", 0.076),
        ("porosity", 0.011),
        ("oxide_volume_share", 0.011),
    ],
)
def test_the_uncertainties_come_out(worked, quantity, u):
    assert worked.u[quantity] == pytest.approx(u, rel=0.09)


def test_both_methods_agree(worked):
    assert worked.apart == ()


@pytest.mark.parametrize(
    ("share", "u", "parts"),
    [
        (0.0, 0.0, (172, -101, 15, 14)),
        (0.2, 0.05, (104, -33, 15, 14)),
        (0.5, 0.05, (3, 68, 15, 14)),
        (1.0, 0.0, (-167, 237, 15, 14)),
    ],
)
def test_the_ledger_turns_with_what_a_time_zero_cell_would_tell(share, u, parts):
    ledger = close_cell(worked_cell(oxide_at_reference=Quantity(share, u))).ledger
    assert [100 * term.share.value for term in ledger.terms] == pytest.approx(parts, abs=1.5)
    assert sum(100 * term.share.value for term in ledger.terms) == pytest.approx(100, abs=0.2)


def test_the_parts_add_up_to_the_loss_whatever_the_numbers_are():
    inputs = worked_cell(oxide_at_reference=Quantity(0.37, 0.0))
    values, _, _ = first_order(inputs)
    parts = sum(values[f"ledger_{name}_Ah"] for name in ("locked", "metal", "shed", "less_per_atom"))
    assert parts == pytest.approx(values["loss_Ah"], abs=1e-12)


def test_without_a_time_zero_cell_the_ledger_shows_a_range_and_no_share(worked):
    locked, metal, shed, per_atom = worked.ledger.terms
    assert not worked.ledger.shares_shown
    assert all(term.share is None for term in worked.ledger.terms)
    assert locked.span == pytest.approx((-1.67 * 0.226, 1.72 * 0.226), abs=0.004)
    assert metal.span == pytest.approx((-1.01 * 0.226, 2.37 * 0.226), abs=0.004)
    assert (shed.span, per_atom.span) == (None, None)
    assert shed.charge_Ah.value == pytest.approx(0.15 * 0.226, abs=0.001)
    assert "time zero" in worked.ledger.why_no_shares


def test_locked_oxide_alone_is_bounded_from_both_sides(worked):
    assert worked.ledger.proportional_Ah == pytest.approx(0.177, abs=5e-4)
    assert worked.ledger.first_Ah == pytest.approx(0.226, abs=5e-4)


def test_the_marks_of_the_worked_cell(worked):
    marks = {mark.key: mark for mark in worked.marks}
    assert [mark.key for mark in worked.marks] == ["iron", "charge", "pores", "oxide", "water", "hydroxide"]
    assert marks["iron"].verdict == "look"
    assert {marks[key].verdict for key in ("charge", "pores", "oxide", "water", "hydroxide")} == {"agree"}
    assert marks["oxide"].z == pytest.approx(-0.5, abs=0.05)
    assert "0.8276 − 0.4020 − 0.0120 = 0.4136 Ah" in marks["charge"].numbers


@pytest.mark.parametrize(
    ("absorption", "grain_um", "closure", "locked_Ah", "shed_percent", "porosity"),
    [
        (COPPER_PER_CM, 2.0, 0.957, 0.458, 27, 0.435),
        (COPPER_PER_CM, 5.0, 0.933, 0.515, 42, 0.414),
        (COBALT_PER_CM, 5.0, 0.967, 0.433, 20, 0.442),
    ],
)
def test_coarse_grains_make_iron_vanish(absorption, grain_um, closure, locked_Ah, shed_percent, porosity):
    density = np.array([s.density_g_per_cm3 for s in SOLIDS[:3]])
    found = FRACTIONS.copy()  # the salt crystallises in the pores, away from the grains
    found[:3] = 0.98 * as_found(FRACTIONS[:3] / 0.98, absorption[:3], density, grain_um)
    values, _, _ = first_order(worked_cell(found, tube="other"))
    assert values["closure"] == pytest.approx(closure, abs=0.0015)
    assert values["locked_Ah"] == pytest.approx(locked_Ah, abs=0.003)
    assert 100 * values["ledger_shed_Ah"] / values["loss_Ah"] == pytest.approx(shed_percent, abs=1.0)
    assert values["porosity"] == pytest.approx(porosity, abs=0.0015)


def test_correction_for_known_grains_brings_the_truth_back():
    mu = COPPER_PER_CM[[0, 1, 2, 4]]
    density = np.array([s.density_g_per_cm3 for s in SOLIDS])
    cell = worked_cell(as_found(FRACTIONS, mu, density, 3.0), tube="cu")
    powder = replace(cell.powder, grain_um=(3.0, 3.0), absorption_per_cm=mu)
    values, _, _ = first_order(replace(cell, powder=powder))
    assert values["closure"] == pytest.approx(0.9756, abs=1e-4)
    assert values["locked_Ah"] == pytest.approx(0.4136, abs=1e-4)


def test_an_unknown_amorphous_share_hardly_moves_charge_but_blurs_the_pores():
    cell = worked_cell()
    plain = close_cell(cell)
    blurred = close_cell(replace(cell, powder=replace(cell.powder, amorphous=(0.0, 0.15))))
    assert blurred.shown["locked_Ah"].half_width < 1.25 * plain.shown["locked_Ah"].half_width
    assert blurred.shown["porosity"].half_width > 1.35 * plain.shown["porosity"].half_width
    assert blurred.shown["closure"].low == pytest.approx(0.942, abs=0.004)
    assert blurred.shown["oxide_volume_share"].high == pytest.approx(0.474, abs=0.006)


def test_first_order_agrees_with_dual_numbers():
    inputs = worked_cell()
    names = values_at(inputs, None).names
    steps = [ufloat(0, 1) for _ in names]
    exact = values_at(inputs, None).values
    plain = first_order(inputs)
    # the same arithmetic with dual numbers: dry mass, area, thickness and charges only
    dual = replace(
        exact,
        dry_g=1.560 + 0.004 * steps[0],
        area_cm2=6.0 + 0.03 * steps[1],
        thickness_um=950 + 14.25 * steps[2],
        net_charge_Ah=20.5 + 0.23 * steps[3],
        fractions=tuple(float(w[0]) for w in exact.fractions),
        densities=(7.874, 3.46, 5.18, 2.43),
        iron_powder_g=1.2,
        purity=0.99,
        inert_g=0.048,
        rest_Ah=0.012,
        reference_Ah=0.64,
        reference_first_Ah=0.52,
        last_Ah=0.402,
        last_first_Ah=0.35,
        charge_total_Ah=172.4,
        water_lost_g=11.5,
    )
    found = account(dual)
    fixed = replace(
        inputs,
        built=replace(
            inputs.built,
            iron_powder_g=Quantity(1.2),
            purity=Quantity(0.99),
            inert_g=Quantity(0.048),
        ),
        recovered=replace(inputs.recovered, rest_Ah=Quantity(0.012)),
        powder=replace(
            inputs.powder,
            covariance=np.zeros((4, 4)),
            solids=tuple(replace(s, density_u=0.0) for s in SOLIDS),
        ),
        history=replace(
            inputs.history,
            reference_Ah=Quantity(0.64),
            reference_first_Ah=Quantity(0.52),
            last_Ah=Quantity(0.402),
            last_first_Ah=Quantity(0.35),
            charge_total_Ah=Quantity(172.4),
        ),
        water=Water(Quantity(11.5)),
    )
    values, u, _ = first_order(fixed)
    for name in ("closure", "oxide_Ah", "porosity", "oxide_volume_share", "parasitic_Ah", "water_bound_g"):
        assert values[name] == pytest.approx(found[name].nominal_value, rel=1e-12)
        assert u[name] == pytest.approx(found[name].std_dev, rel=2e-5)
    assert plain[1]["closure"] > u["closure"]
