"""Was it really this tube? A quick look at the pattern with every other one."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from teardown.science.crystallography.parameters import Optics
from teardown.science.crystallography.phases import Phase
from teardown.science.crystallography.radiation import K_ALPHA_A, radiation
from teardown.science.crystallography.refinement import Recipe, Refinement, find_displacement
from teardown.science.crystallography.structure_factors import NoLines

Array = NDArray[np.float64]
ABSOLUTE = 0.15  # our own, set on drawn patterns; no source
SHORTEST_D_A = 1.1


def better_anode(fit: Refinement, offered: Sequence[Phase]) -> tuple[str, float, float] | None:
    """Name another tube whose quick model explains the pattern far better.

    Lines are made wide, only scales, displacement and width are sought, and the tube in use is tried in
    the same way. Returns the other tube, the share of the pattern it leaves over, and what the tube in use
    leaves.
    """
    own = _left_over(fit, offered, fit.beam.anode)
    others = {anode: _left_over(fit, offered, anode) for anode in K_ALPHA_A if anode != fit.beam.anode}
    best = min(others, key=lambda a: others[a])
    return (best, others[best], own) if others[best] < own - ABSOLUTE else None


def angles_are_theta(fit: Refinement, offered: Sequence[Phase]) -> bool:
    """Say whether the pattern is explained far better with every angle doubled."""
    if fit.x[-1] >= 89:
        return False
    own = _left_over(fit, offered, fit.beam.anode)
    return _left_over(fit, offered, fit.beam.anode, times=2.0) < own - ABSOLUTE


def _left_over(fit: Refinement, offered: Sequence[Phase], anode: str, times: float = 1.0) -> float:
    """Fit a quick model for a tube and give its background-subtracted Rwp beyond counting noise."""
    beam = replace(radiation(anode), polarisation=fit.beam.polarisation)
    last = 2 * np.degrees(np.arcsin(min(1.0, beam.wavelength_A / (2 * SHORTEST_D_A))))
    keep = np.flatnonzero(fit.x * times <= last)[:: max(1, len(fit.x) // 2500)]
    if len(keep) < 100:
        return 1.0
    x, y, s = times * fit.x[keep], fit.y[keep], 1 / fit.weight[keep]
    optics = Optics(W=0.02, variable_slits=fit.recipe.optics.variable_slits)
    try:
        trial = Refinement(x, y, s, offered, beam, Recipe(optics, 8, ruler=fit.recipe.ruler))
    except NoLines:  # with that tube a phase would show nothing here
        return 1.0
    find_displacement(trial)
    trial.search(("displacement", "log_W"), steps=3)
    background, by_phase = trial.curves
    left = float((((y - background - by_phase.sum(axis=0)) / s) ** 2).sum()) - len(x)
    net = float((((y - background) / s) ** 2).sum()) - len(x)
    return float(np.sqrt(max(left, 0.0) / net)) if net > 0 else 1.0
