"""Invented cells of known truth: intervals hold, faults are caught by name, order and seed do not matter."""

from collections import Counter
from dataclasses import replace
from time import process_time

import numpy as np
import pytest

from teardown.science.balance import causes
from teardown.science.balance.closing import UNITS, close_cell
from teardown.science.balance.draws import first_order, monte_carlo
from teardown.science.balance.inputs import Inputs, NothingToBalance, Quantity, Water
from teardown.science.balance.ledger import TERMS
from teardown.science.balance.microabsorption import corrected, uncovered
from teardown.science.balance.phantoms import COPPER_PER_CM, invent, with_found_fractions
from teardown.science.balance.quantiles import quantiles
from teardown.science.constants import charge_to_metal_Ah_per_g, iron_mass_fraction

CELLS = range(12)


@pytest.mark.parametrize("state", ["charged", "discharged"])
def test_exact_measurements_give_the_truth(state):
    for seed in CELLS:
        cell = invent(seed, state=state, noise=0.0)
        values, _, _ = first_order(cell.inputs)
        assert values == pytest.approx(cell.truth, rel=1e-9, abs=1e-12)


@pytest.mark.parametrize("state", ["charged", "discharged"])
def test_every_atom_is_somewhere(state):
    for seed in CELLS:
        truth = invent(seed, state=state, noise=0.0).truth
        shares = ("reached_share", "locked_share", "metal_share", "shed_share")
        assert sum(truth[name] for name in shares) == pytest.approx(1.0, abs=1e-12)


def test_the_ledger_adds_up_in_every_draw():
    drawn = monte_carlo(invent(3).inputs, 2000, seed=1)
    parts = sum(drawn[f"ledger_{name}_Ah"] for name in ("locked", "metal", "shed", "less_per_atom"))
    assert np.abs(parts - drawn["loss_Ah"]).max() < 1e-4


def test_intervals_hold_the_truth():
    inside_drawn, inside_linear = Counter(), Counter()
    cells = 600
    for seed in range(cells):
        cell = invent(seed)
        drawn = monte_carlo(cell.inputs, 1000, seed=1)
        values, u, _ = first_order(cell.inputs)
        for name, at in drawn.items():
            low, high = np.percentile(at, (2.5, 97.5))
            inside_drawn[name] += low <= cell.truth[name] <= high
            inside_linear[name] += abs(values[name] - cell.truth[name]) <= 1.96 * u[name] + 1e-15
    for counted in (inside_drawn, inside_linear):
        assert 0.935 < np.mean([count / cells for count in counted.values()]) < 0.965
        assert all(0.92 < count / cells < 0.98 for count in counted.values()), counted


def _held(cells: int, *, doubtful: bool) -> dict[str, float]:
    """Give, for every output of the balance and every share of the loss, how often its interval held."""
    inside = Counter()
    for seed in range(cells):
        cell = invent(seed, doubtful=doubtful)
        drawn = dict(monte_carlo(cell.inputs, 1000, seed=1))
        truth = dict(cell.truth)
        for key in TERMS:
            drawn[f"share of {key}"] = drawn[key] / drawn["loss_Ah"]
            truth[f"share of {key}"] = truth[key] / truth["loss_Ah"]
        for name, at in drawn.items():
            low, _, high = quantiles(at)
            inside[name] += low <= truth[name] <= high
    return {name: count / cells for name, count in inside.items()}


def test_the_interval_of_every_output_holds_where_much_is_in_doubt():
    """Coarse grains and copper, no standard, moist precipitate, no reference electrode."""
    held = _held(250, doubtful=True)
    assert set(UNITS) <= set(held)
    assert all(0.90 < share < 0.99 for share in held.values()), held


@pytest.mark.long
@pytest.mark.parametrize("doubtful", [False, True])
def test_the_interval_of_every_output_holds_in_93_to_97_of_100_cells(doubtful):
    held = _held(2500, doubtful=doubtful)
    assert set(UNITS) | set(TERMS) <= set(held)
    assert {name: share for name, share in held.items() if not 0.93 <= share <= 0.97} == {}


def test_grain_size_is_drawn_and_not_only_its_middle():
    inputs = invent(4, doubtful=True).inputs
    fine = replace(inputs, powder=replace(inputs.powder, grain_um=(2.2, 2.3)))
    wide, narrow = (close_cell(each, draws=4000).shown["closure"] for each in (inputs, fine))
    assert wide.half_width > 1.3 * narrow.half_width
    plain = replace(inputs, powder=replace(inputs.powder, grain_um=None))
    # metal that coarse grains hid comes back: more iron is found
    assert wide.value > close_cell(plain, draws=4000).shown["closure"].value + 0.005


