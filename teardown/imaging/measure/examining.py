"""A picture opened and measured, without the books: what commands and runs share."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from teardown.formats.micrograph import Picture, read_micrograph
from teardown.formats.mosaic import Mosaic, StretchedMosaic, header_at, is_mosaic
from teardown.formats.pixel_size import ScaleCandidate, choose_scale
from teardown.science.errors import Remark
from teardown.science.stereology.classes import EXCLUDED, Levels
from teardown.science.stereology.evening import Known, Shelf
from teardown.science.stereology.field import measure_field, measure_source
from teardown.science.stereology.field_result import FieldResult
from teardown.science.stereology.mosaics import label_map, release
from teardown.science.stereology.regions import Polygon, Strip, find_strip, valid_pixels, valid_within
from teardown.science.stereology.settings import Settings
from teardown.science.stereology.trained import Trained
from teardown.science.stereology.windows import Window

BAND_ROWS = 1024


@dataclass(frozen=True, slots=True)
class Regions:
    """What a person drew on a micrograph; corners in pixels."""

    outlines: tuple[Polygon, ...] = ()
    exclusions: tuple[Polygon, ...] = ()
    faces: tuple[Polygon, ...] = ()
    strip: Strip | None = None
    strip_confirmed: bool = False


@dataclass(frozen=True, slots=True)
class Examined:
    """A measured picture with everything that a reader must know of it."""

    picture: Picture
    scale: ScaleCandidate | None
    strip: Strip | None
    result: FieldResult
    flags: tuple[Remark, ...]


def examine(
    data: bytes | Path,
    *,
    page: int = 0,
    scale: ScaleCandidate | None = None,
    hints: Sequence[ScaleCandidate] = (),
    regions: Regions | None = None,
    levels: Levels | None = None,
    settings: Settings | None = None,
    trained: Trained | None = None,
    known: Known | None = None,
    shelf: Shelf | None = None,
) -> Examined:
    """Open a picture and measure it, without the books.

    Parameters
    ----------
    data : bytes or Path
        The whole file, or where it lies; above 64 megapixels it is read band by band from there.
    scale : ScaleCandidate, optional
        What a person gave; else the most trusted hint of the file and of ``hints``.
    hints : sequence of ScaleCandidate
        What lay beside the file, as a text of the microscope.
    trained : Trained, optional
        Classes by strokes instead of by grey.
    known : Known, optional
        What an earlier measurement of this picture, strip and outline found.
    shelf : Shelf, optional
        Where the calm greys of this picture, strip and outline lie between measurements; those of mosaics
        are not kept.

    Raises
    ------
    Refusal
        In words, if the file cannot be read or the field cannot be measured.
    """
    regions = regions or Regions()
    if isinstance(data, Path):
        if is_mosaic(header_at(data, page=page)):
            return _examine_mosaic(
                data,
                page=page,
                scale=scale,
                hints=hints,
                regions=regions,
                levels=levels,
                settings=settings,
                trained=trained,
                known=known,
            )
        data = data.read_bytes()
    picture = read_micrograph(data, page=page)
    choice = choose_scale([scale] if scale else [*picture.header.candidates, *hints])
    strip, strip_flags = _strip_of(picture, regions)
    rows = _rows_of_section(strip, picture.grey.shape[0])
    grey = picture.grey[rows]
    valid = _valid(picture, rows, regions)
    grey, valid, size_um = _square(grey, valid, choice.chosen)
    result = measure_field(
        grey,
        pixel_size_um=size_um,
        valid=valid,
        levels=levels,
        settings=settings,
        trained=trained,
        known=known,
        shelf=shelf,
    )
    result = replace(result, labels=_whole(result.labels, picture.grey.shape, rows))
    flags = (*picture.remarks, *choice.remarks, *strip_flags, *_outline_flag(regions), *result.flags)
    return Examined(picture, choice.chosen, strip, result, flags)


@dataclass(frozen=True, slots=True)
class MosaicSource:
    """The rows of a mosaic that show the section, with what was drawn on it."""

    mosaic: Mosaic
    rows: slice
    regions: Regions

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return self.rows.stop - self.rows.start, self.mosaic.shape[1]

    def grey(self, window: Window) -> np.ndarray:
        """Give the greys of a window."""
        rows = slice(window.top + self.rows.start, window.bottom + self.rows.start)
        return self.mosaic.grey(rows, window.columns)

    def valid(self, window: Window) -> np.ndarray | None:
        """Tell which pixels of a window belong to the section."""
        start = self.rows.start
        placed = Window(window.top + start, window.bottom + start, window.left, window.right)
        return valid_within(placed, outlines=self.regions.outlines, exclusions=self.regions.exclusions)


def _examine_mosaic(
    path: Path,
    *,
    page: int,
    scale: ScaleCandidate | None,
    hints: Sequence[ScaleCandidate],
    regions: Regions,
    **how: Any,
) -> Examined:
    """Measure a mosaic without ever holding it; a strip is left out where file or person tells of one."""
    with Mosaic(path, page=page) as mosaic:
        choice = choose_scale([scale] if scale else [*mosaic.header.candidates, *hints])
        chosen = choice.chosen
        if chosen and abs(chosen.pixel_height_um / chosen.pixel_width_um - 1) > 0.01:
            raise StretchedMosaic(
                f"Pixels are {chosen.pixel_width_um:g} um wide and {chosen.pixel_height_um:g} um high."
            )
        height, told = mosaic.shape[0], mosaic.header.strip_rows
        strip = regions.strip or (Strip(height - told, height) if told else None)
        rows = _rows_of_section(strip, height)
        result = measure_source(
            MosaicSource(mosaic, rows, regions),
            pixel_size_um=chosen.pixel_width_um if chosen else None,
            **how,
        )
        picture = Picture(np.empty((0, 0), np.float32), None, mosaic.header)
        if result.labels.shape != mosaic.shape:
            result = replace(result, labels=_in_frame(result.labels, mosaic.shape, rows))
        remarks = mosaic.remarks
    flags = (*remarks, *choice.remarks, *_outline_flag(regions), *result.flags)
    return Examined(picture, chosen, strip, result, flags)


def _in_frame(labels: np.ndarray, shape: tuple[int, int], rows: slice) -> np.ndarray:
    whole = label_map(shape)
    for top in range(0, shape[0], BAND_ROWS):
        bottom = min(top + BAND_ROWS, shape[0])
        first, last = max(top, rows.start), min(bottom, rows.stop)
        whole[top:bottom] = EXCLUDED
        if first < last:
            whole[first:last] = labels[first - rows.start : last - rows.start]
        release(labels)
        release(whole)
    return whole


def _rows_of_section(strip: Strip | None, rows: int) -> slice:
    if strip is None:
        return slice(0, rows)
    return slice(0, strip.top) if strip.top > rows - strip.bottom else slice(strip.bottom, rows)


def _strip_of(picture: Picture, regions: Regions) -> tuple[Strip | None, list[Remark]]:
    if regions.strip_confirmed:
        return regions.strip, []
    rows = picture.grey.shape[0]
    told = picture.header.strip_rows
    strip = regions.strip or (Strip(rows - told, rows) if told else find_strip(picture.grey))
    if strip is None:
        return None, []
    words = f"Rows {strip.top} to {strip.bottom - 1} were taken for the information strip and left out."
    return strip, [
        Remark("strip_unconfirmed", "info", words, float(strip.rows), "", "Confirm or correct it.")
    ]


def _outline_flag(regions: Regions) -> list[Remark]:
    if regions.outlines:
        return []
    words = "No outline of the electrode is drawn; the whole picture counts."
    return [
        Remark(
            "outline_unconfirmed", "info", words, None, "", "Draw the outline if mount or mesh is in view."
        )
    ]


def _valid(picture: Picture, rows: slice, regions: Regions) -> np.ndarray | None:
    shape = picture.grey.shape
    mask = valid_pixels((shape[0], shape[1]), outlines=regions.outlines, exclusions=regions.exclusions)
    if picture.left_out is not None:
        mask = ~picture.left_out if mask is None else mask & ~picture.left_out
    return None if mask is None else mask[rows]


def _square(
    grey: np.ndarray, valid: np.ndarray | None, scale: ScaleCandidate | None
) -> tuple[np.ndarray, np.ndarray | None, float | None]:
    """Bring pixels that are not square to the width of a pixel."""
    if scale is None:
        return grey, valid, None
    ratio = scale.pixel_height_um / scale.pixel_width_um
    if abs(ratio - 1) <= 0.01:
        return grey, valid, scale.pixel_width_um
    import cv2

    size = grey.shape[1], max(round(grey.shape[0] * ratio), 1)
    grey = cv2.resize(grey, size, interpolation=cv2.INTER_LINEAR)
    if valid is not None:
        valid = cv2.resize(valid.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST) > 0
    return grey, valid, scale.pixel_width_um


def _whole(labels: np.ndarray, shape: Sequence[int], rows: slice) -> np.ndarray:
    """Set the class map back into the frame of the picture."""
    whole = np.full(tuple(shape), EXCLUDED, np.uint8)
    window = whole[rows]
    if labels.shape != window.shape:
        import cv2

        labels = cv2.resize(labels, window.shape[::-1], interpolation=cv2.INTER_NEAREST)
    window[:] = labels
    return whole
