"""Bodies of oxide: which are large, thick and level enough to be matter and no chance of noise or blur."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from teardown.science.stereology.edges import Relief, flatness
from teardown.science.stereology.nearness import Nearness, chamfer_of
from teardown.science.stereology.noise import Grey, Mask

# in squared blurs, and as a share of a body's pixels
SMALL_BODY, LEVEL_GROUND = 50.0, 0.6
# in blurs
LEVEL_REACH, FAR_FROM_PORE = 1.5, 3.0
# level ground that a body needs: so many squared blurs, or this share of a body that is not as large. Of
# some 11,000 bodies in pictures of known truth that met the other tests, those with less were half false
LEAST_LEVEL, SMALL_SHARE = 6.0, 0.3


@dataclass(frozen=True, slots=True)
class Strictness:
    """How strictly oxide is told from a blurred edge.

    ``margin_px`` is added to the width of a bare edge; ``gap`` times sigma (plus half a pixel, twice) is
    the narrowest gap between metal that is read at all, 0 switches that test off; a body of oxide needs a
    core at least ``core`` times the root of sigma (plus half a pixel) from its rim and ``least_area`` times
    sigma squared of pixels; specks below ``speck_px`` pixels go to their surroundings.

    Notes
    -----
    None of these numbers has an outside source; they were chosen on phantoms. The margin trades false
    coverage for films lost. On twelve bare and twelve covered phantoms each (blur 0.7 to 2 px, noise 1 to 8
    %; films of three blurs, one in four of them thinner by a quarter), margins of 0 / 0.4 / 0.8 / 1.2 / 2.0
    px read 4.7 / 3.0 / 2.2 / 1.9 / 1.4 points of coverage where there was none, and 4 / 7 / 12 / 18 / 33
    points too little where films were at the limit: beyond 0.8 px little is won and much is lost. Where the
    oxide's grey could only be assumed 0.6 px are added (1.4 px in all): the oxide's place is then known to
    about 0.2 at best, which moves the width of a bare edge's band by 0.3 blurs, 0.6 px at the widest blur
    that is read.
    """

    margin_px: float = 0.8
    gap: float = 1.0
    core: float = 1.2
    least_area: float = 12.0
    level_share: float = 0.02
    speck_px: int = 9


@dataclass(frozen=True, slots=True)
class BodyFacts:
    """Bodies of a map, numbered from 1: the map of numbers, and pixels, level pixels and core by number."""

    parts: NDArray[np.int32]
    area: NDArray[np.int64]
    level: NDArray[np.int64]
    core: NDArray[np.bool_]


def core_pixels(kept: Mask, sigma: float, tests: Strictness) -> Mask:
    """Mark pixels so far from the rim of their body that a disc of the asked radius fits round them."""
    return erode(kept, tests.core * np.sqrt(sigma) + 0.5, closed=False)


def level_pixels(kept: Mask, place: Grey, relief: Relief, contrast: float, sigma: float) -> Mask:
    """Mark pixels that lie on a plateau and on no edge."""
    at = np.flatnonzero(kept)
    some = Relief(relief.steep.ravel()[at], relief.bent.ravel()[at])
    level = np.zeros(kept.shape, bool)
    level.ravel()[at] = flatness(place.ravel()[at], some, contrast, sigma) > 0
    return level


def near_level(kept: Mask, level: Mask, to_pore: Nearness, sigma: float) -> Mask:
    """Leave out what lies far from level ground and far from pore: a cleft between grains, which may hang on
    a rim of oxide.

    A rim that is wide enough to be read has level ground all along its middle, and where it is too thin to
    show any it has pore close by; a cleft has neither.
    """
    far = to_pore > chamfer_of(FAR_FROM_PORE * sigma + 2)
    return np.asarray(kept & ~(far & ~dilate(level, LEVEL_REACH * sigma + 1)))


def number_bodies(kept: Mask, core: Mask, level: Mask) -> BodyFacts:
    """Number the bodies of a map and gather what is decided by."""
    count, parts = numbered(kept)
    at = np.flatnonzero(kept)  # level ground and core lie within
    body = parts.ravel()[at]
    area = np.bincount(body, minlength=count)
    area[0] = kept.size - len(at)
    levels = np.bincount(body[level.ravel()[at]], minlength=count)
    has_core = np.zeros(count, bool)
    has_core[body[core.ravel()[at]]] = True
    return BodyFacts(parts, area, levels, has_core)


def numbered(kept: Mask) -> tuple[int, NDArray[np.int32]]:
    """Number the bodies of a map from 1, diagonals included; give one more than their count, and the map."""
    # gathering areas on the way takes four times as long as counting them afterwards
    count, parts = cv2.connectedComponents(kept.view(np.uint8), connectivity=8)
    return int(count), np.asarray(parts, np.int32)


def good_bodies(
    area: NDArray[np.int64],
    level: NDArray[np.int64],
    core: NDArray[np.bool_],
    sigma: float,
    tests: Strictness,
) -> NDArray[np.bool_]:
    """Decide, for each body, whether it is matter."""
    enough = np.minimum(SMALL_SHARE * area, LEAST_LEVEL * sigma**2)
    good = core & (level >= np.maximum(np.maximum(tests.level_share * area, enough), 3))
    return np.asarray(good & (area >= tests.least_area * sigma**2))


def surely_oxide(
    area: NDArray[np.int64], level: NDArray[np.int64], good: NDArray[np.bool_], sigma: float, *, told: bool
) -> bool:
    """Tell whether what passed as oxide over the whole picture may be called so.

    Clefts between grains and noise on blurred edges pass now and then, as small bodies with little level
    ground; where no plateau told the oxide's grey (``told``), nothing else is ever left. On oxide-free
    phantoms the mean body was below 45 squared blurs, on phantoms with a tenth of the metal covered above 75.
    """
    count = int(np.count_nonzero(good))
    if not count or not told:
        return False
    whole = float(area[good].sum())
    small = whole / count < SMALL_BODY * sigma**2
    return not (small and float(level[good].sum()) < LEVEL_GROUND * whole)


def small_share(area: NDArray[np.int64], good: NDArray[np.bool_], sigma: float) -> float:
    """Give the share of the oxide that lies in small bodies."""
    whole = float(area[good].sum())
    return float(area[good & (area < SMALL_BODY * sigma**2)].sum()) / whole if whole else 0.0


def erode(mask: Mask, reach: float, *, closed: bool = True) -> Mask:
    """Keep the pixels with no False pixel within ``reach``; beyond the picture nothing is False.

    With ``closed`` a False pixel at just this distance counts as well.
    """
    return np.asarray(cv2.erode(mask.view(np.uint8), _disc(reach, closed=closed)) > 0)


def dilate(mask: Mask, reach: float) -> Mask:
    """Mark the pixels with a True pixel within ``reach``."""
    return np.asarray(cv2.dilate(mask.view(np.uint8), _disc(reach, closed=True)) > 0)


def _disc(reach: float, *, closed: bool) -> NDArray[np.uint8]:
    side = int(reach)
    down, across = np.mgrid[-side : side + 1, -side : side + 1]
    distance = np.hypot(down, across)
    return np.asarray(distance <= reach if closed else distance < reach, np.uint8)