def test_correcting_draws_by_the_mean_powder_is_correcting_each():
    powder = invent(3, doubtful=True).inputs.powder
    rng = np.random.default_rng(1)
    found = np.clip(powder.fractions[:, None] + 0.015 * rng.standard_normal((5, 400)), 0.001, None)
    found /= found.sum(axis=0)
    grain = np.exp(rng.uniform(np.log(1), np.log(5), 400))
    density = np.array([solid.density_g_per_cm3 for solid in powder.solids])
    exact = corrected(found, powder.absorption_per_cm, density, grain)
    assert np.abs(uncovered(found, powder.absorption_per_cm, density, grain) - exact).max() < 1e-3


@pytest.mark.parametrize("draw", ["normal", "constant", "two values", "one far out"])
def test_quantiles_are_those_of_sorted_draws(draw):
    rng = np.random.default_rng(2)
    values = {
        "normal": rng.standard_normal(20_000),
        "constant": np.full(500, 0.7),
        "two values": rng.choice([0.0, 1.0], 999),
        "one far out": np.append(rng.standard_normal(999), 1e12),
    }[draw]
    assert quantiles(values) == pytest.approx(np.quantile(values, (0.025, 0.5, 0.975)), abs=1e-12)


def test_the_same_seed_gives_the_same_numbers():
    inputs = invent(5).inputs
    assert close_cell(inputs, draws=500).shown == close_cell(inputs, draws=500).shown
    other = close_cell(inputs, draws=500, seed=2)
    assert other.shown["closure"].value != close_cell(inputs, draws=500).shown["closure"].value
    assert other.values == close_cell(inputs, draws=500).values


def test_the_order_of_phases_does_not_matter():
    inputs = invent(6).inputs
    turned = [3, 0, 4, 2, 1]
    powder = inputs.powder
    other = replace(
        inputs,
        powder=replace(
            powder,
            solids=tuple(powder.solids[i] for i in turned),
            fractions=powder.fractions[turned],
            covariance=powder.covariance[np.ix_(turned, turned)],
        ),
    )
    one, two = first_order(inputs), first_order(other)
    assert two[0] == pytest.approx(one[0])
    assert two[1] == pytest.approx(one[1], rel=1e-6)


def test_one_measurement_is_one_draw():
    drawn = monte_carlo(invent(1).inputs, 4000, seed=1)
    # last discharge up: less locked charge and less loss, with the very same error
    assert np.corrcoef(drawn["loss_Ah"], drawn["reached_share"])[0, 1] < -0.2


def wrong_cell(cell: Inputs) -> Inputs:
    other = replace(cell.built, iron_powder_g=Quantity(0.55 * cell.built.iron_powder_g.value, 0.002))
    return replace(cell, built=other)


def wet_mass(cell: Inputs) -> Inputs:
    dry = cell.recovered.dry_g
    return replace(cell, recovered=replace(cell.recovered, dry_g=Quantity(1.15 * dry.value, dry.u)))


def salt_left(cell: Inputs) -> Inputs:
    """Leave salt in that weighs a tenth and is seen by diffraction."""
    fractions = cell.powder.fractions * 0.9
    fractions[-1] += 0.1
    dry = cell.recovered.dry_g
    return replace(
        cell,
        powder=replace(cell.powder, fractions=fractions),
        recovered=replace(cell.recovered, dry_g=Quantity(dry.value / 0.9, dry.u)),
    )


def salt_unseen(cell: Inputs) -> Inputs:
    dry = cell.recovered.dry_g
    return replace(cell, recovered=replace(cell.recovered, dry_g=Quantity(1.10 * dry.value, dry.u)))


def surface_powder(cell: Inputs) -> Inputs:
    return replace(cell, powder=replace(cell.powder, taken_from="surface"))


def oxidised_in_air(cell: Inputs) -> Inputs:
    """Turn half of the hydroxide into feroxyhyte after opening."""
    fractions = cell.powder.fractions.copy()
    moved = 0.5 * fractions[1]
    fractions[1] -= moved
    fractions[3] += moved * 88.851 / 89.859
    return replace(cell, powder=replace(cell.powder, fractions=fractions))


def wrong_state(cell: Inputs) -> Inputs:
    return replace(cell, history=replace(cell.history, state="discharged"))


def missing_thickness(cell: Inputs) -> Inputs:
    return replace(cell, recovered=replace(cell.recovered, thickness_um=None))


