"""Peaks that the model leaves over, and which phases of the table would explain them."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from teardown.science.crystallography.phases import Phase, phase_table
from teardown.science.crystallography.radiation import K_BETA_A, TUNGSTEN_L_ALPHA_A
from teardown.science.crystallography.refinement import Refinement
from teardown.science.crystallography.structure_factors import lines

Array = NDArray[np.float64]
# Thresholds are our own, set on drawn patterns; no source
SIGMA = 6.0
LINES_LOOKED_AT = 4
LINES_NEEDED = 2
FEW = 12
# What has no structure in the phase table and one strong line: words, and d in Å from and to (from memory).
SINGLE_LINES_A = (("PTFE binder", 4.82, 4.98),)


@dataclass(frozen=True, slots=True)
class Unexplained:
    """A peak of the residual: place in degrees, d in Å, height in standard deviations, likely makers.

    ``candidates`` are keys of the phase table, the likeliest first. ``ghost`` names the line of the tube that
    would put a strong peak there ("Kβ", "W Lα"); ``hint`` something without a structure in the table that has
    its one strong line there.
    """

    two_theta_deg: float
    d_A: float
    sigmas: float
    candidates: tuple[str, ...]
    ghost: str = ""
    hint: str = ""


def unexplained_peaks(
    fit: Refinement, offered: Sequence[Phase], threshold: float = SIGMA
) -> tuple[Unexplained, ...]:
    """Search the residual with a filter as wide as a line, and name candidates for what stands out.

    A candidate is a phase of the table that is not in the fit and has at least two of its four strongest
    lines on residual peaks, ranked by how much of their expected strength is there.
    """
    background, by_phase = fit.curves
    calculated = background + by_phase.sum(axis=0)
    score = _filtered(fit, (fit.y - calculated) * fit.weight)
    # A model is never perfect: within a strong line, what is left over must also be a share of that line.
    strong = by_phase.sum(axis=0)
    near = _around(strong, max(3, round(0.35 / _step(fit))))
    left = score / fit.weight / np.sqrt(_width_points(fit))
    score = np.where((near > 0) & (left < 0.06 * near), 0.0, score)
    places = _summits(fit.x, score, threshold)
    if not places:
        return ()
    peaks = [(float(fit.x[k]), float(score[k])) for k in places]
    ranked = _candidates(fit, offered, peaks)
    return tuple(_named(fit, place, height, ranked) for place, height in peaks)


def _step(fit: Refinement) -> float:
    return float(np.median(np.diff(fit.x)))


def _width_points(fit: Refinement) -> int:
    """Give the width of the sharper lines of the fit in points, at least three."""
    at, low = fit.index("log_W"), fit.index("log_X", int(np.argmax(fit.scales)))
    assert at is not None
    assert low is not None
    width = float(np.exp(fit.theta[at] / 2) + np.exp(fit.theta[low]))
    return max(3, round(width / _step(fit)))


def _filtered(fit: Refinement, weighted: Array) -> Array:
    """Slide a bell as wide as a line over the residual, in units of its own scatter (by the median)."""
    n = _width_points(fit)
    reach = np.arange(-2 * n, 2 * n + 1) / n
    bell = np.exp(-4 * np.log(2) * reach**2)
    smooth = np.convolve(weighted, bell / np.sqrt((bell**2).sum()), mode="same")
    scatter = 1.4826 * float(np.median(np.abs(smooth - np.median(smooth))))
    return np.asarray((smooth - np.median(smooth)) / max(scatter, 1.0), dtype=np.float64)


def _around(values: Array, reach: int) -> Array:
    """Give the largest value within reach of each point."""
    from scipy.ndimage import maximum_filter1d

    return np.asarray(maximum_filter1d(values, 2 * reach + 1), dtype=np.float64)


def _summits(x: Array, score: Array, threshold: float) -> list[int]:
    """Give the summits above the threshold, strongest first, none within 0.4° of a stronger one."""
    found: list[int] = []
    for k in np.argsort(score)[::-1]:
        if score[k] < threshold or len(found) == FEW:
            break
        if all(abs(x[k] - x[f]) > 0.4 for f in found):
            found.append(int(k))
    return sorted(found)


def _candidates(
    fit: Refinement, offered: Sequence[Phase], peaks: list[tuple[float, float]]
) -> list[tuple[str, tuple[float, ...]]]:
    """Rank the phases of the table that explain at least two of the peaks; each with its lines."""
    there = {p.key for p in fit.phases} | (
        {"magnetite", "maghemite", "spinel"} if any(p.group == "spinel" for p in fit.phases) else set()
    )
    offered_keys = {p.key for p in offered}
    at = fit.index("displacement")
    assert at is not None
    low, high = float(fit.x[0]), float(fit.x[-1])
    ranked = []
    for key, phase in phase_table().phases.items():
        if key in there or key == "spinel":
            continue
        expected = sorted(lines(phase, fit.beam, high, merge_deg=0.12), key=lambda line: -line.relative)
        strongest = [line for line in expected if line.two_theta_deg > low][:LINES_LOOKED_AT]
        wide = 0.12 + (0.25 if phase.typical_size_nm < 15 else 0.0)
        hits, weight = [], 0.0
        for line in strongest:
            place = line.two_theta_deg + fit.theta[at] * np.cos(np.radians(line.two_theta_deg / 2))
            if any(abs(p - place) < wide for p, _ in peaks):
                hits.append(place)
                weight += line.relative
        if len(hits) >= min(LINES_NEEDED, max(len(strongest), 1)) and strongest:
            share = weight / sum(line.relative for line in strongest)
            first = strongest[0]
            has_first = any(abs(h - first.two_theta_deg) < 0.3 for h in hits)
            ranked.append(
                (
                    share
                    + 0.2 * has_first
                    + 0.1 * (key in offered_keys)
                    + 0.1 * (phase.group not in {"standard", "air electrode"}),
                    key,
                    tuple(hits),
                )
            )
    return [(key, hits) for _, key, hits in sorted(ranked, reverse=True)[:5]]


def _named(
    fit: Refinement, place: float, height: float, ranked: list[tuple[str, tuple[float, ...]]]
) -> Unexplained:
    """Give a peak its d, the phases that explain it, and the ghost line that might."""
    names = tuple(key for key, hits in ranked if any(abs(h - place) < 0.4 for h in hits))
    d = fit.beam.wavelength_A / 2 / float(np.sin(np.radians(place / 2)))
    hint = next((words for words, low, high in SINGLE_LINES_A if low < d < high), "")
    return Unexplained(place, d, height, names, _ghost(fit, place), hint)


def _ghost(fit: Refinement, place: float) -> str:
    """Say whether Kβ or tungsten Lα of the strongest line of the pattern falls here."""
    _, by_phase = fit.curves
    top = float(fit.x[int(np.argmax(by_phase.sum(axis=0)))])
    sine = np.sin(np.radians(top / 2)) / fit.beam.wavelength_A
    for name, wavelength in (("Kβ", K_BETA_A[fit.beam.anode]), ("W Lα", TUNGSTEN_L_ALPHA_A)):
        if sine * wavelength < 1 and abs(2 * np.degrees(np.arcsin(sine * wavelength)) - place) < 0.12:
            return name
    return ""
