"""One history in a few numbers, and everything a reader must know beside them."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from teardown.science.constants import ATOMIC_WEIGHT, FARADAY_Ah_PER_MOL
from teardown.science.electrochemistry.columns import Array, Index, Series
from teardown.science.electrochemistry.cycles import Opening
from teardown.science.electrochemistry.knee import find_knee
from teardown.science.electrochemistry.plausible import doubt_of, more_out_than_in, size_doubts
from teardown.science.electrochemistry.resistance import DELAY_S
from teardown.science.electrochemistry.retention import (
    Reference,
    Status,
    fade,
    limit_cycle,
    reference_capacity,
)
from teardown.science.electrochemistry.table import CycleTable, tabulate
from teardown.science.errors import Remark
from teardown.science.estimate import Estimate

AH_PER_GRAM_2E = 2 * FARADAY_Ah_PER_MOL / ATOMIC_WEIGHT["Fe"]
AH_PER_GRAM_3E = 3 * FARADAY_Ah_PER_MOL / ATOMIC_WEIGHT["Fe"]
VERSION = "4"


@dataclass(frozen=True, slots=True)
class ChannelAccuracy:
    """How far a cycler's channel may be off: range in A, gain as a fraction of reading, offset as a fraction
    of range.
    """

    range_A: float
    gain: float
    offset: float


@dataclass(frozen=True, slots=True)
class CyclingSummary:
    """What a history comes to.

    Attributes
    ----------
    cycles : CycleTable
        Per-cycle values.
    metrics : mapping of str to Estimate, float or None
        Per-cell values; names carry units, `METRICS` says what each is. None where the history cannot tell.
    status : str
        Whether the 80 % limit was reached, or what keeps that from being known.
    remarks : tuple of Remark
    """

    cycles: CycleTable
    metrics: Mapping[str, Estimate | float | None]
    status: Status
    remarks: tuple[Remark, ...]

    def value(self, name: str) -> float | None:
        """Give the bare number of a metric."""
        found = self.metrics.get(name)
        return found.value if isinstance(found, Estimate) else found


METRICS: dict[str, tuple[str, str]] = {
    "cycles": ("1", "cycles begun"),
    "complete_cycles": ("1", "complete cycles"),
    "duration_h": ("h", "test time from first to last record"),
    "q_ref_Ah": (
        "Ah",
        "peak capacity: largest 5-cycle running median at the reference rate, bias removed",
    ),
    "q_ref_cycle": ("1", "cycle of the peak"),
    "q_ref_bias_Ah": ("Ah", "bias taken off the peak"),
    "q_first_Ah": ("Ah", "median of the first three complete cycles"),
    "q_last_Ah": ("Ah", "last complete discharge at the reference rate"),
    "retention": ("1", "last over peak capacity"),
    "utilisation_2e": ("1", "peak capacity over that of all iron at two electrons an atom"),
    "utilisation_3e": ("1", "peak capacity over that of all iron at three electrons an atom"),
    "fade_per_cycle": (
        "1",
        "Theil-Sen slope from the peak on over peak capacity; above zero where capacity falls",
    ),
    "fade_per_day": ("1/d", "the same against days"),
    "cycles_to_80": ("1", "first cycle below 80 % of the peak for good, interpolated"),
    "knee_cycle": ("1", "bend of the capacity curve (two lines, profiled)"),
    "knee_onset_cycle": ("1", "first bend of a curve of three lines"),
    "coulombic_efficiency": ("1", "median over complete cycles at the reference rate"),
    "energy_efficiency": ("1", "median over complete cycles at the reference rate"),
    "voltage_efficiency": ("1", "median over complete cycles at the reference rate"),
    "loss_Ah": ("Ah", "charge taken less charge given, whole test"),
    "throughput_Ah": ("Ah", "charge given, whole test"),
    "charge_Ah": ("Ah", "charge taken, whole test"),
    "rate_h": ("h", "median discharge time at the reference rate"),
    "rate_classes": ("1", "classes of like discharge current"),
    "mean_discharge_V": ("V", "median over complete cycles at the reference rate"),
    "mean_charge_V": ("V", "median over complete cycles at the reference rate"),
    "rest_after_charge_V": ("V", "median over complete cycles"),
    "rest_after_discharge_V": ("V", "median over complete cycles"),
    "resistance_first_ohm": ("ohm", "median of the first five complete cycles"),
    "resistance_last_ohm": ("ohm", "median of the last five complete cycles"),
    "resistance_delay_s": ("s", "delay at which resistance was read"),
    "written_ohm": ("ohm", "resistance as the cycler wrote it, median over the cycles; method not known"),
    "self_discharge_per_day": ("1/d", "median over long rests"),
    "first_plateau_ref_Ah": ("Ah", "charge of the first discharge plateau around the peak"),
    "first_plateau_last_Ah": ("Ah", "charge of the first discharge plateau at the end"),
    "since_full_charge_Ah": ("Ah", "charge given since the last charge ended"),
    "rest_at_end_h": ("h", "time without current at the end of the record"),
    "temperature_mean_C": ("°C", "mean of the cycles' mean temperatures"),
}


def summarise(
    series: Series,
    *,
    iron_mass_g: float | None = None,
    iron_purity: float = 1.0,
    end: str | None = None,
    opens: Opening = "charge",
    formation_cycles: int = 0,
    channel: ChannelAccuracy | None = None,
    delay_s: float = DELAY_S,
) -> CyclingSummary:
    """Compute per-cycle and per-cell values of a history.

    Parameters
    ----------
    series : Series
        Current positive on charge.
    iron_mass_g, iron_purity : float
        Iron built in, g, and the metal's share of it; without them there is no utilisation and no check of
        size.
    end : str or None
        How the test ended, in the words of the fixed list; None while it runs.
    opens : "charge" or "discharge"
        Which half-cycle opens a cycle, where the file numbers none.
    formation_cycles : int
        First cycles that count in no comparison.
    channel : ChannelAccuracy or None
        Of the cycler's channel, for the doubt of the cumulative loss.
    delay_s : float
        Wanted delay of the resistance, s.

    Returns
    -------
    CyclingSummary
        It is given even for a history without a complete cycle; then most metrics are None.
    """
    table = tabulate(series, opens=opens, formation_cycles=formation_cycles, delay_s=delay_s)
    most_Ah = AH_PER_GRAM_3E * iron_mass_g if iron_mass_g else None
    remarks = [*table.remarks, *size_doubts(table, most_Ah), *more_out_than_in(table)]
    metrics: dict[str, Estimate | float | None] = dict.fromkeys(METRICS)
    metrics |= _whole_test(series, table, channel)
    status: Status = "censored-running" if end is None else limit_cycle_status(end)
    like = table["rate_class"] == 0
    if like.any():
        reference = reference_capacity(table["cycle"][like], table["discharge_Ah"][like])
        found, status = _against_reference(table, like, reference, end)
        metrics |= found
        if iron_mass_g:
            metrics |= _utilisation(reference, iron_mass_g * iron_purity)
    else:
        remarks.append(
            Remark(
                "NO_COMPLETE_CYCLE",
                "warning",
                "No cycle holds a whole charge and a whole discharge.",
                where="whole test",
                remedy="Check the column map and the cycle numbers.",
            )
        )
    return CyclingSummary(table, metrics, status, tuple(remarks))


def limit_cycle_status(end: str) -> Status:
    """Say what an end of test means where no capacity could be followed."""
    from teardown.science.electrochemistry.retention import END_STATUS

    status = END_STATUS.get(end, "other-failure")
    return "other-failure" if status == "reached-by-limit" else status


def _whole_test(
    series: Series, table: CycleTable, channel: ChannelAccuracy | None
) -> dict[str, Estimate | float | None]:
    taken, given = float(table["charge_Ah"].sum()), float(table["discharge_Ah"].sum())
    complete = table["complete"] > 0
    hours = float(series.time_s[-1] - series.time_s[0]) / 3600
    u = float(np.hypot(table["u_charge_Ah"].sum(), table["u_discharge_Ah"].sum()))
    method = "sum of integrals or counters; channel accuracy not known"
    if channel is not None:
        # a gain error is common to charge and discharge and acts on the net; an offset flows all the time
        u = float(
            np.hypot(
                u,
                np.hypot(channel.gain * (taken - given), channel.offset * channel.range_A * hours)
                / np.sqrt(3),
            )
        )
        method = "sum of integrals or counters, with the channel's gain and offset"
    loss = taken - given
    flowing = series.current_A != 0
    last_flow = len(series) - 1 - int(np.argmax(flowing[::-1])) if flowing.any() else 0
    charging = np.flatnonzero(table["charge_Ah"] > 0)
    ohm = table["resistance_ohm"][complete & np.isfinite(table["resistance_ohm"])]
    return {
        "cycles": float(len(table)),
        "complete_cycles": float(complete.sum()),
        "duration_h": hours,
        "loss_Ah": Estimate(loss, loss - 1.96 * u, loss + 1.96 * u, "Ah", len(table), method),
        "throughput_Ah": given,
        "charge_Ah": taken,
        "since_full_charge_Ah": _since_charge(table, charging),
        "rest_at_end_h": float(series.time_s[-1] - series.time_s[last_flow]) / 3600,
        "rest_after_charge_V": _median(table["rest_after_charge_V"][complete]),
        "rest_after_discharge_V": _median(table["rest_after_discharge_V"][complete]),
        "resistance_first_ohm": _median(ohm[:5]),
        "resistance_last_ohm": _median(ohm[-5:]),
        "resistance_delay_s": _median(table["resistance_delay_s"]),
        "written_ohm": _median(table["written_ohm"]),
        "self_discharge_per_day": _median(table["self_discharge_per_day"]),
        "temperature_mean_C": _median(table["temperature_mean_C"]),
        "rate_classes": float(np.unique(table["rate_class"][complete]).size),
    }


def _since_charge(table: CycleTable, charging: Index) -> float:
    """Give what was discharged since the last charge ended."""
    if not charging.size:
        return float(table["discharge_Ah"].sum())
    last = int(charging[-1])
    if not table.discharge_first:
        return float(table["discharge_Ah"][last:].sum())
    return float(table["discharge_Ah"][last + 1 :].sum())


def _median(values: Array) -> float | None:
    known = values[np.isfinite(values)]
    return float(np.median(known)) if known.size else None


def _against_reference(
    table: CycleTable, like: Array, reference: Reference, end: str | None
) -> tuple[dict[str, Estimate | float | None], Status]:
    """Compute everything that refers to the peak capacity."""
    cycle, capacity = table["cycle"][like], table["discharge_Ah"][like]
    limit = limit_cycle(cycle, capacity, reference, end=end)
    q_last = float(capacity[-1])
    ratio = q_last / reference.value_Ah if reference.value_Ah > 0 else None
    metrics: dict[str, Estimate | float | None] = {
        "q_ref_Ah": Estimate(
            reference.value_Ah,
            reference.low_Ah,
            reference.high_Ah,
            "Ah",
            reference.n,
            "largest 5-cycle running median, bias of the maximum removed by drawing",
        ),
        "q_ref_cycle": reference.cycle,
        "q_ref_bias_Ah": reference.bias_Ah,
        "q_first_Ah": float(np.median(capacity[:3])),
        "q_last_Ah": q_last,
        "retention": ratio,
        "cycles_to_80": limit.cycle,
        "rate_h": _median(table["rate_h"][like]),
        "mean_discharge_V": _median(table["mean_discharge_V"][like]),
        "mean_charge_V": _median(table["mean_charge_V"][like]),
    }
    doubt_Ah, doubt_Wh = (doubt_of(table, unit, like) for unit in ("Ah", "Wh"))
    doubt_V = float(
        np.sqrt(max(doubt_Wh**2 - doubt_Ah**2, 0.0))
    )  # what energies are in doubt by beyond charges
    for name, doubt in (("coulombic", doubt_Ah), ("energy", doubt_Wh), ("voltage", doubt_V)):
        metrics[f"{name}_efficiency"] = _median_estimate(table[f"{name}_efficiency"][like], doubt)
    metrics |= (
        _fades(table, like, reference) | _knee(cycle, capacity, reference) | _plateaus(table, like, reference)
    )
    return metrics, limit.status


def _median_estimate(values: Array, doubt: float = 0.0) -> Estimate | None:
    """Give the median with its interval from order statistics, widened by a relative doubt of all alike."""
    known = np.sort(values[np.isfinite(values)])
    if not known.size:
        return None
    # the normal form of the binomial ranks; below six values the range is all that can be said
    reach = 0.98 * np.sqrt(known.size)
    low = max(int(np.floor(known.size / 2 - reach)), 0)
    high = min(int(np.ceil(known.size / 2 + reach)), known.size - 1)
    middle = float(np.median(known))
    alike = 1.96 * doubt * abs(middle)
    return Estimate(
        middle,
        middle - float(np.hypot(middle - known[low], alike)),
        middle + float(np.hypot(known[high] - middle, alike)),
        "1",
        int(known.size),
        "median, interval by order statistics and the doubt of single values",
    )


def _fades(table: CycleTable, like: Array, reference: Reference) -> dict[str, Estimate | float | None]:
    cycle, capacity = table["cycle"][like], table["discharge_Ah"][like]
    out: dict[str, Estimate | float | None] = {}
    per_cycle = fade(cycle, capacity, reference)
    method = "Theil-Sen from the peak on, interval widened for correlation of neighbours"
    if per_cycle is not None:
        out["fade_per_cycle"] = Estimate(
            per_cycle.per_cycle, per_cycle.low, per_cycle.high, "1", per_cycle.n, method
        )
        later = cycle >= reference.cycle
        day = table["end_s"][like][later] / 86400
        span = float(day[-1] - day[0]) / max(float(cycle[later][-1] - cycle[later][0]), 1e-9)
        if span > 0:
            low, value, high = (v / span for v in (per_cycle.low, per_cycle.per_cycle, per_cycle.high))
            out["fade_per_day"] = Estimate(
                value, low, high, "1/d", per_cycle.n, method + "; mean days a cycle"
            )
    return out


def _knee(cycle: Array, capacity: Array, reference: Reference) -> dict[str, Estimate | float | None]:
    later = cycle >= reference.cycle
    knee = find_knee(cycle[later], capacity[later])
    if knee is None:
        return {}
    method = (
        "two lines profiled over the bend (Bacon-Watts), F at 99.9 %, interval with correlated neighbours"
    )
    return {
        "knee_cycle": Estimate(knee.cycle, knee.low, knee.high, "1", knee.n, method),
        "knee_onset_cycle": knee.onset_cycle,
    }


def _plateaus(table: CycleTable, like: Array, reference: Reference) -> dict[str, Estimate | float | None]:
    plateau, cycle = table["first_plateau_Ah"][like], table["cycle"][like]
    near = np.abs(cycle - reference.cycle) <= 5
    return {"first_plateau_ref_Ah": _median(plateau[near]), "first_plateau_last_Ah": _median(plateau[-3:])}


def _utilisation(reference: Reference, iron_g: float) -> dict[str, Estimate | float | None]:
    out: dict[str, Estimate | float | None] = {}
    for name, most in (("utilisation_2e", AH_PER_GRAM_2E), ("utilisation_3e", AH_PER_GRAM_3E)):
        low, value, high = (
            q / (most * iron_g) for q in (reference.low_Ah, reference.value_Ah, reference.high_Ah)
        )
        out[name] = Estimate(
            value, low, high, "1", reference.n, "peak capacity over that of all iron built in"
        )
    return out
