"""What strokes teach: texture at several scales, and a forest of decision trees.

A person draws strokes over a few places of each class, and what the neighbourhood of each stroked pixel looks
like is learnt.
"""

import hashlib
import io
import json
import zipfile
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, field
from importlib.util import find_spec
from typing import Any, Self

import cv2
import numpy as np
from numpy.typing import NDArray

from teardown.science.errors import MeasurementError
from teardown.science.stereology.classes import BRIGHT, METAL, NAMES, OXIDE, PORE
from teardown.science.stereology.evening import Evened
from teardown.science.stereology.noise import Grey, Mask, noise_level
from teardown.science.stereology.shading import FLAT, FieldTooUneven, fit_gain
from teardown.science.stereology.windows import TILE_PX, Window, tiles_of

NO_STROKE = 255
SCALES_PX = (0.7, 1.5, 3.0, 6.0, 12.0)
KINDS = ("mean", "slope", "ridge", "hollow", "roughness")
FEATURES = tuple(f"{kind} at {scale:g} px" for scale in SCALES_PX for kind in KINDS)
# the widest Gaussian reaches four of its standard deviations, its derivatives one pixel more
HALO_PX = 56
FOREST_TILE_PX = 512
FEWEST_PIXELS = 50
MOST_PIXELS = 6000
MOST_STORED = 30_000_000


class NoForest(MeasurementError):
    """The optional library that grows decision trees is not there."""

    code = "stereology.E037"
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


@dataclass(frozen=True, slots=True)
class Stroked:
    """A part of a picture with what was stroked on it.

    ``grey`` and ``codes`` have one shape, rows and columns; ``corner`` is the first row and column of the
    part, ``picture`` the number of the picture that it belongs to.
    """

    grey: Grey
    codes: NDArray[np.uint8]
    corner: tuple[int, int] = (0, 0)
    picture: int = 0


def stroked_parts(
    evened: Evened,
    codes_of: Callable[[Window], NDArray[np.uint8]],
    *,
    picture: int = 0,
    tile_px: int = TILE_PX,
) -> list[Stroked]:
    """Give the parts of a picture of any size that bear strokes, each with what must lie around to be seen.

    What is learnt from them is what would be learnt from the whole, to the last pixel.

    Parameters
    ----------
    evened : Evened
        The picture with its gain field; greys are read window by window.
    codes_of : callable
        Gives the codes of a window: 255 where no stroke lies.
    picture : int
        A number for this picture among those of one sitting.
    """
    found = []
    for tile in tiles_of(evened.shape, tile_px):
        codes = codes_of(tile)
        rows, columns = np.nonzero(codes != NO_STROKE)
        if not len(rows):
            continue
        drawn = Window(
            tile.top + int(rows.min()),
            tile.top + int(rows.max()) + 1,
            tile.left + int(columns.min()),
            tile.left + int(columns.max()) + 1,
        )
        wide = drawn.wider(HALO_PX, evened.shape)
        placed = np.full(wide.shape, NO_STROKE, np.uint8)
        placed[drawn.inside(wide)] = codes[drawn.inside(tile)]
        found.append(Stroked(evened.even(wide), placed, (wide.top, wide.left), picture))
    return found


def train(
    strokes: Sequence[tuple[Grey, NDArray[np.uint8]] | Stroked], *, training: Training | None = None
) -> Trained:
    """Learn classes from strokes on one picture or several of one sitting.

    Parameters
    ----------
    strokes : sequence of (grey, codes) or Stroked
        Greys of shape (rows, columns) as :func:`even_grey` gives them, and as large a map of codes: 0 pore,
        1 oxide, 2 metal, 4 brighter than metal, 255 where no stroke lies; or the parts of a large picture as
        :func:`stroked_parts` gives them.
    training : Training, optional

    Raises
    ------
    NoForest
        If the optional library is missing.
    TooFewStrokes
        If fewer than two classes have 50 pixels, or one class was stroked with less.
    """
    training = training or Training()
    parts = [
        one if isinstance(one, Stroked) else Stroked(one[0], one[1], picture=number)
        for number, one in enumerate(strokes)
    ]
    features, codes, greys = _gather(parts, training)
    present = sorted(int(code) for code in np.unique(codes))
    counts = {NAMES[code]: int(np.count_nonzero(codes == code)) for code in present}
    few = [f"{n} of {name}" for name, n in counts.items() if n < FEWEST_PIXELS]
    if few or len(present) < 2:
        told = ", ".join(few) or f"only {', '.join(counts) or 'nothing'}"
        raise TooFewStrokes(f"The strokes cover {told}.")
    forest = grow(features, codes, training)
    called = np.argmax(forest.oob_decision_function_, axis=1)
    right = forest.classes_[called] == codes
    per_class = {NAMES[code]: float(np.mean(right[codes == code])) for code in present}
    levels = {NAMES[code]: float(np.median(greys[codes == code])) for code in present}
    accuracy = float(np.mean(list(per_class.values())))
    return Trained(features, codes, training, accuracy, per_class, counts, levels)


def _gather(
    parts: Sequence[Stroked], training: Training
) -> tuple[NDArray[np.float32], NDArray[np.uint8], NDArray[np.float32]]:
    """Take the features, codes and greys of stroked pixels, at most so many of each class, in an order that
    does not hang on the parts."""
    rng = np.random.default_rng(training.seed)
    wanted = [_places_of(parts, code) for code in (PORE, OXIDE, METAL, BRIGHT)]
    for number, places in enumerate(wanted):
        if len(places) > training.most_of_a_class:
            keep = rng.choice(len(places), training.most_of_a_class, replace=False)
            wanted[number] = places[np.sort(keep)]
    places = np.concatenate(wanted)
    if not len(places):
        raise TooFewStrokes("No stroke is drawn.")
    features = np.empty((len(places), len(FEATURES)), np.float32)
    codes, greys = np.empty(len(places), np.uint8), np.empty(len(places), np.float32)
    for number, part in enumerate(parts):
        mine = places[:, 0] == number
        if mine.any():
            at = places[mine, 1:]
            features[mine] = _features_at(part.grey, at)
            codes[mine] = part.codes[at[:, 0], at[:, 1]]
            greys[mine] = part.grey[at[:, 0], at[:, 1]]
    return features, codes, greys


def _places_of(parts: Sequence[Stroked], code: int) -> NDArray[np.int64]:
    """Give part, row and column of each pixel stroked with a class, as they lie in the pictures."""
    found = [np.empty((0, 6), np.int64)]
    for number, part in enumerate(parts):
        at = np.argwhere(part.codes == code)
        found.append(
            np.column_stack([np.tile([number, part.picture], (len(at), 1)), at, at + np.array(part.corner)])
        )
    rows = np.concatenate(found)
    order = np.lexsort((rows[:, 5], rows[:, 4], rows[:, 1]))
    return np.asarray(rows[order][:, [0, 2, 3]])


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
            stack = tile_features(grey, tile)
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


def tile_features(grey: Grey, tile: Window) -> NDArray[np.float32]:
    """Give a tile's features as they are in the whole picture."""
    wide = tile.wider(HALO_PX, (grey.shape[0], grey.shape[1]))
    return pixel_features(grey[wide.at])[tile.inside(wide)]


def grow(features: NDArray[np.float32], codes: NDArray[np.uint8], training: Training) -> Any:
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
