"""A titration finds what was weighed in, and says when its readings cannot be right."""

from dataclasses import replace

import numpy as np
import pytest

from teardown.science.electrolyte.titration import ReadingsOutOfOrder, Titration, warder
from teardown.science.electrolyte.titration_checks import NotAVolume, against_build

WORKED = Titration(2.000, 100.0, 10.00, 0.1000, 11.95, 13.10)


def read(hydroxide: float, carbonate: float, bicarbonate: float = 0.0) -> Titration:
    """Make the readings that an exact burette would give for a known mixture (mol/L)."""
    f = 100.0 / (2.0 * 10.0)
    return Titration(
        2.0,
        100.0,
        10.0,
        0.1,
        (hydroxide + carbonate) / (0.1 * f),
        (hydroxide + 2 * carbonate + bicarbonate) / (0.1 * f),
    )


@pytest.mark.parametrize(("hydroxide", "carbonate"), [(6.0, 0.0), (5.4, 0.575), (1.0, 3.0), (0.2, 2.9)])
def test_a_known_mixture_is_found_again(hydroxide, carbonate):
    found = warder(read(hydroxide, carbonate))
    assert found.hydroxide.value == pytest.approx(hydroxide, abs=1e-9)
    assert found.carbonate.value == pytest.approx(carbonate, abs=1e-9)
    assert found.total.value == pytest.approx(hydroxide + 2 * carbonate)


def test_the_worked_example_comes_out_to_its_printed_digits():
    found = warder(WORKED)
    assert round(found.carbonate.value, 3) == 0.575
    assert round(found.carbonate_g_per_L, 1) == 79.5
    assert round(found.hydroxide.value, 2) == 5.40
    assert round(found.total.value, 2) == 6.55
    assert round(found.carbonated_share.value, 3) == 0.176
    assert found.carbonate_limit_mol_per_L == pytest.approx(0.064, abs=5e-4)
    assert found.remarks == ()


def test_a_larger_aliquot_and_a_curve_lower_what_can_be_told():
    limit = warder(WORKED).carbonate_limit_mol_per_L
    large = replace(WORKED, aliquot_mL=25.0, first_end_mL=29.875, second_end_mL=32.75)
    assert limit / warder(large).carbonate_limit_mol_per_L == pytest.approx(2.5)
    assert limit / warder(replace(WORKED, end_u_mL=0.01)).carbonate_limit_mol_per_L == pytest.approx(3.0)


def test_propagation_agrees_with_drawing_every_reading():
    rng = np.random.default_rng(5)
    n = 200_000
    f = rng.normal(100, 0.06, n) / (rng.normal(2, 0.006, n) * rng.normal(10, 0.01, n))
    c = rng.normal(0.1, 0.0002, n)
    v1, v2 = rng.normal(11.95, 0.03, n), rng.normal(13.10, 0.03, n)
    found = warder(WORKED)
    assert found.hydroxide.half_width / 1.96 == pytest.approx(np.std(c * (2 * v1 - v2) * f), rel=0.01)
    assert found.carbonate.half_width / 1.96 == pytest.approx(np.std(c * (v2 - v1) * f), rel=0.01)
    assert found.total.half_width / 1.96 == pytest.approx(np.std(c * v2 * f), rel=0.01)
    share = 2 * (v2 - v1) / v2
    assert found.carbonated_share.half_width / 1.96 == pytest.approx(np.std(share), rel=0.01)


def test_replicates_narrow_the_end_points_but_not_the_glass():
    one, four = warder(WORKED), warder([WORKED] * 4)
    assert four.carbonate.n == 4
    assert four.carbonate.half_width < 0.55 * one.carbonate.half_width
    assert four.hydroxide.half_width > 0.55 * one.hydroxide.half_width


def test_a_blank_is_taken_off_both_readings():
    shifted = replace(
        WORKED, first_end_mL=12.00, second_end_mL=13.20, blank_first_mL=0.05, blank_second_mL=0.10
    )
    assert warder(shifted).hydroxide.value == pytest.approx(warder(WORKED).hydroxide.value)


def test_swapped_readings_are_caught_in_words():
    with pytest.raises(ReadingsOutOfOrder, match=r"11\.95 mL.*before.*13\.10 mL.*swapped"):
        warder(replace(WORKED, first_end_mL=13.10, second_end_mL=11.95))


def test_a_second_reading_taken_from_the_first_on_is_caught_too():
    with pytest.raises(ReadingsOutOfOrder, match="from the first on"):
        warder(replace(WORKED, second_end_mL=1.15))


def test_bicarbonate_is_found_and_remarked_upon():
    found = warder(read(0.0, 2.0, 0.5))
    assert found.hydroxide.value == 0
    assert found.carbonate.value == pytest.approx(2.0)
    assert found.bicarbonate.value == pytest.approx(0.5)
    assert found.carbonated_share.value == pytest.approx(1.0)
    assert [remark.code for remark in found.remarks] == ["electrolyte.W001"]
    assert found.remarks[0].level == "error"


def test_too_little_carbonate_to_tell_is_said():
    assert "electrolyte.W002" in {remark.code for remark in warder(read(6.0, 0.02)).remarks}


@pytest.mark.parametrize(("shift", "flagged"), [(0.02, False), (0.5, True)])
def test_replicates_that_disagree_are_said(shift, flagged):
    other = replace(WORKED, second_end_mL=13.10 + shift)
    codes = {remark.code for remark in warder([WORKED, other]).remarks}
    assert ("electrolyte.W003" in codes) is flagged


def test_sulfide_in_the_recipe_puts_the_method_out_of_use():
    remark = warder(WORKED, constituents=["KOH", "sodium sulfide"]).remarks[0]
    assert remark.level == "error"
    assert "hydrogen sulfide" in remark.message
    assert "laboratory has approved" in remark.remedy


def test_the_total_is_compared_with_the_fill_after_the_loss_of_water():
    total = warder(WORKED).total
    assert against_build(total, 6.5) == ()
    assert against_build(total, 5.0, volume_left_share=0.77) == ()
    (remark,) = against_build(total, 5.0)
    assert "more than the 5.00 mol/L" in remark.message
    (remark,) = against_build(total, 8.0)
    assert "less than" in remark.message


@pytest.mark.parametrize("name", ["sample_mL", "made_up_mL", "aliquot_mL", "acid_mol_per_L", "second_end_mL"])
def test_a_volume_that_is_not_there_is_refused(name):
    with pytest.raises(NotAVolume):
        warder(replace(WORKED, **{name: 0.0}))


def test_no_titration_gives_no_answer():
    with pytest.raises(NotAVolume):
        warder([])
