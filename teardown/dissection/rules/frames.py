"""From a photograph to the electrode on it: four tapped corners fix a plane, wherever the camera stood.

A plane seen by a camera without distortion maps to its picture by a homography: eight numbers, which four
pairs of points fix, if no three of them lie on a line.

References
----------
R. Hartley and A. Zisserman, Multiple View Geometry in Computer Vision, 2nd edition (2004), chapters 2.3
and 4.1: the homography of a plane from four points (from memory).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from teardown.dissection.rules.places import Place, drawn_x, place_at

Point = tuple[float, float]
CORNERS = ("top left", "top right", "bottom right", "bottom left")
_UNIT = ((0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0))
SMALLEST = 0.0025  # of the picture: below it four corners are no electrode but a slip of the finger
MOST_CORNERS = 60
OUTSIDE = 0.02  # of the electrode: a finger that misses the edge by this little meant the edge


class NotAFrame(ValueError):
    """Four points fix no electrode, or a polygon outlines no piece."""


@dataclass(frozen=True)
class Frame:
    """The electrode as it lies on a photograph.

    Parameters
    ----------
    corners : sequence of four (x, y)
        Top left, top right, bottom right, bottom left as the electrode lies before the eye, upright as it
        stood in the cell, in fractions of the picture. Seen on face B, its left is the right of face A.
    face : str
        "A" or "B".

    Raises
    ------
    NotAFrame
        If a corner lies off the picture, or the four are not the corners of a convex shape in that order.
    """

    corners: tuple[Point, ...]
    face: str = "A"

    def __post_init__(self) -> None:
        """Hold the corners to what a plane can look like."""
        if len(self.corners) != 4:
            raise NotAFrame(f"An electrode has four corners; {len(self.corners)} were tapped.")
        _on_the_picture(self.corners)
        turns = [_turn(*(self.corners[(at + step) % 4] for step in range(3))) for at in range(4)]
        if not all(turn > 0 for turn in turns):
            raise NotAFrame(f"These four are not the corners of an electrode. Tap {', '.join(CORNERS)}.")
        if area(self.corners) < SMALLEST:
            raise NotAFrame("These corners lie too close together. Tap the corners of the whole electrode.")

    @cached_property
    def matrix(self) -> NDArray[np.float64]:
        """Give the 3 by 3 matrix from the picture to the electrode as it lies before the eye."""
        return homography(self.corners, _UNIT)

    def to_electrode(self, x: float, y: float) -> Point:
        """Map a point of the picture to fractions of the electrode: x as seen from face A, y from the top.

        Raises
        ------
        NotAFrame
            If the point lies off the electrode by more than a finger's slip.
        """
        across, down = _through(self.matrix, x, y)
        if not (-OUTSIDE <= across <= 1 + OUTSIDE and -OUTSIDE <= down <= 1 + OUTSIDE):
            raise NotAFrame("This point lies off the electrode whose corners were tapped.")
        across, down = min(max(across, 0.0), 1.0), min(max(down, 0.0), 1.0)
        return drawn_x(across, self.face), down

    def to_picture(self, x: float, y: float) -> Point:
        """Map fractions of the electrode to the point of the picture."""
        return _through(np.linalg.inv(self.matrix), drawn_x(x, self.face), y)

    def place(self, x: float, y: float, grid: str = "3x3") -> Place:
        """Give the address of a point of the picture, on the grid of the electrode."""
        return place_at(*self.to_electrode(x, y), self.face, grid)


def homography(source: Sequence[Point], target: Sequence[Point]) -> NDArray[np.float64]:
    """Work out the projective map that takes four points to four others.

    Returns
    -------
    ndarray of float, shape (3, 3)
        Scaled so that its last element is 1.

    Raises
    ------
    NotAFrame
        If three of the points lie on a line.
    """
    rows, right = [], []
    for (x, y), (u, v) in zip(source, target, strict=True):
        rows += [[x, y, 1, 0, 0, 0, -u * x, -u * y], [0, 0, 0, x, y, 1, -v * x, -v * y]]
        right += [u, v]
    try:
        solved = np.linalg.solve(np.array(rows), np.array(right))
    except np.linalg.LinAlgError as error:
        raise NotAFrame("Three of these points lie on one line.") from error
    return np.append(solved, 1.0).reshape(3, 3)


def polygon(points: Sequence[Sequence[float]]) -> tuple[Point, ...]:
    """Check the outline of a piece.

    Raises
    ------
    NotAFrame
        If it has fewer than three corners, leaves the picture, crosses itself or holds nothing.
    """
    found = tuple((float(x), float(y)) for x, y in points)
    if not 3 <= len(found) <= MOST_CORNERS:
        raise NotAFrame(f"An outline has 3 to {MOST_CORNERS} corners; this one has {len(found)}.")
    _on_the_picture(found)
    if _crosses(found):
        raise NotAFrame("The outline crosses itself. Take the last corners back and go round the piece.")
    if area(found) < 1e-6:
        raise NotAFrame("The outline holds nothing.")
    return found


def area(points: Sequence[Point]) -> float:
    """Give the area of a polygon, as a fraction of the unit square (the surveyor's formula)."""
    following = [*points[1:], points[0]]
    return abs(sum(x * v - u * y for (x, y), (u, v) in zip(points, following, strict=True))) / 2


def centre(points: Sequence[Point]) -> Point:
    """Give the centre of area of a polygon; of a flat one the mean of its corners."""
    total, across, down = 0.0, 0.0, 0.0
    for (x, y), (u, v) in zip(points, [*points[1:], points[0]], strict=True):
        cross = x * v - u * y
        total, across, down = total + cross, across + (x + u) * cross, down + (y + v) * cross
    if abs(total) < 1e-12:
        return sum(x for x, _ in points) / len(points), sum(y for _, y in points) / len(points)
    return across / (3 * total), down / (3 * total)


def _through(matrix: NDArray[np.floating[Any]], x: float, y: float) -> Point:
    u, v, w = matrix @ np.array([x, y, 1.0])
    if w <= 0:  # behind the camera
        raise NotAFrame("This point lies off the electrode whose corners were tapped.")
    return float(u / w), float(v / w)


def _on_the_picture(points: Sequence[Point]) -> None:
    for x, y in points:
        if not (0 <= x <= 1 and 0 <= y <= 1):
            raise NotAFrame(f"({x:g}, {y:g}) lies off the picture: fractions are 0 to 1.")


def _turn(a: Point, b: Point, c: Point) -> float:
    """Give twice the area of a triangle: above zero where a, b, c run clockwise on the picture."""
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])


def _crosses(points: Sequence[Point]) -> bool:
    edges = list(zip(points, [*points[1:], points[0]], strict=True))
    for first in range(len(edges)):
        for second in range(first + 2, len(edges)):
            if first == 0 and second == len(edges) - 1:
                continue  # neighbours share a corner
            if _cut_each_other(*edges[first], *edges[second]):
                return True
    return False


def _cut_each_other(a: Point, b: Point, c: Point, d: Point) -> bool:
    return _turn(a, b, c) * _turn(a, b, d) < 0 and _turn(c, d, a) * _turn(c, d, b) < 0
