"""Pictures for the screen and for paper: at every scale, small, with classes over them, tile by tile."""

import tempfile
from functools import partial
from pathlib import Path
from typing import Any

from django.core.files.base import File

from teardown.dissection.store import on_disk
from teardown.files.models import Receipt
from teardown.files.store import derived, keep, read
from teardown.imaging.models import Micrograph, SectionResult
from teardown.imaging.store.made import LARGEST_WHOLE_PX, get, put, put_file

THUMBNAIL_PX = 480
OVERLAY_PX = 1600
LEFT_OUT = 3
PAPER_PX = 800  # hatches stand about 0.6 mm apart where a picture is printed half a page wide


def pyramid_of(micrograph: Micrograph) -> Path:
    """Give the file with the picture at every scale; make it if it is not there."""
    name = f"micrographs/{micrograph.receipt.file.sha256}-{micrograph.page}.tif"
    if not derived().exists(name):
        if micrograph.width_px * micrograph.height_px > LARGEST_WHOLE_PX:
            put_file(name, partial(_mosaic_pyramid, micrograph))
        else:
            from teardown.formats.micrograph import read_micrograph
            from teardown.formats.pyramid import display_bytes, pyramid_bytes

            picture = read_micrograph(read(micrograph.receipt.file), page=micrograph.page)
            put(name, pyramid_bytes(display_bytes(picture.grey)))
    return Path(derived().path(name))


def takes_long(micrograph: Micrograph) -> bool:
    """Tell whether a picture is so large, and not drawn yet, that nobody should wait while it is drawn."""
    if micrograph.width_px * micrograph.height_px <= LARGEST_WHOLE_PX:
        return False
    return not derived().exists(f"micrographs/{micrograph.receipt.file.sha256}-{micrograph.page}.tif")


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
                put_file(name, partial(class_pyramid, path))
        else:
            from teardown.formats.pyramid import pyramid_bytes, read_classes

            put(name, pyramid_bytes(read_classes(read(result.class_map)), classes=True))
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


def thumbnail_of(micrograph: Micrograph) -> bytes:
    """Give the picture, small."""
    name = f"thumbnails/{micrograph.receipt.file.sha256}-{micrograph.page}.jpg"
    if not derived().exists(name):
        from teardown.formats.pyramid import jpeg_bytes, read_page, reduced

        put(name, jpeg_bytes(reduced(read_page(pyramid_of(micrograph), THUMBNAIL_PX), THUMBNAIL_PX)))
    return get(name)


def picture_of(micrograph: Micrograph) -> bytes:
    """Give the picture for a page: as large as a screen."""
    name = f"pictures/{micrograph.receipt.file.sha256}-{micrograph.page}.jpg"
    if not derived().exists(name):
        from teardown.formats.pyramid import jpeg_bytes, read_page, reduced

        put(name, jpeg_bytes(reduced(read_page(pyramid_of(micrograph), OVERLAY_PX), OVERLAY_PX)))
    return get(name)


def overlay_of(result: SectionResult, style: str = "fill") -> bytes:
    """Give the classes of a result as a layer of the same size as :func:`picture_of`, clear where metal
    is; hatched for paper, where colours may turn grey."""
    if result.class_map is None:
        raise FileNotFoundError(f"Run {result.run_id} left no class map.")
    name = f"overlays/{result.class_map.sha256}{'' if style == 'fill' else f'-{style}-{PAPER_PX}'}.png"
    if not derived().exists(name):
        from teardown.formats.pyramid import png_bytes, read_page, reduced
        from teardown.science.stereology.overlay import tint

        page = read_page(classes_of(result), OVERLAY_PX if style == "fill" else PAPER_PX)
        if style == "fill":
            put(name, png_bytes(reduced(tint(page), OVERLAY_PX)))
        else:
            step = max(round(max(page.shape) / PAPER_PX), 1)
            layer = tint(page[::step, ::step], "hatch")
            # what is left out is only dimmed: the scale bar in the strip stays to be read
            layer[:, :, 3][page[::step, ::step] == LEFT_OUT] = 90
            put(name, png_bytes(layer))
    return get(name)


def tile_of(path: Path, level: int, column: int, row: int, style: str = "") -> bytes | None:
    """Give one tile, encoded for the screen; with a style, as a layer of classes. None outside the
    picture."""
    from teardown.formats.pyramid import TILE, jpeg_bytes, png_bytes, read_tile

    # beyond the picture there is no class, and nothing is drawn
    tile = read_tile(path, level, column, row, beyond=255 if style else 0)
    if tile is None:
        return None
    if not style:
        return jpeg_bytes(tile)
    from teardown.science.stereology.overlay import tint

    return png_bytes(tint(tile, style, origin=(row * TILE, column * TILE)))  # type: ignore[arg-type]
