"""One name for drawing any description."""

from django.utils.safestring import SafeString, mark_safe

from teardown.page.figures.bars import draw_stacks, draw_waterfall
from teardown.page.figures.curves import draw_figure
from teardown.page.figures.description import DotPlot, Figure, Grid, Stacks, Waterfall
from teardown.page.figures.dots import draw_dots
from teardown.page.figures.grid import draw_grid


def draw(figure: Figure | DotPlot | Waterfall | Stacks | Grid) -> SafeString:
    """Draw a description to one SVG element, safe to put on a page: every word in it was escaped."""
    match figure:
        case Figure():
            drawn = draw_figure(figure)
        case DotPlot():
            drawn = draw_dots(figure)
        case Waterfall():
            drawn = draw_waterfall(figure)
        case Stacks():
            drawn = draw_stacks(figure)
        case Grid():
            drawn = draw_grid(figure)
    return mark_safe(drawn)  # noqa: S308 - every text passes svg.element or svg.text, which escape
