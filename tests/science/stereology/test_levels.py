"""The greys of pore, oxide and metal are found for what they are."""

import cv2
import numpy as np
import pytest

from teardown.science.stereology.exposures import Exposure, expose
from teardown.science.stereology.field import measure_field
from teardown.science.stereology.field_result import FieldResult
from teardown.science.stereology.phantoms import Microstructure, draw_section
from teardown.science.stereology.settings import Settings

PLAIN = Settings(sensitivity=False)


def grey_of(**exposure: float) -> np.ndarray:
    """Draw and expose a small section."""
    made_of = Microstructure(metal=0.4, grain_radius_px=14, covered=0.5, rim_px=7)
    section = draw_section(made_of, height=256, width=256, seed=5, oversampling=3)
    return (expose(section, Exposure(**exposure), seed=5) / np.float32(255)).astype(np.float32)


def levels_of(result: FieldResult) -> list[float]:
    """Give pore, oxide and metal."""
    return [result.levels.pore, *result.levels.oxides, result.levels.metal]


@pytest.mark.parametrize("dark", [0.0, 0.02])
def test_a_black_frame_or_an_empty_void_is_not_taken_for_the_pores_grey(dark: float) -> None:
    grey = grey_of(noise=0.03)
    framed = grey.copy()
    framed[:28, :40] = dark
    before, after = measure_field(grey, settings=PLAIN), measure_field(framed, settings=PLAIN)
    assert levels_of(after) == pytest.approx(levels_of(before), abs=0.01)
    coverage = before.estimates["oxide_coverage"].value
    assert after.estimates["oxide_coverage"].value == pytest.approx(coverage, abs=0.02)


def plates(width_px: float) -> np.ndarray:
    """Draw metal discs, with plates of oxide at 0.55 of the way to metal that stand free in the pore."""
    rng = np.random.default_rng(11)
    fine = np.full((1024, 1024), 0.15, np.float32)
    for x, y, turn in rng.uniform((0, 0, 0), (1024, 1024, 180), (60, 3)):
        box = cv2.boxPoints(((float(x), float(y)), (200.0, 4 * width_px), float(turn)))
        cv2.fillConvexPoly(fine, np.rint(box * 16).astype(np.int32), 0.15 + 0.55 * 0.6, shift=4)
    for x, y in rng.uniform(0, 1024, (22, 2)):
        cv2.circle(fine, (int(x), int(y)), 70, 0.75, -1)
    grey = cv2.GaussianBlur(cv2.resize(fine, (256, 256), interpolation=cv2.INTER_AREA), (0, 0), 1.2)
    return (grey + rng.normal(0, 0.02, grey.shape)).astype(np.float32)


def test_thin_plates_whose_grey_reads_too_low_are_told_and_thick_ones_are_not() -> None:
    told = {}
    for width in (4.0, 12.0):
        result = measure_field(plates(width), settings=PLAIN)
        told[width] = {flag.code: flag.value for flag in result.flags}, result.levels.oxide_places[-1]
    flags, place = told[4.0]
    assert place + flags["oxide_in_plates"] == pytest.approx(0.55, abs=0.04)
    assert place < 0.53
    flags, place = told[12.0]
    assert "oxide_in_plates" not in flags
    assert place == pytest.approx(0.55, abs=0.015)


def cores(inside: bool) -> np.ndarray:
    """Draw grains of one grey, with a few bright bits: within the grains, or anywhere."""
    rng = np.random.default_rng(4)
    fine = np.full((1200, 1200), 0.15, np.float32)
    middles = rng.uniform(0, 1200, (60, 2)).astype(int)
    for x, y in middles:
        cv2.circle(fine, (int(x), int(y)), 75, 0.5, -1)
    for x, y in middles[:30] if inside else rng.uniform(0, 1200, (30, 2)).astype(int):
        cv2.circle(fine, (int(x), int(y)), 28, 0.75, -1)
    grey = cv2.GaussianBlur(cv2.resize(fine, (300, 300), interpolation=cv2.INTER_AREA), (0, 0), 1.0)
    return (grey + rng.normal(0, 0.02, grey.shape)).astype(np.float32)


def test_the_last_of_the_metal_within_its_oxide_is_not_passed_over() -> None:
    """Three greys do not say which is metal; where the brightest lies within the next, coverage is open."""
    told = measure_field(cores(inside=True), settings=PLAIN)
    assert told.levels.bright is not None
    assert "bright_within_metal" in {flag.code for flag in told.flags}
    assert told.estimates["oxide_coverage"].high == 1
    other = measure_field(cores(inside=False), settings=PLAIN)
    assert other.levels.bright is not None
    assert "bright_within_metal" not in {flag.code for flag in other.flags}


def test_many_particles_brighter_than_metal_are_not_silently_taken_for_it() -> None:
    rng = np.random.default_rng(6)
    fine = np.full((1200, 1200), 0.15, np.float32)
    for x, y in rng.uniform(0, 1200, (60, 2)):
        cv2.circle(fine, (int(x), int(y)), 75, 0.5, -1)
    for x, y in rng.uniform(0, 1200, (12, 2)):
        cv2.circle(fine, (int(x), int(y)), 56, 0.85, -1)
    grey = cv2.GaussianBlur(cv2.resize(fine, (300, 300), interpolation=cv2.INTER_AREA), (0, 0), 1.0)
    result = measure_field((grey + rng.normal(0, 0.02, grey.shape)).astype(np.float32), settings=PLAIN)
    told = {flag.code for flag in result.flags if flag.level != "info"}
    assert result.levels.bright is None
    assert "metal_scarce" in told
    assert "metal_scarce" not in {flag.code for flag in measure_field(grey_of(), settings=PLAIN).flags}
