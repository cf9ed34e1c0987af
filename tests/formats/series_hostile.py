"""More of what exports do to a reader, written to see it fail; from the same phantom."""

import datetime as dt
import gzip
from collections.abc import Callable

import numpy as np

from teardown.formats.series_write import Dialect, write_text
from teardown.science.electrochemistry.columns import Array, Series
from teardown.science.electrochemistry.phantoms import CHARGE, DISCHARGE, Curve
from tests.formats.series_traps import (
    CORE,
    HEADERS,
    ROWS,
    SERIES,
    Trap,
    beside,
    changed,
    lines,
    plain,
    unlines,
)

NO_TIME = {name: HEADERS[name] for name in ("current_ampere", "voltage_volt")}
COUNTERS = CORE | {
    "charging_capacity_ah": ("Charge capacity (Ah)", 1.0),
    "discharging_capacity_ah": ("Discharge capacity (Ah)", 1.0),
}
WORDS = np.where(SERIES.current_A > 0, "Charge", np.where(SERIES.current_A < 0, "Discharge", "Rest")).tolist()


def _stamped(cells: list[str], head: str = "Date Time", delimiter: str = ",") -> bytes:
    return beside(head, cells, NO_TIME, delimiter=delimiter)


def _moments(start: dt.datetime) -> list[dt.datetime]:
    return [start + dt.timedelta(seconds=t) for t in SERIES.time_s.tolist()]


def merged_header_rows() -> Trap:
    """A row of groups above the row of names, as merged cells leave it."""
    rows = lines(plain().data)
    return Trap(unlines(["Test,,Cell,,", *rows]))


def names_and_units_on_two_rows_below_a_title() -> Trap:
    rows = lines(plain().data)
    head = ["Export of rig 4,,,,", "Test time,Current,Voltage,Cycle,Step", "[s],[A],[V],[-],[-]"]
    return Trap(unlines([*head, *rows[1:]]))


def units_in_every_kind_of_bracket() -> Trap:
    headers = {
        "test_time_second": ("Total time<min>", 1 / 60),
        "current_ampere": ("Current {µA}", 1e6),
        "voltage_volt": ("Cell voltage [mV]", 1e3),
        "cycle_count": ("Cycle no.", 1.0),
    }
    return Trap(write_text(SERIES, Dialect(headers)))


def german_headers() -> Trap:
    headers = {
        "test_time_second": ("Prüfzeit / h", 1 / 3600),
        "current_ampere": ("Zellstrom in mA", 1e3),
        "voltage_volt": ("Klemmenspannung, V", 1.0),
        "cycle_count": ("Zyklus-Nr.", 1.0),
        "charging_capacity_ah": ("Ladekapazität (mAh)", 1e3),
        "discharging_capacity_ah": ("Entladekapazität (mAh)", 1e3),
    }
    return Trap(write_text(SERIES, Dialect(headers, ";", ",", "cp1252")))


def french_headers() -> Trap:
    headers = {
        "test_time_second": ("Temps écoulé (s)", 1.0),
        "current_ampere": ("Intensité (mA)", 1e3),
        "voltage_volt": ("Tension cellule (V)", 1.0),
        "cycle_count": ("Numéro de cycle", 1.0),
    }
    return Trap(write_text(SERIES, Dialect(headers, ";", ",", "utf-8-sig")))


def mixed_minus_signs() -> Trap:
    """Typeset minus signs among plain ones, as a report writer leaves them."""
    rows = lines(plain().data)
    out = [r.replace(",-", ",\u2212") if k % 3 else r.replace(",-", ",\u2013") if k % 2 else r
           for k, r in enumerate(rows)]  # fmt: skip
    return Trap("\n".join(out).encode())


def trailing_minus_signs() -> Trap:
    """The minus sign behind the number, as old ledgers print it."""
    out = [lines(plain().data)[0]]
    for row in lines(plain().data)[1:]:
        cells = row.split(",")
        cells[1] = cells[1][1:] + "-" if cells[1].startswith("-") else cells[1]
        out.append(",".join(cells))
    return Trap(unlines(out), refused="NOT_A_NUMBER")


