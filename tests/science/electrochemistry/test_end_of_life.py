"""The reference, the fade, 80 %, the knee: known truth, and no claim where there is none."""

import numpy as np
import pytest
from numpy.typing import NDArray

from teardown.science.electrochemistry.knee import find_knee
from teardown.science.electrochemistry.phantoms import Life, cycling_history
from teardown.science.electrochemistry.retention import (
    NoCompleteCycle,
    Reference,
    fade,
    limit_cycle,
    reference_capacity,
)
from teardown.science.electrochemistry.summary import summarise

Array = NDArray[np.float64]


def alike(n: int, rho: float, seed: int) -> Array:
    """Draw noise of unit spread whose neighbours correlate by ``rho``."""
    rng = np.random.default_rng(seed)
    noise = np.empty(n)
    noise[0] = rng.standard_normal()
    for k in range(1, n):
        noise[k] = rho * noise[k - 1] + np.sqrt(1 - rho**2) * rng.standard_normal()
    return noise


def _bent(n: int) -> tuple[Array, Array, float]:
    cycle = np.arange(1.0, n + 1)
    knee = 0.6 * n
    return cycle, 1 - 0.05 * cycle / n - np.maximum(cycle - knee, 0) * 0.875 / n, knee


def test_a_bend_without_noise_is_found_where_it_is() -> None:
    cycle, capacity, knee = _bent(200)
    found = find_knee(cycle, capacity + 1e-6 * alike(200, 0, 1))
    assert found is not None
    assert found.cycle == pytest.approx(knee, abs=0.2)


@pytest.mark.parametrize("n", [40, 60, 200])
@pytest.mark.parametrize("rho", [0.0, 0.5, 0.9])
def test_the_interval_of_the_knee_holds_its_truth(n: int, rho: float) -> None:
    cycle, capacity, knee = _bent(n)
    found = [find_knee(cycle, capacity + 0.003 * alike(n, rho, seed)) for seed in range(60)]
    held = [k.low <= knee <= k.high for k in found if k is not None]
    off = [k.cycle - knee for k in found if k is not None]
    assert len(held) >= 57
    assert np.mean(held) >= 0.85
    assert np.sqrt(np.mean(np.square(off))) <= 1.0


@pytest.mark.parametrize("rho", [0.0, 0.6, 0.9])
def test_a_straight_fade_has_no_knee(rho: float) -> None:
    cycle = np.arange(1.0, 101)
    found = [find_knee(cycle, 1 - 0.003 * cycle + 0.003 * alike(100, rho, seed)) for seed in range(100)]
    assert sum(k is not None for k in found) == 0


@pytest.mark.parametrize("rho", [0.0, 0.6])
def test_the_rounded_top_of_a_gain_is_no_knee(rho: float) -> None:
    cycle = np.arange(1.0, 81)
    capacity = 1 - 0.2 * np.exp(-cycle / 7) - 0.003 * cycle
    peak = int(np.argmax(capacity))
    found = [find_knee(cycle[peak:], (capacity + 0.003 * alike(80, rho, s))[peak:]) for s in range(100)]
    assert sum(k is not None for k in found) <= 1


def test_too_few_cycles_have_no_knee() -> None:
    assert find_knee(np.arange(8.0), np.arange(8.0)[::-1]) is None


@pytest.mark.parametrize("noise", [0.002, 0.005, 0.01])
@pytest.mark.parametrize("n", [40, 200])
def test_the_reference_is_not_lifted_by_noise(n: int, noise: float) -> None:
    cycle = np.arange(float(n))
    truth = 1 - 0.2 * np.exp(-cycle / 8) - 0.08 * cycle / n
    off = [
        reference_capacity(cycle + 1, truth + noise * alike(n, 0, s)).value_Ah - truth.max()
        for s in range(60)
    ]
    assert abs(np.mean(off)) < 0.35 * noise


def test_a_reference_needs_a_complete_cycle() -> None:
    with pytest.raises(NoCompleteCycle, match="No complete cycle"):
        reference_capacity(np.zeros(0), np.zeros(0))


def test_fade_is_the_slope_from_the_peak_on() -> None:
    cycle = np.arange(1.0, 101)
    capacity = 1 - 0.002 * cycle
    found = fade(cycle, capacity, Reference(1.0, 1, 1, 1.0, 0, 0, 100))
    assert found is not None
    assert found.per_cycle == pytest.approx(0.002)
    assert found.low <= found.per_cycle <= found.high
    rising = fade(cycle, capacity[::-1], Reference(1.0, 1, 1, 1.0, 0, 0, 100))
    assert rising is not None
    assert rising.per_cycle == pytest.approx(-0.002)


