"""Films that are too thin to be seen still bend the edges they lie on; bare edges stay plain steps."""

import numpy as np
import pytest

from teardown.science.stereology.exposures import Exposure, expose
from teardown.science.stereology.field import measure_field
from teardown.science.stereology.flags import SAMPLING
from teardown.science.stereology.phantoms import Microstructure, draw_section


def measured(*, made_of=None, seed=6, **exposure):
    """Draw, expose and measure a field."""
    section = draw_section(made_of or Microstructure(covered=0), height=448, width=448, seed=seed)
    image = expose(section, Exposure(**exposure), seed=seed)
    grey = (image / np.float32(np.iinfo(image.dtype).max)).astype(np.float32)
    return measure_field(grey, pixel_size_um=0.1), section.truth()


def faults(result):
    """Codes of the flags that speak of the picture."""
    return {flag.code for flag in result.flags if flag.level != "info" and flag.code not in SAMPLING}


@pytest.mark.parametrize(("blur", "noise"), [(0.7, 0.02), (1.2, 0.05), (1.9, 0.05)])
def test_bare_metal_has_plain_edges_and_no_oxide(blur, noise):
    """Sharp or soft, quiet or noisy: none is read, nothing is flagged."""
    result, _ = measured(blur_px=blur, noise=noise)
    assert faults(result) == set()
    assert result.estimates["oxide_coverage"].value < 0.02
    assert "no_oxide_detected" in {flag.code for flag in result.flags}


@pytest.mark.parametrize("place", [0.4, 0.55, 0.75])
def test_films_of_two_pixels_never_pass_in_silence(place):
    """The coverage is far too low; it is flagged, and a hidden film opens its interval up to all."""
    made_of = Microstructure(covered=0.6, rim_px=2.0)
    result, truth = measured(made_of=made_of, oxide_place=place, blur_px=0.8)
    assert faults(result)
    if "hidden_film" in faults(result):
        assert result.estimates["oxide_coverage"].high == 1.0
        assert result.estimates["oxide_coverage"].high >= truth.coverage


@pytest.mark.parametrize("glow", [0.15, 0.25])
def test_glowing_edges_are_told(glow):
    """Charging narrows the pores; no threshold sees it, the edges do."""
    result, truth = measured(charging=glow, blur_px=1.0)
    assert result.estimates["porosity"].value < truth.porosity
    assert faults(result) & {"charging", "hidden_film"}


def test_thick_rims_leave_the_bare_edges_beside_them_plain():
    """A field within the working range is not suspected."""
    result, truth = measured(made_of=Microstructure(covered=0.5, rim_px=7.0), blur_px=1.2)
    assert faults(result) == set()
    assert result.estimates["oxide_coverage"].value == pytest.approx(truth.coverage, abs=0.03)
