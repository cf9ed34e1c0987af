"""What a cell shows at rest: its voltage, how it settles, what it loses."""

from dataclasses import dataclass

import numpy as np

from teardown.science.electrochemistry.columns import Array, Index, Series
from teardown.science.electrochemistry.steps import Steps


@dataclass(frozen=True, slots=True)
class Rests:
    """Rests that follow a half-cycle, shape (rests,).

    ``after`` is the step under current that went before; ``tau_s`` the time to 63 % of the change over the
    rest, read and not fitted.
    """

    step: Index
    after: Index
    voltage_V: Array
    change_V: Array
    tau_s: Array
    length_s: Array


def read_rests(series: Series, steps: Steps) -> Rests:
    """Read the end, the change and the settling time of each rest that follows a step under current."""
    rest = np.flatnonzero(steps.kind == 0)
    rest = rest[(rest > 0) & (steps.last[rest] > steps.first[rest])]
    rest = rest[steps.kind[rest - 1] != 0]
    first, last = steps.first[rest], steps.last[rest]
    voltage, time_s = series.voltage_V, series.time_s
    change = voltage[last] - voltage[first]
    return Rests(
        rest,
        rest - 1,
        voltage[last],
        change,
        _settling(series, first, last, change),
        time_s[last] - time_s[first],
    )


def _settling(series: Series, first: Index, last: Index, change: Array) -> Array:
    """Give the time until 1 - 1/e of the change is done, to the record; NaN where nothing changed."""
    tau = np.full(first.size, np.nan)
    for k, (a, b) in enumerate(zip(first.tolist(), last.tolist(), strict=True)):
        if abs(change[k]) < 1e-3:
            continue
        done = (series.voltage_V[a : b + 1] - series.voltage_V[a]) / change[k]
        beyond = int(np.argmax(done >= 1 - np.exp(-1)))
        if beyond > 0:
            x0, x1 = done[beyond - 1], done[beyond]
            share = (1 - np.exp(-1) - x0) / (x1 - x0)
            t0, t1 = series.time_s[a + beyond - 1], series.time_s[a + beyond]
            tau[k] = t0 + share * (t1 - t0) - series.time_s[a]
    return tau


def self_discharge(discharge_Ah: Array, rest_h: Array, complete: Array) -> Array:
    """Give the share of charge that a long rest after a full charge cost, per day.

    Only rests that are at least three times the usual one and an hour long say anything; the charge after it
    is compared with the mean of the cycles before and after that had no such rest.

    Parameters
    ----------
    discharge_Ah, rest_h : ndarray of float, shape (cycles,)
        Discharged charge, and the rest between the charge before it and the discharge.
    complete : ndarray of bool, shape (cycles,)

    Returns
    -------
    ndarray of float, shape (cycles,)
        Fraction per day; NaN where no long rest went before.
    """
    lost = np.full(discharge_Ah.size, np.nan)
    ok = complete.astype(bool)
    if ok.sum() < 3:
        return lost
    usual = float(np.nanmedian(rest_h[ok]))
    long = ok & (rest_h >= max(1.0, 3 * usual))
    plain = ok & ~long
    for k in np.flatnonzero(long):
        before, after = np.flatnonzero(plain[:k]), np.flatnonzero(plain[k + 1 :])
        if before.size and after.size:
            near = (discharge_Ah[before[-1]] + discharge_Ah[k + 1 + after[0]]) / 2
            lost[k] = (1 - discharge_Ah[k] / near) / ((rest_h[k] - usual) / 24)
    return lost
