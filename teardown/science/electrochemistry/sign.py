"""Which way the current counts: proved from the voltage, not believed."""

import numpy as np

from teardown.science.electrochemistry.columns import Array
from teardown.science.electrochemistry.steps import directions, rest_threshold_A

CLEAR_VOTE = 0.3
END_SHARE = 0.05


def slope_vote(time_s: Array, current_A: Array, voltage_V: Array) -> float:
    """Ask each run of one current direction whether the voltage rises with it.

    Each run votes sign(change of voltage) times sign(current), weighted by its charge; the change is taken
    between the medians of its first and last 5 % of records. The mean voltage is no witness: on a half-cell
    it may stand higher on discharge than on charge.

    Parameters
    ----------
    time_s, current_A, voltage_V : ndarray of float, shape (records,)

    Returns
    -------
    float
        +1 where positive current charges in every run, -1 where it discharges; 0 where nothing can be told.
    """
    state = directions(current_A)
    cuts = np.flatnonzero(state[1:] != state[:-1]) + 1
    first = np.concatenate(([0], cuts))
    last = np.concatenate((cuts, [state.size]))
    step_s = np.concatenate(([0.0], np.clip(np.diff(time_s), 0, None)))
    charge = np.add.reduceat(np.abs(current_A) * step_s, first)
    total = voted = 0.0
    # 2,000 of the largest runs say as much as all of them, and keep a pulse file quick
    largest = np.argsort(charge)[::-1][:2000]
    for run in largest:
        a, b = int(first[run]), int(last[run])
        if state[a] == 0 or b - a < 4:
            continue
        edge = max(1, int((b - a) * END_SHARE))
        change = _middle(voltage_V[b - edge : b]) - _middle(voltage_V[a : a + edge])
        voted += float(np.sign(change) * state[a] * charge[run])
        total += float(charge[run])
    return voted / total if total > 0 else 0.0


def _middle(values: Array) -> float:
    """Give the median of a few numbers without the care for empty ones, which costs more than the sorting."""
    ordered = np.sort(values)
    half = ordered.size // 2
    return float(ordered[half] if ordered.size % 2 else (ordered[half - 1] + ordered[half]) / 2)


def jump_vote(time_s: Array, current_A: Array, voltage_V: Array) -> float:
    """Ask each sudden change of current whether the voltage jumps with it.

    A cell is passive at once: more current in, higher voltage, whatever is charged. Used where the slopes
    say nothing, as on a flat plateau.

    Parameters
    ----------
    time_s, current_A, voltage_V : ndarray of float, shape (records,)

    Returns
    -------
    float
        +1 where positive current charges at every jump, -1 where it discharges; 0 where nothing jumps.
    """
    change_A, change_V = np.diff(current_A), np.diff(voltage_V)
    jumps = (np.abs(change_A) > 10 * rest_threshold_A(current_A)) & (change_V != 0) & (np.diff(time_s) >= 0)
    if not jumps.any():
        return 0.0
    return float(np.mean(np.sign(change_A[jumps]) * np.sign(change_V[jumps])))
