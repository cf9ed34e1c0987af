"""Large grey TIFF pictures, read band by band: a mosaic need never be in memory as a whole."""

from dataclasses import replace
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import numpy as np
import tifffile
from numpy.typing import NDArray

from teardown.formats.greys import NARROW_SCALES, full_scale, narrow_remark
from teardown.formats.micrograph import (
    LARGEST_PIXELS,
    PLAIN_OR_DEFLATE,
    Header,
    header_of_tiff,
    highest_told,
    in_words,
    read_header,
)
from teardown.science.errors import ReadingError, Remark

# rows kept beyond those asked for, so that the halo of the next window is there already
MARGIN_ROWS = 96
LARGEST_PIECE = 64_000_000
SAMPLED_ROWS = 9


class NotInBands(ReadingError):
    """The picture is too large to be read whole, and is not stored so that it can be read in parts."""

    code = "micrograph.E006"
    hint = (
        "Save mosaics above 64 megapixels as TIFF, grey, 8 or 16 bit, uncompressed or with deflate (zip), in"
        " tiles or strips."
    )


class Mosaic:
    """One page of a TIFF file, open for reading parts of it; closed on leaving."""

    def __init__(self, path: Path, *, page: int = 0) -> None:
        """Open a file and see that it can be read in parts.

        Raises
        ------
        ReadingError
            If it is no TIFF, is damaged, too large, or not stored so that parts can be read.
        """
        with in_words():
            self._file = tifffile.TiffFile(path)
        try:
            with in_words():
                self.header: Header = header_of_tiff(self._file, path.stat().st_size, page)
                self._page = self._file.pages[page].aspage()
            _demand_parts(self._page)
        except BaseException:
            self._file.close()
            raise
        self.shape = self.header.height, self.header.width
        self._plain = np.dtype(np.uint8 if self.header.bits == 8 else np.uint16)
        self._type = self._plain.newbyteorder(self._file.byteorder)
        self._inverted = int(self._page.photometric) == 0
        self._top = 255 if self.header.bits == 8 else 65535
        self._first = 0
        self._band: NDArray[Any] = np.empty((0, self.shape[1]), self._plain)
        self.remarks: tuple[Remark, ...] = ()
        if self._top == 65535:
            self._look_for_fewer_bits()

    def __enter__(self) -> Self:
        """Give itself."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close the file."""
        self._file.close()

    def raw(self, rows: slice, columns: slice) -> NDArray[Any]:
        """Give the samples of a window as stored.

        Raises
        ------
        ReadingError
            If the data are damaged there.
        """
        if rows.start < self._first or rows.stop > self._first + len(self._band):
            self._fetch(rows)
        return self._band[rows.start - self._first : rows.stop - self._first, columns]

    def grey(self, rows: slice, columns: slice) -> NDArray[np.float32]:
        """Give the greys of a window, 0 black to 1 white, at the file's full depth."""
        raw = self.raw(rows, columns)
        grey = (raw * np.float32(1 / self._top)).astype(np.float32)
        if self._top not in (255, 65535):
            np.minimum(grey, 1, out=grey)
        return 1 - grey if self._inverted else grey

    def _look_for_fewer_bits(self) -> None:
        """Tell by rows all over the mosaic how many bits its samples use; a second opening tells the same."""
        highest = 0
        for row in np.unique(np.linspace(0, self.shape[0] - 1, SAMPLED_ROWS).astype(int)):
            self._fetch(slice(int(row), int(row) + 1), margin=0)
            highest = max(highest, int(self._band.max()))
            if highest > NARROW_SCALES[-1]:
                break
        self._band, self._first = np.empty((0, self.shape[1]), self._plain), 0
        self._top = full_scale(highest, highest_told(self._page))
        if self._top < 65535:
            self.header = replace(self.header, bits=self._top.bit_length())
            self.remarks = (narrow_remark(self._top),)

    def _fetch(self, rows: slice, margin: int = MARGIN_ROWS) -> None:
        """Have the band that holds some rows in memory, and a few more; what is there already is kept."""
        start, stop = max(rows.start - margin, 0), min(rows.stop + margin, self.shape[0])
        band = np.empty((stop - start, self.shape[1]), self._plain)
        last = self._first + len(self._band)
        missing = start
        if self._first <= start < last:
            missing = min(last, stop)
            band[: missing - start] = self._band[start - self._first : missing - self._first]
        self._band = np.empty((0, self.shape[1]), self._plain)
        with in_words():
            if int(self._page.compression) == 1 and not self._page.is_tiled:
                self._copy_rows(band, start, missing)
            else:
                self._decode_rows(band, start, missing)
        self._first, self._band = start, band

    def _copy_rows(self, band: NDArray[Any], start: int, missing: int) -> None:
        """Read rows that are stored as they are."""
        width, rows_a_strip = self.shape[1], self._page.rowsperstrip or self.shape[0]
        row = missing
        while row < start + len(band):
            strip, within = divmod(row, rows_a_strip)
            count = min(rows_a_strip - within, start + len(band) - row)
            place = self._page.dataoffsets[strip] + within * width * self._type.itemsize
            self._file.filehandle.seek(place)
            data = self._file.filehandle.read(count * width * self._type.itemsize)
            band[row - start : row - start + count] = np.frombuffer(data, self._type).reshape(count, width)
            row += count

    def _decode_rows(self, band: NDArray[Any], start: int, missing: int) -> None:
        """Decode the strips or tiles that hold rows."""
        page = self._page
        stop, width = start + len(band), self.shape[1]
        high = int(page.tilelength) if page.is_tiled else int(page.rowsperstrip or self.shape[0])
        across = -(-width // int(page.tilewidth)) if page.is_tiled else 1
        for number in range(missing // high * across, ((stop - 1) // high + 1) * across):
            self._file.filehandle.seek(page.dataoffsets[number])
            data = self._file.filehandle.read(page.databytecounts[number])
            piece, place, shape = page.decode(data, number)
            top, left = int(place[2]), int(place[3])
            # tiles at the far rim are stored whole, and cut off here
            rows, columns = int(shape[1]), min(int(shape[2]), width - left)
            first, last = max(top, missing), min(top + rows, stop)
            if first >= last:
                continue
            if piece is None:  # a piece that was never written holds nothing but black
                band[first - start : last - start, left : left + columns] = 0
            else:
                part = piece[0, first - top : last - top, :columns, 0]
                band[first - start : last - start, left : left + columns] = part


class StretchedMosaic(ReadingError):
    """The pixels of the mosaic are not square."""

    code = "micrograph.E007"
    hint = "Have the stitching program save square pixels."


def _demand_parts(page: Any) -> None:
    """Refuse pages that cannot be read in parts.

    Raises
    ------
    NotInBands
    """
    if page.samplesperpixel != 1 or int(page.photometric) not in (0, 1):
        raise NotInBands("The mosaic is stored in colours.")
    if page.dtype is None or page.dtype.kind != "u" or page.bitspersample not in (8, 16):
        raise NotInBands(f"The mosaic is stored as {page.dtype} of {page.bitspersample} bits.")
    if int(page.compression) not in PLAIN_OR_DEFLATE:
        raise NotInBands(f"The mosaic is compressed by {page.compression.name}.")
    if int(page.compression) != 1 and not page.is_tiled:
        rows = int(page.rowsperstrip or page.imagelength)
        if rows * int(page.imagewidth) > LARGEST_PIECE:
            raise NotInBands("The mosaic is stored as one compressed piece.")


def header_at(path: Path, *, page: int = 0) -> Header:
    """Read what a file of any size says of itself, without reading it whole where it is a TIFF.

    Raises
    ------
    ReadingError
        If it is no picture, is damaged, or too large to be measured.
    """
    with path.open("rb") as file:
        head = file.read(8)
    if head[:4] not in (b"II*\x00", b"MM\x00*", b"II+\x00", b"MM\x00+"):
        return read_header(path.read_bytes(), page=page)
    with in_words(), tifffile.TiffFile(path) as tiff:
        header = header_of_tiff(tiff, path.stat().st_size, page)
        if is_mosaic(header):
            _demand_parts(tiff.pages[page].aspage())
        return header


def is_mosaic(header: Header) -> bool:
    """Tell whether a picture is so large that it is read band by band."""
    return header.width * header.height > LARGEST_PIXELS
