"""Factors that changed together are told from factors that did not."""

import numpy as np
import pytest

from teardown.science.reliability.aliasing import association, determines


def test_a_factor_changes_together_with_itself():
    levels = ["a", "b", "c"] * 10
    assert association(levels, [x.upper() for x in levels]) == pytest.approx(1.0)


def test_factors_set_apart_are_not_associated():
    rng = np.random.default_rng(1)
    found = [
        association(rng.integers(0, 3, 60).tolist(), rng.integers(0, 4, 60).tolist()) for _ in range(200)
    ]
    assert np.mean(found) < 0.08


def test_sides_do_not_matter():
    one, other = list("aabbccab"), list("xxyyzzxy")
    assert association(one, other) == pytest.approx(association(other, one))


def test_one_level_has_nothing_to_tell_apart():
    assert association(["a"] * 9, list("xyzxyzxyz")) == 0.0
    assert association([], []) == 0.0


def test_additive_that_follows_iron_for_nine_cells_in_ten():
    iron = ["lot A"] * 30 + ["lot B"] * 30
    additive = ["none"] * 27 + ["FeS"] * 3 + ["FeS"] * 27 + ["none"] * 3
    assert association(iron, additive) == pytest.approx(0.8, abs=0.03)


def test_a_chamber_determines_its_temperature():
    chambers, temperatures = list("AABBCC"), [25, 25, 25, 25, 40, 40]
    assert determines(chambers, temperatures)
    assert not determines(temperatures, chambers)
    assert not determines(["A", "A"], [25, 25])
