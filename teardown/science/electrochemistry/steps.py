"""Steps of a history: stretches of one program step or one direction of current, and the gaps between
records.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from teardown.science.electrochemistry.columns import Array, Index, Series

REST_SHARE = 0.002  # of the largest current: below it a cell counts as at rest
FEW_RESETS = 0.3  # of the records; a column that falls more often is no step time
JUMP_SHARE = 0.01  # of the largest current: a smaller change of state is a tail that runs out, not a new step
SMALL_SHARE = 0.02  # of the largest current: less of it is meant as a rest
ALIKE = 3.0  # rests after charge and after discharge show one offset where they differ by less than this


@dataclass(frozen=True, slots=True)
class Steps:
    """Where the steps of a history begin and end.

    Attributes
    ----------
    first, last : ndarray of int, shape (steps,)
        First and last record of each step.
    kind : ndarray of int, shape (steps,)
        +1 charge, 0 rest, -1 discharge.
    of_record : ndarray of int, shape (records,)
        The step that each record belongs to.
    """

    first: Index
    last: Index
    kind: Index
    of_record: Index

    def __len__(self) -> int:
        """Count the steps."""
        return int(self.first.size)


def rest_threshold_A(current_A: Array) -> float:
    """Give the current below which a cell counts as at rest, A: 0.2 % of the largest that is more than a
    spike, or four times the noise of the reading, up to 2 %.
    """
    largest = largest_current_A(current_A)
    return max(REST_SHARE * largest, min(4 * noise_of(current_A), 10 * REST_SHARE * largest))


def noise_of(values: Array) -> float:
    """Give the noise of single records, one standard deviation in the unit of ``values``.

    Second differences show noise where the curve itself is smooth. Their lower quarter is not moved by bends
    and switches, even where steps have few records.
    """
    if values.size < 3:
        return 0.0
    stride = max(1, values.size // 20_000)
    before, at, after = (values[k : values.size - 2 + k : stride] for k in range(3))
    # a quarter of the normal distribution lies within 0.3186 standard deviations
    return float(np.quantile(np.abs((after - at) - (at - before)), 0.25)) / (0.3186 * 6**0.5)


def noise_of_turns(values: Array, of_record: Index) -> float:
    """Give the noise of single records, one standard deviation, from where values turn about within steps.

    A curve that bends without turning is no noise, however few its records are; where noise alone turns it,
    the second difference has a median of 2.32 standard deviations (drawn, own derivation).
    """
    change = np.diff(values)
    turns = (change[:-1] * change[1:] < 0) & (of_record[:-2] == of_record[2:])
    if np.count_nonzero(turns) < 5:
        return 0.0
    return float(np.median(np.abs(np.diff(change)[turns]))) / 2.32


def largest_current_A(current_A: Array) -> float:
    """Give the largest current that is more than a spike, A."""
    some = np.abs(current_A[:: max(1, current_A.size // 100_000)])
    if not some.any():
        some = np.abs(current_A)
    flowing = some[some > 0]
    return float(np.quantile(flowing, 0.995)) if flowing.size else 0.0


def directions(current_A: Array) -> NDArray[np.int8]:
    """Give +1 where a cell is charged, -1 where it is discharged, 0 at rest; shape of ``current_A``."""
    threshold = rest_threshold_A(current_A)
    way: NDArray[np.int8] = (current_A > threshold).view(np.int8) - (current_A < -threshold).view(np.int8)
    return way


def rest_offset_A(current_A: Array, step_A: float = 0.0) -> float:
    """Give the current that is written while none flows, A; 0 where there is none or it cannot be told.

    It is seen in rests: one that shows the same small current after charge and after discharge is no tail of
    either, which would run out to the other side.

    Parameters
    ----------
    current_A : ndarray of float, shape (records,)
    step_A : float
        The smallest step that the current was written with.
    """
    largest = largest_current_A(current_A)
    small = np.abs(current_A) < SMALL_SHARE * largest
    some = np.abs(current_A[small][:: max(1, current_A.size // 50_000)])
    if not some.size or float(np.median(some)) <= max(0.9 * step_A, 1e-5 * largest):
        return 0.0
    edge = np.flatnonzero(small[1:] != small[:-1]) + 1
    first = np.concatenate(([0], edge))
    length = np.diff(np.concatenate((first, [small.size])))
    mean = np.add.reduceat(current_A, first) / length
    rest = small[first] & (length >= 3)
    rest[0] = False
    before = np.concatenate(([0.0], mean[:-1]))
    after = [mean[rest & (np.sign(before) == way)] for way in (1, -1)]
    if not all(part.size for part in after):
        return 0.0
    charge, discharge = (float(np.median(part)) for part in after)
    # noise of a zero leaves a mean too, as often above as below
    least = max(
        0.9 * step_A, 1e-5 * largest, 4 * noise_of(current_A) / np.sqrt(float(np.median(length[rest])))
    )
    if charge * discharge <= 0 or min(abs(charge), abs(discharge)) <= least:
        return 0.0
    return (charge + discharge) / 2 if 1 / ALIKE < charge / discharge < ALIKE else 0.0


def find_steps(series: Series) -> Steps:
    """Cut a history into steps.

    The file's own step column decides where it has one that is not the same everywhere; beside it, a new step
    begins wherever the step's clock is set back, and wherever the current jumps from charge to rest to
    discharge. A tail that falls slowly below the rest threshold stays in its step.
    """
    current = series.current_A
    offset = rest_offset_A(current, series.step_of("current_ampere"))
    state = directions(current - offset if offset else current)
    new = state[1:] != state[:-1]
    turns = np.flatnonzero(new)
    least = max(JUMP_SHARE * largest_current_A(current), 1.5 * rest_threshold_A(current))
    small = np.abs(current[turns + 1] - current[turns]) <= least
    new[turns[small]] = False
    for name in ("step_count", "step_id"):
        own = series.get(name)
        if own is not None:
            told = own if np.isfinite(own).all() else np.nan_to_num(own, nan=-1)
            new |= told[1:] != told[:-1]
    clock = series.get("step_time_second")
    if clock is not None:
        set_back = clock[1:] < clock[:-1]
        if np.mean(set_back) < FEW_RESETS:
            new |= set_back
    for part in series.parts:
        new[part - 1] = True
    first = np.concatenate(([0], np.flatnonzero(new) + 1)).astype(np.int64)
    last = np.concatenate((first[1:] - 1, [current.size - 1])).astype(np.int64)
    of_record = np.repeat(np.arange(first.size), last - first + 1)
    return Steps(first, last, _kinds(state, first), of_record)


def _kinds(state: NDArray[np.int8], first: Index) -> Index:
    """Name each step by the direction of most of its records; a step with no record under current is a
    rest.
    """
    up = np.add.reduceat(state > 0, first, dtype=np.int64)
    down = np.add.reduceat(state < 0, first, dtype=np.int64)
    return np.where(up > down, 1, np.where(down > 0, -1, 0)).astype(np.int64)


def gap_limit_s(time_s: Array) -> float:
    """Give the interval beyond which records are missing: 20 medians or 5 times the 99th percentile, s."""
    return _limit_s(np.diff(time_s))


def _limit_s(interval: Array) -> float:
    interval = interval[interval > 0]
    interval = interval[:: max(1, interval.size // 100_000)]
    if not interval.size:
        return float("inf")
    return float(max(20 * np.median(interval), 5 * np.quantile(interval, 0.99)))


def find_gaps(series: Series) -> NDArray[np.bool_]:
    """Mark the intervals, shape (records - 1,), that are too long while current flowed on both sides."""
    interval = np.diff(series.time_s)
    gaps: NDArray[np.bool_] = interval > _limit_s(interval)
    long, threshold = np.flatnonzero(gaps), rest_threshold_A(series.current_A)
    for beside in (long, long + 1):
        gaps[long] &= np.abs(series.current_A[beside]) > threshold
    return gaps
