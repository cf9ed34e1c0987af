"""Powder intensities and fits against code and numbers from elsewhere; each names its source."""

import json
import time
from pathlib import Path

import numpy as np
import pytest

from teardown.science.crystallography.fit import fit_pattern
from teardown.science.crystallography.microabsorption import weakened
from teardown.science.crystallography.phases import choose, phase_table
from teardown.science.crystallography.radiation import lorentz_polarisation, radiation
from teardown.science.crystallography.scattering import u_of_dispersion
from teardown.science.crystallography.settings import Settings
from teardown.science.crystallography.structure_factors import (
    form_factor,
    lines,
    reference_intensity_ratio,
    reflections,
)

SAMPLES = Path(__file__).parents[1] / "samples" / "diffraction"
LINES = json.loads((SAMPLES / "lines.json").read_text())["lines"]
TABLE = phase_table()


def grouped(pairs, width=0.02):
    """Join lines that stand closer than a hundredth or two of a degree: libraries group them differently."""
    out = []
    for angle, value in sorted(pairs):
        if out and angle - out[-1][0] < width:
            out[-1][1] += value
        else:
            out.append([angle, value])
    top = max(v for _, v in out)
    return np.array([[a, 100 * v / top] for a, v in out])


def worst(key, anode, which):
    """Give the largest difference of a line of 2 % or more, in percent of the strongest."""
    calculated = lines(TABLE[key], radiation(anode), 91.5)
    mine = grouped([(line.two_theta_deg, line.relative) for line in calculated])
    theirs = grouped([(a, v) for a, v in LINES[anode][key][which] if a < 91.5])
    return max(np.abs(mine[np.argmin(np.abs(mine[:, 0] - a)), 1] - v) for a, v in theirs if v > 2 and a < 91)


@pytest.mark.parametrize("anode", ["cu", "co"])
@pytest.mark.parametrize("key", sorted(LINES["cu"]))
def test_intensities_agree_with_a_second_library_given_the_same_dispersion(key, anode):
    # xrayutilities 1.8.0, frozen: geometry, symmetry, form factors, displacement, Lorentz and polarisation
    assert worst(key, anode, "shared") < 0.02


@pytest.mark.parametrize(("anode", "most"), [("cu", 0.6), ("co", 1.5)])
@pytest.mark.parametrize("key", sorted(LINES["cu"]))
def test_intensities_agree_with_a_second_library_and_its_own_dispersion(key, anode, most):
    # xrayutilities 1.8.0, frozen; near the iron edge the two sources differ by 0.2 electrons for Co
    assert worst(key, anode, "own") < most


@pytest.mark.parametrize(
    ("key", "element", "anode"), [("iron", "Fe", "cu"), ("iron", "Fe", "co"), ("nickel", "Ni", "cu")]
)
def test_the_doubt_of_dispersion_is_what_a_second_library_differs_by(key, element, anode):
    # xrayutilities 1.8.0, frozen: which f' of ours would give the relative intensities of its own
    def away(shift):
        found = reflections(TABLE[key], radiation(anode), 91.0, margin=0.0, shifts=((element, shift),))
        angle = 2 * np.degrees(np.arcsin(radiation(anode).wavelength_A * np.sqrt(found.q) / 2))
        height = found.intensity() * lorentz_polarisation(angle, 1.0)
        theirs = [next(v for a, v in LINES[anode][key]["own"] if abs(a - t) < 0.05) for t in angle]
        return float(((100 * height / height.max() - np.array(theirs)) ** 2).sum())

    differ = min(np.arange(-0.4, 0.4, 0.005), key=away)
    assert abs(differ) == pytest.approx(u_of_dispersion(element, anode), rel=0.25)


def test_form_factors_agree_with_a_second_table():
    # periodictable (Cromer-Mann coefficients as in its xsf module), live
    cromermann = pytest.importorskip("periodictable.cromermann")
    s = np.array([0.05, 0.15, 0.3, 0.5])
    for element in ("O", "Al", "Si", "K", "Ca", "Fe", "Ni", "Zn"):
        theirs = cromermann.fxrayatq(element, 4 * np.pi * s)
        assert form_factor(element, s**2) == pytest.approx(theirs, abs=0.03 * theirs[0])


