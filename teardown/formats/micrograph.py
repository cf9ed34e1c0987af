"""Pictures from microscopes: greys at full depth, and every hint of how large a pixel is."""

import io
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import tifffile
from numpy.typing import NDArray
from PIL import Image, UnidentifiedImageError

from teardown.formats.greys import Greys, NoGreys, to_greys
from teardown.formats.pixel_size import ScaleCandidate, candidates_in_raster, candidates_in_tiff, strip_rows
from teardown.science.errors import ReadingError, Remark

FORMATS = ("PNG", "JPEG", "TIFF")
LARGEST_PIXELS = 64_000_000
LARGEST_TIFF_PIXELS = 500_000_000
PLAIN_OR_DEFLATE = {1, 8, 32946}


class NotAPicture(ReadingError):
    """The file is no PNG, JPEG or TIFF picture."""

    code = "micrograph.E001"
    hint = "Export the picture from the microscope as TIFF or PNG."


class DamagedPicture(ReadingError):
    """The picture's data end early or do not fit together."""

    code = "micrograph.E002"
    hint = "Copy the file again from the microscope."


class TooManyPixels(ReadingError):
    """The picture is larger than may be opened."""

    code = "micrograph.E003"
    hint = "Save mosaics as grey TIFF, uncompressed or with deflate, up to 500 megapixels; or cut them."


class NoSuchPage(ReadingError):
    """The file has fewer pages."""

    code = "micrograph.E004"
    hint = "Pages count from 0."


@dataclass(frozen=True, slots=True)
class Header:
    """What a file says of itself before its pixels are read."""

    kind: str
    width: int
    height: int
    bits: int
    pages: int
    lossy: bool
    candidates: tuple[ScaleCandidate, ...] = ()
    strip_rows: int | None = None
    about: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture as it was recorded.

    Attributes
    ----------
    grey : ndarray of float32, shape (rows, columns)
        0 black, 1 white, at the file's full depth; nothing stretched.
    left_out : ndarray of bool or None
        True under coloured overlays, transparency and missing values.
    """

    grey: NDArray[np.float32]
    left_out: NDArray[np.bool_] | None
    header: Header
    remarks: tuple[Remark, ...] = ()


def read_header(data: bytes, *, page: int = 0) -> Header:
    """Read what a file says of itself, and refuse what is too large before any pixel is read.

    Raises
    ------
    ReadingError
        If the bytes are no picture, are damaged, or claim too many pixels.
    """
    if not data:
        raise NotAPicture("The file is empty.")
    with in_words():
        return _tiff_header(data, page) if _is_tiff(data) else _raster_header(data, page)


def read_micrograph(data: bytes, *, page: int = 0) -> Picture:
    """Read one page of a PNG, JPEG or TIFF file.

    Parameters
    ----------
    data : bytes
        The whole file.
    page : int
        Which page, from 0.

    Raises
    ------
    ReadingError
        In words: no picture, damaged, too large, no such page, no greys.
    """
    header = read_header(data, page=page)
    _cap(header.width, header.height, LARGEST_PIXELS)
    with in_words():
        if _is_tiff(data):
            raw, inverted, told = _tiff_pixels(data, page)
        else:
            raw, inverted, told = _raster_pixels(data, page), False, None
        greys = to_greys(raw, told=told)
    if raw.shape[:2] != (header.height, header.width):
        raise DamagedPicture(
            f"The header says {header.width} by {header.height} pixels, the data hold {raw.shape}."
        )
    grey = 1 - greys.grey if inverted else greys.grey
    if greys.bits:
        header = replace(header, bits=greys.bits)
    return Picture(grey, greys.left_out, header, (*greys.remarks, *_remarks(header, greys)))


def _remarks(header: Header, greys: Greys) -> list[Remark]:
    found = []
    if header.lossy:
        found.append(
            Remark(
                "jpeg_input",
                "warning",
                "The picture was saved with loss: edges ring and blocks show.",
                None,
                "",
                "Export as TIFF or PNG.",
            )
        )
    detector = header.about.get("detector", "").lower()
    if detector and any(word in detector for word in ("etd", "se2", "secondary")):
        found.append(
            Remark(
                "not_bse",
                "warning",
                f"The detector is {header.about['detector']}: its greys follow shape, not matter.",
                None,
                "",
                "Take the picture with backscattered electrons.",
            )
        )
    if greys.grey.size and float(np.ptp(greys.grey)) == 0.0:
        found.append(Remark("one_grey", "warning", "Every pixel has the same grey."))
    return found


def _is_tiff(data: bytes) -> bool:
    return data[:4] in (b"II*\x00", b"MM\x00*", b"II+\x00", b"MM\x00+")


@contextmanager
def in_words() -> Iterator[None]:
    """Turn whatever a decoder throws at damaged bytes into a refusal: their kinds are not a closed list."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            yield
    except ReadingError:
        raise
    except UnidentifiedImageError as error:
        raise DamagedPicture("The picture's beginning is damaged or cut off.") from error
    except Image.DecompressionBombError as error:
        raise TooManyPixels("The picture claims more pixels than may be opened.") from error
    except MemoryError as error:
        raise TooManyPixels("The picture does not fit into the memory allowed for it.") from error
    except Exception as error:
        raise DamagedPicture(f"The picture cannot be decoded ({type(error).__name__}: {error}).") from error


