"""How far pixels lie from a class: quickly over the whole picture, exactly where it is decided by.

The chamfer distance of a 5 by 5 mask takes a quarter of the time of the Euclidean one and sorts all pixels up
to six pixels away just as that does, each of its values standing for one Euclidean distance. So within six
pixels, where rims are told from blurred edges, what is read back from it is exact; beyond, it is within 2 %.
"""

import cv2
import numpy as np
from numpy.typing import NDArray

Nearness = NDArray[np.float32]
FAR = np.float32(1e6)
# as far as values are told apart, and beyond every decision on rims; offsets from a pixel in one quadrant
EXACT_TO, REACH = 6.0, 10
# chamfer values lie at least 0.003 apart; the table has three steps for that
STEPS = 1024


def nearness(away_from: NDArray[np.bool_]) -> Nearness:
    """Give each True pixel its chamfer distance to the nearest False one; far away where there is none."""
    if away_from.all():
        return np.full(away_from.shape, FAR, np.float32)
    return np.asarray(cv2.distanceTransform(away_from.view(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_5))


def in_pixels(near: Nearness) -> NDArray[np.float32]:
    """Give the Euclidean distances, in pixels, that chamfer distances stand for."""
    step = np.minimum(near * np.float32(STEPS) + np.float32(0.5), np.float32(len(_EUCLIDEAN)))
    index = step.astype(np.int32)
    return np.where(index < len(_EUCLIDEAN), _EUCLIDEAN.take(index, mode="clip"), near)


def chamfer_of(distance_px: float) -> float:
    """Give the chamfer distance up to which, and not beyond, pixels lie within a Euclidean distance."""
    if distance_px >= EXACT_TO:
        return distance_px
    return float(_CHAMFER[distance_px >= _TRUE].max(initial=0.0)) + 0.5 / STEPS


def _offsets() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Give the chamfer and the Euclidean length of every offset in the exact range, as the transform has
    them."""
    point = np.ones((2 * REACH + 1, 2 * REACH + 1), bool)
    point[REACH, REACH] = False
    down, across = np.mgrid[-REACH : REACH + 1, -REACH : REACH + 1]
    true = np.hypot(down, across)
    inside = true <= EXACT_TO
    return nearness(point)[inside].astype(np.float64), true[inside]


def _table() -> NDArray[np.float32]:
    """Give the Euclidean distance for every step of chamfer distance; between offsets, the step itself."""
    table = np.arange(int(_CHAMFER.max() * STEPS) + 2, dtype=np.float32) / np.float32(STEPS)
    step = np.rint(_CHAMFER * STEPS).astype(int)
    for beside in (-1, 1, 0):
        table[np.clip(step + beside, 0, len(table) - 1)] = _TRUE
    return table


_CHAMFER, _TRUE = _offsets()
_EUCLIDEAN = _table()
