"""Test lines over a section, and where they cross the metal outline: places for a person to call."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import cos, radians, sin

import numpy as np
from numpy.typing import NDArray

from teardown.science.stereology.classes import BRIGHT, EXCLUDED, METAL

STEP_PX = 0.5
GRAZING_PX = 1.6
# what a set is called -> its directions in degrees from the rows, and whether chance turns them all together
SETS: dict[str, tuple[tuple[float, ...], bool]] = {
    "turned": ((0.0, 45.0, 90.0, 135.0), True),
    "horizontal": ((0.0,), False),
    "vertical": ((90.0,), False),
    "diagonal": ((45.0, 135.0), False),
}
Codes = Callable[[NDArray[np.float64], NDArray[np.float64]], NDArray[np.uint8]]


@dataclass(frozen=True, slots=True)
class Line:
    """A straight test line through a picture: points half a pixel apart, and its direction."""

    x: NDArray[np.float64]
    y: NDArray[np.float64]
    angle_deg: float


def lay_lines(shape: tuple[int, int], *, lines: int, which: str, seed: int) -> list[Line]:
    """Lay about so many test lines over a picture before anyone looks.

    In each direction of the set they stand equally far apart, the first at random [1]_; a set that is turned
    is turned by chance as a whole, so that no direction of the material is preferred.

    Parameters
    ----------
    shape : tuple of int
        Rows and columns.
    which : str
        A key of :data:`SETS`.

    References
    ----------
    .. [1] H. J. G. Gundersen, E. B. V. Jensen, K. Kieu, J. Nielsen (1999), The efficiency of systematic
       sampling in stereology - reconsidered, J. Microsc. 193, 199-211 (that equal steps from a random start
       are at least as sure as lines thrown one by one).
    """
    directions, turned = SETS[which]
    chance = np.random.default_rng(seed)
    turn = float(chance.uniform(0, 45)) if turned else 0.0
    rows, columns = shape
    spans = [_span(shape, angle + turn) for angle in directions]
    spacing = sum(spans) / lines
    found = []
    for angle, span in zip(directions, spans, strict=True):
        first = float(chance.uniform(0, spacing))
        for offset in np.arange(first, span, spacing) - span / 2:
            line = _through(rows, columns, angle + turn, float(offset))
            if line is not None:
                found.append(line)
    return found


def crossings_on(line: Line, codes: Codes) -> NDArray[np.float64]:
    """Find where a line crosses the metal outline inside the section.

    The computer only says where metal ends, not what lies beyond: that is for a person to call.

    Parameters
    ----------
    codes : callable
        Gives the class codes at places x, y.

    Returns
    -------
    ndarray, shape (n, 4)
        Rows of x, y, and the step (dx, dy) of one pixel along the line from metal to what lies beyond.
    """
    seen = codes(line.x, line.y)
    metal = seen == METAL
    counts = ~np.isin(seen, (EXCLUDED, BRIGHT))
    cut = _apart(np.flatnonzero(metal[1:] != metal[:-1]))
    cut = cut[counts[cut + 1] & counts[cut]]
    towards = np.where(metal[cut], 1.0, -1.0)
    across, down = cos(radians(line.angle_deg)), sin(radians(line.angle_deg))
    middle_x = (line.x[cut] + line.x[cut + 1]) / 2
    middle_y = (line.y[cut] + line.y[cut + 1]) / 2
    return np.column_stack([middle_x, middle_y, towards * across, towards * down])


def _apart(cuts: NDArray[np.intp]) -> NDArray[np.intp]:
    """Leave out pairs of cuts nearer than a pixel and a half: a line that grazes the steps of a slanting
    edge goes in and out at each, and crosses it once or not at all."""
    kept: list[int] = []
    for cut in cuts:
        if kept and (cut - kept[-1]) * STEP_PX < GRAZING_PX:
            kept.pop()
        else:
            kept.append(int(cut))
    return np.array(kept, np.intp)


def crossings(lines: Sequence[Line], codes: Codes) -> NDArray[np.float64]:
    """Find the crossings of all lines, line by line; as :func:`crossings_on`."""
    return np.concatenate([np.empty((0, 4)), *(crossings_on(line, codes) for line in lines)])


def _span(shape: tuple[int, int], angle_deg: float) -> float:
    """Give how wide a picture is across a direction."""
    return float(shape[1] * abs(sin(radians(angle_deg))) + shape[0] * abs(cos(radians(angle_deg))))


def _through(rows: int, columns: int, angle_deg: float, offset: float) -> Line | None:
    across, down = cos(radians(angle_deg)), sin(radians(angle_deg))
    reach = float(np.hypot(rows, columns)) / 2
    along = np.arange(-reach, reach, STEP_PX)
    x = columns / 2 + along * across - offset * down
    y = rows / 2 + along * down + offset * across
    inside = (x >= 0) & (x < columns) & (y >= 0) & (y < rows)
    return Line(x[inside], y[inside], angle_deg) if np.count_nonzero(inside) > 2 else None
