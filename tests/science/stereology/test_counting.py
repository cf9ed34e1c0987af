"""Counts by a person, and how they stand beside the computer's."""

import numpy as np
import pytest

from teardown.science.stereology.counting import (
    NothingCounted,
    crossing_coverage,
    paired,
    point_fraction,
    point_grid,
    single_field_fraction,
)


def test_the_grid_has_about_the_asked_points_and_is_set_by_the_seed():
    """Its offset is drawn before anyone looks."""
    grid = point_grid((768, 1024), 400, seed=3)
    assert abs(len(grid) - 400) < 45
    assert np.array_equal(grid, point_grid((768, 1024), 400, seed=3))
    assert grid.min() >= 0
    assert (grid.max(axis=0) < [1024, 768]).all()


def test_points_counted_on_fields_average_with_student_s_interval():
    """Six fields of 25 points; mean, s and t as any textbook has them."""
    hits = [5, 6.5, 4, 7, 5.5, 6]
    found = point_fraction(hits, [25] * 6)
    shares = np.array(hits) / 25
    assert found.value == pytest.approx(shares.mean())
    assert found.half_width == pytest.approx(2.5706 * shares.std(ddof=1) / np.sqrt(6), rel=1e-4)
    with pytest.raises(NothingCounted):
        point_fraction([5], [25])


def test_pairing_is_sharper_than_two_shares():
    """Three percent of 400 points differ: the difference has a standard error of 0.9 points."""
    person = [0] * 200 + [1] * 100 + [2] * 100
    computer = list(person)
    for k in range(6):
        computer[k], computer[200 + k] = 1, 0
    found = paired(person, computer)
    assert found.difference == (0, 0, 0)
    assert found.standard_error[0] == pytest.approx(0.0087, abs=2e-4)
    assert found.agreement == pytest.approx(0.97)
    assert found.p == (1, 1, 1)


def test_a_one_sided_difference_is_told_from_chance():
    """Ten points lost and none gained: McNemar's exact p is 2 / 1024."""
    person = [1] * 50 + [0] * 350
    computer = [0] * 10 + [1] * 40 + [0] * 350
    assert paired(person, computer).p[1] == pytest.approx(2 / 1024)


def test_crossings_nobody_can_tell_widen_the_interval():
    """They might all be oxide, or all pore."""
    sure, unsure = crossing_coverage(120, 80), crossing_coverage(120, 80, 20)
    assert sure.value == unsure.value == pytest.approx(0.6)
    assert unsure.low < sure.low < sure.high < unsure.high


def test_a_single_field_uses_its_points():
    """No hit among 400 still leaves up to about one percent."""
    found = single_field_fraction(0, 400)
    assert found.low == 0
    assert found.high == pytest.approx(0.0095, abs=5e-4)