@pytest.mark.parametrize(
    ("key", "expected"),
    [
        # Lines for Cu K-alpha 1 as usual reference cards list them, from memory; relative intensities of real
        # specimens differ by texture, so only which three are strongest is held.
        ("iron", [44.67, 65.02, 82.33]),
        ("silicon", [28.44, 47.30, 56.12]),
        ("corundum", [35.15, 43.35, 57.50]),
        ("zincite", [31.77, 34.42, 36.25]),
        ("fluorite", [28.27, 47.00, 55.76]),
        ("hematite", [33.15, 35.61, 54.09]),
        ("magnetite", [35.42, 56.94, 62.52]),
        ("goethite", [21.22, 33.24, 36.65]),
    ],
)
def test_the_strongest_lines_stand_where_reference_cards_put_them(key, expected):
    listed = lines(TABLE[key], radiation("cu"), 90.0, merge_deg=0.05)
    strongest = sorted(listed, key=lambda line: -line.relative)[:3]
    assert sorted(line.two_theta_deg for line in strongest) == pytest.approx(expected, abs=0.09)


def test_lanthanum_hexaboride_lines_are_those_of_the_certificate():
    # NIST SRM 660c certificate: a = 4.156826 angstrom at 22.5 C; 110 at 30.385 and 111 at 37.442 degrees
    found = {
        line.hkl: line.two_theta_deg for line in lines(TABLE["lanthanum-hexaboride"], radiation("cu"), 60.0)
    }
    by_sum = {sum(h * h for h in hkl): angle for hkl, angle in found.items()}
    assert by_sum[2] == pytest.approx(30.385, abs=0.001)
    assert by_sum[3] == pytest.approx(37.442, abs=0.001)


@pytest.mark.parametrize(("key", "certified"), [("zincite", 5.17), ("rutile", 3.39)])
def test_reference_intensity_ratios_are_near_those_of_certificates(key, certified):
    # NIST SRM 674: I/Ic of zincite 5.17(13) and rutile 3.39(12) for Cu; they rest on heights of real peaks,
    # so that a tenth apart is as near as calculated intensities come, and the two kinds are never mixed
    found = reference_intensity_ratio(TABLE[key], TABLE["corundum"], radiation("cu"))
    assert found == pytest.approx(certified, rel=0.12)


GRID = {"cu": np.arange(12, 100.001, 0.02), "co": np.arange(15, 120.001, 0.02)}


def pure(anode, key):
    with np.load(SAMPLES / "patterns.npz") as data:
        return data[f"{anode}/{key}"] * float(data[f"{anode}/{key}/scale"])


def mixture(anode, weights, highest, background, seed):
    """Mix pure patterns of the second library by volume and count them."""
    y = sum(share / TABLE[key].density_g_cm3 * pure(anode, key) for key, share in weights.items())
    x = GRID[anode]
    y = y / y.max() * highest + background * (1 + 0.3 * np.exp(-(x - 15) / 20))
    return x, np.random.default_rng(seed).poisson(y).astype(float)


ELECTRODES = {
    "charged": {"iron": 85, "magnetite": 11, "iron-hydroxide": 4},
    "half": {"iron": 55, "magnetite": 25, "goethite": 5, "iron-hydroxide": 15},
    "discharged": {"iron": 15, "magnetite": 45, "iron-hydroxide": 40},
    "in air": {
        "iron": 25, "magnetite": 30, "goethite": 20,
        "hematite": 10, "iron-hydroxide": 10, "potassium-carbonate": 5,
    },
    "unrinsed": {"iron": 60, "magnetite": 28, "potassium-carbonate": 12},
    "heated": {"iron": 40, "magnetite": 30, "hematite": 25, "goethite": 5},
}  # fmt: skip
OFFERED = ["iron", "spinel", "hematite", "goethite", "iron-hydroxide", "potassium-carbonate"]


