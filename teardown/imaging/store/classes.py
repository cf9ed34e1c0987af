"""Class maps asked at places, and two of them laid over each other."""

import json
from collections.abc import Sequence
from typing import Any

from django.db.models import Max

from teardown.files.store import derived
from teardown.imaging.models import Micrograph, SectionResult
from teardown.imaging.store.made import get, put
from teardown.imaging.store.pictures import classes_of

CROSSINGS, LINES, OUTSIDE = 200, 12, 3


def classes_at(result: SectionResult, places: Sequence[tuple[float, float]]) -> list[int]:
    """Give the class that a result found at each place; places outside are left out of the section."""
    if result.class_map is None or not places:
        return []
    import numpy as np

    x, y = np.array(places, float).T
    return [int(code) for code in _codes(result, x, y)]


def _codes(result: SectionResult, x: Any, y: Any) -> Any:
    """Give the class codes at many places, read tile by tile, so that no map is ever held whole."""
    import numpy as np

    from teardown.formats.pyramid import TILE, read_tile

    path = classes_of(result)
    columns, rows = np.floor(x).astype(int), np.floor(y).astype(int)
    found = np.full(len(columns), OUTSIDE, np.uint8)
    tiles = np.column_stack([rows // TILE, columns // TILE])
    for row, column in np.unique(tiles, axis=0):
        tile = read_tile(path, 0, int(column), int(row), beyond=OUTSIDE)
        if tile is not None:
            here = (tiles[:, 0] == row) & (tiles[:, 1] == column)
            found[here] = tile[rows[here] % TILE, columns[here] % TILE]
    return found


def places_of(
    micrograph: Micrograph, kind: str, seed: int, result: SectionResult | None, lines: str = ""
) -> list[list[float]]:
    """Give the places of a count, as its seed sets them: a grid of 400 points, or about 200 crossings of
    test lines with the metal outline. ``lines`` names the set of lines."""
    if kind != "points":
        return [row[:2] for row in crossings_of(micrograph, seed, result, lines)]
    from teardown.science.stereology.counting import point_grid

    shape = (micrograph.height_px, micrograph.width_px)
    found = point_grid(shape, 400, seed=seed).tolist()
    if result is None:
        return list(found)
    inside = classes_at(result, [(x, y) for x, y in found])
    return [place for place, code in zip(found, inside, strict=False) if code != OUTSIDE]


def crossings_of(
    micrograph: Micrograph, seed: int, result: SectionResult | None, lines: str = ""
) -> list[list[float]]:
    """Give the crossings that a seed and a set of lines choose: x, y, and the step outward from metal."""
    if result is None or result.class_map is None:
        return []
    from teardown.science.stereology.lines import crossings, lay_lines

    laid = lay_lines(
        (micrograph.height_px, micrograph.width_px), lines=LINES, which=lines or "turned", seed=seed
    )
    found = crossings(laid, lambda x, y: _codes(result, x, y)).round(2).tolist()
    # of many crossings every k-th along the lines, so that all parts of the picture are called alike
    step = max(round(len(found) / CROSSINGS), 1)
    return list(found[seed % step :: step])


def seeds_of(micrograph: Micrograph, kind: str) -> range:
    """Give the seeds that may be counted with: those that were, and the next.

    They follow from how many counts there are, so that nobody picks a grid that suits.
    """
    first = micrograph.pk * 1000
    used = micrograph.counts.filter(kind=kind).aggregate(last=Max("seed"))["last"]
    return range(first, (first if used is None else max(used, first - 1) + 1) + 1)


def change_tile_of(
    before: SectionResult, after: SectionResult, level: int, column: int, row: int
) -> bytes | None:
    """Give one tile of what changed between two results. None outside the picture."""
    from teardown.formats.pyramid import TILE, png_bytes, read_tile
    from teardown.science.stereology.changes import tint_changes

    tiles = [read_tile(classes_of(result), level, column, row, beyond=3) for result in (before, after)]
    if tiles[0] is None or tiles[1] is None:
        return None
    return png_bytes(tint_changes(tiles[0], tiles[1], origin=(row * TILE, column * TILE)))


def changes_of(before: SectionResult, after: SectionResult) -> list[list[int]]:
    """Count the pixels that changed class between two results, by what they were and are; tile by tile."""
    if before.class_map is None or after.class_map is None:
        raise FileNotFoundError("One of the runs left no class map.")
    name = f"changes/{before.class_map.sha256[:32]}-{after.class_map.sha256[:32]}.json"
    if not derived().exists(name):
        from teardown.formats.pyramid import TILE, read_tile
        from teardown.science.stereology.changes import change_table

        paths = [classes_of(result) for result in (before, after)]
        rows, columns = (
            -(-side // TILE) for side in (before.micrograph.height_px, before.micrograph.width_px)
        )
        total: Any = 0
        for row in range(rows):
            for column in range(columns):
                one, other = (read_tile(path, 0, column, row, beyond=3) for path in paths)
                if one is not None and other is not None:
                    total = total + change_table(one, other)
        total[3, 3] -= rows * columns * TILE**2 - before.micrograph.height_px * before.micrograph.width_px
        put(name, json.dumps(total.tolist()).encode())
    return list(json.loads(get(name)))
