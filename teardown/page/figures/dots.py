"""Draws a `DotPlot`: one row a question, a dot with its interval, a note at the right."""

from itertools import groupby

from teardown.page.figures import svg
from teardown.page.figures.description import Dot, DotPlot
from teardown.page.figures.labels import LINE, SIZE, text_width
from teardown.page.figures.scales import Scale, scale_for, tick_words

ROW = 26.0
GAP = 14.0


def draw_dots(plot: DotPlot) -> str:
    """Draw a dot plot to an SVG element; its height follows from its rows."""
    name_width = max((text_width(r.label) for r in plot.rows), default=0) + GAP
    note_width = max((text_width(r.note) for r in plot.rows), default=0) + GAP
    start, end = min(name_width, plot.width * 0.45), max(plot.width - note_width, plot.width * 0.55)
    values = [v for r in plot.rows for v in (r.value, r.low, r.high) if v is not None]
    scale, ticks = scale_for(
        plot.axis, [*values, *([] if plot.reference is None else [plot.reference])], start, end - 8, 70
    )
    top = LINE + 10 if plot.reference_label else 8.0
    rows, bottom = _rows(plot, scale, top, name_width > start)
    height = bottom + LINE + (LINE + 6 if plot.axis.label else 8)
    content = "".join(
        [_axis(plot, scale, ticks, top, bottom, height), _reference(plot, scale, top, bottom), *rows]
    )
    return svg.sheet(plot.title, plot.description, plot.width, height, content, data_figure="dots")


def _rows(plot: DotPlot, scale: Scale, top: float, crowded: bool) -> tuple[list[str], float]:
    rows, y = [], top
    for heading, members in groupby(plot.rows, key=lambda r: r.group):
        if heading:
            y += ROW
            rows.append(svg.text(heading, 0, y - 8, "heading"))
        for row in members:
            y += ROW
            rows.append(_row(plot, row, scale, y - ROW / 2, crowded))
    return rows, y + 4


def _row(plot: DotPlot, row: Dot, scale: Scale, y: float, crowded: bool) -> str:
    name = svg.text(
        _shortened(row.label, scale.start - GAP) if crowded else row.label, 0, y + SIZE * 0.33, "row-name"
    )
    if row.href:
        name = svg.element("a", name, href=row.href)
    parts = [svg.title(f"{row.label} {row.note}".strip()), name]
    if row.low is not None and row.high is not None:
        parts.append(svg.straight(_kept(scale, row.low), y, _kept(scale, row.high), y, "interval"))
    if row.value is not None:
        parts.append(
            svg.element(
                "circle",
                cx=_kept(scale, row.value),
                cy=y,
                r=4.5,
                class_="end hollow" if row.hollow else "end",
            )
        )
    if row.note:
        parts.append(svg.text(row.note, plot.width, y + SIZE * 0.33, "row-note", "end"))
    return svg.group(parts, class_=f"row {row.style}", data_key=row.key)


def _kept(scale: Scale, value: float) -> float:
    return min(max(scale.at(value), scale.start), scale.end)


def _shortened(label: str, room: float) -> str:
    while text_width(label + "…") > room and len(label) > 4:
        label = label[:-1]
    return label.rstrip() + "…" if text_width(label) > room - 8 else label


def _axis(plot: DotPlot, scale: Scale, ticks: list[float], top: float, bottom: float, height: float) -> str:
    parts = [svg.straight(scale.at(t), top, scale.at(t), bottom, "hair") for t in ticks]
    last = -1e9
    for t, w in zip(ticks, tick_words(ticks, plot.axis), strict=True):
        half = text_width(w) / 2
        if scale.at(t) - half > last + 4:
            parts.append(svg.text(w, scale.at(t), bottom + LINE, "tick", "middle"))
            last = scale.at(t) + half
    if plot.axis.label:
        parts.append(
            svg.text(plot.axis.label, (scale.start + scale.end) / 2, height - 4, "axis-name", "middle")
        )
    return svg.group(parts, class_="axes")


def _reference(plot: DotPlot, scale: Scale, top: float, bottom: float) -> str:
    if plot.reference is None:
        return ""
    x, half = scale.at(plot.reference), text_width(plot.reference_label) / 2
    words = (
        svg.text(plot.reference_label, min(max(x, half), plot.width - half), top - 8, "label soft", "middle")
        if plot.reference_label
        else ""
    )
    return svg.straight(x, top, x, bottom, "rule") + words
