"""Gaps: a film counts once its gap is allowed, the end of a rim never; bands tell of the whole."""

import numpy as np
import pytest

from teardown.science.stereology import gaps
from teardown.science.stereology.gaps import GapCurve, gap_curve, gap_tolerant_coverage


def layered(gap=0):
    """Metal on the left, oxide six pixels thick, perhaps lifted by a gap, pore on the right."""
    labels = np.zeros((100, 100), np.uint8)
    labels[:, :50] = 2
    labels[:, 50 + gap : 56 + gap] = 1
    return labels


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


def lifted(size=160, seed=3):
    """Round grains whose films stand off the metal by three to ten pixels, two grains by each gap."""
    labels = np.zeros((size, size), np.uint8)
    y, x = np.mgrid[:size, :size]
    gap = iter(np.random.default_rng(seed).permutation(np.arange(16) % 8 + 3))
    for row in range(20, size, 40):
        for column in range(20, size, 40):
            away, off = np.hypot(y - row, x - column), next(gap)
            labels[(away > 6 + off) & (away <= 9.5 + off)] = 1
            labels[away <= 6] = 2
    return labels


def test_coverage_grows_with_the_gap_as_films_are_reached():
    """Each gap from three to ten pixels holds two grains of sixteen: the curve rises by their share."""
    curve = gap_curve(lifted())
    assert curve.touching == 0
    assert list(curve.shares) == sorted(curve.shares)
    reached = [curve.at(gap + 0.7) for gap in (3, 5, 7, 9)]
    stand = np.arange(16) % 8 + 3
    assert reached == pytest.approx([float((stand <= gap).mean()) for gap in (3, 5, 7, 9)], abs=0.1)
    assert curve.at(64) == pytest.approx(1, abs=0.02)


def test_a_turned_map_has_the_same_curve():
    """Rows for columns: a place keeps its gap, and its nearest oxide where no two are as near."""
    one, other = gap_curve(lifted()), gap_curve(lifted().T.copy())
    assert [one.at(gap) for gap in range(12)] == pytest.approx([other.at(gap) for gap in range(12)], abs=0.01)


def test_twice_the_pixels_to_a_micrometre_are_twice_the_gap():
    """The same structure drawn with twice as many pixels has the same coverage at the same gap in um."""
    coarse, fine = lifted(), np.kron(lifted(), np.ones((2, 2), np.uint8))
    one, other = (gap_curve(labels).near_coverage(um) for labels, um in ((coarse, 0.1), (fine, 0.05)))
    assert list(one) == ["0.2", "0.5", "1"]
    assert list(one.values()) == pytest.approx(list(other.values()), abs=0.06)


def test_bands_of_a_large_map_tell_of_all_of_it(monkeypatch):
    """Every fourth band of rows, each with what lies around it: as the whole, within how films scatter."""
    labels = np.tile(lifted(), (8, 2))
    whole = gap_curve(labels)
    monkeypatch.setattr(gaps, "LARGEST_WHOLE", 50_000)
    monkeypatch.setattr(gaps, "BAND_ROWS", 160)
    some = gap_curve(labels)
    assert [some.at(gap) for gap in (2, 5, 9)] == pytest.approx(
        [whole.at(gap) for gap in (2, 5, 9)], abs=0.02
    )
    few = gap_curve(labels[:100])
    assert few.touching == 0
    assert few.at(64) > 0.5


def test_without_a_scale_metal_or_oxide_there_is_nothing_to_tell():
    """No gap in micrometres without a scale; no outline no share; no oxide no growth."""
    assert gap_curve(lifted()).near_coverage(None) == {}
    assert gap_curve(np.zeros((80, 80), np.uint8)) == GapCurve()
    bare = layered()
    bare[bare == 1] = 0
    assert gap_curve(bare).at(50.0) == 0
