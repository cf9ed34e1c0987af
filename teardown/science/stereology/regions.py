"""Which pixels belong to the section: outlines, exclusions, the information strip."""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from teardown.science.errors import MeasurementError
from teardown.science.stereology.noise import Mask
from teardown.science.stereology.windows import Window

Polygon = Sequence[Sequence[float]]


class NothingLeft(MeasurementError):
    """Outline and exclusions leave no section to measure."""

    code = "stereology.E014"
    hint = "Draw the outline round the electrode, and exclude less."


@dataclass(frozen=True, slots=True)
class Strip:
    """Rows of the burned-in information strip, from ``top`` up to but not including ``bottom``."""

    top: int
    bottom: int

    @property
    def rows(self) -> int:
        """Count its rows."""
        return self.bottom - self.top


def valid_pixels(
    shape: tuple[int, int],
    *,
    outlines: Sequence[Polygon] = (),
    exclusions: Sequence[Polygon] = (),
    strip: Strip | None = None,
) -> Mask | None:
    """Mark the pixels that belong to the section.

    Parameters
    ----------
    shape : tuple of int
        Rows and columns.
    outlines, exclusions : sequences of polygons
        Corners as [x, y] in pixels. With no outline the whole picture counts.

    Returns
    -------
    ndarray of bool, or None if every pixel counts

    Raises
    ------
    NothingLeft
        If no pixel is left.
    """
    if not outlines and not exclusions and strip is None:
        return None
    mask = np.zeros(shape, np.uint8) if outlines else np.ones(shape, np.uint8)
    for outline in outlines:
        _paint(mask, outline, 1)
    for exclusion in exclusions:
        _paint(mask, exclusion, 0)
    if strip is not None:
        mask[strip.top : strip.bottom] = 0
    if not mask.any():
        raise NothingLeft("No pixel of the picture lies inside the outline.")
    return mask.astype(bool)


def valid_within(
    window: Window, *, outlines: Sequence[Polygon] = (), exclusions: Sequence[Polygon] = ()
) -> Mask | None:
    """Mark the pixels of a window that belong to the section, as :func:`valid_pixels` does for the whole."""
    if not outlines and not exclusions:
        return None
    mask = np.zeros(window.shape, np.uint8) if outlines else np.ones(window.shape, np.uint8)
    corner = np.array([window.left, window.top], float)
    for value, polygons in ((1, outlines), (0, exclusions)):
        for polygon in polygons:
            _paint(mask, (np.asarray(polygon, float) - corner).tolist(), value)
    return mask.astype(bool)


def _paint(mask: NDArray[np.uint8], polygon: Polygon, value: int) -> None:
    corners = np.round(np.asarray(polygon, float) * 16).astype(np.int32)
    if len(corners) >= 3:
        cv2.fillPoly(mask, [corners], value, shift=4)


def find_strip(grey: NDArray[np.float32]) -> Strip | None:
    """Propose where the information strip lies: rows of one flat ground, at the foot or the head of the
    picture."""
    calm_rows = np.median(np.abs(np.diff(grey, axis=1)), axis=1) == 0
    ground = np.array([_commonest_share(row) for row in grey[calm_rows]])
    flat = np.zeros(len(grey), bool)
    flat[np.flatnonzero(calm_rows)] = ground > 0.45
    below = _run(flat[::-1])
    above = _run(flat)
    rows = len(grey)
    if max(below, above) < 8 or max(below, above) > rows // 3:
        return None
    return Strip(rows - below, rows) if below >= above else Strip(0, above)


def _commonest_share(row: NDArray[np.float32]) -> float:
    _, counts = np.unique(row, return_counts=True)
    return float(counts.max() / row.size)


def _run(flat: Mask) -> int:
    """Longest prefix in which at most 3 % of the rows are not flat, ending on a flat one."""
    best = 0
    misses = 0
    for number, good in enumerate(flat, start=1):
        misses += not good
        if misses > max(0.03 * number, 2):
            break
        if good:
            best = number
    return best
