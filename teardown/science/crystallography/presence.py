"""Is a phase there? Decided by what leaving it out costs the fit, not by its share alone.

Of many phases offered, chance gives one that is not there a share above its e.s.d. now and then, the more so
as its lines may move and widen to meet the noise. And where the line shapes of the model are not quite those
of the instrument, neighbouring residuals are alike, and what is left over beside strong lines passes for a
weak phase. Both are allowed for: the level rises with the number of phases offered, and what is compared with
it is divided by how much more alike neighbours are than noise makes them.
"""

from math import pi, sqrt
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from teardown.science.crystallography.fractions import hill_howard
from teardown.science.crystallography.refinement import Refinement, finish
from teardown.science.crystallography.statistics import serial_factor

Array = NDArray[np.float64]

# Set on sets of 120 drawn mixtures: risks of .025 and .008 named two to four phases of a set that were not
# there, .008 and .004 none to two, and neither missed one above its limit. Of six offered, one then has to
# stand three standard deviations clear, as a limit does.
RISK = 0.008  # of naming one phase too many among all that are offered
RISK_OF_ONE = 0.004  # for one phase alone, by its share over its e.s.d.
ALIKE = 1.08  # noise alone: 1 with s.d. 0.012 for 4,000 points, 0.028 for 900
SURE_ESD = 4.5  # from here on no phase is left out to see
WHITE = sqrt(1 + 4 / pi)  # the serial factor of residuals that are noise alone


def likeness(weighted: Array) -> float:
    """Give how many times wider than by noise alone sums of neighbouring residuals spread; at least one.

    The serial factor of Bérar & Lelann 1991 (J. Appl. Cryst. 24, 1) over its mean for independent normal
    residuals, √(1 + 4/π). ``weighted`` are the residuals over their standard uncertainty, shape (points,).
    """
    return max(1.0, serial_factor(weighted) / WHITE)


def level(offered: int, risk: float = RISK) -> float:
    """Give the standard deviations that chance lends one of so many phases with this risk (Bonferroni)."""
    return NormalDist().inv_cdf(1 - risk / max(offered, 1))


def cost(fit: Refinement) -> float:
    """Give what a fit has minimised: weighted squares, and those of the restraints."""
    solved = fit.solved
    index = np.array(fit.free, dtype=int)
    moved = (solved.theta - fit.mean)[index] / fit.sigma[index]
    return solved.chi2 + float(moved @ moved)


def prune(fit: Refinement, risk: float = RISK, keep: str | None = None) -> Refinement:
    """Take out phases that are not there, the one that stands least above its e.s.d. first.

    A phase stays if leaving it out raises the minimised sum by more than the square of ``level``, in units of
    the misfit (a likelihood ratio: Wilks 1938, Ann. Math. Stat. 9, 60), and if its share stands clear of
    nothing by itself, the clearer where neighbouring residuals are alike. At least one phase stays; ``keep``
    is never taken out (an internal standard).
    """
    held = {p.key for p in fit.phases if p.key == keep or p.identification_only}
    needed = level(len(fit.phases) - len(held), risk)
    stays, finished = set(held), False
    while len(fit.phases) > 1:
        ratio = _ratios(fit, stays)
        least = int(np.argmin(ratio))
        if ratio[least] >= SURE_ESD:
            break
        smaller = _without(fit, least)
        # A likelihood ratio trusts in independent noise; without it the share has to stand as high by itself.
        misfit = likeness(fit.solved.linear.residual) > ALIKE
        alone = needed if misfit else level(1, RISK_OF_ONE)
        if ratio[least] >= alone and _costs(fit, smaller) >= needed:
            stays.add(fit.phases[least].key)
            continue
        fit, finished, stays = smaller, True, set(held)
    if finished:
        finish(fit, steps=6)
    return fit


def _ratios(fit: Refinement, stays: set[str]) -> Array:
    """Give each share over its widened e.s.d.; infinite for those that stay."""
    shares = hill_howard([p.as_refined(fit.theta) for p in fit.patterns], fit.scales, fit.covariance())
    if (shares.weight > 1 - 1e-9).any():
        ratio = np.where(shares.weight > 1 - 1e-9, np.inf, 0.0)
    else:
        ratio = shares.weight / np.maximum(shares.esd * likeness(fit.solved.linear.residual), 1e-12)
    ratio[[p.key in stays for p in fit.phases]] = np.inf
    return np.asarray(ratio, dtype=np.float64)


def _without(fit: Refinement, gone: int) -> Refinement:
    """Give the fit anew without one of its phases."""
    rest = [p for i, p in enumerate(fit.phases) if i != gone]
    smaller = Refinement(fit.x, fit.y, 1 / fit.weight, rest, fit.beam, fit.recipe)
    smaller.adopt(fit)
    smaller.search(())
    finish(smaller, steps=4)
    return smaller


def _costs(fit: Refinement, smaller: Refinement) -> float:
    """Give by how many standard deviations the fit is worse without a phase."""
    more = max(0.0, cost(smaller) - cost(fit)) / max(1.0, fit.reduced_chi2)
    return sqrt(more) / likeness(fit.solved.linear.residual)
