"""Cycling files with traps, written from one phantom of known truth, and the traps that real exports hold.

Each trap gives bytes, a file name, and what must come of it: the truth, or a refusal with a code.
"""

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass, replace
from zoneinfo import ZoneInfo

import numpy as np

from teardown.formats.series_write import Dialect, write_bdf, write_parquet, write_text
from teardown.science.electrochemistry.columns import Array, Series
from teardown.science.electrochemistry.phantoms import Life, Phantom, cycling_history

PHANTOM: Phantom = cycling_history(
    cycles=20, life=Life(knee_cycle=12), records=100, rest_records=20, start_unix_s=1.9e9
)
HEADERS = {
    "test_time_second": ("Test time (s)", 1.0),
    "current_ampere": ("Current (A)", 1.0),
    "voltage_volt": ("Voltage (V)", 1.0),
    "cycle_count": ("Cycle", 1.0),
    "step_count": ("Step count", 1.0),
}
CORE = {name: HEADERS[name] for name in ("test_time_second", "current_ampere", "voltage_volt")}
SERIES = PHANTOM.series
ROWS = len(SERIES)


@dataclass(frozen=True)
class Trap:
    """A file and what must come of it: a refusal by code, or the truth with these remarks."""

    data: bytes
    name: str = "export.csv"
    refused: str = ""
    said: tuple[str, ...] = ()
    exact: bool = True
    iron_mass_g: float = 1.2


def changed(**columns: Array) -> Series:
    """Give the phantom's history with some columns replaced."""
    return Series({**SERIES.columns, **columns})


def lines(data: bytes) -> list[str]:
    """Split a text into its lines."""
    return data.decode().rstrip("\n").split("\n")


def unlines(rows: list[str]) -> bytes:
    """Join lines again."""
    return ("\n".join(rows) + "\n").encode()


def beside(
    head: str, cells: list[str], headers: dict[str, tuple[str, float]] | None = None, *, delimiter: str = ","
) -> bytes:
    """Write the history with one more column in front."""
    rows = lines(write_text(SERIES, Dialect(headers or CORE, delimiter)))
    return unlines(
        [f"{head}{delimiter}{rows[0]}"] + [f"{c}{delimiter}{r}" for c, r in zip(cells, rows[1:], strict=True)]
    )


def _duration(seconds: float) -> str:
    days, rest = divmod(seconds, 86400)
    hours, rest = divmod(rest, 3600)
    minutes, rest = divmod(rest, 60)
    return f"{int(days)}d {int(hours):02}:{int(minutes):02}:{rest:012.9f}"


def _hours(seconds: float) -> str:
    hours, rest = divmod(seconds, 3600)
    minutes, rest = divmod(rest, 60)
    return f"{int(hours)}:{int(minutes):02}:{rest:012.9f}"


def stamps_of(start: dt.datetime, form: str, zone: str = "UTC") -> list[str]:
    """Write the moments of the history in a form, by the clock of a place."""
    begin = start.timestamp()
    place = ZoneInfo(zone)
    return [dt.datetime.fromtimestamp(begin + t, place).strftime(form) for t in SERIES.time_s.tolist()]


def plain() -> Trap:
    return Trap(write_text(SERIES, Dialect(HEADERS)))


def milli_units() -> Trap:
    headers = {
        "test_time_second": ("t/ms", 1e3),
        "current_ampere": ("I [mA]", 1e3),
        "voltage_volt": ("U in mV", 1e3),
    }
    return Trap(write_text(SERIES, Dialect(headers)), said=("CYCLES_COUNTED",))


def discharge_positive() -> Trap:
    return Trap(
        write_text(changed(current_ampere=-SERIES.current_A), Dialect(HEADERS)), said=("SIGN_FLIPPED",)
    )


def western_semicolon_comma_preamble() -> Trap:
    headers = {
        "test_time_second": ("Prüfzeit [s]", 1.0),
        "current_ampere": ("Strom [mA]", 1e3),
        "voltage_volt": ("Spannung [V]", 1.0),
        "cycle_count": ("Zyklus", 1.0),
    }
    preamble = tuple(f"Angabe {k}; Größe 1,5 µm; 3" for k in range(12))
    return Trap(write_text(SERIES, Dialect(headers, ";", ",", "cp1252", preamble)))


