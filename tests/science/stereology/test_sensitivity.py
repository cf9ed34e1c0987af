"""How the numbers hang on the levels: read by turning them, and told again for levels near by."""

from dataclasses import replace

import numpy as np
import pytest

from teardown.science.stereology.evening import Known
from teardown.science.stereology.exposures import Exposure, expose
from teardown.science.stereology.field import measure_field
from teardown.science.stereology.phantoms import Microstructure, draw_section
from teardown.science.stereology.settings import Settings


@pytest.fixture(scope="module")
def grey():
    section = draw_section(Microstructure(grain_radius_px=12, rim_px=6), height=260, width=240, seed=2)
    return expose(section, Exposure(noise=0.04), seed=2).astype(np.float32) / np.float32(255)


@pytest.fixture(scope="module")
def first(grey):
    return measure_field(grey)


def shifted(levels, share, **other):
    """Levels with the oxide's grey off by a share of the contrast."""
    moved = tuple(grey + share * levels.contrast for grey in levels.oxides)
    return replace(levels, oxides=moved, source="pinned", **other)


def test_at_the_very_levels_the_slopes_give_what_was_read(first):
    again = first.slopes.at(first.levels)
    assert again.half_range == pytest.approx(first.half_range)
    outline = {"specific_surface", "oxide_thickness"}  # these carry the doubt of the outline besides
    for key in again.uncertainty.keys() - outline:
        assert again.uncertainty[key] == pytest.approx(first.threshold_uncertainty[key])


def test_levels_known_better_owe_less_to_their_oxide(first):
    wide = replace(first.slopes, levels=replace(first.levels, standard_error=0.05))
    worse = wide.at(replace(first.levels, standard_error=0.05)).uncertainty["oxide_fraction"]
    assert first.slopes.at(first.levels).uncertainty["oxide_fraction"] < worse


@pytest.mark.parametrize("share", [-0.012, 0.0, 0.012])
def test_near_levels_the_slopes_tell_what_reading_again_would(grey, first, share):
    levels = shifted(first.levels, share, standard_error=0.0)
    settings = Settings(edge_sigma_px=first.edge_sigma_px)
    known = Known(first.noise, first.gain, first.slopes)
    told = measure_field(grey, levels=levels, settings=settings, known=known)
    read = measure_field(grey, levels=levels, settings=settings, known=replace(known, slopes=None))
    assert told.slopes is None
    assert read.slopes is not None
    assert np.array_equal(told.labels, read.labels)
    for key in ("porosity", "oxide_fraction", "oxide_coverage"):
        one, other = told.estimates[key], read.estimates[key]
        assert one.value == other.value
        assert one.high - one.low == pytest.approx(other.high - other.low, rel=0.15)


def test_farther_levels_another_blur_or_other_classes_are_read_anew(first):
    slopes, sigma = first.slopes, first.edge_sigma_px
    assert slopes.hold_for(first.levels, sigma, sure=True)
    assert not slopes.hold_for(first.levels, sigma, sure=False)
    assert not slopes.hold_for(first.levels, sigma * 1.1, sure=True)
    assert not slopes.hold_for(shifted(first.levels, 0.05), sigma, sure=True)
    for other in ({"oxides": (0.4, 0.6)}, {"thresholds": (0.3, 0.7)}, {"source": "prior"}, {"bright": 0.99}):
        assert not slopes.hold_for(replace(first.levels, **other), sigma, sure=True)
