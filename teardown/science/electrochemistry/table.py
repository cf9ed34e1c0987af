"""The per-cycle table: one row a cycle, every column with unit and definition."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from teardown.science.electrochemistry.blemishes import blemish_doubts
from teardown.science.electrochemistry.columns import Array, Index, Series
from teardown.science.electrochemistry.counters import count_charge, count_energy
from teardown.science.electrochemistry.cycles import Cycles, Opening, number_cycles
from teardown.science.electrochemistry.differential import (
    Differential,
    differential_capacity,
    first_plateau_Ah,
)
from teardown.science.electrochemistry.doubts import (
    charge_doubts,
    charge_uncertain,
    energy_doubts,
    energy_uncertain,
)
from teardown.science.electrochemistry.efficiency import efficiency, voltage_efficiency
from teardown.science.electrochemistry.halves import Half, half_of, per_cycle
from teardown.science.electrochemistry.integration import StepIntegrals, integrate
from teardown.science.electrochemistry.rates import rate_classes, rate_hours
from teardown.science.electrochemistry.resistance import DELAY_S, step_resistance
from teardown.science.electrochemistry.rests import read_rests, self_discharge
from teardown.science.electrochemistry.steps import Steps, find_steps
from teardown.science.errors import Remark

COMPLETE_SHARE = 0.2
WRITTEN_OHM = ("dc_internal_resistance_ohm", "internal_resistance_ohm", "ac_internal_resistance_ohm")

CYCLE_COLUMNS: dict[str, tuple[str, str]] = {
    "cycle": ("1", "number of the cycle"),
    "start_s": ("s", "test time at its first record"),
    "end_s": ("s", "test time at its last record"),
    "charge_Ah": ("Ah", "charge taken, by integral or counter, whichever has the smaller uncertainty"),
    "discharge_Ah": ("Ah", "charge given, by integral or counter, whichever has the smaller uncertainty"),
    "u_charge_Ah": ("Ah", "standard uncertainty of the charge taken"),
    "u_discharge_Ah": ("Ah", "standard uncertainty of the charge given"),
    "charge_Wh": ("Wh", "energy taken: mean voltage times charge, or by counter where that is surer"),
    "discharge_Wh": ("Wh", "energy given: mean voltage times charge, or by counter where that is surer"),
    "u_charge_Wh": ("Wh", "standard uncertainty of the energy taken"),
    "u_discharge_Wh": ("Wh", "standard uncertainty of the energy given"),
    "coulombic_efficiency": ("1", "discharge over the charge before it"),
    "energy_efficiency": ("1", "energy given over energy taken before it"),
    "voltage_efficiency": ("1", "mean discharge voltage over mean charge voltage"),
    "mean_charge_V": ("V", "charge-weighted mean voltage on charge"),
    "mean_discharge_V": ("V", "charge-weighted mean voltage on discharge"),
    "end_charge_V": ("V", "last voltage under charging current"),
    "end_discharge_V": ("V", "last voltage under discharging current"),
    "rest_after_charge_V": ("V", "last voltage of the rest after the charge"),
    "rest_after_discharge_V": ("V", "last voltage of the rest after the discharge"),
    "relaxation_V": ("V", "change of voltage over the rest after the discharge"),
    "relaxation_tau_s": ("s", "time to 63 % of that change"),
    "rest_h": ("h", "rest between the charge and the discharge"),
    "resistance_ohm": ("ohm", "change of voltage over change of current where the discharge begins"),
    "resistance_delay_s": ("s", "delay at which that resistance was read"),
    "written_ohm": ("ohm", "resistance as the cycler wrote it, median of the cycle; its method is not known"),
    "rate_h": ("h", "discharged charge over mean discharge current"),
    "charge_rate_h": ("h", "charged charge over mean charge current"),
    "rate_class": (
        "1",
        "0 the reference class of like discharge current, others counted on, -1 not complete",
    ),
    "first_plateau_Ah": ("Ah", "discharge down to the least differential capacity between its two peaks"),
    "self_discharge_per_day": ("1/d", "share of charge lost over a long rest, per day"),
    "temperature_mean_C": ("°C", "mean temperature"),
    "temperature_min_C": ("°C", "lowest temperature"),
    "temperature_max_C": ("°C", "highest temperature"),
    "throughput_Ah": ("Ah", "discharged charge since the test began, this cycle included"),
    "loss_Ah": ("Ah", "charge taken less charge given since the test began"),
    "charge_integral_Ah": ("Ah", "charge taken, by integral"),
    "discharge_integral_Ah": ("Ah", "charge given, by integral"),
    "charge_counter_Ah": ("Ah", "charge taken, by counter"),
    "discharge_counter_Ah": ("Ah", "charge given, by counter"),
    "records": ("1", "records of the cycle"),
    "complete": ("1", "1 where charge and discharge both are whole"),
    "check_up": ("1", "1 where a complete cycle ran at another current than the reference class"),
    "uncertain": ("1", "1 where the doubt of its charge is more than 1 %"),
}


@dataclass(frozen=True, slots=True)
class CycleTable:
    """Per-cycle values, each an array of shape (cycles,); names, units and meanings are in
    `CYCLE_COLUMNS`.

    ``spreads`` holds the differential capacity of discharges of one step, by the place of their cycle.
    """

    columns: Mapping[str, Array]
    discharge_first: bool = False
    counter: tuple[str, ...] = ()
    remarks: tuple[Remark, ...] = field(default_factory=tuple)
    steps: Steps | None = None
    numbering: Cycles | None = None
    spreads: Mapping[int, Differential] = field(default_factory=dict)

    def __getitem__(self, name: str) -> Array:
        """Give one column."""
        return self.columns[name]

    def __len__(self) -> int:
        """Count the cycles."""
        return int(self.columns["cycle"].size)


def tabulate(
    series: Series, *, opens: Opening = "charge", formation_cycles: int = 0, delay_s: float = DELAY_S
) -> CycleTable:
    """Compute every per-cycle value of a history.

    Parameters
    ----------
    series : Series
        Current positive on charge.
    opens : "charge" or "discharge"
        Which half-cycle opens a cycle, where the file numbers none.
    formation_cycles : int
        How many first cycles are formation and count in no comparison.
    delay_s : float
        Wanted delay of the resistance, s.

    Returns
    -------
    CycleTable
    """
    steps = find_steps(series)
    sums = integrate(series, steps)
    counts, energies = count_charge(series, steps, sums.gaps), count_energy(series, steps)
    cycles, remarks = number_cycles(series, steps, sums.charge_Ah[0] + sums.charge_Ah[1], opens=opens)
    halves = [half_of(series, steps, cycles, sums, (counts, energies), way) for way in (0, 1)]
    first_of = steps.first[np.unique(cycles.of_step, return_index=True)[1]]
    last_of = np.concatenate((first_of[1:] - 1, [len(series) - 1]))
    discharge_first = _discharge_first(steps, cycles, sums)
    table = _head(series, cycles, halves, first_of, last_of)
    complete, open_end = _complete(halves, steps, series, formation_cycles)
    if open_end:
        remarks.append(
            Remark(
                "OPEN_CYCLE",
                "info",
                "The last cycle had not ended when the file did; it counts in no comparison.",
                None,
                f"cycle {cycles.number[-1]}",
                "Send the file again when the cycle is over.",
            )
        )
    table["complete"] = complete.astype(float)
    table |= _efficiencies(halves, complete, discharge_first=discharge_first)
    table["rate_class"] = rate_classes(halves[1].mean_A, complete).astype(float)
    table["check_up"] = (table["rate_class"] > 0).astype(float)
    table |= _at_rest(series, steps, cycles)
    table["self_discharge_per_day"] = self_discharge(table["discharge_Ah"], table["rest_h"], complete)
    table |= _resistances(series, steps, cycles, delay_s)
    table["written_ohm"] = _written_ohm(series, first_of, last_of)
    table["first_plateau_Ah"], spreads = _plateaus(series, steps, cycles, halves[1].Ah)
    table |= _temperatures(series, first_of, last_of)
    doubt = np.maximum(
        table["u_charge_Ah"] / _over(halves[0].Ah), table["u_discharge_Ah"] / _over(halves[1].Ah)
    )
    table["uncertain"] = (doubt > 0.01).astype(float)
    remarks += charge_uncertain(doubt, table["cycle"])
    doubt_Wh = np.maximum(
        table["u_charge_Wh"] / _over(np.abs(halves[0].Wh)),
        table["u_discharge_Wh"] / _over(np.abs(halves[1].Wh)),
    )
    remarks += energy_uncertain(doubt_Wh, table["cycle"])
    joint = {way: half.joint_u_Ah for way, half in zip(("charge", "discharge"), halves, strict=True)}
    remarks += charge_doubts(series, steps, sums, counts, table, joint)
    remarks += blemish_doubts(series, sums.blemishes)
    remarks += energy_doubts(energies, [half.apart_Wh for half in halves], table["cycle"])
    columns = {name: np.asarray(table[name], dtype=np.float64) for name in CYCLE_COLUMNS}
    names = counts.names if counts else ()
    return CycleTable(columns, discharge_first, names, tuple(remarks), steps, cycles, spreads)


def _over(amount: Array) -> Array:
    return np.where(amount > 0, amount, np.inf)


def _discharge_first(steps: Steps, cycles: Cycles, sums: StepIntegrals) -> bool:
    """Tell whether most cycles begin with their discharge."""
    charge = sums.charge_Ah[0] + sums.charge_Ah[1]
    usual = per_cycle(cycles, charge)[cycles.of_step]
    big = np.flatnonzero((steps.kind != 0) & (charge >= 0.02 * usual))
    if not big.size:
        return False
    _, at = np.unique(cycles.of_step[big], return_index=True)
    return bool(np.mean(steps.kind[big[at]] == -1) > 0.5)


def _head(
    series: Series, cycles: Cycles, halves: list[Half], first_of: Index, last_of: Index
) -> dict[str, Array]:
    charge, discharge = halves
    return {
        "cycle": cycles.number.astype(float),
        "start_s": series.time_s[first_of],
        "end_s": series.time_s[last_of],
        "charge_Ah": charge.Ah,
        "discharge_Ah": discharge.Ah,
        "u_charge_Ah": charge.u_Ah,
        "u_discharge_Ah": discharge.u_Ah,
        "charge_Wh": charge.Wh,
        "u_charge_Wh": charge.u_Wh,
        "u_discharge_Wh": discharge.u_Wh,
        "discharge_Wh": discharge.Wh,
        "mean_charge_V": charge.mean_V,
        "mean_discharge_V": discharge.mean_V,
        "end_charge_V": charge.end_V,
        "end_discharge_V": discharge.end_V,
        "rate_h": rate_hours(discharge.Ah, discharge.mean_A),
        "charge_rate_h": rate_hours(charge.Ah, charge.mean_A),
        "charge_integral_Ah": charge.integral_Ah,
        "discharge_integral_Ah": discharge.integral_Ah,
        "charge_counter_Ah": charge.counter_Ah,
        "discharge_counter_Ah": discharge.counter_Ah,
        "throughput_Ah": np.cumsum(discharge.Ah),
        "loss_Ah": np.cumsum(charge.Ah - discharge.Ah),
        "records": (last_of - first_of + 1).astype(float),
    }


def running_median(values: Array, width: int) -> Array:
    """Give the median over ``width`` neighbours, fewer at the ends; shape of ``values``."""
    half = width // 2
    padded = np.concatenate((np.full(half, np.nan), values, np.full(half, np.nan)))
    windows = np.lib.stride_tricks.sliding_window_view(padded, width)
    known = np.isfinite(windows)
    if known[half:-half].all() and values.size > 2 * half:
        inner = np.median(windows[half:-half], axis=1)
        ends = [np.median(w[np.isfinite(w)]) for w in np.concatenate((windows[:half], windows[-half:]))]
        return np.concatenate((ends[:half], inner, ends[half:]))
    return np.array([np.median(w[k]) if k.any() else np.nan for w, k in zip(windows, known, strict=True)])


def _complete(halves: list[Half], steps: Steps, series: Series, formation: int) -> tuple[Array, bool]:
    """Mark cycles that hold a whole charge and a whole discharge, and tell whether the last one is still
    open.
    """
    charge, discharge = halves
    complete = np.ones(charge.Ah.size, dtype=bool)
    for half in halves:
        complete &= (half.Ah > 0) & (half.Ah >= COMPLETE_SHARE * running_median(half.Ah, 11))
    complete[:formation] = False
    end = steps.kind[-1]
    open_end = False
    if complete.any() and complete[-1] and end != 0 and complete.size > 1:
        half = charge if end > 0 else discharge
        before = half.end_V[:-1][complete[:-1]]
        if before.size:
            usual = float(np.median(before[-5:]))
            reached = end * (half.end_V[-1] - usual) >= -0.02
            open_end = not (reached or half.Ah[-1] >= 0.98 * half.Ah[-2])
    elif complete.size > 1 and not complete[-1]:
        open_end = bool(end != 0 or discharge.Ah[-1] <= 0)
    if open_end:
        complete[-1] = False
    return complete, open_end


def _efficiencies(halves: list[Half], complete: Array, *, discharge_first: bool) -> dict[str, Array]:
    charge, discharge = halves
    return {
        "coulombic_efficiency": efficiency(
            charge.Ah, discharge.Ah, complete, discharge_first=discharge_first
        ),
        "energy_efficiency": efficiency(charge.Wh, discharge.Wh, complete, discharge_first=discharge_first),
        "voltage_efficiency": voltage_efficiency(
            discharge.mean_V, charge.mean_V, complete, discharge_first=discharge_first
        ),
    }


def _at_rest(series: Series, steps: Steps, cycles: Cycles) -> dict[str, Array]:
    rests = read_rests(series, steps)
    n = len(cycles)
    out = {
        name: np.full(n, np.nan)
        for name in ("rest_after_charge_V", "rest_after_discharge_V", "relaxation_V", "relaxation_tau_s")
    }
    at = cycles.of_step[rests.after]
    charged, discharged = steps.kind[rests.after] > 0, steps.kind[rests.after] < 0
    out["rest_after_charge_V"][at[charged]] = rests.voltage_V[charged]
    out["rest_after_discharge_V"][at[discharged]] = rests.voltage_V[discharged]
    out["relaxation_V"][at[discharged]] = rests.change_V[discharged]
    out["relaxation_tau_s"][at[discharged]] = rests.tau_s[discharged]
    hours = np.zeros(n)
    np.add.at(hours, at[charged], rests.length_s[charged] / 3600)
    out["rest_h"] = hours
    return out


def _resistances(series: Series, steps: Steps, cycles: Cycles, delay_s: float) -> dict[str, Array]:
    ohm, met = step_resistance(series, steps, delay_s=delay_s)
    out = {"resistance_ohm": np.full(len(cycles), np.nan), "resistance_delay_s": np.full(len(cycles), np.nan)}
    known = np.flatnonzero((steps.kind < 0) & np.isfinite(ohm))[::-1]  # the first of a cycle is written last
    out["resistance_ohm"][cycles.of_step[known]] = ohm[known]
    out["resistance_delay_s"][cycles.of_step[known]] = met[known]
    return out


def _written_ohm(series: Series, first_of: Index, last_of: Index) -> Array:
    """Give the median of the resistances that the cycler itself wrote, of each cycle; NaN where none."""
    out = np.full(first_of.size, np.nan)
    for name in WRITTEN_OHM:
        written = series.get(name)
        if written is None:
            continue
        for k, (a, b) in enumerate(zip(first_of.tolist(), last_of.tolist(), strict=True)):
            held = written[a : b + 1]
            held = held[np.isfinite(held) & (held > 0)]
            if held.size:
                out[k] = float(np.median(held))
        return out
    return out


def _plateaus(
    series: Series, steps: Steps, cycles: Cycles, discharge_Ah: Array
) -> tuple[Array, dict[int, Differential]]:
    """Give the first plateau of each cycle, and the differential capacities it was seen in."""
    out = np.full(len(cycles), np.nan)
    spreads = {}
    largest = float(discharge_Ah.max(initial=0.0))
    for step in np.flatnonzero(steps.kind == -1).tolist():
        a, b = int(steps.first[step]), int(steps.last[step]) + 1
        place = int(cycles.of_step[step])
        if b - a < 12 or discharge_Ah[place] < 0.05 * largest:
            continue
        time_s, current = series.time_s[a:b], -series.current_A[a:b]
        passed = np.concatenate(([0.0], np.cumsum(np.diff(time_s) * (current[1:] + current[:-1]) / 7200)))
        if passed[-1] >= 0.5 * discharge_Ah[place]:
            falls = current.min() < 0
            passed = np.maximum.accumulate(passed) if falls else passed
            spread = differential_capacity(passed, series.voltage_V[a:b])
            out[place] = first_plateau_Ah(spread)
            if not falls:
                spreads[place] = spread
    return out, spreads


def _temperatures(series: Series, first_of: Index, last_of: Index) -> dict[str, Array]:
    found = series.get("ambient_temperature_celsius")
    if found is None:
        found = series.get("surface_temperature_celsius")
    names = ("temperature_mean_C", "temperature_min_C", "temperature_max_C")
    if found is None or not np.isfinite(found).all():
        return {name: np.full(first_of.size, np.nan) for name in names}
    count = last_of - first_of + 1
    kinds = (
        np.add.reduceat(found, first_of) / count,
        np.minimum.reduceat(found, first_of),
        np.maximum.reduceat(found, first_of),
    )
    return dict(zip(names, kinds, strict=True))
