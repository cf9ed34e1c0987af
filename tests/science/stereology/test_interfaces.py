"""Lines between classes: lengths, symmetry, sums over tiles."""

import numpy as np
import pytest

from teardown.science.stereology.interfaces import DIRECTIONS, count_sums, tile_sums
from teardown.science.stereology.outline import crossings, sides_of
from teardown.science.stereology.sampling import WALL, outline_cells


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


@pytest.mark.parametrize("shape", [(1, 1), (1, 2), (5, 7), (16, 9), (63, 65)])
def test_every_pair_is_counted_as_one_by_one(shape):
    """Against plain loops over pixels and partners, odd and even numbers of them."""
    labels = np.random.default_rng(3).integers(0, 5, shape, dtype=np.uint8)
    found = count_sums(labels)
    assert found.counts.tolist() == [int((labels == code).sum()) for code in range(5)]
    for number, (down, across) in enumerate(DIRECTIONS):
        expected = np.zeros((5, 5), int)
        for row in range(shape[0] - down):
            for column in range(max(-across, 0), shape[1] - max(across, 0)):
                expected[labels[row, column], labels[row + down, column + across]] += 1
        assert np.array_equal(found.pairs[number], expected)


def test_the_outline_alone_has_the_crossings_of_metal_against_all_else():
    """What is left out bounds nothing; windows add up."""
    labels = np.random.default_rng(4).integers(0, 5, (80, 70), dtype=np.uint8)
    sums, sides = count_sums(labels), sides_of(labels)
    others = sum(sums.transitions(2, code) for code in (0, 1, 4))
    assert np.array_equal(crossings(sides)[:4], others[:4])
    left, right = (crossings(sides, (slice(0, 80), columns)) for columns in (slice(0, 33), slice(33, 70)))
    assert np.array_equal(left + right, crossings(sides))


def test_cells_hold_the_length_of_each_wall():
    """Added up they are the line between two classes, less what lies in cut-off cells."""
    labels = np.random.default_rng(5).integers(0, 5, (96, 96), dtype=np.uint8)
    sums, cells = count_sums(labels), outline_cells(labels, 8)
    for first, second in WALL:
        assert cells[first, second].shape == (12, 12)
        assert cells[first, second].sum() == pytest.approx(sums.line_length_px(first, second))
    part = outline_cells(labels, 8, rows=40)
    assert np.array_equal(part[WALL[0]], cells[WALL[0]][:5])
