"""What sources of dispersion leave in doubt: one phase has none, phases of one element share it."""

import numpy as np
import pytest

from teardown.science.crystallography.fractions import hill_howard
from teardown.science.crystallography.phases import choose
from teardown.science.crystallography.radiation import radiation
from teardown.science.crystallography.scattering import scattering_covariance
from teardown.science.crystallography.structure_factors import reflections

RANGE = (20.0, 100.0)


def relative_doubt(names: list[str], anode: str) -> np.ndarray:
    """Give the doubt of each share over the share, phases in equal amounts, nothing else in doubt."""
    phases = choose(names)
    scales = np.array([1 / (p.cell_mass * p.volume_A3) for p in phases])
    shares = hill_howard(phases, scales, scattering_covariance(phases, scales, radiation(anode), RANGE))
    assert np.allclose(shares.covariance.sum(axis=0), 0.0, atol=1e-12)
    return shares.esd / shares.weight


def test_iron_against_an_iron_free_phase_is_in_doubt_by_what_sources_differ_by() -> None:
    # 0.2 electrons at Co K-alpha move the lines of iron by 2 to 3 %, half of which reaches a share of a half
    doubt = relative_doubt(["iron", "fluorite"], "co")
    assert doubt == pytest.approx([0.0125, 0.0125], rel=0.25)
    assert relative_doubt(["iron", "fluorite"], "cu").max() < 0.3 * doubt.max()


def test_two_phases_of_iron_share_its_doubt() -> None:
    among, against = relative_doubt(["iron", "magnetite"], "co"), relative_doubt(["iron", "fluorite"], "co")
    assert among.max() < 0.3 * against.max()


def test_a_phase_alone_is_in_no_doubt() -> None:
    assert relative_doubt(["magnetite"], "cu") == pytest.approx([0.0], abs=1e-12)


def test_more_electrons_in_an_element_move_its_own_lines_alone() -> None:
    iron, fluorite = choose(["iron", "fluorite"])
    beam = radiation("cu")
    assert np.all(
        reflections(iron, beam, 100.0, shifts=(("Fe", 0.1),)).intensity()
        > reflections(iron, beam, 100.0).intensity()
    )
    assert np.array_equal(
        reflections(fluorite, beam, 100.0, shifts=(("Fe", 0.1),)).F2, reflections(fluorite, beam, 100.0).F2
    )
