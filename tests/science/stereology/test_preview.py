"""A crop reads as the same pixels do in the whole picture, at the levels that a person tries."""

from dataclasses import replace

import numpy as np
import pytest

from teardown.science.stereology.exposures import Exposure, expose
from teardown.science.stereology.field import measure_field
from teardown.science.stereology.levels import LevelsOutOfOrder, levels_from_thresholds
from teardown.science.stereology.phantoms import Microstructure, draw_section
from teardown.science.stereology.preview import CropTooLarge, calm_crop, preview


@pytest.fixture(scope="module")
def whole():
    """A field with an uneven light, measured."""
    section = draw_section(Microstructure(grain_radius_px=16), height=512, width=480, seed=8)
    grey = (expose(section, Exposure(shading=0.2), seed=8) / np.float32(255)).astype(np.float32)
    return grey, measure_field(grey)


def crop_of(whole, top=100, left=90, side=256):
    """Prepare a crop as the measurement of the whole prepared it."""
    grey, result = whole
    part = grey[top : top + side, left : left + side]
    return calm_crop(part, gain=result.gain, corner=(top, left), shape=grey.shape, noise=result.noise)


def test_a_crop_reads_as_the_whole_does(whole):
    """With the levels of the whole, away from the crop's rim, the classes are the same."""
    result = whole[1]
    found = preview(crop_of(whole), result.levels, result.edge_sigma_px)
    same = found.labels[32:-32, 32:-32] == result.labels[132:324, 122:314]
    assert same.mean() > 0.999


def test_raising_the_level_of_metal_takes_from_metal(whole):
    """A slider moved up gives oxide what was metal; the threshold shown moves with it."""
    result = whole[1]
    crop = crop_of(whole)
    base = preview(crop, result.levels, result.edge_sigma_px)
    higher = preview(crop, replace(result.levels, metal=result.levels.metal + 0.1), result.edge_sigma_px)
    assert higher.upper > base.upper
    assert higher.sums.fraction(2) < base.sums.fraction(2)
    assert set(base.values) >= {"porosity", "oxide_fraction", "oxide_coverage"}


@pytest.mark.parametrize("oxides", [(0.9,), (0.0,), (), (float("nan"),)])
def test_levels_out_of_order_are_refused(whole, oxides):
    """Oxide above metal, below pore, or none at all."""
    result = whole[1]
    with pytest.raises(LevelsOutOfOrder, match="from pore to metal"):
        preview(crop_of(whole), replace(result.levels, oxides=oxides), result.edge_sigma_px)


def test_a_crop_as_large_as_a_picture_is_refused():
    """It could not be read while a person waits."""
    with pytest.raises(CropTooLarge, match="3000"):
        calm_crop(np.zeros((3000, 3000), np.float32))


def test_two_thresholds_set_by_hand_are_kept_to_the_letter(whole):
    """Even those that no single oxide's grey would give."""
    result = whole[1]
    pore, metal = result.levels.pore, result.levels.metal
    for lower, upper in ((0.3, 0.6), (0.4, 0.55), (0.25, 0.7)):
        levels = levels_from_thresholds(pore, metal, lower, upper)
        found = preview(crop_of(whole), levels, result.edge_sigma_px, pixel_size_um=0.5)
        assert (found.lower, found.upper) == pytest.approx((lower, upper), abs=1e-6)
        assert levels.source == "manual"


@pytest.mark.parametrize(("lower", "upper"), [(0.6, 0.3), (0.05, 0.6), (0.4, 0.95)])
def test_thresholds_out_of_order_are_refused(lower, upper):
    """Crossed, below pore, above metal."""
    with pytest.raises(LevelsOutOfOrder):
        levels_from_thresholds(0.14, 0.76, lower, upper)
