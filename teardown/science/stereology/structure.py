"""How a class is spread: two-point correlation, chords, and the sizes of its openings."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import fft

from teardown.science.stereology.classes import EXCLUDED, METAL, PORE
from teardown.science.stereology.rims import RADII, openings_of

Labels = NDArray[np.uint8]
LONGEST_LAG_PX = 256
CHORD_BINS, CHORD_STEP_PX = 100, 2


@dataclass(frozen=True, slots=True)
class TwoPoint:
    """Chance that two pixels a distance apart both lie in a class, mean over all directions.

    At 0 it is the area fraction p, far away p squared. ``range_px`` is the distance at which the covariance
    (the chance less p squared) has fallen below 2 % of its start; None if it does not within the longest lag.
    """

    lags_px: tuple[int, ...]
    chance: tuple[float, ...]
    fraction: float
    range_px: float | None


@dataclass(frozen=True, slots=True)
class Chords:
    """Lengths of a class's runs along rows and columns that no rim of the picture cuts: counts in steps of
    ``step_px``, the last open above; their number and mean."""

    counts: tuple[int, ...]
    step_px: int
    n: int
    mean_px: float | None


@dataclass(frozen=True, slots=True)
class Structure:
    """How pore and metal are spread over the middle of a field."""

    pore: TwoPoint | None
    metal: TwoPoint | None
    pore_chords: Chords
    metal_chords: Chords
    opening_sizes_px: tuple[int, ...]
    opening_passed: tuple[float, ...]
    area_px: int


def structure_of(middle: Labels) -> Structure:
    """Read the spread of pore and metal from the middle of a field."""
    inside = middle != EXCLUDED
    sizes, passed = openings_of(middle == PORE, radii=RADII)
    return Structure(
        two_point(middle == PORE, inside),
        two_point(middle == METAL, inside),
        chords_of(middle, PORE),
        chords_of(middle, METAL),
        sizes,
        passed,
        int(np.count_nonzero(inside)),
    )


def two_point(
    mask: NDArray[np.bool_], inside: NDArray[np.bool_] | None = None, *, longest: int = LONGEST_LAG_PX
) -> TwoPoint | None:
    """Give the two-point correlation of a class, by counting all pairs of pixels that lie in the section.

    Parameters
    ----------
    mask, inside : ndarray of bool, shape (rows, columns)
        Pixels of the class, and pixels of the section.
    longest : int
        The longest lag, at most a third of the shorter side.

    Returns
    -------
    TwoPoint or None
        None where the section holds nothing of the class, or nothing else.
    """
    inside = np.ones(mask.shape, bool) if inside is None else inside
    area = int(np.count_nonzero(inside))
    fraction = int(np.count_nonzero(mask & inside)) / max(area, 1)
    longest = min(longest, mask.shape[0] // 3, mask.shape[1] // 3)
    if fraction in {0.0, 1.0} or longest < 2:
        return None
    size = tuple(fft.next_fast_len(side + longest, real=True) for side in mask.shape)
    both = _pairs((mask & inside).astype(np.float32), size, longest)
    if area == inside.size:
        # of a whole rectangle the pairs are known without counting
        rows, columns = (side - np.abs(np.arange(-longest, longest + 1)) for side in mask.shape)
        whole = np.outer(rows, columns).astype(np.float64)
    else:
        whole = _pairs(inside.astype(np.float32), size, longest)
    down, across = np.mgrid[-longest : longest + 1, -longest : longest + 1]
    ring = np.rint(np.hypot(down, across)).astype(int).ravel()
    hits = np.bincount(ring, weights=both.ravel())[: longest + 1]
    chance = hits / np.maximum(np.bincount(ring, weights=whole.ravel())[: longest + 1], 1)
    covariance = chance - fraction**2
    fallen = np.flatnonzero(covariance < 0.02 * covariance[0])
    return TwoPoint(
        tuple(range(longest + 1)),
        tuple(float(value) for value in chance),
        float(fraction),
        float(fallen[0]) if len(fallen) else None,
    )


def _pairs(mask: NDArray[np.float32], size: tuple[int, ...], longest: int) -> NDArray[np.float64]:
    """Count, for each shift, the pairs of pixels that are both in a mask."""
    spectrum = fft.rfft2(mask, size)
    raw = fft.irfft2(spectrum.real**2 + spectrum.imag**2, size)
    window = np.roll(raw, (longest, longest), axis=(0, 1))[: 2 * longest + 1, : 2 * longest + 1]
    return np.rint(window.astype(np.float64))


def chords_of(labels: Labels, code: int) -> Chords:
    """Measure the runs of a class along rows and columns; those that the rim or a left-out place cuts are
    not whole, and not counted."""
    lengths = np.concatenate([_runs(labels, code), _runs(np.ascontiguousarray(labels.T), code)])
    step = np.minimum((lengths - 1) // CHORD_STEP_PX, CHORD_BINS - 1)
    counts = np.bincount(step, minlength=CHORD_BINS)
    mean = float(lengths.mean()) if len(lengths) else None
    return Chords(tuple(int(count) for count in counts), CHORD_STEP_PX, len(lengths), mean)


def _runs(labels: Labels, code: int) -> NDArray[np.int64]:
    # a column of left-out pixels at either side ends every row's last run and marks it as cut
    framed = cv2.copyMakeBorder(labels, 0, 0, 1, 1, cv2.BORDER_CONSTANT, value=EXCLUDED).ravel()
    mine = framed == code
    edges = np.flatnonzero(mine[1:] != mine[:-1])
    starts, ends = edges[::2], edges[1::2]
    whole = (framed[starts] != EXCLUDED) & (framed[ends + 1] != EXCLUDED)
    return np.asarray((ends - starts)[whole], np.int64)
