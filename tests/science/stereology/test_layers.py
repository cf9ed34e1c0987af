"""Layers over fields: equal fields leave no doubt, unlike ones Student's, unlike cuts are refused."""

import numpy as np
import pytest
from scipy.stats import t

from teardown.science.stereology.layers import Seen, UnlikeLayers, pool_layers


def field(*porosities, area=1000.0):
    """A field of layers of equal depth."""
    n = len(porosities)
    return [Seen(k / n, (k + 1) / n, area, value, 0.1) for k, value in enumerate(porosities)]


def test_equal_fields_leave_no_doubt():
    """Each layer keeps its porosity, without width."""
    found = pool_layers([field(0.2, 0.4)] * 3)
    assert [layer.porosity.value for layer in found] == pytest.approx([0.2, 0.4])
    assert found[0].porosity.half_width == pytest.approx(0, abs=1e-9)
    assert found[1].porosity.n == 3


def test_fields_of_equal_area_scatter_as_any_textbook_has_it():
    """Mean, and t s / sqrt(n)."""
    shares = [0.30, 0.36, 0.33, 0.41]
    (layer,) = pool_layers([field(share) for share in shares])
    assert layer.porosity.value == pytest.approx(np.mean(shares))
    half = t.ppf(0.975, 3) * np.std(shares, ddof=1) / 2
    assert layer.porosity.half_width == pytest.approx(half)


def test_a_larger_field_weighs_more():
    """Sums are divided, shares are never averaged."""
    (layer,) = pool_layers([field(0.2, area=3000), field(0.4, area=1000)])
    assert layer.porosity.value == pytest.approx(0.25)


def test_one_field_and_unlike_cuts_are_refused():
    """Nothing is known of the scatter, or the layers are not the same."""
    with pytest.raises(UnlikeLayers, match="scatter over fields"):
        pool_layers([field(0.2)])
    with pytest.raises(UnlikeLayers, match="unlike depths"):
        pool_layers([field(0.2, 0.3), field(0.2, 0.3, 0.4)])
