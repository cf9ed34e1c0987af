"""The fit: a known mixture comes back, nothing is invented, and bad input is refused in words."""

from dataclasses import replace

import numpy as np
import pytest

from teardown.science.crystallography.fit import NotAStandard, TooManyPhases, fit_pattern
from teardown.science.crystallography.phantoms import powder_pattern
from teardown.science.crystallography.phases import AmbiguousPhase, NoPhases, UnknownPhase, phase_table
from teardown.science.crystallography.quality import AnglesOutOfOrder, NotNumbers, TooFewPoints
from teardown.science.crystallography.radiation import UnknownRadiation
from teardown.science.crystallography.remarks.pattern import of_leftovers
from teardown.science.crystallography.remarks.specimen import of_air, of_displacement, of_surface
from teardown.science.crystallography.residuals import Unexplained
from teardown.science.crystallography.results import Standard
from teardown.science.crystallography.settings import Settings
from teardown.science.errors import Refusal

TRUTH = {"iron": 0.55, "magnetite": 0.30, "iron-hydroxide": 0.15}
OFFERED = ["iron", "magnetite", "iron-hydroxide", "goethite"]
MADE = powder_pattern(TRUTH, displacement_deg=0.06, seed=1)
FIT = fit_pattern(MADE.two_theta_deg, MADE.counts, phases=OFFERED)


def codes(fit):
    return [r.code for r in fit.remarks]


def test_a_known_mixture_comes_back():
    for key, true in TRUTH.items():
        row = FIT.phase(key)
        assert row.weight_fraction == pytest.approx(true, abs=4 * row.esd)
        assert row.weight_fraction == pytest.approx(true, abs=0.01)


def test_shares_add_up_to_one_and_their_covariance_to_nothing():
    assert sum(p.weight_fraction or 0 for p in FIT.phases) == pytest.approx(1, abs=1e-12)
    assert FIT.covariance.sum(axis=0) == pytest.approx(0, abs=1e-9)


def test_what_is_not_there_gets_a_limit_and_no_share():
    row = FIT.phase("goethite")
    assert row.status == "below limit"
    assert row.weight_fraction is None
    assert 0.001 < row.limit < 0.02


def test_the_displacement_is_recovered():
    assert FIT.parameters["displacement"] == pytest.approx(0.06, abs=0.01)


def test_a_right_model_leaves_nothing_over():
    assert FIT.statistics.GoF == pytest.approx(1, abs=0.08)
    assert FIT.statistics.durbin_watson == pytest.approx(2, abs=0.15)
    assert FIT.unexplained == ()
    assert FIT.statistics.Rwp == pytest.approx(FIT.statistics.GoF * FIT.statistics.Rexp, rel=1e-9)


def test_the_curves_add_up():
    curves = FIT.curves
    total = curves.background + sum(curves.by_phase.values())
    assert curves.calculated == pytest.approx(total)
    assert len(curves.measured) == len(curves.two_theta_deg)
    assert set(FIT.ticks_deg) == set(FIT.fitted)


def test_the_honest_uncertainty_is_never_below_the_esd():
    assert all(p.u > p.esd for p in FIT.phases if p.weight_fraction is not None)


def test_the_same_pattern_gives_the_same_numbers():
    again = fit_pattern(MADE.two_theta_deg, MADE.counts, phases=OFFERED)
    assert [p.weight_fraction for p in again.phases] == [p.weight_fraction for p in FIT.phases]


def test_the_order_of_the_phases_does_not_matter():
    turned = fit_pattern(MADE.two_theta_deg, MADE.counts, phases=OFFERED[::-1])
    for key in TRUTH:
        assert turned.phase(key).weight_fraction == pytest.approx(FIT.phase(key).weight_fraction, abs=2e-4)


def test_scaled_counts_give_the_same_shares_and_are_remarked():
    fit = fit_pattern(MADE.two_theta_deg, MADE.counts * 0.0123, phases=OFFERED)
    assert {"NON_INTEGER"} & set(codes(fit))
    assert fit.statistics.GoF == pytest.approx(1, abs=0.15)
    for key in TRUTH:
        assert fit.phase(key).weight_fraction == pytest.approx(FIT.phase(key).weight_fraction, abs=0.003)