def utf16_tab_durations() -> Trap:
    headers = {name: HEADERS[name] for name in ("current_ampere", "voltage_volt")}
    data = beside("Test Time", [_duration(t) for t in SERIES.time_s.tolist()], headers, delimiter="\t")
    return Trap(data.decode().encode("utf-16"), "export.txt")


def hours_beyond_24() -> Trap:
    headers = {name: HEADERS[name] for name in ("current_ampere", "voltage_volt")}
    return Trap(beside("Test Time (hh:mm:ss)", [_hours(t) for t in SERIES.time_s.tolist()], headers))


def clock_across_autumn() -> Trap:
    headers = {name: HEADERS[name] for name in ("current_ampere", "voltage_volt")}
    cells = stamps_of(dt.datetime(2025, 10, 20, tzinfo=dt.UTC), "%d.%m.%Y %H:%M:%S.%f", "Europe/Berlin")
    return Trap(beside("Datum", cells, headers), said=("CLOCK_SET_BACK", "TIME_FROM_CLOCK"))


def clock_across_spring() -> Trap:
    headers = {name: HEADERS[name] for name in ("current_ampere", "voltage_volt")}
    cells = stamps_of(dt.datetime(2025, 3, 26, tzinfo=dt.UTC), "%Y-%m-%d %H:%M:%S.%f", "Europe/Berlin")
    return Trap(beside("Date", cells, headers), said=("CLOCK_SET_FORWARD",))


def no_cycle_no_step() -> Trap:
    return Trap(write_text(SERIES, Dialect(CORE)), said=("CYCLES_COUNTED",))


