"""Charge and energy of each step from current and voltage, with what the sampling leaves in doubt."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from teardown.science.electrochemistry.blemishes import Blemishes, find_blemishes
from teardown.science.electrochemistry.columns import Array, Index, Series, ratio
from teardown.science.electrochemistry.steps import Steps, find_gaps, noise_of, noise_of_turns

HOUR_S = 3600.0
LOST_INTERVALS = 3  # of its neighbours: between two steps, more than a switch that was not logged
RARE = 0.2  # of the steps under current: more long pauses beside them are no loss
HIDDEN = 0.05  # of a sampling interval between two steps, usually: switches are not logged
UNSEEN_BEND = 4.0  # of the voltage's change between two records: so much of it may lie to one side
SPARSE = 24  # records a step: of fewer, bends of the curve would pass for noise
BLOCK = 32_768  # records; cut at steps, so that no sum runs across


@dataclass(frozen=True, slots=True)
class StepIntegrals:
    """Integrals over each step, shape (steps,): index 0 charge, 1 discharge.

    Attributes
    ----------
    charge_Ah, energy_Wh : tuple of two ndarrays
        Parts with positive and with negative current, both counted above zero.
    u_Ah : ndarray
        Standard uncertainty of the step's charge: rounding, gaps, edges that were not logged, curvature.
    edge_Ah : ndarray
        The part of ``u_Ah`` that edges leave.
    gap_Ah : ndarray
        Charge that was taken across gaps.
    gap_V : ndarray
        Mean voltage beside those gaps.
    start_Ah : ndarray
        The part of its charge that was added before its first record.
    unseen_Ah : ndarray
        Doubt that the end of the file leaves on its last step, where it hides its switches.
    start_V, end_V : ndarray
        Voltage that what lies before the first record, and behind the last, is reckoned with.
    blemishes : Blemishes
        What the meter added.
    u_mean_V : ndarray
        Standard uncertainty of the step's mean voltage: digits, gaps, missing ends, curvature.
    gaps : ndarray of bool, shape (records - 1,)
        Intervals in which records are missing while current flowed.
    """

    charge_Ah: tuple[Array, Array]
    energy_Wh: tuple[Array, Array]
    u_Ah: Array
    edge_Ah: Array
    gap_Ah: Array
    gap_V: Array
    start_Ah: Array
    unseen_Ah: Array
    start_V: Array
    end_V: Array
    u_mean_V: Array
    blemishes: Blemishes
    gaps: NDArray[np.bool_]


def integrate(series: Series, steps: Steps) -> StepIntegrals:
    """Integrate current and power over neighbouring records of the same step.

    The trapezoid is corrected for the curvature of the curve that it cuts off, so that a falling current and
    a bending voltage are not overrated. A part of a step that lies before its first or after its last record
    is added where the step's own clock tells its length, and is otherwise left out and counted as doubt.

    Parameters
    ----------
    series : Series
    steps : Steps

    Returns
    -------
    StepIntegrals
    """
    current, voltage = series.current_A, series.voltage_V
    gaps = find_gaps(series)
    sums = np.concatenate([_sums(series, steps, gaps, *some) for some in _groups(steps)], axis=1)
    charge, energy = (sums[0], sums[1]), (sums[2], sums[3])
    bend, power_bend, moved, gap_area, across, gap_power = sums[4:]
    start_s, start_u_s, end_u_s = _edges(series, steps)
    first_A, last_A = current[steps.first], current[steps.last]
    start_A = _beyond(current, steps.first, steps.last, 1)
    start_V, end_V = (
        _beyond(voltage, steps.first, steps.last, 1),
        _beyond(voltage, steps.last, steps.first, -1),
    )
    for way, sign in enumerate((1, -1)):
        missed = np.where(np.sign(first_A) == sign, np.abs(start_A) * start_s, 0.0)
        charge[way][:] += missed
        energy[way][:] += missed * start_V
    edge = (np.abs(first_A) * start_u_s + np.abs(last_A) * end_u_s) / np.sqrt(3)
    edge += np.abs(start_A - first_A) * start_s / 2  # a current that falls from the start on
    # the correction itself is trusted to a fifth
    spots = find_blemishes(series, steps)
    rough = _rounding(series, steps) + edge
    u = np.sqrt(rough**2 + (gap_area / 2) ** 2 + (0.2 * bend) ** 2 + spots.u_charge_As**2)
    total_area = np.maximum(charge[0] + charge[1], 1e-30)
    ends = edge * np.abs(voltage[steps.first] - voltage[steps.last])
    ends += np.abs(start_A) * start_s * _start_doubt_V(series, steps, start_s, start_V)
    curved = 0.2 * (power_bend - bend * voltage[steps.first])
    u_mean = np.sqrt(across**2 + ends**2 + curved**2 + moved + spots.u_energy_Ws**2) / total_area
    noise = _voltage_noise(series, steps)
    u_mean = np.sqrt(u_mean**2 + series.step_of("voltage_volt") ** 2 / 12 + noise**2)
    return StepIntegrals(
        (charge[0] / HOUR_S, charge[1] / HOUR_S),
        (energy[0] / HOUR_S, energy[1] / HOUR_S),
        u / HOUR_S,
        edge / HOUR_S,
        gap_area / HOUR_S,
        ratio(gap_power, gap_area),
        np.where(steps.kind != 0, np.abs(start_A) * start_s, 0.0) / HOUR_S,
        np.where(np.arange(len(steps)) == len(steps) - 1, np.abs(last_A) * end_u_s, 0.0)
        / np.sqrt(3)
        / HOUR_S,
        start_V,
        end_V,
        u_mean,
        spots,
        gaps,
    )


def _start_doubt_V(series: Series, steps: Steps, start_s: Array, start_V: Array) -> Array:
    """Give the doubt of the voltage before the first record of each step: as far as it was drawn out there,
    and where that is more than one interval, as far as it lies from what the step before ended with.
    """
    first, time_s, voltage = steps.first, series.time_s, series.voltage_V
    own = np.where(steps.last > first, time_s[np.minimum(first + 1, steps.last)] - time_s[first], 0.0)
    away = np.abs(voltage[first] - voltage[np.maximum(first - 1, 0)])
    doubt: Array = np.abs(start_V - voltage[first]) + np.where(start_s > 1.5 * own, away, 0.0)
    return doubt


def _beyond(values: Array, edge: Index, other: Index, inward: int) -> Array:
    """Give current or voltage half an interval beyond the first or last record of each step, by its
    neighbour.

    What a cycler did not log at a switch is about one interval long; its middle lies half of that outside.
    """
    inside = np.where(edge == other, edge, edge + inward)
    beyond: Array = values[edge] - (values[inside] - values[edge]) / 2
    return beyond


def _groups(steps: Steps) -> list[tuple[int, int]]:
    """Cut the steps into groups of so few records that what is computed of them stays near the processor."""
    block = steps.first // BLOCK
    begin = np.concatenate(([0], np.flatnonzero(np.diff(block)) + 1, [len(steps)]))
    return list(zip(begin[:-1].tolist(), begin[1:].tolist(), strict=True))


def _sums(series: Series, steps: Steps, gaps: NDArray[np.bool_], begin: int, end: int) -> Array:
    """Integrate over the steps ``begin`` to ``end`` - 1.

    Returns
    -------
    ndarray, shape (10, steps)
        Charge taken and given, A s; energy taken and given, W s; curvature taken out of charge and of energy;
        squares of what the voltage may have done between two records; charge across gaps, the same times the
        change of voltage, and energy across gaps.
    """
    a, b = int(steps.first[begin]), int(steps.last[end - 1]) + 1
    first = steps.first[begin:end] - a
    current, voltage = series.current_A[a:b], series.voltage_V[a:b]
    interval = np.diff(series.time_s[a:b])
    interval[first[1:] - 1] = 0.0  # what lies between two steps belongs to neither
    spacing = _spacing(interval)
    area, bend = _corrected_area(spacing, current)
    power_area, power_bend = _corrected_area(spacing, current * voltage)
    share = _positive_share(current)
    amounts = [
        area * share,
        -area * (1 - share),
        power_area * share,
        -power_area * (1 - share),
        bend,
        power_bend,
        (area * np.diff(voltage) / UNSEEN_BEND) ** 2,
    ]
    gap = gaps[a : b - 1]
    if gap.any():
        missing, moved = np.where(gap, np.abs(area), 0.0), np.abs(np.diff(voltage))
        amounts += [missing, missing * moved, np.where(gap, np.abs(power_area), 0.0)]
    padded = np.zeros(b - a)
    sums = np.zeros((10, end - begin))
    for row, amount in enumerate(amounts):
        padded[1:] = amount
        sums[row] = np.add.reduceat(padded, first)
    return sums


@dataclass(frozen=True, slots=True)
class _Spacing:
    """Lengths of intervals, and what the second derivative of anything over them needs."""

    interval: Array
    there: NDArray[np.bool_]
    inner: NDArray[np.bool_]
    width: Array
    weight: Array
    bending: Array


def _spacing(interval: Array) -> _Spacing:
    there = interval > 0
    inner = there[1:] & there[:-1]
    width = interval[1:] + interval[:-1]
    known = np.zeros(interval.size + 1)
    known[1:-1] = inner
    return _Spacing(
        interval,
        there,
        inner,
        np.where(width > 0, width, 1.0),
        known[1:] + known[:-1],
        interval**3 / 12,
    )


def _corrected_area(spacing: _Spacing, height: Array) -> tuple[Array, Array]:
    """Give the area under each interval, curvature taken out, and how much was taken out.

    The second derivative is taken from three neighbouring records; what a trapezoid is too high by is its
    mean times the interval cubed over twelve. It is never allowed to be more than a sixth of the step between
    the records, so that a jump stays a jump.
    """
    interval, rise = spacing.interval, np.diff(height)
    slope = np.divide(rise, interval, out=np.zeros_like(rise), where=spacing.there)
    second = np.zeros(height.size)
    second[1:-1] = np.where(spacing.inner, 2 * np.diff(slope) / spacing.width, 0.0)
    weight = spacing.weight
    mean = np.divide(second[1:] + second[:-1], weight, out=np.zeros_like(rise), where=weight > 0)
    most = np.abs(rise) * interval / 6
    bend = np.clip(spacing.bending * mean, -most, most)
    return interval * (height[1:] + height[:-1]) / 2 - bend, bend


def _positive_share(current: Array) -> Array:
    """Give the share of each interval's area that counts as charge; a crossing of zero is cut linearly."""
    a, b = current[:-1], current[1:]
    share = (a + b > 0).astype(float)
    crossing = a * b < 0
    if crossing.any():
        up, down = np.maximum(a, b), -np.minimum(a, b)
        area = np.where(crossing, (up**2 - down**2), 1.0)
        share = np.where(crossing & (area != 0), up**2 / np.where(area == 0, 1.0, area), share)
    return share