def spaces_in_thousands() -> Trap:
    """Thin spaces and plain ones between groups of three digits."""

    def written(value: float, mark: str) -> str:
        return f"{value:,.4f}".replace(",", mark).replace(".", ",")

    rows = [
        f"{written(t, chr(0x202F))};{written(i * 1e6, chr(0xA0))};{written(v * 1e3, ' ')}"
        for t, i, v in zip(SERIES.time_s, SERIES.current_A, SERIES.voltage_V, strict=True)
    ]
    return Trap("\n".join(["Zeit [s];Strom [µA];Spannung [mV]", *rows]).encode())


def apostrophes_in_thousands() -> Trap:
    rows = [
        f"{t:,.4f}".replace(",", "'") + f"\t{i:.9f}\t{v:.9f}"
        for t, i, v in zip(SERIES.time_s, SERIES.current_A, SERIES.voltage_V, strict=True)
    ]
    return Trap(unlines(["Zeit [s]\tStrom [A]\tSpannung [V]", *rows]))


def quoted_thousands_between_commas() -> Trap:
    rows = [
        f'"{t:,.4f}",{i:.9f},{v:.9f}'
        for t, i, v in zip(SERIES.time_s, SERIES.current_A, SERIES.voltage_V, strict=True)
    ]
    return Trap(unlines(["Time (s),Current (A),Voltage (V)", *rows]))


def stamps_with_zones() -> Trap:
    """Stamps with their offset, which changes by an hour in the autumn night."""
    from zoneinfo import ZoneInfo

    start = dt.datetime(2025, 10, 20, tzinfo=dt.UTC)
    cells = [
        m.astimezone(ZoneInfo("Europe/Berlin")).isoformat(timespec="microseconds") for m in _moments(start)
    ]
    return Trap(_stamped(cells, "Timestamp"), said=("TIME_FROM_CLOCK",))


def stamps_in_universal_time() -> Trap:
    start = dt.datetime(2025, 3, 28, tzinfo=dt.UTC)
    cells = [m.strftime("%Y-%m-%dT%H:%M:%S.%fZ") for m in _moments(start)]
    return Trap(_stamped(cells, "UTC"), said=("TIME_FROM_CLOCK",))


def stamps_of_twelve_hours() -> Trap:
    start = dt.datetime(2025, 5, 20, 6, tzinfo=dt.UTC)
    cells = [m.strftime("%d-%b-%Y %I:%M:%S.%f %p") for m in _moments(start)]
    return Trap(_stamped(cells), said=("TIME_FROM_CLOCK",))


def midnight_rollover() -> Trap:
    """A time of day alone, which falls back at every midnight."""
    cells = [
        (dt.datetime(2025, 1, 1, 9, tzinfo=dt.UTC) + dt.timedelta(seconds=t)).strftime("%H:%M:%S.%f")
        for t in SERIES.time_s
    ]
    return Trap(_stamped(cells, "Time"), said=("MIDNIGHT_PASSED",))


def step_numbers_that_start_again() -> Trap:
    step = (SERIES.columns["step_count"] - 1) % 4 + 1
    headers = CORE | {"cycle_count": HEADERS["cycle_count"], "step_id": ("Step", 1.0)}
    return Trap(write_text(changed(step_id=step), Dialect(headers)))


def milliamperes_unsigned_with_a_mode() -> Trap:
    rows = lines(
        write_text(
            changed(current_ampere=np.abs(SERIES.current_A)),
            Dialect(CORE | {"current_ampere": ("I/mA", 1e3)}),
        )
    )
    short = {"Charge": "CC_Chg", "Discharge": "CC_DChg", "Rest": "Rest"}
    return Trap(
        unlines([f"State,{rows[0]}"] + [f"{short[w]},{r}" for w, r in zip(WORDS, rows[1:], strict=True)]),
        said=("SIGN_FROM_STEP_TYPE",),
    )


def discharge_counter_below_zero() -> Trap:
    counter = -SERIES.columns["discharging_capacity_ah"]
    return Trap(write_text(changed(discharging_capacity_ah=counter), Dialect(COUNTERS)))


