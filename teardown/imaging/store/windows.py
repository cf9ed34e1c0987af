"""Windows of original pixels, read as a measurement read them."""

import io
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from teardown.dissection.store import on_disk
from teardown.files.store import derived, read
from teardown.imaging.models import Micrograph, SectionResult
from teardown.imaging.store.made import LARGEST_WHOLE_PX, get, put
from teardown.imaging.store.pictures import classes_of

REACH_PX = 4.0


@dataclass(frozen=True, slots=True)
class Window:
    """A rectangle of pixels of a picture."""

    left: int
    top: int
    width: int
    height: int


def window_round(
    micrograph: Micrograph, x: float, y: float, side: int, *, result: SectionResult | None = None
) -> Window:
    """Give the window of at most ``side`` pixels round a place, moved so that it lies inside the picture.

    With a result it keeps to the rows that were measured: the information strip stays outside.
    """
    first, last = section_rows(result, micrograph.height_px) if result else (0, micrograph.height_px)
    width, height = min(side, micrograph.width_px), min(side, last - first)
    left = min(max(round(x - width / 2), 0), micrograph.width_px - width)
    top = min(max(round(y - height / 2), first), last - height)
    return Window(left, top, width, height)


def classes_within(result: SectionResult, window: Window) -> Any:
    """Give the class codes of a window, uint8 of shape (height, width)."""
    from teardown.formats.pyramid import TILE, read_tile

    path = classes_of(result)
    columns = range(window.left // TILE, (window.left + window.width - 1) // TILE + 1)
    rows = range(window.top // TILE, (window.top + window.height - 1) // TILE + 1)
    import numpy as np

    empty = np.full((TILE, TILE), 3, np.uint8)
    whole = np.block(
        [
            [empty if (tile := read_tile(path, 0, c, r, beyond=3)) is None else tile for c in columns]
            for r in rows
        ]
    )
    top, left = window.top - rows[0] * TILE, window.left - columns[0] * TILE
    return np.ascontiguousarray(whole[top : top + window.height, left : left + window.width])


def calm_window(micrograph: Micrograph, result: SectionResult, window: Window) -> Any:
    """Give a window of the original pixels as a measurement saw them: light evened, noise calmed; float32.

    It must keep to the rows that were measured. Made once for a window and kept in steps of 1/65535, so that
    sliders read it in no time.

    Raises
    ------
    Refusal
        If the picture is too large to be opened while a person waits.
    """
    import numpy as np

    where = f"{window.left}-{window.top}-{window.width}x{window.height}"
    name = f"windows/{micrograph.receipt.file.sha256}-{micrograph.page}-{result.run_id}-{where}.npy"
    if not derived().exists(name):
        from teardown.science.stereology.preview import calm_crop
        from teardown.science.stereology.shading import Gain

        found = result.levels
        first, last = section_rows(result, micrograph.height_px)
        gain = Gain(tuple(found["gain"])) if any(found["gain"]) else None
        calm = calm_crop(
            pixels_within(micrograph, window),
            gain=gain,
            corner=(window.top - first, window.left),
            shape=(last - first, micrograph.width_px),
            noise=found["noise"],
        )
        out = io.BytesIO()
        np.save(out, np.clip(np.rint(calm * 65535), 0, 65535).astype(np.uint16))
        put(name, out.getvalue())
    return np.load(io.BytesIO(get(name)), allow_pickle=False).astype(np.float32) / np.float32(65535)


def grey_at(micrograph: Micrograph, result: SectionResult, x: float, y: float) -> dict[str, float]:
    """Give the grey of a place as levels are told: the median of the calmed greys within four pixels.

    ``spread`` is their median absolute deviation: a place on an edge shows by it.
    """
    import numpy as np

    window = window_round(micrograph, x, y, 64, result=result)
    calm = calm_window(micrograph, result, window)
    rows, columns = np.mgrid[0 : window.height, 0 : window.width]
    near = np.hypot(columns + window.left + 0.5 - x, rows + window.top + 0.5 - y) <= REACH_PX
    greys = calm[near] if near.any() else calm
    middle = float(np.median(greys))
    return {"grey": middle, "spread": float(np.median(np.abs(greys - middle))), "n": int(greys.size)}


def section_rows(result: SectionResult, rows: int) -> tuple[int, int]:
    """Give the first row of the section and the one after its last: the picture without its strip."""
    strip = result.sums.get("strip")
    if not strip:
        return 0, rows
    top, bottom = int(strip[0]), int(strip[1])
    return (0, top) if top > rows - bottom else (bottom, rows)


def preview_of(calm: Any, result: SectionResult, levels: Mapping[str, Any], inside: Any) -> Any:
    """Read a calmed window with other levels, by the steps and the strictness that measured the result."""
    from teardown.science.stereology.bodies import Strictness
    from teardown.science.stereology.classes import Levels
    from teardown.science.stereology.preview import preview

    tried = Levels(
        levels["pore"],
        tuple(levels["oxides"]),
        levels["metal"],
        levels.get("bright"),
        "manual",
        thresholds=tuple(levels["thresholds"]),
    )
    tests = Strictness(**result.levels["settings"]["strictness"])
    return preview(calm, tried, result.levels["edge_sigma_px"], tests=tests, valid=inside)


def pixels_within(micrograph: Micrograph, window: Window) -> Any:
    """Give the original greys of a window, float32 from 0 to 1; of a mosaic only its rows are read."""
    rows = slice(window.top, window.top + window.height)
    columns = slice(window.left, window.left + window.width)
    if micrograph.width_px * micrograph.height_px > LARGEST_WHOLE_PX:
        from teardown.formats.mosaic import Mosaic

        with on_disk(micrograph.receipt.file) as path, Mosaic(path, page=micrograph.page) as mosaic:
            return mosaic.grey(rows, columns)
    from teardown.formats.micrograph import read_micrograph

    picture = read_micrograph(read(micrograph.receipt.file), page=micrograph.page)
    return picture.grey[rows, columns].copy()
