"""What the sources of scattering factors leave in doubt, carried into the shares of the mass.

Tables of anomalous dispersion differ, most near an absorption edge: all lines of a phase that holds the
element are then too strong or too weak together, and no residual shows it. The real part f' of each element
is taken as known to what sources differ by; it is not refined, but its doubt goes into the covariance.
"""

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from teardown.science.crystallography.phases import Phase
from teardown.science.crystallography.radiation import Radiation, lorentz_polarisation
from teardown.science.crystallography.structure_factors import reflections

Array = NDArray[np.float64]

# Electrons. By how much f' of Cromer & Liberman (gemmi) and what a second library carries differ: read from
# line intensities of both (xrayutilities 1.8.0: iron +0.05 Cu and -0.22 Co, nickel -0.14 Cu).
U_OF_F = {("cu", "Fe"): 0.05, ("co", "Fe"): 0.2, ("fe", "Fe"): 0.1, ("cu", "Ni"): 0.14}
U_ELSEWHERE = 0.03
SHIFT = 0.02  # electrons, for the slope


def u_of_dispersion(element: str, anode: str) -> float:
    """Give the standard uncertainty of f' of an element for a tube, in electrons."""
    return U_OF_F.get((anode, element), U_ELSEWHERE)


def scattering_covariance(
    phases: Sequence[Phase], scales: Array, beam: Radiation, two_theta_deg: tuple[float, float]
) -> Array:
    """Give what the doubt of f' adds to the covariance of the scales.

    Parameters
    ----------
    phases : sequence of Phase
    scales : ndarray, shape (n,)
    beam : Radiation
    two_theta_deg : (low, high)
        The range that was fitted.

    Returns
    -------
    ndarray, shape (n, n)
        Phases that share an element move together, so that their ratio stays surer than each of them.
    """
    elements = sorted({a.element for p in phases for a in p.atoms})
    low, high = round(two_theta_deg[0], 1), round(two_theta_deg[1], 1)
    by_element = np.array(
        [[u_of_dispersion(e, beam.anode) * _slope(p, beam, e, low, high) for e in elements] for p in phases]
    )
    moved: Array = by_element * scales[:, None]
    return moved @ moved.T


@lru_cache(maxsize=1024)
def _slope(phase: Phase, beam: Radiation, element: str, low: float, high: float) -> float:
    """Give the relative gain of all intensity of a phase in a range for one electron more in f'."""
    if all(a.element != element for a in phase.atoms):
        return 0.0
    plain, more = (_intensity(phase, beam, low, high, s) for s in ((), ((element, SHIFT),)))
    return (more / plain - 1) / SHIFT if plain > 0 else 0.0


def _intensity(
    phase: Phase, beam: Radiation, low: float, high: float, shifts: tuple[tuple[str, float], ...]
) -> float:
    found = reflections(phase, beam, high, shifts=shifts)
    angle = 2 * np.degrees(np.arcsin(np.minimum(beam.wavelength_A * np.sqrt(found.q) / 2, 1.0)))
    inside = (angle >= low) & (angle <= high)
    return float(
        (found.intensity() * lorentz_polarisation(np.minimum(angle, 179.0), beam.polarisation))[inside].sum()
    )
