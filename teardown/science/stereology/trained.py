"""Classes by strokes, where grey alone does not part them: texture at several scales, and a forest of
decision trees.

A person draws strokes over a few places of each class. What the neighbourhood of each stroked pixel looks
like is learnt, and every pixel is called after what it resembles. Strokes inside grains hold no edges, so a
blurred edge may be called oxide: coverage from it is marked as trained, and is best held against a count by
eye.
"""

import hashlib
import io
import json
import zipfile
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, field
from functools import lru_cache
from importlib.util import find_spec
from typing import Any, Self

import cv2
import numpy as np
from numpy.typing import NDArray

from teardown.science.errors import MeasurementError
from teardown.science.stereology.classes import BRIGHT, EXCLUDED, METAL, NAMES, OXIDE, PORE, Levels
from teardown.science.stereology.evening import Evened
from teardown.science.stereology.interfaces import count_sums
from teardown.science.stereology.levels import LevelSearch
from teardown.science.stereology.mosaics import LARGEST_WHOLE, despeckled_any_size, label_map, release
from teardown.science.stereology.noise import Grey, Mask, noise_level
from teardown.science.stereology.segmentation import Segmentation
from teardown.science.stereology.sensitivity import Sensitivity, from_pairs
from teardown.science.stereology.settings import Settings
from teardown.science.stereology.shading import FLAT, FieldTooUneven, fit_gain
from teardown.science.stereology.windows import TILE_PX, Window, middle_window, tiles_of

NO_STROKE = 255
SCALES_PX = (0.7, 1.5, 3.0, 6.0, 12.0)
KINDS = ("mean", "slope", "ridge", "hollow", "roughness")
FEATURES = tuple(f"{kind} at {scale:g} px" for scale in SCALES_PX for kind in KINDS)
# the widest Gaussian reaches four of its standard deviations, its derivatives one pixel more
HALO_PX = 56
FOREST_TILE_PX = 512
VOTES_MOVED = 26  # a tenth of 255
FEWEST_PIXELS = 50
MOST_PIXELS = 6000
MOST_STORED = 30_000_000


class NoForest(MeasurementError):
    """The optional library that grows decision trees is not there."""

    code = "stereology.E030"
    hint = "Install the optional extra: pip install 'teardown[trained]'."


class TooFewStrokes(MeasurementError):
    """The strokes do not say enough."""

    code = "stereology.E031"
    hint = f"Draw over at least {FEWEST_PIXELS} pixels of pore, of metal, and of oxide if there is any."


class NotAClassifier(MeasurementError):
    """The stored classifier cannot be read."""

    code = "stereology.E032"
    hint = "Train again from the strokes, which are kept."


@dataclass(frozen=True, slots=True)
class Training:
    """How a forest is grown: trees, the fewest pixels a leaf may hold, the most pixels taken of each class,
    and the seed."""

    trees: int = 60
    fewest_in_leaf: int = 3
    most_of_a_class: int = MOST_PIXELS
    seed: int = 0


@dataclass(frozen=True, slots=True)
class Trained:
    """What strokes taught: the pixels learnt from, and how well each is called by trees that never saw it.

    Attributes
    ----------
    accuracy : float
        Mean over the classes of the share of stroked pixels called rightly out of bag, 0 to 1. Neighbours in
        one stroke resemble each other, so that it flatters where strokes are few and thick.
    per_class : dict of float
        That share, by the class's words.
    counts : dict of int
        Pixels learnt from, by the class's words.
    levels : dict of float
        Median grey under the strokes, by the class's words.
    """

    features: NDArray[np.float32] = field(repr=False)
    codes: NDArray[np.uint8] = field(repr=False)
    training: Training
    accuracy: float
    per_class: dict[str, float]
    counts: dict[str, int]
    levels: dict[str, float]

    @property
    def n(self) -> int:
        """Count the pixels that were learnt from."""
        return len(self.codes)

    @property
    def digest(self) -> str:
        """Give the digest of what was learnt from, with how."""
        lasting = hashlib.sha256(self.features.tobytes())
        lasting.update(self.codes.tobytes())
        lasting.update(json.dumps(asdict(self.training), sort_keys=True).encode())
        return lasting.hexdigest()

    def to_bytes(self) -> bytes:
        """Give it as bytes: plain arrays and words, from which the same forest grows again; no code."""
        out = io.BytesIO()
        about = {
            "training": asdict(self.training),
            "accuracy": self.accuracy,
            "per_class": self.per_class,
            "counts": self.counts,
            "levels": self.levels,
            "features": list(FEATURES),
        }
        words = np.frombuffer(json.dumps(about).encode(), np.uint8)
        np.savez_compressed(out, features=self.features, codes=self.codes, about=words)
        return out.getvalue()

    @classmethod
    def from_bytes(cls, data: bytes) -> Self:
        """Read it back.

        Raises
        ------
        NotAClassifier
            If the bytes are none of ours, or were made with other features.
        """
        try:
            _check_sizes(data)
            with np.load(io.BytesIO(data), allow_pickle=False) as stored:
                about = json.loads(stored["about"].tobytes())
                features, codes = stored["features"], stored["codes"]
            if about["features"] != list(FEATURES) or features.shape != (len(codes), len(FEATURES)):
                raise NotAClassifier("It was trained on other features than these.")
            return cls(
                np.ascontiguousarray(features, np.float32),
                np.ascontiguousarray(codes, np.uint8),
                Training(**about["training"]),
                float(about["accuracy"]),
                about["per_class"],
                about["counts"],
                about["levels"],
            )
        except (ValueError, KeyError, TypeError, OSError, EOFError, zipfile.BadZipFile) as error:
            raise NotAClassifier(f"The bytes hold no classifier ({type(error).__name__}).") from error


