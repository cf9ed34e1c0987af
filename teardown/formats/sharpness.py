"""How sharp a picture is: how much of its contrast lies in its finest detail.

The variance of the Laplacian falls when a picture is blurred [1]_; over the variance of the grey itself it
does not depend on exposure. It is taken tile by tile and the better tiles decide: a sharp piece before
an empty bench counts as sharp.

References
----------
.. [1] S. Pertuz, D. Puig and M. A. Garcia, Analysis of focus measure operators for shape-from-focus, Pattern
   Recognition 46 (2013) 1415-1432, the measure LAP4 (from memory).
"""

import numpy as np
from numpy.typing import NDArray

LONG_SIDE_PX = 1024
TILES = 8
FLAT = 36.0  # variance of 8-bit grey below which a tile shows nothing that could be sharp


def sharpness(grey: NDArray[np.float32]) -> float | None:
    """Measure how sharp a picture is.

    Parameters
    ----------
    grey : ndarray of float, shape (rows, columns)
        Grey of 0 to 255, its longer side about `LONG_SIDE_PX`: a picture is judged at the size at which it is
        looked at.

    Returns
    -------
    float or None
        Laplacian variance over grey variance, the 90th percentile of an 8 by 8 tiling; None where no tile
        shows anything.
    """
    rows, columns = grey.shape
    found = []
    for top in range(TILES):
        for left in range(TILES):
            tile = grey[
                top * rows // TILES : (top + 1) * rows // TILES,
                left * columns // TILES : (left + 1) * columns // TILES,
            ]
            if min(tile.shape) >= 3 and (spread := float(tile.var())) > FLAT:
                found.append(float(laplacian(tile).var()) / spread)
    return float(np.percentile(found, 90)) if found else None


def laplacian(grey: NDArray[np.float32]) -> NDArray[np.float32]:
    """Give the four-neighbour Laplacian of the inner pixels."""
    inner: NDArray[np.float32] = (
        grey[:-2, 1:-1] + grey[2:, 1:-1] + grey[1:-1, :-2] + grey[1:-1, 2:] - 4 * grey[1:-1, 1:-1]
    )
    return inner
