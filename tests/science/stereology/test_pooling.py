"""From fields to samples and electrodes: the interval grows with what is not known."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from teardown.science.estimate import Estimate
from teardown.science.stereology.pooling import (
    FieldSummary,
    NothingToPool,
    disagreement,
    fields_needed,
    pool_fields,
    pool_samples,
)
from teardown.science.stereology.ratios import Parts


def field(above, below=1000.0, *, error=0.02, doubt=0.0, size=None):
    """One field's porosity."""
    return FieldSummary({"porosity": Parts(above, below)}, {"porosity": error}, {"porosity": doubt}, size)


def test_fields_of_one_size_give_student_s_interval():
    """The ratio of sums of equal fields is their mean, its interval the textbook's."""
    values = [0.42, 0.47, 0.44, 0.51]
    pooled = pool_fields([field(value * 1000) for value in values]).estimates["porosity"]
    half = stats.t.ppf(0.975, 3) * np.std(values, ddof=1) / 2
    assert pooled.value == pytest.approx(np.mean(values))
    assert pooled.half_width == pytest.approx(half)
    assert pooled.n == 4


def test_large_fields_weigh_more():
    """Sums are divided, ratios never averaged."""
    pooled = pool_fields([field(100, 200), field(100, 1800)]).estimates["porosity"]
    assert pooled.value == pytest.approx(0.1)


def test_what_one_field_cannot_see_stays_open_for_all():
    """Half of the outline lies in a field where films hide: the pooled share may be higher by half of what
    hides there, however many fields; what was seen elsewhere counts as seen."""
    clear = [field(400), field(420)]
    hiding = [*clear[:1], replace(clear[1], open_above={"porosity": 0.3}, open_below={"porosity": 0.1})]
    sure, open_ = (pool_fields(fields).estimates["porosity"] for fields in (clear, hiding))
    assert open_.value == sure.value
    assert open_.high == pytest.approx(min(sure.high + 0.15, 1))
    assert open_.low == pytest.approx(max(sure.low - 0.05, 0))


def test_doubt_of_levels_does_not_shrink_with_fields():
    """A hundred equal fields still carry it."""
    pooled = pool_fields([field(400, doubt=0.01) for _ in range(100)]).quantities["porosity"]
    assert pooled.sampling_half_width == pytest.approx(0, abs=1e-12)
    assert pooled.threshold_half_width == pytest.approx(0.0196)


@pytest.mark.parametrize(("spread", "fields"), [(0.015, 5), (0.02, 7), (0.031, 12), (0.04, 18)])
def test_fields_needed_are_solved_with_student_s_t(spread, fields):
    """1.5, 2, 3.1 and 4 points of scatter need 5, 7, 12 and 18 fields for two points either way."""
    assert fields_needed(spread, 0.02) == fields
    for n in (fields - 1, fields):
        within = stats.t.ppf(0.975, n - 1) * spread / np.sqrt(n) <= 0.02
        assert within == (n == fields)


def test_fields_that_differ_beyond_their_scatter_are_flagged():
    """A layered sample, or a faulty field."""
    assert disagreement([field(400, error=0.02), field(410, error=0.02)]) > 0.5
    result = pool_fields([field(300, error=0.02), field(500, error=0.02), field(400, error=0.02)])
    assert "fields_disagree" in {flag.code for flag in result.flags}


def test_one_sample_tells_nothing_of_others():
    """An electrode of one sample has a value and no interval."""
    one = Estimate(0.4, 0.35, 0.45, "1", 5, "fields")
    assert pool_samples([one]).estimate is None
    two = pool_samples([one, Estimate(0.5, 0.45, 0.55, "1", 5, "fields")])
    assert two.estimate.n == 2
    assert two.estimate.low < 0.4


def test_nothing_is_pooled_from_nothing():
    """Refused in words."""
    with pytest.raises(NothingToPool):
        pool_fields([])
    with pytest.raises(NothingToPool):
        pool_samples([])
