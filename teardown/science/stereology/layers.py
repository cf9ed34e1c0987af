"""Layers below the face of an electrode, in one field and over the fields of a sample: what changes with
depth."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

from teardown.science.errors import MeasurementError
from teardown.science.estimate import Estimate
from teardown.science.stereology.classes import CLASSES, EXCLUDED, METAL, OXIDE, PORE
from teardown.science.stereology.interfaces import DIRECTIONS, Sums

METHOD = "ratio of sums over fields, Student's t over fields"
LARGEST_PROFILE = 16_000_000
BAND_PX = 4_000_000
# fewer steps are the rim of a grain or two, which says nothing of a layer (own judgement, no source)
LEAST_STEPS = 100


class UnlikeLayers(MeasurementError):
    """The fields were cut into layers in different ways, or there is only one field."""

    code = "stereology.E036"
    hint = "Draw the face on at least two fields of the sample."


@dataclass(frozen=True, slots=True)
class Layer:
    """One layer at a depth below the face: from and to as a share of the whole depth, and what it holds.

    Attributes
    ----------
    coverage : float or None
        Share of the layer's metal outline that is under oxide; None on fewer than 100 steps of outline.
    outline_steps : int
        Sides of pixels between metal and oxide or pore: what the coverage rests on.
    covered_px, outline_px : float
        Length of the metal outline under oxide, and of all of it: what pooling adds.
    """

    start: float
    end: float
    depth_um: float | None
    porosity: float
    oxide_fraction: float
    area_px: int
    coverage: float | None = None
    outline_steps: int = 0
    covered_px: float = 0.0
    outline_px: float = 0.0


def depth_profile(
    labels: NDArray[np.uint8],
    face: NDArray[np.float64],
    *,
    bins: int = 10,
    pixel_size_um: float | None = None,
) -> tuple[Layer, ...]:
    """Give porosity, oxide and its coverage of the metal layer by layer, by the distance from a face.

    Parameters
    ----------
    labels : ndarray of uint8, shape (rows, columns)
    face : ndarray, shape (corners, 2)
        The face as a line of corners [x, y], in pixels.
    bins : int
        How many layers of equal depth.

    Of maps above 16 Mpx every second, third ... pixel is taken; the outline is followed at every pixel.
    """
    step = int(np.ceil(np.sqrt(labels.size / LARGEST_PROFILE)))
    taken = np.ascontiguousarray(labels[::step, ::step]) if step > 1 else labels
    line = np.ones(taken.shape, np.uint8)
    corners = np.round(face / step * 16).astype(np.int32)
    cv2.polylines(line, [corners], isClosed=False, color=0, thickness=1, shift=4)
    if line.all():
        return ()
    depth = cv2.distanceTransform(line, cv2.DIST_L2, cv2.DIST_MASK_PRECISE)
    inside = taken != EXCLUDED
    deepest = float(depth[inside].max()) if inside.any() else 0.0
    if deepest <= 0:
        return ()
    layer = np.minimum((depth * (bins / deepest)).astype(np.int16), np.int16(bins - 1))
    counts = np.bincount((layer * CLASSES + taken)[inside], minlength=bins * CLASSES).reshape(bins, CLASSES)
    outlines = _outlines(labels, layer, step, bins)
    side_um = pixel_size_um * step if pixel_size_um else None
    found = []
    for number, (row, pairs) in enumerate(zip(counts, outlines, strict=True)):
        area = int(row.sum())
        if area:
            outline = Sums(row, pairs)
            covered = outline.line_length_px(METAL, OXIDE)
            sides = outline.transitions(METAL, OXIDE)[:2] + outline.transitions(METAL, PORE)[:2]
            steps = int(sides.sum())
            found.append(
                Layer(
                    number / bins,
                    (number + 1) / bins,
                    (number + 0.5) / bins * deepest * side_um if side_um else None,
                    float(row[PORE] / area),
                    float(row[OXIDE] / area),
                    area * step**2,
                    outline.coverage if steps >= LEAST_STEPS else None,
                    steps,
                    covered,
                    outline.metal_outline_px,
                )
            )
    return tuple(found)


def _outlines(labels: NDArray[np.uint8], layer: NDArray[np.int16], step: int, bins: int) -> NDArray[np.int64]:
    """Count, in each layer, neighbours of which one is metal, in four directions, by the other's class.

    A pair belongs to the layer of its first pixel. The layers are given for every ``step``-th pixel.
    """
    rows, columns = labels.shape
    pairs = np.zeros((bins, len(DIRECTIONS), CLASSES, CLASSES), np.int64)
    across_all = np.arange(columns) // step
    band = max(BAND_PX // columns, 1)
    for top in range(0, rows, band):
        bottom = min(top + band, rows)
        view = np.array(labels[top : bottom + 1])  # one more row holds the partners of the last
        layers = layer[np.arange(top, bottom) // step][:, across_all].ravel()
        for number, (down, across) in enumerate(DIRECTIONS[:4]):
            last_row = min(bottom - top, view.shape[0] - down)
            first, last = max(-across, 0), columns - max(across, 0)
            one = view[:last_row, first:last]
            other = view[down : last_row + down, first + across : last + across]
            row, column = np.nonzero((one != other) & ((one == METAL) | (other == METAL)))
            at = layers[row * columns + column + first].astype(np.int64)
            beside = one[row, column] + other[row, column] - np.uint8(METAL)
            pairs[:, number, METAL] += np.bincount(at * CLASSES + beside, minlength=bins * CLASSES).reshape(
                bins, CLASSES
            )
    return pairs


@dataclass(frozen=True, slots=True)
class PooledLayer:
    """One layer over all fields: from and to as a share of the whole depth, and its three shares.

    ``coverage`` is None where fewer than two fields have a metal outline in the layer, where all of it is
    below 100 steps, or where a field does not tell of it.
    """

    start: float
    end: float
    porosity: Estimate
    oxide_fraction: Estimate
    coverage: Estimate | None
    outline_steps: int


@dataclass(frozen=True, slots=True)
class Seen:
    """One layer of one field: its area in pixels, and the shares of it that are pore and oxide.

    ``covered`` and ``outline`` are the lengths of the metal outline under oxide and of all of it, in pixels;
    None in a field that was measured before they were kept.
    """

    start: float
    end: float
    area: float
    porosity: float
    oxide_fraction: float
    covered: float | None = None
    outline: float | None = None
    steps: int = 0


def pool_layers(fields: Sequence[Sequence[Seen]]) -> tuple[PooledLayer, ...]:
    """Give each layer over the fields of a sample, as a ratio of sums with Student's interval over fields.

    The scatter of a ratio of sums R = sum x / sum y over n fields is
    n sum((x - R y)^2) / (n - 1) / (sum y)^2 [1]_.

    References
    ----------
    .. [1] W. G. Cochran, Sampling Techniques, 3rd ed., 1977, chapter 6 (ratio estimates; from memory).

    Raises
    ------
    UnlikeLayers
        Below two fields, or where their layers do not lie at the same shares of the depth.
    """
    if len(fields) < 2:
        raise UnlikeLayers(f"{len(fields)} field with a drawn face tells nothing of the scatter over fields.")
    cuts = {tuple((layer.start, layer.end) for layer in field) for field in fields}
    if len(cuts) != 1:
        raise UnlikeLayers("The fields have layers at unlike depths.")
    return tuple(_pool(layers) for layers in zip(*fields, strict=True))


def _pool(layers: Sequence[Seen]) -> PooledLayer:
    area = np.array([layer.area for layer in layers], float)
    return PooledLayer(
        layers[0].start,
        layers[0].end,
        _share(np.array([layer.porosity for layer in layers]) * area, area),
        _share(np.array([layer.oxide_fraction for layer in layers]) * area, area),
        _coverage(layers),
        sum(layer.steps for layer in layers),
    )


def _coverage(layers: Sequence[Seen]) -> Estimate | None:
    """Pool the coverage over those fields that have a metal outline in this layer."""
    if any(layer.covered is None or layer.outline is None for layer in layers):
        return None
    seen = [(layer.covered or 0.0, layer.outline) for layer in layers if layer.outline]
    if len(seen) < 2 or sum(layer.steps for layer in layers) < LEAST_STEPS:
        return None
    covered, outline = np.array(seen, float).T
    return _share(covered, outline)


def _share(parts: NDArray[np.float64], wholes: NDArray[np.float64]) -> Estimate:
    n, total = len(wholes), float(wholes.sum())
    share = float(parts.sum()) / total
    scatter = n * float(((parts - share * wholes) ** 2).sum()) / (n - 1) / total**2
    half = float(stdtrit(n - 1, 0.975)) * sqrt(scatter)
    low, high = max(share - half, 0.0), min(share + half, 1.0)
    return Estimate(share, min(low, share), max(high, share), "1", n, METHOD)
