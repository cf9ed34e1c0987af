"""How long a large section takes, first and with pinned levels, and a mosaic from the disk."""

import resource
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TypeVar

import cv2
import numpy as np
import tifffile

from teardown.imaging.measure.examining import examine
from teardown.imaging.measure.shelf import CalmShelf
from teardown.science.stereology.evening import Evened, Known
from teardown.science.stereology.exposures import Exposure, expose
from teardown.science.stereology.field import measure_field
from teardown.science.stereology.field_result import FieldResult
from teardown.science.stereology.noise import Grey
from teardown.science.stereology.phantoms import Microstructure, draw_section
from teardown.science.stereology.preview import Preview, calm_crop, preview
from teardown.science.stereology.settings import Settings
from teardown.science.stereology.windows import ArraySource, Window
from teardown.site.benchmarks import other_libraries

T = TypeVar("T")
CROP_PX = 1024
REPEATS = 3


def speed(side: int = 4096) -> dict[str, float]:
    """Time a large field on one thread, in processor seconds and in copies of the picture: the shortest of
    three times each."""
    cv2.setNumThreads(1)
    section = draw_section(Microstructure(), height=side // 2, width=side // 2, seed=1, oversampling=2)
    picture = np.tile(expose(section, Exposure(), seed=1), (2, 2))
    copy, _ = _shortest(picture.copy, 3 * REPEATS)
    grey = picture.astype(np.float32) / np.float32(255)
    with tempfile.TemporaryDirectory(prefix="calm-") as folder:
        shelf = CalmShelf("of this picture", asked={}, folder=Path(folder))
        first, result = _shortest(lambda: measure_field(grey, shelf=shelf))
        pinned, _ = _shortest(lambda: _again(grey, result, shelf))
    crop = calm_crop(grey[:CROP_PX, :CROP_PX], gain=result.gain, shape=grey.shape[:2], noise=result.noise)
    seen, shown = _shortest(lambda: preview(crop, result.levels, result.edge_sigma_px))
    return {
        "side_px": side,
        "seconds": first,
        "pinned_seconds": pinned,
        "preview_seconds": seen,
        "copies": first / max(copy, 1e-6),
        **_by_others(grey, result, shown),
    }


def _again(grey: Grey, result: FieldResult, shelf: CalmShelf) -> FieldResult:
    """Measure a field again with its levels pinned, as a session does."""
    return measure_field(
        grey,
        levels=replace(result.levels, source="pinned"),
        known=Known(result.noise, result.gain, result.slopes),
        settings=Settings(edge_sigma_px=result.edge_sigma_px),
        shelf=shelf,
    )


def _by_others(grey: Grey, result: FieldResult, shown: Preview) -> dict[str, float]:
    """Time the heavy steps by other libraries: one reading of a crop, as many times as it goes into the
    picture, and once what is done on a crop alone; and tell how many of its pixels are of the same class."""
    even = Evened(ArraySource(grey), result.noise, result.gain).even(Window(0, CROP_PX, 0, CROP_PX))
    how = even, result.noise, result.levels, result.edge_sigma_px
    once, reading = _shortest(lambda: other_libraries.read(*how), 1)
    besides, _ = _shortest(lambda: other_libraries.what_a_crop_is_read_for(reading, *how), 1)
    return {
        "others_seconds": once * grey.size / CROP_PX**2 + besides,
        "same_class": float((reading.labels == shown.labels).mean()),
    }


def _shortest(do: Callable[[], T], repeats: int = REPEATS) -> tuple[float, T]:
    """Give the processor seconds of the quickest of some repeats, and what came of it."""
    best = float("inf")
    for _ in range(repeats):
        start = time.process_time()
        found = do()
        best = min(best, time.process_time() - start)
    return best, found


def mosaic(side: int) -> dict[str, float]:
    """Measure a mosaic that lies on the disk: processor seconds, and the most memory that this process
    ever took, in MB; run it alone, for what was measured before counts too."""
    cv2.setNumThreads(1)
    part = 1024
    picture = expose(
        draw_section(Microstructure(), height=part, width=part, seed=1, oversampling=2),
        Exposure(shading=0),
        seed=1,
    )
    with tempfile.TemporaryDirectory(prefix="mosaic-") as folder:
        path = Path(folder) / "mosaic.tif"
        with tifffile.TiffWriter(path, bigtiff=True) as tiff:
            rows = -(-side // part)
            strip = np.tile(picture, (1, rows))[:, :side]
            # strips of a tile's height, so that the whole is never in memory
            tiff.write(
                (strip[: min(part, side - k * part)] for k in range(rows)),
                shape=(side, side),
                dtype=np.uint8,
                rowsperstrip=part,
            )
        before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        start = time.process_time()
        found = examine(path)
        seconds = time.process_time() - start
        most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return {
        "side_px": side,
        "seconds": seconds,
        "seconds_per_megapixel": seconds / side**2 * 1e6,
        "memory_before_mb": before,
        "memory_mb": most,
        "porosity": found.result.estimates["porosity"].value,
    }
