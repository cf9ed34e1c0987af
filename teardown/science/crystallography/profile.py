"""The shape of one powder line, its widths and its lean at low angles, each with its derivatives.

The shape is the pseudo-Voigt of Thompson, Cox & Hastings 1987 (J. Appl. Cryst. 20, 79); the lean comes from
axial divergence as Finger, Cox & Jephcoat 1994 (J. Appl. Cryst. 27, 892) describe it, for source and
receiver of one height. All widths are full widths at half maximum, in degrees 2θ.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

_WIDTH = np.array([1.0, 2.69269, 2.42843, 4.47163, 0.07842, 1.0])  # Thompson, Cox & Hastings, eq. 2b
_MIX = (1.36603, -0.47719, 0.11116)  # eq. 2c
TAIL = 40.0  # half width of the window of a phase's strongest line, in full widths; weaker lines get less
TAIL_LEAST = 8.0
TAIL_MAX_DEG = 14.0
BATCH = 40_000  # points reached by all lines that are drawn at once
AXIAL_NODES, AXIAL_WEIGHTS = (v.astype(np.float64) for v in np.polynomial.legendre.leggauss(5))


@dataclass(frozen=True, slots=True)
class Mixture:
    """Width and mixing of pseudo-Voigts with their derivatives by the two widths, each of shape (n,)."""

    width: Array
    eta: Array
    width_by_gauss: Array
    width_by_lorentz: Array
    eta_by_gauss: Array
    eta_by_lorentz: Array

    def of(self, lines: NDArray[np.intp] | slice) -> "Mixture":
        """Give those of some lines, which may be named more than once."""
        return Mixture(
            self.width[lines],
            self.eta[lines],
            self.width_by_gauss[lines],
            self.width_by_lorentz[lines],
            self.eta_by_gauss[lines],
            self.eta_by_lorentz[lines],
        )


def mixture(gauss_deg: Array, lorentz_deg: Array) -> Mixture:
    """Join a Gaussian and a Lorentzian width into one width and a mixing share."""
    g, low = np.maximum(gauss_deg, 1e-5), np.maximum(lorentz_deg, 1e-6)
    powers_g = np.array([g ** (5 - k) for k in range(6)])
    powers_l = np.array([low**k for k in range(6)])
    fifth = (_WIDTH[:, None] * powers_g * powers_l).sum(axis=0)
    width = fifth**0.2
    slope = 0.2 * fifth**-0.8
    by_g = slope * sum(_WIDTH[k] * (5 - k) * g ** (4 - k) * powers_l[k] for k in range(5))
    by_l = slope * sum(_WIDTH[k] * k * powers_g[k] * low ** (k - 1) for k in range(1, 6))
    z = low / width
    eta = _MIX[0] * z + _MIX[1] * z**2 + _MIX[2] * z**3
    eta_by_z = _MIX[0] + 2 * _MIX[1] * z + 3 * _MIX[2] * z**2
    return Mixture(width, eta, by_g, by_l, -eta_by_z * z / width * by_g, eta_by_z * (1 - z * by_l) / width)


@dataclass(frozen=True, slots=True)
class Windows:
    """Which points each line reaches: ``rows`` and ``line`` of each entry, ``starts`` of each line's run."""

    rows: NDArray[np.intp]
    line: NDArray[np.intp]
    starts: NDArray[np.intp]


def reach_deg(width_deg: Array, height: Array) -> Array:
    """Say how far to draw each line: until its tail sinks below what the strongest leaves at its own end."""
    tails = np.maximum(TAIL * np.sqrt(height / max(float(height.max(initial=0.0)), 1e-300)), TAIL_LEAST)
    return np.minimum(tails * width_deg, TAIL_MAX_DEG)


def windows(two_theta_deg: Array, position_deg: Array, half: Array) -> Windows:
    """Find the points within ``half`` degrees of each line; ``two_theta_deg`` ascends."""
    low = np.searchsorted(two_theta_deg, position_deg - half)
    count = np.searchsorted(two_theta_deg, position_deg + half) - low
    starts = np.concatenate([[0], np.cumsum(count)])
    line = np.repeat(np.arange(len(position_deg)), count)
    rows = np.arange(starts[-1]) - np.repeat(starts[:-1] - low, count)
    return Windows(rows, line, starts)


