"""From strokes on stored micrographs to a stored classifier."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

import cv2
import numpy as np
from django.db import models
from numpy.typing import NDArray

from teardown.dissection.store import on_disk
from teardown.files.models import Run
from teardown.files.store import keep, read
from teardown.formats.micrograph import read_micrograph
from teardown.formats.mosaic import Mosaic
from teardown.imaging.measure.examining import MosaicSource, Regions
from teardown.imaging.models import Classifier, Micrograph, StrokeSet
from teardown.imaging.store import section_rows
from teardown.imaging.store.made import LARGEST_WHOLE_PX
from teardown.science.stereology.classes import BRIGHT, METAL, OXIDE, PORE
from teardown.science.stereology.evening import Evened
from teardown.science.stereology.settings import Settings
from teardown.science.stereology.trained import (
    NO_STROKE,
    Stroked,
    Trained,
    Training,
    even_grey,
    stroked_parts,
)
from teardown.science.stereology.trained import train as learn
from teardown.science.stereology.windows import Window

Beat = Callable[[float, str], None]
CODES = {"pore": PORE, "oxide": OXIDE, "metal": METAL, "brighter than metal": BRIGHT}


def train(run: Run, beat: Beat) -> Iterable[models.Model]:
    """Learn classes from the strokes that a run names, and give the classifier to be written."""
    drawn = list(
        StrokeSet.objects.filter(pk__in=run.settings["strokes"])
        .select_related("micrograph__receipt__file", "micrograph__session")
        .order_by("pk")
    )
    pictures: list[tuple[NDArray[np.float32], NDArray[np.uint8]] | Stroked] = []
    for number, one in enumerate(drawn):
        beat(0.1 + 0.5 * number / len(drawn), f"reading picture {number + 1} of {len(drawn)}")
        pictures += _parts_of_mosaic(one, number) if _is_large(one.micrograph) else [_picture(one)]
    beat(0.6, "growing decision trees")
    trained = learn(pictures, training=Training(seed=int(run.settings.get("seed", 0))))
    beat(0.95, "keeping what was learned")
    name = f"classifier of run {run.pk}.npz"
    session = drawn[0].micrograph.session
    return [
        Classifier(
            run=run,
            session=session,
            micrograph=None if session else drawn[0].micrograph,
            stored=keep(trained.to_bytes(), by=None, name=name).file,
            accuracy=trained.accuracy,
            details={
                "per_class": trained.per_class,
                "counts": trained.counts,
                "n": trained.n,
                "digest": trained.digest,
                "strokes": run.settings["strokes"],
                "pictures": len(drawn),
            },
        )
    ]


def _is_large(micrograph: Micrograph) -> bool:
    return micrograph.width_px * micrograph.height_px > LARGEST_WHOLE_PX


def _rows_of(micrograph: Micrograph) -> tuple[int, int]:
    """Give the rows that were measured: the picture without its information strip."""
    known = micrograph.results.order_by("-pk").first()
    return section_rows(known, micrograph.height_px) if known else (0, micrograph.height_px)


def _parts_of_mosaic(drawn: StrokeSet, number: int) -> list[Stroked]:
    """Give the parts of a mosaic that bear strokes; it is never held whole."""
    micrograph = drawn.micrograph
    first, last = _rows_of(micrograph)
    with on_disk(micrograph.receipt.file) as path, Mosaic(path, page=micrograph.page) as mosaic:
        source = MosaicSource(mosaic, slice(first, last), Regions())

        def codes_of(window: Window) -> NDArray[np.uint8]:
            return stroke_map(drawn.strokes, window.shape, corner=(window.left, window.top + first))

        return stroked_parts(Evened.of(source, Settings()), codes_of, picture=number)


def _picture(drawn: StrokeSet) -> tuple[NDArray[np.float32], NDArray[np.uint8]]:
    """Give the evened greys of a picture and the map of its strokes, both without the information strip."""
    micrograph = drawn.micrograph
    picture = read_micrograph(read(micrograph.receipt.file), page=micrograph.page)
    first, last = _rows_of(micrograph)
    strokes = stroke_map(drawn.strokes, (micrograph.height_px, micrograph.width_px))
    return even_grey(picture.grey[first:last]), np.ascontiguousarray(strokes[first:last])


def stroke_map(
    strokes: Sequence[Mapping[str, Any]], shape: tuple[int, int], *, corner: tuple[int, int] = (0, 0)
) -> NDArray[np.uint8]:
    """Draw strokes into a map of class codes, 255 where none lies; a later stroke lies over an earlier.

    ``corner`` is the left and top of the map in the picture.
    """
    drawn = np.full(shape, NO_STROKE, np.uint8)
    for stroke in strokes:
        code, width = CODES[stroke["class"]], max(round(stroke["width_px"]), 1)
        points = np.round(np.asarray(stroke["points"], float) * 16 - 8).astype(np.int32)
        points -= np.array(corner, np.int32) * 16
        if len(points) == 1:
            x, y = (round(value) for value in stroke["points"][0])
            cv2.circle(drawn, (x - corner[0], y - corner[1]), max(width // 2, 0), code, thickness=-1)
        else:
            cv2.polylines(drawn, [points], isClosed=False, color=code, thickness=width, shift=4)
    return drawn


def learned(asked: Mapping[str, Any] | None) -> Trained | None:
    """Read the classifier that a run was asked with."""
    if not asked:
        return None
    stored = Classifier.objects.select_related("stored").get(pk=asked["classifier"]).stored
    return Trained.from_bytes(read(stored))
