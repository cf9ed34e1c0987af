"""Small multiples: the same axes many times over."""

from collections.abc import Sequence
from dataclasses import replace
from math import isfinite

from teardown.page.figures import svg
from teardown.page.figures.curves import contents
from teardown.page.figures.description import Axis, Figure, Grid
from teardown.page.figures.labels import LINE, SIZE


def on_common_axes(figures: Sequence[Figure]) -> list[Figure]:
    """Give all figures the same limits on x, y and the right axis, so that they may be compared by eye.

    Limits that an axis already has are respected: the widest of all is used.
    """
    x = _common([f.x for f in figures], [v for f in figures for c in f.curves for v in c.x])
    y = _common(
        [f.y for f in figures], [v for f in figures for c in f.curves if c.side == "left" for v in c.y]
    )
    right = _common(
        [f.right for f in figures if f.right],
        [v for f in figures for c in f.curves if c.side == "right" for v in c.y],
    )
    return [
        replace(
            f,
            x=replace(f.x, low=x[0], high=x[1]),
            y=replace(f.y, low=y[0], high=y[1]),
            right=None if f.right is None else replace(f.right, low=right[0], high=right[1]),
        )
        for f in figures
    ]


def _common(axes: Sequence[Axis], values: Sequence[float]) -> tuple[float | None, float | None]:
    finite = [float(v) for v in values if isfinite(v)]
    lows, highs = [a.low for a in axes if a.low is not None], [a.high for a in axes if a.high is not None]
    low = min(lows) if len(lows) == len(axes) and lows else min([*finite, *lows], default=None)
    high = max(highs) if len(highs) == len(axes) and highs else max([*finite, *highs], default=None)
    return low, high


def draw_grid(grid: Grid) -> str:
    """Draw the figures in rows, each under its title, in one SVG element."""
    if not grid.figures:
        return svg.sheet(grid.title, grid.description, 100, LINE, "", data_figure="grid")
    columns = min(grid.columns, len(grid.figures))
    wide, high = max(f.width for f in grid.figures), max(f.height for f in grid.figures) + LINE + 6
    parts = []
    for i, figure in enumerate(grid.figures):
        x, y = (i % columns) * (wide + grid.gap), (i // columns) * (high + grid.gap)
        inside = svg.text(figure.title, 0, SIZE, "heading") + svg.element(
            "g", contents(figure)[0], transform=f"translate(0 {LINE + 6:g})"
        )
        parts.append(svg.element("g", inside, transform=f"translate({x} {y:g})", class_="panel"))
    rows = -(-len(grid.figures) // columns)
    return svg.sheet(
        grid.title,
        grid.description,
        columns * wide + (columns - 1) * grid.gap,
        rows * high + (rows - 1) * grid.gap,
        "".join(parts),
        data_figure="grid",
    )
