"""Powder patterns of known composition, for tests and for the invented demo laboratory.

They are drawn with the model of this package, so they test the arithmetic and the search, not the physics;
patterns of an independent origin do that.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from math import log

import numpy as np
from numpy.typing import NDArray

from teardown.science.crystallography.microabsorption import weakened
from teardown.science.crystallography.parameters import Optics, parameters, size_width_deg
from teardown.science.crystallography.pattern_model import PhasePattern, column
from teardown.science.crystallography.phases import Phase, choose
from teardown.science.crystallography.radiation import Radiation, radiation

Array = NDArray[np.float64]
HUMP_DEG = (22.5, 9.0)


@dataclass(frozen=True, slots=True)
class PowderPhantom:
    """A made pattern and what it was made of; ``weight_fractions`` add up to one with ``amorphous``."""

    two_theta_deg: Array
    counts: Array
    weight_fractions: Mapping[str, float]
    amorphous: float
    anode: str


def powder_pattern(
    weights: Mapping[str, float],
    *,
    anode: str = "cu",
    range_deg: tuple[float, float, float] | None = None,
    highest: float = 20_000.0,
    background: float = 300.0,
    displacement_deg: float = 0.0,
    sizes_nm: Mapping[str, float] | None = None,
    texture_r: Mapping[str, float] | None = None,
    thinness: Mapping[str, float] | None = None,
    particle_size_um: float | None = None,
    amorphous: float = 0.0,
    k_beta: float = 0.0,
    variable_slits: bool = False,
    optics: Optics | None = None,
    seed: int | None = 0,
) -> PowderPhantom:
    """Draw the powder pattern of a mixture.

    Parameters
    ----------
    weights : mapping of phase to share of the crystalline mass
        Any positive numbers; they are brought to a sum of one.
    anode : str
    range_deg : (first, last, step), optional
        Angles 2θ; left out, what is usual for the tube.
    highest, background : float
        Counts of the strongest line and of the background at low angles.
    displacement_deg : float
        Shift of all lines by this times cos θ.
    sizes_nm, texture_r : mapping, optional
        Crystallite sizes and March-Dollase parameters that differ from what is usual.
    thinness : mapping, optional
        Of platy phases: how many times broader lines are along the normal of the plates than across it.
    particle_size_um : float, optional
        Grain diameter; when given, strong absorbers hide themselves as Brindley describes.
    amorphous : float
        Share of the whole mass that shows as a broad hump only.
    k_beta : float
        Share of K-alpha with which K-beta comes through.
    variable_slits : bool
        Slits that open with the angle.
    optics : Optics, optional
        The line shape of the instrument.
    seed : int or None
        Seed of the counting noise; None for a pattern without noise.
    """
    beam = radiation(anode)
    phases = choose(list(weights))
    share = np.array([weights[name] for name in weights], dtype=np.float64)
    share /= share.sum()
    shown = share if particle_size_um is None else weakened(phases, share, beam.anode, particle_size_um)
    first, last, step = range_deg or {"co": (18.0, 110.0, 0.02), "mo": (8.0, 50.0, 0.01)}.get(
        beam.anode, (12.0, 100.0, 0.02)
    )
    x = np.arange(first, last + step / 2, step)
    y = np.zeros_like(x)
    beside = replace(optics or Optics(), variable_slits=variable_slits)
    for phase, part in zip(phases, shown, strict=True):
        size = (sizes_nm or {}).get(phase.key, phase.typical_size_nm)
        r, thin = (texture_r or {}).get(phase.key, 1.0), (thinness or {}).get(phase.key, 1.0)
        y += (
            part
            / (phase.cell_mass * phase.volume_A3)
            * _drawn(phase, beam, (first, last, step), displacement_deg, size, r, thin, k_beta, beside)
        )
    y *= highest / y.max()
    if amorphous:
        centre, width = HUMP_DEG
        bell = np.exp(-4 * log(2) * ((x - centre) / width) ** 2)
        y = (1 - amorphous) * y + amorphous * highest * 0.15 * bell
    y += background * (0.75 + 0.25 * np.exp(-(x - first) / 25))
    counts = y if seed is None else np.random.default_rng(seed).poisson(y).astype(np.float64)
    crystalline = {p.key: float(s) * (1 - amorphous) for p, s in zip(phases, share, strict=True)}
    return PowderPhantom(x, counts, crystalline, amorphous, beam.anode)


@lru_cache(maxsize=64)
def _drawn(
    phase: Phase,
    beam: Radiation,
    span: tuple[float, float, float],
    shift: float,
    size_nm: float,
    r: float,
    thin: float,
    k_beta: float,
    optics: Optics,
) -> Array:
    """Draw one phase at scale one; kept, since a laboratory measures the same phases again and again."""
    first, last, step = span
    x = np.arange(first, last + step / 2, step)
    known = parameters([phase], beam, optics, None, k_beta=k_beta > 0)
    theta = np.array([p.mean for p in known])
    pattern = PhasePattern(0, phase, beam, optics, last, known)
    theta[pattern.at["displacement", 0]] = shift
    theta[pattern.at["log_X", 0]] = log(size_width_deg(size_nm, beam.wavelength_A))
    if ("log_r", 0) in pattern.at:
        theta[pattern.at["log_r", 0]] = log(r)
    if ("log_thin", 0) in pattern.at:
        theta[pattern.at["log_thin", 0]] = log(thin)
    if k_beta > 0:
        theta[pattern.at["k_beta", 0]] = k_beta
    if phase.tie is not None:
        theta[pattern.cell_at[0]] = 0.0
    return column(x, pattern, theta, [], with_slopes=False).value
