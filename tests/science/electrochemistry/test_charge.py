"""Charge and energy of half-cycles: by integral, by counter, and what is left in doubt."""

import numpy as np
import pytest

from teardown.science.electrochemistry.columns import Array, Series, SeriesTooShort
from teardown.science.electrochemistry.counters import count_charge, increments
from teardown.science.electrochemistry.integration import integrate
from teardown.science.electrochemistry.phantoms import Life, Phantom, cycling_history
from teardown.science.electrochemistry.steps import find_gaps, find_steps, noise_of_turns
from teardown.science.electrochemistry.table import tabulate

COUNTERS = ("charging_capacity_ah", "discharging_capacity_ah")


def without(series: Series, *names: str) -> Series:
    return Series({n: c for n, c in series.columns.items() if n not in names}, series.resolution)


def only(series: Series, keep: Array) -> Series:
    return Series({n: c[keep] for n, c in series.columns.items()})


def history(**more: float) -> Phantom:
    return cycling_history(cycles=6, records=100, rest_records=20, **more)  # type: ignore[arg-type]


def test_constant_current_integrates_exactly() -> None:
    phantom = history()
    table = tabulate(without(phantom.series, *COUNTERS))
    assert np.allclose(table["charge_Ah"], phantom.charge_Ah, rtol=1e-12)
    assert np.allclose(table["discharge_Ah"], phantom.discharge_Ah, rtol=1e-12)
    assert np.allclose(table["discharge_Wh"], phantom.discharge_Wh, rtol=1e-6)


def test_energy_holds_its_goal_with_few_records() -> None:
    phantom = cycling_history(cycles=3, records=40)
    table = tabulate(phantom.series)
    assert np.allclose(table["charge_Wh"], phantom.charge_Wh, rtol=1e-4)
    assert np.allclose(table["discharge_Wh"], phantom.discharge_Wh, rtol=1e-4)


def test_a_falling_current_is_not_overrated() -> None:
    tau_s, end_s = 600.0, 3000.0
    time_s = np.arange(0, end_s + 1, 30.0)
    current = 0.2 * np.exp(-time_s / tau_s)
    series = Series(
        {"test_time_second": time_s, "current_ampere": current, "voltage_volt": np.full(time_s.size, 1.7)}
    )
    truth_Ah = 0.2 * tau_s * -np.expm1(-end_s / tau_s) / 3600
    sums = integrate(series, find_steps(series))
    plain = float(np.trapezoid(current, time_s)) / 3600
    found = float(sums.charge_Ah[0].sum())
    assert abs(found / truth_Ah - 1) < 3e-6
    assert abs(plain / truth_Ah - 1) > 1e-4
    assert abs(found - truth_Ah) < 2 * float(sums.u_Ah.sum())


def test_turning_the_current_swaps_charge_and_discharge() -> None:
    series = without(history().series, *COUNTERS)
    turned = Series({**series.columns, "current_ampere": -series.current_A})
    steps = find_steps(series)
    up, down = integrate(series, steps).charge_Ah
    assert np.allclose(integrate(turned, find_steps(turned)).charge_Ah[0], down)
    assert np.allclose(integrate(turned, find_steps(turned)).charge_Ah[1], up)


@pytest.mark.parametrize("drop", ["first", "last", "both"])
def test_edges_that_were_not_logged_are_within_twice_the_stated_doubt(drop: str) -> None:
    phantom = history()
    series = without(phantom.series, *COUNTERS, "step_time_second")
    steps = find_steps(series)
    keep = np.ones(len(series), dtype=bool)
    flowing = steps.kind != 0
    if drop in ("first", "both"):
        keep[steps.first[flowing]] = False
    if drop in ("last", "both"):
        keep[steps.last[flowing]] = False
    table = tabulate(only(series, keep))
    for name, truth in (("charge", phantom.charge_Ah), ("discharge", phantom.discharge_Ah)):
        error = np.abs(table[f"{name}_Ah"] - truth)
        assert np.all(error <= 2 * table[f"u_{name}_Ah"])
        assert np.all(error > 1e-6 * truth)
    assert "EDGES_NOT_LOGGED" in {r.code for r in table.remarks}


def test_the_counter_makes_up_for_edges_that_were_not_logged() -> None:
    phantom = history()
    steps = find_steps(phantom.series)
    keep = np.ones(len(phantom.series), dtype=bool)
    keep[steps.first[steps.kind != 0]] = False
    keep[0] = True
    table = tabulate(without(only(phantom.series, keep), "step_time_second"))
    assert np.allclose(table["discharge_Ah"], phantom.discharge_Ah, rtol=1e-9)


def test_step_time_tells_what_lies_before_the_first_record() -> None:
    phantom = history()
    series = without(phantom.series, *COUNTERS)
    steps = find_steps(series)
    keep = np.ones(len(series), dtype=bool)
    keep[steps.first[steps.kind != 0]] = False
    table = tabulate(only(series, keep))
    assert np.allclose(table["discharge_Ah"], phantom.discharge_Ah, rtol=1e-9)


def test_a_gap_is_found_and_within_twice_its_doubt() -> None:
    phantom = history()
    keep = np.ones(len(phantom.series), dtype=bool)
    keep[20:70] = False
    series = without(only(phantom.series, keep), *COUNTERS)
    assert find_gaps(series).sum() == 1
    table = tabulate(series)
    assert abs(table["charge_Ah"][0] - phantom.charge_Ah[0]) <= 2 * table["u_charge_Ah"][0]
    assert table["u_charge_Ah"][0] > 0.1 * phantom.charge_Ah[0]


