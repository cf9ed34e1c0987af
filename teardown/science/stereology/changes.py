"""What changed between two class maps of one field: how many pixels went from what to what, and where."""

import numpy as np
from numpy.typing import NDArray

from teardown.science.errors import MeasurementError
from teardown.science.stereology.classes import CLASSES
from teardown.science.stereology.overlay import COLOURS

_HATCH_STEP = 8


class UnlikeFields(MeasurementError):
    """The two class maps are not of one field."""

    code = "stereology.E040"
    hint = "Compare two measurements of the same picture."


def change_table(before: NDArray[np.uint8], after: NDArray[np.uint8]) -> NDArray[np.int64]:
    """Count pixels by their class before and after.

    Parameters
    ----------
    before, after : ndarray of uint8, shape (rows, columns)

    Returns
    -------
    ndarray of int64, shape (5, 5)
        Row: class before; column: class after. The diagonal is what stayed.

    Raises
    ------
    UnlikeFields
        If the maps differ in shape.
    """
    if before.shape != after.shape:
        raise UnlikeFields(f"One map has shape {before.shape}, the other {after.shape}.")
    both = before.astype(np.int64) * CLASSES + after
    return np.bincount(both.ravel(), minlength=CLASSES**2).reshape(CLASSES, CLASSES)


def tint_changes(
    before: NDArray[np.uint8], after: NDArray[np.uint8], *, origin: tuple[int, int] = (0, 0)
) -> NDArray[np.uint8]:
    """Give changed pixels as a layer: what they are now as ground, what they were as rising lines over it.

    Parameters
    ----------
    before, after : ndarray of uint8, shape (rows, columns)
    origin : tuple of int
        Row and column of the first pixel in the whole picture, so that lines meet at the seams of tiles.

    Returns
    -------
    ndarray of uint8, shape (rows, columns, 4)
        Red, green, blue, opacity; clear where nothing changed.
    """
    if before.shape != after.shape:
        raise UnlikeFields(f"One map has shape {before.shape}, the other {after.shape}.")
    rows = np.arange(origin[0], origin[0] + before.shape[0])[:, None]
    columns = np.arange(origin[1], origin[1] + before.shape[1])[None, :]
    lines = (rows + columns) % _HATCH_STEP < _HATCH_STEP // 4
    shown = np.where(lines, before, after)
    palette = np.zeros((CLASSES, 4), np.uint8)
    for code, colour in COLOURS.items():
        palette[code] = (*colour, 255)
    layer = palette[np.minimum(shown, CLASSES - 1)]
    layer[before == after] = 0
    return np.asarray(layer)
