"""The information strip of a micrograph, and the ends of the scale bar in it."""

from typing import Any

from teardown.imaging.models import Micrograph, Region, SectionResult
from teardown.imaging.runs import regions_of
from teardown.imaging.store.windows import Window, pixels_within


def strip_rows(micrograph: Micrograph, result: SectionResult | None) -> tuple[int, int] | None:
    """Give the rows of the information strip: as a person said, else as was measured, else as the file says.

    None where there is none, or nobody has found one.
    """
    drawn = [region for region in regions_of(micrograph) if region.kind == Region.Kind.STRIP]
    if drawn:
        rows = [y for _, y in drawn[-1].points]
    elif result is not None:
        rows = result.sums.get("strip") or [0, 0]
    else:
        told = int(micrograph.metadata.get("strip_rows") or 0)
        rows = [micrograph.height_px - told, micrograph.height_px]
    top, bottom = max(round(min(rows)), 0), min(round(max(rows)), micrograph.height_px)
    return (top, bottom) if bottom - top >= 2 else None


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
