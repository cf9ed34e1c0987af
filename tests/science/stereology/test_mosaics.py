"""Tiles with a halo give the classes of the whole."""

import numpy as np

from teardown.science.stereology.exposures import Exposure, expose
from teardown.science.stereology.interfaces import count_sums
from teardown.science.stereology.levels import find_levels
from teardown.science.stereology.mosaics import segment_any_size
from teardown.science.stereology.noise import denoise, noise_level
from teardown.science.stereology.phantoms import Microstructure, draw_section
from teardown.science.stereology.segmentation import segment


def test_a_field_cut_into_tiles_reads_as_the_whole():
    """At most one pixel in ten thousand differs, and no number by more than 0.02 points."""
    section = draw_section(Microstructure(grain_radius_px=14), height=640, width=600, seed=4)
    grey = (expose(section, Exposure(shading=0), seed=4) / np.float32(255)).astype(np.float32)
    calm = denoise(grey, noise_level(grey))
    search = find_levels(calm)
    whole = segment(calm, search.levels, search.edge_sigma_px)
    tiled = segment_any_size(calm, search.levels, search.edge_sigma_px, tile_px=256, largest_whole=1000)
    assert (whole.labels != tiled.labels).mean() <= 1e-4
    one, other = count_sums(whole.labels), count_sums(tiled.labels)
    assert abs(one.coverage - other.coverage) <= 2e-4
    assert abs(one.fraction(0) - other.fraction(0)) <= 2e-4


def test_a_large_field_with_nothing_to_see_in_a_corner_is_measured():
    """Tiles that lie outside the outline are left out and hinder nothing."""
    section = draw_section(Microstructure(grain_radius_px=14), height=512, width=512, seed=4)
    grey = (expose(section, Exposure(shading=0), seed=4) / np.float32(255)).astype(np.float32)
    calm = denoise(grey, noise_level(grey))
    valid = np.zeros(grey.shape, bool)
    valid[:200, :200] = True
    search = find_levels(calm)
    tiled = segment_any_size(
        calm, search.levels, search.edge_sigma_px, valid=valid, tile_px=256, largest_whole=1000
    )
    assert (tiled.labels[300:, 300:] == 3).all()
    assert (tiled.labels[:200, :200] != 3).all()