def wrong_unit(cell: Inputs) -> Inputs:
    dry = cell.recovered.dry_g
    return replace(cell, recovered=replace(cell.recovered, dry_g=Quantity(1000 * dry.value, dry.u)))


def coarse_grains(cell: Inputs) -> Inputs:
    found = with_found_fractions(cell, cell.powder.fractions, COPPER_PER_CM, 5.0)
    return replace(found, powder=replace(found.powder, tube="cu"))


@pytest.mark.parametrize(
    ("spoil", "state", "cause"),
    [
        (wrong_cell, "discharged", causes.WRONG_CELL),
        (wet_mass, "discharged", causes.WET_MASS),
        (salt_left, "discharged", causes.SALT_LEFT),
        (salt_unseen, "discharged", causes.SALT_LEFT),
        (surface_powder, "discharged", causes.SURFACE),
        (oxidised_in_air, "discharged", causes.AIR),
        (wrong_state, "charged", causes.WRONG_STATE),
        (missing_thickness, "discharged", causes.NO_THICKNESS),
        (wrong_unit, "discharged", causes.UNIT),
        (coarse_grains, "discharged", causes.MICROABSORPTION),
    ],
)
def test_each_seeded_fault_is_caught_with_its_cause_in_the_set(spoil, state, cause):
    for seed in CELLS:
        sound = invent(seed, state=state).inputs
        before = {flag.remark.code for flag in close_cell(sound, draws=200).flags}
        flags = close_cell(spoil(sound), draws=200).flags
        named = [flag for flag in flags if cause in flag.causes]
        assert named, (seed, [flag.remark.message for flag in flags])
        assert {flag.remark.code for flag in named} - before, "the flag was there before the fault"
        assert all(len(flag.causes) <= 3 and flag.decides for flag in flags)


def test_sound_cells_raise_few_alarms():
    raised = Counter()
    for seed in range(100):
        for flag in close_cell(invent(seed).inputs, draws=200).flags:
            raised[flag.remark.code] += 1
    shed = raised.pop("balance.W003", 0)
    assert shed > 30  # iron truly is shed in most invented cells
    assert all(count <= 12 for count in raised.values()), raised


def test_what_cannot_stand_is_greyed_with_its_reason():
    sound = close_cell(invent(2).inputs, draws=200)
    assert sound.trust.reasons == {}
    surface = close_cell(surface_powder(invent(2).inputs), draws=200)
    assert all("surface" in mark.greyed[0] for mark in surface.marks if mark.key != "water")
    assert surface.ledger.greyed
    copper = close_cell(coarse_grains(invent(2).inputs), draws=200)
    assert "copper" in copper.marks[0].greyed[0]
    assert not copper.marks[4].greyed


def test_an_unknown_state_bounds_the_locked_charge():
    cell = invent(2).inputs
    unknown = replace(cell, history=replace(cell.history, state=None))
    mark = close_cell(unknown, draws=200).marks[1]
    assert mark.verdict == "cannot tell"
    assert mark.sentence.startswith("Locked charge lies between 0 and")


def test_one_section_declares_no_contradiction():
    cell = invent(2).inputs
    off = replace(cell.sections, porosity=Quantity(cell.sections.porosity.value + 0.3, 0.02))
    verdicts = [
        close_cell(replace(cell, sections=replace(off, number=number)), draws=200).marks[2].verdict
        for number in (1, 2)
    ]
    assert verdicts == ["look", "contradiction"]


def test_missing_sections_water_and_thickness_leave_the_rest_standing():
    cell = invent(4).inputs
    bare = close_cell(
        replace(cell, sections=None, water=None, recovered=replace(cell.recovered, thickness_um=None)),
        draws=200,
    )
    assert [mark.verdict for mark in bare.marks][2:5] == ["cannot tell"] * 3
    assert "porosity" not in bare.shown
    assert "closure" in bare.shown


def test_no_ratio_is_shown_of_a_loss_within_its_own_doubt():
    cell = invent(4).inputs
    last = cell.history.last_Ah.value + cell.recovered.rest_Ah.value
    small = replace(
        cell,
        history=replace(cell.history, reference_Ah=Quantity(last + 0.004, 0.002)),
        oxide_at_reference=Quantity(0.2, 0.02),
    )
    ledger = close_cell(small, draws=200).ledger
    assert not ledger.shares_shown
    assert all(term.share is None for term in ledger.terms)
    assert "three times" in ledger.why_no_shares


def test_plateaus_without_a_reference_electrode_are_doubted_more():
    cell = invent(4).inputs
    blind = replace(cell, history=replace(cell.history, reference_electrode=False))
    assert first_order(blind)[1]["locked_share"] > 1.3 * first_order(cell)[1]["locked_share"]


