"""Rates, lifetimes, competing modes and agreement against published values and reference libraries."""

import numpy as np
import pytest
from scipy import stats

from teardown.science.reliability import rates
from teardown.science.reliability.agreement import agreement, weighted_kappa
from teardown.science.reliability.competing import aalen_johansen
from teardown.science.reliability.lifetimes import kaplan_meier, log_rank

# Freireich, E. J. et al., Blood 21 (1963) 699: weeks of remission, 6-mercaptopurine and placebo.
TREATED = [6, 6, 6, 7, 10, 13, 16, 22, 23, 6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35]
TREATED_ENDED = [True] * 9 + [False] * 12
PLACEBO = [1, 1, 2, 2, 3, 4, 4, 5, 5, 8, 8, 8, 8, 11, 11, 12, 12, 15, 17, 22, 23]

# Klein and Moeschberger, Survival Analysis: 54 low-risk AML patients after marrow transplantation, days to
# relapse (1), death (2) or last seen (0); file bmt.txt of the CAMIS project (R and SAS compared).
MARROW = """
2569 0 2506 0 2409 0 2218 0 1857 0 1829 0 1562 0 1470 0 1363 0 1030 0 860 0 1258 0 2246 0 1870 0 1799 0
1709 0 1674 0 1568 0 1527 0 1324 0 957 0 932 0 847 0 848 0 1850 0 1843 0 1535 0 1447 0 1384 0 414 2
2204 2 1063 2 481 2 105 2 641 2 390 2 288 2 421 1 79 2 748 1 486 1 48 2 272 1 1074 2 381 1 10 2 53 2
80 2 35 2 248 1 704 2 211 1 219 1 606 1
"""


@pytest.mark.parametrize(
    ("interval", "low", "high"),
    [
        # CAMIS project, confidence intervals for proportions, 36 of 154 (R and SAS agree)
        (rates.wilson, 0.174, 0.307),
        (rates.jeffreys, 0.172, 0.305),
        (rates.clopper_pearson, 0.169, 0.309),
    ],
)
def test_intervals_of_36_in_154(interval, low, high):
    assert tuple(np.round(interval(36, 154), 3)) == (low, high)


def test_mid_p_interval_of_36_in_154_to_eight_digits():
    # SAS value quoted by the CAMIS project
    assert rates.mid_p(36, 154) == pytest.approx((0.17200131, 0.30545883), abs=6e-9)


def test_score_interval_of_19_in_38_to_twelve_digits():
    # statsmodels' own test values for proportion_confint(method="wilson")
    assert rates.wilson(19, 38) == pytest.approx((0.348499283643951, 0.651500716356049), abs=1e-12)


@pytest.mark.parametrize(
    ("count", "number", "score", "exact", "mid"),
    [
        # Newcombe, R. G., Stat. Med. 17 (1998) 857, table I (numbers from memory)
        (81, 263, (0.2553, 0.3662), (0.2527, 0.3676), (0.2544, 0.3658)),
        (15, 148, (0.0624, 0.1605), (0.0578, 0.1617), (0.0601, 0.1581)),
        (0, 20, (0.0, 0.1611), (0.0, 0.1684), (0.0, 0.1391)),
        (1, 29, (0.0061, 0.1718), (0.0009, 0.1776), (0.0017, 0.1585)),
    ],
)
def test_newcombes_examples_come_out_to_four_digits(count, number, score, exact, mid):
    assert tuple(np.round(rates.wilson(count, number), 4)) == score
    assert tuple(np.round(rates.clopper_pearson(count, number), 4)) == exact
    assert tuple(np.round(rates.mid_p(count, number), 4)) == mid


def test_newcombes_difference_comes_out_to_four_digits():
    # Newcombe, R. G., Stat. Med. 17 (1998) 873, 56/70 - 48/80 (numbers from memory)
    found = [float(np.round(value, 4)) for value in rates.newcombe_difference(56, 70, 48, 80)]
    assert found == [0.2, 0.0524, 0.3339]


def test_intervals_agree_with_scipy_for_every_count():
    for number in (5, 17, 40):
        for count in range(number + 1):
            test = stats.binomtest(count, number)
            wilson = test.proportion_ci(method="wilson")
            exact = test.proportion_ci(method="exact")
            assert rates.wilson(count, number) == pytest.approx((wilson.low, wilson.high), abs=1e-12)
            assert rates.clopper_pearson(count, number) == pytest.approx((exact.low, exact.high), abs=1e-9)


def test_differences_agree_with_statsmodels():
    from statsmodels.stats.proportion import confint_proportions_2indep

    theirs = confint_proportions_2indep(7, 34, 1, 34, method="newcomb")
    _, low, high = rates.newcombe_difference(7, 34, 1, 34)
    assert (float(low), float(high)) == pytest.approx(theirs, abs=1e-12)


def test_central_mid_p_of_a_published_table():
    # exact2x2 (R), vignette on mid-p values: 15 of 17 against 6 of 12
    assert rates.mid_p_of_table(15, 17, 6, 12) == pytest.approx(0.03578, abs=5e-6)