def _voltage_noise(series: Series, steps: Steps) -> Array:
    """Doubt of a step's mean voltage from the noise of single records, V."""
    voltage, flowing = series.voltage_V, steps.kind != 0
    noise, records = noise_of(voltage), steps.last - steps.first + 1
    if flowing.any() and float(np.median(records[flowing])) < SPARSE:
        noise = min(noise, noise_of_turns(voltage, steps.of_record))
    doubt: Array = 2 * noise / np.sqrt(np.maximum(records - 1, 1))
    return doubt


def _rounding(series: Series, steps: Steps) -> Array:
    """Doubt from printed digits, A s: a constant current has a constant rounding error; times have two
    readings.
    """
    length_s = series.time_s[steps.last] - series.time_s[steps.first]
    flowing = (steps.kind != 0).astype(float)
    from_current = series.step_of("current_ampere") * length_s / np.sqrt(12) * flowing
    mean_A = (np.abs(series.current_A[steps.first]) + np.abs(series.current_A[steps.last])) / 2
    from_time = series.step_of("test_time_second") / 2 * mean_A  # two readings, half a step each
    both: Array = np.hypot(from_current, from_time)
    return both


def _lost_between(steps: Steps, between_s: Array, own_start_s: Array, own_end_s: Array) -> NDArray[np.bool_]:
    """Mark the steps before which records are missing: then more than one interval may have flowed unseen.

    A pause that is that long beside most steps under current is no loss: the file logs no rests.
    """
    flowing = steps.kind != 0
    usual_s = np.where(flowing & np.isfinite(own_start_s), own_start_s, 0.0)
    usual_s[1:] = np.maximum(
        usual_s[1:], np.where(flowing[:-1] & np.isfinite(own_end_s[:-1]), own_end_s[:-1], 0.0)
    )
    lost = (usual_s > 0) & (between_s > LOST_INTERVALS * usual_s)
    lost[0] = False
    if np.count_nonzero(lost) > max(1.0, RARE * np.count_nonzero(flowing)):
        lost[:] = False
    return lost