def errors(weights, seed, highest, background):
    """Fit a mixed pattern: errors in wt%, errors over e.s.d., false finds, phases missed above a limit."""
    x, y = mixture("cu", weights, highest, background, seed)
    fit = fit_pattern(x, y, phases=OFFERED)
    wrong, relative, false, missed = [], [], 0, 0
    for row in fit.phases:
        true = weights.get("magnetite" if row.phase == "spinel" else row.phase, 0) / sum(weights.values())
        if row.weight_fraction is None:
            wrong.append(100 * true)
            missed += true > row.limit
        else:
            wrong.append(100 * abs(row.weight_fraction - true))
            relative.append((row.weight_fraction - true) / row.esd if row.esd else 0.0)
            false += true == 0
    return wrong, relative, false, missed


@pytest.mark.parametrize("name", ["half", "in air"])
def test_electrodes_of_a_second_library_come_back(name):
    # patterns of xrayutilities 1.8.0 (its own profile physics and dispersion), 20,000 over 300 counts
    wrong, _, false, missed = errors(ELECTRODES[name], 0, 20_000, 300)
    assert np.mean(wrong) <= 0.25
    assert max(wrong) <= 0.8
    assert not false
    assert not missed


@pytest.mark.long
@pytest.mark.parametrize(
    ("highest", "background", "mae"), [(20_000, 300, 0.2), (5_000, 3_000, 1.0), (2_000, 3_000, 2.0)]
)
def test_electrodes_of_a_second_library_meet_the_goals(highest, background, mae):
    found = [
        errors(w, 10 * row + again, highest, background)
        for row, w in enumerate(ELECTRODES.values())
        for again in range(3)
    ]
    wrong = np.concatenate([f[0] for f in found])
    relative = np.concatenate([f[1] for f in found])
    assert wrong.mean() <= mae
    # some seventy values, tied in threes and fours by their sum: the figure itself scatters by about 0.15
    assert 0.7 <= np.sqrt((relative**2).mean()) <= 1.4
    assert sum(f[2] for f in found) <= 1
    assert sum(f[3] for f in found) == 0


# Weighed percent of corundum, zincite and fluorite in the eight mixtures of a published round robin:
# Madsen et al. 2001, J. Appl. Cryst. 34, 409 (the table of weighed values, from memory).
WEIGHED = {
    "1a": (1.15, 4.04, 94.81),
    "1b": (94.31, 1.36, 4.33),
    "1c": (5.04, 93.59, 1.36),
    "1d": (13.53, 32.89, 53.58),
    "1e": (55.12, 15.25, 29.62),
    "1f": (27.06, 55.22, 17.72),
    "1g": (31.37, 34.21, 34.42),
    "1h": (35.12, 30.19, 34.69),
}


def test_weighed_mixtures_of_a_round_robin_come_back_with_default_settings():
    # compositions of the round robin, patterns of the second library: no texture, no microabsorption
    names = ("corundum", "zincite", "fluorite")
    wrong = []
    for row, shares in enumerate(WEIGHED.values()):
        x, y = mixture("cu", dict(zip(names, shares, strict=True)), 12_000, 150, 40 + row)
        fit = fit_pattern(x, y, phases=names)
        wrong += [abs(100 * fit.phase(n).weight_fraction - s) for n, s in zip(names, shares, strict=True)]
    assert len(wrong) == 24
    assert np.mean(wrong) <= 0.25  # the round robin's goal for real mixtures, texture and grains in, is 0.45
    assert max(wrong) <= 0.8  # ... and 1.3


@pytest.mark.parametrize(
    "weighed",
    [
        # Scarlett et al. 2002, J. Appl. Cryst. 35, 383: weighed shares of samples 2 (with platy brucite) and
        # 4 (with magnetite among light grains), as quoted; texture and grains are left out here
        {"corundum": 21.27, "zincite": 19.94, "fluorite": 22.53, "brucite": 36.26},
        {"corundum": 50.46, "magnetite": 19.64, "zircon": 29.90},
    ],
)
def test_harder_mixtures_of_a_round_robin_come_back_too(weighed):
    x, y = mixture("cu", weighed, 12_000, 150, 50)
    fit = fit_pattern(x, y, phases=list(weighed))
    found = {k: 100 * fit.phase(k).weight_fraction for k in weighed}
    assert found == pytest.approx(weighed, abs=0.6)


