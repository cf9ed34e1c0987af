"""Lives with stopped tests: curves add up, order does not matter, and what does not fit is refused."""

import numpy as np
import pytest

from teardown.science.reliability.competing import aalen_johansen
from teardown.science.reliability.lifetimes import NotLifetimes, kaplan_meier, log_rank


@pytest.fixture
def cells():
    rng = np.random.default_rng(8)
    life = rng.integers(1, 40, 120).astype(float)
    return life, rng.integers(0, 4, 120), rng.integers(0, 3, 120)


def test_without_stopped_tests_the_curve_is_the_share_still_running():
    curve = kaplan_meier([1, 2, 2, 4, 9], [True] * 5)
    assert curve.survival.tolist() == pytest.approx([0.8, 0.4, 0.2, 0.0])
    assert curve.median == 2


def test_a_failure_counts_before_a_stop_at_the_same_time():
    curve = kaplan_meier([3, 3], [True, False])
    assert curve.survival.tolist() == [0.5]
    assert (curve.at_risk[0], curve.ends[0], curve.stopped[0]) == (2, 1, 1)


def test_a_median_that_was_not_reached_is_none():
    assert kaplan_meier([5, 6, 7], [True, False, False]).median is None


def test_shares_of_modes_and_of_running_cells_add_up_to_one(cells):
    life, mode, _ = cells
    incidence = aalen_johansen(life, mode)
    assert np.abs(incidence.share.sum(axis=1) + incidence.running - 1).max() < 1e-12


def test_one_mode_alone_is_one_less_the_running_share(cells):
    life, mode, _ = cells
    ended = mode > 0
    curve = kaplan_meier(life, ended)
    incidence = aalen_johansen(life, ended.astype(int))
    assert incidence.share[:, 0] == pytest.approx(1 - curve.survival, abs=1e-12)


def test_the_order_of_cells_does_not_matter(cells):
    life, mode, group = cells
    turned = np.random.default_rng(1).permutation(life.size)
    assert aalen_johansen(life, mode).standard_error == pytest.approx(
        aalen_johansen(life[turned], mode[turned]).standard_error
    )
    assert log_rank(life, mode > 0, group).chi_square == pytest.approx(
        log_rank(life[turned], (mode > 0)[turned], group[turned]).chi_square
    )


def test_limits_enclose_the_share(cells):
    life, mode, _ = cells
    incidence = aalen_johansen(life, mode)
    assert np.all(incidence.low <= incidence.share + 1e-12)
    assert np.all(incidence.share <= incidence.high + 1e-12)


def test_before_the_first_end_nothing_has_ended(cells):
    life, mode, _ = cells
    assert aalen_johansen(life + 10, mode).at(5.0, 1) == (0.0, 0.0, 0.0, 0.0)


def test_the_variance_of_a_share_matches_repeated_labs():
    rng = np.random.default_rng(3)
    found, errors = [], []
    for _ in range(600):
        life = rng.exponential(10, 60)
        stop = rng.uniform(5, 25, 60)
        mode = np.where(life < stop, rng.integers(1, 3, 60), 0)
        share, error, _, _ = aalen_johansen(np.minimum(life, stop), mode).at(8.0, 1)
        found.append(share)
        errors.append(error)
    assert np.mean(errors) == pytest.approx(np.std(found), rel=0.06)


def test_one_group_has_nothing_to_compare():
    result = log_rank([1, 2, 3], [True] * 3, [0, 0, 0])
    assert (result.degrees, result.p) == (0, 1.0)


@pytest.mark.parametrize(
    ("life", "ended"), [([], []), ([1, 2], [True]), ([-1.0], [True]), ([np.nan], [True]), ([[1.0]], [[True]])]
)
def test_lives_and_ends_that_do_not_fit_are_refused(life, ended):
    with pytest.raises(NotLifetimes):
        kaplan_meier(life, ended)


def test_no_end_at_all_has_no_modes():
    with pytest.raises(NotLifetimes):
        aalen_johansen([1.0, 2.0], [0, 0])
    with pytest.raises(NotLifetimes):
        log_rank([1.0, 2.0], [True, True], [0])
