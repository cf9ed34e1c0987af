"""A crop read with other levels at once: what moving a threshold would do, before anything is measured."""

from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from teardown.science.errors import MeasurementError
from teardown.science.stereology.bodies import Strictness
from teardown.science.stereology.classes import Levels
from teardown.science.stereology.interfaces import Sums, count_sums
from teardown.science.stereology.levels import check_levels
from teardown.science.stereology.noise import Grey, Mask, denoise, noise_level
from teardown.science.stereology.ratios import BY_KEY, parts_of
from teardown.science.stereology.segmentation import segment
from teardown.science.stereology.shading import Gain

LARGEST_CROP = 2048 * 2048


class CropTooLarge(MeasurementError):
    """The crop is too large to be read while a person waits."""

    code = "stereology.E016"
    hint = "Choose a crop of at most 2048 by 2048 pixels; 1024 by 1024 is usual."


@dataclass(frozen=True, slots=True)
class Preview:
    """A crop as other levels would read it.

    Attributes
    ----------
    labels : ndarray of uint8, shape (rows, columns)
        0 pore, 1 oxide, 2 metal, 3 left out, 4 brighter than metal.
    values : dict of float
        The quantities of a field over this crop alone, lengths in micrometres where the pixel size is
        known, else in pixels; no interval, for a crop is no sample.
    lower, upper : float
        Greys that part pore from oxide and oxide from metal.
    false_rim_px : float
        Width of the band that a bare, blurred edge shows between the two.
    """

    labels: NDArray[np.uint8] = field(repr=False)
    values: dict[str, float]
    lower: float
    upper: float
    false_rim_px: float
    sums: Sums = field(repr=False)


def calm_crop(
    grey: Grey,
    *,
    gain: Gain | None = None,
    corner: tuple[int, int] = (0, 0),
    shape: tuple[int, int] | None = None,
    noise: float | None = None,
) -> Grey:
    """Prepare a crop once, so that it can be read with many levels: gain divided out, noise calmed.

    Parameters
    ----------
    grey : ndarray of float32, shape (rows, columns)
        Greys of the crop, 0 to 1.
    gain : Gain, optional
        The gain field that the whole picture's measurement found.
    corner, shape : tuple of int
        First row and column of the crop, and rows and columns of the whole measured picture.
    noise : float, optional
        Noise of the whole picture; told from the crop where not given.
    """
    if grey.size > LARGEST_CROP:
        raise CropTooLarge(f"The crop has {grey.shape[0]} by {grey.shape[1]} pixels.")
    grey = np.ascontiguousarray(grey, np.float32)
    level = noise_level(grey) if noise is None else noise
    if gain is not None:
        window = slice(corner[0], corner[0] + grey.shape[0]), slice(corner[1], corner[1] + grey.shape[1])
        grey = np.asarray(cv2.divide(grey, gain.within(shape or grey.shape, window)), np.float32)
    return denoise(grey, level)


def preview(
    crop: Grey,
    levels: Levels,
    edge_sigma_px: float,
    *,
    tests: Strictness | None = None,
    valid: Mask | None = None,
    pixel_size_um: float | None = None,
) -> Preview:
    """Read a prepared crop with given levels, by the very steps that measure a field.

    Within a few blurs of the crop's rim the classes may differ from those of the whole picture.

    Parameters
    ----------
    crop : ndarray of float32, shape (rows, columns)
        As :func:`calm_crop` gives it.
    levels : Levels
        Greys of pore, oxides and metal after the gain is divided out.
    edge_sigma_px : float
        Standard deviation of the blur, in pixels.

    Raises
    ------
    LevelsOutOfOrder
        If the levels do not rise from pore over oxide to metal.
    CropTooLarge
        If the crop has more than 2048 by 2048 pixels.
    """
    check_levels(levels)
    if crop.size > LARGEST_CROP:
        raise CropTooLarge(f"The crop has {crop.shape[0]} by {crop.shape[1]} pixels.")
    cut = segment(np.ascontiguousarray(crop, np.float32), levels, edge_sigma_px, tests=tests, valid=valid)
    sums = count_sums(cut.labels)
    size = pixel_size_um or 1.0
    values = {
        key: part.value * size ** BY_KEY[key].power
        for key, part in parts_of(sums).items()
        if part.value is not None
    }
    return Preview(
        cut.labels,
        values,
        levels.pore + cut.lower * levels.contrast,
        levels.pore + cut.upper * levels.contrast,
        cut.false_rim_px,
        sums,
    )
