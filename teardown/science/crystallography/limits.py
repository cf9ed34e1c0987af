"""Phases that are not there: given a limit instead of a zero."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from teardown.science.crystallography.fractions import Shares
from teardown.science.crystallography.pattern_model import Column, column
from teardown.science.crystallography.phases import Phase
from teardown.science.crystallography.presence import likeness
from teardown.science.crystallography.refinement import Refinement

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Limit:
    """The share below which a phase was not seen, and the share the fit would have given it."""

    weight_fraction: float
    estimate: float
    esd: float


def limits_of(
    fit: Refinement, offered: Sequence[Phase], refined: Sequence[Phase], shares: Shares, times: float
) -> dict[str, Limit]:
    """Give a limit to each phase that was offered and is not in the fit.

    Each is put back alone at its table cell and typical width, everything else free: the limit is its
    estimate and ``times`` its e.s.d., widened as where phases are sought.
    """
    there = {p.key for p in fit.phases}
    reach = times * likeness(fit.solved.linear.residual)
    found: dict[str, Limit] = {}
    drawn: list[Column] = []  # the phases of the fit, alike for each that is put back
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
        drawn = drawn or [column(whole.x, p, whole.theta, whole.free) for p in whole.patterns[:-1]]
        found[phase.key] = _limit(whole, [*refined, phase.with_cell(phase.cell)], reach, drawn)
    return found


def _limit(fit: Refinement, phases: Sequence[Phase], times: float, known: Sequence[Column]) -> Limit:
    """Solve the scales alone and read the last one with its e.s.d.; ``known`` are columns of the others."""
    from teardown.science.crystallography.least_squares import Solution, solve_linear

    trial = fit.trial(fit.theta, known=known)
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
