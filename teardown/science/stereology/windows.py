"""Greys of any size, window by window: what is measured need never be in memory as a whole."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from teardown.science.stereology.noise import Grey, Mask

TILE_PX = 2048


@dataclass(frozen=True, slots=True)
class Window:
    """Rows from ``top`` up to ``bottom`` and columns from ``left`` up to ``right`` of a picture."""

    top: int
    bottom: int
    left: int
    right: int

    @property
    def rows(self) -> slice:
        """Its rows."""
        return slice(self.top, self.bottom)

    @property
    def columns(self) -> slice:
        """Its columns."""
        return slice(self.left, self.right)

    @property
    def at(self) -> tuple[slice, slice]:
        """Its place as an index."""
        return self.rows, self.columns

    @property
    def shape(self) -> tuple[int, int]:
        """Its rows and columns, counted."""
        return self.bottom - self.top, self.right - self.left

    def wider(self, by: int, shape: tuple[int, int]) -> "Window":
        """Give the window with a halo, cut off at the picture's rim."""
        return Window(
            max(self.top - by, 0),
            min(self.bottom + by, shape[0]),
            max(self.left - by, 0),
            min(self.right + by, shape[1]),
        )

    def inside(self, outer: "Window") -> tuple[slice, slice]:
        """Give its place in an array that holds a wider window."""
        return (
            slice(self.top - outer.top, self.bottom - outer.top),
            slice(self.left - outer.left, self.right - outer.left),
        )


def tiles_of(shape: tuple[int, int], size: int = TILE_PX) -> Iterator[Window]:
    """Cut a picture into windows, row after row; those at the far rims are smaller."""
    for top in range(0, shape[0], size):
        for left in range(0, shape[1], size):
            yield Window(top, min(top + size, shape[0]), left, min(left + size, shape[1]))


def middle_of(shape: tuple[int, int], side: int = 1024) -> Window:
    """Give the window in the middle, at most so wide and high."""
    rows, columns = min(shape[0], side), min(shape[1], side)
    top, left = (shape[0] - rows) // 2, (shape[1] - columns) // 2
    return Window(top, top + rows, left, left + columns)


class Source(Protocol):
    """A picture that is read window by window; windows may overlap and are asked for from the top down."""

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        ...

    def grey(self, window: Window) -> Grey:
        """Give greys from 0 (black) to 1 (white) of a window."""
        ...

    def valid(self, window: Window) -> Mask | None:
        """Tell which pixels of a window belong to the section; None if all do."""
        ...


@dataclass(frozen=True, slots=True)
class ArraySource:
    """A picture that is in memory already."""

    whole: Grey
    mask: Mask | None = None

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return self.whole.shape[0], self.whole.shape[1]

    def grey(self, window: Window) -> Grey:
        """Give the greys of a window."""
        return self.whole[window.at]

    def valid(self, window: Window) -> Mask | None:
        """Tell which pixels of a window belong to the section."""
        return None if self.mask is None else self.mask[window.at]


def middle_window(source: Source, side: int = 1024) -> Window:
    """Choose where a large picture is looked at closely: its middle, unless most of the section lies
    elsewhere."""
    middle = middle_of(source.shape, side)
    mask = source.valid(middle)
    if mask is None or mask.mean() > 0.5 or source.shape[0] * source.shape[1] <= 4 * side * side:
        return middle
    tiles = [tile for tile in tiles_of(source.shape, side) if min(tile.shape) >= min(middle.shape) // 2]
    counts = [count_in(source, tile) for tile in tiles]
    return tiles[int(np.argmax(counts))]


def count_in(source: Source, window: Window) -> int:
    """Count the pixels of a window that belong to the section."""
    mask = source.valid(window)
    return window.shape[0] * window.shape[1] if mask is None else int(np.count_nonzero(mask))


def count_valid(source: Source) -> int:
    """Count the pixels that belong to the section."""
    return sum(count_in(source, window) for window in tiles_of(source.shape))


def join(parts: list[NDArray[np.float32]], across: int) -> NDArray[np.float32]:
    """Lay equal blocks side by side, so many to a row."""
    rows = [np.concatenate(parts[k : k + across], axis=1) for k in range(0, len(parts), across)]
    return np.concatenate(rows, axis=0)
