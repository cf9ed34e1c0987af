"""Line shapes: unit area, the named widths, derivatives that are true, and a lean of the right sign."""

from dataclasses import replace

import numpy as np
import pytest

from teardown.science.crystallography.background import hump_columns, smooth_columns
from teardown.science.crystallography.profile import axial_spread, mixture, pseudo_voigt, windows
from teardown.science.crystallography.texture import march_dollase, squared_cosines

X = np.arange(10, 100, 0.005)
PLACE = np.array([30.0, 50.0, 70.0])
G, LOR = np.array([0.05, 0.1, 0.2]), np.array([0.1, 0.02, 0.3])


def drawn(g=G, low=LOR, place=PLACE):
    mix = mixture(g, low)
    at = windows(X, place, np.full(3, 9.0))
    return mix, at, pseudo_voigt(X, place, mix, at)


def test_a_line_has_unit_area():
    mix, at, shape = drawn()
    # what of a Lorentzian lies within nine degrees to each side; the Gaussian is all there
    inside = 1 - mix.eta * (1 - 2 / np.pi * np.arctan(18 / mix.width))
    area = np.bincount(at.line, shape.value) * 0.005 / inside
    assert area == pytest.approx(1, abs=2e-4)


def test_half_height_lies_half_a_width_away():
    mix, _, _ = drawn()
    place = np.array([40.0])
    one = replace(mix, **{name: getattr(mix, name)[:1] for name in mix.__slots__})
    x = np.array([40.0, 40.0 + one.width[0] / 2])
    shape = pseudo_voigt(x, place, one, windows(x, place, np.array([5.0])))
    assert shape.value[1] / shape.value[0] == pytest.approx(0.5, abs=1e-9)


def test_pure_gaussian_and_lorentzian_keep_their_width():
    assert mixture(np.array([0.2]), np.array([0.0])).width == pytest.approx(0.2, rel=1e-3)
    assert mixture(np.array([0.0]), np.array([0.2])).width == pytest.approx(0.2, rel=1e-3)
    assert mixture(np.array([0.0]), np.array([0.2])).eta == pytest.approx(1, abs=1e-3)


def test_the_voigt_width_is_that_of_the_convolution():
    # Olivero & Longbothum 1977, J. Quant. Spectrosc. Radiat. Transfer 17, 233
    exact = 0.5346 * LOR + np.sqrt(0.2166 * LOR**2 + G**2)
    assert mixture(G, LOR).width == pytest.approx(exact, rel=0.01)


@pytest.mark.parametrize("name", ["gauss", "lorentz"])
def test_widths_answer_as_their_derivatives_say(name):
    step = 1e-6
    mix = mixture(G, LOR)
    moved = mixture(G + step, LOR) if name == "gauss" else mixture(G, LOR + step)
    assert (moved.width - mix.width) / step == pytest.approx(getattr(mix, f"width_by_{name}"), rel=1e-3)
    assert (moved.eta - mix.eta) / step == pytest.approx(getattr(mix, f"eta_by_{name}"), rel=1e-2)


def test_the_shape_answers_as_its_derivatives_say():
    mix, at, shape = drawn()
    step = 1e-6
    top = np.abs(shape.by_width).max()
    there = pseudo_voigt(X, PLACE + step, mix, at)
    assert (there.value - shape.value) / step == pytest.approx(shape.by_position, abs=1e-3 * top)
    wider = pseudo_voigt(X, PLACE, replace(mix, width=mix.width + step), at)
    assert (wider.value - shape.value) / step == pytest.approx(shape.by_width, abs=1e-3 * top)
    mixed = pseudo_voigt(X, PLACE, replace(mix, eta=mix.eta + step), at)
    assert (mixed.value - shape.value) / step == pytest.approx(shape.by_eta, abs=1e-6 * top)


def test_axial_divergence_leans_low_lines_down_and_high_lines_up():
    spread = axial_spread(np.array([20.0, 90.0, 150.0]), np.full(3, 0.08), 0.06)
    mean = np.bincount(spread.of_line, spread.position_deg * spread.share) - [20.0, 90.0, 150.0]
    assert mean[0] < -0.01
    assert mean[1] == pytest.approx(0, abs=1e-9)
    assert mean[2] > 0.01
    assert np.bincount(spread.of_line, spread.share) == pytest.approx(1)


def test_no_axial_height_means_no_lean():
    spread = axial_spread(np.array([20.0, 30.0]), np.full(2, 0.08), 0.0)
    assert list(spread.position_deg) == [20.0, 30.0]


def test_random_grains_need_no_correction_and_its_mean_over_the_sphere_is_one():
    cos2 = np.linspace(0, 1, 20001) ** 2  # even steps in cosine are even steps on the sphere
    owner = np.zeros(len(cos2), dtype=int)
    assert march_dollase(cos2, owner, 1, 1.0)[0] == pytest.approx(1)
    for r in (0.6, 0.8, 1.3):
        assert march_dollase(cos2, owner, 1, r)[0][0] == pytest.approx(1, abs=1e-3)


def test_flat_plates_show_their_face():
    faces = (np.array([[0, 0, 1], [0, 0, -1]]), np.array([[1, 0, 0], [-1, 0, 0]]))
    cos2, owner = squared_cosines(faces, (0, 0, 1), (3.0, 3.0, 5.0, 90.0, 90.0, 120.0))
    face, edge = march_dollase(cos2, owner, 2, 0.7)[0]
    assert face == pytest.approx(0.7**-3)
    assert edge == pytest.approx(0.7**1.5)


def test_a_constant_background_is_in_the_smooth_columns():
    columns = smooth_columns(np.linspace(10, 100, 200), 6)
    solved, *_ = np.linalg.lstsq(columns, np.full(200, 42.0), rcond=None)
    assert columns @ solved == pytest.approx(42)


def test_a_hump_has_unit_area():
    x = np.linspace(0, 60, 6001)
    assert hump_columns(x, ((22.5, 8.0),)).sum() * 0.01 == pytest.approx(1, abs=1e-3)
