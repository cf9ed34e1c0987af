"""The calculated pattern of each phase, and how it answers to every parameter."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from math import exp

import numpy as np
from numpy.typing import NDArray

from teardown.science.crystallography.parameters import Optics, Parameter, cell_moves, moved_cell
from teardown.science.crystallography.phases import Phase
from teardown.science.crystallography.profile import (
    Mixture,
    Shape,
    Windows,
    axial_spread,
    batches,
    mixture,
    pseudo_voigt,
    reach_deg,
    windows,
)
from teardown.science.crystallography.radiation import K_BETA_A, Radiation, lorentz_polarisation
from teardown.science.crystallography.structure_factors import Reflections, reflections
from teardown.science.crystallography.symmetry import reciprocal_metric
from teardown.science.crystallography.texture import march_dollase, squared_cosines

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Peaks:
    """The lines of one phase at one set of parameters, shape (reflections times wavelengths,) each.

    ``slopes`` maps a parameter's index to derivatives of (intensity, position, Gaussian, Lorentzian width).
    """

    position_deg: Array
    intensity: Array
    gauss_deg: Array
    lorentz_deg: Array
    slopes: dict[int, tuple[Array | None, Array | None, Array | None, Array | None]]


class PhasePattern:
    """One phase of a pattern: its reflections, and its lines for any set of parameters."""

    def __init__(
        self,
        number: int,
        phase: Phase,
        beam: Radiation,
        optics: Optics,
        two_theta_max_deg: float,
        parameters: Sequence[Parameter],
    ) -> None:
        """Compile the reflections of the phase up to the end of the pattern."""
        self.phase, self.beam, self.optics = phase, beam, optics
        self.found: Reflections = reflections(phase, beam, two_theta_max_deg)
        self.at = {(p.kind, p.part): i for i, p in enumerate(parameters) if p.phase in (None, number)}
        self.cell_at = [self.at["cell", k] for k in range(len(cell_moves(phase)))]
        if phase.texture_axis:
            self.cos2, self.owner = squared_cosines(self.found.equivalents, phase.texture_axis, phase.cell)
            count = np.bincount(self.owner)
            # cos² to the axis, less its mean over all directions
            self.along = np.bincount(self.owner, self.cos2) / count - 1 / 3

    @cached_property
    def tied_occupancies(self) -> tuple[float, float]:
        """Occupancy of the tied site at its oxidised end, and what it gains to the full end."""
        tie = self.phase.tie
        return (
            (1.0, 0.0)
            if tie is None
            else (tie.occupancy_oxidised, tie.occupancy_full - tie.occupancy_oxidised)
        )

    def cell(self, theta: Array) -> tuple[float, float, float, float, float, float]:
        """Give the cell at a set of parameters."""
        return moved_cell(self.phase, [float(theta[k]) for k in self.cell_at])

    def as_refined(self, theta: Array) -> Phase:
        """Give the phase with its refined cell and the occupancy tied to it."""
        return self.phase.with_cell(self.cell(theta))

    def peaks(self, theta: Array) -> Peaks:
        """Place and weigh the lines, and keep how they answer to each parameter."""
        q, q_slopes = self._q(theta)
        base, base_slopes = self._intensity(theta, q)
        parts = [
            self._at_wavelength(theta, q, q_slopes, base, base_slopes, *line) for line in self.beam.lines
        ]
        if ("k_beta", 0) in self.at:
            parts.append(self._at_k_beta(theta, q, q_slopes, base, base_slopes, parts))
        slopes = {}
        for k in parts[0][1]:
            a, b, c, d = (_join([slope[k][n] for _, slope in parts]) for n in range(4))
            slopes[k] = (a, b, c, d)
        position, intensity, gauss, lorentz = (
            np.concatenate([line[n] for line, _ in parts]) for n in range(4)
        )
        return Peaks(position, intensity, gauss, lorentz, slopes)

    def _at_k_beta(
        self,
        theta: Array,
        q: Array,
        q_slopes: dict[int, Array],
        base: Array,
        base_slopes: dict[int, Array],
        others: list[tuple[tuple[Array, Array, Array, Array], dict[int, list[Array | None]]]],
    ) -> tuple[tuple[Array, Array, Array, Array], dict[int, list[Array | None]]]:
        """Give the lines of K-beta, and teach all lines how they answer to its share.

        Structure factors are those at K-alpha: the share is what the pattern shows, not what the tube sends.
        """
        at = self.at["k_beta", 0]
        whole, slopes = self._at_wavelength(
            theta, q, q_slopes, base, base_slopes, K_BETA_A[self.beam.anode], 1.0
        )
        share = float(theta[at])
        for _, known in others:
            known[at] = [np.zeros_like(q), None, None, None]
        scaled: dict[int, list[Array | None]] = {
            k: [None if s[0] is None else share * s[0], *s[1:]] for k, s in slopes.items()
        }
        scaled[at] = [whole[1], None, None, None]
        return (whole[0], share * whole[1], whole[2], whole[3]), scaled

    def _q(self, theta: Array) -> tuple[Array, dict[int, Array]]:
        """Give 1/d² of each reflection, and its derivative by each move of the cell."""
        hkl, moves = self.found.hkl, [float(theta[k]) for k in self.cell_at]
        q = np.einsum("ni,ij,nj->n", hkl, reciprocal_metric(moved_cell(self.phase, moves)), hkl)
        slopes = {}
        for k, index in enumerate(self.cell_at):
            step = [m + (1e-6 if j == k else 0.0) for j, m in enumerate(moves)]
            metric = reciprocal_metric(moved_cell(self.phase, step))
            slopes[index] = (np.einsum("ni,ij,nj->n", hkl, metric, hkl) - q) / 1e-6
        return q, slopes

    def _intensity(self, theta: Array, q: Array) -> tuple[Array, dict[int, Array]]:
        """Give multiplicity, |F|², displacement and texture of each reflection, and derivatives."""
        slopes: dict[int, Array] = {}
        low, gain = self.tied_occupancies
        share, share_slope = self._share(theta)
        occupancy = low + gain * share if self.phase.tie else 1.0
        moved_B = theta[self.at["delta_B", 0]] + theta[self.at["overall_B", 0]]
        value = self.found.intensity(occupancy) * np.exp(-moved_B * q / 2)
        if share_slope:
            by_occupancy = self.found.multiplicity * (self.found.F2[1] + 2 * occupancy * self.found.F2[2])
            slopes[self.cell_at[0]] = by_occupancy * np.exp(-moved_B * q / 2) * gain * share_slope
        if self.phase.texture_axis:
            at = self.at["log_r", 0]
            factor, slope = march_dollase(self.cos2, self.owner, len(q), exp(theta[at]))
            slopes = {k: s * factor for k, s in slopes.items()}
            slopes[at] = value * slope
            value = value * factor
        slopes[self.at["delta_B", 0]] = slopes[self.at["overall_B", 0]] = -value * q / 2
        return value, slopes

    def _share(self, theta: Array) -> tuple[float, float]:
        """Say how full the tied site is, and its slope by the move of the cell (0 at the ends)."""
        tie = self.phase.tie
        if tie is None:
            return 1.0, 0.0
        share = tie.share(self.cell(theta)[0])
        inside = 0.0 < share < 1.0
        return share, self.phase.cell[0] / (tie.a_full - tie.a_oxidised) if inside else 0.0

    def _at_wavelength(
        self,
        theta: Array,
        q: Array,
        q_slopes: dict[int, Array],
        base: Array,
        base_slopes: dict[int, Array],
        wavelength: float,
        weight: float,
    ) -> tuple[tuple[Array, Array, Array, Array], dict[int, list[Array | None]]]:
        """Give the lines of one wavelength: (position, intensity, widths) and their derivatives."""
        sine = np.minimum(wavelength * np.sqrt(q) / 2, 0.9999)
        angle = np.arcsin(sine)
        cosine, tangent = np.cos(angle), np.tan(angle)
        bragg = np.degrees(2 * angle)
        factor = weight * lorentz_polarisation(bragg, self.beam.polarisation)
        if self.optics.variable_slits:
            factor = factor * sine  # the slit opens as the sine of theta, so more falls on the specimen
        at, one = self.at, np.ones_like(q)
        zero = theta[at["zero", 0]] if ("zero", 0) in at else 0.0
        position = bragg + zero + theta[at["displacement", 0]] * cosine
        W, X = exp(theta[at["log_W", 0]]), exp(theta[at["log_X", 0]]) * one
        if ("log_thin", 0) in at:
            X *= np.exp(theta[at["log_thin", 0]] * self.along)
        variance = theta[at["U", 0]] * tangent**2 + theta[at["V", 0]] * tangent + W
        gauss = np.sqrt(np.maximum(variance, 4e-4))
        by_variance = np.where(variance > 4e-4, 0.5 / gauss, 0.0)
        lorentz = (self.optics.X + X) / cosine + (self.optics.Y + theta[at["Y", 0]]) * tangent
        slopes: dict[int, list[Array | None]] = {
            k: [s * factor, None, None, None] for k, s in base_slopes.items()
        }
        by_q = np.degrees(wavelength / (2 * cosine * np.sqrt(q)))
        for k, slope in q_slopes.items():
            slopes.setdefault(k, [None, None, None, None])[1] = slope * by_q
        slopes[at["displacement", 0]] = [None, cosine, None, None]
        if ("zero", 0) in at:
            slopes[at["zero", 0]] = [None, one, None, None]
        slopes[at["log_W", 0]] = [None, None, by_variance * W, None]
        slopes[at["U", 0]] = [None, None, by_variance * tangent**2, None]
        slopes[at["V", 0]] = [None, None, by_variance * tangent, None]
        slopes[at["log_X", 0]] = [None, None, None, X / cosine]
        if ("log_thin", 0) in at:
            slopes[at["log_thin", 0]] = [None, None, None, X / cosine * self.along]
        slopes[at["Y", 0]] = [None, None, None, np.where(lorentz > 1e-6, tangent, 0.0)]
        return (position, base * factor, gauss, np.maximum(lorentz, 1e-6)), slopes


def _join(parts: list[Array | None]) -> Array | None:
    """Put the derivatives of all wavelengths in one row, where they are there."""
    return None if any(p is None for p in parts) else np.concatenate([p for p in parts if p is not None])


@dataclass(frozen=True, slots=True)
class Column:
    """The pattern of one phase at scale one, and its derivative by each free parameter, on the points."""

    value: Array
    slopes: dict[int, Array]


def column(
    two_theta_deg: Array,
    pattern: PhasePattern,
    theta: Array,
    free: Sequence[int],
    *,
    with_slopes: bool = True,
) -> Column:
    """Draw one phase on the points of a pattern.

    Parameters
    ----------
    two_theta_deg : ndarray, shape (points,)
    pattern : PhasePattern
    theta : ndarray, shape (parameters,)
    free : sequence of int
        Parameters whose derivatives are wanted.
    """
    peaks = pattern.peaks(theta)
    margin = 14.0
    near = np.flatnonzero(
        (peaks.position_deg > two_theta_deg[0] - margin) & (peaks.position_deg < two_theta_deg[-1] + margin)
    )
    near = near[np.argsort(peaks.position_deg[near])]
    mix = mixture(peaks.gauss_deg[near], peaks.lorentz_deg[near])
    axial_at = pattern.at["axial", 0]
    spread = axial_spread(peaks.position_deg[near], mix.width, float(theta[axial_at]))
    of, share = spread.of_line, spread.share
    parts = mix.of(of)
    half = reach_deg(mix.width, peaks.intensity[near])[of]
    # A line is cut at the end of its window, not squeezed into it: what lies beyond is flat and falls to the
    # background. Squeezing raises every core by as much as 2 %, weak lines most, and so favours phases with
    # few strong lines (iron) over those with many.
    weight = peaks.intensity[near][of] * share
    wanted = _wanted(peaks, free if with_slopes else (), near[of], weight, share, parts)
    if with_slopes and axial_at in free:
        wanted[axial_at] = [None, weight * spread.by_height, None, None]
    drawn = Column(np.zeros(len(two_theta_deg)), {k: np.zeros(len(two_theta_deg)) for k in wanted})
    for some in batches(two_theta_deg, spread.position_deg, half):
        place = spread.position_deg[some]
        at = windows(two_theta_deg, place, half[some])
        shape = pseudo_voigt(two_theta_deg, place, parts.of(some), at, with_slopes=bool(wanted))
        _draw(drawn, shape, at, weight[some], {k: _some(w, some) for k, w in wanted.items()})
    return drawn


def _wanted(
    peaks: Peaks, free: Sequence[int], lines: NDArray[np.intp], weight: Array, share: Array, parts: Mixture
) -> dict[int, list[Array | None]]:
    """Give how the lines to be drawn answer to each free parameter, by the four arrays of a shape."""
    slopes = {k: peaks.slopes[k] for k in free if k in peaks.slopes}
    return {k: _chain(_some(by, lines), weight, share, parts) for k, by in slopes.items()}


def _some(arrays: Sequence[Array | None], lines: NDArray[np.intp] | slice) -> list[Array | None]:
    return [None if a is None else a[lines] for a in arrays]


def _chain(by: list[Array | None], weight: Array, share: Array, mix: Mixture) -> list[Array | None]:
    """Turn derivatives of (intensity, position, widths) into factors of the four arrays of a shape."""
    intensity, position, gauss, lorentz = by
    width = eta = None
    if gauss is not None or lorentz is not None:
        g = 0.0 if gauss is None else gauss
        low = 0.0 if lorentz is None else lorentz
        width = weight * (mix.width_by_gauss * g + mix.width_by_lorentz * low)
        eta = weight * (mix.eta_by_gauss * g + mix.eta_by_lorentz * low)
    return [
        None if intensity is None else intensity * share,
        None if position is None else weight * position,
        width,
        eta,
    ]


def _draw(
    drawn: Column, shape: Shape, at: Windows, weight: Array, wanted: dict[int, list[Array | None]]
) -> None:
    """Add some lines and their derivatives to a column, one sparse product for each kind of derivative."""
    from scipy.sparse import csc_array

    if not len(at.rows):
        return
    low, high = int(at.rows.min()), int(at.rows.max()) + 1
    rows, starts = (at.rows - low).astype(np.int32), at.starts.astype(np.int32)
    # one frame of rows and columns, filled with the values and with each kind of derivative in turn
    matrix = csc_array((shape.value, rows, starts), shape=(high - low, len(starts) - 1))
    for c, values in enumerate((shape.value, shape.by_position, shape.by_width, shape.by_eta)):
        keys = [k for k, parts in wanted.items() if parts[c] is not None]
        factors = [f for k in keys if (f := wanted[k][c]) is not None]
        onto = [drawn.slopes[k] for k in keys]
        if c == 0:
            factors.append(weight)
            onto.append(drawn.value)
        if onto:
            matrix.data = values
            for total, more in zip(onto, (matrix @ np.column_stack(factors)).T, strict=True):
                total[low:high] += more
