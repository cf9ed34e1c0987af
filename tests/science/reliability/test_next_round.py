"""Gap-fillers part what changed together, use only what was used before, and gain what the algebra says."""

import numpy as np
import pytest

from teardown.science.reliability.next_round import TooFewRecipes, _Design, gap_fillers

ALIASED = {
    "R1": {"iron": "fine", "additive": "none"},
    "R2": {"iron": "coarse", "additive": "sulfide"},
}


def test_two_factors_that_changed_together_are_parted():
    first, second = gap_fillers(ALIASED, 2)
    assert {(first.base, first.factor, first.level), (second.base, second.factor, second.level)} <= {
        ("R1", "iron", "coarse"),
        ("R1", "additive", "sulfide"),
        ("R2", "iron", "fine"),
        ("R2", "additive", "none"),
    }
    assert first.pairs != second.pairs


def test_only_levels_that_were_used_are_proposed():
    tested = {
        f"R{i}": {"iron": iron, "alkali": alkali, "additive": additive}
        for i, (iron, alkali, additive) in enumerate(
            [("a", "5", "x"), ("b", "6", "y"), ("c", "7", "x"), ("a", "6", "z")]
        )
    }
    for filler in gap_fillers(tested, 20):
        assert filler.level in {recipe[filler.factor] for recipe in tested.values()}
        assert filler.was == tested[filler.base][filler.factor] != filler.level
        assert filler.pairs


def test_what_was_built_is_not_proposed_and_a_full_design_has_no_gap():
    full = {f"{iron}{additive}": {"iron": iron, "additive": additive} for iron in "ab" for additive in "xy"}
    assert gap_fillers(full, 4) == ()


def test_the_gain_is_the_rise_of_the_determinant():
    design = _Design(list(ALIASED.values()))
    recipe = {"iron": "coarse", "additive": "none"}
    before = np.linalg.slogdet(design.information)[1]
    gain = design.gain(recipe)
    design.add(recipe)
    assert gain == pytest.approx(np.linalg.slogdet(design.information)[1] - before, rel=1e-9)


def test_each_proposal_reckons_with_those_before_it():
    fillers = gap_fillers(ALIASED, 4)
    assert len({filler.pairs for filler in fillers}) == len(fillers)


def test_the_order_of_recipes_does_not_matter():
    turned = dict(reversed(ALIASED.items()))
    assert gap_fillers(ALIASED, 2) == gap_fillers(turned, 2)


def test_one_recipe_has_nothing_to_part():
    with pytest.raises(TooFewRecipes):
        gap_fillers({"R1": {"iron": "fine"}}, 2)