@pytest.mark.parametrize("shift", [-0.25, -0.1, 0.15])
def test_a_displaced_specimen_is_followed(shift):
    made = powder_pattern(TRUTH, displacement_deg=shift, seed=5)
    fit = fit_pattern(made.two_theta_deg, made.counts, phases=["iron", "magnetite", "iron-hydroxide"])
    assert fit.parameters["displacement"] == pytest.approx(shift, abs=0.01)
    assert fit.phase("iron").weight_fraction == pytest.approx(0.55, abs=0.01)
    assert ("DISP_LARGE" in codes(fit)) == (abs(shift) > 0.2)


def test_a_missing_phase_is_named_first():
    made = powder_pattern({"iron": 0.6, "magnetite": 0.3, "goethite": 0.1}, seed=2)
    fit = fit_pattern(made.two_theta_deg, made.counts, phases=["iron", "magnetite"])
    assert fit.unexplained
    names = [name for peak in fit.unexplained for name in peak.candidates[:1]]
    assert max(set(names), key=names.count) == "goethite"
    assert "UNEXPLAINED_PEAKS" in codes(fit)


def test_what_would_explain_a_peak_is_told_by_its_name():
    peak = Unexplained(19.2, 4.6, 9.0, ("iron-hydroxide",))
    (one,) = of_leftovers([peak])
    assert one.message == "1 peak is left over, at 19.20°. It would fit iron(II) hydroxide."
    (two,) = of_leftovers([peak, replace(peak, two_theta_deg=37.4)])
    assert two.message.startswith("2 peaks are left over, at 19.20°, 37.40°.")


def test_the_wrong_tube_is_noticed():
    made = powder_pattern({"iron": 0.5, "magnetite": 0.5}, anode="co", seed=2)
    fit = fit_pattern(made.two_theta_deg, made.counts, phases=["iron", "magnetite"], radiation="cu")
    (remark,) = [r for r in fit.remarks if r.code == "ANODE_MISMATCH"]
    assert "Co Kα" in remark.message
    right = fit_pattern(made.two_theta_deg, made.counts, phases=["iron", "magnetite"], radiation="co")
    assert "ANODE_MISMATCH" not in codes(right)


def test_thin_plates_broaden_lines_by_direction_and_do_not_bend_the_shares():
    made = powder_pattern(TRUTH, thinness={"iron-hydroxide": 3.0}, seed=4)
    fit = fit_pattern(made.two_theta_deg, made.counts, phases=list(TRUTH))
    assert fit.statistics.GoF == pytest.approx(1, abs=0.08)
    assert fit.phase("iron-hydroxide").weight_fraction == pytest.approx(0.15, abs=0.008)
    (remark,) = [r for r in fit.remarks if r.code == "LINES_BY_DIRECTION"]
    assert remark.value == pytest.approx(3.0, rel=0.25)
    assert "broader along the normal of its plates" in remark.message
    assert "LINES_BY_DIRECTION" not in codes(FIT)


def test_flat_plates_are_followed_and_remarked():
    made = powder_pattern(TRUTH, texture_r={"iron-hydroxide": 0.6}, seed=4)
    fit = fit_pattern(made.two_theta_deg, made.counts, phases=list(TRUTH))
    row = fit.phase("iron-hydroxide")
    assert row.texture_r == pytest.approx(0.6, abs=0.04)
    assert row.weight_fraction == pytest.approx(0.15, abs=0.01)
    assert "TEXTURE" in codes(fit)


def test_the_spinel_reads_its_oxidation_from_its_cell_beside_iron():
    made = powder_pattern({"iron": 0.5, "maghemite": 0.5}, seed=6)
    row = fit_pattern(made.two_theta_deg, made.counts, phases=["iron", "spinel"]).phase("spinel")
    assert row.oxidation == pytest.approx(0.03, abs=0.05)
    assert row.weight_fraction == pytest.approx(0.5, abs=0.015)


def test_without_a_line_of_known_place_no_oxidation_is_printed():
    made = powder_pattern({"magnetite": 0.7, "hematite": 0.3}, seed=6)
    fit = fit_pattern(made.two_theta_deg, made.counts, phases=["spinel", "hematite"])
    assert fit.phase("spinel").oxidation is None
    assert "SPINEL_NO_RULER" in codes(fit)


