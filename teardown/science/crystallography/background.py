"""What lies under the lines: a smooth curve, and where asked for a broad hump of glass or binder."""

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def smooth_columns(two_theta_deg: Array, terms: int) -> Array:
    """Give Chebyshev polynomials over the range and one term of 1/2θ, shape (points, terms + 1)."""
    low, high = two_theta_deg[0], two_theta_deg[-1]
    scaled = 2 * (two_theta_deg - low) / (high - low) - 1
    powers = np.polynomial.chebyshev.chebvander(scaled, terms - 1)
    rise = 1 / two_theta_deg
    return np.column_stack([powers, (rise - rise.mean()) / (rise.max() - rise.min())])


def hump_columns(two_theta_deg: Array, centres_and_widths_deg: tuple[tuple[float, float], ...]) -> Array:
    """Give Gaussians of unit area for each hump (centre, full width), shape (points, humps)."""
    columns = [
        np.sqrt(4 * np.log(2) / np.pi)
        / width
        * np.exp(-4 * np.log(2) * ((two_theta_deg - centre) / width) ** 2)
        for centre, width in centres_and_widths_deg
    ]
    return np.column_stack(columns) if columns else np.empty((len(two_theta_deg), 0))
