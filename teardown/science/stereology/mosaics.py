"""Classes of a picture of any size: in one piece, or tile by tile with a halo, to the same pixel.

Every test but one looks at most a few blurs far, so that a halo gives a tile's own pixels the classes that
they have in the whole. The one is whether a body of oxide, which may reach across the whole picture, is
matter: its pixels are counted tile by tile, and bodies that meet at a seam are counted as one.
"""

import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from mmap import MADV_DONTNEED
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from teardown.science.stereology.bodies import (
    BodyFacts,
    Strictness,
    core_pixels,
    good_bodies,
    level_pixels,
    near_level,
    number_bodies,
    numbered,
    small_share,
    surely_oxide,
)
from teardown.science.stereology.classes import EXCLUDED, Levels
from teardown.science.stereology.edges import Relief, false_rim_width
from teardown.science.stereology.evening import Evened
from teardown.science.stereology.interfaces import Sums, add_up, count_window
from teardown.science.stereology.noise import Grey
from teardown.science.stereology.segmentation import (
    FirstLook,
    Labels,
    Segmentation,
    distances,
    finished,
    first_look,
    place_of,
    rims_of,
    segment,
    tightened,
)
from teardown.science.stereology.specks import despeckle
from teardown.science.stereology.windows import TILE_PX, Window, tiles_of

HALO_PX = 64
LARGEST_WHOLE = 6_000_000
# how a pixel waits for the second round: its class by the thresholds, whether it may be oxide, whether it is
# nearer to metal
_CLASS, _KEPT, _UPPER = np.uint8(7), np.uint8(8), np.uint8(16)
See = Callable[[Window, Grey], None]


@dataclass(frozen=True, slots=True)
class _Seam:
    """Bodies of a tile along its four rims, by number; 0 where there is none."""

    top: NDArray[np.int64]
    bottom: NDArray[np.int64]
    left: NDArray[np.int64]
    right: NDArray[np.int64]


def segment_any_size(
    evened: Evened,
    levels: Levels,
    sigma: float,
    *,
    tests: Strictness | None = None,
    see: See | None = None,
    tile_px: int = TILE_PX,
    largest_whole: int = LARGEST_WHOLE,
) -> Segmentation:
    """Assign classes to a picture of any size, as :func:`segment` does; large ones tile by tile.

    Parameters
    ----------
    evened : Evened
        The picture, made even and calm window by window.
    see : callable, optional
        Is shown each window, without halo, with its calm greys.

    Returns
    -------
    Segmentation
        The labels of a large picture lie in a nameless file on the disk, mapped into memory.
    """
    shape = evened.shape
    whole = Window(0, shape[0], 0, shape[1])
    if shape[0] * shape[1] <= largest_whole:
        calm = evened.calm(whole)
        if see:
            see(whole, calm)
        return segment(calm, levels, sigma, tests=tests, valid=evened.source.valid(whole))
    tests = tightened(tests or Strictness(), levels)
    waiting = label_map(shape)
    tiles = list(tiles_of(shape, tile_px))
    facts, seams, unresolved, inside = [], [], 0, 0
    for tile in tiles:
        told, seam, pinched, counted = _first_round(evened, tile, levels, sigma, tests, waiting, see)
        facts.append(told)
        seams.append(seam)
        unresolved, inside = unresolved + pinched, inside + counted
        release(waiting)
    good, sure, small = _decide(tiles, facts, seams, sigma, tests, told=levels.source != "prior")
    for tile, wanted in zip(tiles, good, strict=True):
        codes = np.array(waiting[tile.at])
        kept = (codes & _KEPT) > 0
        _, parts = numbered(kept)
        left = np.flatnonzero(kept)
        left = left[~wanted[parts.ravel()[left]]]
        codes.ravel()[left] &= ~_KEPT
        waiting[tile.at] = codes
        release(waiting)
    labels = label_map(shape)
    as_read: list[Sums] = []
    for tile in tiles:
        labels[tile.at] = _second_round(
            evened, tile, levels, sigma, tests, waiting, None if sure else as_read
        )
        release(waiting)
        release(labels)
    band = false_rim_width(levels.lower_place, levels.upper_place, sigma)
    return Segmentation(
        labels,
        levels.lower_place,
        levels.upper_place,
        band,
        unresolved / max(inside, 1),
        add_up(as_read) if as_read and any(one.any() for one in good) else None,
        small,
    )


