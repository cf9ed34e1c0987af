"""Stereology against libraries and published formulas that others wrote."""

import numpy as np
import pytest
from scipy import ndimage
from skimage import data, measure

from teardown.science.stereology.counting import point_fraction
from teardown.science.stereology.interfaces import count_sums
from teardown.science.stereology.noise import noise_level
from teardown.science.stereology.outline import doubt_of, outline_factor
from teardown.science.stereology.phantoms import Microstructure, draw_section
from teardown.science.stereology.ratios import parts_of
from teardown.science.stereology.sampling import ratio_error
from teardown.science.stereology.structure import two_point


@pytest.mark.parametrize("seed", [1, 2])
def test_lengths_equal_the_crofton_perimeter_of_scikit_image(seed):
    """skimage.measure.perimeter_crofton with four directions, on its own random blobs."""
    blobs = data.binary_blobs(200, blob_size_fraction=0.08, volume_fraction=0.4, rng=seed)
    blobs[[0, -1], :] = blobs[:, [0, -1]] = False  # there the frame itself is counted as an edge
    ours = count_sums(np.where(blobs, 2, 0).astype(np.uint8)).line_length_px(2, 0)
    assert ours == pytest.approx(measure.perimeter_crofton(blobs, directions=4), rel=1e-9)


def test_area_fraction_and_surface_of_a_boolean_model_are_the_published_ones():
    """Chiu, Stoyan, Kendall, Mecke (2013) 3.1: p = 1 - exp(-lambda A), L_A = lambda U (1 - p) (from
    memory)."""
    made_of = Microstructure(metal=0.3, grain_radius_px=20, covered=0)
    found = []
    for seed in range(6):
        section = draw_section(made_of, height=400, width=400, seed=seed)
        sums = count_sums(np.ascontiguousarray(section.codes[2::4, 2::4]))
        found.append((sums.fraction(2), sums.metal_outline_px / sums.area_px))
    metal, outline = np.mean(found, axis=0)
    # discs of lognormal radius: E[r] = 20, E[r^2] = 400 (1 + 0.4^2)
    intensity = -np.log(0.7) / (np.pi * 400 * 1.16)
    assert metal == pytest.approx(0.3, abs=0.03)
    assert outline == pytest.approx(2 * np.pi * 20 * intensity * 0.7, rel=0.08)


def test_a_chord_of_a_known_pattern_is_its_width():
    """Stripes seven wide, four apart: the mean chord across is four; Underwood: mean chord = V_V over N_L."""
    labels = np.tile(np.repeat([2, 0], [7, 4]), (220, 20)).astype(np.uint8)
    sums = count_sums(labels)
    across = sums.transitions(0, 2)[0]
    assert 2 * sums.counts[0] / across == pytest.approx(4, rel=0.03)
    assert parts_of(sums)["porosity"].value == pytest.approx(4 / 11)


def test_white_noise_has_its_own_standard_deviation():
    """Immerkaer (1996): the estimate is unbiased on pure noise over a plane."""
    rng = np.random.default_rng(0)
    plane = np.add.outer(np.arange(300), np.arange(300)) * 1e-3
    assert noise_level((plane + rng.normal(0, 0.03, (300, 300))).astype(np.float32)) == pytest.approx(
        0.03, rel=0.03
    )


def test_cells_without_order_have_the_binomial_error():
    """For independent cells the error of a share is that of the mean of n draws."""
    rng = np.random.default_rng(4)
    errors = []
    for _ in range(20):
        cells = (rng.random((64, 64)) < 0.3).astype(float)
        errors.append(ratio_error(cells, np.ones_like(cells)).standard_error)
    assert np.mean(errors) == pytest.approx(np.sqrt(0.3 * 0.7 / 4096), rel=0.2)


def test_smoothed_noise_has_the_error_of_its_integral_range():
    """Gaussian noise of correlation exp(-h^2 / 4 s^2) has the integral range 4 pi s^2 (elementary
    integral)."""
    rng = np.random.default_rng(5)
    s, n = 2.0, 160
    errors, means = [], []
    for _ in range(40):
        cells = ndimage.gaussian_filter(rng.standard_normal((n, n)), s, mode="wrap") * 2 * s * np.sqrt(np.pi)
        means.append(cells.mean())
        errors.append(ratio_error(cells + 10, np.ones_like(cells)).standard_error)
    told = np.sqrt(4 * np.pi * s**2) / n
    assert np.mean(errors) == pytest.approx(told, rel=0.2)


def test_point_count_statistics_follow_the_standard():
    """ASTM E562 (from memory): mean, s over n - 1, 95 % interval t s / sqrt(n); t(9) = 2.262 by its table."""
    shares = np.array([8, 10, 9, 11, 7, 10, 12, 9, 8, 11]) / 100
    found = point_fraction([8, 10, 9, 11, 7, 10, 12, 9, 8, 11], [100] * 10)
    assert found.half_width == pytest.approx(2.262 * shares.std(ddof=1) / np.sqrt(10), rel=1e-3)


def test_two_point_correlation_of_a_boolean_model_is_the_published_one():
    """Chiu, Stoyan, Kendall, Mecke (2013) 3.1 (from memory): two points h apart both lie in the pores with
    chance q squared times exp(intensity times the overlap of two grains h apart)."""
    radius, size, seeds = 12.0, 700, 6
    intensity = -np.log(0.5) / (np.pi * radius**2)
    rng = np.random.default_rng(8)
    y, x = np.mgrid[:size, :size]
    found = []
    for _ in range(seeds):
        solid = np.zeros((size, size), bool)
        margin = radius + 1
        count = rng.poisson(intensity * (size + 2 * margin) ** 2)
        for centre in rng.uniform(-margin, size + margin, (count, 2)):
            rows = slice(max(int(centre[0] - margin), 0), max(int(centre[0] + margin) + 1, 0))
            columns = slice(max(int(centre[1] - margin), 0), max(int(centre[1] + margin) + 1, 0))
            near = (y[rows, columns] - centre[0]) ** 2 + (x[rows, columns] - centre[1]) ** 2
            solid[rows, columns] |= near <= radius**2
        found.append(two_point(~solid, longest=40).chance)
    mean = np.mean(found, axis=0)
    for lag in (4, 8, 12, 18, 24, 36):
        half = min(lag / (2 * radius), 1.0)
        overlap = 2 * radius**2 * (np.arccos(half) - half * np.sqrt(1 - half**2))
        assert mean[lag] == pytest.approx(0.25 * np.exp(intensity * overlap), abs=0.012)


def test_the_outline_of_a_smooth_sponge_is_read_true_through_a_blur():
    """A Gaussian random field cut at its median (excursion sets: Adler, 1981, from memory: their outline has
    no clefts): the blurred outline goes back to that of the fine grid as closely as is said."""
    rng = np.random.default_rng(9)
    fine = ndimage.gaussian_filter(rng.standard_normal((1536, 1536)), 30, mode="wrap") > 0
    labels = np.where(fine, 2, 0).astype(np.uint8)
    true = count_sums(labels).line_length_px(2, 0) * 3
    share = fine.reshape(512, 3, 512, 3).mean(axis=(1, 3))
    for sigma in (1.0, 1.8):
        seen = np.where(ndimage.gaussian_filter(share, sigma) > 0.5, 2, 0).astype(np.uint8)
        plain = count_sums(seen).line_length_px(2, 0)
        factor = outline_factor(seen, sigma)
        assert plain * 9 * factor == pytest.approx(true, rel=1.96 * doubt_of(factor))
        assert doubt_of(factor) < 0.035
