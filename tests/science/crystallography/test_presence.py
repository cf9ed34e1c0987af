"""Whether a phase is there: the level follows chance and number, and misfit is not taken for a phase."""

import numpy as np
import pytest

from teardown.science.crystallography.fit import fit_pattern
from teardown.science.crystallography.limits import Limit
from teardown.science.crystallography.parameters import Optics
from teardown.science.crystallography.phantoms import powder_pattern
from teardown.science.crystallography.phases import choose
from teardown.science.crystallography.presence import WHITE, level, likeness
from teardown.science.crystallography.radiation import radiation
from teardown.science.crystallography.refinement import Recipe, Refinement
from teardown.science.crystallography.remarks.pattern import of_phases_in_doubt
from teardown.science.crystallography.results import Shifts, cell_moved, with_doubt_of_cells
from teardown.science.crystallography.settings import Settings
from teardown.science.crystallography.statistics import serial_factor


def test_the_level_is_the_normal_quantile_of_the_risk_shared_out():
    # NIST/SEMATECH e-Handbook of Statistical Methods 1.3.6.7.1: 2.326 for one in 100, 3.090 for one in 1000
    assert level(1, 0.01) == pytest.approx(2.3263, abs=1e-4)
    assert level(10, 0.01) == pytest.approx(3.0902, abs=1e-4)
    assert level(6) > level(3) > level(2)


def test_runs_of_noise_have_the_serial_factor_of_the_closed_form():
    noise = np.random.default_rng(5).normal(size=400_000)
    assert serial_factor(noise) == pytest.approx(WHITE, rel=0.005)


def test_neighbours_that_are_alike_widen_and_noise_does_not():
    noise = np.random.default_rng(6).normal(size=20_000)
    assert likeness(noise) == pytest.approx(1, abs=0.02)
    assert likeness(np.convolve(noise, np.ones(5) / 5, "same")) > 1.4
    assert likeness(np.tile([1.0, -1.0], 500)) == 1


def test_a_smaller_risk_never_names_more():
    made = powder_pattern({"iron": 0.7, "magnetite": 0.3}, range_deg=(25.0, 70.0, 0.1), highest=900, seed=8)
    named = []
    for risk in (0.3, 1e-6):
        settings = Settings(risk_of_one_too_many=risk, look_for_more=False, check_anode=False)
        fit = fit_pattern(
            made.two_theta_deg, made.counts, phases=["iron", "spinel", "hematite"], settings=settings
        )
        named.append(set(fit.fitted))
    assert {"iron", "spinel"} <= named[1] <= named[0]


def test_a_phase_in_doubt_is_told_with_its_reason():
    limits = {"goethite": Limit(0.03, 0.011, 0.004), "hematite": Limit(0.01, 0.001, 0.003)}
    names = {"iron": "iron", "goethite": "goethite", "hematite": "hematite"}
    (chance,) = of_phases_in_doubt(limits, names, 1.0)
    assert chance.where == "goethite"
    assert "1.10 ± 0.40 wt%" in chance.message
    assert "one of 3 phases" in chance.message
    (misfit,) = of_phases_in_doubt(limits, names, 1.5)
    assert "1.5 times wider" in misfit.message


def test_a_weak_phase_whose_cell_left_the_table_may_be_nothing_within_two_u():
    made = powder_pattern({"iron": 0.7, "spinel": 0.3}, range_deg=(25.0, 70.0, 0.1), seed=8)
    phases = choose(["iron", "spinel", "potassium-carbonate"])
    fit = Refinement(
        made.two_theta_deg,
        made.counts,
        np.sqrt(np.maximum(made.counts, 1)),
        phases,
        radiation("cu"),
        Recipe(Optics()),
    )
    fit.theta[fit.index("cell", 1)] = 0.008  # a spinel is free to
    fit.theta[fit.index("cell", 2)] = -0.008
    assert [round(cell_moved(fit, i), 4) for i in range(3)] == [0, 0, 0.008]
    nothing = np.zeros(3)
    shifts = Shifts(np.array([-0.03, 0.03, 0.0]), nothing, nothing, nothing, (1.0, 5.0), False)
    weak = with_doubt_of_cells(shifts, fit, np.array([0.66, 0.30, 0.04]))
    assert weak.plain == pytest.approx([-0.03, 0.03, 0.02])
    strong = with_doubt_of_cells(shifts, fit, np.array([0.3, 0.3, 0.4]))
    assert strong.plain[2] == pytest.approx(0.025)