def test_survival_of_the_treated_comes_out_to_four_digits():
    # Kleinbaum and Klein, Survival Analysis (numbers from memory)
    curve = kaplan_meier(TREATED, TREATED_ENDED)
    at = [int(np.flatnonzero(curve.time == week)[0]) for week in (6, 7, 10, 13, 16, 22, 23)]
    survival = [0.8571, 0.8067, 0.7529, 0.6902, 0.6275, 0.5378, 0.4482]
    error = [0.0764, 0.0869, 0.0963, 0.1068, 0.1141, 0.1282, 0.1346]
    assert np.round(curve.survival[at], 4).tolist() == survival
    assert np.round(curve.standard_error[at], 4).tolist() == error
    assert curve.median == 23
    assert kaplan_meier(PLACEBO, [True] * 21).median == 8


def test_survival_limits_agree_with_scipy():
    theirs = stats.ecdf(
        stats.CensoredData.right_censored(TREATED, np.logical_not(TREATED_ENDED))
    ).sf.confidence_interval(method="log-log")
    ours = kaplan_meier(TREATED, TREATED_ENDED)
    assert ours.low == pytest.approx(theirs.low.probabilities, abs=1e-12)
    assert ours.high == pytest.approx(theirs.high.probabilities, abs=1e-12)


def test_log_rank_of_the_remission_trial():
    # Kleinbaum and Klein: chi-square 16.79, expected 10.75 and 19.25 (numbers from memory)
    group = [1] * 21 + [0] * 21
    result = log_rank(PLACEBO + TREATED, [True] * 21 + TREATED_ENDED, group)
    assert result.chi_square == pytest.approx(16.7929, abs=5e-5)
    assert result.expected[::-1] == pytest.approx([10.7495, 19.2505], abs=5e-5)


def test_log_rank_within_strata_agrees_with_statsmodels():
    from statsmodels.duration.survfunc import survdiff

    rng = np.random.default_rng(2)
    life, ended = rng.integers(1, 30, 200), rng.random(200) < 0.7
    group, stratum = rng.integers(0, 4, 200), rng.integers(0, 5, 200)
    chi_square, p = survdiff(life, ended.astype(int), group, strata=stratum)
    ours = log_rank(life, ended, group, stratum)
    assert (ours.chi_square, ours.p) == pytest.approx((chi_square, p), abs=1e-9)


@pytest.mark.parametrize(
    ("years", "share", "error", "low", "high"),
    [
        # CAMIS project, cumulative incidence of relapse in low-risk AML (R and SAS agree)
        (1.0, 0.0741, 0.0360, 0.0234, 0.1646),
        (1.5, 0.1296, 0.0463, 0.0563, 0.2344),
        (2.0, 0.1481, 0.0489, 0.0685, 0.2565),
        (3.0, 0.1667, 0.0514, 0.0813, 0.2783),
    ],
)
def test_incidence_of_relapse_after_marrow_transplantation(years, share, error, low, high):
    life, mode = np.array(MARROW.split(), dtype=int).reshape(-1, 2).T
    assert life.size == 54
    found = aalen_johansen(life, mode).at(365.25 * years, 1)
    assert tuple(np.round(found, 4)) == (share, error, low, high)


def test_kappa_of_a_textbook_table():
    # arithmetic: 0.70 observed, 0.50 by chance
    assert agreement([[20, 5], [10, 15]]).kappa.value == pytest.approx(0.4)


def test_kappa_and_its_error_agree_with_statsmodels():
    from statsmodels.stats.inter_rater import cohens_kappa

    for seed in range(5):
        table = np.random.default_rng(seed).integers(1, 20, (4, 4))
        theirs = cohens_kappa(table)
        ours = agreement(table)
        assert ours.kappa.value == pytest.approx(theirs.kappa, abs=1e-12)
        assert ours.kappa_standard_error == pytest.approx(theirs.std_kappa, abs=1e-12)


@pytest.mark.parametrize(("power", "name"), [(1, "linear"), (2, "quadratic")])
def test_weighted_kappa_and_its_interval_agree_with_statsmodels_and_scikit_learn(power, name):
    """Cohen 1968; variance of Fleiss, Cohen and Everitt 1969, as statsmodels has it."""
    from sklearn.metrics import cohen_kappa_score
    from statsmodels.stats.inter_rater import cohens_kappa

    rng = np.random.default_rng(4)
    for _ in range(5):
        table = rng.integers(0, 20, (5, 5)) + 3 * np.eye(5, dtype=int)
        found, theirs = weighted_kappa(table, power=power), cohens_kappa(table, wt=name)
        assert found.value == pytest.approx(theirs.kappa, abs=1e-12)
        assert (found.low, found.high) == pytest.approx((theirs.kappa_low, theirs.kappa_upp), abs=1e-9)
        first, second = (np.repeat(side.ravel(), table.ravel()) for side in np.indices(table.shape))
        assert found.value == pytest.approx(cohen_kappa_score(first, second, weights=name), abs=1e-12)
