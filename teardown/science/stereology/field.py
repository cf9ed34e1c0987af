"""One field of view, from greys to numbers."""

from dataclasses import dataclass, field
from math import hypot

import cv2
import numpy as np
from numpy.typing import NDArray

from teardown.science.errors import MeasurementError, Remark
from teardown.science.estimate import Estimate
from teardown.science.stereology.classes import PORE, Levels
from teardown.science.stereology.flags import Facts, raise_flags
from teardown.science.stereology.interfaces import Sums, tile_sums
from teardown.science.stereology.levels import LevelSearch, find_levels, with_levels
from teardown.science.stereology.mosaics import segment_any_size
from teardown.science.stereology.noise import Grey, Mask, denoise, noise_level
from teardown.science.stereology.outline import outline_factor
from teardown.science.stereology.pooling import FieldSummary
from teardown.science.stereology.ratios import BY_KEY, Parts, cells_of, parts_of
from teardown.science.stereology.rims import (
    GAPS_UM,
    Thickness,
    gap_tolerant_coverage,
    granulometry,
    rim_thickness,
)
from teardown.science.stereology.sampling import RatioError, cell_size, ratio_error
from teardown.science.stereology.segmentation import Segmentation
from teardown.science.stereology.sensitivity import Sensitivity, threshold_sensitivity
from teardown.science.stereology.settings import VERSION, Settings
from teardown.science.stereology.shading import FLAT, Gain, fit_gain

SMALLEST_SIDE = 64


class FieldTooSmall(MeasurementError):
    """The picture is too small to be measured."""

    code = "stereology.E013"
    hint = f"At least {SMALLEST_SIDE} by {SMALLEST_SIDE} pixels of section are needed."


@dataclass(frozen=True, slots=True)
class FieldResult:
    """What one field gave, with all that made it.

    Attributes
    ----------
    estimates : dict of Estimate
        By quantity; lengths in micrometres where the pixel size is known, else in pixels.
    parts : dict of Parts
        Numerators and denominators in pixels: what pooling adds.
    sampling_error, threshold_uncertainty : dict of float
        Standard uncertainties, in the estimate's unit: of the field as a sample, and of the levels.
    labels : ndarray of uint8, shape (rows, columns)
        0 pore, 1 oxide, 2 metal, 3 left out, 4 brighter than metal.
    tiles : list of Sums
        Counts and neighbour pairs of each tile, row after row.
    """

    estimates: dict[str, Estimate]
    parts: dict[str, Parts]
    sampling_error: dict[str, float]
    threshold_uncertainty: dict[str, float]
    half_range: dict[str, float]
    labels: NDArray[np.uint8] = field(repr=False)
    tiles: list[Sums] = field(repr=False)
    flags: tuple[Remark, ...]
    histogram: tuple[float, ...] = field(repr=False)
    levels: Levels
    edge_sigma_px: float
    false_rim_px: float
    noise: float
    noise_left: float
    gain: Gain
    integral_range_px: float
    detection_limit_px: float
    unresolved_share: float
    outline_factor: float
    rims: Thickness | None
    near_coverage: dict[str, float]
    pore_openings: dict[str, float]
    pixel_size_um: float | None
    settings: Settings
    version: str = VERSION

    @property
    def sums(self) -> Sums:
        """Counts and pairs of the whole field."""
        total = self.tiles[0]
        for tile in self.tiles[1:]:
            total = total + tile
        return total

    def summary(self) -> FieldSummary:
        """Give what pooling needs."""
        return FieldSummary(self.parts, self.sampling_error, self.threshold_uncertainty, self.pixel_size_um)


