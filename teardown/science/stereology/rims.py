"""Rims of oxide along the metal: how thick from place to place."""

from dataclasses import dataclass
from math import sqrt

import cv2
import numpy as np
from numpy.typing import NDArray

from teardown.science.stereology.classes import METAL, OXIDE, PORE
from teardown.science.stereology.nearness import in_pixels, nearness

STEP_PX, BINS = 0.5, 60
PER_STEP = 25
FINE_PX = STEP_PX / PER_STEP
# as far as a tile's halo sees; thicker rims are counted as this thick
MOST_FINE = int(64 / FINE_PX)
RADII = (1, 2, 3, 4, 5, 6, 7, 8, 10, 12, 14, 16, 20, 24, 28, 32)


@dataclass(frozen=True, slots=True)
class Thickness:
    """Apparent thickness of oxide between metal and pore, along the covered metal outline, in pixels.

    Sections cut rims askew, so the spread is of what is seen; only the mean has a correction.
    """

    median_px: float
    p10_px: float
    p90_px: float
    counts: tuple[int, ...]
    step_px: float


@dataclass(frozen=True, slots=True)
class RimTally:
    """What adds up over tiles: thicknesses in fine steps, and metal outline covered and bare."""

    fine: NDArray[np.int64]
    oxide_px: int
    covered: int
    bare: int

    def __add__(self, other: "RimTally") -> "RimTally":
        """Add two tiles."""
        return RimTally(
            self.fine + other.fine,
            self.oxide_px + other.oxide_px,
            self.covered + other.covered,
            self.bare + other.bare,
        )

    @property
    def thickness(self) -> Thickness | None:
        """Give the distribution of rim thickness; None where there is too little oxide between metal and
        pore."""
        total = int(self.fine.sum())
        if self.oxide_px < 100 or total < 30:
            return None
        reached = np.cumsum(self.fine) / total
        edges = np.arange(1, len(self.fine) + 1) * FINE_PX
        low, middle, high = (float(edges[np.searchsorted(reached, share)]) for share in (0.1, 0.5, 0.9))
        coarse = self.fine[: BINS * PER_STEP].reshape(BINS, PER_STEP).sum(axis=1)
        return Thickness(middle, low, high, tuple(int(count) for count in coarse), STEP_PX)


def tally_rims(labels: NDArray[np.uint8], at: tuple[slice, slice] | None = None) -> RimTally:
    """Read rims at every oxide pixel beside metal, one pixel or a diagonal away: distance to metal plus to
    pore, less one; and count the metal outline under oxide and under pore.

    Parameters
    ----------
    labels : ndarray of uint8, shape (rows, columns)
    at : tuple of slice, optional
        Only places inside this window are counted; what lies around serves to see by.
    """
    at = at or (slice(None), slice(None))
    oxide, metal, pore = labels == OXIDE, (labels == METAL).view(np.uint8), labels == PORE
    beside = cv2.dilate(metal, cv2.getStructuringElement(cv2.MORPH_CROSS, (3, 3))) > 0
    covered = np.count_nonzero((oxide & beside)[at])
    bare = np.count_nonzero((pore & beside)[at])
    fine = np.zeros(MOST_FINE, np.int64)
    if oxide.any() and metal.any() and pore.any():
        corners = cv2.dilate(metal, np.ones((3, 3), np.uint8)) > 0
        touching = np.flatnonzero((oxide & corners)[at])
        to_metal = np.where(beside[at].ravel()[touching], 1.0, sqrt(2))
        across = to_metal + in_pixels(nearness(~pore)[at].ravel()[touching]) - 1
        step = np.minimum(np.rint(across / FINE_PX).astype(np.int64), MOST_FINE) - 1
        fine = np.bincount(np.maximum(step, 0), minlength=MOST_FINE)
    return RimTally(fine, int(np.count_nonzero(oxide[at])), int(covered), int(bare))


def rim_thickness(labels: NDArray[np.uint8]) -> Thickness | None:
    """Give the thickness of rims over a whole map; None where there is no oxide between metal and pore."""
    return tally_rims(labels).thickness


def granulometry(mask: NDArray[np.bool_], *, radii: tuple[int, ...] = RADII) -> dict[str, float]:
    """Give the size distribution of a class by openings with discs: diameters below which 10, 50, 90 % of
    it lie.

    Sizes between the radii are interpolated; what survives the largest is called at least that.
    """
    sizes, passed = openings_of(mask, radii=radii)
    return sizes_at(sizes, passed)


def openings_of(
    mask: NDArray[np.bool_], *, radii: tuple[int, ...] = RADII
) -> tuple[tuple[int, ...], tuple[float, ...]]:
    """Give diameters of discs, and the share of a class that lies in places too narrow for each.

    Both are empty where there is nothing of the class.
    """
    area = float(np.count_nonzero(mask))
    if area == 0:
        return (), ()
    depth = _distance(mask)
    left = [1.0]
    for radius in radii:
        core = depth > radius
        if core.any():
            reached = _distance(~core) <= radius
            left.append(float(np.count_nonzero(mask & reached)) / area)
        else:
            left.append(0.0)
    passed = 1 - np.minimum.accumulate(left)
    return tuple(2 * radius for radius in (0, *radii)), tuple(float(share) for share in passed)


def sizes_at(sizes: tuple[int, ...], passed: tuple[float, ...]) -> dict[str, float]:
    """Give the diameters below which 10, 50, 90 % lie."""
    if not sizes:
        return {}
    return {f"d{round(share * 100)}_px": float(np.interp(share, passed, sizes)) for share in (0.1, 0.5, 0.9)}


def _distance(away_from: NDArray[np.bool_]) -> NDArray[np.float32]:
    if away_from.all():
        return np.full(away_from.shape, 1e6, np.float32)
    return np.asarray(cv2.distanceTransform(away_from.view(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_5))