def _first_round(
    evened: Evened,
    tile: Window,
    levels: Levels,
    sigma: float,
    tests: Strictness,
    waiting: Labels,
    see: See | None,
) -> tuple[BodyFacts, _Seam, int, int]:
    """Read a tile by its greys; leave what each pixel may be, and count its bodies of oxide."""
    wide = tile.wider(HALO_PX, evened.shape)
    core = tile.inside(wide)
    calm = evened.calm(wide)
    if see:
        see(tile, calm[core])
    place = place_of(calm, levels)
    look = first_look(place, levels, tests)
    kept, pinched = rims_of(look, levels, sigma, tests)
    level = level_pixels(kept, place, Relief.of(calm), levels.contrast, sigma)
    kept = near_level(kept, level, look.to_pore, sigma)
    thick, level = core_pixels(kept, sigma, tests)[core], level[core]
    upper = (place[core] > 0.5).view(np.uint8)
    waiting[tile.at] = look.labels[core] | _KEPT * kept.view(np.uint8)[core] | _UPPER * upper
    facts = number_bodies(np.ascontiguousarray(kept[core]), thick, level)
    parts = facts.parts.astype(np.int64)
    seam = _Seam(parts[0].copy(), parts[-1].copy(), parts[:, 0].copy(), parts[:, -1].copy())
    mask = evened.source.valid(tile)
    unresolved = pinched[core] if mask is None else pinched[core] & mask
    counted = pinched[core].size if mask is None else int(np.count_nonzero(mask))
    return (
        BodyFacts(np.empty((0, 0), np.int32), facts.area, facts.level, facts.core),
        seam,
        int(np.count_nonzero(unresolved)),
        counted,
    )


def _second_round(
    evened: Evened,
    tile: Window,
    levels: Levels,
    sigma: float,
    tests: Strictness,
    waiting: Labels,
    as_read: list[Sums] | None,
) -> Labels:
    """Give a tile its classes, now that it is known which bodies are matter.

    With ``as_read``, none is called oxide, and what it would have added up to is put there.
    """
    wide = tile.wider(HALO_PX, evened.shape)
    codes = np.asarray(waiting[wide.at])
    first = codes & _CLASS
    kept = (codes & _KEPT) > 0
    if levels.bright is not None or (len(levels.oxides) > 1 and levels.thresholds is None):
        place = place_of(evened.calm(wide), levels)
        look = FirstLook(first, *distances(first))
    else:
        # only the side of the middle that a pixel lies on is still asked for
        place = ((codes & _UPPER) > 0).astype(np.float32)
        nothing = np.empty((0, 0), np.float32)
        look = FirstLook(first, nothing, nothing)
    at = tile.inside(wide)
    mask = evened.source.valid(wide)
    if as_read is not None:
        read = finished(look, kept, place, levels, sigma, tests)
        if mask is not None:
            read[~mask] = EXCLUDED
        as_read.append(count_window(read, *at))
        kept = np.zeros_like(kept)
    labels = finished(look, kept, place, levels, sigma, tests)
    if mask is not None:
        labels[~mask] = EXCLUDED
    return np.ascontiguousarray(labels[at])


