"""Layers: what changes with depth in one field; equal fields leave no doubt, unlike ones Student's, unlike
cuts are refused."""

import numpy as np
import pytest
from scipy.stats import t

from teardown.science.stereology.classes import METAL, OXIDE, PORE
from teardown.science.stereology.interfaces import count_sums
from teardown.science.stereology.layers import LEAST_STEPS, Seen, UnlikeLayers, depth_profile, pool_layers
from teardown.science.stereology.phantoms import Microstructure, draw_section


def test_a_gradient_shows_in_the_layers():
    """Pore on the face's side, metal below: the profile steps."""
    labels = np.full((100, 80), 2, np.uint8)
    labels[:50] = 0
    layers = depth_profile(labels, np.array([[0, 0], [80, 0]]), bins=10, pixel_size_um=0.5)
    assert [layer.porosity for layer in layers[:4]] == [1.0] * 4
    assert [layer.porosity for layer in layers[6:]] == [0.0] * 4
    assert layers[0].depth_um == pytest.approx(2.5, abs=0.3)
    assert sum(layer.area_px for layer in layers) == labels.size


def grains(covered_above, covered_below, *, size=240):
    """Round grains of metal in rows; those of the upper half covered on one share of their rim, the lower
    half on another: each grain's rim is cut by a wedge of that angle, so the truth is the angle."""
    labels = np.full((size, size), PORE, np.uint8)
    y, x = np.mgrid[:size, :size]
    for centre_y in range(20, size, 40):
        share = covered_above if centre_y < size / 2 else covered_below
        for centre_x in range(20, size, 40):
            away = np.hypot(y - centre_y, x - centre_x)
            turned = (np.arctan2(y - centre_y, x - centre_x) + np.pi) / (2 * np.pi)
            labels[(away <= 15) & (turned < share)] = OXIDE
            labels[away <= 11.3] = METAL
    return labels


FACE = np.array([[0.0, 0.0], [240.0, 0.0]])


def test_coverage_by_depth_is_that_of_each_depth():
    """Upper grains covered by 3/4, lower by 1/4: each layer has its own, within the raster of a grain."""
    layers = depth_profile(grains(0.75, 0.25), FACE, bins=6)
    assert [layer.coverage for layer in layers] == pytest.approx([0.75] * 3 + [0.25] * 3, abs=0.04)
    assert all(layer.outline_steps > LEAST_STEPS for layer in layers)


def test_the_layers_outlines_add_up_to_the_fields():
    """Every step of outline lies in one layer: lengths add up to the field's own, of any face."""
    drawn = draw_section(Microstructure(grain_radius_px=9, covered=0.5), height=300, width=200, seed=4)
    labels = drawn.codes[:: drawn.oversampling, :: drawn.oversampling].copy()
    whole = count_sums(labels, directions=4)
    for face in (FACE, np.array([[0.0, 0.0], [90.0, 120.0], [200.0, 300.0]])):
        layers = depth_profile(labels, face)
        outline = sum(layer.outline_px for layer in layers)
        assert outline == pytest.approx(whole.metal_outline_px)
        assert sum(layer.covered_px for layer in layers) / outline == pytest.approx(whole.coverage)


def test_a_mirrored_field_has_the_same_layers():
    """Left for right, a pair's first pixel is its second: the layers of a flat face do not mind."""
    labels = grains(0.75, 0.25)
    one, other = (depth_profile(each, FACE) for each in (labels, labels[:, ::-1].copy()))
    assert [layer.covered_px for layer in one] == pytest.approx([layer.covered_px for layer in other])


@pytest.mark.parametrize("limit", [20_000, 7_000])
def test_a_large_map_is_followed_at_every_pixel(monkeypatch, limit):
    """Where only some pixels are taken for the areas, a thin rim still counts whole."""
    monkeypatch.setattr("teardown.science.stereology.layers.BAND_PX", 5_000)
    whole = depth_profile(grains(0.75, 0.25), FACE, bins=6)
    monkeypatch.setattr("teardown.science.stereology.layers.LARGEST_PROFILE", limit)
    some = depth_profile(grains(0.75, 0.25), FACE, bins=6)
    assert [layer.coverage for layer in some] == pytest.approx([layer.coverage for layer in whole], abs=0.03)
    assert sum(layer.outline_px for layer in some) == pytest.approx(sum(layer.outline_px for layer in whole))


def test_too_little_outline_gives_no_coverage():
    """A layer of solid metal, or of one small grain, tells nothing; the steps are told all the same."""
    labels = np.full((240, 240), METAL, np.uint8)
    labels[10:16, 10:16] = PORE
    layers = depth_profile(labels, FACE)
    assert all(layer.coverage is None for layer in layers)
    assert layers[0].outline_steps == 24
    assert layers[5].outline_steps == 0


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


def outlined(*layers):
    """A field of layers, each of covered and whole outline in pixels."""
    n = len(layers)
    return [Seen(k / n, (k + 1) / n, 1000.0, 0.3, 0.1, c, o, int(o)) for k, (c, o) in enumerate(layers)]


def test_coverage_is_pooled_by_outline_and_scatters_by_student():
    """Ratio of sums over the fields with outline there; of equal outlines mean and t s / sqrt(n)."""
    fields = [outlined((30, 100), (0, 0)), outlined((50, 100), (90, 300)), outlined((40, 100), (10, 100))]
    first, second = pool_layers(fields)
    assert first.coverage.value == pytest.approx(0.4)
    assert first.coverage.half_width == pytest.approx(t.ppf(0.975, 2) * 0.1 / np.sqrt(3))
    assert first.outline_steps == 300
    assert second.coverage.value == pytest.approx(0.25)
    assert second.coverage.n == 2


def test_coverage_is_not_pooled_from_too_little_or_from_earlier_results():
    """One field with outline, few steps, or a field that does not tell: porosity is pooled all the same."""
    for pair in (
        [outlined((30, 100)), outlined((0, 0))],
        [outlined((10, 40)), outlined((10, 40))],
        [outlined((30, 100)), field(0.3)],
    ):
        (layer,) = pool_layers(pair)
        assert layer.coverage is None
        assert layer.porosity.n == 2
