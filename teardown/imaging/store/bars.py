"""The ends of the scale bar in the information strip of a micrograph."""

from typing import Any

from teardown.imaging.models import Micrograph
from teardown.imaging.store.windows import Window, pixels_within


def bar_in(micrograph: Micrograph, rows: tuple[int, int]) -> dict[str, Any]:
    """Give the two ends of the scale bar in a strip, in pixels of the picture, and whether ticks mark them.

    Raises
    ------
    Refusal
        If no bar, or no single one, stands out; or the picture cannot be read.
    """
    from teardown.science.stereology.scale_bars import find_scale_bar

    top, bottom = rows
    bar = find_scale_bar(pixels_within(micrograph, Window(0, top, micrograph.width_px, bottom - top)))
    row = top + bar.row
    return {"ends": [[bar.left, row], [bar.right, row]], "ticks": bar.ticks}
