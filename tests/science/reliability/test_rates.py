"""Shares of cells: intervals hold what they promise, turn with their counts, and refuse what cannot be."""

import numpy as np
import pytest
from scipy import special, stats

from teardown.science.reliability import rates

EVERY = [rates.wilson, rates.jeffreys, rates.clopper_pearson, rates.mid_p]


def coverage(interval, number: int, truths: np.ndarray) -> np.ndarray:
    """Give the exact chance that the interval of a binomial count holds the truth."""
    count = np.arange(number + 1)
    low, high = interval(count, number)
    chance = stats.binom.pmf(count[:, None], number, truths[None, :])
    inside = (low[:, None] <= truths) & (truths <= high[:, None])
    return (chance * inside).sum(axis=0)


@pytest.mark.parametrize(
    ("interval", "number", "mean", "least"),
    [
        (rates.wilson, 5, 0.954, 0.837),
        (rates.jeffreys, 5, 0.957, 0.892),
        (rates.clopper_pearson, 5, 0.990, 0.975),
        (rates.wilson, 20, 0.954, 0.896),
        (rates.jeffreys, 20, 0.951, 0.894),
        (rates.clopper_pearson, 20, 0.977, 0.958),
    ],
)
def test_intervals_hold_the_truth_as_often_as_computed(interval, number, mean, least):
    exact = coverage(interval, number, np.linspace(0.01, 0.5, 491))
    assert exact.mean() == pytest.approx(mean, abs=0.002)
    assert exact.min() == pytest.approx(least, abs=0.006)


@pytest.mark.parametrize("interval", EVERY)
def test_counting_the_others_mirrors_the_interval(interval):
    low, high = interval([0, 3, 7, 12], 12)
    other_low, other_high = interval([12, 9, 5, 0], 12)
    assert low == pytest.approx(1 - other_high, abs=1e-12)
    assert high == pytest.approx(1 - other_low, abs=1e-12)


@pytest.mark.parametrize("interval", EVERY)
def test_none_of_the_cells_starts_at_zero_and_all_of_them_end_at_one(interval):
    low, high = interval([0, 20], 20)
    assert (low[0], high[1]) == (0.0, 1.0)
    assert 0 < high[0] < 0.2


@pytest.mark.parametrize("interval", EVERY)
@pytest.mark.parametrize(("count", "number"), [(3, 2), (-1, 5), (0, 0)])
def test_a_count_that_cannot_be_is_refused(interval, count, number):
    with pytest.raises(rates.ImpossibleCount):
        interval(count, number)


def test_a_difference_turns_with_its_sides():
    difference, low, high = rates.newcombe_difference([5, 0], [10, 8], [2, 4], [9, 9])
    turned, turned_low, turned_high = rates.newcombe_difference([2, 4], [9, 9], [5, 0], [10, 8])
    assert difference == pytest.approx(-turned)
    assert low == pytest.approx(-turned_high)
    assert high == pytest.approx(-turned_low)


def test_a_share_carries_its_cells():
    share = rates.share(3, 12)
    assert (share.value, share.n, share.unit) == (0.25, 12, "1")


def test_equal_chambers_are_worth_their_cells_but_pay_for_their_number():
    share = rates.clustered_share([5, 5, 5, 5], [10, 10, 10, 10])
    low, _ = rates.wilson(20, 40)
    assert share.low < low
    t = special.stdtrit(3, 0.975)
    assert share.low == pytest.approx(0.5 - 0.5 * t / np.sqrt(40 + t**2))


def test_chambers_that_differ_widen_the_interval():
    alike = rates.clustered_share([5, 5, 5, 5], [10] * 4)
    apart = rates.clustered_share([0, 10, 0, 10], [10] * 4)
    assert apart.half_width > 1.5 * alike.half_width


def test_all_alike_counts_the_chambers_only():
    low, high = (float(limit) for limit in rates._score_interval(np.asarray(0.0), np.asarray(3.0), 4.302653))
    share = rates.clustered_share([0, 0, 0], [10, 12, 9])
    assert (share.low, share.high) == pytest.approx((low, high), abs=1e-6)


def test_one_chamber_gives_no_interval():
    with pytest.raises(rates.TooFewClusters, match="10 cells came from 1 chamber"):
        rates.clustered_share([3], [10])


@pytest.mark.parametrize("chambers", [4, 6, 10])
@pytest.mark.parametrize("correlation", [0.0, 0.1, 0.3])
def test_clustered_intervals_hold_the_truth(chambers, correlation):
    rng = np.random.default_rng(chambers)
    truth, cells, inside, draws = 0.35, 10, 0, 2000
    for _ in range(draws):
        if correlation:
            scale = 1 / correlation - 1
            p = rng.beta(truth * scale, (1 - truth) * scale, chambers)
        else:
            p = np.full(chambers, truth)
        share = rates.clustered_share(rng.binomial(cells, p), [cells] * chambers)
        inside += share.low <= truth <= share.high
    assert inside / draws > 0.925


def test_undetermined_cells_give_bounds():
    assert rates.bounds_with_undetermined(3, 10, 0) == (0.3, 0.3)
    assert rates.bounds_with_undetermined(3, 10, 2) == (0.25, 5 / 12)
    with pytest.raises(rates.ImpossibleCount):
        rates.bounds_with_undetermined(3, 10, -1)


@pytest.mark.parametrize(
    ("split", "p"),
    [([2, 2], 1 / 3), ([3, 3], 0.1), ([4, 4], 2 / 70), ([5, 5], 2 / 252), ([1, 5], 1 / 6), ([4], 1)],
)
def test_few_chambers_can_only_reach_a_large_p(split, p):
    assert rates.smallest_p(split) == pytest.approx(p)


def test_no_chamber_reaches_nothing():
    with pytest.raises(rates.ImpossibleCount):
        rates.smallest_p([])
