"""Intensities: what geometry alone decides, and what symmetry may not change."""

import numpy as np
import pytest

from teardown.science.crystallography.phases import Atom, choose, phase_table
from teardown.science.crystallography.radiation import (
    UnknownRadiation,
    dispersion,
    lorentz_polarisation,
    nearest_anode,
    radiation,
)
from teardown.science.crystallography.structure_factors import (
    NoLines,
    form_factor,
    lines,
    reference_intensity_ratio,
    reflections,
)
from teardown.science.crystallography.symmetry import UnknownSpaceGroup, operations, volume_A3

TABLE, CU = phase_table(), radiation("cu")


@pytest.mark.parametrize("element", ["H", "O", "Fe", "Ca", "Bi"])
def test_a_form_factor_begins_at_the_number_of_electrons(element):
    electrons = {"H": 1, "O": 8, "Fe": 26, "Ca": 20, "Bi": 83}[element]
    assert form_factor(element, np.array([0.0]))[0] == pytest.approx(electrons, abs=0.1)


def test_body_centring_takes_odd_sums_away():
    found = reflections(TABLE["iron"], CU, 110)
    assert [tuple(sorted(map(abs, h))) for h in found.hkl] == [(0, 1, 1), (0, 0, 2), (1, 1, 2), (0, 2, 2)]
    assert list(found.multiplicity) == [12, 6, 24, 12]


def test_silicon_lacks_222_but_for_nothing():
    present = {tuple(sorted(map(abs, h))) for h in reflections(TABLE["silicon"], CU, 100).hkl}
    assert (1, 1, 1) in present
    assert (0, 0, 2) not in present
    assert (2, 2, 2) not in present


def test_multiplicities_of_a_sphere_add_up():
    iron = reflections(TABLE["corundum"], CU, 100)
    assert iron.multiplicity.sum() == sum(len(e) for e in iron.equivalents)
    metric_q = [len({tuple(h) for h in e}) for e in iron.equivalents]
    assert metric_q == list(iron.multiplicity)


def test_moving_the_origin_changes_no_intensity():
    from dataclasses import replace

    quartz = TABLE["quartz"]
    moved = replace(quartz, space_group="P 1", atoms=_expanded(quartz, 0.13))
    plain = replace(quartz, space_group="P 1", atoms=_expanded(quartz, 0.0))
    a, b = reflections(moved, CU, 80), reflections(plain, CU, 80)
    assert a.intensity() == pytest.approx(b.intensity(), rel=1e-9)


def _expanded(phase, shift):
    """Write out all atoms of the cell, moved along a."""
    rotations, translations = operations(phase.space_group)
    out = {}
    for atom in phase.atoms:
        for point in (rotations @ np.array([atom.x, atom.y, atom.z]) + translations) % 1:
            out[(atom.element, *np.round(point % 1, 4))] = Atom(
                atom.label, atom.element, point[0] + shift, point[1], point[2], atom.occupancy, atom.B_A2
            )
    return tuple(out.values())


def test_writing_out_all_atoms_changes_no_intensity():
    from dataclasses import replace

    goethite = TABLE["goethite"]
    written = lines(
        replace(goethite, space_group="P 1", atoms=_expanded(goethite, 0.0)), CU, 60, merge_deg=1e-4
    )
    grouped = lines(goethite, CU, 60, merge_deg=1e-4)
    assert [line.relative for line in written] == pytest.approx([line.relative for line in grouped], abs=1e-3)


def test_the_tied_site_reproduces_the_full_structure():
    spinel, magnetite = TABLE["spinel"], TABLE["magnetite"]
    tied = reflections(spinel.with_cell(magnetite.cell), CU, 100)
    plain = {
        tuple(h): i
        for h, i in zip(*(lambda r: (r.hkl, r.intensity()))(reflections(magnetite, CU, 100)), strict=True)
    }
    mine = dict(zip(map(tuple, tied.hkl), tied.intensity(1.0), strict=True))
    for hkl, value in plain.items():
        assert mine[hkl] == pytest.approx(value, rel=1e-9)


def test_lorentz_and_polarisation_at_right_angles():
    # at 2 theta = 90 the polarisation term is 1/2 without a monochromator; sin2(45) cos(45) = 0.35355
    assert lorentz_polarisation(np.array([90.0]), 1.0)[0] == pytest.approx(0.5 / 0.3535534, rel=1e-6)
    assert lorentz_polarisation(np.array([90.0]), 0.0)[0] == pytest.approx(1 / 0.3535534, rel=1e-6)


def test_the_doublet_has_two_to_one():
    (first, one), (second, two) = CU.lines
    assert one / two == pytest.approx(2)
    assert first < second


@pytest.mark.parametrize("name", ["Cu", "CUKα", " cu ", "cu Ka"])
def test_a_tube_is_found_in_any_writing(name):
    assert radiation(name).anode == "cu"


@pytest.mark.parametrize("name", ["", "uranium", "ni"])
def test_an_unknown_tube_is_refused(name):
    with pytest.raises(UnknownRadiation, match="cu, co, mo, cr or fe"):
        radiation(name)


@pytest.mark.parametrize(
    ("length", "anode"), [(1.5406, "cu"), (1.5418, "cu"), (1.789, "co"), (0.7107, "mo"), (1.2, None)]
)
def test_a_wavelength_names_its_tube(length, anode):
    assert nearest_anode(length) == anode


def test_the_volume_of_a_rectangular_and_a_hexagonal_cell():
    assert volume_A3((2.0, 3.0, 4.0, 90.0, 90.0, 90.0)) == pytest.approx(24)
    assert volume_A3((2.0, 2.0, 5.0, 90.0, 90.0, 120.0)) == pytest.approx(20 * np.sqrt(3) / 2)


def test_an_unknown_space_group_is_refused():
    with pytest.raises(UnknownSpaceGroup, match="F q 3"):
        operations("F q 3")


def test_dispersion_of_iron_falls_near_its_edge():
    # Fe K edge 7.112 keV, Bearden & Burr 1967, Rev. Mod. Phys. 39, 125:
    # cobalt radiation (6.93 keV) lies just below, copper above (f'' jumps)
    assert dispersion("Fe", radiation("co").energy_eV).real < -3
    assert dispersion("Fe", CU.energy_eV).imag > 3
    assert dispersion("Fe", radiation("co").energy_eV).imag < 0.6


def test_the_reference_intensity_ratio_changes_with_the_tube():
    iron, corundum = TABLE["iron"], TABLE["corundum"]
    ratios = [reference_intensity_ratio(iron, corundum, radiation(a)) for a in ("cu", "co", "mo")]
    assert ratios[2] > ratios[0] > ratios[1]
    # its strongest line by area, 116, over 113, on which ratios are based
    assert reference_intensity_ratio(corundum, corundum, CU) == pytest.approx(1.03, abs=0.05)


def test_a_phase_without_a_line_in_the_range_is_named():
    with pytest.raises(NoLines, match=r"Alpha-iron \(ferrite\) has no line below 20°"):
        reflections(choose(["iron"])[0], radiation("cu"), 20.0)
    assert lines(choose(["iron"])[0], radiation("cu"), 20.0) == ()