def _check_sizes(data: bytes) -> None:
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        total = sum(member.file_size for member in archive.infolist())
    if total > MOST_STORED:
        raise NotAClassifier(f"It would unfold to {total // 1_000_000} MB.")


def extra_is_there() -> bool:
    """Tell whether the optional library that grows decision trees is installed."""
    return find_spec("sklearn") is not None


def even_grey(grey: Grey, valid: Mask | None = None) -> Grey:
    """Divide the microscope's gain field out of a whole picture, before strokes are learnt or applied.

    Where the greys are too strange for a gain field to be told, the picture is taken as it is.
    """
    grey = np.ascontiguousarray(grey, np.float32)
    try:
        gain = fit_gain(grey, noise_level(grey, valid), valid)
    except FieldTooUneven:
        gain = FLAT
    return np.asarray(cv2.divide(grey, gain.on(grey.shape)), np.float32)


def train(strokes: Sequence[tuple[Grey, NDArray[np.uint8]]], *, training: Training | None = None) -> Trained:
    """Learn classes from strokes on one picture or several of one sitting.

    Parameters
    ----------
    strokes : sequence of (grey, codes)
        Greys of shape (rows, columns) as :func:`even_grey` gives them, and as large a map of codes: 0 pore,
        1 oxide, 2 metal, 4 brighter than metal, 255 where no stroke lies.
    training : Training, optional

    Raises
    ------
    NoForest
        If the optional library is missing.
    TooFewStrokes
        If fewer than two classes have 50 pixels, or one class was stroked with less.
    """
    training = training or Training()
    features, codes, greys = _gather(strokes, training)
    present = sorted(int(code) for code in np.unique(codes))
    counts = {NAMES[code]: int(np.count_nonzero(codes == code)) for code in present}
    few = [f"{n} of {name}" for name, n in counts.items() if n < FEWEST_PIXELS]
    if few or len(present) < 2:
        told = ", ".join(few) or f"only {', '.join(counts) or 'nothing'}"
        raise TooFewStrokes(f"The strokes cover {told}.")
    forest = _grow(features, codes, training)
    called = np.argmax(forest.oob_decision_function_, axis=1)
    right = forest.classes_[called] == codes
    per_class = {NAMES[code]: float(np.mean(right[codes == code])) for code in present}
    levels = {NAMES[code]: float(np.median(greys[codes == code])) for code in present}
    accuracy = float(np.mean(list(per_class.values())))
    return Trained(features, codes, training, accuracy, per_class, counts, levels)


def _gather(
    strokes: Sequence[tuple[Grey, NDArray[np.uint8]]], training: Training
) -> tuple[NDArray[np.float32], NDArray[np.uint8], NDArray[np.float32]]:
    """Take the features, codes and greys of stroked pixels, at most so many of each class."""
    rng = np.random.default_rng(training.seed)
    places: list[tuple[int, NDArray[np.int64]]] = []
    for code in (PORE, OXIDE, METAL, BRIGHT):
        found = [np.argwhere(drawn == code) for _, drawn in strokes]
        numbered = np.concatenate(
            [np.column_stack([np.full(len(at), k), at]) for k, at in enumerate(found)]
            or [np.empty((0, 3), int)]
        )
        if len(numbered) > training.most_of_a_class:
            keep = rng.choice(len(numbered), training.most_of_a_class, replace=False)
            numbered = numbered[np.sort(keep)]
        places.append((code, numbered))
    rows, codes, greys = [], [], []
    for number, (grey, _) in enumerate(strokes):
        wanted = [(code, at[at[:, 0] == number][:, 1:]) for code, at in places]
        points = np.concatenate([at for _, at in wanted])
        if len(points):
            rows.append(_features_at(grey, points))
            codes.append(np.concatenate([np.full(len(at), code, np.uint8) for code, at in wanted]))
            greys.append(np.asarray(grey[points[:, 0], points[:, 1]], np.float32))
    if not rows:
        raise TooFewStrokes("No stroke is drawn.")
    return np.concatenate(rows), np.concatenate(codes), np.concatenate(greys)