def _raster_header(data: bytes, page: int) -> Header:
    if data[:8] != b"\x89PNG\r\n\x1a\n" and data[:3] != b"\xff\xd8\xff":
        raise NotAPicture("The bytes are no PNG, JPEG or TIFF picture.")
    with Image.open(io.BytesIO(data), formats=("PNG", "JPEG")) as picture:
        if page:
            raise NoSuchPage(f"Page {page} was asked for; the file has one.")
        _cap(picture.width, picture.height, LARGEST_PIXELS)
        deep = picture.mode in ("I;16", "I;16B", "I") or _png_depth(data) == 16
        return Header(
            str(picture.format),
            picture.width,
            picture.height,
            16 if deep else 8,
            1,
            picture.format == "JPEG",
            tuple(candidates_in_raster(picture)),
        )


def _png_depth(data: bytes) -> int:
    return data[24] if data[:8] == b"\x89PNG\r\n\x1a\n" and len(data) > 24 else 8


def _raster_pixels(data: bytes, page: int) -> NDArray[Any]:
    if _png_depth(data) == 16 and data[25] in (2, 6):
        return _deep_colour(data)
    with Image.open(io.BytesIO(data), formats=("PNG", "JPEG")) as picture:
        return _pillow_array(picture)


def _deep_colour(data: bytes) -> NDArray[Any]:
    """Decode 16-bit colour PNG, which Pillow would cut to 8 bits."""
    import cv2

    found = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_UNCHANGED)
    if found is None:
        raise DamagedPicture("The picture's data end early.")
    order = [2, 1, 0, 3][: found.shape[2]]
    return np.asarray(found[:, :, order])


def _pillow_array(picture: Image.Image) -> NDArray[Any]:
    if picture.mode == "P":
        picture = picture.convert("RGBA" if "transparency" in picture.info else "RGB")
    if picture.mode in ("1", "CMYK", "YCbCr", "LAB", "HSV") and picture.mode != "YCbCr":
        raise NoGreys(f"The picture is stored as {picture.mode}, which holds no greys to measure.")
    if picture.mode == "YCbCr":
        picture = picture.convert("RGB")
    return np.asarray(picture)


def _tiff_header(data: bytes, page: int) -> Header:
    with tifffile.TiffFile(io.BytesIO(data)) as tiff:
        return header_of_tiff(tiff, len(data), page)


def header_of_tiff(tiff: tifffile.TiffFile, size: int, page: int) -> Header:
    """Read what an open TIFF file of so many bytes says of one of its pages."""
    count = len(tiff.pages)
    if not 0 <= page < count:
        raise NoSuchPage(f"Page {page} was asked for; the file has {count}.")
    shown = _page(tiff, page)
    _cap(shown.imagewidth, shown.imagelength, LARGEST_TIFF_PIXELS)
    if shown.imagedepth > 1:
        raise NoGreys("The file holds a stack in depth, not a picture.")
    _all_there(shown, size)
    found, about = candidates_in_tiff(tiff, shown)
    bits = shown.bitspersample
    return Header(
        "TIFF",
        shown.imagewidth,
        shown.imagelength,
        int(bits[0] if isinstance(bits, tuple) else bits),
        count,
        int(shown.compression) in (6, 7, 34892),
        tuple(found),
        strip_rows(shown),
        about,
    )


def _page(tiff: tifffile.TiffFile, number: int) -> tifffile.TiffPage:
    shown = tiff.pages[number]
    return shown.aspage()


def _all_there(page: tifffile.TiffPage, size: int) -> None:
    """Refuse pages whose data lie beyond the end of the file."""
    ends = [start + count for start, count in zip(page.dataoffsets, page.databytecounts, strict=False)]
    if not ends:
        raise DamagedPicture("The page has no data.")
    if max(ends) > size:
        raise DamagedPicture(f"The picture's data go to byte {max(ends)}; the file ends at {size}.")


def highest_told(page: tifffile.TiffPage) -> int | None:
    """Give the highest sample that a page says there may be (tag MaxSampleValue of TIFF 6.0)."""
    tag = page.tags.get(281)
    value = tag.value[0] if tag is not None and isinstance(tag.value, tuple) else tag and tag.value
    return int(value) if isinstance(value, int) else None


def _tiff_pixels(data: bytes, page: int) -> tuple[NDArray[Any], bool, int | None]:
    with tifffile.TiffFile(io.BytesIO(data)) as tiff:
        shown = _page(tiff, page)
        inverted, told = int(shown.photometric) == 0, highest_told(shown)
        if shown.bitspersample == 1 or int(shown.photometric) == 5:
            raise NoGreys("The picture holds only black and white, or printing inks.")
        if int(shown.compression) in PLAIN_OR_DEFLATE:
            array = shown.asarray()
            if int(shown.photometric) == 3:
                return _through_palette(array, shown.colormap), False, None
            if array.ndim == 3 and shown.axes.startswith(("S", "C")):
                array = np.moveaxis(array, 0, -1)
            return array, inverted, told
    with Image.open(io.BytesIO(data), formats=("TIFF",)) as picture:
        picture.seek(page)
        return _pillow_array(picture), inverted and picture.mode.startswith("I;16"), told


def _through_palette(index: NDArray[Any], palette: NDArray[np.uint16] | None) -> NDArray[Any]:
    if palette is None:
        raise DamagedPicture("The picture's palette is missing.")
    colours = (palette.T >> 8).astype(np.uint8)
    return np.asarray(colours[np.asarray(index, np.intp)])


def _cap(width: int, height: int, most: int) -> None:
    if width < 1 or height < 1:
        raise DamagedPicture(f"The picture claims {width} by {height} pixels.")
    if width * height > most:
        raise TooManyPixels(
            f"The picture claims {width} by {height} pixels; {most // 1_000_000} million are allowed."
        )
