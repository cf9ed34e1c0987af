"""One spinel or two? Asked only where a line of known place is in the pattern, and answered by statistics.

Magnetite and maghemite differ by 0.6 % in their cell edge and by a few weak lines. One phase whose
occupancy follows its edge is what a pattern usually carries; two are told apart only where they are sharp.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from teardown.science.crystallography.fractions import hill_howard
from teardown.science.crystallography.phases import Phase, phase_table
from teardown.science.crystallography.refinement import Refinement, finish
from teardown.science.crystallography.statistics import statistics

# Thresholds are common practice, no source
MISFIT = 1.08  # below this GoF one spinel leaves nothing to explain
GAIN = 0.05  # Rwp without background has to fall by this share
SURE_ESD = 5.0


@dataclass(frozen=True, slots=True)
class TwoSpinels:
    """Shares of magnetite and maghemite with their e.s.d., and by which share Rwp fell."""

    magnetite: float
    magnetite_esd: float
    maghemite: float
    maghemite_esd: float
    gain: float


def two_spinels(fit: Refinement, ruler: str | None) -> TwoSpinels | None:
    """Try magnetite beside maghemite in place of the one tied spinel; None where one will do.

    Two are reported only where a ruler (iron, an internal standard) is in the fit, Rwp without background
    falls by 5 % of itself, and both stand five e.s.d. above nothing.
    """
    keys = [p.key for p in fit.phases]
    if "spinel" not in keys or ruler not in keys or fit.reduced_chi2 < MISFIT**2:
        return None
    table = phase_table().phases
    rest: Sequence[Phase] = [p for p in fit.phases if p.key != "spinel"]
    pair = [*rest, table["magnetite"], table["maghemite"]]
    split = Refinement(fit.x, fit.y, 1 / fit.weight, pair, fit.beam, fit.recipe)
    split.adopt(fit)
    at, own = fit.index("log_X", keys.index("spinel")), len(rest)
    assert at is not None
    for number in (own, own + 1):
        width = split.index("log_X", number)
        assert width is not None
        split.theta[width] = fit.theta[at]
    split.search(())
    finish(split, steps=8)
    before, after = statistics(fit).Rwp_background, statistics(split).Rwp_background
    gain = 1 - after / before
    shares = hill_howard(
        [p.as_refined(split.theta) for p in split.patterns], split.scales, split.covariance()
    )
    weight, esd = shares.weight[own:], np.maximum(shares.esd[own:], 1e-12)
    if gain < GAIN or (weight < SURE_ESD * esd).any():
        return None
    return TwoSpinels(float(weight[0]), float(esd[0]), float(weight[1]), float(esd[1]), float(gain))
