"""Patterns that are not as they were measured: told before any phase is named, and fitted all the same."""

import numpy as np
import pytest

from teardown.science.crystallography.fit import fit_pattern
from teardown.science.crystallography.phantoms import powder_pattern
from teardown.science.crystallography.quality import AnglesOutOfOrder, NotDegrees, checked, quality

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
        (10 * Y, "BACKGROUND_TAKEN_OFF"),
        (np.round(Y / 20), "LOW_COUNTS"),
        (Y + 30_000, "FLUORESCENCE"),
    ],
)
def test_what_was_done_to_the_counts_is_told(counts, code):
    assert code in codes(counts)


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
