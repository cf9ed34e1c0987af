"""The ends of the scale bar in an information strip, proposed for a person to confirm; its length is never
guessed."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from teardown.science.errors import MeasurementError

# of the strip's own size (common practice of such strips, no source)
SHORTEST_PX, SHORTEST, LONGEST, THICKEST = 20, 0.03, 0.8, 0.4
SLENDER = 5
# a second line of this share of the first one's length could be the bar as well
ALIKE = 0.6
LEAST_CONTRAST = 0.1


class BarNotTold(MeasurementError):
    """No line in the strip stands out as its scale bar."""

    code = "stereology.E041"
    hint = "Set the two ends by hand."


@dataclass(frozen=True, slots=True)
class ScaleBar:
    """A bar in a strip: the row of its middle and the columns of its two ends, in pixels of the strip.

    Pixel edges count: a bar over columns 10 to 19 reaches from 10 to 20. Where short strokes stand across its
    ends, ``ticks``, it reaches from the middle of one to the middle of the other.
    """

    row: float
    left: float
    right: float
    ticks: bool

    @property
    def length_px(self) -> float:
        """Length from end to end."""
        return self.right - self.left


def find_scale_bar(strip: NDArray[np.float32]) -> ScaleBar:
    """Find the one straight bar that stands out from the strip's ground, light on dark or dark on light.

    Lines that reach the picture's edge part the strip from the picture, and pairs of the same ends are the
    sides of a frame: neither is a bar.

    Parameters
    ----------
    strip : ndarray of float32, shape (rows, columns)
        Greys of the information strip alone, 0 black to 1 white.

    Raises
    ------
    BarNotTold
        If nothing stands out, or two lines are so alike that either may be the bar.
    """
    stands_out = _standing_out(strip)
    bars = _bars(stands_out)
    if not bars:
        raise BarNotTold("No single straight bar stands out in the information strip.")
    bars.sort(key=lambda bar: bar[2], reverse=True)
    if len(bars) > 1 and bars[1][2] >= ALIKE * bars[0][2]:
        raise BarNotTold(f"Two lines in the strip are alike: {bars[0][2]} and {bars[1][2]} px long.")
    left, top, width, height = bars[0]
    first, last = (_tick(stands_out, bars[0], begin) for begin in (True, False))
    ticks = bool(first and last and abs(first - last) <= 1)
    cut = (first / 2, last / 2) if ticks else (0.0, 0.0)
    return ScaleBar(top + height / 2, left + cut[0], left + width - cut[1], ticks)


def _standing_out(strip: NDArray[np.float32]) -> NDArray[np.uint8]:
    """Mark what differs from the ground by more than half of what differs most."""
    steps = np.rint(np.clip(strip, 0, 1) * 255).astype(np.int64)
    ground = float(np.bincount(steps.ravel()).argmax()) / 255
    away = np.abs(strip - ground)
    reach = float(away.max(initial=0.0))
    if reach < LEAST_CONTRAST:
        raise BarNotTold("The information strip is all of one grey.")
    return np.asarray(away > 0.5 * reach, np.uint8)


def _bars(stands_out: NDArray[np.uint8]) -> list[tuple[int, int, int, int]]:
    """Give left, top, width and height of every solid, slender, level rectangle that may be a bar."""
    rows, columns = stands_out.shape
    shortest = max(SHORTEST_PX, round(SHORTEST * columns)) | 1  # odd, or what is opened moves by a pixel
    runs = cv2.morphologyEx(stands_out, cv2.MORPH_OPEN, np.ones((1, shortest), np.uint8))
    count, _, stats, _ = cv2.connectedComponentsWithStats(runs, connectivity=8)
    found = []
    for left, top, width, height, area in stats[1:count].tolist():
        at_edge = left == 0 or left + width == columns
        solid = area >= 0.9 * width * height
        if solid and not at_edge and width <= LONGEST * columns and height <= max(THICKEST * rows, 1):
            found.append((left, top, width, height))
    slender = [bar for bar in found if bar[2] >= SLENDER * bar[3]]
    return [bar for bar in slender if not any(_framed(bar, other) for other in slender)]


def _framed(bar: tuple[int, int, int, int], other: tuple[int, int, int, int]) -> bool:
    """Tell whether two lines have the same ends on different rows, as the sides of a frame have."""
    apart = bar[1] != other[1]
    return apart and abs(bar[0] - other[0]) <= 2 and abs(bar[0] + bar[2] - other[0] - other[2]) <= 2


def _tick(stands_out: NDArray[np.uint8], bar: tuple[int, int, int, int], begin: bool) -> int:
    """Count the columns of the short stroke across one end of a bar; 0 where there is none."""
    left, top, width, height = bar
    columns = range(left, left + width // 4)
    if not begin:
        columns = range(left + width - 1, left + width - 1 - width // 4, -1)
    for wide, column in enumerate(columns):
        line = stands_out[:, column]
        above = top - int(np.argmin(line[top::-1])) + 1 if not line[: top + 1].all() else 0
        below = top + int(np.argmin(line[top:])) if not line[top:].all() else len(line)
        if below - above < height + max(2, height // 2):
            return wide
    return 0
