"""Sets the words of a figure: end labels first, then rules, bands and marks, then the names of the curves."""

from dataclasses import replace

import numpy as np

from teardown.page.figures.description import Curve, Figure
from teardown.page.figures.frame import DOT, Frame, last_point, placed
from teardown.page.figures.labels import (
    LINE,
    SIZE,
    Anchor,
    Box,
    Sheet,
    Spot,
    Wish,
    Word,
    along,
    spread,
    text_width,
)
from teardown.page.figures.scales import tick_words

LONG_LEADER = 96.0  # further than this a name is not led to from the margin, if it can stand nearer


def words_in(figure: Figure, frame: Frame) -> tuple[Sheet, list[Wish]]:
    """Set the words that belong into the plot; give back the curve labels that found no place."""
    sheet = Sheet(Box(0, 0, figure.width, frame.box.bottom + 2))
    for curve in figure.curves:
        x, y = placed(curve, frame)
        if curve.kind == "steps":
            x, y = np.repeat(x, 2)[1:], np.repeat(y, 2)[:-1]
        elif curve.kind == "points":  # nothing is drawn between points, so words may stand there
            x, y = np.repeat(x, 2), np.column_stack([y, np.full(len(y), np.nan)]).ravel()
        sheet.draw_over(x, y)
    sheet.blocked += _axis_boxes(figure, frame)
    sheet.lines += _rule_lines(figure, frame)
    for curve in figure.curves:
        sheet.settle(_end_wish(curve, frame))
    if figure.plain:
        return sheet, []
    sheet.settle(_rule_wishes(figure, frame))
    sheet.settle(_band_wishes(figure, frame))
    sheet.settle(_mark_wishes(figure, frame))
    sheet.bounds = frame.box
    before = list(sheet.words)
    names = [
        Wish(c.label, along(*placed(c, frame), c.label), f"label {c.style}", own=i)
        for i, c in enumerate(figure.curves)
        if c.label
    ]
    if not sheet.settle(names):
        return sheet, []
    sheet.words = before  # one without a place: all go beside, so that they read as one list
    if len(names) == 1 and _set_by_its_end(names[0], figure.curves[names[0].own], frame, sheet):
        return sheet, []
    return sheet, names


def _set_by_its_end(wish: Wish, curve: Curve, frame: Frame, sheet: Sheet) -> bool:
    """Set the only name over or under the end of its curve, where a line from the margin crosses the plot."""
    end = last_point(curve, frame)
    if end is None or frame.box.right - end[0] < LONG_LEADER:
        return False
    x, y = end
    for apart in np.arange(2 * LINE, LONG_LEADER, LINE / 2):
        for at, near in ((y - apart, y - apart + 4), (y + apart, y + apart - SIZE)):
            if not sheet.settle([Wish(wish.text, [Spot(x, at, "middle")], wish.css)]):
                sheet.words[-1] = replace(sheet.words[-1], leader=(x, y + (2 if at > y else -2), x, near))
                return True
    return False


def _axis_boxes(figure: Figure, frame: Frame) -> list[Box]:
    boxes = [
        Spot(frame.box.left - 7, frame.left.at(t) + SIZE * 0.33, "end").box(w)
        for t, w in zip(frame.left_ticks, tick_words(frame.left_ticks, figure.y), strict=True)
    ]
    if frame.right is not None and figure.right is not None and not figure.plain:
        boxes += [
            Spot(frame.box.right + 7, frame.right.at(t) + SIZE * 0.33).box(w)
            for t, w in zip(frame.right_ticks, tick_words(frame.right_ticks, figure.right), strict=True)
        ]
    if not figure.plain:
        boxes.append(Spot(0, SIZE).box(figure.y.label))
        boxes.append(Spot(figure.width, SIZE, "end").box(figure.right.label if figure.right else ""))
    boxes += [
        Box(e[0] - DOT, e[1] - DOT, e[0] + DOT, e[1] + DOT)
        for e in (last_point(c, frame) for c in figure.curves)
        if e
    ]
    return boxes


def _rule_lines(figure: Figure, frame: Frame) -> list[Box]:
    box, lines = frame.box, []
    for rule in figure.rules:
        if rule.along == "y":
            y = frame.left.at(rule.at)
            lines.append(Box(box.left, y, box.right, y))
        else:
            x = frame.x.at(rule.at)
            lines.append(Box(x, box.top, x, box.bottom))
    return lines