def test_hydroxide_that_converts_at_rest_widens_the_locked_charge():
    cell = invent(4).inputs
    resting = replace(cell, recovered=replace(cell.recovered, converted=(0.0, 1.0)))
    assert first_order(resting)[1]["locked_Ah"] > 1.5 * first_order(cell)[1]["locked_Ah"]
    assert first_order(resting)[0]["locked_Ah"] < first_order(cell)[0]["locked_Ah"]


def test_water_held_by_hydroxide_widens_the_dry_mass():
    cell = invent(4).inputs
    hydrous = replace(cell, recovered=replace(cell.recovered, hydrous=0.03))
    assert first_order(hydrous)[1]["closure"] > first_order(cell)[1]["closure"]


def test_carbonation_frees_the_water_that_it_does_not_lose():
    cell = invent(4).inputs
    plain = first_order(cell)[0]["evaporated_g"]
    freed = replace(cell, water=replace(cell.water, carbonate_formed_mol=Quantity(0.1)))
    assert first_order(freed)[0]["evaporated_g"] == pytest.approx(plain + 1.8015, abs=1e-4)


def test_a_weighed_cell_gives_the_same_vapour_as_its_water():
    cell = invent(4, noise=0.0)
    truth = cell.truth
    lost = truth["evaporated_g"] + truth["hydrogen_g"]
    weighed = replace(cell.inputs, water=Water(Quantity(lost, 0.1), weighed=True))
    assert first_order(weighed)[0]["evaporated_g"] == pytest.approx(truth["evaporated_g"])
    assert "as hydrogen" in close_cell(weighed, draws=200).marks[4].numbers


def test_phases_of_the_table_hold_what_their_formulas_say():
    solids = {solid.name: solid for solid in invent(1).inputs.powder.solids}
    for name, formula in (("iron-hydroxide", "Fe(OH)2"), ("magnetite", "Fe3O4"), ("feroxyhyte", "FeOOH")):
        assert solids[name].iron_fraction == pytest.approx(iron_mass_fraction(formula), rel=2e-4)
        assert solids[name].charge_Ah_per_g == pytest.approx(charge_to_metal_Ah_per_g(formula), rel=2e-4)
    assert solids["iron"].charge_Ah_per_g == 0
    assert solids["potassium-carbonate"].charge_Ah_per_g == 0


def test_the_measurement_that_would_narrow_most_is_named():
    name, share = close_cell(invent(4).inputs, draws=200).narrowing["closure"]
    assert name == "phase fractions"
    assert 0.5 < share <= 1


def test_a_cell_is_closed_in_tens_of_milliseconds():
    inputs = invent(4).inputs
    close_cell(inputs)
    start = process_time()
    for _ in range(5):
        close_cell(inputs)
    assert (process_time() - start) / 5 < 0.06


def test_a_cell_without_iron_is_refused():
    cell = invent(4).inputs
    with pytest.raises(NothingToBalance, match="iron built in"):
        replace(cell, built=replace(cell.built, iron_powder_g=Quantity(0.0)))
    with pytest.raises(NothingToBalance, match="5 phases"):
        replace(cell, powder=replace(cell.powder, fractions=np.array([0.5, 0.5])))


@pytest.mark.parametrize(
    ("part", "name", "reading", "words"),
    [
        ("history", "charge_total_Ah", Quantity(0.0, 0.1), "total charge"),
        ("history", "charge_total_Ah", Quantity(10.0, 4.0), "total charge"),
        ("recovered", "thickness_um", Quantity(0.0, 5.0), "thickness"),
        ("built", "iron_powder_g", Quantity(1.2, 0.5), "iron built in"),
        ("sections", "porosity", Quantity(float("nan"), 0.02), "porosity"),
        ("water", "lost_g", Quantity(11.0, -0.1), "lost_g"),
    ],
)
def test_no_ratio_is_made_of_what_may_be_zero_and_no_number_of_none(part, name, reading, words):
    inputs = invent(1).inputs
    spoiled = replace(getattr(inputs, part), **{name: reading})
    with pytest.raises(NothingToBalance, match=words):
        replace(inputs, **{part: spoiled})


def test_draws_that_leave_no_phase_take_the_measured_fractions():
    inputs = invent(1).inputs
    vague = replace(inputs.powder, covariance=np.eye(len(inputs.powder.solids)))
    found = close_cell(replace(inputs, powder=vague), draws=2000)
    assert all(np.isfinite([shown.low, shown.high]).all() for shown in found.shown.values())