def test_phases_for_identification_are_modelled_and_not_weighed():
    made = powder_pattern({"iron": 0.9, "green-rust-chloride": 0.1}, seed=7)
    fit = fit_pattern(made.two_theta_deg, made.counts, phases=["iron", "green-rust-chloride"])
    assert fit.phase("green-rust-chloride").status == "identified"
    assert fit.phase("green-rust-chloride").weight_fraction is None
    assert fit.phase("iron").weight_fraction == pytest.approx(1)
    assert "IDENTIFIED_ONLY" in codes(fit)


def test_group_sums_carry_the_covariance_of_their_phases():
    made = powder_pattern({"iron": 0.5, "magnetite": 0.2, "maghemite": 0.3}, seed=8)
    fit = fit_pattern(made.two_theta_deg, made.counts, phases=["iron", "magnetite", "maghemite"])
    spinel = next(g for g in fit.groups if g.group == "spinel")
    parts = [fit.phase(k) for k in ("magnetite", "maghemite")]
    assert spinel.weight_fraction == pytest.approx(0.5, abs=0.015)
    assert spinel.esd < min(p.esd for p in parts)  # what one gains the other loses
    assert "SPINEL_DOUBLE" in codes(fit)


def test_a_group_not_found_keeps_its_limit():
    group = next(g for g in FIT.groups if g.group == "oxyhydroxide")
    assert group.weight_fraction == 0
    assert group.limit == FIT.phase("goethite").limit


X, Y = MADE.two_theta_deg, MADE.counts


@pytest.mark.parametrize(
    ("change", "refusal", "says"),
    [
        ({"phases": []}, NoPhases, "at least one"),
        ({"phases": ["iron", "unobtainium"]}, UnknownPhase, "unobtainium"),
        ({"phases": ["ferrite"]}, AmbiguousPhase, "iron"),
        ({"phases": ["iron"], "radiation": "uranium"}, UnknownRadiation, "uranium"),
        ({"phases": ["iron"], "standard": ("corundum", 1.5)}, NotAStandard, "1.5"),
        ({"phases": ["iron"], "standard": Standard("corundum", 0.1, 0.0)}, NotAStandard, "corundum"),
        (
            {"phases": ["iron", "magnetite", "hematite", "goethite", "lepidocrocite", "wuestite",
                        "nickel", "bunsenite", "graphite", "calcite", "quartz"]},
            TooManyPhases, "11 phases",
        ),
    ],
)  # fmt: skip
def test_a_bad_question_is_refused(change, refusal, says):
    with pytest.raises(refusal, match=says):
        fit_pattern(X, Y, **change)


@pytest.mark.parametrize(
    ("x", "y", "refusal", "says"),
    [
        (X[:5], Y[:5], TooFewPoints, "5 points"),
        (X[::-1], Y[::-1], AnglesOutOfOrder, "fall"),
        (X, np.where(np.arange(len(X)) == 9, np.nan, Y), NotNumbers, "row 10"),
        (X, Y[:-1], NotNumbers, "angles and"),
        (X, np.zeros_like(Y), Refusal, "0 to 0"),
    ],
)
def test_a_bad_pattern_is_refused(x, y, refusal, says):
    with pytest.raises(refusal, match=says):
        fit_pattern(x, y, phases=["iron"])


def test_noise_without_lines_is_no_finding():
    flat = np.random.default_rng(0).poisson(500, len(X)).astype(float)
    fit = fit_pattern(X, flat, phases=["iron", "magnetite"])
    assert {"LOW_COUNTS", "FLUORESCENCE"} <= set(codes(fit))
    assert "NOTHING_SURE" in codes(fit)


@pytest.mark.parametrize("glass", [0.0, 0.3])
def test_a_broad_hump_is_found_where_there_is_one(glass):
    made = powder_pattern({"corundum": 0.5, "zincite": 0.5}, amorphous=glass, seed=9)
    fit = fit_pattern(made.two_theta_deg, made.counts, phases=["corundum", "zincite"])
    assert ("BROAD_HUMP" in codes(fit)) == bool(glass)
    assert fit.phase("zincite").weight_fraction == pytest.approx(0.5, abs=0.01)
    assert fit.statistics.GoF < 1.2


def test_the_range_may_be_chosen():
    fit = fit_pattern(X, Y, phases=OFFERED, settings=Settings(two_theta_deg=(30.0, 70.0)))
    assert fit.curves.two_theta_deg[0] >= 30
    assert fit.curves.two_theta_deg[-1] <= 70
    assert fit.phase("iron").weight_fraction == pytest.approx(0.55, abs=0.03)


