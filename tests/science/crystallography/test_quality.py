"""Patterns that are not as they were measured: told before any phase is named, and fitted all the same."""

import numpy as np
import pytest

from teardown.science.crystallography.fit import fit_pattern
from teardown.science.crystallography.phantoms import powder_pattern
from teardown.science.crystallography.quality import AnglesOutOfOrder, NotDegrees, checked, quality, weights

TRUTH = {"iron": 0.5, "magnetite": 0.3, "iron-hydroxide": 0.2}
OFFERED = ["iron", "spinel", "iron-hydroxide"]
MADE = powder_pattern(TRUTH, seed=1)
X, Y = MADE.two_theta_deg, MADE.counts


def codes(counts, angles=X):
    return {r.code for r in quality(angles, counts).remarks}


def under(share=20):
    """Guess the background as people do: low percentiles in windows, joined by lines."""
    knots = range(0, len(X), 200)
    return np.interp(X, X[::200], [np.percentile(Y[max(0, i - 100) : i + 100], share) for i in knots])


def test_a_pattern_as_measured_carries_no_remark():
    assert codes(Y) == set()


@pytest.mark.parametrize(
    ("counts", "code"),
    [
        (100 * Y / Y.max(), "NORMALISED"),
        (Y / Y.max(), "NORMALISED"),
        (Y / 2.5, "NON_INTEGER"),
        (np.convolve(Y, np.ones(9) / 9, "same"), "SMOOTHED"),
        (np.round(np.convolve(Y, np.ones(9) / 9, "same")), "SMOOTHED"),
        (Y - under(), "NEGATIVE"),
        (np.maximum(0, np.round(Y - under())), "BACKGROUND_TAKEN_OFF"),
        (10 * Y, "COUNTS_MULTIPLIED"),
        (np.round(Y / 8), "COUNTS_DIVIDED"),
        (np.round(1000 * Y / Y.max()), "NORMALISED"),
        (np.where(X > 70, 0, Y), "STRETCH_OF_ONE_VALUE"),
        (np.minimum(Y, 8000), "DETECTOR_AT_ITS_END"),
        (np.where(X > 50.5, 5 * Y, Y), "LEVEL_BREAKS"),
        (np.round(Y / 20), "LOW_COUNTS"),
        (Y + 30_000, "FLUORESCENCE"),
    ],
)
def test_what_was_done_to_the_counts_is_told(counts, code):
    assert code in codes(counts)


def test_multiplied_and_divided_counts_weigh_as_the_counts_themselves():
    for counts, factor in ((10 * Y, 10), (np.round(Y / 8), 1 / 8)):
        expected = np.sqrt(factor * np.maximum(counts, 1))
        found = weights(counts, quality(X, counts))
        assert np.median(found / expected) == pytest.approx(1, abs=0.1)


def test_a_gap_in_the_angles_is_told_with_its_ends():
    keep = (X < 40) | (X > 50)
    (gap,) = [r for r in quality(X[keep], Y[keep]).remarks if r.code == "GAP"]
    assert "40.00° and 50.00°" in gap.message.replace("39.98", "40.00").replace("50.02", "50.00")


@pytest.mark.parametrize("factor", [0.35, 2.5])
@pytest.mark.parametrize("at", [19.0, 35.0, 50.6, 61.8])
def test_a_level_that_breaks_on_the_flank_of_a_line_is_told_with_its_place(at, factor):
    counts = np.where(at < X, np.round(factor * Y), Y)
    (remark,) = [r for r in quality(X, counts).remarks if r.code == "LEVEL_BREAKS"]
    assert remark.value == pytest.approx(at, abs=0.05)


@pytest.mark.parametrize(("anode", "step"), [("mo", 0.02), ("cu", 0.03), ("co", 0.01)])
def test_steep_lines_of_many_counts_are_not_taken_for_smoothing_or_breaks(anode, step):
    span = {"mo": (8, 50, step), "cu": (12, 100, step), "co": (18, 60, step)}[anode]
    made = powder_pattern(TRUTH, anode=anode, range_deg=span, highest=300_000, background=300, seed=5)
    assert {"SMOOTHED", "LEVEL_BREAKS"} & codes(made.counts, made.two_theta_deg) == set()


def test_a_background_near_zero_is_not_taken_for_one_taken_off():
    quiet = powder_pattern(TRUTH, seed=2, background=0.6)
    assert "BACKGROUND_TAKEN_OFF" not in codes(quiet.counts)


def test_a_pattern_without_its_background_still_gives_its_phases():
    counts = np.maximum(0, np.round(Y - under()))
    fit = fit_pattern(X, counts, phases=OFFERED)
    found = [fit.phase(name).weight_fraction for name in OFFERED]
    assert found == pytest.approx(list(TRUTH.values()), abs=0.02)


Q_PER_A = 4 * np.pi * np.sin(np.radians(X / 2)) / 1.5406
D_A = 2 * np.pi / Q_PER_A


@pytest.mark.parametrize("axis", [Q_PER_A, D_A[::-1], D_A, np.radians(X), D_A[::-1] / 10])
def test_other_units_are_refused_by_their_name_whatever_their_order(axis):
    with pytest.raises(NotDegrees, match=r"q in 1/Å|radians"):
        checked(np.round(axis, 3), Y)


def test_q_in_reciprocal_nanometres_shows_by_its_steps():
    assert "UNEVEN_STEPS" in codes(Y, 10 * Q_PER_A)


def test_falling_angles_are_refused():
    with pytest.raises(AnglesOutOfOrder, match="fall from 100 to 12"):
        checked(X[::-1], Y[::-1])


def test_theta_in_place_of_two_theta_is_noticed():
    fit = fit_pattern(X / 2, Y, phases=OFFERED)
    (remark,) = [r for r in fit.remarks if r.level == "error"]
    assert remark.code == "ANGLES_ARE_THETA"
