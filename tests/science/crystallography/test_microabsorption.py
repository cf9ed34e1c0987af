"""Microabsorption: no contrast no shift, the correction undoes it, and what is out of range is said."""

import numpy as np
import pytest

from teardown.science.crystallography.absorption import (
    information_depth_um,
    linear_absorption_per_cm,
    mass_absorption_cm2_g,
)
from teardown.science.crystallography.fit import fit_pattern
from teardown.science.crystallography.fractions import amorphous_share, amorphous_u
from teardown.science.crystallography.microabsorption import corrected, tau, weakened
from teardown.science.crystallography.phantoms import powder_pattern
from teardown.science.crystallography.phases import choose, phase_table
from teardown.science.crystallography.settings import Settings

PAIR = choose(["iron", "magnetite"])
HALF = np.array([0.5, 0.5])


def test_a_grain_like_its_neighbours_is_not_weakened():
    assert tau(0.0) == 1.0


def test_the_mean_path_through_a_sphere_is_one_and_a_half_radii():
    # mean chord weighted by volume, in and out together: 3/4 of the diameter each way, elementary geometry
    assert -np.log(tau(1e-6)) / 1e-6 == pytest.approx(1.5, rel=2e-3)


@pytest.mark.parametrize("anode", ["cu", "co", "mo"])
@pytest.mark.parametrize("size", [0.5, 2.0, 5.0])
def test_the_correction_undoes_the_weakening(anode, size):
    found = weakened(PAIR, HALF, anode, size)
    assert corrected(PAIR, found, anode, size) == pytest.approx(HALF, abs=1e-6)


def test_iron_hides_with_copper_far_more_than_with_cobalt_or_molybdenum():
    shift = {a: weakened(PAIR, HALF, a, 5.0)[0] - 0.5 for a in ("cu", "co", "mo")}
    assert shift["cu"] < -0.10
    assert -0.03 < shift["co"] < 0
    assert -0.02 < shift["mo"] < 0


def test_mass_absorption_of_iron_is_near_the_published_tables():
    # Hubbell & Seltzer (NIST, XCOM family), iron near 8.05 keV about 305 to 308 cm2/g, from memory
    assert mass_absorption_cm2_g(PAIR[0], "cu") == pytest.approx(306, rel=0.03)
    assert linear_absorption_per_cm(PAIR[0], "cu") == pytest.approx(306 * 7.87, rel=0.03)


def test_absorption_agrees_with_a_second_table():
    xsf = pytest.importorskip("periodictable.xsf")
    from periodictable import Fe, O

    for phase in PAIR:
        for anode, energy in (("cu", 8.041), ("mo", 17.44)):
            volume = 0.0
            for element, share in phase.mass_fractions.items():
                atom = {"Fe": Fe, "O": O}[element]
                f2 = atom.xray.scattering_factors(energy=energy)[1]
                # photoabsorption cross section 2 r_e lambda f2 (Henke, Gullikson & Davis 1993)
                wavelength = 12.39842 / energy
                volume += share * 2 * 2.8179403e-13 * wavelength * 1e-8 * f2 * 6.02214076e23 / atom.mass
            assert mass_absorption_cm2_g(phase, anode) == pytest.approx(volume, rel=0.06)
    assert xsf


def test_a_scan_sees_micrometres_only():
    assert 2 < information_depth_um(PAIR[0], "cu", 44.67) < 8
    assert information_depth_um(PAIR[0], "co", 52.4) > 4 * information_depth_um(PAIR[0], "cu", 44.67)


@pytest.mark.parametrize("anode", ["cu", "co"])
@pytest.mark.parametrize("size", [1.0, 5.0])
@pytest.mark.parametrize("iron", [0.2, 0.5, 0.8])
def test_metal_beside_oxide_is_remarked_corrected_and_covered(anode, size, iron):
    made = powder_pattern({"iron": iron, "magnetite": 1 - iron}, anode=anode, particle_size_um=size, seed=3)
    known = Settings(particle_size_um=(size / 2**0.5, size * 2**0.5))
    fit = fit_pattern(
        made.two_theta_deg, made.counts, phases=["iron", "magnetite"], radiation=anode, settings=known
    )
    row = fit.phase("iron")
    assert row.brindley.weight_fraction == pytest.approx(iron, abs=0.01)
    assert abs(row.brindley.weight_fraction - iron) < 2 * row.brindley.u
    assert abs(row.weight_fraction - iron) < 2 * row.u
    flags = {r.code for r in fit.remarks}
    assert "METAL_CORE_SHELL" in flags
    if anode == "cu":
        assert {"MICROABSORPTION", "BRINDLEY_OUT"} <= flags


