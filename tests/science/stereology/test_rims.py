"""Rims: thickness, lifted films, layers below a face, openings."""

import numpy as np
import pytest

from teardown.science.stereology.rims import (
    gap_tolerant_coverage,
    granulometry,
    rim_thickness,
)


def layered(gap=0):
    """Metal on the left, oxide six pixels thick, perhaps lifted by a gap, pore on the right."""
    labels = np.zeros((100, 100), np.uint8)
    labels[:, :50] = 2
    labels[:, 50 + gap : 56 + gap] = 1
    return labels


def test_a_straight_layer_has_its_thickness():
    """Six pixels are six pixels, wherever one looks."""
    found = rim_thickness(layered())
    assert found.median_px == pytest.approx(6, abs=0.3)
    assert found.p10_px == pytest.approx(found.p90_px, abs=0.3)


def test_a_lifted_film_counts_once_the_gap_is_allowed():
    """Four pixels off the metal: nothing within two, all within five."""
    none, allowed = gap_tolerant_coverage(layered(gap=4), (2.0, 5.0))
    assert none == 0
    assert allowed == pytest.approx(1)


def test_the_end_of_a_rim_does_not_cover_the_bare_metal_beside_it():
    """Oxide beside a bare place does not face it."""
    labels = layered()
    labels[50:, 50:] = 0
    (share,) = gap_tolerant_coverage(labels, (20.0,))
    assert share == pytest.approx(0.5, abs=0.03)


def test_discs_of_one_size_open_at_their_diameter():
    """Openings find the diameter of discs within a step of the radii."""
    y, x = np.mgrid[:60, :60]
    tile = np.hypot(x - 30, y - 30) <= 12.2
    sizes = granulometry(np.tile(tile, (3, 3)))
    assert 16 <= sizes["d50_px"] <= 26