def duplicates() -> Trap:
    rows = lines(plain().data)
    twice = set(np.random.default_rng(1).integers(1, ROWS, ROWS // 100).tolist())
    return Trap(
        unlines([r for k, row in enumerate(rows) for r in ([row, row] if k in twice else [row])]),
        said=("DUPLICATE_ROWS",),
    )


def _cut() -> int:
    """Give the first record of a cycle in the middle."""
    return int(np.argmax(SERIES.columns["cycle_count"] == 11))


def _restarted() -> Array:
    time_s = SERIES.time_s.copy()
    time_s[_cut() :] -= time_s[_cut()]
    return time_s


def restart() -> Trap:
    return Trap(write_text(changed(test_time_second=_restarted()), Dialect(HEADERS)), said=("TIME_RESTART",))


def restart_with_cycles() -> Trap:
    cycle = SERIES.columns["cycle_count"].copy()
    cycle[_cut() :] -= 10
    data = write_text(changed(test_time_second=_restarted(), cycle_count=cycle), Dialect(HEADERS))
    return Trap(data, said=("TIME_RESTART", "CYCLE_BACKWARDS"))


def gap_under_current() -> Trap:
    rows = lines(plain().data)
    return Trap(unlines(rows[:1210] + rows[1270:]), said=("GAP_UNDER_CURRENT",), exact=False)


def trailing_blanks() -> Trap:
    return Trap(unlines([row + "," for row in lines(plain().data)] + ["", "", ",,,,,", ""]))


def bad_cells() -> Trap:
    rows = lines(plain().data)
    for at in (778, 1500):
        cells = rows[at].split(",")
        cells[2] = "1.2O3"
        rows[at] = ",".join(cells)
    return Trap(unlines(rows), said=("NOT_A_NUMBER", "EMPTY_ROWS"))


def units_row() -> Trap:
    rows = lines(plain().data)
    return Trap(unlines(["Test time,Current,Voltage,Cycle,Step count", "s,A,V,,", *rows[1:]]))


def step_time() -> Trap:
    headers = {
        "step_time_second": ("Time (s)", 1.0),
        **{k: v for k, v in HEADERS.items() if k != "test_time_second"},
    }
    return Trap(write_text(SERIES, Dialect(headers)), refused="STEP_TIME_AS_TEST_TIME")


def unsigned_with_mode() -> Trap:
    words = np.where(
        SERIES.current_A > 0, "Laden", np.where(SERIES.current_A < 0, "Entladen", "Pause")
    ).tolist()
    rows = lines(write_text(changed(current_ampere=np.abs(SERIES.current_A)), Dialect(CORE)))
    data = unlines([f"Modus,{rows[0]}"] + [f"{w},{r}" for w, r in zip(words, rows[1:], strict=True)])
    return Trap(data, said=("SIGN_FROM_STEP_TYPE",))


def unsigned() -> Trap:
    return Trap(
        write_text(changed(current_ampere=np.abs(SERIES.current_A)), Dialect(CORE)),
        refused="CURRENT_UNSIGNED",
    )


def unsigned_with_counters() -> Trap:
    headers = CORE | {
        "charging_capacity_ah": ("Charge capacity (mAh)", 1e3),
        "discharging_capacity_ah": ("Discharge capacity (mAh)", 1e3),
    }
    return Trap(
        write_text(changed(current_ampere=np.abs(SERIES.current_A)), Dialect(headers)),
        said=("SIGN_FROM_COUNTER",),
    )


def wrong_claim_of_sign() -> Trap:
    data = write_bdf(changed(current_ampere=-SERIES.current_A))
    return Trap(data, "cell.bdf.csv", refused="CURRENT_SIGN")


def hours_said_seconds_meant() -> Trap:
    headers = HEADERS | {"test_time_second": ("Test time (h)", 1.0)}
    return Trap(write_text(SERIES, Dialect(headers)), refused="TIME_SCALE")


def amperes_said_milliamperes_meant() -> Trap:
    headers = HEADERS | {"current_ampere": ("Current (A)", 1e3)}
    return Trap(write_text(SERIES, Dialect(headers)), refused="CAPACITY_IMPLAUSIBLE")


def seconds_said_hours_meant_with_clock() -> Trap:
    headers = HEADERS | {
        "test_time_second": ("Test time (s)", 1 / 3600),
        "unix_time_second": ("unix_time_second", 1.0),
    }
    return Trap(write_text(SERIES, Dialect(headers)), refused="TIME_SCALE")


def no_units() -> Trap:
    rows = lines(plain().data)
    return Trap(unlines(["Time,Current,Voltage,Cycle,Step", *rows[1:]]), refused="UNIT_MISSING")


def bare_coulomb_or_celsius() -> Trap:
    headers = CORE | {"charging_capacity_ah": ("Charge capacity (C)", 3600.0)}
    return Trap(write_text(SERIES, Dialect(headers)), said=("UNIT_MISSING",))


def cycle_in_turns() -> Trap:
    data = beside("Cycle", [repr(2 * np.pi * c) for c in SERIES.columns["cycle_count"].tolist()])
    return Trap(data, refused="CYCLE_NOT_INTEGER")


def cycles_all_one_and_zero_stamps() -> Trap:
    time_s = SERIES.time_s.copy()
    starts = np.flatnonzero(np.diff(SERIES.columns["step_count"]) > 0) + 1
    time_s[starts[3:60:3]] = 0.0
    data = write_text(changed(test_time_second=time_s, cycle_count=np.ones(ROWS)), Dialect(HEADERS))
    return Trap(data, said=("TIME_STAMP_ISOLATED", "CYCLE_TOO_FEW"))


def coarse_current_with_counter() -> Trap:
    scale = 0.2e-3 / SERIES.current_A.max()
    small = changed(
        current_ampere=SERIES.current_A * scale,
        charging_capacity_ah=SERIES.columns["charging_capacity_ah"] * scale,
        discharging_capacity_ah=SERIES.columns["discharging_capacity_ah"] * scale,
    )
    headers = HEADERS | {
        "current_ampere": ("Current (mA)", 1e3),
        "charging_capacity_ah": ("Charge capacity (mAh)", 1e3),
        "discharging_capacity_ah": ("Discharge capacity (mAh)", 1e3),
    }
    digits = {
        "current_ampere": 1,
        "voltage_volt": 4,
        "test_time_second": 1,
        "charging_capacity_ah": 9,
        "discharging_capacity_ah": 9,
    }
    return Trap(write_text(small, Dialect(headers, digits=digits)))


def counter_begins_with_zeros() -> Trap:
    counter = np.where(np.arange(ROWS) < 400, 0.0, np.round(SERIES.columns["discharging_capacity_ah"], 4))
    cells = ["0" if c == 0 else repr(float(c)) for c in counter.tolist()]
    return Trap(beside("Discharge Energy Total (Wh)", cells))


def counter_reset_inside_a_step() -> Trap:
    counter = SERIES.columns["discharging_capacity_ah"].copy()
    inside = np.flatnonzero(SERIES.current_A < 0)
    for at in (inside[40], inside[70]):
        counter[at:] -= counter[at - 1]
        gained = counter[at]
        counter[at:] = np.where(counter[at:] < gained, gained, counter[at:])
    headers = CORE | {
        "charging_capacity_ah": ("Charge capacity (Ah)", 1.0),
        "discharging_capacity_ah": ("Discharge capacity (Ah)", 1.0),
    }
    data = write_text(changed(discharging_capacity_ah=counter), Dialect(headers))
    return Trap(data, said=("COUNTER_RESET",))


def time_much_too_large() -> Trap:
    headers = HEADERS | {"test_time_second": ("test_time_second", 3600.0)}
    return Trap(write_text(SERIES, Dialect(headers)), refused="TIME_SCALE")


def counter_in_another_unit() -> Trap:
    headers = CORE | {
        "charging_capacity_ah": ("Charge capacity (Ah)", 1e3),
        "discharging_capacity_ah": ("Discharge capacity (Ah)", 1e3),
    }
    return Trap(write_text(SERIES, Dialect(headers)), refused="COUNTER_SCALE")


def swapped_counters() -> Trap:
    headers = CORE | {
        "charging_capacity_ah": ("Discharge capacity (Ah)", 1.0),
        "discharging_capacity_ah": ("Charge capacity (Ah)", 1.0),
    }
    return Trap(write_text(SERIES, Dialect(headers)), refused="COUNTER_DIRECTION")


def millivolts_said_volts() -> Trap:
    headers = HEADERS | {"voltage_volt": ("Voltage (V)", 1e3)}
    return Trap(write_text(SERIES, Dialect(headers)), refused="VOLTAGE_SCALE")


def decimal_comma_between_commas() -> Trap:
    rows = lines(plain().data)
    return Trap(unlines([rows[0]] + [row.replace(".", ",") for row in rows[1:]]), refused="HEADER_MISSING")


def half_cell_with_falling_mean() -> Trap:
    """A half-cell whose mean voltage is higher on discharge than on charge; only the slope tells the sign."""
    charge = SERIES.current_A > 0
    voltage = np.where(charge, SERIES.voltage_V - 2.0, SERIES.voltage_V)
    return Trap(write_text(changed(voltage_volt=voltage), Dialect(HEADERS)))


def tiny_first_cycle() -> Trap:
    """A first cycle that holds 24 microampere-hours of charge: no efficiency may come of it."""
    head = {n: c[:3].copy() for n, c in SERIES.columns.items()}
    head["test_time_second"] = np.array([0.0, 1.44, 1.44])
    head["current_ampere"] = np.array([0.06, 0.06, 0.0])
    head["voltage_volt"] = np.array([1.30, 1.31, 1.2])
    head["cycle_count"] = np.zeros(3)
    head["step_count"] = np.array([-1.0, -1.0, 0.0])
    columns = {n: np.concatenate((head[n], c)) for n, c in SERIES.columns.items()}
    columns["test_time_second"][3:] += 1.44
    return Trap(write_text(Series(columns), Dialect(HEADERS)))


def ambiguous_dates_alone() -> Trap:
    headers = {name: HEADERS[name] for name in ("current_ampere", "voltage_volt")}
    short = replace(PHANTOM, series=Series({n: c[:400] for n, c in SERIES.columns.items()}))
    cells = [
        dt.datetime.fromtimestamp(dt.datetime(2025, 2, 1, tzinfo=dt.UTC).timestamp() + t, dt.UTC).strftime(
            "%d/%m/%Y %H:%M:%S"
        )
        for t in short.series.time_s.tolist()
    ]
    rows = lines(write_text(short.series, Dialect(headers)))
    data = unlines([f"Date,{rows[0]}"] + [f"{c},{r}" for c, r in zip(cells, rows[1:], strict=True)])
    return Trap(data, refused="DATE_AMBIGUOUS")


def shifted_row() -> Trap:
    rows = lines(plain().data)
    rows.insert(900, rows[900].replace(",", ",0,", 1))
    return Trap(unlines(rows), said=("ROW_TOO_WIDE",))


def shifted_rows() -> Trap:
    rows = lines(plain().data)
    return Trap(
        unlines([rows[0]] + [r.replace(",", ",0,", 1) if k % 5 == 4 else r for k, r in enumerate(rows[1:])]),
        refused="ROW_TOO_WIDE",
    )


def short_row() -> Trap:
    rows = lines(plain().data)
    rows.insert(900, rows[900].split(",", 1)[1])
    return Trap(unlines(rows), said=("ROW_TOO_SHORT",))


def cut_off() -> Trap:
    rows = lines(plain().data)
    return Trap(unlines(rows)[:-1] + b"\n" + rows[-1].rsplit(",", 2)[0].encode(), said=("ROW_CUT_OFF",))


def noise_at_rest() -> Trap:
    noise = 2e-5 * np.random.default_rng(3).standard_normal(ROWS) * (SERIES.current_A == 0)
    return Trap(write_text(changed(current_ampere=SERIES.current_A + noise), Dialect(HEADERS)))


def net_counter_under_a_plain_name() -> Trap:
    net = SERIES.columns["charging_capacity_ah"] - SERIES.columns["discharging_capacity_ah"]
    headers = CORE | {"net_capacity_ah": ("(Q-Qo)/mA.h", 1e3)}
    return Trap(write_text(changed(net_capacity_ah=net), Dialect(headers)))


def units_for_names() -> Trap:
    headers = {
        "test_time_second": ("Test Time (h:min:s)", 1.0),
        "current_ampere": ("Amps", 1.0),
        "voltage_volt": ("Volts", 1.0),
    }
    rows = lines(write_text(SERIES, Dialect(headers)))
    cells = [_hours(t) for t in SERIES.time_s.tolist()]
    return Trap(
        unlines([rows[0]] + [f"{c},{r.split(',', 1)[1]}" for c, r in zip(cells, rows[1:], strict=True)])
    )


def aligned_by_spaces() -> Trap:
    rows = [
        f"{t:16.6f}  {i:14.9f}  {v:14.9f}"
        for t, i, v in zip(SERIES.time_s, SERIES.current_A, SERIES.voltage_V, strict=True)
    ]
    return Trap(unlines(["   Time (s)    Current (A)    Voltage (V)", *rows]), "export.txt")


def point_groups_and_decimal_commas() -> Trap:
    def written(value: float, digits: int) -> str:
        return f"{value:,.{digits}f}".replace(",", " ").replace(".", ",").replace(" ", ".")

    cells = zip(SERIES.time_s, SERIES.current_A, SERIES.voltage_V, strict=True)
    rows = [f"{written(t, 4)};{written(i * 1e6, 4)};{written(v, 6)}" for t, i, v in cells]
    return Trap(unlines(["Zeit [s];Strom [µA];Spannung [V]", *rows]))


def flat_plateaus_with_turned_current() -> Trap:
    """Voltages that do not slope at all: the jumps at the switches tell the sign."""
    flat = np.where(SERIES.current_A > 0, 1.6, np.where(SERIES.current_A < 0, 0.9, 1.2))
    return Trap(
        write_text(changed(current_ampere=-SERIES.current_A, voltage_volt=flat), Dialect(HEADERS)),
        said=("SIGN_FROM_JUMPS",),
    )


def step_column_that_counts_records() -> Trap:
    inside = np.concatenate(
        [np.arange(1.0, n + 1) for n in np.unique(SERIES.columns["step_count"], return_counts=True)[1]]
    )
    headers = CORE | {"cycle_count": HEADERS["cycle_count"]}
    return Trap(beside("step_index", [f"{k:.0f}" for k in inside], headers), said=("STEP_NUMBERS_RECORDS",))


def old_names_of_the_open_format() -> Trap:
    headers = {
        "test_time_second": ("test_time_millisecond", 1e3),
        "current_ampere": ("Current / A", 1.0),
        "voltage_volt": ("Voltage / V", 1.0),
    }
    return Trap(write_text(SERIES, Dialect(headers)), "cell.bdf.csv")


def two_cells_in_one_file() -> Trap:
    cells = ["A1"] * (ROWS // 2) + ["A2"] * (ROWS - ROWS // 2)
    return Trap(beside("Cell ID", cells), refused="SEVERAL_CELLS")


def clock_that_stumbles() -> Trap:
    clock = SERIES.columns["unix_time_second"].copy()
    clock[900:] -= 86400.0
    headers = HEADERS | {"unix_time_second": ("unix_time_second", 1.0)}
    return Trap(write_text(changed(unix_time_second=clock), Dialect(headers)), said=("CLOCK_BACKWARDS",))


def one_broken_date() -> Trap:
    headers = {name: HEADERS[name] for name in ("current_ampere", "voltage_volt")}
    cells = stamps_of(dt.datetime(2025, 5, 20, tzinfo=dt.UTC), "%d.%m.%Y %H:%M:%S.%f")
    cells[1200] = "31.02.2025 00:00:00"
    return Trap(beside("Datum", cells, headers), said=("DATE_FORMAT",), exact=False)


def time_of_day_beside_a_date() -> Trap:
    headers = {name: HEADERS[name] for name in ("current_ampere", "voltage_volt")}
    start = dt.datetime(2025, 5, 20, 11, tzinfo=dt.UTC)
    cells = zip(stamps_of(start, "%d.%m.%Y"), stamps_of(start, "%H:%M:%S.%f"), strict=True)
    return Trap(beside("Date,Time", [f"{d},{c}" for d, c in cells], headers), said=("DATE_AND_TIME_JOINED",))


def two_voltages() -> Trap:
    rows = lines(plain().data)
    head = rows[0].replace("Cycle", "Cell voltage (V)")
    return Trap(unlines([head, *rows[1:]]), refused="COLUMN_AMBIGUOUS")


def backwards() -> Trap:
    rows = lines(plain().data)
    return Trap(unlines([rows[0], *rows[1200:], *rows[600:1200]]), refused="TIME_BACKWARDS")


def parquet() -> Trap:
    return Trap(write_parquet(SERIES), "cell.bdf.parquet")


def open_format() -> Trap:
    return Trap(write_bdf(SERIES), "cell.bdf.csv")


def open_format_by_label() -> Trap:
    headers = {
        "test_time_second": ("Test Time / s", 1.0),
        "current_ampere": ("Current / A", 1.0),
        "voltage_volt": ("Voltage / V", 1.0),
        "cycle_count": ("Cycle Count / 1", 1.0),
    }
    return Trap(write_text(SERIES, Dialect(headers)), "cell.bdf.csv")


TRAPS: list[Callable[[], Trap]] = [
    plain,
    milli_units,
    discharge_positive,
    western_semicolon_comma_preamble,
    utf16_tab_durations,
    hours_beyond_24,
    clock_across_autumn,
    clock_across_spring,
    no_cycle_no_step,
    duplicates,
    restart,
    restart_with_cycles,
    gap_under_current,
    trailing_blanks,
    bad_cells,
    units_row,
    step_time,
    unsigned_with_mode,
    unsigned,
    unsigned_with_counters,
    wrong_claim_of_sign,
    hours_said_seconds_meant,
    amperes_said_milliamperes_meant,
    seconds_said_hours_meant_with_clock,
    no_units,
    bare_coulomb_or_celsius,
    cycle_in_turns,
    cycles_all_one_and_zero_stamps,
    counter_begins_with_zeros,
    counter_reset_inside_a_step,
    time_much_too_large,
    counter_in_another_unit,
    swapped_counters,
    millivolts_said_volts,
    decimal_comma_between_commas,
    half_cell_with_falling_mean,
    ambiguous_dates_alone,
    shifted_row,
    shifted_rows,
    short_row,
    cut_off,
    noise_at_rest,
    net_counter_under_a_plain_name,
    units_for_names,
    aligned_by_spaces,
    point_groups_and_decimal_commas,
    time_of_day_beside_a_date,
    flat_plateaus_with_turned_current,
    two_cells_in_one_file,
    step_column_that_counts_records,
    old_names_of_the_open_format,
    clock_that_stumbles,
    one_broken_date,
    two_voltages,
    backwards,
    parquet,
    open_format,
    open_format_by_label,
]
