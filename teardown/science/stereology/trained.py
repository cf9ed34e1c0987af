"""Classes by strokes, where grey alone does not part them.

Every pixel is called after what it resembles of what was stroked. Strokes inside grains hold no edges, so a
blurred edge may be called oxide: coverage from it is marked as trained, and is best held against a count by
eye.
"""

from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from teardown.science.stereology.classes import BRIGHT, EXCLUDED, METAL, NAMES, OXIDE, PORE, Levels
from teardown.science.stereology.evening import Evened
from teardown.science.stereology.interfaces import count_sums
from teardown.science.stereology.levels import LevelSearch
from teardown.science.stereology.mosaics import LARGEST_WHOLE, See, despeckled_any_size, label_map, release
from teardown.science.stereology.noise import Grey, Mask
from teardown.science.stereology.segmentation import Segmentation
from teardown.science.stereology.sensitivity import Sensitivity, Turned, from_turns, half_ranges
from teardown.science.stereology.settings import Settings
from teardown.science.stereology.strokes import (
    FEATURES,
    FOREST_TILE_PX,
    HALO_PX,
    NO_STROKE,
    NoForest,
    NotAClassifier,
    Stroked,
    TooFewStrokes,
    Trained,
    Training,
    even_grey,
    extra_is_there,
    grow,
    pixel_features,
    stroked_parts,
    tile_features,
    train,
)
from teardown.science.stereology.windows import TILE_PX, Window, middle_window, tiles_of

VOTES_MOVED = 26  # a tenth of 255
__all__ = [
    "FEATURES",
    "NO_STROKE",
    "NoForest",
    "NotAClassifier",
    "Stroked",
    "TooFewStrokes",
    "Trained",
    "Training",
    "classify",
    "even_grey",
    "extra_is_there",
    "levels_of",
    "pixel_features",
    "read_trained",
    "stroked_parts",
    "train",
    "votes",
]


def classify(
    trained: Trained,
    grey: Grey,
    *,
    only: tuple[slice, slice] | None = None,
    valid: Mask | None = None,
) -> NDArray[np.uint8]:
    """Call every pixel after what it resembles, tile by tile.

    Parameters
    ----------
    grey : ndarray of float32, shape (rows, columns)
        As :func:`even_grey` gives it.
    only : tuple of slice, optional
        The part that is to be called; what lies around serves to see by.
    valid : ndarray of bool, optional
        Which pixels of the part belong to the section.

    Raises
    ------
    NoForest
        If the optional library is missing.
    """
    return np.asarray(votes(trained, grey, only=only, valid=valid).argmax(axis=-1), np.uint8)


def votes(
    trained: Trained,
    grey: Grey,
    *,
    only: tuple[slice, slice] | None = None,
    valid: Mask | None = None,
) -> NDArray[np.uint8]:
    """Give the share of the trees, 0 to 255, that call each pixel pore, oxide, metal, left out, brighter.

    Returns
    -------
    ndarray of uint8, shape (rows, columns, 5)
    """
    forest = _forest_of(trained)
    rows, columns = only or (slice(0, grey.shape[0]), slice(0, grey.shape[1]))
    part = Window(rows.start, rows.stop, columns.start, columns.stop)
    found = np.zeros((*part.shape, len(NAMES)), np.uint8)
    for tile in tiles_of(part.shape, FOREST_TILE_PX):
        if valid is not None and not valid[tile.at].any():
            continue
        place = Window(
            tile.top + part.top, tile.bottom + part.top, tile.left + part.left, tile.right + part.left
        )
        stack = tile_features(grey, place)
        share = forest.predict_proba(stack.reshape(-1, len(FEATURES)))
        for column, code in enumerate(forest.classes_):
            found[(*tile.at, int(code))] = np.rint(share[:, column] * 255).reshape(tile.shape)
    return found


def read_trained(
    evened: Evened,
    trained: Trained,
    settings: Settings,
    *,
    see: See | None,
    tile_px: int = TILE_PX,
) -> tuple[LevelSearch, Segmentation, Sensitivity]:
    """Give the classes of a picture of any size by strokes, with what stands in for levels and their doubt.

    The doubt is read from the middle: the same votes again with a tenth of the trees moved to oxide and from
    it.
    """
    levels = levels_of(trained)
    shape = evened.shape
    labels: NDArray[np.uint8] = (
        np.empty(shape, np.uint8) if shape[0] * shape[1] <= LARGEST_WHOLE else label_map(shape)
    )
    for tile in tiles_of(shape, tile_px):
        wide = tile.wider(HALO_PX, shape)
        mask = evened.source.valid(tile)
        if see:
            see(tile, evened.calm(tile))
        called = classify(trained, evened.even(wide), only=tile.inside(wide), valid=mask)
        labels[tile.at] = called
        release(labels)
    labels = despeckled_any_size(labels, settings.strictness.speck_px, tile_px=tile_px)
    for tile in tiles_of(shape, tile_px):
        mask = evened.source.valid(tile)
        if mask is not None:
            labels[tile.at] = np.where(mask, labels[tile.at], np.uint8(EXCLUDED))
        release(labels)
    search = LevelSearch(levels, settings.edge_sigma_px or 1.0, 0.0, 0.0)
    cut = Segmentation(labels, levels.lower_place, levels.upper_place, 0.0, 0.0)
    return search, cut, _doubt_of(evened, trained) if settings.sensitivity else Sensitivity({}, {})


def _doubt_of(evened: Evened, trained: Trained) -> Sensitivity:
    middle = middle_window(evened.source)
    wide = middle.wider(HALO_PX, evened.shape)
    shares = votes(trained, evened.even(wide), only=middle.inside(wide)).astype(np.int16)
    mask = evened.source.valid(middle)
    found = []
    for sign in (-1, 1):
        moved = shares.copy()
        moved[..., OXIDE] += sign * VOTES_MOVED
        labels = moved.argmax(axis=-1).astype(np.uint8)
        if mask is not None:
            labels[~mask] = EXCLUDED
        found.append(count_sums(labels))
    return from_turns([Turned(VOTES_MOVED, half_ranges(*found))])


def levels_of(trained: Trained) -> Levels:
    """Give the median greys under the strokes as levels, marked as trained; they part nothing here."""
    pore = trained.levels.get(NAMES[PORE], 0.0)
    metal = trained.levels.get(NAMES[METAL], 1.0)
    oxide = trained.levels.get(NAMES[OXIDE], (pore + metal) / 2)
    return Levels(pore, (oxide,), metal, trained.levels.get(NAMES[BRIGHT]), "trained")


def _forest_of(trained: Trained) -> Any:
    return _grown(_Key(trained.digest, trained))


@dataclass(frozen=True, slots=True)
class _Key:
    """Stands for what was learnt, so that a forest is grown once for many pictures."""

    digest: str
    trained: Trained = field(compare=False, repr=False)


@lru_cache(maxsize=2)
def _grown(key: _Key) -> Any:
    return grow(key.trained.features, key.trained.codes, key.trained.training)