def missing_rows() -> Trap:
    """Single records lost here and there."""
    rows = lines(write_text(SERIES, Dialect(COUNTERS)))
    first = set((np.flatnonzero(np.diff(SERIES.columns["step_count"])) + 2).tolist())
    edge = first | {k - 1 for k in first} | {1, ROWS}
    lost = {k for k in np.random.default_rng(5).integers(1, ROWS, 40).tolist() if k not in edge}
    return Trap(unlines([r for k, r in enumerate(rows) if k not in lost]), exact=False)


def duplicated_block() -> Trap:
    """One block of rows pasted twice: the time runs back."""
    rows = lines(plain().data)
    return Trap(unlines([*rows[:1300], *rows[1200:]]), refused="TIME_BACKWARDS")


def trailing_summary_rows() -> Trap:
    rows = lines(plain().data)
    ends = ["", "Total,,,,", "Charge (Ah),12.5,,,", "Discharge (Ah),11.2,,,", "End of file,,,,"]
    return Trap(unlines([*rows, *ends]), said=("EMPTY_ROWS",))


def trailing_sentence() -> Trap:
    return Trap(plain().data + b"Test finished normally\n", said=("ROW_CUT_OFF",))


def bom_and_utf16_big_endian() -> Trap:
    return Trap(b"\xfe\xff" + plain().data.decode().encode("utf-16-be"))


def utf16_without_a_mark() -> Trap:
    return Trap(plain().data.decode().encode("utf-16-le"))


def utf8_mark_and_old_line_ends() -> Trap:
    return Trap(b"\xef\xbb\xbf" + plain().data.replace(b"\n", b"\r"))


def quoted_decimals() -> Trap:
    rows = lines(write_text(SERIES, Dialect(CORE)))
    body = [",".join(f'"{cell.replace(".", ",")}"' for cell in row.split(",")) for row in rows[1:]]
    return Trap(unlines([rows[0], *body]))


def quoted_everything() -> Trap:
    rows = lines(plain().data)
    return Trap(unlines([";".join(f'"{cell}"' for cell in row.split(",")) for row in rows]))


def semicolons_and_decimal_commas() -> Trap:
    return Trap(write_text(SERIES, Dialect(HEADERS, ";", ",")))


def packed() -> Trap:
    return Trap(gzip.compress(write_text(SERIES, Dialect(HEADERS, ";", ","))), "export.csv.gz")


def empty() -> Trap:
    return Trap(b"", refused="HEADER_MISSING")


def blank() -> Trap:
    return Trap(b"\xef\xbb\xbf\n\n  \n", refused="HEADER_MISSING")


def one_row() -> Trap:
    return Trap(unlines(lines(plain().data)[:2]), refused="TOO_SHORT")


def header_alone() -> Trap:
    return Trap(unlines(lines(plain().data)[:1]), refused="HEADER_MISSING")


def pipes_and_blanks_around() -> Trap:
    return Trap(unlines([" | ".join(row.split(",")) for row in lines(plain().data)]))


def exponents() -> Trap:
    rows = [
        f"{t:.9E},{i:.9E},{v:.9E}"
        for t, i, v in zip(SERIES.time_s, SERIES.current_A, SERIES.voltage_V, strict=True)
    ]
    return Trap(unlines(["TIME / s,CURRENT / A,VOLTAGE / V", *rows]))


def units_behind_the_numbers() -> Trap:
    rows = [
        f"{t!r} s,{i!r} A,{v!r} V"
        for t, i, v in zip(
            SERIES.time_s.tolist(), SERIES.current_A.tolist(), SERIES.voltage_V.tolist(), strict=True
        )
    ]
    return Trap(unlines(["Time,Current,Voltage", *rows]), refused="HEADER_MISSING")


def header_repeated_on_every_page() -> Trap:
    """The row of names again every 500 rows, as a printed report has it."""
    rows = lines(plain().data)
    out = [rows[0]]
    for k, row in enumerate(rows[1:]):
        if k and k % 500 == 0:
            out.append(rows[0])
        out.append(row)
    return Trap(unlines(out), said=("HEADER_REPEATED",))


def comment_lines_between() -> Trap:
    rows = lines(plain().data)
    return Trap(unlines([*rows[:900], "# paused by hand", *rows[900:]]), said=("ROW_TOO_SHORT",))


