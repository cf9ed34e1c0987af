"""The knee: where a slow fade turns into a fast one, or that there is none.

Bacon-Watts with the transition taken to zero (applied to capacity curves by Fermin-Cueto et al., Energy and
AI 1 (2020) 100006): a continuous line of two slopes, solved exactly for each place of the bend and profiled
over the places. Neighbouring cycles are correlated, so the residuals are whitened first-order before anything
is tested.
"""

from dataclasses import dataclass

import numpy as np

from teardown.science.electrochemistry.columns import Array
from teardown.science.electrochemistry.retention import autocorrelation

LEAST_CYCLES = 12
EDGE_SHARE = 0.05
STEEPER = 2.0
LEAST_LOSS = 0.05


@dataclass(frozen=True, slots=True)
class Knee:
    """A bend: cycle, its 95 % profile interval, the slopes beside it in Ah per cycle, and the onset if
    found.
    """

    cycle: float
    low: float
    high: float
    slope_before: float
    slope_after: float
    onset_cycle: float | None
    n: int
    n_effective: float


def find_knee(cycle: Array, capacity_Ah: Array) -> Knee | None:
    """Find the knee of a capacity curve.

    Reported only if a bend beats one straight line at the 99.9 % point of F, and a line with the rounded top
    that a slow gain leaves; if the later slope is at least twice the earlier; if at least 5 % of the capacity
    goes after it; and if it is not at an edge.

    Parameters
    ----------
    cycle, capacity_Ah : ndarray of float, shape (cycles,)
        From the peak on, complete cycles of the reference rate class.

    Returns
    -------
    Knee or None
    """
    from scipy.special import fdtri

    n = cycle.size
    if n < LEAST_CYCLES:
        return None
    x = (cycle - cycle[0]) / max(cycle[-1] - cycle[0], 1e-9)
    places = np.linspace(EDGE_SHARE, 1 - EDGE_SHARE, 201)
    rho = _correlation(x, capacity_Ah, places)
    left, _ = _profile(x, capacity_Ah, places, rho)
    fine = np.linspace(*_around(places, int(np.argmin(left))), 101)
    left_fine, fits_fine = _profile(x, capacity_Ah, fine, rho)
    best = int(np.argmin(left_fine))
    free = n - 4
    straight = _line(x, capacity_Ah, rho)
    least = float(left_fine[best])
    if least <= 0 or (straight / least - 1) / 2 * free < fdtri(2, free, 0.999):
        return None
    # how much neighbours are alike is itself known from few cycles only: the doubtful side is taken
    alike = min(rho + np.sqrt((1 - rho**2) / n), 0.97)
    left, _ = _profile(x, capacity_Ah, places, alike)
    if (_rounded_top(x, capacity_Ah, alike) / float(left.min()) - 1) * free < fdtri(1, free, 0.999):
        return None
    before, after = (
        float(fits_fine[best, 1] - fits_fine[best, 2]),
        float(fits_fine[best, 1] + fits_fine[best, 2]),
    )
    if not _doubles(before, after) or not 0 < np.searchsorted(places, fine[best]) < places.size - 1:
        return None
    if -after * (1 - fine[best]) < LEAST_LOSS * float(np.max(capacity_Ah)):
        return None
    left_fine, _ = _profile(x, capacity_Ah, fine, alike)
    limit = min(float(left.min()), float(left_fine.min())) * (1 + fdtri(1, free, 0.95) / free)
    every = np.concatenate((places[left <= limit], fine[left_fine <= limit], fine[[best]]))
    span, start = float(cycle[-1] - cycle[0]), float(cycle[0])
    onset = _onset(x, capacity_Ah, float(fine[best]))
    return Knee(
        start + span * float(fine[best]),
        start + span * float(every.min()),
        start + span * float(every.max()),
        before / span,
        after / span,
        None if onset is None else start + span * onset,
        n,
        n * (1 - rho) / (1 + rho),
    )


def _doubles(before: float, after: float) -> bool:
    """Tell whether the later slope falls at least twice as fast as the earlier."""
    return after < 0 and after <= STEEPER * min(before, 0.0) and after < before


def _around(places: Array, best: int) -> tuple[float, float]:
    return float(places[max(best - 2, 0)]), float(places[min(best + 2, places.size - 1)])


def _whiten(columns: Array, rho: float) -> Array:
    """Take first-order correlation out of each column; the first record keeps its weight (Prais-Winsten)."""
    first = columns[..., :1] * np.sqrt(1 - rho**2)
    return np.concatenate((first, columns[..., 1:] - rho * columns[..., :-1]), axis=-1)


def _profile(x: Array, y: Array, places: Array, rho: float) -> tuple[Array, Array]:
    """Solve the two-slope line for every place of the bend: residual sums (places,) and coefficients (places,
    3).
    """
    offset = x[None, :] - places[:, None]
    design = np.stack((np.ones_like(offset), offset, np.abs(offset)), axis=1)
    return _solve(_whiten(design, rho), _whiten(y, rho))


def _solve(design: Array, y: Array) -> tuple[Array, Array]:
    normal = np.einsum("pin,pjn->pij", design, design)
    right = np.einsum("pin,n->pi", design, y)
    fits = np.linalg.solve(normal + 1e-12 * np.eye(normal.shape[1]), right[..., None])[..., 0]
    residual = y[None, :] - np.einsum("pi,pin->pn", fits, design)
    return np.sum(residual**2, axis=1), fits


def _line(x: Array, y: Array, rho: float) -> float:
    design = _whiten(np.stack((np.ones_like(x), x))[None], rho)
    return float(_solve(design, _whiten(y, rho))[0][0])


def _rounded_top(x: Array, y: Array, rho: float) -> float:
    """Fit a line with the tail of a gain that dies away, and give the least residual sum over its lengths."""
    tails = np.exp(-x[None, :] / np.geomspace(0.02, 1.0, 12)[:, None])
    design = np.stack((np.ones_like(tails), np.broadcast_to(x, tails.shape), tails), axis=1)
    left, fits = _solve(_whiten(design, rho), _whiten(y, rho))
    gaining = fits[:, 2] < 0
    return float(left[gaining].min()) if gaining.any() else float("inf")


def _correlation(x: Array, y: Array, places: Array) -> float:
    """Estimate the correlation of neighbours from what the best bend leaves, twice over."""
    rho = 0.0
    for _ in range(2):
        left, fits = _profile(x, y, places, rho)
        best = int(np.argmin(left))
        offset = x - places[best]
        rho = autocorrelation(y - fits[best, 0] - fits[best, 1] * offset - fits[best, 2] * np.abs(offset))
    return rho


def _onset(x: Array, y: Array, knee: float) -> float | None:
    """Give the first bend of a line with three slopes (double Bacon-Watts), on at most 200 points."""
    thin = np.unique(np.linspace(0, x.size - 1, min(x.size, 200)).astype(int))
    x, y = x[thin], y[thin]
    grid = np.linspace(EDGE_SHARE, 1 - EDGE_SHARE, 31)
    first, second = np.triu_indices(grid.size, 2)
    a, b = x[None, :] - grid[first][:, None], x[None, :] - grid[second][:, None]
    design = np.stack((np.ones_like(a), a, np.abs(a), np.abs(b)), axis=1)
    left, _ = _solve(design, y)
    best = float(grid[first[int(np.argmin(left))]])
    return best if best < knee else None
