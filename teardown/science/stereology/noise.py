"""How strong the noise of a picture is, and how to calm it without moving its edges."""

import cv2
import numpy as np
from numpy.typing import NDArray

Grey = NDArray[np.float32]
Mask = NDArray[np.bool_]

# difference of two Laplacians: blind to planes and straight edges, so that noise is what is left [1]_
_KERNEL = np.array([[1, -2, 1], [-2, 4, -2], [1, -2, 1]], np.float32)


def noise_level(grey: Grey, valid: Mask | None = None) -> float:
    """Estimate the standard deviation of the noise.

    References
    ----------
    .. [1] Immerkaer, Fast noise variance estimation, Comput. Vis. Image Underst. 64 (1996) 300; here with
       the median absolute deviation in place of the mean, so that edges count little (from memory).
    """
    response = np.abs(cv2.filter2D(grey, cv2.CV_32F, _KERNEL))[1:-1, 1:-1]
    if valid is not None and not valid.all():
        response = response[valid[1:-1, 1:-1]]
    step = max(response.size // 2_000_000, 1)
    return float(1.4826 * np.median(response.ravel()[::step]) / 6)


def denoise(grey: Grey, sigma: float) -> Grey:
    """Calm noise of standard deviation ``sigma``: a faint blur, then three bilateral passes that spare
    edges."""
    calm = cv2.GaussianBlur(grey, (0, 0), 0.6)
    # the faint blur leaves about half of the noise; each pass compares greys against what is still there
    left = max(0.48 * sigma, 1e-4)
    for reach in (5.0, 4.0, 3.0):
        calm = cv2.bilateralFilter(calm, 5, reach * left, 1.6)
        left *= 0.75
    return np.asarray(calm, np.float32)


def gradient(grey: Grey) -> Grey:
    """Give the gradient magnitude in grey per pixel, by the rotation-fair 3 by 3 derivative of Scharr."""
    across = cv2.Scharr(grey, cv2.CV_32F, 1, 0, scale=1 / 32)
    down = cv2.Scharr(grey, cv2.CV_32F, 0, 1, scale=1 / 32)
    return np.asarray(cv2.magnitude(across, down), np.float32)
