"""The median over cells: between order statistics, honest where cells are few."""

import numpy as np
import pytest

from teardown.science.balance.across import NoCells, median_of


@pytest.mark.parametrize(
    ("n", "rank"),
    # lower ranks of the two-sided sign test at 5 %: handbook tables of the sign test (e.g. Conover, Practical
    # Nonparametric Statistics, table of the binomial; the ranks are from memory and recomputed by hand for 6)
    [(6, 1), (8, 1), (9, 2), (12, 3), (20, 6), (30, 10)],
)
def test_the_interval_lies_between_the_ranks_of_the_sign_test(n: int, rank: int) -> None:
    found = median_of([float(k) for k in range(1, n + 1)], "1")
    assert (found.low, found.high) == (rank, n + 1 - rank)
    assert found.n == n


@pytest.mark.parametrize("draw", ["normal", "lognormal", "exponential"])
def test_the_interval_holds_the_median_however_cells_spread(draw: str) -> None:
    rng = np.random.default_rng(4)
    truth = {"normal": 0.0, "lognormal": 1.0, "exponential": np.log(2)}[draw]
    held = 0
    for _ in range(800):
        values = {
            "normal": rng.standard_normal,
            "lognormal": lambda n: np.exp(rng.standard_normal(n)),
            "exponential": rng.standard_exponential,
        }[draw](11)
        found = median_of(values.tolist(), "1")
        held += found.low <= truth <= found.high
    assert 0.94 < held / 800 <= 1.0


def test_few_cells_have_no_interval_and_say_so() -> None:
    found = median_of([3.0, 1.0, 2.0], "Ah")
    assert (found.value, found.low, found.high, found.n) == (2.0, 1.0, 3.0, 3)
    assert "no interval" in found.method
    assert median_of([1.5], "Ah").value == 1.5


def test_the_order_of_cells_does_not_matter() -> None:
    assert median_of([1.0, 5.0, 2.0, 9.0], "1") == median_of([9.0, 2.0, 1.0, 5.0], "1")


def test_no_cell_gives_no_number() -> None:
    with pytest.raises(NoCells):
        median_of([], "1")
