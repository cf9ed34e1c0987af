"""What a class map of any size adds up to: read in bands and tiles, equal in every cut."""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from teardown.science.stereology.interfaces import Sums, length_of, tile_sums
from teardown.science.stereology.mosaics import release
from teardown.science.stereology.outline import crossings, factor_of, looks_of
from teardown.science.stereology.ratios import cells_of
from teardown.science.stereology.rims import RimTally, tally_rims
from teardown.science.stereology.sampling import Cells, cell_size
from teardown.science.stereology.windows import TILE_PX, Window, tiles_of

Labels = NDArray[np.uint8]
HALO_PX = 64
BAND_PX = 4_000_000
LARGEST_WHOLE = 6_000_000


def sums_of_tiles(labels: Labels, size: int) -> list[Sums]:
    """Count the pixels and neighbour pairs of every tile, row after row."""
    if labels.size <= LARGEST_WHOLE:
        return tile_sums(labels, size)
    found: list[Sums] = []
    for top in range(0, labels.shape[0], size):
        # two more rows hold the partners of the band's own pixels
        found += tile_sums(np.array(labels[top : top + size + 2]), size, rows=size)
        release(labels)
    return found


def cells_of_all(labels: Labels) -> dict[str, tuple[Cells, Cells]]:
    """Give numerator and denominator of the main quantities in every cell of a grid over the whole map."""
    rows, columns = labels.shape
    size = cell_size((rows, columns))
    band = max(BAND_PX // columns // size, 1) * size
    parts = []
    for top in range(0, rows // size * size, band):
        bottom = min(top + band, rows // size * size)
        # one more row holds the partners of the last row's pixels
        parts.append(cells_of(np.array(labels[top : bottom + 1]), size, rows=bottom - top))
        release(labels)
    return {
        key: (
            np.concatenate([part[key][0] for part in parts]),
            np.concatenate([part[key][1] for part in parts]),
        )
        for key in parts[0]
    }


def outline_factor_of(labels: Labels, sigma: float, *, tile_px: int = TILE_PX) -> float:
    """Give the factor by which the metal outline is longer than it reads, over the whole map."""
    counted = [
        [crossings(sides, tile.inside(wide)) for sides in looks_of(part, sigma)]
        for tile, wide, part in _windows(labels, tile_px)
    ]
    plain, *further = (length_of(found) for found in np.sum(counted, axis=0))
    return factor_of(plain, further, sigma)


def rims_of_all(labels: Labels, *, tile_px: int = TILE_PX) -> RimTally:
    """Gather rims of oxide, and the metal outline covered and bare, over the whole map."""
    tallies = [tally_rims(part, tile.inside(wide)) for tile, wide, part in _windows(labels, tile_px)]
    total = tallies[0]
    for tally in tallies[1:]:
        total = total + tally
    return total


def _windows(labels: Labels, tile_px: int) -> Iterator[tuple[Window, Window, Labels]]:
    """Give tiles, the wider windows that hold their neighbours, and the classes of these."""
    shape = labels.shape[0], labels.shape[1]
    size = max(shape) if labels.size <= LARGEST_WHOLE and tile_px == TILE_PX else tile_px
    for tile in tiles_of(shape, size):
        wide = tile.wider(HALO_PX, shape)
        yield tile, wide, np.array(labels[wide.at])
        release(labels)