def test_metal_beside_oxide_without_a_grain_size_is_always_remarked():
    made = powder_pattern({"iron": 0.5, "magnetite": 0.5}, particle_size_um=2.0, seed=3)
    fit = fit_pattern(made.two_theta_deg, made.counts, phases=["iron", "magnetite"])
    assert "NO_PARTICLE_SIZE" in {r.code for r in fit.remarks}
    assert abs(fit.phase("iron").weight_fraction - 0.5) < 2 * fit.phase("iron").u
    assert fit.phase("iron").brindley is None


def test_a_standard_found_as_weighed_means_nothing_amorphous():
    assert amorphous_share(0.1, 0.1) == pytest.approx(0)
    assert amorphous_share(0.1, 0.125) == pytest.approx(1 - 0.8 * 0.875 / 0.9)
    assert amorphous_u(0.1, 0.1, 0.0, 0.0, 1.0, 0.0) == 0.025


@pytest.mark.parametrize("glass", [0.0, 0.3])
def test_an_amorphous_share_comes_back_in_an_iron_free_mixture(glass):
    # one part in ten of the mixture is standard; glass counted of the rest
    given = 0.10
    rest = {"zincite": 0.45, "fluorite": 0.45}
    crystal = {k: v * (1 - glass) for k, v in rest.items()} | {"corundum": given}
    made = powder_pattern(crystal, seed=5)
    fit = fit_pattern(made.two_theta_deg, made.counts, phases=list(rest), standard=("corundum", given))
    assert fit.amorphous.value == pytest.approx(glass, abs=0.02)
    assert abs(fit.amorphous.value - glass) < 2 * fit.amorphous.u
    assert fit.phase("zincite").weight_fraction == pytest.approx(0.5, abs=0.01)
    assert fit.phase("zincite").weight_fraction_absolute == pytest.approx(0.5 * (1 - glass), abs=0.015)
    assert fit.phase("corundum").status == "standard"
    assert "CRYSTALLINE_ONLY" not in {r.code for r in fit.remarks}


def test_a_strong_absorber_among_weak_ones_is_remarked_without_iron_too():
    made = powder_pattern({"corundum": 0.5, "magnetite": 0.2, "zircon": 0.3}, particle_size_um=2.0, seed=5)
    fit = fit_pattern(made.two_theta_deg, made.counts, phases=["corundum", "magnetite", "zircon"])
    assert {"MICROABSORPTION", "BRINDLEY_OUT"} <= {r.code for r in fit.remarks}
    assert abs(fit.phase("magnetite").weight_fraction - 0.2) < 2 * fit.phase("magnetite").u


def test_no_amorphous_share_is_stated_for_iron_with_copper():
    made = powder_pattern({"iron": 0.5, "magnetite": 0.35, "fluorite": 0.15}, seed=5)
    fit = fit_pattern(
        made.two_theta_deg, made.counts, phases=["iron", "magnetite"], standard=("fluorite", 0.15)
    )
    assert fit.amorphous.value is None
    assert "Cu" in fit.amorphous.reason
    assert "AMORPHOUS_REFUSED" in {r.code for r in fit.remarks}


def test_ceria_is_no_standard_for_cobalt():
    made = powder_pattern({"iron": 0.5, "magnetite": 0.35, "ceria": 0.15}, anode="co", seed=5)
    fit = fit_pattern(
        made.two_theta_deg,
        made.counts,
        phases=["iron", "magnetite"],
        radiation="co",
        standard=("ceria", 0.15),
    )
    assert fit.amorphous.value is None
    assert "Ceria" in fit.amorphous.reason


def test_every_phase_has_its_absorption():
    for phase in phase_table().phases.values():
        assert all(linear_absorption_per_cm(phase, a) > 0 for a in ("cu", "co", "mo", "cr", "fe"))
