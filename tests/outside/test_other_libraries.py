"""The classes of a section by other general-purpose libraries: numpy, scipy and scikit-image alone.

The rules are ours on both sides; distances, erosions, bodies, derivatives, the bilateral mean and the counts
of neighbours are theirs, so that an error in the quick way of working would show.
"""

import numpy as np
import pytest

from teardown.science.stereology.evening import Evened
from teardown.science.stereology.exposures import Exposure, expose
from teardown.science.stereology.field import measure_field
from teardown.science.stereology.interfaces import count_sums
from teardown.science.stereology.phantoms import Microstructure, draw_section
from teardown.science.stereology.windows import ArraySource, Window
from teardown.site.benchmarks import other_libraries

KINDS = {
    "half covered": (Microstructure(), Exposure()),
    "little oxide, much noise": (Microstructure(covered=0.2, metal=0.5), Exposure(noise=0.06, shading=0.2)),
    "all covered, soft": (Microstructure(covered=1.0, grain_radius_px=16, rim_px=8), Exposure(blur_px=1.6)),
}


@pytest.mark.parametrize("kind", KINDS)
def test_other_libraries_part_the_same_classes(kind):
    made_of, exposure = KINDS[kind]
    picture = expose(draw_section(made_of, height=300, width=280, seed=3), exposure, seed=3)
    grey = np.asarray(picture).astype(np.float32) / np.float32(255)
    found = measure_field(grey)
    even = Evened(ArraySource(grey), found.noise, found.gain).even(Window(0, 300, 0, 280))
    other = other_libraries.read(even, found.noise, found.levels, found.edge_sigma_px)
    assert (other.labels == found.labels).mean() > 0.9995
    assert other.porosity == pytest.approx(found.estimates["porosity"].value, abs=2e-4)
    assert other.oxide_fraction == pytest.approx(found.estimates["oxide_fraction"].value, abs=3e-4)


def test_other_libraries_count_the_same_neighbours():
    labels = np.random.default_rng(1).integers(0, 5, (61, 83), dtype=np.uint8)
    ours, theirs = count_sums(labels), other_libraries.count(labels)
    assert np.array_equal(ours.pairs.reshape(8, 25), theirs.pairs)
