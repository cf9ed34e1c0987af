"""From greys to classes, without painting a rim of oxide where there is only a blurred edge.

A bare metal edge, blurred, passes through the grey of oxide in a band of known width. What lies between
metal and pore is kept as oxide only where the band is wider than that, where it has a core, and where it is
no pinched pore.
"""

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from teardown.science.stereology.bodies import (
    Strictness,
    core_pixels,
    erode,
    good_bodies,
    level_pixels,
    near_level,
    number_bodies,
    small_share,
    surely_oxide,
)
from teardown.science.stereology.classes import BRIGHT, EXCLUDED, METAL, OXIDE, PORE, Levels
from teardown.science.stereology.edges import Relief, false_rim_width
from teardown.science.stereology.interfaces import Sums, count_sums
from teardown.science.stereology.nearness import Nearness, chamfer_of, in_pixels, nearness
from teardown.science.stereology.noise import Grey, Mask
from teardown.science.stereology.specks import despeckle

Labels = NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class Segmentation:
    """Classes of every pixel, the thresholds that made them, and the share of pixels in gaps too narrow
    to read.

    Where what looks like oxide is too little like it to be called so, it stands as metal or pore, and
    ``as_read`` holds the sums of the map that has it as oxide: an upper bound. ``small_share`` is the share
    of the oxide that lies in small bodies.
    """

    labels: Labels
    lower: float
    upper: float
    false_rim_px: float
    unresolved_share: float
    as_read: Sums | None = None
    small_share: float = 0.0


@dataclass(frozen=True, slots=True)
class FirstLook:
    """Classes by the two thresholds alone, and how near each pixel is to metal and to pore."""

    labels: Labels
    to_metal: Nearness
    to_pore: Nearness