def _features_at(grey: Grey, points: NDArray[np.int64]) -> NDArray[np.float32]:
    """Give the features of some pixels, tile by tile where any lie."""
    found = np.empty((len(points), len(FEATURES)), np.float32)
    for tile in tiles_of((grey.shape[0], grey.shape[1]), FOREST_TILE_PX):
        inside = (
            (points[:, 0] >= tile.top)
            & (points[:, 0] < tile.bottom)
            & (points[:, 1] >= tile.left)
            & (points[:, 1] < tile.right)
        )
        if inside.any():
            stack = _tile_features(grey, tile)
            found[inside] = stack[points[inside, 0] - tile.top, points[inside, 1] - tile.left]
    return found


def pixel_features(grey: Grey) -> NDArray[np.float32]:
    """Describe each pixel's neighbourhood at five scales.

    Returns
    -------
    ndarray of float32, shape (rows, columns, 25)
        At each scale: the mean grey, the slope, the larger and the smaller principal curvature (both times
        the scale, so that scales compare), and the standard deviation.
    """
    grey = np.ascontiguousarray(grey, np.float32)
    found = []
    for scale in SCALES_PX:
        mean = cv2.GaussianBlur(grey, (0, 0), scale)
        square = cv2.GaussianBlur(grey * grey, (0, 0), scale)
        across = cv2.Sobel(mean, cv2.CV_32F, 1, 0, ksize=3, scale=scale / 8)
        down = cv2.Sobel(mean, cv2.CV_32F, 0, 1, ksize=3, scale=scale / 8)
        xx = cv2.Sobel(mean, cv2.CV_32F, 2, 0, ksize=3, scale=scale**2 / 4)
        yy = cv2.Sobel(mean, cv2.CV_32F, 0, 2, ksize=3, scale=scale**2 / 4)
        xy = cv2.Sobel(mean, cv2.CV_32F, 1, 1, ksize=3, scale=scale**2 / 4)
        half, turn = (xx + yy) / 2, cv2.magnitude((xx - yy) / 2, xy)
        found += [
            mean,
            cv2.magnitude(across, down),
            half + turn,
            half - turn,
            np.sqrt(np.maximum(square - mean * mean, np.float32(0))),
        ]
    return np.stack(found, axis=-1).astype(np.float32)


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
        stack = _tile_features(grey, place)
        share = forest.predict_proba(stack.reshape(-1, len(FEATURES)))
        for column, code in enumerate(forest.classes_):
            found[(*tile.at, int(code))] = np.rint(share[:, column] * 255).reshape(tile.shape)
    return found


def read_trained(
    evened: Evened,
    trained: Trained,
    settings: Settings,
    *,
    see: Callable[[Window, Grey], None],
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
    return from_pairs([(found[0], found[1])])


def levels_of(trained: Trained) -> Levels:
    """Give the median greys under the strokes as levels, marked as trained; they part nothing here."""
    pore = trained.levels.get(NAMES[PORE], 0.0)
    metal = trained.levels.get(NAMES[METAL], 1.0)
    oxide = trained.levels.get(NAMES[OXIDE], (pore + metal) / 2)
    return Levels(pore, (oxide,), metal, trained.levels.get(NAMES[BRIGHT]), "trained")


def _tile_features(grey: Grey, tile: Window) -> NDArray[np.float32]:
    """Give a tile's features as they are in the whole picture."""
    wide = tile.wider(HALO_PX, (grey.shape[0], grey.shape[1]))
    return pixel_features(grey[wide.at])[tile.inside(wide)]


def _forest_of(trained: Trained) -> Any:
    return _grown(_Key(trained.digest, trained))


@dataclass(frozen=True, slots=True)
class _Key:
    """Stands for what was learnt, so that a forest is grown once for many pictures."""

    digest: str
    trained: Trained = field(compare=False, repr=False)


@lru_cache(maxsize=2)
def _grown(key: _Key) -> Any:
    return _grow(key.trained.features, key.trained.codes, key.trained.training)


def _grow(features: NDArray[np.float32], codes: NDArray[np.uint8], training: Training) -> Any:
    """Grow the forest: seeded, so that the same strokes give the same classes."""
    if not extra_is_there():
        raise NoForest("Strokes cannot be learnt: scikit-learn is not installed.")
    from sklearn.ensemble import RandomForestClassifier

    forest = RandomForestClassifier(
        n_estimators=training.trees,
        min_samples_leaf=training.fewest_in_leaf,
        max_features="sqrt",
        class_weight="balanced_subsample",
        oob_score=True,
        n_jobs=1,
        random_state=training.seed,
    )
    return forest.fit(features, codes)