def _end_wish(curve: Curve, frame: Frame) -> list[Wish]:
    last = last_point(curve, frame)
    if not curve.end_label or last is None:
        return []
    x, y = last
    spots = [
        Spot(x + 9, y + SIZE * 0.33),
        Spot(x, y + 20, "middle"),
        Spot(x, y - 10, "middle"),
        Spot(x - 2, y + 20, "end"),
        Spot(x - 2, y - 10, "end"),
        Spot(x - 9, y + SIZE * 0.33, "end"),
        Spot(x, y + 34, "end"),
        Spot(x, y - 24, "end"),
    ]
    return [Wish(curve.end_label, spots, f"label {curve.style}", own=-1, must=True)]


def _rule_wishes(figure: Figure, frame: Frame) -> list[Wish]:
    wishes, box = [], frame.box
    for rule in figure.rules:
        if rule.along == "y":
            y = frame.left.at(rule.at)
            spots = [
                Spot(x, y + dy, anchor)
                for dy in (-5, SIZE + 2)
                for x, anchor in _sides(box.left + 5, (box.left + box.right) / 2, box.right - 5)
            ]
        else:
            x = frame.x.at(rule.at)
            spots = [
                spot
                for y in (box.top + SIZE, box.bottom - 5)
                for spot in (Spot(x + 5, y), Spot(x - 5, y, "end"))
            ]
        if rule.label:
            wishes.append(Wish(rule.label, spots, "label soft", must=True, on_lines=True))
    return wishes


def _sides(left: float, middle: float, right: float) -> tuple[tuple[float, Anchor], ...]:
    return (left, "start"), (right, "end"), (middle, "middle")


def _band_wishes(figure: Figure, frame: Frame) -> list[Wish]:
    wishes, box = [], frame.box
    for band in figure.bands:
        low, high = sorted((frame.x.at(band.low), frame.x.at(band.high)))
        heights = [
            box.top + SIZE,
            *(box.top + share * (box.bottom - box.top) for share in (0.15, 0.25, 0.75, 0.85)),
            box.bottom - 5,
        ]
        spots = [
            spot
            for y in heights
            for spot in (Spot((low + high) / 2, y, "middle"), Spot(high + 4, y), Spot(low - 4, y, "end"))
        ]
        if band.label:
            wishes.append(Wish(band.label, spots, "label accent", must=True))
    return wishes


def _mark_wishes(figure: Figure, frame: Frame) -> list[Wish]:
    wishes = []
    for mark in figure.marks:
        x, y = frame.x.at(mark.x), frame.left.at(mark.y)
        spots = [
            Spot(x + 8, y + 4),
            Spot(x - 8, y + 4, "end"),
            Spot(x, y - 9, "middle"),
            Spot(x, y + 19, "middle"),
            Spot(x + 6, y - 9),
            Spot(x + 6, y + 19),
            Spot(x - 6, y - 9, "end"),
            Spot(x - 6, y + 19, "end"),
        ]
        if mark.label:
            wishes.append(Wish(mark.label, spots, f"label {mark.style}"))
    return wishes


def _outside(figure: Figure, frame: Frame) -> float:
    """Tell how far from the plot the right margin begins: beyond the ticks of a right axis."""
    if frame.right is None or figure.right is None or figure.plain:
        return 12.0
    return 20.0 + max(map(text_width, tick_words(frame.right_ticks, figure.right)), default=0)


def margin_for(figure: Figure, frame: Frame, homeless: list[Wish]) -> float:
    """Tell how wide the right margin must be for these labels."""
    return max(text_width(w.text) for w in homeless) + _outside(figure, frame) + 2


def set_beside(figure: Figure, frame: Frame, sheet: Sheet, homeless: list[Wish]) -> None:
    """Set labels without a place in the right margin, spread apart, each with a line to the end of its curve.

    Labels beyond what the height holds are left out; the curve still says its name on hover and to a reader.
    """
    top, bottom = frame.box.top + SIZE / 2, frame.box.bottom
    ends = [(w, e) for w in homeless if (e := last_point(figure.curves[w.own], frame))][
        : int((bottom - top) // LINE) + 1
    ]
    left = frame.box.right + _outside(figure, frame)
    walls = [w.box for w in sheet.words if w.box.right > left]
    heights = spread([e[1] for _, e in ends], top, bottom, LINE)
    for (wish, (x, y)), height in zip(ends, heights, strict=True):
        spot = Spot(left, height + SIZE * 0.33)
        if not any(spot.box(wish.text).meets(wall, 1) for wall in walls):
            sheet.words.append(Word(wish.text, spot, wish.css, leader=(x + 2, y, left - 3, height)))