def batches(two_theta_deg: Array, position_deg: Array, half: Array) -> Iterator[slice]:
    """Cut lines into runs that reach few enough points to stay near the processor, one line at least."""
    count = np.searchsorted(two_theta_deg, position_deg + half) - np.searchsorted(
        two_theta_deg, position_deg - half
    )
    batch = np.cumsum(count) // BATCH
    cuts = [0, *(np.flatnonzero(np.diff(batch)) + 1).tolist(), len(position_deg)]
    yield from (slice(a, b) for a, b in pairwise(cuts))


@dataclass(frozen=True, slots=True)
class Shape:
    """Values of unit-area lines in their windows, and the derivatives by position, width and mixing."""

    value: Array
    by_position: Array
    by_width: Array
    by_eta: Array


def pseudo_voigt(
    two_theta_deg: Array, position_deg: Array, mix: Mixture, at: Windows, *, with_slopes: bool = True
) -> Shape:
    """Evaluate pseudo-Voigts of unit area, per degree, in their windows; every array has shape (entries,).

    Without slopes the derivatives are empty.
    """
    # The arrays are long: repeated, not gathered, and worked on in place.
    runs = np.diff(at.starts)
    narrow, eta = np.repeat(1 / mix.width, runs), np.repeat(mix.eta, runs)
    u = two_theta_deg[at.rows]
    u -= np.repeat(position_deg, runs)
    u *= narrow
    square = u * u
    bell = 4 * square
    bell += 1
    np.reciprocal(bell, out=bell)
    lorentz = (2 / np.pi) * narrow
    lorentz *= bell
    core = np.flatnonzero(square < 6.25)  # beyond, the Gaussian is below 1e-7 of its top
    gauss = np.sqrt(4 * np.log(2) / np.pi) * np.exp(-4 * np.log(2) * square[core]) * narrow[core]
    by_eta = lorentz.copy()
    by_eta[core] -= gauss
    value = eta * by_eta
    value[core] += gauss
    if not with_slopes:
        nothing = np.empty(0)
        return Shape(value, nothing, nothing, nothing)
    # the slope by u, of the Lorentzian everywhere and of the Gaussian in the core
    lorentz *= bell
    lorentz *= eta
    lorentz *= u
    lorentz *= -8
    lorentz[core] -= 8 * np.log(2) * u[core] * (1 - eta[core]) * gauss
    by_position = -lorentz
    by_position *= narrow
    lorentz *= u
    lorentz += value
    lorentz *= -narrow
    return Shape(value, by_position, lorentz, by_eta)


@dataclass(frozen=True, slots=True)
class Spread:
    """Lines split into their axial parts: index of the line, position, share, and slope of the position."""

    of_line: NDArray[np.intp]
    position_deg: Array
    share: Array
    by_height: Array


def axial_spread(position_deg: Array, width_deg: Array, height_over_radius: float) -> Spread:
    """Split each line that leans by more than 5 % of its width into five parts.

    Parameters
    ----------
    position_deg, width_deg : ndarray, shape (n,)
    height_over_radius : float
        Sum of the half heights of source and receiver over the radius of the goniometer.
    """
    q = max(height_over_radius, 0.0)
    cos_2theta = np.cos(np.radians(position_deg))
    lean = np.abs(position_deg - np.degrees(np.arccos(np.clip(cos_2theta * np.sqrt(1 + q * q), -1, 1))))
    split = lean > 0.05 * width_deg
    plain = np.flatnonzero(~split)
    leaning = np.flatnonzero(split)
    u = (AXIAL_NODES + 1) / 2
    t = q * u
    cosine = np.clip(cos_2theta[leaning, None] * np.sqrt(1 + t * t), -1, 1)
    sine = np.maximum(np.sqrt(1 - cosine**2), 1e-4)
    share = AXIAL_WEIGHTS * (1 - u) / ((1 + t * t) * sine)
    share /= share.sum(axis=1, keepdims=True)
    by_height = -cos_2theta[leaning, None] * t * u / (np.sqrt(1 + t * t) * sine)
    return Spread(
        np.concatenate([plain, np.repeat(leaning, len(u))]),
        np.concatenate([position_deg[plain], np.degrees(np.arccos(cosine)).ravel()]),
        np.concatenate([np.ones(len(plain)), share.ravel()]),
        np.concatenate([np.zeros(len(plain)), np.degrees(by_height).ravel()]),
    )
