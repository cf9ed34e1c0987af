"""From greys to classes, without painting a rim of oxide where there is only a blurred edge.

A bare metal edge, blurred, passes through the grey of oxide in a band of known width. What lies between
metal and pore is kept as oxide only where the band is wider than that, where it has a core, and where it is
no pinched pore.
"""

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from teardown.science.stereology.classes import BRIGHT, EXCLUDED, METAL, OXIDE, PORE, Levels
from teardown.science.stereology.edges import false_rim_width, flatness
from teardown.science.stereology.noise import Grey, Mask, gradient

Labels = NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class Strictness:
    """How strictly oxide is told from a blurred edge.

    ``margin_px`` is added to the width of a bare edge; ``gap`` times sigma (plus half a pixel, twice) is
    the narrowest gap between metal that is read at all, 0 switches that test off; a body of oxide needs a
    core at least ``core`` times the root of sigma (plus half a pixel) from its rim and ``least_area`` times
    sigma squared of pixels; specks below ``speck_px`` pixels go to their surroundings.
    """

    margin_px: float = 0.8
    gap: float = 1.0
    core: float = 1.2
    least_area: float = 12.0
    level_share: float = 0.02
    speck_px: int = 9


@dataclass(frozen=True, slots=True)
class Segmentation:
    """Classes of every pixel, the thresholds that made them, and the share of pixels in gaps too narrow
    to read."""

    labels: Labels
    lower: float
    upper: float
    false_rim_px: float
    unresolved_share: float


def segment(
    calm: Grey, levels: Levels, sigma: float, *, tests: Strictness | None = None, valid: Mask | None = None
) -> Segmentation:
    """Assign every pixel to pore, oxide, metal or brighter matter.

    Parameters
    ----------
    calm : ndarray of float32, shape (rows, columns)
        Denoised greys with the gain divided out.
    levels : Levels
        Greys of the classes.
    sigma : float
        Standard deviation of the blur of an edge in ``calm``, in pixels.
    """
    tests = tests or Strictness()
    if levels.source == "prior":
        # where no plateau told the oxide's grey, what little is found must look the more like oxide
        tests = replace(tests, margin_px=tests.margin_px + 0.6, level_share=max(tests.level_share, 0.15))
    place = (calm - np.float32(levels.pore)) * np.float32(1 / levels.contrast)
    lower = min(levels.oxide_places) / 2
    upper = (1 + max(levels.oxide_places)) / 2
    band = false_rim_width(lower, upper, sigma)
    labels = np.full(place.shape, OXIDE, np.uint8)
    labels[place < lower] = PORE
    labels[place > upper] = METAL
    labels = despeckle(labels, tests.speck_px)
    to_metal = _distance(labels != METAL)
    to_pore = _distance(labels != PORE)
    between = labels == OXIDE
    kept = between & (to_metal + to_pore - 1 > band + tests.margin_px)
    pinched = (
        between & _narrow_gaps(to_metal, tests.gap * sigma + 0.5) if tests.gap else np.zeros_like(between)
    )
    unresolved = kept & pinched
    kept = _with_core(kept & ~pinched, place, sigma, tests)
    middle = np.where(place > 0.5, METAL, PORE).astype(np.uint8)
    labels = np.where(between & ~kept, middle, labels)
    if len(levels.oxides) > 1:
        labels = _trim_to_own_level(labels, place, levels.oxide_places, to_metal, to_pore)
    if levels.bright is not None:
        labels = _set_bright(labels, place, levels, sigma)
    labels = despeckle(labels, tests.speck_px)
    inside = labels.size
    if valid is not None:
        labels[~valid] = EXCLUDED
        unresolved &= valid
        inside = int(np.count_nonzero(valid))
    return Segmentation(labels, lower, upper, band, float(np.count_nonzero(unresolved) / max(inside, 1)))


def despeckle(labels: Labels, smallest: int) -> Labels:
    """Give specks of fewer than ``smallest`` pixels the class that prevails around them."""
    if smallest <= 1:
        return labels
    bad = np.zeros(labels.shape, np.uint8)
    for code in (PORE, OXIDE, METAL, BRIGHT):
        mask = (labels == code).astype(np.uint8)
        count, parts, stats, _ = cv2.connectedComponentsWithStats(mask, connectivity=8)
        small = stats[:, cv2.CC_STAT_AREA] < smallest
        small[0] = False
        if count > 1 and small.any():
            bad |= small.astype(np.uint8)[parts]
    if not bad.any():
        return labels
    return _fill_from_around(labels, bad)