def remarked(weights, offered, **how):
    made = powder_pattern(weights, seed=3, sizes_nm={"magnetite": 60, "maghemite": 60}, **how)
    fit = fit_pattern(made.two_theta_deg, made.counts, phases=offered)
    return fit, {r.code: r for r in fit.remarks}


def test_two_sharp_spinels_are_told_beside_their_sum_where_iron_is_the_ruler():
    fit, said = remarked({"iron": 0.5, "magnetite": 0.25, "maghemite": 0.25}, ["iron", "spinel"])
    assert fit.phase("spinel").weight_fraction == pytest.approx(0.5, abs=0.02)
    assert "magnetite 24.9" in said["SPINEL_SPLIT"].message
    assert "the sum stands either way" in said["SPINEL_SPLIT"].message


@pytest.mark.parametrize("only", ["magnetite", "maghemite"])
def test_one_spinel_is_not_split(only):
    _, said = remarked({"iron": 0.5, only: 0.5}, ["iron", "spinel"])
    assert "SPINEL_SPLIT" not in said
    assert "SPINEL_BY_CELL" in said


def test_without_a_ruler_nothing_is_split_and_the_pattern_says_what_it_cannot_know():
    fit, said = remarked({"hematite": 0.5, "magnetite": 0.25, "maghemite": 0.25}, ["hematite", "spinel"])
    assert "SPINEL_SPLIT" not in said
    assert "read their sum only" in said["SPINEL_NO_RULER"].message
    assert fit.phase("spinel").oxidation is None


def test_groups_that_were_not_found_keep_their_limit_as_a_limit():
    fit, _ = remarked({"iron": 0.6, "magnetite": 0.4}, ["iron", "spinel", "goethite", "iron-hydroxide"])
    groups = {g.group: g for g in fit.groups}
    for name, group in (("goethite", "oxyhydroxide"), ("iron-hydroxide", "hydroxide")):
        assert fit.phase(name).status == "below limit"
        assert groups[group].phases == ()
        assert groups[group].weight_fraction == 0
        assert groups[group].limit == pytest.approx(fit.phase(name).limit)
        assert 0.001 < groups[group].limit < 0.02
    assert groups["metal"].limit is None


def test_a_line_where_binder_has_its_own_is_said_to_be_perhaps_that():
    made = powder_pattern({"iron": 0.6, "magnetite": 0.4}, seed=3)
    peak = 1500 * np.exp(-4 * np.log(2) * ((made.two_theta_deg - 18.09) / 0.3) ** 2)  # d = 4.90 angstrom
    fit = fit_pattern(made.two_theta_deg, np.round(made.counts + peak), phases=["iron", "spinel"])
    assert "PTFE binder" in {u.hint for u in fit.unexplained}
    (remark,) = [r for r in fit.remarks if r.code == "UNEXPLAINED_PEAKS"]
    assert "PTFE binder has its line at one of them" in remark.message


def test_what_may_have_grown_in_air_is_said_and_grave_beside_oxyhydroxide():
    (said,) = [r for r in FIT.remarks if r.code == "AIR"]
    assert said.level == "info"
    table = phase_table().phases
    (grave,) = of_air([table["iron"], table["goethite"]])
    assert grave.level == "warning"
    assert list(of_air([table["corundum"], table["zincite"]])) == []


def test_a_flat_surface_is_told_with_the_depth_it_shows():
    table = phase_table().phases
    (cu,) = of_surface([table["iron"], table["magnetite"]], "cu", 44.7)
    (co,) = of_surface([table["iron"], table["magnetite"]], "co", 52.4)
    # 3 sin θ / (2 µ p) with p = 0.5 and µ/ρ from Elam, Ravel & Sieber 2002, Radiat. Phys. Chem. 63, 121:
    # with Cu 4.8 µm in iron, twice that in magnetite
    assert "outermost 5 to 10 µm" in cu.message
    assert co.value > 4 * cu.value


def test_displacement_factors_that_moved_together_are_remarked_once():
    rows = [replace(FIT.phase(key), delta_B_A2=b) for key, b in (("iron", -0.9), ("magnetite", -0.6))]
    (remark,) = of_displacement(rows)
    assert "factors of alpha-iron (ferrite) and of magnetite moved by -0.90 to -0.60 Å²" in remark.message
    assert not list(of_displacement([replace(rows[0], delta_B_A2=0.2)]))
