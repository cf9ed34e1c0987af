"""Cycles counted, completed, classed; efficiencies; what rests and steps of current show."""

import numpy as np
import pytest

from teardown.science.electrochemistry.columns import Series
from teardown.science.electrochemistry.cycles import count_cycles
from teardown.science.electrochemistry.efficiency import efficiency
from teardown.science.electrochemistry.joining import PartsOverlap, join
from teardown.science.electrochemistry.phantoms import Life, cycling_history
from teardown.science.electrochemistry.rates import rate_classes
from teardown.science.electrochemistry.resistance import step_resistance
from teardown.science.electrochemistry.rests import self_discharge
from teardown.science.electrochemistry.sign import slope_vote
from teardown.science.electrochemistry.steps import Steps, find_steps
from teardown.science.electrochemistry.table import tabulate


def _steps(kind: list[int]) -> Steps:
    places = np.arange(len(kind))
    return Steps(places, places, np.array(kind), places)


def test_a_cycle_opens_at_the_charge_after_a_discharge() -> None:
    cycles = count_cycles(_steps([1, 0, -1, 0, 1, 0, -1]), np.array([1, 0, 0.9, 0, 1, 0, 0.9]))
    assert cycles.of_step.tolist() == [0, 0, 0, 0, 1, 1, 1]


def test_a_cycle_may_open_at_the_discharge() -> None:
    cycles = count_cycles(_steps([-1, 1, -1, 1]), np.ones(4), opens="discharge")
    assert cycles.of_step.tolist() == [0, 0, 1, 1]


def test_pulses_open_no_cycle() -> None:
    kind = [1, -1, 1, -1, 1, -1]
    cycles = count_cycles(_steps(kind), np.array([0.5, 0.001, 0.5, 1.0, 1.0, 1.0]))
    assert len(cycles) == 2


def test_a_thousand_pulses_do_not_pass_for_cycles() -> None:
    kind = [1, -1] * 1000 + [1, -1, 1, -1]
    charge = np.array([1e-4] * 2000 + [1.0] * 4)
    assert len(count_cycles(_steps(kind), charge)) == 2


def test_where_cycles_begin_with_discharge_the_charge_before_it_counts() -> None:
    found = efficiency(
        np.array([1.0, 2.0, 4.0]), np.array([0.9, 0.8, 1.0]), np.ones(3, bool), discharge_first=True
    )
    assert np.isnan(found[0])
    assert found[1:].tolist() == [0.8, 0.5]


def test_an_incomplete_cycle_has_no_efficiency() -> None:
    found = efficiency(np.ones(3), np.full(3, 0.9), np.array([True, False, True]), discharge_first=False)
    assert np.isnan(found).tolist() == [False, True, False]


def test_a_cycle_that_is_not_over_counts_in_no_comparison() -> None:
    phantom = cycling_history(cycles=6)
    cut = {n: c[:-12] for n, c in phantom.series.columns.items()}
    table = tabulate(Series(cut))
    assert table["complete"].tolist() == [1, 1, 1, 1, 1, 0]
    assert "OPEN_CYCLE" in {r.code for r in table.remarks}


def test_a_cycle_that_ends_with_its_last_discharge_is_complete() -> None:
    phantom = cycling_history(cycles=6)
    cut = {n: c[:-5] for n, c in phantom.series.columns.items()}
    assert tabulate(Series(cut))["complete"].all()


def test_other_currents_are_another_class_and_a_check_up() -> None:
    current = np.array([0.1, 0.1, 0.101, 0.02, 0.1, 0.099, 0.021])
    classes = rate_classes(current, np.ones(7))
    assert classes.tolist() == [0, 0, 0, 1, 0, 0, 1]


def test_a_fading_cell_stays_in_its_rate_class() -> None:
    phantom = cycling_history(cycles=40, life=Life(fade=0.015, gain=0.0))
    assert tabulate(phantom.series)["check_up"].sum() == 0


@pytest.mark.parametrize(("delay", "truth"), [(1.0, 0.2141), (10.0, 0.2856), (60.0, 0.3199)])
def test_resistance_depends_on_its_delay_and_says_so(delay: float, truth: float) -> None:
    """R = 0.20 ohm and a branch of 0.12 ohm, 8 s: a closed form."""
    time_s = np.concatenate((np.arange(0, 100, 10.0), 90 + np.arange(0, 200, 1.0)))
    current = np.where(np.arange(time_s.size) < 10, 0.0, -0.1)
    since = np.clip(time_s - 90, 0, None)
    voltage = 1.0 + current * (0.2 + 0.12 * -np.expm1(-since / 8))
    series = Series({"test_time_second": time_s, "current_ampere": current, "voltage_volt": voltage})
    ohm, met = step_resistance(series, find_steps(series), delay_s=delay)
    assert ohm[1] == pytest.approx(truth, abs=5e-4)
    assert met[1] == delay


def test_the_sign_is_proved_by_slopes_and_turns_with_the_current() -> None:
    series = cycling_history(cycles=4).series
    assert slope_vote(series.time_s, series.current_A, series.voltage_V) == pytest.approx(1.0)
    assert slope_vote(series.time_s, -series.current_A, series.voltage_V) == pytest.approx(-1.0)
    assert slope_vote(series.time_s, 0 * series.current_A, series.voltage_V) == 0.0


def test_a_long_rest_shows_what_it_cost() -> None:
    discharge = np.array([1.0, 1.0, 0.9, 1.0, 1.0])
    rest_h = np.array([0.5, 0.5, 48.5, 0.5, 0.5])
    lost = self_discharge(discharge, rest_h, np.ones(5))
    assert lost[2] == pytest.approx(0.05)
    assert np.isnan(np.delete(lost, 2)).all()


def test_rests_are_read_at_their_end() -> None:
    table = tabulate(cycling_history(cycles=3, rest_records=30).series)
    assert np.allclose(table["rest_after_charge_V"], 1.16, atol=0.001)
    assert np.allclose(table["rest_after_discharge_V"], 0.93, atol=0.001)
    assert np.all(table["relaxation_V"] > 0.15)


def test_two_parts_are_joined_by_their_clocks() -> None:
    first = cycling_history(cycles=3, start_unix_s=1e9).series
    later = cycling_history(cycles=3, start_unix_s=1e9 + float(first.time_s[-1]) + 3600).series
    whole, remarks = join([later, first])
    assert len(whole) == 2 * len(first)
    assert np.all(np.diff(whole.time_s) >= 0)
    assert whole.time_s[len(first)] - whole.time_s[len(first) - 1] == pytest.approx(3600)
    assert remarks == []


def test_parts_without_clocks_follow_at_once_with_a_word() -> None:
    part = cycling_history(cycles=3).series
    whole, remarks = join([part, part])
    assert [r.code for r in remarks] == ["TIME_RESTART"]
    assert whole.parts == (len(part),)
    assert len(tabulate(whole)) == 6


def test_parts_that_overlap_are_refused() -> None:
    part = cycling_history(cycles=3, start_unix_s=1e9).series
    with pytest.raises(PartsOverlap):
        join([part, part])


def test_a_step_clock_that_is_set_back_begins_a_step() -> None:
    time_s = np.arange(20.0)
    columns = {
        "test_time_second": time_s,
        "voltage_volt": 1 + time_s / 100,
        "current_ampere": np.full(20, 0.1),
    }
    assert len(find_steps(Series(columns))) == 1
    steps = find_steps(Series(columns | {"step_time_second": np.where(time_s < 12, time_s, time_s - 12)}))
    assert steps.first.tolist() == [0, 12]
