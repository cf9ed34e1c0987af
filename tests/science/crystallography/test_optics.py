"""What the instrument does: K-beta that comes through, slits that open, line shapes from a standard."""

import numpy as np
import pytest

from teardown.science.crystallography.calibration import NoProfile, instrument_profile, width_deg
from teardown.science.crystallography.fit import fit_pattern
from teardown.science.crystallography.parameters import Optics
from teardown.science.crystallography.phantoms import powder_pattern
from teardown.science.crystallography.settings import Settings

TRUTH = {"iron": 0.5, "magnetite": 0.3, "iron-hydroxide": 0.2}
OFFERED = ["iron", "spinel", "iron-hydroxide"]
SHAPE = Optics(U=0.002, V=-0.001, W=0.003, X=0.02, Y=0.01)


def fitted(made, offered=OFFERED, **chosen):
    return fit_pattern(made.two_theta_deg, made.counts, phases=offered, settings=Settings(**chosen))


def said(fit):
    return {r.code: r for r in fit.remarks}


def shares(fit):
    return [fit.phase(name).weight_fraction for name in OFFERED]


@pytest.mark.parametrize("share", [0.02, 0.15])
def test_k_beta_is_found_with_its_share_and_costs_no_phase_anything(share):
    fit = fitted(powder_pattern(TRUTH, k_beta=share, seed=3), [*OFFERED, "feroxyhyte"])
    assert fit.parameters["k_beta"] == pytest.approx(share, abs=0.003)
    assert said(fit)["K_BETA"].level == ("warning" if share > 0.03 else "info")
    assert shares(fit) == pytest.approx(list(TRUTH.values()), abs=0.01)
    assert fit.phase("feroxyhyte").status == "below limit"
    assert "UNEXPLAINED_PEAKS" not in said(fit)


def test_k_beta_left_alone_is_named_as_a_ghost():
    fit = fitted(powder_pattern(TRUTH, k_beta=0.02, seed=3), look_for_k_beta=False)
    assert "k_beta" not in fit.parameters
    assert "Kβ" in {u.ghost for u in fit.unexplained}


def test_without_k_beta_none_is_found():
    assert "k_beta" not in fitted(powder_pattern(TRUTH, seed=3)).parameters


def test_slits_that_open_with_the_angle_are_corrected_for():
    fit = fitted(powder_pattern(TRUTH, variable_slits=True, seed=4), optics=Optics(variable_slits=True))
    assert shares(fit) == pytest.approx(list(TRUTH.values()), abs=0.01)
    assert "SLITS_MISMATCH" not in said(fit)


@pytest.mark.parametrize("variable", [True, False])
def test_the_wrong_kind_of_slits_is_noticed(variable):
    made = powder_pattern(TRUTH, variable_slits=variable, seed=4)
    remark = said(fitted(made, optics=Optics(variable_slits=not variable)))["SLITS_MISMATCH"]
    assert ("variable slits would" if variable else "fixed slits would") in remark.message
    assert remark.level == "error"


@pytest.fixture(scope="module")
def profile():
    sharp = {"lanthanum-hexaboride": 5000}
    made = powder_pattern({"lanthanum-hexaboride": 1}, optics=SHAPE, sizes_nm=sharp, highest=50_000, seed=5)
    return instrument_profile(made.two_theta_deg, made.counts, phase="LaB6")


def test_a_standard_gives_the_widths_of_the_instrument(profile):
    for place, width in profile.widths_deg.items():
        assert width == pytest.approx(width_deg(SHAPE, place), rel=0.03)
    assert profile.optics.calibrated
    assert profile.optics.axial == pytest.approx(SHAPE.axial, abs=0.005)


def test_with_the_instrument_known_sizes_come_back(profile):
    sizes = {"iron": 60, "magnetite": 25, "iron-hydroxide": 1500}
    made = powder_pattern(TRUTH, optics=SHAPE, sizes_nm=sizes, seed=6)
    fit = fitted(made, optics=profile.optics)
    assert fit.phase("iron").size_nm == pytest.approx(60, rel=0.08)
    assert fit.phase("spinel").size_nm == pytest.approx(25, rel=0.08)
    coarse = fit.phase("iron-hydroxide")
    assert coarse.size_nm is None  # no wider than the instrument: a bound, and a true one
    assert 200 < coarse.size_at_least_nm <= 1500


def test_without_a_calibration_no_size_is_stated():
    fit = fitted(powder_pattern(TRUTH, seed=6))
    assert all(row.size_nm is None and row.size_at_least_nm is None for row in fit.phases)
    assert all(row.strain is None for row in fit.phases)


def test_what_cannot_calibrate_says_why():
    weak = powder_pattern({"lanthanum-hexaboride": 1}, highest=900, background=50)
    with pytest.raises(NoProfile, match="counts above the background"):
        instrument_profile(weak.two_theta_deg, weak.counts, phase="LaB6")
    short = powder_pattern({"silicon": 1}, range_deg=(25.0, 60.0, 0.02))
    with pytest.raises(NoProfile, match="spans 35°"):
        instrument_profile(short.two_theta_deg, short.counts, phase="silicon")
    mixed = powder_pattern({"silicon": 0.3, "iron": 0.7})
    with pytest.raises(NoProfile, match="standard alone"):
        instrument_profile(mixed.two_theta_deg, mixed.counts, phase="silicon")


def test_slits_and_k_beta_leave_lines_where_they_are():
    plain, other = (powder_pattern({"iron": 1}, seed=None, variable_slits=v) for v in (False, True))
    near = np.abs(plain.two_theta_deg - 44.67) < 0.3
    assert np.argmax(plain.counts[near]) == np.argmax(other.counts[near])
