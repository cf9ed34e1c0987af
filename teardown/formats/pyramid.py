"""Large pictures at every scale: one file with halved pages, read tile by tile."""

import io
import tempfile
from collections.abc import Iterable
from pathlib import Path
from typing import IO, Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

TILE = 512
BAND = 1024


def display_bytes(grey: NDArray[np.float32], ends: tuple[float, float] | None = None) -> NDArray[np.uint8]:
    """Give greys for the eye: the middle 99.6 % spread over black to white. Never measured."""
    low, high = ends or display_ends(grey[:: max(grey.shape[0] // 1024, 1), :: max(grey.shape[1] // 1024, 1)])
    shown = (grey - np.float32(low)) * np.float32(255 / max(high - low, 1e-6))
    return np.asarray(np.clip(shown, 0, 255), np.uint8)


def display_ends(sample: NDArray[np.float32]) -> tuple[float, float]:
    """Give the greys that are shown black and white."""
    low, high = (float(value) for value in np.quantile(sample, [0.002, 0.998]))
    return low, high


def pyramid_bytes(array: NDArray[np.uint8], *, classes: bool = False) -> bytes:
    """Write an array as a file of pages, each half as large as the one before, in tiles.

    Parameters
    ----------
    array : ndarray of uint8, shape (rows, columns)
    classes : bool
        Class codes are halved by the commonest code and kept without loss; greys by their mean.
    """
    import pyvips

    picture = pyvips.Image.new_from_memory(
        np.ascontiguousarray(array).data, array.shape[1], array.shape[0], 1, "uchar"
    )
    options = (
        {"compression": "deflate", "region_shrink": "mode"} if classes else {"compression": "jpeg", "Q": 88}
    )
    # readers refuse tiles much larger than the picture; sides of tiles are multiples of 16 (TIFF 6.0, 15)
    side = min(TILE, -(-max(array.shape) // 16) * 16)
    return bytes(
        picture.tiffsave_buffer(
            tile=True, tile_width=side, tile_height=side, pyramid=True, bigtiff=False, **options
        )
    )


def pyramid_of_bands(bands: Iterable[NDArray[np.uint8]], width: int, height: int, target: Path) -> None:
    """Write a pyramid as :func:`pyramid_bytes` does, of a picture that comes in bands from the top down.

    It is laid on the disk first, so that neither it nor the pyramid is ever in memory as a whole.
    """
    with tempfile.NamedTemporaryFile(prefix="bands-", dir=target.parent) as laid:
        _lay(bands, laid)
        picture = _raw(laid.name, width, height)
        picture.tiffsave(
            str(target), tile=True, tile_width=TILE, tile_height=TILE, pyramid=True, compression="jpeg", Q=88
        )


def classes_file(labels: NDArray[np.uint8], target: Path) -> None:
    """Write a large class map as PNG, band by band."""
    bands = (np.array(labels[top : top + BAND]) for top in range(0, labels.shape[0], BAND))
    with tempfile.NamedTemporaryFile(prefix="bands-", dir=target.parent) as laid:
        _lay(bands, laid)
        _raw(laid.name, labels.shape[1], labels.shape[0]).pngsave(str(target), compression=4)


def class_pyramid(source: Path, target: Path) -> None:
    """Write the pyramid of a large class map that was kept as PNG, without holding either."""
    import pyvips

    picture = pyvips.Image.new_from_file(str(source), access="sequential")
    picture.tiffsave(
        str(target),
        tile=True,
        tile_width=TILE,
        tile_height=TILE,
        pyramid=True,
        compression="deflate",
        region_shrink="mode",
    )


def _lay(bands: Iterable[NDArray[np.uint8]], file: IO[bytes]) -> None:
    for band in bands:
        file.write(np.ascontiguousarray(band).data)
    file.flush()


def _raw(name: str, width: int, height: int) -> Any:
    import pyvips

    return pyvips.Image.rawload(name, width, height, 1, access="sequential").copy(interpretation="b-w")


def count_levels(width: int, height: int) -> int:
    """Count the pages of a picture's pyramid: halved until one tile holds it."""
    levels = 1
    while max(width, height) > TILE:
        width, height, levels = max(width // 2, 1), max(height // 2, 1), levels + 1
    return levels


def read_tile(path: Path, level: int, column: int, row: int, *, beyond: int = 0) -> NDArray[np.uint8] | None:
    """Read one tile, padded to its full size, as viewers stretch short ones.

    Parameters
    ----------
    level : int
        0 for full resolution, 1 for half, and so on.
    beyond : int
        What stands outside the picture.

    Returns
    -------
    ndarray of uint8, shape (512, 512), or None outside the picture
    """
    import pyvips

    if level < 0 or column < 0 or row < 0:
        return None
    try:
        page = pyvips.Image.tiffload(str(path), page=level)
    except pyvips.Error:
        return None
    left, top = column * TILE, row * TILE
    if left >= page.width or top >= page.height:
        return None
    width, height = min(TILE, page.width - left), min(TILE, page.height - top)
    part = np.asarray(page.crop(left, top, width, height).numpy(), np.uint8)
    part = part.reshape(height, width, -1)[:, :, 0]
    tile = np.full((TILE, TILE), beyond, np.uint8)
    tile[:height, :width] = part
    return tile


def read_page(path: Path, longest: int) -> NDArray[np.uint8]:
    """Read the smallest page whose longer side is at least ``longest`` pixels, or the largest there is."""
    import pyvips

    found = pyvips.Image.tiffload(str(path), page=0)
    pages = found.get("n-pages") if found.get_typeof("n-pages") else 1
    for number in range(1, pages):
        smaller = pyvips.Image.tiffload(str(path), page=number)
        if max(smaller.width, smaller.height) < longest:
            break
        found = smaller
    array = np.asarray(found.numpy(), np.uint8)
    return array.reshape(found.height, found.width, -1)[:, :, 0]


def read_classes(data: bytes) -> NDArray[np.uint8]:
    """Read a class map that was kept as PNG."""
    with Image.open(io.BytesIO(data), formats=("PNG",)) as picture:
        return np.asarray(picture, np.uint8)


def jpeg_bytes(array: NDArray[np.uint8]) -> bytes:
    """Encode greys or colours for the screen."""
    out = io.BytesIO()
    Image.fromarray(array).save(out, "JPEG", quality=86)
    return out.getvalue()


def png_bytes(array: NDArray[np.uint8]) -> bytes:
    """Encode without loss: greys, colours, or colours with opacity."""
    out = io.BytesIO()
    Image.fromarray(array).save(out, "PNG", compress_level=4)
    return out.getvalue()


def reduced(array: NDArray[np.uint8], longest: int) -> NDArray[np.uint8]:
    """Give a picture at most ``longest`` pixels long, by area means."""
    scale = longest / max(array.shape[:2])
    if scale >= 1:
        return array
    size = max(round(array.shape[1] * scale), 1), max(round(array.shape[0] * scale), 1)
    return np.asarray(Image.fromarray(array).resize(size, Image.Resampling.BOX))
