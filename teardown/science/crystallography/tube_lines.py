"""Does K-beta of the tube come through? Looked for in what a fit leaves over, and modelled if it is there."""

from dataclasses import replace

import numpy as np

from teardown.science.crystallography.refinement import Refinement, finish

# Thresholds are our own, set on drawn patterns; no source
SURE = 5.0
LEAST = 0.002


def found_k_beta(fit: Refinement) -> float | None:
    """Give the share of K-alpha with which K-beta shows in the residual, or None where it does not.

    It must stand five standard deviations above nothing, and above 0.2 % of K-alpha, after everything that
    scales and background can take has been taken out.
    """
    lit = _with_k_beta(fit)
    at = lit.index("k_beta")
    assert at is not None
    lit.free = [at]
    slope = lit.trial(lit.theta).slopes(fit.solved.linear.coefficients)[:, 0]
    columns = fit.solved.columns[:, fit.solved.linear.free]
    inner, _ = np.linalg.qr(columns / np.sqrt((columns**2).sum(axis=0)))
    slope -= inner @ (inner.T @ slope)
    size = float(slope @ slope)
    if size <= 0:
        return None
    share = float(slope @ fit.solved.linear.residual) / size
    doubt = np.sqrt(max(1.0, fit.reduced_chi2) / size)
    return share if share > max(SURE * doubt, LEAST) else None


def with_k_beta(fit: Refinement, share: float) -> Refinement:
    """Give the fit anew with K-beta in it, beginning with a share of K-alpha."""
    lit = _with_k_beta(fit)
    at = lit.index("k_beta")
    assert at is not None
    lit.theta[at] = min(share, 0.4)
    lit.search(())
    finish(lit, steps=6)
    return lit


def _with_k_beta(fit: Refinement) -> Refinement:
    lit = Refinement(fit.x, fit.y, 1 / fit.weight, fit.phases, fit.beam, replace(fit.recipe, k_beta=True))
    lit.adopt(fit)
    return lit