def _edges(series: Series, steps: Steps) -> tuple[Array, Array, Array]:
    """Give per step: seconds known to lie before its first record, and seconds that may lie before and after.

    A cycler that logs no record at the switch leaves up to one sampling interval out at either end, never
    more than lies between the records of the two steps.
    """
    time_s = series.time_s
    first, last = steps.first, steps.last
    own_start = np.where(last > first, time_s[np.minimum(first + 1, last)] - time_s[first], np.inf)
    own_end = np.where(last > first, time_s[last] - time_s[np.maximum(last - 1, first)], np.inf)
    between = np.concatenate(([0.0], time_s[first[1:]] - time_s[last[:-1]]))
    # a file that hides its switches hides the one before its first record too, and the one behind its last
    hides = np.median(between[1:] / np.maximum(own_start[1:], 1e-9)) > HIDDEN if between.size > 2 else False
    lead = float(time_s[0]) if np.isfinite(own_start[0]) and time_s[0] <= 1.5 * own_start[0] else 0.0
    between[0] = own_start[0] if hides and lead == 0 and np.isfinite(own_start[0]) else lead
    for (
        part
    ) in series.parts:  # nobody knows how long the pause between two parts was: one interval may be lost
        at = int(np.searchsorted(first, part))
        between[at] = own_end[at - 1] if steps.kind[at] == steps.kind[at - 1] else 0.0
    clock = series.get("step_time_second")
    known = np.zeros(len(steps))
    told = np.zeros(len(steps), dtype=bool)
    if clock is not None:
        since = clock[first]
        told = np.isfinite(since) & (since >= 0) & (since <= between * 1.001 + 1e-6)
        known = np.where(told, since, 0.0)
    lost = _lost_between(steps, between, own_start, own_end)
    may_start = np.where(told, 0.0, np.minimum(between, np.where(lost, np.inf, own_start)))
    unseen = own_end[-1] if hides and np.isfinite(own_end[-1]) else 0.0
    after = np.concatenate((between[1:] - known[1:], [unseen]))
    if series.ends_unseen and hides:
        after = own_end
    behind = np.where(np.concatenate((lost[1:], [False])), np.inf, own_end)
    may_end = np.clip(np.minimum(after, behind), 0.0, None)
    flowing = steps.kind != 0
    single = ~np.isfinite(own_start) & flowing
    may_start = np.where(single, np.minimum(between, after), np.where(flowing, may_start, 0.0))
    may_end = np.where(np.isfinite(own_end) & flowing, may_end, 0.0)
    return np.where(flowing, known, 0.0), np.where(np.isfinite(may_start), may_start, 0.0), may_end
