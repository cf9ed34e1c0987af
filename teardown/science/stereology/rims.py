"""Rims of oxide along the metal: how thick from place to place, and how near where they have lifted off."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from teardown.science.stereology.classes import EXCLUDED, METAL, OXIDE, PORE

GAPS_UM = (0.2, 0.5, 1.0)
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


def rim_thickness(labels: NDArray[np.uint8], *, step_px: float = 0.5, bins: int = 60) -> Thickness | None:
    """Read the thickness of rims at every metal pixel's neighbour in oxide: distance to metal plus to pore,
    less one.

    Returns
    -------
    Thickness or None
        None where there is no oxide between metal and pore.
    """
    oxide = labels == OXIDE
    if np.count_nonzero(oxide) < 100 or not (labels == PORE).any() or not (labels == METAL).any():
        return None
    to_metal = _distance(labels != METAL)
    touching = oxide & (to_metal <= 1.5)
    if np.count_nonzero(touching) < 30:
        return None
    across = (to_metal + _distance(labels != PORE) - 1)[touching]
    low, middle, high = (float(value) for value in np.quantile(across, [0.1, 0.5, 0.9]))
    counts, _ = np.histogram(across, bins=bins, range=(0, bins * step_px))
    return Thickness(middle, low, high, tuple(int(count) for count in counts), step_px)


def gap_tolerant_coverage(labels: NDArray[np.uint8], gaps_px: tuple[float, ...]) -> tuple[float, ...]:
    """Give the share of the metal outline that has oxide on it, or facing it across a gap of at most so
    many pixels.

    Hydroxide shrinks as it dries and lifts off. Oxide counts for a bare place only if it faces it: the
    nearest oxide must itself stand off the metal by the gap, else it is the end of a rim beside it.
    """
    oxide, metal, pore = labels == OXIDE, labels == METAL, labels == PORE
    cross = cv2.getStructuringElement(cv2.MORPH_CROSS, (3, 3))
    beside = cv2.dilate(metal.astype(np.uint8), cross) > 0
    bare, covered = pore & beside, oxide & beside
    total = np.count_nonzero(bare) + np.count_nonzero(covered)
    if total == 0:
        return tuple(0.0 for _ in gaps_px)
    if not oxide.any():
        return tuple(0.0 for _ in gaps_px)
    to_metal = _distance(~metal)
    to_oxide, nearest = cv2.distanceTransformWithLabels(
        (~oxide).view(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_5, labelType=cv2.DIST_LABEL_PIXEL
    )
    off_metal = np.zeros(int(nearest.max()) + 1, np.float32)
    off_metal[nearest[oxide]] = to_metal[oxide]
    gap = to_oxide[bare]
    faces = off_metal[nearest[bare]] >= np.maximum(0.7 * gap + 1, 1.6)
    held = np.count_nonzero(covered)
    return tuple(float((held + np.count_nonzero(faces & (gap <= reach))) / total) for reach in gaps_px)


@dataclass(frozen=True, slots=True)
class Layer:
    """One layer at a depth below the face: from and to as a share of the whole depth, and what it holds."""

    start: float
    end: float
    depth_um: float | None
    porosity: float
    oxide_fraction: float
    area_px: int


def depth_profile(
    labels: NDArray[np.uint8],
    face: NDArray[np.float64],
    *,
    bins: int = 10,
    pixel_size_um: float | None = None,
) -> tuple[Layer, ...]:
    """Give porosity and oxide layer by layer, by the distance from a face.

    Parameters
    ----------
    labels : ndarray of uint8, shape (rows, columns)
    face : ndarray, shape (corners, 2)
        The face as a line of corners [x, y], in pixels.
    bins : int
        How many layers of equal depth.
    """
    line = np.ones(labels.shape, np.uint8)
    cv2.polylines(line, [np.round(face * 16).astype(np.int32)], isClosed=False, color=0, thickness=1, shift=4)
    if line.all():
        return ()
    depth = cv2.distanceTransform(line, cv2.DIST_L2, cv2.DIST_MASK_PRECISE)
    inside = labels != EXCLUDED
    deepest = float(depth[inside].max()) if inside.any() else 0.0
    if deepest <= 0:
        return ()
    layer = np.minimum((depth * (bins / deepest)).astype(np.int64), bins - 1)
    counts = np.bincount((layer * 5 + labels)[inside], minlength=bins * 5).reshape(bins, 5)
    found = []
    for number, row in enumerate(counts):
        area = int(row.sum())
        if area:
            middle = (number + 0.5) / bins * deepest
            found.append(
                Layer(
                    number / bins,
                    (number + 1) / bins,
                    middle * pixel_size_um if pixel_size_um else None,
                    float(row[PORE] / area),
                    float(row[OXIDE] / area),
                    area,
                )
            )
    return tuple(found)


def granulometry(mask: NDArray[np.bool_], *, radii: tuple[int, ...] = RADII) -> dict[str, float]:
    """Give the size distribution of a class by openings with discs: diameters below which 10, 50, 90 % of
    it lie.

    Sizes between the radii are interpolated; what survives the largest is called at least that.
    """
    area = float(np.count_nonzero(mask))
    if area == 0:
        return {}
    depth = _distance(mask)
    left = [1.0]
    for radius in radii:
        core = depth > radius
        if core.any():
            reached = _distance(~core) <= radius
            left.append(float(np.count_nonzero(mask & reached)) / area)
        else:
            left.append(0.0)
    sizes = np.array([0.0, *radii]) * 2
    passed = 1 - np.minimum.accumulate(left)
    return {f"d{round(share * 100)}_px": float(np.interp(share, passed, sizes)) for share in (0.1, 0.5, 0.9)}


def _distance(away_from: NDArray[np.bool_]) -> NDArray[np.float32]:
    if away_from.all():
        return np.full(away_from.shape, 1e6, np.float32)
    return np.asarray(cv2.distanceTransform(away_from.view(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_5))
