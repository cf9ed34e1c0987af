"""Were the slits fixed, or did they open with the angle? The fall of intensities tells."""

from dataclasses import replace

from teardown.science.crystallography.refinement import Refinement, finish

# Thresholds are our own, set on drawn patterns; no source
SUSPECT_B_A2 = 1.0
BETTER = 0.85


def better_slits(fit: Refinement) -> str | None:
    """Name the other kind of slit ("fixed", "variable") where it explains the pattern clearly better.

    Only asked where all phases together fall off unlike their structures: taking variable slits for fixed
    ones looks like a displacement factor of some -3 Å², and the other way round like +3.
    """
    at = fit.index("overall_B")
    assert at is not None
    if abs(float(fit.theta[at])) < SUSPECT_B_A2:
        return None
    optics = replace(fit.recipe.optics, variable_slits=not fit.recipe.optics.variable_slits)
    other = Refinement(fit.x, fit.y, 1 / fit.weight, fit.phases, fit.beam, replace(fit.recipe, optics=optics))
    other.adopt(fit)
    other.theta[at] = 0.0
    other.search(())
    finish(other, steps=6)
    own, theirs = _cost(fit), _cost(other)
    if theirs < BETTER * own and abs(float(other.theta[at])) < abs(float(fit.theta[at])):
        return "variable" if optics.variable_slits else "fixed"
    return None


def _cost(fit: Refinement) -> float:
    """Give the squares left over beyond counting noise, priors in."""
    pulls = ((fit.theta - fit.mean) / fit.sigma)[fit.free]
    return max(fit.solved.chi2 - len(fit.x), 0.0) + float(pulls @ pulls)
