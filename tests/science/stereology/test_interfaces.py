"""Lines between classes: lengths, symmetry, sums over tiles."""

import numpy as np
import pytest

from teardown.science.stereology.interfaces import count_sums, tile_sums


def disc(radius, *, size=256, shift=(0.3, 0.7)):
    """A disc of metal in pore."""
    y, x = np.mgrid[:size, :size]
    inside = np.hypot(x - size / 2 - shift[0], y - size / 2 - shift[1]) <= radius
    return np.where(inside, 2, 0).astype(np.uint8)


@pytest.mark.parametrize("radius", [10, 20, 60])
@pytest.mark.parametrize("directions", [4, 8])
def test_a_circle_has_its_circumference(radius, directions):
    """Within one percent, from ten pixels of radius on."""
    length = count_sums(disc(radius)).line_length_px(2, 0, directions=directions)
    assert length == pytest.approx(2 * np.pi * radius, rel=0.012)


def test_tiles_add_up_to_the_whole_to_the_last_pair():
    """Ragged tiles, five classes, eight directions: bit for bit."""
    labels = np.random.default_rng(1).integers(0, 5, (301, 257), dtype=np.uint8)
    whole = count_sums(labels)
    total = sum(tile_sums(labels, 64)[1:], tile_sums(labels, 64)[0])
    assert np.array_equal(total.counts, whole.counts)
    assert np.array_equal(total.pairs, whole.pairs)


def test_turning_and_mirroring_keep_every_length():
    """Four directions are fair to quarter turns."""
    labels = np.random.default_rng(2).integers(0, 3, (90, 70), dtype=np.uint8)
    here = count_sums(labels)
    for other in (np.rot90(labels), labels[:, ::-1], labels.T):
        there = count_sums(np.ascontiguousarray(other))
        for pair in ((0, 1), (0, 2), (1, 2)):
            assert there.line_length_px(*pair) == pytest.approx(here.line_length_px(*pair))


def test_left_out_pixels_and_brighter_matter_are_no_metal_outline():
    """What metal shares with them does not count, so coverage is of what can be seen."""
    labels = np.zeros((40, 40), np.uint8)
    labels[10:30, 10:30] = 2
    labels[10:30, 30:35] = 3
    labels[10:30, 5:10] = 4
    labels[30:35, 10:30] = 1
    assert count_sums(labels).coverage == pytest.approx(0.5, abs=0.02)
