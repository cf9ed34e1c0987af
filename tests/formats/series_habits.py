"""More habits of exports, found with an independent generator: each gives the truth or its code."""

import datetime as dt
from collections.abc import Callable

import numpy as np

from teardown.formats.series_write import Dialect, write_text
from tests.formats.series_traps import CORE, SERIES, Trap, changed, lines, stamps_of, unlines

STEP = np.flatnonzero(np.diff(SERIES.columns["step_count"])) + 1
FIRST, LAST = np.concatenate(([0], STEP)), np.concatenate((STEP - 1, [len(SERIES) - 1]))
COUNTERS = {
    "charging_capacity_ah": ("Charge capacity (Ah)", 1.0),
    "discharging_capacity_ah": ("Discharge capacity (Ah)", 1.0),
}


def _worded(
    charge: str, rest: str, discharge: str, headers: dict[str, tuple[str, float]], mode: str
) -> bytes:
    """Write an unsigned current with the mode of each record beside it."""
    words = np.where(SERIES.current_A > 0, charge, np.where(SERIES.current_A < 0, discharge, rest)).tolist()
    rows = lines(write_text(changed(current_ampere=np.abs(SERIES.current_A)), Dialect(headers)))
    return unlines([f"{mode},{rows[0]}"] + [f"{w},{r}" for w, r in zip(words, rows[1:], strict=True)])


def dutch_headers() -> Trap:
    headers = {
        "test_time_second": ("Tijd [s]", 1.0),
        "voltage_volt": ("Spanning [mV]", 1e3),
        "current_ampere": ("Stroom [mA]", 1e3),
        "charging_capacity_ah": ("Laadcapaciteit [mAh]", 1e3),
        "discharging_capacity_ah": ("Ontlaadcapaciteit [mAh]", 1e3),
    }
    return Trap(_worded("Laden", "Rust", "Ontladen", headers, "Modus"), said=("SIGN_FROM_STEP_TYPE",))


def french_modes_with_accents() -> Trap:
    """A bare "de charge" is no discharge, and the accent of "décharge" does not hide it."""
    headers = {
        "test_time_second": ("Temps (s)", 1.0),
        "voltage_volt": ("Tension (V)", 1.0),
        "current_ampere": ("Courant (A)", 1.0),
        "charging_capacity_ah": ("Capacité de charge (Ah)", 1.0),
        "discharging_capacity_ah": ("Capacité de décharge (Ah)", 1.0),
    }
    return Trap(_worded("Charge", "Repos", "Décharge", headers, "Mode"), said=("SIGN_FROM_STEP_TYPE",))


def program_of_the_test_above() -> Trap:
    program = [
        "No;Mode;Limit (V);Current (A);Time (h)",
        "1;CC;1.6;0.1;10",
        "2;Rest;0;0;1",
        "3;CC;0.6;0.1;10",
        "",
    ]
    return Trap(unlines([*program, *lines(write_text(SERIES, Dialect(CORE, ";")))]))


def currents_in_two_columns() -> Trap:
    rows = lines(write_text(SERIES, Dialect(CORE)))
    currents = SERIES.current_A.tolist()
    both = [f"{max(c, 0.0)!r},{max(-c, 0.0)!r}" for c in currents]
    cells = [row.split(",") for row in rows[1:]]
    data = [f"{c[0]},{b},{c[2]}" for c, b in zip(cells, both, strict=True)]
    return Trap(
        unlines(["Test time (s),Charge current (A),Discharge current (A),Voltage (V)", *data]),
        said=("CURRENT_JOINED",),
    )


def points_that_group_millivolts() -> Trap:
    """Whole microvolts in groups of three: beside decimal commas, a point is no decimal mark."""
    rows = ["Test time (s);Current (A);Voltage (µV)"]
    for t, i, v in zip(SERIES.time_s, SERIES.current_A, SERIES.voltage_V, strict=True):
        grouped = f"{round(float(v) * 1e6):,}".replace(",", ".")
        rows.append(f"{float(t)!r};{float(i)!r}".replace(".", ",") + f";{grouped}")
    return Trap(unlines(rows))


def notes_between_the_rows() -> Trap:
    rows = lines(write_text(SERIES, Dialect(CORE)))
    for at in range(len(rows) - 20, 20, -100):
        rows.insert(at, "# looked at, all well")
    return Trap(unlines(rows), said=("ROW_TOO_SHORT",))


def counter_that_cannot_be_read_where_it_is_large() -> Trap:
    rows = lines(write_text(SERIES, Dialect(CORE | COUNTERS)))
    end = SERIES.columns["discharging_capacity_ah"][-1]
    for k, counted in enumerate(SERIES.columns["discharging_capacity_ah"].tolist(), 1):
        if counted > 0.3 * end:
            rows[k] = rows[k].rpartition(",")[0] + ",1?234"
    return Trap(unlines(rows), said=("NOT_A_NUMBER",))


def first_record_after_the_switch() -> Trap:
    """The counter of the first record holds what flowed before it."""
    rows = lines(write_text(SERIES, Dialect(CORE | COUNTERS)))
    lost = set((FIRST + 1).tolist())
    return Trap(unlines([r for k, r in enumerate(rows) if k not in lost]), said=("EDGES_NOT_LOGGED",))


def step_time_alone_with_hidden_switches() -> Trap:
    begin = np.repeat(SERIES.time_s[FIRST], LAST - FIRST + 1)
    made = changed(step_time_second=SERIES.time_s - begin)
    headers = {
        "step_time_second": ("Step time (s)", 1.0),
        "current_ampere": ("Current (A)", 1.0),
        "voltage_volt": ("Voltage (V)", 1.0),
    }
    rows = lines(write_text(made, Dialect(headers)))
    lost = set((FIRST + 1).tolist()) | set((LAST + 1).tolist())
    return Trap(
        unlines([r for k, r in enumerate(rows) if k not in lost]),
        said=("TIME_FROM_STEP_TIME", "EDGES_NOT_LOGGED"),
        exact=False,
    )


def spanish_moments() -> Trap:
    stamps = stamps_of(dt.datetime(2030, 3, 4, 8, tzinfo=dt.UTC), "%Y-%m-%d %H:%M:%S.%f")
    headers = {"current_ampere": ("Corriente_in_A", 1.0), "voltage_volt": ("Voltaje_in_V", 1.0)}
    rows = lines(write_text(SERIES, Dialect(headers)))
    return Trap(
        unlines([f"Fecha y hora,{rows[0]}"] + [f"{s},{r}" for s, r in zip(stamps, rows[1:], strict=True)]),
        said=("TIME_FROM_CLOCK",),
    )


HABITS: list[Callable[[], Trap]] = [
    dutch_headers,
    french_modes_with_accents,
    program_of_the_test_above,
    currents_in_two_columns,
    points_that_group_millivolts,
    notes_between_the_rows,
    counter_that_cannot_be_read_where_it_is_large,
    first_record_after_the_switch,
    step_time_alone_with_hidden_switches,
    spanish_moments,
]