REFERENCE = Reference(1.0, 1.0, 1.0, 1.0, 0.0, 0.0, 50)


def test_eighty_percent_is_interpolated_between_neighbours() -> None:
    cycle = np.arange(1.0, 61)
    found = limit_cycle(cycle, 1 - 0.005 * (cycle - 1), REFERENCE, end=None)
    assert found.status == "reached"
    assert found.cycle == pytest.approx(41.0)


def test_a_single_dip_is_not_the_end() -> None:
    capacity = np.full(50, 0.95)
    capacity[20:22] = 0.7
    assert limit_cycle(np.arange(1.0, 51), capacity, REFERENCE, end=None).status == "censored-running"


@pytest.mark.parametrize(
    ("end", "status"),
    [
        (None, "censored-running"),
        ("planned end", "censored-planned"),
        ("stopped for diagnosis", "censored-diagnosis"),
        ("lab fault", "censored-fault"),
        ("leak", "other-failure"),
        ("capacity limit", "other-failure"),
    ],
)
def test_a_test_that_stops_high_is_censored_by_its_end(end: str | None, status: str) -> None:
    found = limit_cycle(np.arange(1.0, 31), np.full(30, 0.95), REFERENCE, end=end)
    assert (found.status, found.cycle) == (status, None)


def test_a_cell_ended_by_its_limit_counts_although_it_stops_just_above() -> None:
    capacity = np.linspace(1.0, 0.803, 40)
    found = limit_cycle(np.arange(1.0, 41), capacity, REFERENCE, end="capacity limit")
    assert (found.status, found.cycle) == ("reached-by-limit", 40.0)


def test_the_last_cycles_of_an_ended_test_need_no_confirmation() -> None:
    capacity = np.append(np.full(30, 0.9), 0.75)
    cycle = np.arange(1.0, 32)
    assert limit_cycle(cycle, capacity, REFERENCE, end="capacity limit").status == "reached"
    assert limit_cycle(cycle, capacity, REFERENCE, end=None).status == "censored-running"


def test_a_whole_life_is_summed_up() -> None:
    phantom = cycling_history(cycles=200, life=Life(knee_cycle=120, noise=0.003), seed=4)
    found = summarise(phantom.series, iron_mass_g=1.2, end="capacity limit")
    truth = Life(knee_cycle=120).capacities(200)
    assert found.value("q_ref_Ah") == pytest.approx(truth.max(), rel=0.004)
    assert found.value("knee_cycle") == pytest.approx(120, abs=3)
    below = float(np.argmax(truth < 0.8 * truth.max()))
    assert found.value("cycles_to_80") == pytest.approx(below, abs=4)
    assert found.value("utilisation_2e") == pytest.approx(truth.max() / (0.95985 * 1.2), rel=0.005)
    assert found.value("first_plateau_ref_Ah") == pytest.approx(
        phantom.first_plateau_share * truth.max(), rel=0.05
    )
    assert found.status == "reached"


def test_iron_that_could_not_give_this_much_is_an_error() -> None:
    phantom = cycling_history(cycles=5)
    for mass in (0.1, 1000.0):
        codes = {r.code for r in summarise(phantom.series, iron_mass_g=mass).remarks}
        assert "CAPACITY_IMPLAUSIBLE" in codes
    assert "CAPACITY_IMPLAUSIBLE" not in {r.code for r in summarise(phantom.series, iron_mass_g=1.2).remarks}


@pytest.mark.parametrize("records", [12, 30])
def test_the_interval_of_an_energy_efficiency_holds_the_truth_though_records_are_few(records: int) -> None:
    phantom = cycling_history(cycles=20, records=records, rest_records=3, voltage_noise_V=8e-4, seed=2)
    found = summarise(phantom.series).metrics
    truth = float(np.median(phantom.discharge_Wh / phantom.charge_Wh))
    efficiency, of_voltage = found["energy_efficiency"], found["voltage_efficiency"]
    assert efficiency.low <= truth <= efficiency.high
    assert efficiency.high - efficiency.low < 0.04 * truth
    by_voltage = truth / float(np.median(phantom.discharge_Ah / phantom.charge_Ah))
    assert of_voltage.low <= by_voltage <= of_voltage.high
