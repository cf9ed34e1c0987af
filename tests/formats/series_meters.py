"""What meters and exports add to a history: offset, noise, wild records, numbers of something else."""

import numpy as np

from teardown.formats.series_write import Dialect, write_text
from teardown.science.electrochemistry.columns import Array
from tests.formats.series_traps import (
    CORE,
    HEADERS,
    PHANTOM,
    ROWS,
    SERIES,
    Trap,
    beside,
    changed,
    lines,
    unlines,
)

TIME = SERIES.time_s
LARGEST_A = float(np.max(np.abs(SERIES.current_A)))
CYCLE = {**CORE, "cycle_count": HEADERS["cycle_count"]}


def _steps() -> Array:
    """Give the place of the step of each record."""
    return np.concatenate(([0], np.cumsum(np.diff(SERIES.columns["step_count"]) != 0)))


def _in_a_charge() -> int:
    """Give a record in the middle of a charge."""
    steps = _steps()
    held = np.flatnonzero(steps == steps[int(np.argmax(SERIES.current_A > 0.5 * LARGEST_A))])
    return int(held[held.size // 2])


def current_with_an_offset() -> Trap:
    return Trap(
        write_text(changed(current_ampere=SERIES.current_A + 0.005 * LARGEST_A), Dialect(CORE)),
        said=("CURRENT_OFFSET",),
        exact=False,
    )


def noisy_current() -> Trap:
    rng = np.random.default_rng(11)
    noisy = SERIES.current_A + rng.normal(0, 0.01 * LARGEST_A, ROWS)
    return Trap(
        write_text(changed(current_ampere=noisy), Dialect(CORE)), said=("CURRENT_NOISY",), exact=False
    )


def one_wild_current() -> Trap:
    current = SERIES.current_A.copy()
    current[_in_a_charge()] = 15 * LARGEST_A
    return Trap(
        write_text(changed(current_ampere=current), Dialect(CORE)),
        said=("SINGLE_RECORD_JUMPS",),
        exact=False,
    )


def one_wild_voltage() -> Trap:
    voltage = SERIES.voltage_V.copy()
    voltage[_in_a_charge()] = 0.0
    return Trap(
        write_text(changed(voltage_volt=voltage), Dialect(CORE)), said=("SINGLE_RECORD_JUMPS",), exact=False
    )


def cycle_number_moves_on_late() -> Trap:
    late = np.concatenate((SERIES.columns["cycle_count"][[0, 0, 0]], SERIES.columns["cycle_count"][:-3]))
    return Trap(write_text(changed(cycle_count=late), Dialect(CYCLE)))


def cycle_column_of_half_cycles() -> Trap:
    way = np.sign(np.where(np.abs(SERIES.current_A) > 0.1 * LARGEST_A, SERIES.current_A, 0))
    flowing = way[np.flatnonzero(way)]
    place = np.cumsum(np.concatenate(([1.0], np.diff(flowing) != 0)))
    last = np.maximum.accumulate(np.where(way != 0, np.arange(ROWS), 0))
    halves = place[np.cumsum(way != 0)[last] - 1]
    return Trap(write_text(changed(cycle_count=halves), Dialect(CYCLE)), said=("CYCLE_HALVES",))


def numbers_only_where_they_change() -> Trap:
    """Step and cycle as merged cells leave them: written once, empty below."""
    rows = [row.split(",") for row in lines(write_text(SERIES, Dialect(HEADERS)))]
    for place in (3, 4):
        held = [row[place] for row in rows]
        for k in range(2, len(rows)):
            rows[k][place] = "" if held[k] == held[k - 1] else held[k]
    return Trap(unlines([",".join(row) for row in rows]))


def paused_inside_a_step_with_counters() -> Trap:
    """The clock went on for hours while nothing flowed; only the counters tell."""
    time = TIME.copy()
    time[_in_a_charge() :] += 200_000.0
    flow = [np.clip(way * SERIES.current_A, 0, None) for way in (1, -1)]
    areas = [np.diff(TIME) * (f[1:] + f[:-1]) / 7200 for f in flow]
    counters = [np.concatenate(([0.0], np.cumsum(area))) for area in areas]
    series = changed(
        test_time_second=time, charging_capacity_ah=counters[0], discharging_capacity_ah=counters[1]
    )
    headers = CORE | {
        "charging_capacity_ah": ("Charge capacity (Ah)", 1.0),
        "discharging_capacity_ah": ("Discharge capacity (Ah)", 1.0),
    }
    return Trap(write_text(series, Dialect(headers)), said=("GAP_UNDER_CURRENT",))


def days_before_a_hyphen() -> Trap:
    def written(seconds: float) -> str:
        minutes, second = divmod(round(seconds, 6), 60)
        hours, minute = divmod(int(minutes), 60)
        day, hour = divmod(hours, 24)
        return f"{day}-{hour:02}:{minute:02}:{second:09.6f}"

    rows = [row.split(",") for row in lines(write_text(SERIES, Dialect(CORE)))]
    data = [",".join([written(t), *row[1:]]) for t, row in zip(TIME.tolist(), rows[1:], strict=True)]
    return Trap(unlines([",".join(["Test time", *rows[0][1:]]), *data]))


def summary_table_below() -> Trap:
    table = ["Cycle,Charge (Ah),Discharge (Ah)"]
    table += [f"{k},0.7,{q:.4f}" for k, q in enumerate(PHANTOM.discharge_Ah.tolist(), 1)]
    return Trap(write_text(SERIES, Dialect(CORE)) + unlines(table), said=("SECOND_TABLE",))


def second_test_below_with_other_columns() -> Trap:
    order = {name: CORE[name] for name in ("voltage_volt", "current_ampere", "test_time_second")}
    both = write_text(SERIES, Dialect(CORE)) + write_text(SERIES, Dialect(order))
    return Trap(both, refused="SECOND_TABLE")


def step_type_against_the_voltage() -> Trap:
    words = ["charge" if c < 0 else "discharge" if c > 0 else "rest" for c in SERIES.current_A.tolist()]
    return Trap(beside("Step type", words), said=("STEP_TYPE_DISAGREES",))


METERS = [
    current_with_an_offset,
    noisy_current,
    one_wild_current,
    one_wild_voltage,
    cycle_number_moves_on_late,
    cycle_column_of_half_cycles,
    numbers_only_where_they_change,
    paused_inside_a_step_with_counters,
    days_before_a_hyphen,
    summary_table_below,
    second_test_below_with_other_columns,
    step_type_against_the_voltage,
]
