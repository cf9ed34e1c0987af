"""How far one field's value may lie from the section's, told from the field itself.

A field is one draw. How its matter is clustered shows in the covariance of the field with itself at a
distance, and the sum of that covariance is the variance of the field's total.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import fft
from scipy.special import stdtrit

from teardown.science.stereology.classes import CLASSES, METAL, OXIDE, PORE
from teardown.science.stereology.interfaces import DIRECTIONS

Cells = NDArray[np.float64]
WALL = ((METAL, OXIDE), (METAL, PORE), (OXIDE, PORE))
# length that a crossing stands for: pi/8 along rows and columns, and by the root of two less along diagonals
AXIS_WEIGHT, DIAGONAL_WEIGHT = np.pi / 8, np.pi / 8 / np.sqrt(2)


def _meetings() -> NDArray[np.uint8]:
    """Tell of every two neighbours which wall they lie across: two bits a wall, so that counts up to three
    lie side by side."""
    found = np.zeros(256, np.uint8)
    for number, (first, second) in enumerate(WALL):
        found[[CLASSES * first + second, CLASSES * second + first]] = 1 << (2 * number)
    return found


_MEETING = _meetings()


@dataclass(frozen=True, slots=True)
class RatioError:
    """A ratio of two sums over a field, its standard error, and how many independent patches the field
    holds."""

    ratio: float
    standard_error: float
    patches: float

    @property
    def half_width(self) -> float:
        """Half of the 95 % interval, with Student's t on the patches."""
        return float(stdtrit(max(self.patches - 1, 1.0), 0.975)) * self.standard_error


def ratio_error(above: Cells, below: Cells) -> RatioError:
    """Estimate a ratio of sums and its error from its parts in a grid of cells.

    Parameters
    ----------
    above, below : ndarray, shape (rows, columns)
        Numerator and denominator in each cell; both zero where a cell lies outside the section.
    """
    total = float(below.sum())
    if total <= 0:
        return RatioError(0.0, 0.0, 1.0)
    ratio = float(above.sum()) / total
    variance, patches = variance_of_total(above - ratio * below, below > 0)
    return RatioError(ratio, float(np.sqrt(variance)) / total, patches)


def variance_of_total(residual: Cells, counted: NDArray[np.bool_] | None = None) -> tuple[float, float]:
    """Estimate the variance of the sum of a stationary random field from one draw of it.

    The covariance is summed over all shifts up to 1.5 times the range at which it has fallen below 2 % of
    its start. As the mean was taken from the same draw, the sum reads low by the share of the field that
    the disc of shifts covers, and is divided by what is left [1]_.

    Returns
    -------
    variance, patches : float
        ``patches`` is the field's area over that of the disc.

    References
    ----------
    .. [1] Derived for this project from the variance of a mean over a window; its coverage is held by the
       tests.
    """
    rows, columns = residual.shape
    size = [fft.next_fast_len(2 * rows, real=True), fft.next_fast_len(2 * columns, real=True)]
    spectrum = fft.rfft2(residual, size)
    raw = fft.irfft2(np.abs(spectrum) ** 2, size)
    reach = max(min(rows, columns) // 4, 1)
    window = np.roll(raw, (reach, reach), axis=(0, 1))[: 2 * reach + 1, : 2 * reach + 1]
    down, across = np.mgrid[-reach : reach + 1, -reach : reach + 1]
    radius = np.hypot(down, across)
    cut = _range(window, radius, reach)
    inside = radius <= cut
    area = float(np.count_nonzero(counted)) if counted is not None else float(residual.size)
    disc = float(np.count_nonzero(inside))
    share = min(disc / max(area, 1.0), 0.8)
    variance = max(float(window[inside].sum()), float(window[reach, reach]) * 0.25) / (1 - share)
    return variance, max(area / disc, 2.0)


def _range(window: Cells, radius: Cells, reach: int) -> float:
    """Give 1.5 times the radius at which the ring mean of the covariance falls below 2 % of its value
    at zero."""
    ring = np.rint(radius).astype(int).ravel()
    mean = np.bincount(ring, weights=window.ravel()) / np.bincount(ring)
    fallen = np.flatnonzero(mean[: reach + 1] < 0.02 * mean[0])
    first = float(fallen[0]) if len(fallen) else reach / 1.5
    return float(np.clip(1.5 * first, 1.0, reach))


def class_cells(labels: NDArray[np.uint8], code: int, size: int) -> Cells:
    """Count the pixels of a class in cells of ``size`` pixels a side; cut-off cells at the rim are left
    out."""
    return _in_cells((labels == code).view(np.uint8), size)


def outline_cells(
    labels: NDArray[np.uint8], size: int, *, rows: int | None = None
) -> dict[tuple[int, int], Cells]:
    """Sum the length of the line between two classes, in pixels, in cells of ``size`` pixels a side, for
    each pair of classes that make a wall.

    With ``rows``, only so many rows from the top are put in cells; the one below serves as partner.
    """
    rows, columns = labels.shape[0] if rows is None else rows, labels.shape[1]
    first = labels * np.uint8(CLASSES)
    lengths = {pair: np.zeros((rows // size, columns // size)) for pair in WALL}
    for weight, directions in ((AXIS_WEIGHT, DIRECTIONS[:2]), (DIAGONAL_WEIGHT, DIRECTIONS[2:4])):
        met = np.zeros((rows, columns), np.uint8)
        for down, across in directions:
            last = min(rows, labels.shape[0] - down)
            left, right = max(-across, 0), columns - max(across, 0)
            partner = labels[down : last + down, left + across : right + across]
            found = cv2.LUT(first[:last, left:right] + partner, _MEETING)
            met[:last, left:right] += np.asarray(found, np.uint8)
        for number, pair in enumerate(WALL):
            lengths[pair] += weight * _in_cells((met >> np.uint8(2 * number)) & np.uint8(3), size)
    return lengths


def _in_cells(values: NDArray[np.uint8], size: int) -> Cells:
    """Add up small whole numbers, at most 2 each, in cells."""
    rows, columns = values.shape[0] // size, values.shape[1] // size
    whole = values[: rows * size, : columns * size]
    # a column of a cell stays below 256, so that it is added in bytes
    down = np.add.reduce(whole.reshape(rows, size, columns * size), axis=1, dtype=np.uint8)
    return np.asarray(np.add.reduce(down.reshape(rows, columns, size), axis=2, dtype=np.float64))


def cell_size(shape: tuple[int, int]) -> int:
    """Choose cells fine enough to follow grains and few enough to be quick: about 128 along the shorter
    side."""
    return int(np.clip(min(shape) // 128, 2, 32))
