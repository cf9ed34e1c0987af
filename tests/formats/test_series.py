"""No trap is walked into: each file gives the truth, or a refusal that says why."""

import io
import json
from collections.abc import Callable

import numpy as np
import polars as pl
import pytest

from teardown.formats.series import read_series
from teardown.formats.series_blocks import BLOCK_BYTES
from teardown.formats.series_cells import open_table
from teardown.formats.series_repair import repair_time
from teardown.formats.series_write import Dialect, write_text
from teardown.science.electrochemistry.columns import Series
from teardown.science.electrochemistry.summary import summarise
from tests.formats.series_habits import HABITS
from tests.formats.series_hostile import (
    HOSTILE,
    edges_lost_with_counters_of_energy,
    resistance_and_impedance_beside,
)
from tests.formats.series_meters import METERS
from tests.formats.series_traps import (
    HEADERS,
    PHANTOM,
    TRAPS,
    Trap,
    coarse_current_with_counter,
    plain,
    tiny_first_cycle,
)


@pytest.mark.parametrize("make", TRAPS + HOSTILE + HABITS + METERS, ids=lambda make: make.__name__)
def test_a_trap_gives_the_truth_or_a_refusal(make: Callable[[], Trap]) -> None:
    trap = make()
    found = read_series(trap.data, name=trap.name)
    remarks = list(found.remarks)
    summary = None
    if found.arrays is not None:
        summary = summarise(found.arrays, iron_mass_g=trap.iron_mass_g)
        remarks += summary.remarks
    codes = {r.code for r in remarks}
    errors = {r.code for r in remarks if r.level == "error"}
    assert all(r.message.endswith((".", "?")) for r in remarks)
    assert all(r.remedy for r in remarks)
    if trap.refused:
        assert trap.refused in errors, codes
        return
    assert not errors, [r.message for r in remarks]
    assert set(trap.said) <= codes
    assert summary is not None
    exact = 1e-6 if "parquet" not in trap.name else 2e-6
    for name in ("charge", "discharge"):
        truth_Ah, truth_Wh = getattr(PHANTOM, f"{name}_Ah"), getattr(PHANTOM, f"{name}_Wh")
        if make.__name__ == "half_cell_with_falling_mean" and name == "charge":
            truth_Wh = truth_Wh - 2.0 * truth_Ah
        if make.__name__ == "flat_plateaus_with_turned_current":
            truth_Wh = truth_Ah * (1.6 if name == "charge" else 0.9)
        error_Ah = np.abs(summary.cycles[f"{name}_Ah"] - truth_Ah)
        error_Wh = np.abs(summary.cycles[f"{name}_Wh"] - truth_Wh)
        if trap.exact:
            assert np.all(error_Ah <= exact * truth_Ah)
            assert np.all(error_Wh <= 1e-4 * np.abs(truth_Wh))
        else:
            assert np.all(error_Ah <= 2 * summary.cycles[f"u_{name}_Ah"] + exact * truth_Ah)
            assert np.all(error_Wh <= 2 * summary.cycles[f"u_{name}_Wh"] + 1e-4 * truth_Wh)


@pytest.mark.parametrize("make", TRAPS, ids=lambda make: make.__name__)
def test_what_was_read_once_is_read_alike_by_its_own_map(make: Callable[[], Trap]) -> None:
    """The map that is kept with an import must read the file again, in any year."""
    trap = make()
    found = read_series(trap.data, name=trap.name)
    if found.arrays is None:
        return
    again = read_series(trap.data, name="", column_map=json.loads(json.dumps(found.document())))
    assert again.arrays is not None, again.remarks
    assert again.arrays.columns.keys() == found.arrays.columns.keys()
    for name, values in found.arrays.columns.items():
        assert np.array_equal(values, again.arrays.columns[name], equal_nan=True)


