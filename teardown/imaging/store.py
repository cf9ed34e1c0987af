"""Pictures for the screen, made from originals and kept until someone clears them away; losing them loses
nothing."""

import io
import json
import tempfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from django.core.files.base import ContentFile, File
from django.db.models import Max

from teardown.dissection.store import on_disk
from teardown.files.models import Receipt
from teardown.files.store import derived, keep, read
from teardown.imaging.models import Micrograph, SectionResult

THUMBNAIL_PX = 480
OVERLAY_PX = 1600
# larger pictures are read and drawn band by band
LARGEST_WHOLE_PX = 64_000_000
CROSSINGS = 200
REACH_PX = 4.0


def pyramid_of(micrograph: Micrograph) -> Path:
    """Give the file with the picture at every scale; make it if it is not there."""
    name = f"micrographs/{micrograph.receipt.file.sha256}-{micrograph.page}.tif"
    if not derived().exists(name):
        if micrograph.width_px * micrograph.height_px > LARGEST_WHOLE_PX:
            _put_file(name, partial(_mosaic_pyramid, micrograph))
        else:
            from teardown.formats.micrograph import read_micrograph
            from teardown.formats.pyramid import display_bytes, pyramid_bytes

            picture = read_micrograph(read(micrograph.receipt.file), page=micrograph.page)
            _put(name, pyramid_bytes(display_bytes(picture.grey)))
    return Path(derived().path(name))