def columns_twice() -> Trap:
    """Two columns of one name, the second with the set value."""
    rows = lines(plain().data)
    out = [rows[0] + ",Current (A)"] + [row + ",0.07" for row in rows[1:]]
    return Trap(unlines(out), refused="COLUMN_AMBIGUOUS")


def set_and_measured_current() -> Trap:
    rows = lines(plain().data)
    return Trap(unlines([rows[0] + ",Set current (A)"] + [row + ",0.07" for row in rows[1:]]))


def nulls_in_words() -> Trap:
    rows = lines(plain().data)
    for at in (700, 701, 1500):
        cells = rows[at].split(",")
        cells[1] = "nan" if at == 700 else "NULL" if at == 701 else "--"
        rows[at] = ",".join(cells)
    return Trap(unlines(rows), said=("EMPTY_ROWS", "EDGES_NOT_LOGGED"), exact=False)


def infinite_voltage() -> Trap:
    rows = lines(plain().data)
    cells = rows[800].split(",")
    cells[2] = "inf"
    rows[800] = ",".join(cells)
    return Trap(unlines(rows), said=("EMPTY_ROWS",))


def overload_marks() -> Trap:
    """A meter that prints its full scale where it could not read."""
    rows = lines(plain().data)
    for at in (810, 1610):
        cells = rows[at].split(",")
        cells[2] = "9.9E+37"
        rows[at] = ",".join(cells)
    return Trap(unlines(rows), said=("VOLTAGE_OVERLOAD",))


def short_pulses_in_long_rests() -> Trap:
    """Rests that print a noise of microamperes beside currents ten thousand times as large."""
    noise = 5e-6 * np.random.default_rng(8).standard_normal(ROWS)
    current = np.where(SERIES.current_A == 0, noise, SERIES.current_A)
    return Trap(write_text(changed(current_ampere=current), Dialect(HEADERS)))


def counters_reset_each_cycle_in_milliampere_hours() -> Trap:
    columns = {}
    for name in ("charging_capacity_ah", "discharging_capacity_ah"):
        counter = SERIES.columns[name].copy()
        for cycle in np.unique(SERIES.columns["cycle_count"]):
            mine = SERIES.columns["cycle_count"] == cycle
            counter[mine] -= counter[mine][0]
        columns[name] = counter
    headers = HEADERS | {
        "charging_capacity_ah": ("Charge Capacity(mAh)", 1e3),
        "discharging_capacity_ah": ("Discharge Capacity(mAh)", 1e3),
    }
    return Trap(write_text(changed(**columns), Dialect(headers)))


def _energy_so_far(curve: Curve, x: Array) -> Array:
    """Give the integral of a voltage curve from 0 to x, in closed form."""
    w, s = curve.width, curve.split
    step = w * (np.logaddexp(0, (x - s) / w) - np.logaddexp(0, -s / w))
    ends = curve.start_V * curve.start_width * -np.expm1(-x / curve.start_width)
    ends += (
        curve.end_V * curve.end_width * (np.exp(-(1 - x) / curve.end_width) - np.exp(-1 / curve.end_width))
    )
    return curve.first_V * x + (curve.second_V - curve.first_V) * step + ends


def energy_counters() -> dict[str, Array]:
    """Give exact counters of energy for the phantom."""
    step, clock, current = (SERIES.columns[n] for n in ("step_count", "step_time_second", "current_ampere"))
    length = np.zeros(ROWS)
    for k in np.unique(step):
        length[step == k] = clock[step == k].max()
    columns = {}
    for name, curve, mine in (
        ("charging_energy_wh", CHARGE, current > 0),
        ("discharging_energy_wh", DISCHARGE, current < 0),
    ):
        x, amp = clock / length, np.abs(current)
        ohmic = np.where(current > 0, 1, -1) * 0.3 * amp * x
        inside = np.where(mine, amp * length / 3600 * (_energy_so_far(curve, x) + ohmic), 0.0)
        first = np.flatnonzero(np.diff(step, prepend=step[0] - 1) != 0)
        gained = np.diff(inside, prepend=0.0)
        gained[first] = 0.0
        columns[name] = np.cumsum(np.where(mine, gained, 0.0))
    return columns


WITH_ENERGY = COUNTERS | {
    "charging_energy_wh": ("Charge energy (Wh)", 1.0),
    "discharging_energy_wh": ("Discharge energy (mWh)", 1e3),
}


