"""Test lines: set by their seed, equally far apart, in every direction; crossings lie on the outline."""

import numpy as np
import pytest

from teardown.science.stereology.classes import EXCLUDED, METAL, OXIDE
from teardown.science.stereology.lines import SETS, crossings, lay_lines


def reading(labels):
    """Class codes at places of a map."""
    return lambda x, y: labels[y.astype(int), x.astype(int)]


def test_crossings_lie_on_the_metal_outline_and_lead_away_from_it():
    """Metal between columns 20 and 40: horizontal lines cross it at both, a step from metal goes outward."""
    labels = np.zeros((50, 60), np.uint8)
    labels[:, 20:40] = METAL
    found = crossings(lay_lines((50, 60), lines=5, which="horizontal", seed=1), reading(labels))
    assert len(found) == 10
    assert sorted(set(np.round(found[:, 0]))) == [20, 40]
    assert found[found[:, 0] < 30, 2].tolist() == [-1.0] * 5
    assert found[found[:, 0] > 30, 2].tolist() == [1.0] * 5
    along = crossings(lay_lines((50, 60), lines=5, which="vertical", seed=1), reading(labels))
    assert len(along) == 0


@pytest.mark.parametrize("which", SETS)
def test_a_disc_is_crossed_as_often_as_its_width_says(which):
    """Lines a distance apart cross a convex body 2 w / distance times, w its mean width (Cauchy, Crofton)."""
    size, radius = 400, 120
    rows, columns = np.mgrid[0:size, 0:size]
    labels = np.where(np.hypot(rows - 199.5, columns - 199.5) < radius, METAL, OXIDE).astype(np.uint8)
    counts, expected = [], []
    for seed in range(40):
        lines = lay_lines((size, size), lines=20, which=which, seed=seed)
        counts.append(len(crossings(lines, reading(labels))))
        turns = sorted({line.angle_deg for line in lines})
        spans = [size * (abs(np.sin(np.radians(a))) + abs(np.cos(np.radians(a)))) for a in turns]
        expected.append(2 * 2 * radius * len(turns) / (sum(spans) / 20))
    assert np.mean(counts) == pytest.approx(np.mean(expected), rel=0.03)


def test_the_same_seed_lays_the_same_lines_and_chance_turns_a_turned_set():
    """Nobody moves a line to where it suits."""
    one, same, other = (lay_lines((90, 120), lines=12, which="turned", seed=seed) for seed in (7, 7, 8))
    assert [line.x.tolist() for line in one] == [line.x.tolist() for line in same]
    assert one[0].angle_deg != other[0].angle_deg
    assert len({line.angle_deg for line in one}) == 4
    assert all(line.x.min() >= 0 and line.x.max() < 120 and line.y.max() < 90 for line in one)


def test_what_is_left_out_is_not_crossed_into():
    """Metal against a part that is left out is no outline."""
    labels = np.full((40, 40), METAL, np.uint8)
    labels[:, 30:] = EXCLUDED
    assert len(crossings(lay_lines((40, 40), lines=6, which="turned", seed=2), reading(labels))) == 0