def test_a_coarse_current_gives_way_to_the_counter() -> None:
    found = read_series(coarse_current_with_counter().data, name="a.csv")
    assert found.arrays is not None
    summary = summarise(found.arrays)
    truth = PHANTOM.discharge_Ah * 0.2e-3 / PHANTOM.series.current_A.max()
    assert np.all(np.abs(summary.cycles["discharge_Ah"] / truth - 1) < 1e-4)
    assert np.all(np.abs(summary.cycles["discharge_integral_Ah"] / truth - 1) > 0.05)


def test_a_coarse_current_alone_is_said_to_be_uncertain() -> None:
    found = read_series(coarse_current_with_counter().data, name="a.csv")
    assert found.arrays is not None
    kept = {n: c for n, c in found.arrays.columns.items() if not n.endswith("_ah")}
    summary = summarise(Series(kept, found.arrays.resolution))
    truth = PHANTOM.discharge_Ah * 0.2e-3 / PHANTOM.series.current_A.max()
    error = np.abs(summary.cycles["discharge_Ah"] - truth)
    assert np.all(error <= 2 * summary.cycles["u_discharge_Ah"])
    assert "CHARGE_UNCERTAIN" in {r.code for r in summary.remarks}


def test_a_first_cycle_of_microampere_hours_has_no_efficiency() -> None:
    found = read_series(tiny_first_cycle().data, name="a.csv")
    assert found.arrays is not None
    cycles = summarise(found.arrays).cycles
    assert np.isnan(cycles["coulombic_efficiency"][0])
    assert np.nanmax(cycles["coulombic_efficiency"]) < 1


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"\x00" * 500,
        b"PK\x03\x04broken",
        b"PAR1broken",
        b"\x1f\x8b\x08broken",
        b"one,two,three\n",
        b"1,2,3\n4,5,6\n",
        "žluť\n".encode(),
        b"\xff\xfe\x00",
    ],
)
def test_what_is_no_table_is_refused_in_words(data: bytes) -> None:
    found = read_series(data, name="x")
    assert found.arrays is None
    assert found.errors
    assert all(r.message and r.remedy for r in found.errors)


def test_a_map_that_was_found_reads_the_file_again() -> None:
    found = read_series(plain().data, name="a.csv")
    again = read_series(plain().data, name="a.csv", column_map=found.document())
    assert found.arrays is not None
    assert again.arrays is not None
    assert np.array_equal(found.arrays.voltage_V, again.arrays.voltage_V)
    assert again.fingerprint == found.fingerprint


def test_a_resistance_that_the_cycler_wrote_stands_beside_ours() -> None:
    found = read_series(resistance_and_impedance_beside().data, name="a.csv")
    assert found.arrays is not None
    assert {"internal_resistance_ohm", "frequency_hertz", "real_impedance_ohm"} <= set(found.arrays.columns)
    cycles = summarise(found.arrays).cycles
    assert np.allclose(cycles["written_ohm"], 0.25)
    assert not np.allclose(cycles["resistance_ohm"], 0.25)


def test_energy_of_a_counter_stays_mean_voltage_times_charge() -> None:
    found = read_series(edges_lost_with_counters_of_energy().data, name="a.csv")
    assert found.arrays is not None
    cycles = summarise(found.arrays).cycles
    for way in ("charge", "discharge"):
        assert np.allclose(cycles[f"{way}_Wh"], cycles[f"mean_{way}_V"] * cycles[f"{way}_Ah"], rtol=1e-12)
    known = np.isfinite(cycles["energy_efficiency"])
    product = cycles["coulombic_efficiency"] * cycles["voltage_efficiency"]
    assert np.allclose(cycles["energy_efficiency"][known], product[known], rtol=1e-12)


def test_blanks_are_taken_out_of_groups_of_three_alone() -> None:
    rows = ["12 34", "1 234,5", "12 345 678", "1'000,25", "-7 000", "5"]
    cells = "\n".join(f"{k};{k},5;{cell};1,2" for k, cell in enumerate(rows))
    found = read_series(
        ("Time [s];Voltage [V];Current [mA];Step time [s]\n" + cells + "\n").encode(), name="a.csv"
    )
    said = next(r for r in found.remarks if r.code == "NOT_A_NUMBER")
    assert "12 34" in said.message
    assert said.value == 1


