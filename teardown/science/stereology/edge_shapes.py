"""Whether edges that were called bare have the shape of a bare, blurred edge.

A film too thin to be seen as such still bends the edge it lies on: a step in two parts is less steep in its
middle, and steeper on one side than on the other. Edges that glow do so too. So at every grey along an edge
the blur is told anew from the slope there; for bare edges it is the same at every grey.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from teardown.science.stereology.classes import EXCLUDED, OXIDE
from teardown.science.stereology.edges import SQRT_2PI, Relief
from teardown.science.stereology.noise import Grey

BANDS = ((0.15, 0.35), (0.35, 0.5), (0.5, 0.65), (0.65, 0.85))
FEWEST = 200


@dataclass(frozen=True, slots=True)
class EdgeShape:
    """How edges called bare differ from a blurred step, as shares of the blur.

    ``lean`` is the blur told on the pore's side less that on the metal's side; ``spread`` the quartile range
    of the blur told in the middle of the edges; ``share`` the share of pixels that lie on such edges.
    """

    lean: float
    spread: float
    share: float


def edge_shape(
    place: Grey, relief: Relief, contrast: float, sigma: float, labels: NDArray[np.uint8]
) -> EdgeShape | None:
    """Read the shape of the edges between metal and pore that bear no oxide.

    Parameters
    ----------
    place : ndarray of float32, shape (rows, columns)
        Calm greys with pore at 0 and metal at 1.
    relief : Relief
        Of the same picture in its own greys.
    labels : ndarray of uint8
        Its classes.

    Returns
    -------
    EdgeShape or None
        None where too few such edges are there.
    """
    reach = int(np.ceil(2.2 * sigma + 2))
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1, 2 * reach + 1))
    other = cv2.dilate(((labels == OXIDE) | (labels >= EXCLUDED)).astype(np.uint8), disc) > 0
    dark = cv2.dilate((place < 0.1).astype(np.uint8), disc) > 0
    light = cv2.dilate((place > 0.9).astype(np.uint8), disc) > 0
    on_edge = (place > BANDS[0][0]) & (place < BANDS[-1][1]) & dark & light & ~other
    greys = place[on_edge].astype(np.float64)
    steep = np.maximum(relief.steep[on_edge] / contrast, 1e-4)
    told = np.exp(-0.5 * ndtri(greys) ** 2) / (SQRT_2PI * steep)
    # Scharr's difference over two pixels widens a step by a box of that width: variance 4/12
    blur = np.sqrt(np.maximum(told**2 - 1 / 3, 0.01)) / sigma
    parts = [blur[(greys >= low) & (greys < high)] for low, high in BANDS]
    if min(len(part) for part in parts) < FEWEST:
        return None
    lean = float(np.median(parts[0]) - np.median(parts[3]))
    spread = float(np.mean([np.subtract(*np.quantile(part, [0.75, 0.25])) for part in parts[1:3]]))
    return EdgeShape(lean, spread, float(np.mean(on_edge)))