def measure_field(
    grey: Grey,
    *,
    pixel_size_um: float | None = None,
    valid: Mask | None = None,
    levels: Levels | None = None,
    settings: Settings | None = None,
) -> FieldResult:
    """Measure porosity, oxide and metal surface of one field of a polished section.

    Parameters
    ----------
    grey : ndarray of float32, shape (rows, columns)
        Greys from 0 (black) to 1 (white) at the picture's full depth, strip cut off or masked.
    pixel_size_um : float, optional
        Side of a pixel. Without it lengths stay in pixels.
    valid : ndarray of bool, optional
        True where a pixel belongs to the section.
    levels : Levels, optional
        Pinned levels of the session; found from the picture where not given.
    settings : Settings, optional

    Raises
    ------
    MeasurementError
        If the field is too small, shows one grey, has no edges, or is too unevenly lit.
    """
    settings = settings or Settings()
    grey = np.ascontiguousarray(grey, np.float32)
    _check(grey, valid)
    noise = noise_level(grey, valid)
    gain = fit_gain(grey, noise, valid, largest=settings.largest_gain) if settings.even_field else FLAT
    even = np.asarray(cv2.divide(grey, gain.on(grey.shape)), np.float32) if settings.even_field else grey
    calm = denoise(even, noise)
    search = (
        with_levels(calm, levels, valid, edge_sigma_px=settings.edge_sigma_px)
        if levels
        else find_levels(calm, valid, edge_sigma_px=settings.edge_sigma_px)
    )
    cut = segment_any_size(calm, search.levels, search.edge_sigma_px, tests=settings.strictness, valid=valid)
    tiles = tile_sums(cut.labels, settings.tile_px)
    total = tiles[0]
    for tile in tiles[1:]:
        total = total + tile
    outline = outline_factor(cut.labels, total, search.edge_sigma_px)
    parts = parts_of(total, outline)
    errors = _sampling_errors(cut.labels)
    doubt = (
        threshold_sensitivity(calm, search.levels, search.edge_sigma_px, settings.strictness, valid)
        if settings.sensitivity
        else Sensitivity({}, {})
    )
    scale = pixel_size_um or 1.0
    estimates = {
        key: _estimate(key, part, errors[key], doubt.uncertainty.get(key, 0.0), pixel_size_um)
        for key, part in parts.items()
        if part.value is not None
    }
    rims = rim_thickness(cut.labels)
    near = _near_coverage(cut.labels, pixel_size_um)
    facts = Facts(
        grey=grey,
        calm=calm,
        valid=valid,
        gain=gain,
        noise=noise,
        search=search,
        cut=cut,
        sums=total,
        estimates=estimates,
        doubt=doubt,
        pixel_size_um=pixel_size_um,
        settings=settings,
        rims=rims,
        near=near,
    )
    return FieldResult(
        estimates=estimates,
        parts=parts,
        sampling_error={
            key: error.standard_error * scale ** BY_KEY[key].power for key, error in errors.items()
        },
        threshold_uncertainty={
            key: value * scale ** BY_KEY[key].power for key, value in doubt.uncertainty.items()
        },
        half_range={key: value * scale ** BY_KEY[key].power for key, value in doubt.half_range.items()},
        labels=cut.labels,
        tiles=tiles,
        flags=raise_flags(facts),
        histogram=_histogram(calm, valid),
        levels=search.levels,
        edge_sigma_px=search.edge_sigma_px,
        false_rim_px=cut.false_rim_px,
        noise=noise,
        noise_left=search.noise_left,
        gain=gain,
        integral_range_px=_integral_range(errors["porosity"], total),
        detection_limit_px=detection_limit(search, cut, settings),
        unresolved_share=cut.unresolved_share,
        outline_factor=outline,
        rims=rims,
        near_coverage=near,
        pore_openings=granulometry(_middle(cut.labels) == PORE),
        pixel_size_um=pixel_size_um,
        settings=settings,
    )


def detection_limit(search: LevelSearch, cut: Segmentation, settings: Settings) -> float:
    """Give the thinnest oxide, in pixels, that is surely seen: wider than a bare edge, and than three
    blurs."""
    return max(3 * search.edge_sigma_px, 3.5, cut.false_rim_px + settings.strictness.margin_px + 1)


def _near_coverage(labels: NDArray[np.uint8], pixel_size_um: float | None) -> dict[str, float]:
    """Give the coverage that allows gaps of some lengths between oxide and metal, by the gap in
    micrometres."""
    if pixel_size_um is None:
        return {}
    reaches = tuple(gap / pixel_size_um for gap in GAPS_UM)
    return {
        f"{gap:g}": share for gap, share in zip(GAPS_UM, gap_tolerant_coverage(labels, reaches), strict=True)
    }


def _middle(labels: NDArray[np.uint8], side: int = 1024) -> NDArray[np.uint8]:
    rows, columns = (min(length, side) for length in labels.shape)
    top, left = (labels.shape[0] - rows) // 2, (labels.shape[1] - columns) // 2
    return labels[top : top + rows, left : left + columns]


def _histogram(calm: Grey, valid: Mask | None) -> tuple[float, ...]:
    """Give the share of pixels in each of 128 steps of grey, gain divided out and noise calmed."""
    counts, _ = np.histogram(calm if valid is None else calm[valid], bins=128, range=(0, 1))
    return tuple(float(share) for share in counts / max(counts.sum(), 1))


def _check(grey: Grey, valid: Mask | None) -> None:
    if grey.ndim != 2 or min(grey.shape) < SMALLEST_SIDE:
        raise FieldTooSmall(f"The picture has shape {grey.shape}.")
    if valid is not None and np.count_nonzero(valid) < SMALLEST_SIDE**2:
        raise FieldTooSmall(f"Only {np.count_nonzero(valid)} pixels belong to the section.")


def _sampling_errors(labels: NDArray[np.uint8]) -> dict[str, RatioError]:
    rows, columns = labels.shape
    cells = cells_of(labels, cell_size((rows, columns)))
    return {key: ratio_error(above, below) for key, (above, below) in cells.items()}


def _integral_range(error: RatioError, total: Sums) -> float:
    """Area, in pixels, over which the field's porosity is one independent draw."""
    spread = error.ratio * (1 - error.ratio)
    return float(error.standard_error**2 * total.area_px / spread) if spread > 0 else 0.0


def _estimate(
    key: str, part: Parts, error: RatioError, doubt: float, pixel_size_um: float | None
) -> Estimate:
    quantity = BY_KEY[key]
    scale = (pixel_size_um or 1.0) ** quantity.power
    value = float(part.value or 0.0)
    half = hypot(error.half_width, 1.96 * doubt)
    low, high = value - half, value + half
    if quantity.bounded:
        low, high = max(low, 0.0), min(high, 1.0)
    return Estimate(
        value * scale,
        max(low, 0.0) * scale,
        high * scale,
        quantity.unit(pixel_size_um is not None),
        1,
        "one field, from its own covariance, with the levels' doubt",
    )
