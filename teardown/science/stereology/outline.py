"""The metal outline beyond the microscope's blur.

A blurred picture rounds off the clefts between touching grains, so that the outline reads short. Blurring
the metal once more shows how fast it shortens; the outline without any blur follows by going back along
that line.
"""

import cv2
import numpy as np
from numpy.typing import NDArray

from teardown.science.stereology.classes import EXCLUDED, METAL, PORE
from teardown.science.stereology.interfaces import Sums, count_sums

BLUR = 1.4
# going from blurs of 1.72 sigma over sigma to none is a step of 1 / 0.72 = 1.4; 1.75 allows for the pixel
# grid and the calming of noise, which round clefts too (fitted on phantoms of three grain shapes, own
# derivation)
STEP_BACK = 1.75
MOST = 1.35


def outline_factor(labels: NDArray[np.uint8], sums: Sums, sigma: float) -> float:
    """Give the factor by which the metal outline is longer than it reads.

    Parameters
    ----------
    labels : ndarray of uint8, shape (rows, columns)
        Class map of a field.
    sums : Sums
        Its counts and pairs.
    sigma : float
        Blur of the picture, in pixels.
    """
    if sums.metal_outline_px <= 0:
        return 1.0
    both = np.where(labels == METAL, METAL, PORE).astype(np.uint8)
    both[labels == EXCLUDED] = EXCLUDED
    plain = count_sums(both).line_length_px(METAL, PORE)
    return factor_of(plain, count_sums(rounded(labels, sigma)).line_length_px(METAL, PORE))


def rounded(labels: NDArray[np.uint8], sigma: float) -> NDArray[np.uint8]:
    """Give metal and all else after one more blur."""
    metal = (labels == METAL).astype(np.float32)
    rounder = cv2.GaussianBlur(metal, (0, 0), max(BLUR * sigma, 0.5)) > 0.5
    codes = np.where(rounder, METAL, PORE).astype(np.uint8)
    codes[labels == EXCLUDED] = EXCLUDED
    return codes


def factor_of(plain: float, rounder: float) -> float:
    """Give the factor from the outline as it reads and after one more blur."""
    return float(np.clip(1 + STEP_BACK * (1 - rounder / plain), 1.0, MOST)) if plain > 0 else 1.0
