"""Oxide that stands off the metal across a gap: how much of the outline it would cover, gap by gap.

Hydroxide shrinks as it dries and lifts off. What the film covered before is told by counting oxide that faces
bare metal across a gap; which gaps are allowed is said in micrometres, and may be said later.
"""

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import ceil, floor

import cv2
import numpy as np
from numpy.typing import NDArray

from teardown.science.stereology.classes import METAL, OXIDE, PORE
from teardown.science.stereology.nearness import nearness
from teardown.science.stereology.windows import TILE_PX, Window

GAPS_UM = (0.2, 0.5, 1.0)
STEP_PX, MOST_PX = 0.1, 64
# above this size bands of rows are looked at, at least every fourth
LARGEST_WHOLE, BAND_ROWS, LEAST_SHARE = 4_194_304, 512, 4


@dataclass(frozen=True, slots=True)
class GapCurve:
    """Coverage of the metal outline as a function of the gap allowed between oxide and metal.

    Attributes
    ----------
    touching : float
        Share of the outline's pixels that bear oxide, with no gap allowed.
    steps : tuple of int
        Gaps that occur, in tenths of a pixel, rising; none above 64 px.
    shares : tuple of float
        Share of the outline that bears oxide or faces it across at most each of these gaps.
    """

    touching: float = 0.0
    steps: tuple[int, ...] = ()
    shares: tuple[float, ...] = ()

    def at(self, gap_px: float) -> float:
        """Give the share of the outline that bears oxide, or faces it across at most this gap.

        Gaps are told to a tenth of a pixel; wider ones than 64 px are not looked across.
        """
        reached = bisect_right(self.steps, floor(gap_px / STEP_PX + 0.5))
        return self.shares[reached - 1] if reached else self.touching

    def near_coverage(self, pixel_size_um: float | None) -> dict[str, float]:
        """Give the coverage with a gap of 0.2, 0.5 and 1 um allowed; nothing where no scale is known."""
        if not pixel_size_um:
            return {}
        return {f"{gap:g}": self.at(gap / pixel_size_um) for gap in GAPS_UM}


def gap_curve(labels: NDArray[np.uint8], *, covered: int | None = None, bare: int | None = None) -> GapCurve:
    """Follow how the coverage grows with the gap that is allowed between oxide and metal.

    Oxide counts for a bare place only if it faces it: the nearest oxide must itself stand off the metal by
    the gap, else it is the end of a rim beside it. Of maps above 4 Mpx bands of rows are looked at, every
    second to fourth, and what share of the bare places there faces oxide is taken for all.

    Parameters
    ----------
    labels : ndarray of uint8, shape (rows, columns)
    covered, bare : int, optional
        Places of the whole outline that bear oxide and pore, where they are counted already.
    """
    bands = [_look(labels, window) for window in _windows(labels.shape[0], labels.shape[1])]
    seen_bare = sum(band.bare for band in bands)
    covered = sum(band.covered for band in bands) if covered is None else covered
    bare = seen_bare if bare is None else bare
    whole = covered + bare
    if not whole:
        return GapCurve()
    facing = np.sum([band.facing for band in bands], axis=0)
    steps = np.flatnonzero(facing)
    grown = np.cumsum(facing[steps]) * (bare / max(seen_bare, 1))
    return GapCurve(
        round(covered / whole, 6),
        tuple(int(step) for step in steps),
        tuple(round(float(share), 6) for share in (covered + grown) / whole),
    )


def gap_tolerant_coverage(labels: NDArray[np.uint8], gaps_px: Sequence[float]) -> tuple[float, ...]:
    """Give the share of the metal outline that has oxide on it, or facing it across a gap of at most so
    many pixels."""
    curve = gap_curve(labels)
    return tuple(curve.at(gap) for gap in gaps_px)


def _windows(rows: int, columns: int) -> Iterator[Window]:
    """Give the windows that are looked at: the whole, or bands of rows spread evenly over the map, cut so
    that wide ones take no more memory."""
    if rows * columns <= LARGEST_WHOLE:
        yield Window(0, rows, 0, columns)
        return
    every = min(ceil(rows * columns / LARGEST_WHOLE), LEAST_SHARE)
    number = ceil(rows / BAND_ROWS)
    for band in range(min(every // 2, number - 1), number, every):
        top, bottom = band * BAND_ROWS, min((band + 1) * BAND_ROWS, rows)
        for left in range(0, columns, TILE_PX):
            yield Window(top, bottom, left, min(left + TILE_PX, columns))


@dataclass(frozen=True, slots=True)
class _Seen:
    covered: int
    bare: int
    facing: NDArray[np.int64]


def _look(labels: NDArray[np.uint8], window: Window) -> _Seen:
    """Count, in a window, covered and bare places of the outline, and bare ones by the gap that they face
    oxide across."""
    wide = window.wider(MOST_PX, (labels.shape[0], labels.shape[1]))
    part, own = np.array(labels[wide.at]), window.inside(wide)
    oxide, metal = part == OXIDE, part == METAL
    cross = cv2.getStructuringElement(cv2.MORPH_CROSS, (3, 3))
    beside = cv2.dilate(metal.view(np.uint8), cross)[own] > 0
    covered = np.count_nonzero(oxide[own] & beside)
    places = np.flatnonzero((part[own] == PORE) & beside)
    facing = np.zeros(round(MOST_PX / STEP_PX) + 1, np.int64)
    if len(places) and oxide.any():
        to_oxide, nearest = cv2.distanceTransformWithLabels(
            (~oxide).view(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_5, labelType=cv2.DIST_LABEL_PIXEL
        )
        to_metal = nearness(~metal)
        off_metal = np.zeros(int(nearest.max()) + 1, np.float32)
        off_metal[nearest[oxide]] = to_metal[oxide]
        gap = to_oxide[own].ravel()[places]
        faces = off_metal[nearest[own].ravel()[places]] >= np.maximum(0.7 * gap + 1, 1.6)
        step = np.rint(gap[faces & (gap <= MOST_PX)] / STEP_PX).astype(np.int64)
        facing += np.bincount(step, minlength=len(facing))
    return _Seen(int(covered), len(places), facing)
