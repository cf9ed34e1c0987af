"""Micrographs on the screen."""

from teardown.imaging.views.counting import count
from teardown.imaging.views.lists import add, again_all, delivery, micrographs
from teardown.imaging.views.one import again, judge, measured, micrograph, region, scale, tie_to
from teardown.imaging.views.pictures import class_tile, overlay, picture, thumbnail, tile
from teardown.imaging.views.sessions import session, sessions

__all__ = [
    "add",
    "again",
    "again_all",
    "class_tile",
    "count",
    "delivery",
    "judge",
    "measured",
    "micrograph",
    "micrographs",
    "overlay",
    "picture",
    "region",
    "scale",
    "session",
    "sessions",
    "thumbnail",
    "tie_to",
    "tile",
]
