"""Rims of oxide along the metal: how thick from place to place, and how near where they have lifted off."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from teardown.science.stereology.classes import METAL, OXIDE, PORE

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
    """What adds up over tiles: thicknesses in fine steps, and metal outline covered, bare and near oxide."""

    fine: NDArray[np.int64]
    oxide_px: int
    covered: int
    bare: int
    near: NDArray[np.int64]

    def __add__(self, other: "RimTally") -> "RimTally":
        """Add two tiles."""
        return RimTally(
            self.fine + other.fine,
            self.oxide_px + other.oxide_px,
            self.covered + other.covered,
            self.bare + other.bare,
            self.near + other.near,
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

    @property
    def near_coverage(self) -> tuple[float, ...]:
        """Give the share of the metal outline that bears oxide or faces it across each gap."""
        whole = self.covered + self.bare
        return tuple(float((self.covered + int(count)) / whole) if whole else 0.0 for count in self.near)


def tally_rims(
    labels: NDArray[np.uint8], gaps_px: tuple[float, ...] = (), at: tuple[slice, slice] | None = None
) -> RimTally:
    """Read rims at every oxide pixel beside metal: distance to metal plus to pore, less one; and the metal
    outline that bears oxide, or faces it across a gap.

    Hydroxide shrinks as it dries and lifts off. Oxide counts for a bare place only if it faces it: the
    nearest oxide must itself stand off the metal by the gap, else it is the end of a rim beside it.

    Parameters
    ----------
    labels : ndarray of uint8, shape (rows, columns)
    gaps_px : tuple of float
        Gaps, in pixels.
    at : tuple of slice, optional
        Only places inside this window are counted; what lies around serves to see by.
    """
    at = at or (slice(None), slice(None))
    oxide, metal, pore = labels == OXIDE, labels == METAL, labels == PORE
    cross = cv2.getStructuringElement(cv2.MORPH_CROSS, (3, 3))
    beside = cv2.dilate(metal.astype(np.uint8), cross) > 0
    covered = np.count_nonzero((oxide & beside)[at])
    bare = np.count_nonzero((pore & beside)[at])
    fine = np.zeros(MOST_FINE, np.int64)
    near = np.zeros(len(gaps_px), np.int64)
    if oxide.any() and metal.any():
        to_metal = _distance(~metal)
        if pore.any():
            touching = np.flatnonzero((oxide & (to_metal <= 1.5))[at])
            across = to_metal[at].ravel()[touching] + _distance(~pore)[at].ravel()[touching] - 1
            step = np.minimum(np.rint(across / FINE_PX).astype(np.int64), MOST_FINE) - 1
            fine = np.bincount(np.maximum(step, 0), minlength=MOST_FINE)
        if gaps_px and bare:
            near = _facing(oxide, to_metal, pore & beside, gaps_px, at)
    return RimTally(fine, int(np.count_nonzero(oxide[at])), int(covered), int(bare), near)


def _facing(
    oxide: NDArray[np.bool_],
    to_metal: NDArray[np.float32],
    bare: NDArray[np.bool_],
    gaps_px: tuple[float, ...],
    at: tuple[slice, slice],
) -> NDArray[np.int64]:
    """Count bare places whose nearest oxide faces them across each gap."""
    to_oxide, nearest = cv2.distanceTransformWithLabels(
        (~oxide).view(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_5, labelType=cv2.DIST_LABEL_PIXEL
    )
    off_metal = np.zeros(int(nearest.max()) + 1, np.float32)
    off_metal[nearest[oxide]] = to_metal[oxide]
    places = np.zeros_like(bare)
    places[at] = bare[at]
    gap = to_oxide[places]
    faces = off_metal[nearest[places]] >= np.maximum(0.7 * gap + 1, 1.6)
    return np.array([np.count_nonzero(faces & (gap <= reach)) for reach in gaps_px], np.int64)


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