@pytest.mark.parametrize("scope", ["", "cycle_", "step_"])
@pytest.mark.parametrize("way", ["two", "cumulative", "net"])
def test_every_kind_of_counter_gives_the_truth(scope: str, way: str) -> None:
    phantom = history()
    columns = dict(without(phantom.series, *COUNTERS).columns)
    up, down = (phantom.series.columns[n] for n in COUNTERS)
    owner = {
        "": np.zeros(len(phantom.series)),
        "cycle_": columns["cycle_count"],
        "step_": columns["step_count"],
    }[scope]
    first = np.concatenate(([0], np.flatnonzero(np.diff(owner)) + 1))
    start = np.repeat(first, np.diff(np.concatenate((first, [owner.size]))))
    made = {
        "two": {"charging": up - up[start], "discharging": down - down[start]},
        "cumulative": {"cumulative": up + down - (up + down)[start]},
        "net": {"net": up - down - (up - down)[start]},
    }[way]
    columns |= {f"{scope}{name}_capacity_ah": values for name, values in made.items()}
    series = Series(columns)
    counts = count_charge(series, find_steps(series))
    assert counts is not None
    table = tabulate(series)
    assert np.allclose(table["charge_counter_Ah"], phantom.charge_Ah, rtol=1e-9)
    assert np.allclose(table["discharge_counter_Ah"], phantom.discharge_Ah, rtol=1e-9)


def test_gains_add_up_across_resets() -> None:
    gained, back = increments(np.array([0.0, 1.0, 2.0, 0.5, 1.5, 0.0]))
    assert gained.tolist() == [0, 1, 1, 0.5, 1, 0]
    assert back.tolist() == [False, False, False, True, False, True]


def test_the_identity_of_efficiencies_holds() -> None:
    table = tabulate(history().series)
    product = table["coulombic_efficiency"] * table["voltage_efficiency"]
    assert np.allclose(table["energy_efficiency"], product, rtol=1e-12)


def test_a_history_of_one_record_is_refused() -> None:
    with pytest.raises(SeriesTooShort, match=r"1 record"):
        Series({n: np.zeros(1) for n in ("test_time_second", "voltage_volt", "current_ampere")})
    with pytest.raises(SeriesTooShort, match="no voltage_volt"):
        Series({"test_time_second": np.zeros(5), "current_ampere": np.zeros(5)})


def test_records_lost_from_the_end_of_a_step_into_the_rest_are_in_doubt() -> None:
    """The gap has current on one side alone; what may have flowed in it is said."""
    phantom = cycling_history(cycles=12, life=Life(knee_cycle=None, fade=0.0))
    series, steps = phantom.series, find_steps(phantom.series)
    sixth = np.flatnonzero(steps.kind < 0)[6]
    length = steps.last[sixth] - steps.first[sixth]
    lost = slice(steps.last[sixth] - length // 4, steps.first[sixth + 1] + 2)
    keep = np.ones(len(series), dtype=bool)
    keep[lost] = False
    cut = Series({name: values[keep] for name, values in series.columns.items() if not name.endswith("_ah")})
    table = tabulate(cut)
    error = np.abs(table["discharge_Ah"] - phantom.discharge_Ah)
    assert error[6] > 0.05 * phantom.discharge_Ah[6]
    assert np.all(error <= 2 * table["u_discharge_Ah"] + 1e-6)
    assert np.all(np.delete(table["u_discharge_Ah"], 6) < 0.01 * phantom.discharge_Ah[0])
    assert "CHARGE_UNCERTAIN" in {r.code for r in table.remarks}


def test_the_energy_of_few_records_is_within_twice_its_doubt_and_said_to_be_uncertain() -> None:
    """Six records on a curve with a steep start: what lies between them is not seen."""
    time, current, voltage = [], [], []
    truth = []
    at = 0.0
    for _ in range(4):
        for way in (1, -1):
            x = np.linspace(0, 1, 6)
            time += (at + 1200 * x).tolist()
            current += [way * 1.5] * 6
            if way > 0:
                voltage += (1.45 + 0.12 * x + 0.25 * (1 - np.exp(-9 * x))).tolist()
                truth.append(1.5 * 1200 / 3600 * (1.7 + 0.06 - 0.25 / 9 * (1 - np.exp(-9))))
            else:
                voltage += (1.0 - 0.3 * x).tolist()
            at += 1200
    series = Series(
        {
            "test_time_second": np.array(time),
            "current_ampere": np.array(current),
            "voltage_volt": np.array(voltage),
        }
    )
    cycles = tabulate(series)
    assert np.all(np.abs(cycles["charge_Wh"] - truth) <= 2 * cycles["u_charge_Wh"])
    assert "ENERGY_UNCERTAIN" in {r.code for r in cycles.remarks}


def test_bends_between_few_records_do_not_pass_for_noise() -> None:
    phantom = cycling_history(cycles=12, records=12, rest_records=3, voltage_noise_V=8e-4, seed=3)
    table = tabulate(without(phantom.series, *COUNTERS))
    error = np.abs(table["discharge_Wh"] - phantom.discharge_Wh)
    assert np.all(error <= 2 * table["u_discharge_Wh"])
    assert np.all(table["u_discharge_Wh"] < 0.01 * phantom.discharge_Wh), "a tenth of that is true"


def test_noise_is_read_from_where_it_turns_a_curve_about() -> None:
    drawn = np.random.default_rng(5).normal(0, 0.003, 20_000)
    bends = np.repeat([[0.0, 0.5, 0.9, 1.0]], 5000, axis=0).ravel()
    own = np.arange(20_000) // 4
    assert noise_of_turns(drawn, np.zeros(20_000, dtype=np.int64)) == pytest.approx(0.003, rel=0.02)
    assert noise_of_turns(bends, own) == 0
