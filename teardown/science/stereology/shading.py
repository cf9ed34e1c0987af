"""The uneven field of a microscope, found from the classes themselves.

One smooth gain is fitted to the flat parts of every class together. A high-pass would take true gradients
of the electrode for the microscope's and smear the classes into each other.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from teardown.science.errors import MeasurementError
from teardown.science.stereology.noise import Grey, Mask, gradient
from teardown.science.stereology.peaks import find_peaks
from teardown.science.stereology.windows import TILE_PX, ArraySource, Source, tiles_of

SAMPLES = 40_000
ROUNDS = 5
TILES = 8
HALO_PX = 16


class FieldTooUneven(MeasurementError):
    """The illumination varies too much across the picture to be divided out."""

    code = "stereology.E010"
    hint = "Take the picture again with an even field, or divide by a picture of a blank."


@dataclass(frozen=True, slots=True)
class Gain:
    """A quadratic gain field: log gain = sum of ``coefficients`` times 1, x, y, xy, xx, yy, with x and
    y from -1 to 1."""

    coefficients: tuple[float, ...]

    def on(self, shape: tuple[int, int]) -> Grey:
        """Give the gain of every pixel, mean about 1."""
        return self.within(shape, (slice(0, shape[0]), slice(0, shape[1])))

    def within(self, shape: tuple[int, int], window: tuple[slice, slice]) -> Grey:
        """Give the gain of the pixels of a window alone, equal to the last bit to that of the whole."""
        y = np.linspace(-1, 1, shape[0], dtype=np.float32)[window[0], None]
        x = np.linspace(-1, 1, shape[1], dtype=np.float32)[None, window[1]]
        c = np.asarray(self.coefficients, np.float32)
        field = (c[0] + c[2] * y + c[5] * y * y) + (c[1] + c[3] * y) * x + c[4] * (x * x)
        return np.asarray(cv2.exp(field), np.float32)

    @property
    def peak_to_peak(self) -> float:
        """Give the highest less the lowest gain, as a share of the mean."""
        field = self.on((33, 33))
        return float((field.max() - field.min()) / field.mean())


FLAT = Gain((0.0,) * 6)


def fit_gain(grey: Grey, sigma: float, valid: Mask | None = None, *, largest: float = 0.75) -> Gain:
    """Fit the gain field of a picture.

    Parameters
    ----------
    grey : ndarray of float32, shape (rows, columns)
        Greys from 0 to 1.
    sigma : float
        Standard deviation of the noise.
    valid : ndarray of bool, optional
        Pixels that belong to the section.

    Raises
    ------
    FieldTooUneven
        If the gain varies by more than ``largest``, peak to peak.
    """
    return fit_gain_of(ArraySource(grey, valid), sigma, largest=largest)


def fit_gain_of(source: Source, sigma: float, *, largest: float = 0.75) -> Gain:
    """Fit the gain field of a picture of any size, as :func:`fit_gain` does."""
    values, x, y = _flat_samples(source, sigma)
    if len(values) < 200:
        return FLAT
    terms = np.column_stack([np.ones_like(x), x, y, x * y, x * x, y * y])
    logs = np.log(np.maximum(values, 1e-3))
    starts = (np.zeros(6), _first_guess(logs, terms, x, y))
    coefficients = min(
        (_settle(logs, terms, start) for start in starts), key=lambda c: _disorder(logs - terms @ c)
    )
    coefficients[0] -= float((terms @ coefficients).mean())
    gain = Gain(tuple(float(c) for c in coefficients))
    if gain.peak_to_peak > largest:
        raise FieldTooUneven(f"The gain field varies by {gain.peak_to_peak:.0%} across the picture.")
    return gain


def _settle(
    logs: NDArray[np.float64], terms: NDArray[np.float64], coefficients: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Assign samples to classes and fit the field, by turns."""
    for turn in range(ROUNDS):
        corrected = logs - terms @ coefficients
        step = _class_residuals(np.exp(corrected), corrected, tightness=1.0 - 0.12 * turn)
        if step is None:
            break
        use, residual, weight = step
        coefficients = coefficients + _robust_fit(terms[use], residual, weight)
    return coefficients


def _disorder(logs: NDArray[np.float64]) -> float:
    """Entropy of the corrected greys: the right field makes the classes sharpest."""
    middle = float(np.median(logs))
    counts, _ = np.histogram(logs, bins=400, range=(middle - 2.5, middle + 2.5))
    share = counts[counts > 0] / max(counts.sum(), 1)
    return float(-(share * np.log(share)).sum())


