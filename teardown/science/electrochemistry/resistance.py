"""Resistance from a step of current, at a delay that is kept with the value."""

import numpy as np

from teardown.science.electrochemistry.columns import Array, Series
from teardown.science.electrochemistry.steps import Steps

DELAY_S = 10.0


def step_resistance(series: Series, steps: Steps, *, delay_s: float = DELAY_S) -> tuple[Array, Array]:
    """Give change of voltage over change of current where a step under current begins.

    R = (V1 - V2) / (I2 - I1) between the last record before the step and the record nearest to ``delay_s``
    after it. Values at different delays do not compare, because slower processes join in: so the delay that
    was met is given with each value.

    Parameters
    ----------
    series : Series
    steps : Steps
    delay_s : float
        Wanted delay after the step, s.

    Returns
    -------
    resistance_ohm, delay_s : ndarray of float, shape (steps,)
        NaN for rests, for the first step, and where the current changed by less than a tenth of itself.
    """
    ohm, met = np.full(len(steps), np.nan), np.full(len(steps), np.nan)
    begin = np.flatnonzero(steps.kind != 0)
    begin = begin[begin > 0]
    time_s = series.time_s
    for k in begin.tolist():
        a, b = int(steps.first[k]), int(steps.last[k])
        before = a - 1
        start_s = time_s[before] if time_s[a] - time_s[before] <= delay_s else time_s[a]
        at = a + int(np.searchsorted(time_s[a : b + 1], start_s + delay_s))
        near = [r for r in (at - 1, at) if a <= r <= b and time_s[r] > start_s]
        if not near:
            continue
        record = min(near, key=lambda r: abs(time_s[r] - start_s - delay_s))
        change_A = series.current_A[record] - series.current_A[before]
        if abs(change_A) > 0.1 * abs(series.current_A[record]):
            ohm[k] = (series.voltage_V[record] - series.voltage_V[before]) / change_A
            met[k] = time_s[record] - start_s
    return ohm, met
