"""Classes drawn over a section: tinted, hatched for grey print, or as contours alone."""

from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from teardown.science.stereology.classes import BRIGHT, EXCLUDED, METAL, OXIDE, PORE

Style = Literal["fill", "hatch", "contour"]

# pore and oxide from the colour-blind-safe palette of Okabe and Ito; metal is left as it is
COLOURS = {
    PORE: (0, 114, 178),
    OXIDE: (213, 94, 0),
    METAL: (139, 139, 139),
    EXCLUDED: (120, 108, 140),
    BRIGHT: (240, 228, 66),
}
_HATCH_STEP = 6


def tint(
    labels: NDArray[np.uint8], style: Style = "fill", *, origin: tuple[int, int] = (0, 0)
) -> NDArray[np.uint8]:
    """Give the classes as a layer to lay over the picture.

    Parameters
    ----------
    labels : ndarray of uint8, shape (rows, columns)
    style : str
        "fill" tints pore and oxide; "hatch" draws pore as falling lines and oxide as rising ones;
        "contour" draws the lines between classes only.
    origin : tuple of int
        Row and column of the first pixel in the whole picture, so that hatches meet at the seams of tiles.

    Returns
    -------
    ndarray of uint8, shape (rows, columns, 4)
        Red, green, blue, opacity.
    """
    layer = np.zeros((*labels.shape, 4), np.uint8)
    shown = _shown(labels, style, origin)
    for code, colour in COLOURS.items():
        where = shown & (labels == code)
        layer[where, :3] = colour
        layer[where, 3] = 255
    if style != "contour":
        layer[labels == METAL, 3] = 0
    return layer


def _shown(labels: NDArray[np.uint8], style: Style, origin: tuple[int, int]) -> NDArray[np.bool_]:
    if style == "fill":
        return np.ones(labels.shape, bool)
    if style == "contour":
        window = np.ones((3, 3), np.uint8)
        # the edge is drawn on the darker-numbered side, so that a line is one or two pixels and never doubled
        return np.asarray(cv2.dilate(labels, window) != labels)
    rows = np.arange(origin[0], origin[0] + labels.shape[0])[:, None]
    columns = np.arange(origin[1], origin[1] + labels.shape[1])[None, :]
    falling = (rows - columns) % _HATCH_STEP < 2
    rising = (rows + columns) % _HATCH_STEP < 2
    return np.where(labels == PORE, falling, np.where(labels == OXIDE, rising, True))


def blend(grey: NDArray[np.float32], labels: NDArray[np.uint8], opacity: float = 0.5) -> NDArray[np.uint8]:
    """Give the picture with its classes tinted over it, shape (rows, columns, 3)."""
    low, high = np.quantile(grey[:: max(grey.shape[0] // 512, 1)], [0.002, 0.998])
    shown = np.clip((grey - low) / max(float(high - low), 1e-6), 0, 1) * 255
    picture = np.repeat(shown[:, :, None], 3, axis=2)
    layer = tint(labels)
    share = (layer[:, :, 3:] / 255.0) * opacity
    return np.asarray(np.rint(picture * (1 - share) + layer[:, :, :3] * share), np.uint8)
