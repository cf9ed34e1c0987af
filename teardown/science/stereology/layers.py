"""Layers below the face of an electrode, over the fields of a sample: what changes with depth."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

from teardown.science.errors import MeasurementError
from teardown.science.estimate import Estimate

METHOD = "ratio of sums over fields, Student's t over fields"


class UnlikeLayers(MeasurementError):
    """The fields were cut into layers in different ways, or there is only one field."""

    code = "stereology.E036"
    hint = "Draw the face on at least two fields of the sample."


@dataclass(frozen=True, slots=True)
class PooledLayer:
    """One layer over all fields: from and to as a share of the whole depth, and its two shares."""

    start: float
    end: float
    porosity: Estimate
    oxide_fraction: Estimate


@dataclass(frozen=True, slots=True)
class Seen:
    """One layer of one field: its area in pixels, and the shares of it that are pore and oxide."""

    start: float
    end: float
    area: float
    porosity: float
    oxide_fraction: float


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
    )


def _share(parts: NDArray[np.float64], wholes: NDArray[np.float64]) -> Estimate:
    n, total = len(wholes), float(wholes.sum())
    share = float(parts.sum()) / total
    scatter = n * float(((parts - share * wholes) ** 2).sum()) / (n - 1) / total**2
    half = float(stdtrit(n - 1, 0.975)) * sqrt(scatter)
    low, high = max(share - half, 0.0), min(share + half, 1.0)
    return Estimate(share, min(low, share), max(high, share), "1", n, METHOD)