def _decide(
    tiles: list[Window],
    facts: list[BodyFacts],
    seams: list[_Seam],
    sigma: float,
    tests: Strictness,
    *,
    told: bool,
) -> tuple[list[NDArray[np.bool_]], bool, float]:
    """Join bodies that meet at a seam, diagonals included; tell for each tile which are matter, and whether
    they may be called oxide."""
    starts = np.cumsum([0, *(len(one.area) for one in facts)])
    links: list[NDArray[np.int64]] = []
    bands: dict[int, list[int]] = {}
    for number, tile in enumerate(tiles):
        bands.setdefault(tile.top, []).append(number)
    above: NDArray[np.int64] | None = None
    for band in bands.values():
        for one, other in pairwise(band):
            links += _meet(_of_all(seams[one].right, starts[one]), _of_all(seams[other].left, starts[other]))
        top = np.concatenate([_of_all(seams[number].top, starts[number]) for number in band])
        if above is not None:
            links += _meet(above, top)
        above = np.concatenate([_of_all(seams[number].bottom, starts[number]) for number in band])
    total = int(starts[-1])
    pairs = np.concatenate(links) if links else np.empty((0, 2), np.int64)
    graph = coo_matrix((np.ones(len(pairs), np.int8), (pairs[:, 0], pairs[:, 1])), shape=(total, total))
    count, body = connected_components(graph, directed=False)
    area, level, core = (
        np.bincount(body, weights=np.concatenate([getattr(one, name) for one in facts]), minlength=count)
        for name in ("area", "level", "core")
    )
    # number 0 of every tile is what lies between the bodies
    between = np.zeros(total, bool)
    between[starts[:-1]] = True
    joined = good_bodies(area.astype(np.int64), level.astype(np.int64), core > 0, sigma, tests)
    joined[np.bincount(body, weights=between, minlength=count) > 0] = False
    sure = surely_oxide(area.astype(np.int64), level.astype(np.int64), joined, sigma, told=told)
    good = joined[body]
    small = small_share(area.astype(np.int64), joined, sigma)
    return [good[start:end] for start, end in pairwise(starts)], sure, small


def _of_all(bodies: NDArray[np.int64], start: int) -> NDArray[np.int64]:
    """Number a tile's bodies among those of all tiles; 0 stays none."""
    return np.where(bodies > 0, bodies + start, 0)


def _meet(one: NDArray[np.int64], other: NDArray[np.int64]) -> list[NDArray[np.int64]]:
    """Pair the bodies on both sides of a seam that touch, straight or across a corner."""
    links = []
    for shift in (-1, 0, 1):
        a = one[max(-shift, 0) : len(one) - max(shift, 0)]
        b = other[max(shift, 0) : len(other) - max(-shift, 0)]
        both = (a > 0) & (b > 0)
        if both.any():
            links.append(np.unique(np.column_stack([a[both], b[both]]), axis=0))
    return links


def label_map(shape: tuple[int, int]) -> Labels:
    """Give room for the classes of a large picture: a file without a name, mapped into memory."""
    with tempfile.TemporaryFile(prefix="classes-") as file:
        return np.memmap(file, np.uint8, "w+", shape=shape)


def release(labels: Any) -> None:
    """Let go of the memory that a mapped file holds; what was written stays in the file."""
    while labels is not None and not isinstance(labels, np.memmap):
        labels = getattr(labels, "base", None)
    mapped = getattr(labels, "_mmap", None)
    if mapped is not None:
        mapped.madvise(MADV_DONTNEED)


def despeckled_any_size(labels: Labels, smallest: int, *, tile_px: int = TILE_PX) -> Labels:
    """Take specks away from a class map of any size, to the same pixel in every cut."""
    shape = labels.shape[0], labels.shape[1]
    cleaned = label_map(shape) if labels.size > LARGEST_WHOLE else np.empty(shape, np.uint8)
    for tile in tiles_of(shape, tile_px):
        wide = tile.wider(HALO_PX, shape)
        cleaned[tile.at] = despeckle(np.ascontiguousarray(labels[wide.at]), smallest)[tile.inside(wide)]
        release(labels)
        release(cleaned)
    return cleaned