def test_a_text_of_several_blocks_with_empty_lines_is_read_like_one() -> None:
    cells = [f"{k},{1 + k % 7 / 8},{0.25 if k // 9000 % 2 else -0.25},{k % 5}" for k in range(300_000)]
    lines = [line + "\n" * (1 + (k % 1000 == 0)) for k, line in enumerate(cells)]
    data = ("Time [s],Voltage [V],Current [A],Step time [s]\n" + "".join(lines)).encode()
    assert len(data) > BLOCK_BYTES
    table = open_table(data, name="a.csv")
    read = table.numbers(list(table.names))
    assert all(count == 0 for _, _, count in read.values())
    full = [values[np.isfinite(values)] for values, _, _ in read.values()]
    assert np.array_equal(full[0], np.arange(300_000.0))
    assert np.array_equal(full[1], 1 + np.arange(300_000) % 7 / 8)
    assert np.array_equal(full[3], np.arange(300_000.0) % 5)
    assert {values.size for values, _, _ in read.values()} == {table.texts("Time [s]").len()}


def test_a_workbook_of_rounded_numbers_is_known_to_be_rounded() -> None:
    """A constant current of four digits looks exact: its digits are those it was written with."""
    columns = {"Test time (s)": np.arange(200.0), "Current (uA)": np.repeat([147234.0, -120011.0], 100)}
    voltage = np.round(np.concatenate((np.linspace(1.3, 1.6, 100), np.linspace(1.1, 0.6, 100))), 3)
    out = io.BytesIO()
    pl.DataFrame(columns | {"Voltage (V)": voltage}).write_parquet(out)
    found = read_series(out.getvalue(), name="a.parquet")
    assert found.arrays is not None
    assert found.arrays.resolution["current_ampere"] == pytest.approx(1e-6)
    assert found.arrays.resolution["voltage_volt"] == pytest.approx(1e-3)


def test_trailing_zeros_are_looked_for_in_each_column_alone() -> None:
    """A column of constant digits beside one of many does not make the writer one that drops zeros."""
    rows = [
        f"{k},{1 + (k * 37 % 501) / 1000:.3f},{0.1473 if k < 60 else -0.12:.4f},{k / 7!r}" for k in range(120)
    ]
    head = "Test time (s),Voltage (V),Current (A),Step time (s)"
    found = read_series(("\n".join([head, *rows]) + "\n").encode(), name="a.csv")
    assert found.arrays is not None, found.remarks
    assert found.arrays.resolution["current_ampere"] == pytest.approx(1e-4)


def test_times_that_run_back_by_rounding_keep_their_intervals() -> None:
    time = np.array([0.0, 100.0, 200.0 + 1e-11, 200.0, 300.0, 400.0, 1e9, 500.0])
    fixed = repair_time(time, None, np.zeros(8, dtype=bool))
    assert fixed.time_s == pytest.approx([0, 100, 200, 200, 300, 400, 400, 500])
    assert [r.code for r in fixed.remarks] == ["TIME_STAMP_ISOLATED"]
    assert not repair_time(time[:6], None, np.zeros(6, dtype=bool)).remarks


def test_a_packed_file_reads_like_the_open_one() -> None:
    import gzip

    found = read_series(gzip.compress(plain().data), name="a.csv.gz")
    assert found.arrays is not None
    assert len(found.arrays) == len(PHANTOM.series)


def test_a_number_cut_off_at_the_end_of_a_file_is_no_reading() -> None:
    rows = [f"{60 * k}.0,{0.2 if k % 40 < 20 else -0.2:.4f},{1.2 + 0.01 * (k % 40):.5f}" for k in range(200)]
    whole = "\n".join(["Time (s),Current (A),Voltage (V)", *rows]).encode()
    cut = read_series(whole[:-3], name="a.csv")
    assert cut.arrays is not None
    assert len(cut.arrays) == 199
    assert "ROW_CUT_OFF" in {r.code for r in cut.remarks}
    kept = read_series(whole, name="a.csv")
    assert kept.arrays is not None
    assert len(kept.arrays) == 200


