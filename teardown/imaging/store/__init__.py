"""Pictures for the screen, made from originals and kept until someone clears them away."""

from teardown.imaging.store.bars import bar_in
from teardown.imaging.store.classes import (
    change_tile_of,
    changes_of,
    classes_at,
    crossings_of,
    places_of,
    seeds_of,
)
from teardown.imaging.store.pictures import (
    classes_of,
    keep_classes,
    overlay_of,
    picture_of,
    pyramid_of,
    takes_long,
    thumbnail_of,
    tile_of,
)
from teardown.imaging.store.windows import (
    Window,
    calm_window,
    classes_within,
    grey_at,
    pixels_within,
    preview_of,
    section_rows,
    window_round,
)

__all__ = [
    "Window",
    "bar_in",
    "calm_window",
    "change_tile_of",
    "changes_of",
    "classes_at",
    "classes_of",
    "classes_within",
    "crossings_of",
    "grey_at",
    "keep_classes",
    "overlay_of",
    "picture_of",
    "pixels_within",
    "places_of",
    "preview_of",
    "pyramid_of",
    "section_rows",
    "seeds_of",
    "takes_long",
    "thumbnail_of",
    "tile_of",
    "window_round",
]