def test_a_three_phase_mixture_of_a_second_library_comes_back():
    x, y = mixture("cu", {"corundum": 40, "zincite": 25, "fluorite": 35}, 15_000, 200, 3)
    fit = fit_pattern(x, y, phases=["corundum", "zincite", "fluorite"])
    found = [100 * fit.phase(k).weight_fraction for k in ("corundum", "zincite", "fluorite")]
    assert found == pytest.approx([40, 25, 35], abs=0.5)


@pytest.mark.parametrize("standard", ["corundum", "zincite", "fluorite"])
def test_glass_is_weighed_within_one_percent_by_each_of_three_standards(standard):
    # arranged like a published round robin (30 % glass, three crystalline phases, each the standard in turn)
    # on patterns of the second library, with a hump of our own making and no hint of it
    rest = [k for k in ("corundum", "zincite", "fluorite") if k != standard]
    given, glass = 0.3, 0.3
    mass = dict.fromkeys(rest, 0.5 * (1 - glass) * (1 - given)) | {standard: given}
    y = sum(share / TABLE[k].density_g_cm3 * pure("cu", k) for k, share in mass.items())
    x = GRID["cu"]
    y = 15_000 * y / y.max() + 540 * np.exp(-4 * np.log(2) * ((x - 22.5) / 8) ** 2) + 200
    counts = np.random.default_rng(4).poisson(y).astype(float)
    fit = fit_pattern(x, counts, phases=rest, standard=(standard, given))
    assert fit.amorphous.value == pytest.approx(glass, abs=0.01)
    assert fit.phase(rest[0]).weight_fraction == pytest.approx(0.5, abs=0.01)


@pytest.mark.parametrize("anode", ["cu", "co"])
@pytest.mark.parametrize("size", [1.0, 5.0])
@pytest.mark.parametrize("metal", [0.2, 0.5, 0.8])
def test_metal_beside_oxide_is_flagged_and_corrected_within_one_percent(anode, size, metal):
    # patterns of the second library, weakened as Brindley 1945 describes; sizes known within a factor of two
    pair = choose(["iron", "magnetite"])
    shown = weakened(pair, np.array([metal, 1 - metal]), anode, size)
    x, y = mixture(anode, {"iron": shown[0], "magnetite": shown[1]}, 20_000, 300, 1)
    known = Settings(particle_size_um=(size / 2**0.5, size * 2**0.5))
    fit = fit_pattern(x, y, phases=["iron", "spinel"], radiation=anode, settings=known)
    row = fit.phase("iron")
    assert row.brindley.weight_fraction == pytest.approx(metal, abs=0.01)
    assert abs(row.brindley.weight_fraction - metal) < row.brindley.u
    assert abs(row.weight_fraction - metal) < row.u
    assert "MICROABSORPTION" in {r.code for r in fit.remarks}


def test_a_fit_of_four_phases_takes_a_second_at_most():
    x, y = mixture("cu", ELECTRODES["half"], 20_000, 300, 0)
    phases = ["iron", "spinel", "goethite", "iron-hydroxide"]
    fit_pattern(x, y, phases=phases)
    began = time.process_time()
    fit_pattern(x, y, phases=phases)
    assert time.process_time() - began < 2.5  # measured 0.4 s alone on the machine it was written on


@pytest.mark.parametrize("left_out", ["goethite", "hematite", "iron-hydroxide"])
def test_a_phase_of_three_percent_that_was_left_out_is_named_first(left_out):
    x, y = mixture("cu", {"iron": 58.5, "magnetite": 38.5, left_out: 3.0}, 20_000, 300, 3)
    fit = fit_pattern(x, y, phases=["iron", "spinel"])
    first = [peak.candidates[0] for peak in fit.unexplained if peak.candidates]
    assert max(set(first), key=first.count) == left_out


def test_a_pattern_of_another_tube_is_noticed():
    x, y = mixture("co", {"iron": 60, "magnetite": 40}, 20_000, 300, 3)
    fit = fit_pattern(x, y, phases=["iron", "magnetite"], radiation="cu")
    (remark,) = [r for r in fit.remarks if r.code == "ANODE_MISMATCH"]
    assert "better as Co Kα" in remark.message