def segment(
    calm: Grey,
    levels: Levels,
    sigma: float,
    *,
    tests: Strictness | None = None,
    valid: Mask | None = None,
    look: FirstLook | None = None,
    relief: Relief | None = None,
    sure: bool | None = None,
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
    look : FirstLook, optional
        Of the same picture at the same levels, where it was taken before.
    relief : Relief, optional
        Of ``calm``, where it was read before.
    sure : bool, optional
        Whether what looks like oxide is to be called so; decided from the picture where not given.
    """
    tests = tightened(tests or Strictness(), levels)
    place = place_of(calm, levels)
    look = look or first_look(place, levels, tests)
    kept, unresolved = rims_of(look, levels, sigma, tests)
    as_read, small = None, 0.0
    if kept.any():
        level = level_pixels(kept, place, relief or Relief.of(calm), levels.contrast, sigma)
        kept = near_level(kept, level, look.to_pore, sigma)
        facts = number_bodies(kept, core_pixels(kept, sigma, tests), level)
        good = good_bodies(facts.area, facts.level, facts.core, sigma, tests)
        good[0] = False
        kept, small = np.asarray(good[facts.parts]), small_share(facts.area, good, sigma)
        if sure is None:
            sure = surely_oxide(facts.area, facts.level, good, sigma, told=levels.source != "prior")
        if not sure and good.any():
            as_read = count_sums(_inside(finished(look, kept, place, levels, sigma, tests), valid))
            kept = np.zeros_like(kept)
    labels = _inside(finished(look, kept, place, levels, sigma, tests), valid)
    inside = labels.size
    if valid is not None:
        unresolved &= valid
        inside = int(np.count_nonzero(valid))
    return Segmentation(
        labels,
        levels.lower_place,
        levels.upper_place,
        false_rim_width(levels.lower_place, levels.upper_place, sigma),
        float(np.count_nonzero(unresolved) / max(inside, 1)),
        as_read,
        small,
    )


def _inside(labels: Labels, valid: Mask | None) -> Labels:
    if valid is not None:
        labels[~valid] = EXCLUDED
    return labels


def tightened(tests: Strictness, levels: Levels) -> Strictness:
    """Ask more of oxide where its grey was only assumed: what little is found must look the more like it."""
    if levels.source != "prior":
        return tests
    return replace(tests, margin_px=tests.margin_px + 0.6, level_share=max(tests.level_share, 0.15))


def place_of(calm: Grey, levels: Levels) -> Grey:
    """Place greys on the scale on which pore is 0 and metal is 1."""
    return np.asarray((calm - np.float32(levels.pore)) * np.float32(1 / levels.contrast), np.float32)


def first_look(place: Grey, levels: Levels, tests: Strictness) -> FirstLook:
    """Part the classes by the two thresholds, specks taken away."""
    # pore, oxide and metal are 0, 1 and 2: each threshold that is passed is a step up
    above = [(place >= levels.lower_place).view(np.uint8), (place > levels.upper_place).view(np.uint8)]
    labels = despeckle(above[0] + above[1], tests.speck_px)
    return FirstLook(labels, *distances(labels))


def distances(labels: Labels) -> tuple[Nearness, Nearness]:
    """Tell how near each pixel is to metal and to pore."""
    return nearness(labels != METAL), nearness(labels != PORE)


def rims_of(look: FirstLook, levels: Levels, sigma: float, tests: Strictness) -> tuple[Mask, Mask]:
    """Mark what is wider than a bare, blurred edge and lies in no pinched pore; and what does lie in one."""
    band = false_rim_width(levels.lower_place, levels.upper_place, sigma)
    at = np.flatnonzero(look.labels == OXIDE)
    width = in_pixels(look.to_metal.ravel()[at]) + in_pixels(look.to_pore.ravel()[at]) - 1
    wide = np.zeros(look.labels.shape, bool)
    wide.ravel()[at] = width > band + tests.margin_px
    if not tests.gap:
        return wide, np.zeros_like(wide)
    pinched = _narrow_gaps(look.to_metal, tests.gap * sigma + 0.5)
    return wide & ~pinched, wide & pinched


def finished(
    look: FirstLook, kept: Mask, place: Grey, levels: Levels, sigma: float, tests: Strictness
) -> Labels:
    """Give what is not kept as oxide to metal or pore, and set what has a grey of its own."""
    labels = look.labels.copy()
    dropped = np.flatnonzero((labels == OXIDE) & ~kept)
    labels.ravel()[dropped] = np.where(place.ravel()[dropped] > 0.5, METAL, PORE)
    if len(levels.oxides) > 1 and levels.thresholds is None:
        labels = _trim_to_own_level(labels, place, levels.oxide_places, look.to_metal, look.to_pore)
    if levels.bright is not None:
        labels = _set_bright(labels, place, levels, sigma)
    return despeckle(labels, tests.speck_px)


def _narrow_gaps(to_metal: Nearness, reach: float) -> Mask:
    """Mark what a closing of the metal by a disc of radius ``reach`` would swallow."""
    return erode(np.asarray(to_metal <= chamfer_of(reach)), reach)


def _trim_to_own_level(
    labels: Labels,
    place: Grey,
    oxide_places: tuple[float, ...],
    to_metal: Nearness,
    to_pore: Nearness,
) -> Labels:
    """Where two oxides occur, cut each at the thresholds of its own grey."""
    oxide = labels == OXIDE
    metal_px, pore_px = in_pixels(to_metal[oxide]), in_pixels(to_pore[oxide])
    core = np.zeros(labels.shape, bool)
    core[oxide] = (np.abs(metal_px - pore_px) <= 1.5) | (np.minimum(metal_px, pore_px) >= 4)
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
    if core.all():
        return np.full_like(labels, BRIGHT)
    to_core = cv2.distanceTransform(1 - core, cv2.DIST_L2, cv2.DIST_MASK_PRECISE)
    halo = to_core <= 2.2 * sigma + 1.5
    if halo.all():
        return np.where(place > (1 + bright) / 2, np.uint8(BRIGHT), labels)
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
