"""Draws a `Figure`: curves over axes, with their words on them."""

import numpy as np
from numpy.typing import NDArray

from teardown.page.figures import svg
from teardown.page.figures.description import Curve, Figure, Mark
from teardown.page.figures.frame import DOT, Frame, frame_for, placed
from teardown.page.figures.labels import LINE, SIZE, Box, text_width
from teardown.page.figures.scales import Scale, tick_words
from teardown.page.figures.wording import margin_for, set_beside, words_in

FINE = 4  # points kept a column of the drawing before a long series is thinned


def draw_figure(figure: Figure) -> str:
    """Draw a figure to an SVG element."""
    content, frame = contents(figure)
    return svg.sheet(
        figure.title,
        figure.description,
        figure.width,
        figure.height,
        content,
        data_figure="curves",
        data_x=_mapping(frame.x),
        data_y=_mapping(frame.left),
        data_right="" if frame.right is None else _mapping(frame.right),
        data_x_name=figure.x.label,
        data_counts="1" if figure.x.whole else "",
        data_percent="".join("1" if a and a.percent else "0" for a in (figure.x, figure.y, figure.right)),
    )


def contents(figure: Figure) -> tuple[str, Frame]:
    """Draw what stands inside the SVG element; labels without room on the curves get a margin."""
    frame = frame_for(figure, 0.0)
    sheet, homeless = words_in(figure, frame)
    if homeless:
        frame = frame_for(figure, margin_for(figure, frame, homeless))
        sheet, homeless = words_in(figure, frame)
        set_beside(figure, frame, sheet, homeless)
    parts = [
        _bands(figure, frame),
        _grid(figure, frame),
        _rules(figure, frame),
        *(_curve(c, frame) for c in figure.curves),
        *(_mark(m, frame) for m in figure.marks),
        svg.group((svg.word(w) for w in sheet.words), class_="words"),
        _axis_names(figure, frame),
    ]
    return "".join(parts), frame


def _mapping(scale: Scale) -> str:
    return f"{scale.kind} {scale.low:.9g} {scale.high:.9g} {scale.start:.2f} {scale.end:.2f}"


def _grid(figure: Figure, frame: Frame) -> str:
    box = frame.box
    lines = [svg.straight(box.left, y, box.right, y, "hair") for y in map(frame.left.at, frame.left_ticks)]
    words = tick_words(frame.left_ticks, figure.y)
    shown = {0, len(words) - 1} if figure.plain else set(range(len(words)))
    ticks = [
        svg.text(w, box.left - 7, frame.left.at(t) + SIZE * 0.33, "tick", "end")
        for i, (t, w) in enumerate(zip(frame.left_ticks, words, strict=True))
        if i in shown
    ]
    if figure.right is not None and frame.right is not None and not figure.plain:
        ticks += [
            svg.text(w, box.right + 7, frame.right.at(t) + SIZE * 0.33, "tick")
            for t, w in zip(frame.right_ticks, tick_words(frame.right_ticks, figure.right), strict=True)
        ]
    ticks += _x_ticks(figure, frame)
    return svg.group(lines + ticks, class_="axes")


def _x_ticks(figure: Figure, frame: Frame) -> list[str]:
    ticks, last = [], -1e9
    for t, w in zip(frame.x_ticks, tick_words(frame.x_ticks, figure.x), strict=True):
        at, half = frame.x.at(t), text_width(w) / 2
        at_word = min(max(at, half), figure.width - half)
        if at_word - half < last + 4:
            continue
        last = at_word + half
        ticks.append(svg.text(w, at_word, frame.box.bottom + LINE + 2, "tick", "middle"))
    return ticks


def _axis_names(figure: Figure, frame: Frame) -> str:
    if figure.plain:
        return ""
    names = []
    if figure.x.label:
        names.append(
            svg.text(
                figure.x.label,
                (frame.box.left + frame.box.right) / 2,
                figure.height - 4,
                "axis-name",
                "middle",
            )
        )
    if figure.y.label:
        names.append(svg.text(figure.y.label, 0, SIZE, "axis-name"))
    if figure.right is not None and figure.right.label:
        names.append(svg.text(figure.right.label, figure.width, SIZE, "axis-name", "end"))
    return "".join(names)


def _bands(figure: Figure, frame: Frame) -> str:
    box, parts = frame.box, []
    for band in figure.bands:
        ends = sorted((frame.x.at(band.low), frame.x.at(band.high)))
        low, high = (min(max(v, box.left), box.right) for v in ends)
        parts.append(
            svg.element(
                "rect",
                x=low,
                y=box.top,
                width=max(high - low, 1.5),
                height=box.bottom - box.top,
                class_="band",
            )
        )
    return "".join(parts)


