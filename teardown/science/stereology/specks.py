"""Specks: bits of a class too small to be matter, given to what lies around them."""

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from teardown.science.stereology.classes import BRIGHT, EXCLUDED, METAL, OXIDE, PORE

Labels = NDArray[np.uint8]
# a body that fills a square of three by three pixels anywhere is no speck; the search goes by that
SQUARE = 9
ROUNDS = 4
# a pixel of which it is not yet known whether it belongs to something larger
_OPEN = np.uint8(255)
_HALF = ((0, 1), (1, -1), (1, 0), (1, 1))


def despeckle(labels: Labels, smallest: int) -> Labels:
    """Give specks of fewer than ``smallest`` pixels the class that prevails around them."""
    if smallest <= 1:
        return labels
    bad = _specks(labels, smallest) if smallest <= SQUARE else _small_bodies(labels, smallest)
    if not bad.any():
        return labels
    return _fill_from_around(labels, bad)


def _specks(labels: Labels, smallest: int) -> NDArray[np.uint8]:
    """Mark bodies of fewer than nine pixels or less, by looking only at pixels in no square of their class.

    Bodies without a square are few and thin, so they are joined as a sparse graph; one that touches a square
    of its own class is part of something larger.
    """
    square = np.ones((3, 3), np.uint8)
    even = (cv2.erode(labels, square) == cv2.dilate(labels, square)).astype(np.uint8)
    even[[0, -1], :] = 0  # beyond the picture nothing is known
    even[:, [0, -1]] = 0
    settled = cv2.dilate(even, square)
    around = np.full((labels.shape[0] + 2, labels.shape[1] + 2), _OPEN, np.uint8)
    around[1:-1, 1:-1] = np.where(settled > 0, labels, _OPEN)
    rows, columns = np.unravel_index(np.flatnonzero((settled == 0) & (labels != EXCLUDED)), labels.shape)
    # what touches a square of its class belongs to it, and so does what touches that
    for _ in range(ROUNDS):
        touches = _touches(labels, around, rows, columns)
        around[rows[touches] + 1, columns[touches] + 1] = labels[rows[touches], columns[touches]]
        rows, columns = rows[~touches], columns[~touches]
    bad = np.zeros(labels.shape, np.uint8)
    if not len(rows):
        return bad
    count, body_of = _join(labels, rows, columns)
    held = np.zeros(count, bool)
    held[body_of[_touches(labels, around, rows, columns)]] = True
    small = (np.bincount(body_of, minlength=count) < smallest) & ~held
    marked = small[body_of]
    bad[rows[marked], columns[marked]] = 1
    return bad


def _join(labels: Labels, rows: NDArray[np.intp], columns: NDArray[np.intp]) -> tuple[int, NDArray[np.int32]]:
    """Number the bodies that some pixels of like class make, diagonals included."""
    number = np.full((labels.shape[0] + 2, labels.shape[1] + 2), -1, np.int32)
    number[rows + 1, columns + 1] = np.arange(len(rows), dtype=np.int32)
    code = labels[rows, columns]
    first, second = [], []
    for down, across in _HALF:
        other = number[rows + 1 + down, columns + 1 + across]
        pair = np.flatnonzero(other >= 0)
        pair = pair[code[pair] == code[other[pair]]]
        first.append(pair)
        second.append(other[pair])
    one, two = np.concatenate(first), np.concatenate(second)
    graph = coo_matrix((np.ones(len(one), np.int8), (one, two)), shape=(len(rows), len(rows)))
    count, body = connected_components(graph, directed=False)
    return int(count), body


def _touches(
    labels: Labels, around: NDArray[np.uint8], rows: NDArray[np.intp], columns: NDArray[np.intp]
) -> NDArray[np.bool_]:
    """Tell which pixels have a neighbour of their own class in a framed map of what is settled."""
    code, width = labels[rows, columns], around.shape[1]
    corner, framed = rows * width + columns, around.ravel()
    touches = np.zeros(len(rows), bool)
    for down in (0, 1, 2):
        for across in (0, 1, 2):
            touches |= framed[corner + (down * width + across)] == code
    return touches


def _small_bodies(labels: Labels, smallest: int) -> NDArray[np.uint8]:
    bad = np.zeros(labels.shape, np.uint8)
    for code in (PORE, OXIDE, METAL, BRIGHT):
        mask = (labels == code).astype(np.uint8)
        count, parts, stats, _ = cv2.connectedComponentsWithStats(mask, connectivity=8)
        small = stats[:, cv2.CC_STAT_AREA] < smallest
        small[0] = False
        if count > 1 and small.any():
            bad |= small.astype(np.uint8)[parts]
    return bad


def _fill_from_around(labels: Labels, bad: NDArray[np.uint8]) -> Labels:
    """Fill marked pixels, from their settled neighbours inward, by majority in a 5 by 5 window."""
    frame = np.asarray(cv2.copyMakeBorder(labels, 2, 2, 2, 2, cv2.BORDER_REFLECT_101), np.uint8)
    open_ = np.asarray(cv2.copyMakeBorder(bad, 2, 2, 2, 2, cv2.BORDER_REFLECT_101), np.uint8)
    rows, columns = np.unravel_index(np.flatnonzero(bad != 0), bad.shape)
    for _ in range(3):
        if not len(rows):
            break
        votes = np.zeros((5, len(rows)), np.uint8)
        for down in range(5):
            for across in range(5):
                at = rows + down, columns + across
                seen = np.where(open_[at] == 0, frame[at], 255)
                for number, code in enumerate((PORE, OXIDE, METAL, EXCLUDED, BRIGHT)):
                    votes[number] += seen == code
        settled = votes.max(axis=0) > 0
        winner = votes.argmax(axis=0)[settled].astype(np.uint8)
        frame[rows[settled] + 2, columns[settled] + 2] = winner
        open_[rows[settled] + 2, columns[settled] + 2] = 0
        rows, columns = rows[~settled], columns[~settled]
        _mirror(frame)
        _mirror(open_)
    return np.ascontiguousarray(frame[2:-2, 2:-2])


def _mirror(frame: Labels) -> None:
    """Renew the two rows and columns beyond the rim, mirrored about the last pixel."""
    frame[[0, 1, -2, -1]] = frame[[4, 3, -4, -5]]
    frame[:, [0, 1, -2, -1]] = frame[:, [4, 3, -4, -5]]
