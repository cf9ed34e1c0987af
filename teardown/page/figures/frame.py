"""Where the axes of a figure stand, and where its curves lie between them."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from teardown.page.figures.description import Curve, Figure
from teardown.page.figures.labels import LINE, Box, text_width
from teardown.page.figures.scales import Scale, scale_for, tick_words

DOT = 4.5


@dataclass(frozen=True, slots=True)
class Frame:
    """Where the axes stand and how they map."""

    box: Box
    x: Scale
    left: Scale
    right: Scale | None
    x_ticks: list[float]
    left_ticks: list[float]
    right_ticks: list[float]

    def side(self, curve: Curve) -> Scale:
        """Give the y scale of a curve."""
        return self.right if curve.side == "right" and self.right is not None else self.left


def _values(figure: Figure, side: str) -> list[float]:
    found: list[float] = []
    for curve in figure.curves:
        if curve.side == side:
            for series in (curve.y, curve.low, curve.high):
                found += [] if series is None else [float(v) for v in series]
    if side == "left":
        found += [rule.at for rule in figure.rules if rule.along == "y"]
        for mark in figure.marks:
            found += [v for v in (mark.y, mark.low, mark.high) if v is not None]
    return found


def frame_for(figure: Figure, margin: float) -> Frame:
    named = not figure.plain
    top = 8.0 + (LINE + 4 if named and (figure.y.label or figure.right) else 0)
    bottom = figure.height - LINE - 6 - (LINE if named and figure.x.label else 0)
    inset = 9.0 if any(c.kind == "points" for c in figure.curves) else 0.0  # a symbol needs room around it
    left, left_ticks = scale_for(figure.y, _values(figure, "left"), bottom - inset, top + inset, 44)
    right: Scale | None = None
    right_ticks: list[float] = []
    if figure.right is not None:
        right, right_ticks = scale_for(figure.right, _values(figure, "right"), bottom, top, 44)
    widest = max(map(text_width, tick_words(left_ticks, figure.y)), default=0)
    end = 10.0
    if right is not None and figure.right is not None and named:
        end += max(map(text_width, tick_words(right_ticks, figure.right)), default=0)
    end = max(end, margin, DOT + 4, figure.sides[1])
    box = Box(max(widest + 10, figure.sides[0]), top, figure.width - end, bottom)
    xs = [float(v) for c in figure.curves for v in c.x] + [m.x for m in figure.marks]
    xs += [v for b in figure.bands for v in (b.low, b.high)] if not xs else []
    x, x_ticks = scale_for(figure.x, xs, box.left + inset, box.right - inset, 90)
    return Frame(box, x, left, right, _with_ends(x, x_ticks, figure), left_ticks, right_ticks)


def _with_ends(x: Scale, ticks: list[float], figure: Figure) -> list[float]:
    """A counted axis names its first and its last: cycle 1 and cycle 180 say more than 0 and 200."""
    if not figure.x.whole or figure.x.ticks is not None or x.kind != "linear":
        return ticks
    keep = [t for t in ticks if x.at(t) - x.start > 36 and x.end - x.at(t) > 36]
    return [round(x.low, 9), *([] if figure.plain else keep), round(x.high, 9)]


def placed(curve: Curve, frame: Frame) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    x, y = frame.x(curve.x), frame.side(curve)(curve.y)
    y = np.where((x < frame.box.left - 0.5) | (x > frame.box.right + 0.5), np.nan, y)
    low, high = sorted((frame.box.top, frame.box.bottom))
    return x, np.clip(y, low, high)


def last_point(curve: Curve, frame: Frame) -> tuple[float, float] | None:
    x, y = placed(curve, frame)
    good = np.flatnonzero(~np.isnan(y))
    return (float(x[good[-1]]), float(y[good[-1]])) if len(good) else None