def _rules(figure: Figure, frame: Frame) -> str:
    box, parts = frame.box, []
    for rule in figure.rules:
        if rule.along == "y":
            parts.append(
                svg.straight(box.left, frame.left.at(rule.at), box.right, frame.left.at(rule.at), "rule")
            )
        else:
            parts.append(svg.straight(frame.x.at(rule.at), box.top, frame.x.at(rule.at), box.bottom, "rule"))
    return "".join(parts)


def _curve(curve: Curve, frame: Frame) -> str:
    x, y = placed(curve, frame)
    parts = [svg.title(curve.name or curve.label or curve.key)]
    if curve.low is not None and curve.high is not None:
        parts += _doubt(curve, frame, x)
    if curve.kind == "points":
        shape = "point hollow" if curve.hollow else "point"
        parts += [
            svg.element("circle", cx=float(a), cy=float(b), r=3.2, class_=shape)
            for a, b in zip(x, y, strict=True)
            if b == b
        ]
    else:
        thin_x, thin_y = _thinned(x, y, frame.box)
        parts.append(
            svg.element(
                "path",
                d=svg.path(thin_x, thin_y, steps=curve.kind == "steps"),
                class_=f"curve {curve.dash}".strip(),
            )
        )
    good = np.flatnonzero(~np.isnan(y))
    if curve.end and len(good):
        css = "end hollow" if curve.end == "censored" else "end"
        parts.append(svg.element("circle", cx=float(x[good[-1]]), cy=float(y[good[-1]]), r=DOT, class_=css))
    return svg.group(
        parts,
        class_=f"series {curve.style}",
        data_key=curve.key,
        data_name=curve.name or curve.label,
        data_side=curve.side,
    )


def _doubt(curve: Curve, frame: Frame, x: NDArray[np.float64]) -> list[str]:
    scale = frame.side(curve)
    low, high = (
        np.clip(scale(v), frame.box.top, frame.box.bottom) for v in (curve.low or (), curve.high or ())
    )
    if curve.kind == "points":
        return [
            svg.straight(float(a), float(b), float(a), float(c), "whisker")
            for a, b, c in zip(x, low, high, strict=True)
            if b == b and c == c
        ]
    good = ~(np.isnan(low) | np.isnan(high) | np.isnan(x))
    if good.sum() < 2:
        return []
    x, low, high = x[good], low[good], high[good]
    if curve.kind == "steps":
        x = np.repeat(x, 2)[1:]
        low, high = np.repeat(low, 2)[:-1], np.repeat(high, 2)[:-1]
    ring = svg.path(np.concatenate([x, x[::-1]]), np.concatenate([high, low[::-1]])) + "Z"
    return [svg.element("path", d=ring, class_="doubt")]


def _thinned(
    x: NDArray[np.float64], y: NDArray[np.float64], box: Box
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Keep first, last, least, greatest and gaps of each column of a long series: no spike is lost."""
    columns = int(box.right - box.left)
    if len(x) <= FINE * columns:
        return x, y
    column = np.clip(np.nan_to_num(x - box.left), 0, columns).astype(int)
    keep: list[int] = []
    for piece in np.split(np.arange(len(x)), np.flatnonzero(np.diff(column)) + 1):
        inside = y[piece]
        if np.isnan(inside).all():
            keep.append(int(piece[0]))
            continue
        chosen = {
            0,
            len(piece) - 1,
            int(np.nanargmin(inside)),
            int(np.nanargmax(inside)),
            *np.flatnonzero(np.isnan(inside))[:1].tolist(),
        }
        keep += [int(piece[i]) for i in sorted(chosen)]
    return x[keep], y[keep]


def _mark(mark: Mark, frame: Frame) -> str:
    x, y = frame.x.at(mark.x), frame.left.at(mark.y)
    parts = []
    if mark.low is not None and mark.high is not None:
        parts.append(svg.straight(x, frame.left.at(mark.low), x, frame.left.at(mark.high), "whisker"))
    if mark.shape == "cross":
        parts.append(svg.element("path", d=f"M{x - 4:.1f} {y - 4:.1f}l8 8m0 -8l-8 8", class_="stroke"))
    elif mark.shape == "tick":
        parts.append(svg.straight(x, y - 5, x, y + 5, "stroke"))
    else:
        parts.append(
            svg.element("circle", cx=x, cy=y, r=DOT, class_="end hollow" if mark.shape == "hollow" else "end")
        )
    return svg.group(parts, class_=f"mark {mark.style}", data_key=mark.key)
