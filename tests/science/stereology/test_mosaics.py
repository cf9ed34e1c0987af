"""Tiles with a halo give the classes, the sums and the numbers of the whole, to the last pixel."""

import numpy as np
import pytest

from teardown.science.stereology.evening import Evened
from teardown.science.stereology.exposures import Exposure, expose
from teardown.science.stereology.field import measure_source
from teardown.science.stereology.interfaces import add_up
from teardown.science.stereology.levels import find_levels
from teardown.science.stereology.mosaics import segment_any_size
from teardown.science.stereology.phantoms import Microstructure, draw_section
from teardown.science.stereology.segmentation import segment
from teardown.science.stereology.settings import Settings
from teardown.science.stereology.tallies import (
    cells_of_all,
    outline_factor_of,
    rims_of_all,
    sums_of_tiles,
)
from teardown.science.stereology.windows import ArraySource, Window, tiles_of


def picture(exposure, made_of, *, size=(640, 600), seed=4):
    """Draw and expose a section, greys 0 to 1."""
    section = draw_section(made_of, height=size[0], width=size[1], seed=seed)
    return (expose(section, exposure, seed=seed) / np.float32(255)).astype(np.float32)


KINDS = {
    "plain": (Exposure(shading=0.2), Microstructure(grain_radius_px=14)),
    "covered all over": (Exposure(shading=0), Microstructure(grain_radius_px=14, covered=1.0, metal=0.5)),
    "noisy, no oxide": (Exposure(noise=0.07, blur_px=1.5), Microstructure(grain_radius_px=14, covered=0.0)),
    "two oxides, bright": (
        Exposure(metal=0.5, oxide_place=0.75, second_oxide_place=0.45, bright_place=1.8),
        Microstructure(grain_radius_px=14, second_oxide=0.5, bright=0.01),
    ),
}


@pytest.mark.parametrize("kind", KINDS)
def test_every_pixel_has_the_class_that_it_has_in_the_whole(kind):
    """Bodies of oxide that a seam cuts are weighed as one, so that not a single pixel differs."""
    grey = picture(*KINDS[kind])
    evened = Evened.of(ArraySource(grey), Settings())
    search = find_levels(*evened.sample())
    whole = segment(evened.sample()[0], search.levels, search.edge_sigma_px)
    for tile_px in (128, 200, 256):
        tiled = segment_any_size(
            evened, search.levels, search.edge_sigma_px, tile_px=tile_px, largest_whole=1000
        )
        assert np.count_nonzero(whole.labels != tiled.labels) == 0
        assert tiled.unresolved_share == pytest.approx(whole.unresolved_share)


def test_every_number_is_that_of_the_whole():
    """Estimates, intervals, flags and tile sums: equal to the last bit."""
    grey = picture(*KINDS["plain"])
    whole = measure_source(ArraySource(grey), pixel_size_um=0.1)
    tiled = measure_source(ArraySource(grey), pixel_size_um=0.1, tile_px=256, largest_whole=1000)
    assert tiled.estimates == whole.estimates
    assert tiled.flags == whole.flags
    assert tiled.histogram == whole.histogram
    assert tiled.rims == whole.rims
    for one, other in zip(whole.tiles, tiled.tiles, strict=True):
        assert (one.counts == other.counts).all()
        assert (one.pairs == other.pairs).all()


def test_what_a_map_adds_up_to_does_not_hang_on_the_cut(monkeypatch):
    """Pairs, cells, outline factor, rims and near oxide of a map with left-out places."""
    grey = picture(*KINDS["plain"])
    valid = np.ones(grey.shape, bool)
    valid[200:300, 100:400] = False
    evened = Evened.of(ArraySource(grey, valid), Settings())
    search = find_levels(*evened.sample())
    labels = segment_any_size(evened, search.levels, search.edge_sigma_px).labels
    assert (labels[~valid] == 3).all()
    sums, cells = add_up(sums_of_tiles(labels, 512)), cells_of_all(labels)
    rims, factor = rims_of_all(labels), outline_factor_of(labels, 1.0)
    monkeypatch.setattr("teardown.science.stereology.tallies.LARGEST_WHOLE", 1000)
    monkeypatch.setattr("teardown.science.stereology.tallies.BAND_PX", 30_000)
    cut = add_up(sums_of_tiles(labels, 128))
    assert (cut.counts == sums.counts).all()
    assert (cut.pairs == sums.pairs).all()
    assert outline_factor_of(labels, 1.0, tile_px=150) == factor
    other = rims_of_all(labels, tile_px=150)
    assert (other.fine == rims.fine).all()
    assert (other.covered, other.bare, other.oxide_px) == (rims.covered, rims.bare, rims.oxide_px)
    for key, (above, below) in cells_of_all(labels).items():
        assert (above == cells[key][0]).all()
        assert (below == cells[key][1]).all()


def test_calm_greys_do_not_hang_on_the_window():
    """The gain and the calming of a window are those of the whole."""
    grey = picture(*KINDS["plain"])
    evened = Evened.of(ArraySource(grey), Settings())
    whole = evened.calm(Window(0, grey.shape[0], 0, grey.shape[1])).copy()
    for tile in tiles_of((grey.shape[0], grey.shape[1]), 192):
        assert evened.calm(tile) == pytest.approx(whole[tile.at], abs=1e-6)


def test_a_large_field_with_nothing_to_see_in_a_corner_is_measured():
    """Tiles that lie outside the outline are left out and hinder nothing."""
    grey = picture(*KINDS["plain"], size=(512, 512))
    valid = np.zeros(grey.shape, bool)
    valid[:200, :200] = True
    found = measure_source(ArraySource(grey, valid), tile_px=256, largest_whole=1000)
    assert (found.labels[300:, 300:] == 3).all()
    assert (found.labels[:200, :200] != 3).all()
    assert found.sums.area_px == 40_000