def edges_lost_with_counters_of_energy() -> Trap:
    """Neither the first nor the last record of a step: only the counters know what flowed."""
    held = changed(**energy_counters())
    step = SERIES.columns["step_count"]
    edge = np.zeros(ROWS, dtype=bool)
    edge[1:-1] = ((np.diff(step)[1:] != 0) | (np.diff(step)[:-1] != 0)) & (SERIES.current_A[1:-1] != 0)
    edge[0] = False
    thin = Series({n: c[~edge] for n, c in held.columns.items()})
    return Trap(write_text(thin, Dialect(WITH_ENERGY)), said=("ENERGY_FROM_COUNTER", "EDGES_NOT_LOGGED"))


def counters_of_energy_agree() -> Trap:
    return Trap(write_text(changed(**energy_counters()), Dialect(WITH_ENERGY)))


def counter_of_energy_in_another_unit() -> Trap:
    headers = WITH_ENERGY | {"discharging_energy_wh": ("Discharge energy (Wh)", 1e3)}
    return Trap(
        write_text(changed(**energy_counters()), Dialect(headers)), said=("ENERGY_COUNTER_DISAGREES",)
    )


def resistance_and_impedance_beside() -> Trap:
    """Columns of the cycler's own resistance, empty but where it measured."""
    ohm = np.where(np.diff(SERIES.columns["step_count"], prepend=0) != 0, 0.25, np.nan)
    headers = HEADERS | {
        "internal_resistance_ohm": ("Internal resistance (mOhm)", 1e3),
        "frequency_hertz": ("Frequency / Hz", 1.0),
        "real_impedance_ohm": ("Real Impedance / ohm", 1.0),
    }
    held = changed(internal_resistance_ohm=ohm, frequency_hertz=ohm * 4e3, real_impedance_ohm=ohm)
    return Trap(write_text(held, Dialect(headers)).replace(b"NaN", b""))


def current_printed_as_a_density() -> Trap:
    headers = CORE | {"current_ampere": ("Current density (mA/cm2)", 50.0)}
    return Trap(write_text(SERIES, Dialect(headers)), refused="COLUMN_MISSING")


def minutes_and_seconds() -> Trap:
    """A duration with days before it, blank-separated."""
    out = []
    for t in SERIES.time_s.tolist():
        days, rest = divmod(t, 86400)
        hours, rest = divmod(rest, 3600)
        minutes, seconds = divmod(rest, 60)
        out.append(f"{int(days)} days {int(hours):02}:{int(minutes):02}:{seconds:012.9f}")
    return Trap(beside("Run time", out, NO_TIME))


HOSTILE: list[Callable[[], Trap]] = [
    merged_header_rows,
    names_and_units_on_two_rows_below_a_title,
    units_in_every_kind_of_bracket,
    german_headers,
    french_headers,
    mixed_minus_signs,
    trailing_minus_signs,
    spaces_in_thousands,
    apostrophes_in_thousands,
    quoted_thousands_between_commas,
    stamps_with_zones,
    stamps_in_universal_time,
    stamps_of_twelve_hours,
    midnight_rollover,
    step_numbers_that_start_again,
    milliamperes_unsigned_with_a_mode,
    discharge_counter_below_zero,
    missing_rows,
    duplicated_block,
    trailing_summary_rows,
    trailing_sentence,
    bom_and_utf16_big_endian,
    utf16_without_a_mark,
    utf8_mark_and_old_line_ends,
    quoted_decimals,
    quoted_everything,
    semicolons_and_decimal_commas,
    packed,
    empty,
    blank,
    one_row,
    header_alone,
    pipes_and_blanks_around,
    exponents,
    units_behind_the_numbers,
    header_repeated_on_every_page,
    comment_lines_between,
    columns_twice,
    set_and_measured_current,
    nulls_in_words,
    infinite_voltage,
    overload_marks,
    short_pulses_in_long_rests,
    counters_reset_each_cycle_in_milliampere_hours,
    current_printed_as_a_density,
    minutes_and_seconds,
    edges_lost_with_counters_of_energy,
    counters_of_energy_agree,
    counter_of_energy_in_another_unit,
    resistance_and_impedance_beside,
]
