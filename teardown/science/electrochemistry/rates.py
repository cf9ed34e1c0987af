"""Rate classes: capacities compare only where the current was alike."""

import numpy as np

from teardown.science.electrochemistry.columns import Array, Index, ratio

CLASS_WIDTH = 0.15


def rate_hours(charge_Ah: Array, mean_current_A: Array) -> Array:
    """Give the hours a full half-cycle takes at its mean current."""
    return ratio(charge_Ah, mean_current_A)


def rate_classes(mean_current_A: Array, valid: Array) -> Index:
    """Sort cycles into classes of like current, the commonest first.

    The current, not the hours, makes the class: hours shorten as a cell fades although nobody changed the
    rate.

    Parameters
    ----------
    mean_current_A : ndarray of float, shape (cycles,)
    valid : ndarray of bool, shape (cycles,)

    Returns
    -------
    ndarray of int, shape (cycles,)
        0 for the reference class, 1, 2, ... for others, -1 where not valid. A class is 15 % wide to either
        side.
    """
    left = valid.astype(bool) & (mean_current_A > 0)
    classes = np.full(mean_current_A.size, -1, dtype=np.int64)
    log = np.log(np.where(mean_current_A > 0, mean_current_A, 1.0))
    width = np.log1p(CLASS_WIDTH)
    for number in range(mean_current_A.size):
        if not left.any():
            break
        values = np.sort(log[left])
        inside = np.searchsorted(values, values + 2 * width, side="right") - np.arange(values.size)
        start = values[int(np.argmax(inside))]
        centre = float(np.median(values[(values >= start) & (values <= start + 2 * width)]))
        members = left & (np.abs(log - centre) <= width)
        classes[members] = number
        left &= ~members
    return classes
