"""Phase fractions from a powder pattern: the one door to everything in this package.

The whole pattern is fitted at once from the structures of the phases (Rietveld 1969, J. Appl. Cryst. 2, 65),
scales give shares of the mass (Hill & Howard 1987), phases that are not there are taken out one at a time and
get a limit instead.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from teardown.science.crystallography import remarks as remark
from teardown.science.crystallography.fractions import (
    Amorphous,
    GroupShare,
    Shares,
    group_sums,
    hill_howard,
)
from teardown.science.crystallography.limits import limits_of
from teardown.science.crystallography.phases import Phase, choose, phase_table
from teardown.science.crystallography.presence import prune
from teardown.science.crystallography.quality import Quality, checked, quality, weights
from teardown.science.crystallography.radiation import Radiation, radiation
from teardown.science.crystallography.refinement import (
    Recipe,
    Refinement,
    found_hump,
    settle,
    with_hump,
)
from teardown.science.crystallography.residuals import Unexplained, unexplained_peaks
from teardown.science.crystallography.results import (
    PhaseResult,
    Standard,
    amorphous_of,
    phase_results,
    size_shifts,
    with_doubt_of_cells,
)
from teardown.science.crystallography.scattering import scattering_covariance
from teardown.science.crystallography.settings import Settings
from teardown.science.crystallography.statistics import Statistics, statistics
from teardown.science.crystallography.tube_lines import found_k_beta, with_k_beta
from teardown.science.errors import MeasurementError, Remark

Array = NDArray[np.float64]
VERSION = "5"
MOST_PHASES = 10
MOST_POINTS = 20_000
# Where laboratory scans of iron phases hold lines worth fitting: common practice, no source
RANGES_DEG = {
    "cu": (15.0, 100.0),
    "co": (18.0, 120.0),
    "mo": (7.0, 50.0),
    "cr": (22.0, 150.0),
    "fe": (19.0, 130.0),
}


class TooManyPhases(MeasurementError):
    """More phases are offered than one pattern can tell apart."""

    code = "crystallography.E008"
    hint = f"Offer at most {MOST_PHASES}; begin with those that the recipe makes likely."


class NotAStandard(MeasurementError):
    """An internal standard is not described as one."""

    code = "crystallography.E009"
    hint = "Name it with its weighed share of the mixture, between 0 and 1, as in corundum=0.10."


@dataclass(frozen=True, slots=True)
class Curves:
    """The fit point by point: angles in degrees, all else in counts, phases by their key."""

    two_theta_deg: Array
    measured: Array
    calculated: Array
    background: Array
    by_phase: dict[str, Array]
    sigma: Array


@dataclass(frozen=True, slots=True)
class PatternFit:
    """What a pattern says of its specimen.

    ``phases`` has one row for each phase offered; shares are of the crystalline, modelled part of the
    specimen without an internal standard, and add up to one. ``covariance`` follows ``fitted``.
    """

    phases: tuple[PhaseResult, ...]
    groups: tuple[GroupShare, ...]
    amorphous: Amorphous | None
    statistics: Statistics
    curves: Curves
    ticks_deg: dict[str, Array]
    remarks: tuple[Remark, ...]
    unexplained: tuple[Unexplained, ...]
    fitted: tuple[str, ...]
    covariance: Array
    parameters: dict[str, float]
    radiation: str
    settings: dict[str, Any]
    phase_table_version: str
    version: str

    def phase(self, name: str) -> PhaseResult:
        """Find the row of a phase."""
        key = phase_table().key_of(name)
        return next(p for p in self.phases if p.phase == key)


def fit_pattern(
    two_theta_deg: Array,
    counts: Array,
    *,
    phases: Sequence[str],
    radiation: str | Radiation = "cu",
    standard: Standard | tuple[str, float] | None = None,
    sigma: Array | None = None,
    settings: Settings | None = None,
) -> PatternFit:
    """Fit phases to a powder pattern taken in reflection (Bragg-Brentano).

    Parameters
    ----------
    two_theta_deg : ndarray, shape (points,)
        Rising angles 2θ, in degrees.
    counts : ndarray, shape (points,)
        Counts as measured, background in.
    phases : sequence of str
        Names of the phase table; at most ten.
    radiation : str or Radiation
        "cu", "co", "mo", "cr", "fe", or a radiation with its monochromator.
    standard : Standard or (name, weighed share), optional
        Internal standard and its share of the mixture, 0 to 1.
    sigma : ndarray, shape (points,), optional
        Standard uncertainties of the counts; taken from the counts when left out.
    settings : Settings, optional

    Returns
    -------
    PatternFit

    Raises
    ------
    MeasurementError
        With one sentence that says what is wrong and how to mend it: no phases, an unknown phase, too few
        points, values that are no numbers, angles that fall or are not degrees, a standard that is none.
    """
    chosen = settings or Settings()
    beam = _beam(radiation)
    given = _standard(standard)
    offered = _offered(phases, given)
    x, y, s, looks = _prepared(two_theta_deg, counts, sigma, chosen, beam)
    ruler = given.phase if given else "iron" if any(p.key == "iron" for p in offered) else None
    recipe = Recipe(
        chosen.optics, chosen.background_terms, chosen.humps, chosen.texture, chosen.zero_free, ruler
    )
    fit = Refinement(x, y, s, offered, beam, recipe)
    settle(fit)
    if chosen.look_for_k_beta and (share := found_k_beta(fit)) is not None:
        fit = with_k_beta(fit, share)
    if chosen.look_for_hump and not chosen.humps and (hump := found_hump(fit)) is not None:
        fit = with_hump(fit, hump)
    fit = prune(fit, chosen.risk_of_one_too_many, keep=given.phase if given else None)
    return _told(fit, offered, beam, given, chosen, looks, ruler)


def _beam(given: str | Radiation) -> Radiation:
    """Give the radiation for a name."""
    return given if isinstance(given, Radiation) else radiation(given)


def _standard(given: Standard | tuple[str, float] | None) -> Standard | None:
    """Give the standard with its key, or refuse a share that cannot be."""
    if given is None:
        return None
    standard = given if isinstance(given, Standard) else Standard(*given)
    if not 0 < standard.share < 1 or not 0 < standard.crystallinity <= 1:
        raise NotAStandard(f"{standard.phase} is given with a share of {standard.share:g}.")
    return replace(standard, phase=phase_table().key_of(standard.phase))


def _offered(names: Sequence[str], standard: Standard | None) -> tuple[Phase, ...]:
    """Find the phases, the standard among them."""
    found = choose(names)
    if standard and all(p.key != standard.phase for p in found):
        found = (*found, phase_table().phases[standard.phase])
    if len(found) > MOST_PHASES:
        raise TooManyPhases(f"{len(found)} phases are offered.")
    return found


def _prepared(
    two_theta_deg: Array, counts: Array, sigma: Array | None, chosen: Settings, beam: Radiation
) -> tuple[Array, Array, Array, Quality]:
    """Check the pattern, cut it to its range, and give its weights."""
    x, y = checked(two_theta_deg, counts)
    looks = quality(x, y)
    s = weights(y, looks, sigma)
    low, high = chosen.two_theta_deg or RANGES_DEG[beam.anode]
    inside = (x >= low) & (x <= high)
    if inside.sum() >= 100:
        x, y, s = x[inside], y[inside], s[inside]
    bundle = -(-len(x) // MOST_POINTS)
    if bundle > 1:
        n = len(x) // bundle * bundle
        x, y = (v[:n].reshape(-1, bundle).mean(axis=1) for v in (x, y))
        s = np.sqrt((s[:n].reshape(-1, bundle) ** 2).sum(axis=1)) / bundle
    return x, y, s, looks


def _told(
    fit: Refinement,
    offered: tuple[Phase, ...],
    beam: Radiation,
    standard: Standard | None,
    chosen: Settings,
    looks: Quality,
    ruler: str | None,
) -> PatternFit:
    """Turn a finished fit into shares, limits, sums and remarks."""
    refined = tuple(p.as_refined(fit.theta) for p in fit.patterns)
    sources = scattering_covariance(fit.phases, fit.scales, beam, (float(fit.x[0]), float(fit.x[-1])))
    mixed = hill_howard(refined, fit.scales, fit.covariance() + sources)
    limits = limits_of(fit, offered, refined, mixed, chosen.limit_esd)
    shares = _without(refined, mixed, standard)
    shifts = size_shifts(refined, mixed, beam.anode, chosen.particle_size_um, standard)
    shifts = with_doubt_of_cells(shifts, fit, shares.weight)
    amorphous = amorphous_of(refined, mixed, standard, beam.anode, chosen.particle_size_um)
    rows = phase_results(fit, offered, refined, shares, shifts, limits, amorphous, mixed, standard, ruler)
    numbers = statistics(fit)
    background, by_phase = fit.curves
    curves = Curves(
        fit.x,
        fit.y,
        background + by_phase.sum(axis=0),
        background,
        {p.key: c for p, c in zip(refined, by_phase, strict=True)},
        1 / fit.weight,
    )
    more = unexplained_peaks(fit, offered) if chosen.look_for_more else ()
    known = {r.code for r in looks.remarks}
    names = {p.key: p.name for p in offered}
    after = remark.after_fit(
        fit, refined, rows, mixed, numbers, amorphous, more, chosen, ruler, limits, names
    )
    said = looks.remarks + tuple(r for r in after if r.code not in known)
    groups = group_sums(
        refined,
        shares,
        shifts.plain,
        {k: (phase_table().phases[k].group, v.weight_fraction) for k, v in limits.items()},
    )
    return PatternFit(
        phases=rows,
        groups=groups,
        amorphous=amorphous,
        statistics=numbers,
        curves=curves,
        ticks_deg=_ticks(fit),
        remarks=said,
        unexplained=more,
        fitted=tuple(p.key for p in refined),
        covariance=shares.covariance,
        parameters=_shared(fit),
        radiation=beam.anode,
        settings=_as_data(chosen, standard, offered) | {"fitted_deg": [float(fit.x[0]), float(fit.x[-1])]},
        phase_table_version=phase_table().version,
        version=VERSION,
    )


def _without(phases: tuple[Phase, ...], shares: Shares, standard: Standard | None) -> Shares:
    """Take the internal standard out of the shares."""
    if standard is None:
        return shares
    keep = np.array([p.key != standard.phase for p in phases], dtype=np.float64)
    rest = float((shares.weight * keep).sum())
    if not rest > 0:
        return shares
    weight = shares.weight * keep / rest
    slope = (np.diag(keep) - np.outer(weight, keep)) / rest
    return Shares(weight, slope @ shares.covariance @ slope.T)


def _ticks(fit: Refinement) -> dict[str, Array]:
    """Give the places of the lines of each fitted phase, strongest wavelength, in degrees."""
    ticks = {}
    for pattern in fit.patterns:
        peaks = pattern.peaks(fit.theta)
        n = len(pattern.found.q)
        place, height = peaks.position_deg[:n], peaks.intensity[:n]
        ticks[pattern.phase.key] = place[(height > 2e-3 * height.max()) & (place < fit.x[-1])]
    return ticks


def _shared(fit: Refinement) -> dict[str, float]:
    """Give the refined parameters of the instrument."""
    return {p.kind: float(fit.theta[i]) for i, p in enumerate(fit.parameters) if p.phase is None}


def _as_data(chosen: Settings, standard: Standard | None, offered: tuple[Phase, ...]) -> dict[str, Any]:
    """Give the settings as plain data, for the record of the run."""
    from dataclasses import asdict

    return {
        **asdict(chosen),
        "standard": asdict(standard) if standard else None,
        "phases": [p.key for p in offered],
    }
