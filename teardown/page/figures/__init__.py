"""Figures: described once as frozen dataclasses, drawn to SVG for page, print and PDF alike.

How to use
----------
>>> from teardown.page.figures import Axis, Band, Curve, Figure, Rule, draw
>>> figure = Figure(
...     title="Capacity of SP-0413",
...     description="Capacity falls from 0.62 to 0.45 Ah after a knee at cycle 120.",
...     x=Axis("cycle", whole=True),
...     y=Axis("capacity, Ah", low=0.2),
...     right=Axis("efficiency", percent=True, low=0, high=1),
...     curves=(
...         Curve("capacity", (1, 2, 3), (0.53, 0.54, 0.55), end="failed", end_label="50 %"),
...         Curve("coulombic efficiency", (1, 2, 3), (0.93, 0.93, 0.92), style="accent", side="right"),
...     ),
...     bands=(Band(1.5, 2.5, "knee 2 (1.5–2.5)"),),
...     rules=(Rule(0.5, "80 % of peak"),),
... )
>>> str(draw(figure)).startswith('<svg class="drawing"')
True

In a template ``{% figure page.capacity caption="180 complete cycles." %}`` draws it inside ``<figure>``; the
module ``js/figure.js`` then adds focus, reading and brushing. Kinds of description:

`Figure`
    curves (lines with gaps, steps, points open or filled), doubt bands, bands, rules, marks, a right axis
`DotPlot`
    rows of name, dot, interval and note, grouped under headings, one common axis
`Waterfall`
    from a first total through gains and losses with whiskers to a last total
`Stacks`
    rows of shares in fixed order, hatched in print
`Grid`
    several figures in one drawing; `on_common_axes` gives them the same limits first

Styles are words, not colours: ink, accent, soft, faint, pore, oxide, metal. A curve's ``key``
("cell:SP-0413") links it to everything on the page with the same ``data-key``. For a file that stands alone
(PDF, download) ``standalone(draw(figure), scheme="light")`` carries the style sheet inside.
"""

from teardown.page.figures.bars import draw_stacks, draw_waterfall
from teardown.page.figures.curves import draw_figure
from teardown.page.figures.description import (
    Axis,
    Band,
    Bar,
    Curve,
    Dot,
    DotPlot,
    Figure,
    Grid,
    Mark,
    Rule,
    Share,
    Stack,
    Stacks,
    Waterfall,
)
from teardown.page.figures.dots import draw_dots
from teardown.page.figures.drawing import draw
from teardown.page.figures.grid import draw_grid, on_common_axes
from teardown.page.figures.standalone import standalone

__all__ = [
    "Axis",
    "Band",
    "Bar",
    "Curve",
    "Dot",
    "DotPlot",
    "Figure",
    "Grid",
    "Mark",
    "Rule",
    "Share",
    "Stack",
    "Stacks",
    "Waterfall",
    "draw",
    "draw_dots",
    "draw_figure",
    "draw_grid",
    "draw_stacks",
    "draw_waterfall",
    "on_common_axes",
    "standalone",
]
