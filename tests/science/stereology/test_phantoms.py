"""Phantom sections are what they claim to be."""

import numpy as np
import pytest

from teardown.science.stereology.exposures import Exposure, expose
from teardown.science.stereology.phantoms import Microstructure, draw_section, expected


@pytest.mark.parametrize("shape", ["disc", "polygon", "needle"])
def test_truths_average_to_the_closed_form(shape):
    """Twenty sections agree with the Boolean model's expectations within their own scatter."""
    made_of = Microstructure(
        shape=shape, metal=0.35, grain_radius_px=12, rim_px=4, second_oxide=0.3, bright=0.01
    )
    told = expected(made_of)
    truths = [draw_section(made_of, height=256, width=256, seed=seed).truth() for seed in range(20)]
    for name in ("porosity", "oxide_fraction", "metal_fraction", "outline_per_px", "coverage"):
        values = np.array([getattr(truth, name) for truth in truths])
        error = values.std(ddof=1) / np.sqrt(len(values))
        assert abs(values.mean() - getattr(told, name)) < 4 * error + 0.01 * getattr(told, name)


def test_the_same_seed_draws_the_same_picture():
    """Phantoms are reproducible, bit for bit."""
    section = draw_section(Microstructure(), height=128, width=160, seed=4)
    again = draw_section(Microstructure(), height=128, width=160, seed=4)
    assert np.array_equal(section.codes, again.codes)
    exposure = Exposure(shading=0.2, scratches=3, strip_px=32, bar_px=60, bar_text="10 um", bits=16)
    one, two = expose(section, exposure, seed=5), expose(again, exposure, seed=5)
    assert one.dtype == np.uint16
    assert one.shape == (160, 160)
    assert np.array_equal(one, two)


def test_without_oxide_nothing_is_covered():
    """A section of bare grains has no oxide and no covered outline."""
    truth = draw_section(Microstructure(covered=0), height=128, width=128, seed=1).truth()
    assert truth.oxide_fraction == 0
    assert truth.coverage == 0
    assert truth.porosity + truth.metal_fraction == pytest.approx(1)