def test_currents_that_flow_both_ways_at_once_are_refused() -> None:
    rows = [f"{60 * k}.0,0.2,0.1,{1.2 + 0.01 * (k % 40):.5f}" for k in range(200)]
    head = "Time (s),Charge current (A),Discharge current (A),Voltage (V)"
    found = read_series("\n".join([head, *rows]).encode(), name="a.csv")
    assert [r.code for r in found.errors] == ["CURRENT_IN_TWO_COLUMNS"]


def test_a_column_in_two_units_is_no_question() -> None:
    rows = [
        f"{60 * k}.0,{0.2 if k % 40 < 20 else -0.2:.2f},{1200 + 10.25 * (k % 40):.2f},"
        f"{1.2 + 0.01025 * (k % 40):.3f}"
        for k in range(200)
    ]
    found = read_series(
        "\n".join(["Time (s),Current (A),Voltage (mV),Voltage (V)", *rows]).encode(), name="a.csv"
    )
    assert found.arrays is not None, found.remarks
    assert found.map is not None
    assert [c.name for c in found.map.columns if c.quantity == "voltage_volt"] == ["Voltage (mV)"]


def test_set_points_do_not_pass_for_coarse_digits() -> None:
    time = np.arange(400.0) * 60
    current = np.where(np.arange(400) % 40 < 20, 0.2, -0.2)
    voltage = 1.2 + 0.1 * np.sin(np.arange(400) * np.pi / 20)
    out = io.BytesIO()
    pl.DataFrame({"Test time (s)": time, "Current (A)": current, "Voltage (V)": voltage}).write_parquet(out)
    found = read_series(out.getvalue(), name="a.parquet")
    assert found.arrays is not None, found.remarks
    assert found.arrays.resolution["current_ampere"] == 0.0


def test_one_electrode_that_charges_downwards_is_not_taken_for_a_cell_in_silence() -> None:
    """Iron is reduced on charge: its potential falls while the current is negative."""
    potential = -0.9 - 0.3 * (PHANTOM.series.voltage_V - 1)
    turned = Series(
        {**PHANTOM.series.columns, "voltage_volt": potential, "current_ampere": -PHANTOM.series.current_A}
    )
    headers = {n: HEADERS[n] for n in ("test_time_second", "current_ampere", "voltage_volt")}
    found = read_series(write_text(turned, Dialect(headers)), name="a.csv")
    assert found.arrays is not None
    summary = summarise(found.arrays, iron_mass_g=1.2)
    assert "VOLTAGE_NEGATIVE" in {r.code for r in found.remarks}
    assert "MORE_OUT_THAN_IN" in {r.code for r in summary.remarks}


@pytest.mark.parametrize("sign", [1, -1])
def test_a_charge_whose_voltage_falls_does_not_turn_the_sign(sign: int) -> None:
    """Hydrogen comes, the voltage sinks; and less than half of the charge comes back."""
    parts = [
        (0.2, 60, 1.9, 1.72),
        (0.0, 6, 1.4, 1.3),
        (-0.2, 24, 1.0, 0.7),
        (0.0, 6, 0.9, 0.95),
    ]
    current = np.concatenate([np.full(n, i) for i, n, _, _ in parts] * 6)
    voltage = np.concatenate([np.linspace(a, b, n) for _, n, a, b in parts] * 6)
    rows = [
        f"{300 * k},{sign * i:.3f},{v:.5f}" for k, (i, v) in enumerate(zip(current, voltage, strict=True))
    ]
    found = read_series("\n".join(["Time (s),Current (A),Voltage (V)", *rows]).encode(), name="a.csv")
    assert found.arrays is not None, found.remarks
    assert found.arrays.current_A[0] == pytest.approx(0.2)
