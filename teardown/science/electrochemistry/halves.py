"""Charge and energy of one direction of every cycle: by integral or by counter, whichever is surer."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from teardown.science.electrochemistry.columns import Array, Series, ratio, total
from teardown.science.electrochemistry.counters import StepCounts
from teardown.science.electrochemistry.cycles import Cycles
from teardown.science.electrochemistry.integration import StepIntegrals
from teardown.science.electrochemistry.steps import Steps

ENERGY_FLOOR = 0.001  # below this share, counter and integral differ by the sampling of a bending voltage


@dataclass(frozen=True, slots=True)
class Half:
    """One direction of every cycle."""

    Ah: Array
    u_Ah: Array
    Wh: Array
    integral_Ah: Array
    counter_Ah: Array
    mean_V: Array
    end_V: Array
    mean_A: Array
    joint_u_Ah: Array
    u_Wh: Array
    apart_Wh: Array


def per_cycle(cycles: Cycles, per_step: Array) -> Array:
    """Add up what belongs to steps over each cycle; shape (cycles,)."""
    return total(cycles.of_step, per_step, len(cycles))


def half_of(
    series: Series,
    steps: Steps,
    cycles: Cycles,
    sums: StepIntegrals,
    counters: tuple[StepCounts | None, StepCounts | None],
    way: int,
) -> Half:
    """Sum one direction over each cycle and choose between integral and counter by their uncertainty."""
    sign = 1 - 2 * way
    mine = steps.kind == sign
    flowing = steps.kind != 0  # the noise of a rest is no charge
    integral = per_cycle(cycles, np.where(flowing, sums.charge_Ah[way], 0.0))
    u_integral = per_cycle(cycles, np.where(mine, sums.u_Ah, 0.0))
    energy = per_cycle(cycles, np.where(flowing, sums.energy_Wh[way], 0.0))
    counter, u_counter = _counted(cycles, counters[0], mine, way)
    unseen = per_cycle(cycles, np.where(mine, sums.unseen_Ah, 0.0))
    u_counter = np.hypot(u_counter, unseen)
    joint = np.hypot(u_integral, np.nan_to_num(u_counter))
    better = (u_counter < u_integral) & (counter > 0)
    chosen, u = np.where(better, counter, integral), np.where(better, u_counter, u_integral)
    mean_V = ratio(energy, integral)
    unplaced = drawn_out = np.zeros(len(cycles))
    if counters[0] is not None and better.any():
        placed_Ah, placed_Wh = (
            per_cycle(cycles, np.where(mine, part, 0.0)) for part in _placed(sums, counters[0], way)
        )
        mean_V = np.where(better & (placed_Ah > 0), ratio(placed_Wh, placed_Ah), mean_V)
        unplaced = np.where(better, np.abs(counter - placed_Ah), 0.0)
        drawn_out = per_cycle(cycles, np.where(mine, _drawn_out(series, steps, sums, counters[0]), 0.0))
    flowing_s = per_cycle(cycles, np.where(mine, series.time_s[steps.last] - series.time_s[steps.first], 0.0))
    mean_A = np.nan_to_num(ratio(integral * 3600, flowing_s))
    u_mean_V = ratio(per_cycle(cycles, np.where(mine, sums.u_mean_V * sums.charge_Ah[way], 0.0)), integral)
    # charge that counter and integral disagree on may have flowed at any voltage of the half-cycle
    spread_V = ratio(
        per_cycle(cycles, np.where(mine, _span(series, steps) * sums.charge_Ah[way], 0.0)), integral
    )
    u_Wh = np.nan_to_num(
        np.sqrt((u * mean_V) ** 2 + (chosen * u_mean_V) ** 2 + (unplaced * spread_V) ** 2 + drawn_out**2)
    )
    counter_Wh, u_counter_Wh = _counted(cycles, counters[1], mine, way)
    u_counter_Wh = np.hypot(u_counter_Wh, unseen * np.nan_to_num(mean_V))
    Wh, u_Wh, apart = _energy(np.where(chosen > 0, mean_V, 0.0) * chosen, u_Wh, counter_Wh, u_counter_Wh)
    # energy by a counter moves the mean voltage, so that energy stays mean voltage times charge
    mean_V = np.where(apart == 0.0, ratio(Wh, chosen), mean_V)
    return Half(
        chosen, u, Wh, integral, counter, mean_V, _end_voltage(series, steps, cycles, sign), mean_A, joint,
        u_Wh, apart,
    )  # fmt: skip


def _placed(sums: StepIntegrals, counts: StepCounts, way: int) -> tuple[Array, Array]:
    """Give charge and energy of each step with the counter's word on what no record tells of: what flowed
    before the first one, across gaps and behind the last one, each at the voltage beside it.
    """
    before = np.maximum(counts.before - sums.start_Ah, 0.0)
    charge = sums.charge_Ah[way] - sums.gap_Ah + before + counts.in_gaps + counts.behind
    energy = sums.energy_Wh[way] + np.nan_to_num(sums.gap_V) * (counts.in_gaps - sums.gap_Ah)
    return charge, energy + before * sums.start_V + counts.behind * sums.end_V


def _drawn_out(series: Series, steps: Steps, sums: StepIntegrals, counts: StepCounts) -> Array:
    """Give the doubt of the energy before the first and behind the last record of each step, Wh: as much as
    the voltage was drawn out there.
    """
    start, end = series.voltage_V[steps.first], series.voltage_V[steps.last]
    doubt: Array = counts.before * np.abs(sums.start_V - start) + counts.behind * np.abs(sums.end_V - end)
    return doubt


def _span(series: Series, steps: Steps) -> Array:
    """Give how far the voltage of each step reaches from its first to its last record, V."""
    span: Array = np.abs(series.voltage_V[steps.last] - series.voltage_V[steps.first])
    return span


def _counted(
    cycles: Cycles, counts: StepCounts | None, mine: NDArray[np.bool_], way: int
) -> tuple[Array, Array]:
    """Sum what a counter says of one direction over each cycle, with its doubt; NaN where there is none.

    Two readings are each off by half a step at most: twice the doubt is never less than what both can be.
    """
    if counts is None:
        nothing = np.full(len(cycles), np.nan)
        return nothing, nothing
    reset = per_cycle(cycles, np.where(mine, counts.u_reset, 0.0))
    return per_cycle(cycles, counts.amount[way]), np.hypot(counts.resolution / 2, reset)


def _energy(Wh: Array, u_Wh: Array, counter_Wh: Array, u_counter: Array) -> tuple[Array, Array, Array]:
    """Take the energy of the counter where it is surer and does not contradict.

    Returns
    -------
    energy, its doubt, difference : ndarray, shape (cycles,)
        The difference is counter over integral less one where they contradict, 0 where the counter was taken,
        NaN elsewhere.
    """
    known = (counter_Wh > 0) & (Wh > 0)
    differ = np.abs(counter_Wh - Wh)
    contradicts = known & (differ > 3 * np.hypot(u_Wh, u_counter)) & (differ > ENERGY_FLOOR * Wh)
    better = known & ~contradicts & (u_counter < u_Wh)
    apart = np.where(contradicts, ratio(counter_Wh, Wh) - 1, np.where(better, 0.0, np.nan))
    return np.where(better, counter_Wh, Wh), np.where(better, u_counter, u_Wh), apart


def _end_voltage(series: Series, steps: Steps, cycles: Cycles, sign: int) -> Array:
    """Give the last voltage under current of one direction in each cycle."""
    end = np.full(len(cycles), np.nan)
    mine = np.flatnonzero(steps.kind == sign)
    last = steps.last[mine]
    # where rest and current share a step, its last record may already be at rest
    end[cycles.of_step[mine]] = series.voltage_V[last]
    return end
