"""Lengths of the lines between classes, by counting neighbours of unlike class.

Counts of pixels and of neighbour pairs add up exactly over tiles, as each pair belongs to the tile of its
first pixel.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import atan, pi, sqrt

import cv2
import numpy as np
from numpy.typing import NDArray

from teardown.science.stereology.classes import BRIGHT, CLASSES, EXCLUDED, METAL, OXIDE, PORE

# offsets (down, across) of a pixel's partner: axes, diagonals, knight's moves
DIRECTIONS = ((0, 1), (1, 0), (1, 1), (1, -1), (1, 2), (1, -2), (2, 1), (2, -1))
_AXIS, _DIAGONAL = atan(0.5), pi / 4 - atan(0.5)
_KNIGHT = pi / 8
_WEIGHTS_4 = np.array([1, 1, 1 / sqrt(2), 1 / sqrt(2), 0, 0, 0, 0]) * pi / 4
_WEIGHTS_8 = np.array(
    [_AXIS / 1, _AXIS / 1, _DIAGONAL / sqrt(2), _DIAGONAL / sqrt(2), *[_KNIGHT / sqrt(5)] * 4]
)


@dataclass(frozen=True, slots=True)
class Sums:
    """What adds up over tiles: pixels of each class, and neighbour pairs by direction and classes.

    Attributes
    ----------
    counts : ndarray of int64, shape (5,)
    pairs : ndarray of int64, shape (8, 5, 5)
        First pixel's class, then its partner's.
    """

    counts: NDArray[np.int64]
    pairs: NDArray[np.int64]

    def __add__(self, other: "Sums") -> "Sums":
        """Add two tiles."""
        return Sums(self.counts + other.counts, self.pairs + other.pairs)

    @property
    def area_px(self) -> int:
        """Count the pixels that belong to the section."""
        return int(self.counts.sum() - self.counts[EXCLUDED])

    def fraction(self, code: int) -> float:
        """Give the share of the section's pixels that a class holds."""
        return float(self.counts[code] / self.area_px) if self.area_px else 0.0

    def transitions(self, first: int, second: int) -> NDArray[np.int64]:
        """Count pairs of two classes, in either order, for each of the eight directions."""
        return np.asarray(self.pairs[:, first, second] + self.pairs[:, second, first])

    def line_length_px(self, first: int, second: int, *, directions: int = 4) -> float:
        """Give the length of the line between two classes, in pixels.

        Cauchy and Crofton: length is pi/2 times the mean count of crossings per unit of test line; here
        with four directions (or eight), each weighted by the angle it stands for and by the spacing of its
        test lines.
        """
        return length_of(self.transitions(first, second), directions=directions)

    @property
    def metal_outline_px(self) -> float:
        """Length of the metal outline against oxide and pore; against brighter matter it does not count."""
        return self.line_length_px(METAL, OXIDE) + self.line_length_px(METAL, PORE)

    @property
    def coverage(self) -> float:
        """Share of the metal outline that touches oxide."""
        return _share(self.line_length_px(METAL, OXIDE), self.line_length_px(METAL, PORE))

    @property
    def wetted_oxide_share(self) -> float:
        """Share of the pore wall that is oxide: what the electrolyte meets."""
        return _share(self.line_length_px(OXIDE, PORE), self.line_length_px(METAL, PORE))


def length_of(transitions: NDArray[np.int64], *, directions: int = 4) -> float:
    """Give the length of a line, in pixels, from its crossings in each of the eight directions."""
    weights = _WEIGHTS_4 if directions == 4 else _WEIGHTS_8
    return float(0.5 * (weights * transitions).sum())


def _share(part: float, rest: float) -> float:
    return part / (part + rest) if part + rest else 0.0


def count_sums(labels: NDArray[np.uint8], *, directions: int = 8) -> Sums:
    """Count the pixels and neighbour pairs of a whole label map; with four directions the knight's moves
    stay uncounted."""
    return _count(labels, labels.shape, directions=directions)


def add_up(parts: Sequence[Sums]) -> Sums:
    """Add the sums of all tiles."""
    total = parts[0]
    for part in parts[1:]:
        total = total + part
    return total


def count_window(view: NDArray[np.uint8], rows: slice, columns: slice, *, directions: int = 8) -> Sums:
    """Count a window of a map: its pixels, and the pairs whose first pixel lies in it."""
    below = view[rows.start :]
    core = rows.stop - rows.start, columns.stop - columns.start
    return _count(below, core, columns.start, directions=directions)


def tile_sums(labels: NDArray[np.uint8], size: int = 512, *, rows: int | None = None) -> list[Sums]:
    """Count tile by tile, row after row; the tiles add up to :func:`count_sums` to the last pair.

    With ``rows``, only so many rows from the top are counted; those below serve as their partners.
    """
    columns = labels.shape[1]
    rows = min(rows or labels.shape[0], labels.shape[0])
    tiles = []
    for top in range(0, rows, size):
        for left in range(0, columns, size):
            bottom, right = min(top + size, rows), min(left + size, columns)
            # two more rows below and columns on both sides hold the partners of the tile's own pixels
            start = max(left - 2, 0)
            view = labels[top : min(bottom + 2, labels.shape[0]), start : min(right + 2, columns)]
            tiles.append(_count(view, (bottom - top, right - left), left - start))
    return tiles


def _count(view: NDArray[np.uint8], core: tuple[int, ...], left: int = 0, *, directions: int = 8) -> Sums:
    rows, columns = core
    counts = _histogram(np.ascontiguousarray(view[:rows, left : left + columns]), CLASSES)
    pairs = np.zeros((len(DIRECTIONS), CLASSES, CLASSES), np.int64)
    scaled = view * np.uint8(CLASSES)
    for number, (down, across) in enumerate(DIRECTIONS[:directions]):
        last_row = min(rows, view.shape[0] - down)
        first = max(left, -across)
        last = min(left + columns, view.shape[1] - max(across, 0))
        if last_row <= 0 or last <= first:
            continue
        codes = scaled[:last_row, first:last] + view[down : last_row + down, first + across : last + across]
        pairs[number] = _histogram(codes, CLASSES * CLASSES).reshape(CLASSES, CLASSES)
    return Sums(counts, pairs)


def _histogram(codes: NDArray[np.uint8], size: int) -> NDArray[np.int64]:
    # calcHist counts in float32, exact below 2**24; larger maps are counted by rows
    if codes.size >= 2**24:
        half = codes.shape[0] // 2
        return _histogram(codes[:half], size) + _histogram(codes[half:], size)
    flat = np.ascontiguousarray(codes).ravel()
    # two codes at a time, as one number of 16 bits, take a third of the time of one by one
    twos = flat[: flat.size // 2 * 2].view(np.uint16).reshape(-1, 1)
    found = np.zeros(size, np.int64)
    if twos.size:
        counts = cv2.calcHist([twos], [0], None, [size * 256], [0, size * 256]).astype(np.int64)
        found += counts.reshape(size, 256).sum(axis=1)
        found += counts.reshape(size, 256).sum(axis=0)[:size]
    if flat.size % 2:
        found[flat[-1]] += 1
    return found


SOLID = (OXIDE, METAL, BRIGHT)
