"""The heavy steps of measuring a section, by numpy, scipy and scikit-image alone.

A yardstick of speed, and a second opinion on the classes: the rules are those of the measurement, the work on
pixels is done by other libraries in the plainest way. Noise, levels and blur are given. It is slow, and no
measurement rests on it.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from skimage import filters, measure

from teardown.science.stereology.bodies import FAR_FROM_PORE, LEVEL_REACH, Strictness, good_bodies
from teardown.science.stereology.classes import CLASSES, METAL, OXIDE, PORE, Levels
from teardown.science.stereology.edges import (
    CALMER_PX,
    FLAT_SHARE,
    MOST_CURVED,
    direct_slope,
    false_rim_width,
)
from teardown.science.stereology.interfaces import DIRECTIONS
from teardown.science.stereology.outline import BLURS
from teardown.science.stereology.rims import RADII

Mask = NDArray[np.bool_]
Grey = NDArray[np.float64]
FURTHER_READINGS = 6  # two for each of three knobs


@dataclass(frozen=True, slots=True)
class Reading:
    """Classes of a section, shape (rows, columns), with shares and crossings counted from them."""

    labels: NDArray[np.uint8]
    porosity: float
    oxide_fraction: float
    pairs: NDArray[np.int64]


def read(grey: NDArray[np.float32], noise: float, levels: Levels, sigma: float) -> Reading:
    """Read a section once: calm it, part its classes, count pixels and pairs of neighbours.

    Parameters
    ----------
    grey : ndarray of float32, shape (rows, columns)
        Evenly lit greys from 0 to 1.
    noise, sigma : float
        Standard deviations of the noise, and of the blur in pixels.
    """
    return count(classes(calmed(grey, noise), levels, sigma))


def what_a_crop_is_read_for(
    reading: Reading, grey: NDArray[np.float32], noise: float, levels: Levels, sigma: float
) -> None:
    """Do what a measurement does besides: six more readings for the doubt of the levels, the outline after
    further blurs, the openings of the pores."""
    calm = calmed(grey, noise)
    for _ in range(FURTHER_READINGS):
        count(classes(calm, levels, sigma))
    metal = (reading.labels == METAL).astype(np.float64)
    perimeter: Any = measure.perimeter_crofton
    for blur in (0.0, *BLURS):
        rounded = ndimage.gaussian_filter(metal, blur * sigma) if blur else metal
        perimeter(rounded > 0.5, 4)
    depth = _distance(reading.labels == PORE)
    for radius in RADII:
        _distance(depth <= radius)


def calmed(grey: NDArray[np.float32], noise: float) -> Grey:
    """Calm noise by a faint blur and three bilateral passes."""
    calm = ndimage.gaussian_filter(grey.astype(np.float64), 0.6)
    left = max(0.48 * noise, 1e-4)
    for reach in (5.0, 4.0, 3.0):
        calm = _bilateral(calm, reach * left, 1.6)
        left *= 0.75
    return calm


def _bilateral(grey: Grey, like: float, near: float) -> Grey:
    """Give the mean of the pixels within two, weighed by nearness and likeness: the formula as it stands."""
    framed = np.pad(grey, 2, mode="reflect")
    whole, weights = np.zeros_like(grey), np.zeros_like(grey)
    rows, columns = grey.shape
    for down in range(-2, 3):
        for across in range(-2, 3):
            if down**2 + across**2 <= 4:
                other = framed[2 + down : 2 + down + rows, 2 + across : 2 + across + columns]
                weight = np.exp(-0.5 * ((down**2 + across**2) / near**2 + ((other - grey) / like) ** 2))
                whole += weight * other
                weights += weight
    return whole / weights


def classes(calm: Grey, levels: Levels, sigma: float) -> NDArray[np.uint8]:
    """Part the classes of calm greys: thresholds, then the tests that tell rims from blurred edges."""
    tests = Strictness()
    place = (calm - levels.pore) / levels.contrast
    labels = (place >= levels.lower_place).astype(np.uint8) + (place > levels.upper_place)
    labels = _despeckled(labels.astype(np.uint8), tests.speck_px)
    to_metal, to_pore = _distance(labels != METAL), _distance(labels != PORE)
    band = false_rim_width(levels.lower_place, levels.upper_place, sigma)
    kept = (labels == OXIDE) & (to_metal + to_pore - 1 > band + tests.margin_px)
    gap = tests.gap * sigma + 0.5
    kept &= _distance(to_metal <= gap) <= gap
    level = kept & _level(calm, place, levels.contrast, sigma)
    far = to_pore > FAR_FROM_PORE * sigma + 2
    kept &= ~(far & (_distance(~level) > LEVEL_REACH * sigma + 1))
    kept = _good(kept, level, sigma, tests)
    labels = np.where((labels == OXIDE) & ~kept, np.where(place > 0.5, METAL, PORE), labels)
    return _despeckled(labels.astype(np.uint8), tests.speck_px)


def _level(calm: Grey, place: Grey, contrast: float, sigma: float) -> Mask:
    """Mark what is flatter than a bare edge, and not curved as a pinched pore."""
    scharr: Any = filters.scharr
    # it gives the root mean square of both derivatives, each over two pixels
    steep = scharr(calm) * np.sqrt(2) / 2
    smooth = ndimage.gaussian_filter(calm, CALMER_PX)
    second, mean, slope = [1.0, -2.0, 1.0], [0.25, 0.5, 0.25], [-0.5, 0.0, 0.5]

    def along(rows: list[float], columns: list[float]) -> Any:
        return ndimage.correlate1d(ndimage.correlate1d(smooth, rows, 0), columns, 1)

    bent = np.sqrt(along(mean, second) ** 2 + along(second, mean) ** 2 + 2 * along(slope, slope) ** 2)
    edge = FLAT_SHARE * contrast * direct_slope(place.astype(np.float32), sigma)
    return np.asarray((steep < edge) & (bent < MOST_CURVED / sigma**2 * contrast))


def _good(kept: Mask, level: Mask, sigma: float, tests: Strictness) -> Mask:
    """Leave the bodies that are large, thick and level enough to be matter."""
    parts = _numbered(kept, background=0)
    core = _distance(kept) >= tests.core * np.sqrt(sigma) + 0.5
    most = int(parts.max()) + 1
    area, flat, thick = (np.bincount(parts[which], minlength=most) for which in (kept, level & kept, core))
    good = good_bodies(area, flat, thick > 0, sigma, tests)
    good[0] = False
    return np.asarray(good[parts])


def _despeckled(labels: NDArray[np.uint8], smallest: int) -> NDArray[np.uint8]:
    """Give small bodies of one class the class of the nearest other pixel."""
    parts = _numbered(labels, background=-1)
    small = (np.bincount(parts.ravel()) < smallest)[parts]
    if not small.any():
        return labels
    nearest: Any = ndimage.distance_transform_edt(small, return_distances=False, return_indices=True)
    return np.asarray(labels[tuple(nearest)])


def _numbered(labels: NDArray[Any], background: int) -> NDArray[np.int64]:
    label: Any = measure.label
    return np.asarray(label(labels, connectivity=2, background=background), np.int64)


def _distance(away_from: Mask) -> Grey:
    if away_from.all():
        return np.full(away_from.shape, 1e6)
    return np.asarray(ndimage.distance_transform_edt(away_from))


def count(labels: NDArray[np.uint8]) -> Reading:
    """Count the shares of classes, and pairs of neighbours in the eight directions, shape (8, 25)."""
    pairs = []
    for down, across in DIRECTIONS:
        left, right = max(-across, 0), labels.shape[1] - max(across, 0)
        first = labels[: labels.shape[0] - down, left:right].astype(np.int64)
        other = labels[down:, left + across : right + across]
        pairs.append(np.bincount((first * CLASSES + other).ravel(), minlength=CLASSES**2))
    shares = np.bincount(labels.ravel(), minlength=CLASSES) / labels.size
    return Reading(labels, float(shares[PORE]), float(shares[OXIDE]), np.array(pairs))
