"""Rims: thickness, and openings."""

import numpy as np
import pytest

from teardown.science.stereology.rims import granulometry, rim_thickness


def layered():
    """Metal on the left, oxide six pixels thick, pore on the right."""
    labels = np.zeros((100, 100), np.uint8)
    labels[:, :50] = 2
    labels[:, 50:56] = 1
    return labels


def test_a_straight_layer_has_its_thickness():
    """Six pixels are six pixels, wherever one looks."""
    found = rim_thickness(layered())
    assert found.median_px == pytest.approx(6, abs=0.3)
    assert found.p10_px == pytest.approx(found.p90_px, abs=0.3)


def test_discs_of_one_size_open_at_their_diameter():
    """Openings find the diameter of discs within a step of the radii."""
    y, x = np.mgrid[:60, :60]
    tile = np.hypot(x - 30, y - 30) <= 12.2
    sizes = granulometry(np.tile(tile, (3, 3)))
    assert 16 <= sizes["d50_px"] <= 26
