"""What is wrong with a picture as such is told, and what is not is not."""

import numpy as np

from teardown.science.stereology.exposures import Exposure, expose
from teardown.science.stereology.field import measure_field
from teardown.science.stereology.phantoms import Microstructure, draw_section
from teardown.science.stereology.settings import Settings

PLAIN = Settings(sensitivity=False)


def grey_of(**exposure: float) -> np.ndarray:
    """Draw and expose a small section."""
    made_of = Microstructure(metal=0.4, grain_radius_px=14, covered=0.5, rim_px=7)
    section = draw_section(made_of, height=256, width=256, seed=5, oversampling=3)
    return (expose(section, Exposure(**exposure), seed=5) / np.float32(255)).astype(np.float32)


def saturated(grey: np.ndarray) -> dict[str, str]:
    """Give the level of what is said of the ends of the scale, by flag."""
    flags = measure_field(grey, settings=PLAIN).flags
    return {flag.code: flag.level for flag in flags if flag.code.startswith("saturated")}


def test_tips_of_noise_beyond_an_end_are_told_and_are_no_fault():
    grey = grey_of(noise=0.05)
    cut = np.clip((grey - np.quantile(grey, 0.02)) / 0.95, 0, 1).astype(np.float32)
    before, after = measure_field(grey, settings=PLAIN), measure_field(cut, settings=PLAIN)
    assert saturated(cut) == {"saturated_black": "info"}
    for key, points in (("porosity", 0.001), ("oxide_fraction", 0.001), ("oxide_coverage", 0.01)):
        assert abs(after.estimates[key].value - before.estimates[key].value) < points


def test_half_of_the_pores_black_is_a_fault():
    grey = grey_of(noise=0.05)
    assert saturated(np.clip(grey - np.quantile(grey, 0.2), 0, 1)) == {"saturated_black": "warning"}


def test_a_black_corner_or_a_white_label_is_a_fault_however_small():
    grey = grey_of(noise=0.02)
    corner, label = grey.copy(), grey.copy()
    corner[:30, :30] = 0
    label[-30:, -40:] = 1
    assert saturated(corner) == {"saturated_black": "warning"}
    assert saturated(label).get("saturated_white") == "warning"