def _flat_samples(source: Source, sigma: float) -> tuple[NDArray[np.float64], ...]:
    """Take calm greys on a grid, where the picture is flat; the grid does not hang on the tiles."""
    height, width = source.shape
    step = max(int(np.sqrt(height * width / SAMPLES)), 1)
    parts = []
    for tile in tiles_of(source.shape, TILE_PX):
        wide = tile.wider(HALO_PX, source.shape)
        calm = np.asarray(cv2.GaussianBlur(source.grey(wide), (0, 0), 1.5), np.float32)
        steep = gradient(calm)
        rows = np.arange(step // 2, height, step)
        columns = np.arange(step // 2, width, step)
        rows = rows[(rows >= tile.top) & (rows < tile.bottom)]
        columns = columns[(columns >= tile.left) & (columns < tile.right)]
        at = np.ix_(rows - wide.top, columns - wide.left)
        mask = source.valid(wide)
        counted = np.ones((len(rows), len(columns)), bool) if mask is None else mask[at]
        y, x = np.meshgrid(rows, columns, indexing="ij")
        parts.append([part.ravel() for part in (calm[at], steep[at], counted, y, x)])
    values, slope, counted, y, x = (np.concatenate(column) for column in zip(*parts, strict=True))
    # noise of the blurred picture's gradient: sigma / (sqrt(8 pi) s^2) for a Gaussian of s = 1.5 px
    flat = slope < max(3 * sigma / (np.sqrt(8 * np.pi) * 1.5**2), float(np.quantile(slope, 0.1)))
    flat &= counted
    return (
        values[flat].astype(np.float64),
        2 * x[flat] / max(width - 1, 1) - 1,
        2 * y[flat] / max(height - 1, 1) - 1,
    )


def _first_guess(
    logs: NDArray[np.float64], terms: NDArray[np.float64], x: NDArray[np.float64], y: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Follow the bright end of the greys from tile to tile."""
    tile = np.minimum((y + 1) / 2 * TILES, TILES - 1).astype(int) * TILES
    tile += np.minimum((x + 1) / 2 * TILES, TILES - 1).astype(int)
    tops, places = [], []
    for number in range(TILES * TILES):
        mine = tile == number
        if mine.sum() >= 40:
            tops.append(np.quantile(logs[mine], 0.93))
            places.append(terms[mine].mean(axis=0))
    if len(tops) < 12:
        return np.zeros(6)
    heights, at = np.array(tops), np.array(places)
    typical = np.quantile(heights, 0.75)
    bright = heights > typical - 0.5  # a tile far below the others holds no bright class
    fit = _robust_fit(at[bright], heights[bright] - typical, np.ones(int(bright.sum())))
    fit[0] = 0.0
    return fit


def _class_residuals(
    greys: NDArray[np.float64], logs: NDArray[np.float64], *, tightness: float
) -> tuple[NDArray[np.int64], NDArray[np.float64], NDArray[np.float64]] | None:
    """Give each sample near a peak its log distance from it; darker classes count less."""
    top = float(np.quantile(greys, 0.999)) * 1.1
    peaks = find_peaks(greys.astype(np.float32), low=0, high=top, smooth=0.012 * top, least_mass=0.01)
    if not peaks:
        return None
    centres = np.array([peak.grey for peak in peaks])
    nearest = np.abs(greys[:, None] - centres).argmin(axis=1)
    centre = centres[nearest]
    reach = np.minimum(0.12, 0.03 * top / centre + 0.05) * tightness
    residual = logs - np.log(np.maximum(centre, 1e-3))
    use = np.flatnonzero((np.abs(residual) < reach) & (centre > 0.35 * centres.max()))
    if len(use) < 200:
        return None
    return use, residual[use], (centre[use] / centres.max()) ** 2


def _robust_fit(
    terms: NDArray[np.float64], residual: NDArray[np.float64], weight: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Least squares with Tukey's weights, three rounds; a little ridge holds terms that the samples
    cannot fix."""
    ridge = np.diag([0.0, *[1e-4] * 5]) * weight.sum()
    extra = np.ones_like(residual)
    solution = np.zeros(6)
    for _ in range(3):
        heavy = (weight * extra)[:, None] * terms
        solution = np.linalg.solve(terms.T @ heavy + ridge + 1e-9 * np.eye(6), heavy.T @ residual)
        rest = residual - terms @ solution
        scale = 4.685 * 1.4826 * float(np.median(np.abs(rest))) + 1e-9
        extra = np.where(np.abs(rest) < scale, (1 - (rest / scale) ** 2) ** 2, 0.0)
    return np.asarray(solution)
