"""A field of a section is measured as it is, and says how sure that is."""

import cv2
import numpy as np
import pytest

from teardown.science.errors import MeasurementError
from teardown.science.stereology.classes import METAL, OXIDE, PORE
from teardown.science.stereology.exposures import Exposure, expose
from teardown.science.stereology.field import FieldTooSmall, measure_field
from teardown.science.stereology.levels import OneGrey
from teardown.science.stereology.phantoms import Microstructure, draw_section

SECTION = Microstructure(metal=0.4, grain_radius_px=16, covered=0.5, rim_px=6)


def picture(made_of=SECTION, exposure=None, *, seed=3, size=512):
    """Draw and expose a phantom: greys 0 to 1, and the truth."""
    exposure = exposure or Exposure()
    section = draw_section(made_of, height=size, width=size, seed=seed)
    image = expose(section, exposure, seed=seed)
    return (image / np.float32(np.iinfo(image.dtype).max)).astype(np.float32), section.truth()


@pytest.fixture(scope="module")
def base():
    """One ordinary field, measured."""
    grey, truth = picture()
    return grey, truth, measure_field(grey, pixel_size_um=0.1)


def test_a_field_reads_close_to_its_truth(base):
    """Porosity, oxide and coverage of a phantom come out."""
    _, truth, result = base
    assert result.estimates["porosity"].value == pytest.approx(truth.porosity, abs=0.003)
    assert result.estimates["oxide_fraction"].value == pytest.approx(truth.oxide_fraction, abs=0.005)
    assert result.estimates["oxide_coverage"].value == pytest.approx(truth.coverage, abs=0.025)


@pytest.mark.parametrize("place", [0.38, 0.57, 0.84])
def test_the_oxide_level_is_found_far_from_any_prior(place):
    """Hydrous and dense oxides alike: the level search lands on the true grey."""
    grey, truth = picture(exposure=Exposure(oxide_place=place, noise=0.05))
    result = measure_field(grey)
    assert result.levels.source == "automatic"
    assert result.levels.oxide_places[-1] == pytest.approx(place, abs=0.03)
    assert result.estimates["oxide_coverage"].value == pytest.approx(truth.coverage, abs=0.04)


def test_bare_metal_shows_no_oxide_and_says_so():
    """Blurred edges alone paint no rim."""
    grey, _ = picture(Microstructure(covered=0, grain_radius_px=16))
    result = measure_field(grey)
    assert result.estimates["oxide_coverage"].value < 0.02
    assert "no_oxide_detected" in {flag.code for flag in result.flags}
    said = {flag.code: flag.message for flag in result.flags}
    assert "the solid that was seen was taken for metal" in said["levels_from_prior"]


def test_turning_and_mirroring_change_nothing(base):
    """The numbers belong to the section, not to how it lay under the beam."""
    grey, _, result = base
    for other in (np.rot90(grey), grey[:, ::-1]):
        turned = measure_field(np.ascontiguousarray(other))
        assert turned.estimates["porosity"].value == pytest.approx(
            result.estimates["porosity"].value, abs=5e-4
        )
        assert turned.estimates["oxide_coverage"].value == pytest.approx(
            result.estimates["oxide_coverage"].value, abs=5e-3
        )


def test_lengths_follow_the_pixel_size_and_fractions_do_not(base):
    """Scale given later changes no pixels."""
    grey, _, result = base
    bare = measure_field(grey)
    assert bare.estimates["oxide_thickness"].unit == "px"
    assert result.estimates["oxide_thickness"].unit == "um"
    assert result.estimates["oxide_thickness"].value == pytest.approx(
        0.1 * bare.estimates["oxide_thickness"].value
    )
    assert result.estimates["porosity"] == bare.estimates["porosity"]
    assert "unscaled" in {flag.code for flag in bare.flags}


def test_left_out_pixels_do_not_count(base):
    """A mask over half of the field leaves the other half's truth."""
    grey, _, _ = base
    valid = np.zeros(grey.shape, bool)
    valid[:, :300] = True
    masked = measure_field(grey, valid=valid)
    assert masked.sums.area_px == valid.sum()
    assert (masked.labels[:, 300:] == 3).all()
    alone = measure_field(np.ascontiguousarray(grey[:, :300]))
    assert masked.estimates["porosity"].value == pytest.approx(alone.estimates["porosity"].value, abs=0.004)


@pytest.mark.parametrize(
    ("grey", "error"),
    [
        (np.full((256, 256), 0.5, np.float32), OneGrey),
        (np.ones((256, 256), np.float32), OneGrey),
        (np.zeros((20, 20), np.float32), FieldTooSmall),
    ],
)
def test_a_picture_of_nothing_is_refused_in_words(grey, error):
    """One grey, burnt out, too small: each has its sentence and its code."""
    with pytest.raises(MeasurementError) as refusal:
        measure_field(grey)
    assert isinstance(refusal.value, error)
    assert refusal.value.code.startswith("stereology.E")


def test_a_cleft_that_hangs_on_a_rim_is_no_oxide():
    """Gaps of 3.5 px in metal pass through the oxide's grey when blurred, and open into a film of oxide: the
    film is told, the gaps are not."""
    fine, rows = np.zeros((1280, 1280), np.uint8), slice(280, 1000)
    fine[rows], fine[248:280] = METAL, OXIDE
    for across in range(120, 1280, 160):
        fine[rows, across - 7 : across + 7] = PORE
    grey = np.array([0.15, 0.46, 0.75], np.float32)[fine]
    grey = cv2.resize(grey, (320, 320), interpolation=cv2.INTER_AREA)
    grey = cv2.GaussianBlur(grey, (0, 0), 1.3)
    grey += np.random.default_rng(0).normal(0, 0.02, grey.shape).astype(np.float32)
    labels = measure_field(grey).labels
    assert np.mean(labels[63:69, 20:300] == OXIDE) > 0.9
    assert np.mean(labels[90:240] == OXIDE) < 0.002


def test_an_outline_of_many_clefts_is_flagged_for_itself_alone_and_held_by_its_interval():
    """Needles crossing, blurred by 1.7 px: a seventh of their outline is closed."""
    made_of = Microstructure(shape="needle", metal=0.5, grain_radius_px=13, covered=0.5, rim_px=9)
    section = draw_section(made_of, height=320, width=320, seed=1, oversampling=3)
    truth = section.truth()
    seen = expose(section, Exposure(blur_px=1.7, noise=0.03, oxide_place=0.55), seed=1)
    found = measure_field((seen / np.float32(255)).astype(np.float32))
    assert [flag.code for flag in found.flags if flag.level != "info"] == ["outline_uncertain"]
    surface = found.estimates["specific_surface"]
    assert surface.low < 4 / np.pi * truth.outline_per_px < surface.high
    assert found.estimates["oxide_coverage"].value == pytest.approx(truth.coverage, abs=0.04)
