"""The goals: random over all factors at once, three grain shapes, unflagged fields."""

import numpy as np
import pytest

from teardown.science.stereology.field import measure_field
from teardown.science.stereology.flags import OF_SOME
from teardown.science.stereology.interfaces import count_sums
from teardown.science.stereology.phantoms import Microstructure, draw_section
from teardown.science.stereology.pooling import FieldSummary, pool_fields
from teardown.science.stereology.ratios import cells_of, parts_of
from teardown.science.stereology.sampling import cell_size, ratio_error
from teardown.site.management.commands.benchmark_micrographs import (
    SHAPES,
    errors,
    flagged,
    outside,
    random_field,
)

pytestmark = pytest.mark.long


@pytest.fixture(scope="module")
def measured():
    """Eighty-one random fields: errors, and whether flagged; outline and thickness left out where they alone
    are flagged."""
    rng = np.random.default_rng(2031)
    rows, told = [], []
    for number in range(81):
        grey, truth = random_field(rng, 640, shape=SHAPES[number % 3])
        result = measure_field(grey)
        found = errors(result, truth)
        if any(flag.code in OF_SOME for flag in result.flags):
            found[3:] = [np.nan, np.nan]
        rows.append(found)
        told.append(flagged(result))
    return np.array(rows), np.array(told)


def test_few_good_pictures_are_flagged(measured):
    """At most 15 %, else flagging everything would win; and as few for outline and thickness alone."""
    assert measured[1].mean() <= 0.15
    assert np.isnan(measured[0][:, 3]).mean() <= 0.2


@pytest.mark.parametrize(
    ("column", "bias", "rmse", "p95"),
    [(0, 0.08, 0.15, 0.35), (1, 0.15, 0.25, 0.6), (2, 1.5, 2.5, 5.0), (3, 1.5, 2.5, 5.0), (4, 3.0, 4.0, 8.0)],
)
def test_unflagged_fields_read_true(measured, column, bias, rmse, p95):
    """Porosity, oxide fraction, coverage, in points; metal outline and oxide thickness, in percent."""
    found = measured[0][~measured[1], column]
    found = found[~np.isnan(found)]
    assert abs(found.mean()) <= bias
    assert np.sqrt((found**2).mean()) <= rmse
    assert np.quantile(np.abs(found), 0.95) <= p95


def test_intervals_over_fields_hold_what_they_say():
    """Two hundred samples of five fields with true classes: 95 % intervals hold the expectation in 92
    to 99 %."""
    from teardown.science.stereology.phantoms import expected

    made_of = Microstructure(metal=0.4, grain_radius_px=10, rim_px=4)
    told = expected(made_of)
    fields = []
    for seed in range(400):
        codes = draw_section(made_of, height=256, width=256, seed=seed, oversampling=2).codes
        sums = count_sums(np.ascontiguousarray(codes[::2, ::2]))
        fields.append(FieldSummary(parts_of(sums), {}, {}))
    rng = np.random.default_rng(1)
    held = {"porosity": 0, "oxide_coverage": 0}
    for _ in range(200):
        chosen = [fields[k] for k in rng.choice(400, 5, replace=False)]
        pooled = pool_fields(chosen).estimates
        held["porosity"] += pooled["porosity"].low <= told.porosity <= pooled["porosity"].high
        # drawn codes show the outline of pixels, so coverage is held against the fields' own grand ratio
        grand = pool_fields(fields).estimates["oxide_coverage"].value
        held["oxide_coverage"] += pooled["oxide_coverage"].low <= grand <= pooled["oxide_coverage"].high
    assert 0.90 <= held["porosity"] / 200 <= 0.99
    assert 0.90 <= held["oxide_coverage"] / 200 <= 0.995


def test_one_field_s_own_interval_holds_what_it_says():
    """From its covariance alone: 90 to 97 % (with the scatter of 150 fields)."""
    from teardown.science.stereology.phantoms import expected

    made_of = Microstructure(metal=0.4, grain_radius_px=12, rim_px=4)
    told = expected(made_of)
    held = 0
    for seed in range(150):
        codes = draw_section(made_of, height=512, width=512, seed=5000 + seed, oversampling=2).codes
        labels = np.ascontiguousarray(codes[::2, ::2])
        above, below = cells_of(labels, cell_size(labels.shape))["porosity"]
        error = ratio_error(above, below)
        held += abs(error.ratio - told.porosity) <= error.half_width
    assert 0.88 <= held / 150 <= 0.99


def test_pictures_out_of_range_are_flagged():
    """Blur, films too thin, glowing edges, levels that cannot be told: nine pictures of each."""
    found = outside(9, seed=77)
    for name in ("blur of 3 px", "films of 2 px", "edges that glow by a fifth", "oxide at 95 % of metal"):
        assert found[name]["flagged"] == 1.0, name
    assert found["edges that glow by a tenth"]["flagged"] >= 0.7
    assert found["no oxide"]["highest_coverage"] <= 2.0


def test_curtains_are_told():
    """Stripes of 4 % of the grey, as a milled face has."""
    rng = np.random.default_rng(9)
    for number in range(6):
        grey, _ = random_field(
            rng,
            512,
            shape=SHAPES[number % 3],
            bright=0.0,
            shading=0.2,
            covered=0.6,
            noise=0.03,
            curtaining=0.04,
        )
        assert flagged(measure_field(grey))
