"""One photograph with what was tapped on it: the electrode's corners, a place, outlines of pieces."""

import json
from collections.abc import Iterable
from dataclasses import dataclass

from teardown.dissection.models import Entry, Outline, PhotoFrame, Photograph
from teardown.dissection.rules.frames import Point
from teardown.dissection.rules.places import grid_of, point_words
from teardown.science.errors import Remark


@dataclass(frozen=True, slots=True)
class OutlineShown:
    """An outline in thousandths of the picture."""

    outline: Outline
    points: str


@dataclass(frozen=True, slots=True)
class PhotographShown:
    """What the page of a photograph shows beside it."""

    photograph: Photograph
    fixed: PhotoFrame | None
    corners: str
    place: Point | None
    place_words: str
    outlines: tuple[OutlineShown, ...]
    seen: tuple[Entry, ...]
    remarks: tuple[Remark, ...]
    matrix: str
    grid: str

    @property
    def samples(self) -> list[str]:
        """Name the pieces that are outlined on it."""
        return [shown.outline.sample.code for shown in self.outlines]


def photograph_shown(photograph: Photograph) -> PhotographShown:
    """Gather the page of a photograph."""
    fixed, label = PhotoFrame.objects.on(photograph), photograph.label
    place, words = None, ""
    if fixed is not None and label is not None and label.x is not None and label.y is not None:
        place = _thousandths([fixed.frame.to_picture(label.x, label.y)])[0]
        words = f"{label.place}, {point_words(label.x, label.y)}"
    outlines = Outline.objects.current().filter(photograph=photograph).select_related("sample").order_by("pk")
    remark = photograph.blur
    return PhotographShown(
        photograph=photograph,
        fixed=fixed,
        corners=_text(fixed.corners) if fixed else "",
        place=place,
        place_words=words,
        outlines=tuple(OutlineShown(outline, _text(outline.points)) for outline in outlines),
        seen=tuple(Entry.objects.current().filter(photo=photograph).with_words()),
        remarks=(remark,) if remark else (),
        matrix=json.dumps([round(float(one), 9) for one in fixed.frame.matrix.ravel()]) if fixed else "",
        grid=grid_of(photograph.dissection.cell.electrode_width_mm) if photograph.dissection else "3x3",
    )


def _thousandths(points: Iterable[Point]) -> list[Point]:
    return [(round(1000 * x, 1), round(1000 * y, 1)) for x, y in points]


def _text(points: Iterable[Point]) -> str:
    return " ".join(f"{x:g},{y:g}" for x, y in _thousandths(points))
