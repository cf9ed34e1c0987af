"""Pictures for the screen, made from originals and kept until someone clears them away; losing them loses
nothing."""

from collections.abc import Sequence
from pathlib import Path

from django.core.files.base import ContentFile

from teardown.files.store import derived, read
from teardown.imaging.models import Micrograph, SectionResult

THUMBNAIL_PX = 480
OVERLAY_PX = 1600


def pyramid_of(micrograph: Micrograph) -> Path:
    """Give the file with the picture at every scale; make it if it is not there."""
    name = f"micrographs/{micrograph.receipt.file.sha256}-{micrograph.page}.tif"
    if not derived().exists(name):
        from teardown.formats.micrograph import read_micrograph
        from teardown.formats.pyramid import display_bytes, pyramid_bytes

        picture = read_micrograph(read(micrograph.receipt.file), page=micrograph.page)
        _put(name, pyramid_bytes(display_bytes(picture.grey)))
    return Path(derived().path(name))


def classes_of(result: SectionResult) -> Path:
    """Give the file with the classes at every scale; make it if it is not there."""
    if result.class_map is None:
        raise FileNotFoundError(f"Run {result.run_id} left no class map.")
    name = f"classes/{result.class_map.sha256}.tif"
    if not derived().exists(name):
        from teardown.formats.pyramid import pyramid_bytes, read_classes

        _put(name, pyramid_bytes(read_classes(read(result.class_map)), classes=True))
    return Path(derived().path(name))


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


def overlay_of(result: SectionResult) -> bytes:
    """Give the classes of a result as a layer of the same size as :func:`picture_of`, clear where metal
    is."""
    if result.class_map is None:
        raise FileNotFoundError(f"Run {result.run_id} left no class map.")
    name = f"overlays/{result.class_map.sha256}.png"
    if not derived().exists(name):
        from teardown.formats.pyramid import png_bytes, read_page, reduced
        from teardown.science.stereology.overlay import tint

        page = read_page(classes_of(result), OVERLAY_PX)
        _put(name, png_bytes(reduced(tint(page), OVERLAY_PX)))
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
    """Give the places of a count, as its seed sets them: a grid of 400 points, or crossings along 12
    lines."""
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

    return list(outline_crossings(read_classes(read(result.class_map)), lines=12, seed=seed).tolist())


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


def _put(name: str, content: bytes) -> None:
    derived().save(name, ContentFile(content))


def _get(name: str) -> bytes:
    with derived().open(name) as file:
        return bytes(file.read())
