"""Micrographs on the screen."""

from teardown.imaging.views.adjusting import levels, levels_tried
from teardown.imaging.views.comparing import change_tile, compare
from teardown.imaging.views.counting import count
from teardown.imaging.views.lists import add, delivery, micrographs
from teardown.imaging.views.one import (
    again,
    bar,
    coverage,
    judge,
    measured,
    micrograph,
    pages,
    region,
    scale,
    tie_to,
)
from teardown.imaging.views.pictures import class_tile, overlay, picture, thumbnail, tile
from teardown.imaging.views.remeasuring import again_all, remeasured, remeasured_judge
from teardown.imaging.views.sessions import (
    grey,
    session,
    session_of_listed,
    session_of_one,
    session_reference,
    sessions,
)
from teardown.imaging.views.strokes import (
    strokes,
    strokes_back,
    strokes_learned,
    strokes_measure,
    strokes_train,
)

__all__ = [
    "add",
    "again",
    "again_all",
    "bar",
    "change_tile",
    "class_tile",
    "compare",
    "count",
    "coverage",
    "delivery",
    "grey",
    "judge",
    "levels",
    "levels_tried",
    "measured",
    "micrograph",
    "micrographs",
    "overlay",
    "pages",
    "picture",
    "region",
    "remeasured",
    "remeasured_judge",
    "scale",
    "session",
    "session_of_listed",
    "session_of_one",
    "session_reference",
    "sessions",
    "strokes",
    "strokes_back",
    "strokes_learned",
    "strokes_measure",
    "strokes_train",
    "thumbnail",
    "tie_to",
    "tile",
]