def _mosaic_pyramid(micrograph: Micrograph, target: Path) -> None:
    """Make the pyramid of a picture too large to be held, band by band."""
    import numpy as np

    from teardown.formats.mosaic import Mosaic
    from teardown.formats.pyramid import BAND, display_bytes, display_ends, pyramid_of_bands

    with on_disk(micrograph.receipt.file) as path, Mosaic(path, page=micrograph.page) as mosaic:
        rows, columns = mosaic.shape
        all_columns = slice(0, columns)
        seen = [
            mosaic.grey(slice(top, top + 1), all_columns)[:, ::16]
            for top in range(rows // 48, rows, max(rows // 24, 1))
        ]
        ends = display_ends(np.concatenate(seen))
        bands = (
            display_bytes(mosaic.grey(slice(top, min(top + BAND, rows)), all_columns), ends)
            for top in range(0, rows, BAND)
        )
        pyramid_of_bands(bands, columns, rows, target)


def classes_of(result: SectionResult) -> Path:
    """Give the file with the classes at every scale; make it if it is not there."""
    if result.class_map is None:
        raise FileNotFoundError(f"Run {result.run_id} left no class map.")
    name = f"classes/{result.class_map.sha256}.tif"
    if not derived().exists(name):
        micrograph = result.micrograph
        if micrograph.width_px * micrograph.height_px > LARGEST_WHOLE_PX:
            from teardown.formats.pyramid import class_pyramid

            with on_disk(result.class_map) as path:
                _put_file(name, partial(class_pyramid, path))
        else:
            from teardown.formats.pyramid import pyramid_bytes, read_classes

            _put(name, pyramid_bytes(read_classes(read(result.class_map)), classes=True))
    return Path(derived().path(name))


def keep_classes(labels: Any, *, name: str) -> Receipt:
    """Keep a class map as PNG; a large one never as a whole in memory."""
    if labels.size <= LARGEST_WHOLE_PX:
        from teardown.formats.pyramid import png_bytes

        return keep(png_bytes(labels), by=None, name=name)
    from teardown.formats.pyramid import classes_file

    with tempfile.TemporaryDirectory(prefix="classes-") as folder:
        target = Path(folder) / "classes.png"
        classes_file(labels, target)
        with target.open("rb") as file:
            return keep(File(file), by=None, name=name)


def _put_file(name: str, make: Callable[[Path], None]) -> None:
    """Have a large file made beside where it will lie, and put it there whole."""
    with tempfile.TemporaryDirectory(prefix="making-") as folder:
        target = Path(folder) / "made"
        make(target)
        with target.open("rb") as file:
            derived().save(name, File(file))


def thumbnail_of(micrograph: Micrograph) -> bytes:
    """Give the picture, small."""
    name = f"thumbnails/{micrograph.receipt.file.sha256}-{micrograph.page}.jpg"
    if not derived().exists(name):
        from teardown.formats.pyramid import jpeg_bytes, read_page, reduced

        _put(name, jpeg_bytes(reduced(read_page(pyramid_of(micrograph), THUMBNAIL_PX), THUMBNAIL_PX)))
    return _get(name)


def picture_of(micrograph: Micrograph) -> bytes:
    """Give the picture for a page: as large as a screen."""
    name = f"pictures/{micrograph.receipt.file.sha256}-{micrograph.page}.jpg"
    if not derived().exists(name):
        from teardown.formats.pyramid import jpeg_bytes, read_page, reduced

        _put(name, jpeg_bytes(reduced(read_page(pyramid_of(micrograph), OVERLAY_PX), OVERLAY_PX)))
    return _get(name)


def overlay_of(result: SectionResult, style: str = "fill") -> bytes:
    """Give the classes of a result as a layer of the same size as :func:`picture_of`, clear where metal
    is; hatched for paper, where colours may turn grey."""
    if result.class_map is None:
        raise FileNotFoundError(f"Run {result.run_id} left no class map.")
    name = f"overlays/{result.class_map.sha256}{'' if style == 'fill' else f'-{style}'}.png"
    if not derived().exists(name):
        from teardown.formats.pyramid import png_bytes, read_page, reduced
        from teardown.science.stereology.overlay import tint

        page = read_page(classes_of(result), OVERLAY_PX)
        if style == "fill":
            _put(name, png_bytes(reduced(tint(page), OVERLAY_PX)))
        else:
            step = max(round(max(page.shape) / OVERLAY_PX), 1)
            _put(name, png_bytes(tint(page[::step, ::step], "hatch")))
    return _get(name)


def classes_at(result: SectionResult, places: Sequence[tuple[float, float]]) -> list[int]:
    """Give the class that a result found at each place; places outside are left out of the section."""
    if result.class_map is None:
        return []
    from teardown.formats.pyramid import read_classes

    labels = read_classes(read(result.class_map))
    rows, columns = labels.shape
    return [
        int(labels[int(y), int(x)]) if 0 <= int(x) < columns and 0 <= int(y) < rows else 3 for x, y in places
    ]


def places_of(
    micrograph: Micrograph, kind: str, seed: int, result: SectionResult | None
) -> list[list[float]]:
    """Give the places of a count, as its seed sets them: a grid of 400 points, or about 200 crossings of
    12 test lines with the metal outline."""
    from teardown.science.stereology.counting import outline_crossings, point_grid

    if kind == "points":
        shape = (micrograph.height_px, micrograph.width_px)
        found = point_grid(shape, 400, seed=seed).tolist()
        if result is None:
            return list(found)
        inside = classes_at(result, [(x, y) for x, y in found])
        return [place for place, code in zip(found, inside, strict=False) if code != 3]
    if result is None or result.class_map is None:
        return []
    from teardown.formats.pyramid import read_classes

    crossings = outline_crossings(read_classes(read(result.class_map)), lines=12, seed=seed).tolist()
    # of many crossings every k-th along the lines, so that all parts of the picture are called alike
    step = max(round(len(crossings) / CROSSINGS), 1)
    return list(crossings[seed % step :: step])


def seeds_of(micrograph: Micrograph, kind: str) -> range:
    """Give the seeds that may be counted with: those that were, and the next.

    They follow from how many counts there are, so that nobody picks a grid that suits.
    """
    first = micrograph.pk * 1000
    used = micrograph.counts.filter(kind=kind).aggregate(last=Max("seed"))["last"]
    return range(first, (first if used is None else max(used, first - 1) + 1) + 1)


def tile_of(path: Path, level: int, column: int, row: int, style: str = "") -> bytes | None:
    """Give one tile, encoded for the screen; with a style, as a layer of classes. None outside the
    picture."""
    from teardown.formats.pyramid import TILE, jpeg_bytes, png_bytes, read_tile

    tile = read_tile(path, level, column, row, beyond=3 if style else 0)
    if tile is None:
        return None
    if not style:
        return jpeg_bytes(tile)
    from teardown.science.stereology.overlay import tint

    return png_bytes(tint(tile, style, origin=(row * TILE, column * TILE)))  # type: ignore[arg-type]


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
        _put(name, out.getvalue())
    return np.load(io.BytesIO(_get(name)), allow_pickle=False).astype(np.float32) / np.float32(65535)


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


def change_tile_of(
    before: SectionResult, after: SectionResult, level: int, column: int, row: int
) -> bytes | None:
    """Give one tile of what changed between two results. None outside the picture."""
    from teardown.formats.pyramid import TILE, png_bytes, read_tile
    from teardown.science.stereology.changes import tint_changes

    tiles = [read_tile(classes_of(result), level, column, row, beyond=3) for result in (before, after)]
    if tiles[0] is None or tiles[1] is None:
        return None
    return png_bytes(tint_changes(tiles[0], tiles[1], origin=(row * TILE, column * TILE)))


def changes_of(before: SectionResult, after: SectionResult) -> list[list[int]]:
    """Count the pixels that changed class between two results, by what they were and are; tile by tile."""
    if before.class_map is None or after.class_map is None:
        raise FileNotFoundError("One of the runs left no class map.")
    name = f"changes/{before.class_map.sha256[:32]}-{after.class_map.sha256[:32]}.json"
    if not derived().exists(name):
        from teardown.formats.pyramid import TILE, read_tile
        from teardown.science.stereology.changes import change_table

        paths = [classes_of(result) for result in (before, after)]
        rows, columns = (
            -(-side // TILE) for side in (before.micrograph.height_px, before.micrograph.width_px)
        )
        total: Any = 0
        for row in range(rows):
            for column in range(columns):
                one, other = (read_tile(path, 0, column, row, beyond=3) for path in paths)
                if one is not None and other is not None:
                    total = total + change_table(one, other)
        total[3, 3] -= rows * columns * TILE**2 - before.micrograph.height_px * before.micrograph.width_px
        _put(name, json.dumps(total.tolist()).encode())
    return list(json.loads(_get(name)))


def _put(name: str, content: bytes) -> None:
    derived().save(name, ContentFile(content))


def _get(name: str) -> bytes:
    with derived().open(name) as file:
        return bytes(file.read())