def _fill_from_around(labels: Labels, bad: NDArray[np.uint8]) -> Labels:
    """Fill marked pixels, from their settled neighbours inward, by majority in a 5 by 5 window."""
    filled = labels.copy()
    window = (5, 5)
    for _ in range(3):
        rows, columns = np.nonzero(bad)
        if not len(rows):
            break
        votes = [
            cv2.boxFilter(
                ((filled == code) & (bad == 0)).astype(np.uint8), cv2.CV_16U, window, normalize=False
            )[rows, columns]
            for code in (PORE, OXIDE, METAL, EXCLUDED, BRIGHT)
        ]
        winner = np.argmax(votes, axis=0).astype(np.uint8)
        settled = np.max(votes, axis=0) > 0
        filled[rows[settled], columns[settled]] = winner[settled]
        bad[rows[settled], columns[settled]] = 0
    return filled


def _distance(away_from: Mask) -> NDArray[np.float32]:
    """Give each True pixel its distance to the nearest False one; far away where there is none."""
    if away_from.all():
        return np.full(away_from.shape, 1e6, np.float32)
    return np.asarray(cv2.distanceTransform(away_from.view(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_PRECISE))


def _narrow_gaps(to_metal: NDArray[np.float32], reach: float) -> Mask:
    """Mark what a closing of the metal by a disc of radius ``reach`` would swallow."""
    within = to_metal <= reach
    if within.all():
        return within
    return np.asarray(within & (_distance(within) > reach))


def _with_core(kept: Mask, place: Grey, sigma: float, tests: Strictness) -> Mask:
    """Keep bodies of oxide that are large enough, thick enough somewhere, and level somewhere."""
    if not kept.any():
        return kept
    count, parts, stats, _ = cv2.connectedComponentsWithStats(kept.view(np.uint8), connectivity=8)
    thick = _distance(kept) >= tests.core * np.sqrt(sigma) + 0.5
    has_core = np.zeros(count, bool)
    has_core[np.unique(parts[thick])] = True
    level = kept & (flatness(place, gradient(place), sigma) > 0)
    levels = np.bincount(parts[level], minlength=count)
    has_core &= levels >= np.maximum(tests.level_share * stats[:, cv2.CC_STAT_AREA], 3)
    good = has_core & (stats[:, cv2.CC_STAT_AREA] >= tests.least_area * sigma**2)
    good[0] = False
    return np.asarray(good[parts])


def _trim_to_own_level(
    labels: Labels,
    place: Grey,
    oxide_places: tuple[float, ...],
    to_metal: NDArray[np.float32],
    to_pore: NDArray[np.float32],
) -> Labels:
    """Where two oxides occur, cut each at the thresholds of its own grey."""
    oxide = labels == OXIDE
    core = oxide & (np.abs(to_metal - to_pore) <= 1.5)
    core |= oxide & (np.minimum(to_metal, to_pore) >= 4)
    nearest = np.abs(place[..., None] - np.asarray(oxide_places, np.float32)).argmin(axis=-1)
    own = np.asarray(oxide_places, np.float32)[nearest]
    weight = cv2.GaussianBlur(core.astype(np.float32), (0, 0), 3.0)
    mean = cv2.GaussianBlur(np.where(core, own, 0).astype(np.float32), (0, 0), 3.0)
    local = np.where(weight > 1e-4, mean / np.maximum(weight, 1e-6), own)
    labels = labels.copy()
    labels[oxide & (place < local / 2)] = PORE
    labels[oxide & (place > (1 + local) / 2)] = METAL
    return labels


def _set_bright(labels: Labels, place: Grey, levels: Levels, sigma: float) -> Labels:
    """Cut particles brighter than metal at half height, against whatever lies beyond their blurred edge."""
    if levels.bright is None:
        return labels
    bright = levels.relative(levels.bright)
    core = (place > (1 + bright) / 2).astype(np.uint8)
    _, parts, stats, _ = cv2.connectedComponentsWithStats(core, connectivity=8)
    small = stats[:, cv2.CC_STAT_AREA] < 9
    small[0] = True
    core[small[parts]] = 0
    if not core.any():
        return labels
    to_core = cv2.distanceTransform(1 - core, cv2.DIST_L2, cv2.DIST_MASK_PRECISE)
    halo = to_core <= 2.2 * sigma + 1.5
    outside = halo.astype(np.uint8)
    # the label image numbers each outside pixel, so that each halo pixel knows its nearest neighbour beyond
    _, nearest = cv2.distanceTransformWithLabels(
        outside, cv2.DIST_L2, cv2.DIST_MASK_5, labelType=cv2.DIST_LABEL_PIXEL
    )
    beyond_of = np.zeros(int(nearest.max()) + 1, np.uint8)
    free = ~halo
    beyond_of[nearest[free]] = labels[free]
    beyond = beyond_of[nearest[halo]]
    ground = np.zeros(5, np.float32)
    ground[OXIDE], ground[METAL] = np.mean(levels.oxide_places), 1.0
    labels = labels.copy()
    labels[halo] = np.where(place[halo] > (bright + ground[beyond]) / 2, BRIGHT, beyond)
    return labels
