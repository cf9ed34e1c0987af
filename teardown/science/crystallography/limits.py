"""Phases that are not there: taken out one at a time, and given a limit instead of a zero."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from teardown.science.crystallography.fractions import Shares, hill_howard
from teardown.science.crystallography.phases import Phase
from teardown.science.crystallography.refinement import Refinement, finish

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Limit:
    """The share below which a phase was not seen, and the share the fit would have given it."""

    weight_fraction: float
    estimate: float
    esd: float


def prune(fit: Refinement, below_esd: float, keep: str | None = None) -> Refinement:
    """Take out the phase that stands least above its e.s.d., and fit again, until all stand above.

    At least one phase stays. ``keep`` is never taken out (an internal standard).
    """
    finished = False
    while len(fit.phases) > 1:
        shares = hill_howard([p.as_refined(fit.theta) for p in fit.patterns], fit.scales, fit.covariance())
        ratio = np.where(shares.weight > 0, shares.weight / np.maximum(shares.esd, 1e-12), 0.0)
        if len(fit.phases) > 1 and (shares.weight > 1 - 1e-9).any():
            ratio = np.where(shares.weight > 1 - 1e-9, np.inf, 0.0)
        fixed = [p.key == keep or p.identification_only for p in fit.phases]
        ratio[fixed] = np.inf
        gone = int(np.argmin(ratio))
        if ratio[gone] >= below_esd:
            break
        rest = [p for i, p in enumerate(fit.phases) if i != gone]
        smaller = Refinement(fit.x, fit.y, 1 / fit.weight, rest, fit.beam, fit.recipe)
        smaller.adopt(fit)
        smaller.search(())
        finish(smaller, steps=4)
        fit, finished = smaller, True
    if finished:
        finish(fit, steps=6)
    return fit


def limits_of(
    fit: Refinement, offered: Sequence[Phase], refined: Sequence[Phase], shares: Shares, times: float
) -> dict[str, Limit]:
    """Give a limit to each phase that was offered and is not in the fit.

    Each is put back alone at its table cell and typical width, everything else free: the limit is its
    estimate and ``times`` its e.s.d.
    """
    there = {p.key for p in fit.phases}
    found: dict[str, Limit] = {}
    for phase in offered:
        if phase.key in there or phase.identification_only:
            continue
        whole = Refinement(fit.x, fit.y, 1 / fit.weight, [*fit.phases, phase], fit.beam, fit.recipe)
        whole.adopt(fit)
        whole.free = [
            i
            for i, p in enumerate(whole.parameters)
            if p.phase is None or p.phase < len(fit.phases) or p.kind in {"log_X", "cell"}
        ]
        found[phase.key] = _limit(whole, [*refined, phase.with_cell(phase.cell)], times)
    return found


def _limit(fit: Refinement, phases: Sequence[Phase], times: float) -> Limit:
    """Solve the scales alone and read the last one with its e.s.d."""
    from teardown.science.crystallography.least_squares import Solution, solve_linear

    trial = fit.trial(fit.theta)
    linear = solve_linear(trial.columns, fit.y * fit.weight, fit.non_negative)
    chi2 = float(linear.residual @ linear.residual)
    fit.solution = Solution(fit.theta, linear, trial.columns, trial.slopes(linear.coefficients), chi2)
    covariance = fit.covariance()
    factor = np.array([0.0 if p.identification_only else p.cell_mass * p.volume_A3 for p in phases])
    total = float((fit.scales * factor).sum())
    esd = float(np.sqrt(max(covariance[-1, -1], 0.0))) * factor[-1]
    estimate = float(fit.scales[-1]) * factor[-1]
    reach = estimate + times * esd
    rest = max(total - estimate, 1e-300)
    return Limit(reach / (rest + reach), estimate / total if total > 0 else 0.0, esd / (rest + esd))
