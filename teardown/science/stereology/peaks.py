"""Peaks of a grey histogram: where classes sit, and how much lies under each."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

BINS = 512


@dataclass(frozen=True, slots=True)
class Peak:
    """One peak: its grey, the share of all counted pixels between its valleys, and its half width at
    half height."""

    grey: float
    mass: float
    half_width: float


def find_peaks(
    greys: NDArray[np.float32],
    *,
    low: float,
    high: float,
    smooth: float,
    least_mass: float,
    valley: float = 0.8,
    weights: NDArray[np.float32] | None = None,
) -> list[Peak]:
    """Find the peaks of a set of greys, darkest first.

    Parameters
    ----------
    greys : ndarray of float32
        Any shape.
    low, high : float
        Range of the histogram; greys outside are left out.
    smooth : float
        Standard deviation, in grey, of the Gaussian that smooths the histogram.
    least_mass : float
        Peaks with a smaller share of the counted greys are left out.
    valley : float
        Two peaks stay apart only where the valley between them is below this share of the lower one.
    """
    counts, edges = np.histogram(greys, bins=BINS, range=(low, high), weights=weights)
    total = float(counts.sum())
    if total == 0:
        return []
    density = _smooth(counts / total, smooth / (edges[1] - edges[0]))
    padded = np.concatenate([[-1.0], density, [-1.0]])
    rises = np.flatnonzero((padded[1:-1] > padded[:-2]) & (padded[1:-1] >= padded[2:]))
    tops = _merge(density, [int(top) for top in rises], valley)
    cuts = [0, *(int(a + np.argmin(density[a : b + 1])) for a, b in pairwise(tops)), BINS]
    centres = (edges[:-1] + edges[1:]) / 2
    found = []
    for top, left, right in zip(tops, cuts[:-1], cuts[1:], strict=True):
        mass = float(density[left:right].sum())
        if mass >= least_mass:
            half = np.flatnonzero(density[left:right] >= density[top] / 2)
            width = (half[-1] - half[0] + 1) / 2 * (edges[1] - edges[0]) if len(half) else 0.0
            found.append(Peak(_vertex(density, centres, top), mass, float(width)))
    return found


def _smooth(counts: NDArray[np.float64], spread: float) -> NDArray[np.float64]:
    reach = max(int(4 * spread), 1)
    offsets = np.arange(-reach, reach + 1)
    kernel = np.exp(-0.5 * (offsets / max(spread, 0.3)) ** 2)
    return np.convolve(counts, kernel / kernel.sum(), mode="full")[reach : reach + len(counts)]


def _merge(density: NDArray[np.float64], tops: list[int], valley: float) -> list[int]:
    """Drop the lower of two neighbouring tops while no true valley parts them."""
    tops = [top for top in tops if density[top] > 0]
    while len(tops) > 1:
        ratios = [density[a : b + 1].min() / min(density[a], density[b]) for a, b in pairwise(tops)]
        worst = int(np.argmax(ratios))
        if ratios[worst] <= valley:
            break
        del tops[worst if density[tops[worst]] < density[tops[worst + 1]] else worst + 1]
    return tops


def _vertex(density: NDArray[np.float64], centres: NDArray[np.float64], top: int) -> float:
    """Place the top between bins by a parabola through three of them."""
    if not 0 < top < len(density) - 1:
        return float(centres[top])
    left, middle, right = density[top - 1 : top + 2]
    curve = left - 2 * middle + right
    shift = 0.5 * (left - right) / curve if curve else 0.0
    return float(centres[top] + shift * (centres[1] - centres[0]))
