"""Assessors who agree, who guess, and who judge a rare mode."""

import numpy as np
import pytest
from scipy.stats import binomtest

from teardown.science.reliability.agreement import NotAnAgreementTable, agreement, table_of, weighted_kappa


def test_full_agreement_is_one():
    found = agreement([[12, 0], [0, 20]])
    assert found.kappa.value == pytest.approx(1)
    assert found.ac1.value == pytest.approx(1)
    assert found.positive == 1


@pytest.mark.parametrize("statistic", ["kappa", "ac1"])
def test_where_none_disagreed_more_readings_prove_more(statistic):
    few, many = (getattr(agreement(np.diag([n, 10 * n])), statistic) for n in (4, 400))
    assert few.high == many.high == 1
    assert few.low < many.low < 1


def test_one_cell_of_a_rare_mode_on_which_both_agree_proves_nothing_beyond_chance():
    found = agreement(np.diag([1, 41]))
    assert found.kappa.low < 0
    assert found.ac1.low > 0.9


@pytest.mark.parametrize("n", [3, 10, 42, 500])
def test_the_share_of_disagreement_left_possible_is_the_exact_binomial_limit(n: int) -> None:
    """Clopper and Pearson's limit as scipy has it: of two equally frequent answers, chance agrees on half."""
    found = agreement(np.diag([n, n])).kappa
    limit = binomtest(0, 2 * n).proportion_ci(0.95, method="exact").high
    assert found.low == pytest.approx(1 - 2 * limit)


def test_guessing_agrees_as_chance_would():
    assert agreement([[25, 25], [25, 25]]).kappa.value == pytest.approx(0)


def test_a_rare_mode_shows_why_one_number_misleads():
    found = agreement([[1, 3], [2, 94]])
    assert found.observed == pytest.approx(0.95)
    assert found.kappa.value == pytest.approx(0.26, abs=0.005)
    assert found.ac1.value == pytest.approx(0.95, abs=0.005)
    assert found.positive == pytest.approx(0.29, abs=0.005)


def test_swapping_assessors_changes_nothing():
    table = np.array([[10, 3, 1], [2, 14, 4], [0, 5, 9]])
    one, other = agreement(table), agreement(table.T)
    assert one.kappa.as_dict() == pytest.approx(other.kappa.as_dict())
    assert one.ac1.value == pytest.approx(other.ac1.value)


@pytest.mark.parametrize("statistic", ["kappa", "ac1"])
def test_intervals_hold_the_truth(statistic):
    rng = np.random.default_rng(4)
    p = np.array([[0.25, 0.07, 0.03], [0.05, 0.30, 0.05], [0.04, 0.06, 0.15]])
    truth = getattr(agreement(p * 1e6), statistic).value
    inside = 0
    for _ in range(800):
        found = getattr(agreement(rng.multinomial(120, p.ravel()).reshape(3, 3)), statistic)
        inside += found.low <= truth <= found.high
    assert 0.93 < inside / 800 < 0.97


def test_answers_make_a_table():
    assert table_of(["a", "b", "a"], ["a", "b", "b"]).tolist() == [[1, 1], [0, 1]]
    with pytest.raises(NotAnAgreementTable):
        table_of(["a"], [])


def test_one_answer_only_leaves_kappa_open():
    assert agreement([[7]]).kappa is None
    assert agreement([[0, 1], [0, 41]]).kappa is None, "the second assessor never gave the first answer"


def test_a_hundred_double_readings_are_needed_for_a_verdict():
    assert not agreement([[40, 5], [5, 49]]).enough
    assert agreement([[40, 5], [5, 50]]).enough


@pytest.mark.parametrize("table", [[[1, 2]], [[-1, 2], [2, 1]], [[0, 0], [0, 0]]])
def test_what_is_no_table_is_refused(table):
    with pytest.raises(NotAnAgreementTable):
        agreement(table)


def test_on_an_ordered_scale_near_answers_count_as_near():
    near, far = [[9, 3, 0], [0, 9, 3], [0, 0, 9]], [[9, 0, 3], [3, 9, 0], [0, 0, 9]]
    assert weighted_kappa(near).value > weighted_kappa(far).value
    assert weighted_kappa(np.diag([4, 5, 6])).value == pytest.approx(1)


def test_with_two_answers_weights_change_nothing_and_neither_does_who_comes_first():
    table = np.array([[20, 5], [10, 15]])
    assert weighted_kappa(table).value == pytest.approx(agreement(table).kappa.value)
    three = np.array([[8, 3, 1], [2, 9, 2], [0, 4, 7]])
    assert weighted_kappa(three).value == pytest.approx(weighted_kappa(three.T).value)


def test_one_answer_alone_gives_no_weighted_kappa():
    assert weighted_kappa([[7, 0], [0, 0]]) is None
    with pytest.raises(NotAnAgreementTable):
        weighted_kappa([[1, 2]])
