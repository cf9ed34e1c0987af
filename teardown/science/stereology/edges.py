"""How wide a step of grey is smeared, and how wide a false rim such a step paints."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from teardown.science.errors import MeasurementError
from teardown.science.stereology.noise import Grey, Mask, gradient

# a plateau's slope as a share of a bare edge's, and its second derivative in units of sigma squared: between
# them they part films four blurs thick from every bare edge and every pinched pore of the phantoms
FLAT_SHARE = 0.4
MOST_CURVED = 0.12
# a faint blur before second derivatives are read
CALMER_PX = 0.8
# that blur reaches three pixels, the derivatives one
BAND_ROWS, BAND_HALO = 64, 4
SQRT_2PI = float(np.sqrt(2 * np.pi))


class NoEdges(MeasurementError):
    """The picture has no clear edge between pore and solid."""

    code = "stereology.E011"
    hint = "Check that the picture shows a polished section, in focus."


def edge_width(place: Grey, steep: Grey, valid: Mask | None = None) -> float:
    """Estimate the standard deviation of the blur, in pixels, from the steepest points of pore edges.

    A single step that rises from 0 passes its middle at half its height with a slope of height / (sqrt(2
    pi) sigma). So both bare metal and rims that stand against pore tell sigma, whatever their height.

    Parameters
    ----------
    place : ndarray of float32, shape (rows, columns)
        Greys with pore at 0 and metal at 1.
    steep : ndarray of float32
        Gradient magnitude of ``place``, per pixel, by Scharr's derivative.
    """
    crest = steep >= cv2.dilate(steep, np.ones((3, 3), np.uint8))
    around = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (9, 9))
    crest &= (cv2.erode(place, around) < 0.1) & (place > 0.15) & (place < 0.62) & (steep > 0.05)
    if valid is not None:
        crest &= valid
    if np.count_nonzero(crest) < 30:
        raise NoEdges(f"Only {np.count_nonzero(crest)} clear edge points were found.")
    widths = 2 * place[crest] / (SQRT_2PI * steep[crest])
    # Scharr's difference over two pixels widens a step by a box of that width: variance 4/12
    return float(np.sqrt(max(float(np.quantile(widths, 0.65)) ** 2 - 1 / 3, 0.15**2)))


def direct_slope(place: Grey, sigma: float) -> Grey:
    """Slope that a bare metal edge shows where its grey stands at ``place``."""
    inside = np.clip(np.linspace(0, 1, 1025), 1e-4, 1 - 1e-4)
    slope = (np.exp(-0.5 * ndtri(inside) ** 2) / (SQRT_2PI * sigma)).astype(np.float32)
    index = np.clip(place * 1024, 0, 1024).astype(np.uint16)
    return slope[index]


def false_rim_width(lower: float, upper: float, sigma: float) -> float:
    """Width of the band between two thresholds across a bare metal edge, in pixels.

    ``lower`` and ``upper`` are on the scale on which pore is 0 and metal is 1.
    """
    return float(sigma * (ndtri(upper) - ndtri(lower)))


@dataclass(frozen=True, slots=True)
class Relief:
    """How a calm picture rises and bends: gradient and size of the second derivatives, in grey."""

    steep: Grey
    bent: Grey

    @classmethod
    def of(cls, calm: Grey) -> "Relief":
        """Read it from calm greys, in bands: what lies between the steps stays in the processor's cache."""
        steep, bent = np.empty_like(calm), np.empty_like(calm)
        for top in range(0, len(calm), BAND_ROWS):
            first, last = max(top - BAND_HALO, 0), top + BAND_ROWS
            band, own = calm[first : last + BAND_HALO], slice(top - first, last - first)
            steep[top:last] = gradient(band)[own]
            bent[top:last] = curvature(band)[own]
        return cls(steep, bent)


def flatness(place: Grey, relief: Relief, contrast: float, sigma: float) -> Grey:
    """Tell how far each pixel is from lying on a bare edge: 1 on a level plateau, 0 where an edge explains
    it.

    A plateau is flatter than a bare edge could be at its grey, and not curved as a pinched pore is.

    Parameters
    ----------
    place : ndarray of float32, shape (rows, columns)
        Greys with pore at 0 and metal at 1.
    relief : Relief
        Of the same picture in its own greys.
    contrast : float
        Greys from pore to metal.
    sigma : float
        Standard deviation of the blur, in pixels.
    """
    flat = 1 - relief.steep / (np.float32(FLAT_SHARE * contrast) * direct_slope(place, sigma))
    level = relief.bent < np.float32(MOST_CURVED / sigma**2 * contrast)
    return np.where(level, np.clip(flat, 0, 1), 0).astype(np.float32)


def curvature(grey: Grey) -> NDArray[np.float32]:
    """Give the size of the second derivatives, after a faint blur: large in pinched pores, small on
    plateaus."""
    calm = cv2.GaussianBlur(grey, (0, 0), CALMER_PX)
    across, down, mixed = (
        np.asarray(cv2.Sobel(calm, cv2.CV_32F, right, below, ksize=3, scale=1 / 4), np.float32)
        for right, below in ((2, 0), (0, 2), (1, 1))
    )
    # the root of across² + down² + 2 mixed², in place: the pictures are large
    for part in (across, down, mixed):
        np.multiply(part, part, out=part)
    mixed *= 2
    across += down
    across += mixed
    return np.sqrt(across, out=across)
