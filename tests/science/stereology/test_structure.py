"""Correlation, chords and openings of patterns whose answers are known."""

import numpy as np
import pytest

from teardown.science.stereology.structure import chords_of, structure_of, two_point


def test_correlation_starts_at_the_fraction_and_ends_at_its_square():
    """Of pixels without order, neighbours already know nothing of each other."""
    mask = np.random.default_rng(2).random((400, 380)) < 0.3
    found = two_point(mask)
    assert found.chance[0] == pytest.approx(mask.mean())
    assert found.chance[5:] == pytest.approx([mask.mean() ** 2] * (len(found.chance) - 5), abs=0.003)
    assert found.range_px == 1


def test_a_mirrored_and_turned_pattern_has_the_same_correlation():
    """It is a mean over all directions."""
    mask = np.random.default_rng(3).random((240, 240)) < 0.4
    mask |= np.roll(mask, 1, axis=0)
    plain = two_point(mask).chance
    assert two_point(np.rot90(mask)).chance == pytest.approx(plain)
    assert two_point(mask[:, ::-1]).chance == pytest.approx(plain)


def test_what_is_left_out_does_not_count_in_the_correlation():
    """Pairs with a left-out pixel are no pairs."""
    mask = np.random.default_rng(4).random((300, 300)) < 0.3
    inside = np.ones_like(mask)
    inside[100:200, 50:250] = False
    found = two_point(mask, inside)
    assert found.fraction == pytest.approx(mask[inside].mean())
    assert found.chance[20] == pytest.approx(found.fraction**2, abs=0.003)


@pytest.mark.parametrize("code", [0, 2])
def test_a_section_of_one_class_has_no_correlation(code):
    """Nothing to correlate: none is given."""
    found = structure_of(np.full((128, 128), code, np.uint8))
    assert found.pore is None
    assert found.metal is None
    assert found.pore_chords.n == 0


def test_chords_of_stripes_are_their_widths():
    """Pore stripes of seven between metal of four: across, every whole run is seven long; along, none is
    whole."""
    labels = np.tile(np.repeat([0, 2], [7, 4]), (90, 12)).astype(np.uint8)
    pore, metal = chords_of(labels, 0), chords_of(labels, 2)
    assert pore.mean_px == 7
    assert pore.n == 90 * 11  # the first of each row is cut by the rim
    assert metal.mean_px == 4
    assert pore.counts[3] == pore.n


def test_chords_that_a_left_out_place_cuts_are_not_counted():
    """Only runs that end on another class are whole."""
    labels = np.full((70, 70), 2, np.uint8)
    labels[:, 20:30] = 0
    labels[35:, 25] = 3
    assert chords_of(labels, 0).n == 35


def test_openings_of_discs_lie_at_their_diameters():
    """Between the radii that are tried, sizes are interpolated."""
    labels = np.full((300, 300), 2, np.uint8)
    y, x = np.mgrid[:300, :300]
    for top in (75, 225):
        for left in (75, 225):
            labels[(y - top) ** 2 + (x - left) ** 2 <= 20**2] = 0
    found = structure_of(labels)
    passed = dict(zip(found.opening_sizes_px, found.opening_passed, strict=True))
    assert passed[24] < 0.05
    assert passed[48] == 1
