"""Charge and energy from the cycler's own counters: every counter may be set back at any record."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from teardown.science.electrochemistry.columns import Array, Index, Series, total
from teardown.science.electrochemistry.steps import Steps

SCOPES = ("", "cycle_", "step_", "schedule_")


@dataclass(frozen=True, slots=True)
class StepCounts:
    """What a counter says of each step, shape (steps,): index 0 charge, 1 discharge; in Ah, or in Wh.

    Attributes
    ----------
    amount : tuple of two ndarrays
        Counted charge or energy that belongs to each step, above zero.
    u_reset : ndarray
        What may have been lost where the counter was set back away from a logged edge.
    resets_inside : int
        How often it was set back inside a step.
    resolution : float
        Its smallest written step.
    names : tuple of str
        The columns that were read.
    misplaced : float
        Share of the counted charge that came while current flowed the other way.
    before, in_gaps, behind : ndarray
        Of ``amount``, both directions together: what came until the step's first record, across gaps between
        its records, and behind its last record.
    """

    amount: tuple[Array, Array]
    u_reset: Array
    resets_inside: int
    resolution: float
    names: tuple[str, ...]
    misplaced: float
    before: Array
    in_gaps: Array
    behind: Array


def count_charge(series: Series, steps: Steps, gaps: NDArray[np.bool_] | None = None) -> StepCounts | None:
    """Read the best counter of a history: one for each direction, else one for both, else a net one.

    Parameters
    ----------
    series : Series
    steps : Steps
    gaps : ndarray of bool, shape (records - 1,), optional
        Intervals in which records are missing.

    Returns
    -------
    StepCounts or None
        None where the file has no counter, or only ones that stand still.
    """
    return _best(series, steps, "capacity_ah", gaps)


def count_energy(series: Series, steps: Steps) -> StepCounts | None:
    """Read the best counter of energy, as `count_charge` reads one of charge; amounts are in Wh."""
    return _best(series, steps, "energy_wh", None)


def _best(series: Series, steps: Steps, what: str, gaps: NDArray[np.bool_] | None) -> StepCounts | None:
    """Try the counters of charge or energy in the order of how much they tell."""
    if not any(name.endswith(what) for name in series.columns):
        return None
    flow = np.abs(series.current_A if what == "capacity_ah" else series.current_A * series.voltage_V)
    for scope in SCOPES:
        up, down = (f"{scope}{way}_{what}" for way in ("charging", "discharging"))
        if series.get(up) is not None and series.get(down) is not None:
            found = _two_counters(series, steps, up, down, flow, gaps)
            if found is not None:
                return found
    for scope in SCOPES:
        for way in ("cumulative", "net"):
            name = f"{scope}{way}_{what}"
            if series.get(name) is not None:
                found = _one_counter(series, steps, name, flow, gaps)
                if found is not None:
                    return found
    return None


def increments(counter: Array) -> tuple[Array, NDArray[np.bool_]]:
    """Give what a counter gained at each record, and where it was set back.

    A counter that falls was set back, and what it shows then is new. What the first record shows may stem
    from an earlier part of the test: it gains nothing.
    """
    filled = _carried(counter)
    change = np.diff(filled, prepend=filled[0])
    # a wobble of the last digit is no reset
    back = change < -1e-9 * max(float(np.max(np.abs(filled))), 1e-12)
    gained = np.where(back, filled, np.maximum(change, 0.0))
    gained[0] = 0.0
    return gained, back


def _before_first(series: Series, counter: Array, flow: Array) -> float:
    """Give what a counter shows at the first record, where that can have flowed since the test began.

    A cycler that logs no record at the switch shows there what flowed until the first record. More than that
    stems from an earlier part of the test, and is left out.
    """
    lead_s = max(float(series.time_s[0]), float(series.time_s[1] - series.time_s[0]))
    known = float(np.nan_to_num(counter[0]))
    return known if 0 < known <= 1.5 * float(flow[0]) * lead_s / 3600 else 0.0


def _carried(counter: Array) -> Array:
    """Carry the last known value over records where the counter is empty."""
    known = np.isfinite(counter)
    if known.all():
        return counter
    place = np.maximum.accumulate(np.where(known, np.arange(counter.size), 0))
    return np.nan_to_num(counter[place])


def _above_zero(counter: Array) -> Array:
    """Turn a discharge counter that counts below zero."""
    return -counter if np.nanmax(counter, initial=0.0) <= 0 else counter


def _places(
    steps: Steps, gained: Array, wanted: NDArray[np.bool_], amount: Array, gaps: NDArray[np.bool_] | None
) -> Array:
    """Tell where in its steps a counter gained: until the first record, across gaps, behind the last record;
    shape (3, steps).
    """
    here = np.add.reduceat(gained, steps.first)
    before = gained[steps.first]
    across = np.zeros(len(steps))
    if gaps is not None and gaps.any():
        at = np.flatnonzero(gaps) + 1
        at = at[steps.of_record[at] == steps.of_record[at - 1]]
        across = total(steps.of_record[at], gained[at], len(steps))
    return np.where(wanted, np.stack((before, across, np.maximum(amount - here, 0.0))), 0.0)


def _two_counters(
    series: Series, steps: Steps, up: str, down: str, flow: Array, gaps: NDArray[np.bool_] | None
) -> StepCounts | None:
    charged, lost, inside, wrong = [], np.zeros(len(steps)), 0, 0.0
    places = np.zeros((3, len(steps)))
    for name, way in ((up, 1), (down, -1)):
        values = _above_zero(series.columns[name])
        gained, back = increments(values)
        if not np.any(gained > 0):
            return None
        wanted = steps.kind == way
        gained[0] = _before_first(series, values, flow) if wanted[0] else 0.0
        charged.append(total(_home(steps, wanted)[steps.of_record], gained, len(steps)))
        places += _places(steps, gained, wanted, charged[-1], gaps)
        lost += _lost_at_resets(series, steps, back, wanted, flow)
        lost += _unknown(series, steps, series.columns[name], wanted, flow)
        inside += _inside(steps, back)
        in_step = np.add.reduceat(gained, steps.first)
        wrong += float(in_step[steps.kind == -way].sum()) / float(in_step.sum())
    step = max(series.step_of(up), series.step_of(down))
    return StepCounts((charged[0], charged[1]), lost, inside, step, (up, down), wrong / 2, *places)


def _one_counter(
    series: Series, steps: Steps, name: str, flow: Array, gaps: NDArray[np.bool_] | None
) -> StepCounts | None:
    """Read one counter for both directions; whether it counts net is seen from it, not from its name."""
    values = _carried(series.columns[name])
    kind = steps.kind[steps.of_record]
    if _runs_down(values, kind):
        return _net_counter(series, steps, name, values, flow, gaps)
    values = _above_zero(values)
    gained, back = increments(values)
    if not np.any(gained > 0):
        return None
    gained[0] = _before_first(series, values, flow) if steps.kind[0] != 0 else 0.0
    gathered = total(_home(steps, steps.kind != 0)[steps.of_record], gained, len(steps))
    lost = _lost_at_resets(series, steps, back, steps.kind != 0, flow)
    lost += _unknown(series, steps, series.columns[name], steps.kind != 0, flow)
    charged = (np.where(steps.kind > 0, gathered, 0.0), np.where(steps.kind < 0, gathered, 0.0))
    places = _places(steps, gained, steps.kind != 0, gathered, gaps)
    return StepCounts(charged, lost, _inside(steps, back), series.step_of(name), (name,), 0.0, *places)


def _runs_down(values: Array, kind: Index) -> bool:
    """Tell whether a counter falls on discharge and rises on charge: then it is a net one."""
    change = np.diff(values, prepend=values[0])
    down, up = change[kind < 0], change[kind > 0]
    return bool(
        down.size and np.mean(down < 0) > np.mean(down > 0) and (not up.size or np.mean(up >= 0) > 0.5)
    )


def _net_counter(
    series: Series, steps: Steps, name: str, values: Array, flow: Array, gaps: NDArray[np.bool_] | None
) -> StepCounts:
    """Read a counter that rises on charge and falls on discharge; a jump against the current is a reset."""
    change = np.diff(values, prepend=values[0])
    hours = np.diff(series.time_s) / 3600
    neighbour = np.concatenate(([0.0], hours * np.maximum(flow[1:], flow[:-1])))
    allowed = 3 * neighbour + 3 * series.step_of(name) + 1e-9 * float(np.max(np.abs(values)))
    back = (np.abs(change) > allowed) & (np.abs(values) < np.abs(change))
    change = np.where(back, values, change)
    change[0] = np.sign(values[0]) * _before_first(series, np.abs(values), flow)
    gathered = total(_home(steps, steps.kind != 0)[steps.of_record], change, len(steps))
    charged = (np.clip(gathered, 0, None) * (steps.kind > 0), np.clip(-gathered, 0, None) * (steps.kind < 0))
    lost = _lost_at_resets(series, steps, back, steps.kind != 0, flow)
    way = steps.kind[steps.of_record]
    places = _places(steps, change * way, steps.kind != 0, gathered * steps.kind, gaps)
    return StepCounts(charged, lost, _inside(steps, back), series.step_of(name), (name,), 0.0, *places)


def _home(steps: Steps, wanted: NDArray[np.bool_]) -> Index:
    """Give the step that a gain within each step belongs to: itself where it flows the wanted way, else the
    last one that did."""
    last = np.maximum.accumulate(np.where(wanted, np.arange(wanted.size), -1))
    return np.where(last >= 0, last, int(np.argmax(wanted)))


def _lost_at_resets(
    series: Series, steps: Steps, back: NDArray[np.bool_], wanted: NDArray[np.bool_], flow: Array
) -> Array:
    """Doubt per step from what flowed unseen between the last record before a reset and the reset itself."""
    at = np.flatnonzero(back)
    at = at[at > 0]
    interval = series.time_s[at] - series.time_s[at - 1]
    own, before = steps.of_record[at], steps.of_record[at - 1]
    # what the step before gave until the switch is lost to it, and not to one that flows from there on
    apart = wanted[before] & wanted[own] & (before != own)
    lost = np.maximum(np.where(wanted[before], flow[at - 1], 0.0), np.where(wanted[own], flow[at], 0.0))
    home = np.where(apart, before, _home(steps, wanted)[own])
    return total(home, lost * interval / 3600 / np.sqrt(3), len(steps))


def _unknown(series: Series, steps: Steps, counter: Array, wanted: NDArray[np.bool_], flow: Array) -> Array:
    """Doubt per step where the counter shows nothing at its end, nor where the next one begins: all of it."""
    known = np.isfinite(counter)
    if known.all():
        return np.zeros(len(steps))
    after = np.minimum(steps.last + 1, counter.size - 1)
    lacking = wanted & ~known[steps.last] & ~known[after]
    length_s = series.time_s[steps.last] - series.time_s[steps.first]
    doubt: Array = np.where(lacking, np.maximum.reduceat(flow, steps.first) * length_s / 3600, 0.0)
    return doubt


def _inside(steps: Steps, back: NDArray[np.bool_]) -> int:
    at = np.flatnonzero(back)
    at = at[at > 0]
    return int(np.sum(steps.of_record[at] == steps.of_record[at - 1]))
