"""From atoms to the intensities of powder lines."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from teardown.science.crystallography.phases import Atom, Phase
from teardown.science.crystallography.radiation import Radiation, dispersion, lorentz_polarisation
from teardown.science.crystallography.symmetry import (
    atomic_weight,
    operations,
    reciprocal_metric,
    site_multiplicity,
)
from teardown.science.errors import MeasurementError

Array = NDArray[np.float64]


class NoLines(MeasurementError):
    """A pattern ends before the first line of a phase that is offered for it."""

    code = "crystallography.E016"
    hint = "Scan further, or leave the phase out of the list."


@dataclass(frozen=True)
class Reflections:
    """The symmetry-independent reflections of a phase, in order of falling d.

    Attributes
    ----------
    hkl : ndarray of int, shape (n, 3)
    multiplicity : ndarray, shape (n,)
    q : ndarray, shape (n,)
        1/d², in Å⁻².
    F2 : ndarray, shape (3, n)
        |F|² as a polynomial in the occupancy of the tied site: F2[0] + occ F2[1] + occ² F2[2], in electrons
        squared, averaged over h and -h, displacement and dispersion in. Without a tied site F2[1:] is zero.
    equivalents : tuple of ndarray, one of shape (m, 3) for each reflection
    """

    hkl: NDArray[np.int_]
    multiplicity: Array
    q: Array
    F2: Array
    equivalents: tuple[NDArray[np.int_], ...]

    def intensity(self, tied_occupancy: float = 1.0) -> Array:
        """Give multiplicity times |F|², shape (n,)."""
        f2 = self.F2[0] + tied_occupancy * self.F2[1] + tied_occupancy**2 * self.F2[2]
        return np.asarray(self.multiplicity * f2, dtype=np.float64)


def reflections(
    phase: Phase,
    beam: Radiation,
    two_theta_max_deg: float,
    margin: float = 0.01,
    shifts: tuple[tuple[str, float], ...] = (),
) -> Reflections:
    """List the reflections of a phase up to an angle, with their |F|².

    Parameters
    ----------
    phase : Phase
    beam : Radiation
    two_theta_max_deg : float
    margin : float
        Relative room above the limit, so that a growing cell does not lose a line.
    shifts : tuple of (element, electrons)
        What to add to f' of some elements.

    Raises
    ------
    NoLines
        If there is none up to that angle.
    """
    q_max = (2 * np.sin(np.radians(min(two_theta_max_deg, 179.0)) / 2) / beam.wavelength_A) ** 2 * (
        1 + margin
    )
    found = _reflections(
        phase.space_group,
        phase.cell,
        phase.atoms,
        phase.tie.site if phase.tie else "",
        beam.energy_eV,
        round(q_max, 3),
        shifts,
    )
    if not len(found.hkl):
        raise NoLines(f"{phase.name[:1].upper()}{phase.name[1:]} has no line below {two_theta_max_deg:.4g}°.")
    return found


@lru_cache(maxsize=256)
def _reflections(
    space_group: str,
    cell: tuple[float, ...],
    atoms: tuple[Atom, ...],
    tied: str,
    energy_eV: float,
    q_max: float,
    shifts: tuple[tuple[str, float], ...],
) -> Reflections:
    """Do the work of `reflections` once for each structure, energy and limit."""
    metric = reciprocal_metric(cell)  # type: ignore[arg-type]
    if not len(_sphere(metric, q_max)[0]):
        return Reflections(np.empty((0, 3), dtype=np.int_), np.empty(0), np.empty(0), np.empty((3, 0)), ())
    hkl, q, equivalents = _independent(space_group, metric, q_max)
    factors = {a.element: dispersion(a.element, energy_eV) + dict(shifts).get(a.element, 0.0) for a in atoms}
    fixed = _structure_factor([a for a in atoms if a.label != tied], space_group, hkl, q, factors)
    loose = _structure_factor(
        [a for a in atoms if a.label == tied], space_group, hkl, q, factors, occupied=True
    )
    cross = np.real(fixed * np.conj(loose)).sum(axis=0)  # the mean over h and -h, doubled
    f2 = np.array([(np.abs(fixed) ** 2).mean(axis=0), cross, (np.abs(loose) ** 2).mean(axis=0)])
    multiplicity = np.array([len(e) for e in equivalents], dtype=np.float64)
    strong = multiplicity * f2.sum(axis=0)
    keep = np.flatnonzero(strong > 1e-7 * strong.max())
    return Reflections(
        hkl[keep], multiplicity[keep], q[keep], f2[:, keep], tuple(equivalents[k] for k in keep)
    )


def _sphere(metric: Array, q_max: float) -> tuple[NDArray[np.int_], list[int]]:
    """Give all hkl up to a 1/d², and how far each index reaches."""
    reach = [int(np.sqrt(q_max * edge)) + 1 for edge in np.diag(np.linalg.inv(metric))]
    grid = np.stack(np.meshgrid(*[np.arange(-m, m + 1) for m in reach], indexing="ij"), axis=-1).reshape(
        -1, 3
    )
    q_all = np.einsum("ni,ij,nj->n", grid, metric, grid)
    return grid[(q_all <= q_max) & (q_all > 0)], reach


def _independent(
    space_group: str, metric: Array, q_max: float
) -> tuple[NDArray[np.int_], Array, list[NDArray[np.int_]]]:
    """Group all hkl in a sphere into orbits of the Laue class; give one of each, its 1/d², its orbit."""
    grid, reach = _sphere(metric, q_max)
    rotations = np.unique(operations(space_group)[0].reshape(-1, 9), axis=0).reshape(-1, 3, 3)
    span = 2 * max(reach) + 1
    code = np.array([span * span, span, 1])
    keys = np.stack(
        [np.maximum(image @ code, -(image @ code)) for image in (grid @ r for r in rotations)]
    ).max(axis=0)
    order = np.argsort(keys, kind="stable")
    starts = np.flatnonzero(np.diff(keys[order], prepend=keys[order][0] - 1))
    orbits = np.split(grid[order], starts[1:])
    chosen = np.array(
        [orbit[np.argmax((orbit >= 0).sum(axis=1) * span**3 + orbit @ code)] for orbit in orbits]
    )
    q = np.einsum("ni,ij,nj->n", chosen, metric, chosen)
    by_d = np.argsort(q, kind="stable")
    return chosen[by_d], q[by_d], [orbits[k] for k in by_d]


def _structure_factor(
    atoms: list[Atom],
    space_group: str,
    hkl: NDArray[np.int_],
    q: Array,
    dispersed: dict[str, complex],
    occupied: bool = False,
) -> NDArray[np.complex128]:
    """Give F(h) and F(-h), shape (2, n); ``occupied`` counts each site full."""
    rotations, translations = operations(space_group)
    total = np.zeros((2, len(hkl)), dtype=np.complex128)
    for atom in atoms:
        points = (rotations @ np.array([atom.x, atom.y, atom.z]) + translations).T
        phase = np.exp(2j * np.pi * (hkl @ points)).sum(axis=1)
        share = site_multiplicity(space_group, atom.x, atom.y, atom.z) / len(rotations)
        factor = form_factor(atom.element, q / 4) + dispersed[atom.element]
        here = factor * np.exp(-atom.B_A2 * q / 4) * share * (1.0 if occupied else atom.occupancy)
        total += np.array([here * phase, here * np.conj(phase)])
    return total


def form_factor(element: str, s2: Array) -> Array:
    """Give f0 of a neutral atom, in electrons, for (sin θ / λ)² in Å⁻² (International Tables C, 6.1.1.4)."""
    a, b, c = _coefficients(element)
    return np.asarray((a[:, None] * np.exp(-b[:, None] * s2)).sum(axis=0) + c, dtype=np.float64)


@lru_cache(maxsize=128)
def _coefficients(element: str) -> tuple[Array, Array, float]:
    """Give the four Gaussians and the constant of a form factor."""
    import gemmi

    table = gemmi.Element(element).it92
    return np.array(table.a), np.array(table.b), float(table.c)


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a calculated powder pattern; ``relative`` is 100 for the strongest."""

    hkl: tuple[int, int, int]
    d_A: float
    two_theta_deg: float
    relative: float
    intensity: float


def lines(
    phase: Phase, beam: Radiation, two_theta_max_deg: float, merge_deg: float = 0.0
) -> tuple[Line, ...]:
    """Give the lines of a phase for the strongest wavelength, with Lorentz and polarisation in.

    ``merge_deg`` joins lines that lie closer than that into the stronger one. ``intensity`` is per cell
    volume squared, so that it compares phases at equal volume.
    """
    try:
        found = reflections(phase, beam, two_theta_max_deg, margin=0.0)
    except NoLines:
        return ()
    two_theta = 2 * np.degrees(np.arcsin(np.minimum(1.0, beam.wavelength_A * np.sqrt(found.q) / 2)))
    height = (
        _tied_intensity(phase, found)
        * lorentz_polarisation(two_theta, beam.polarisation)
        / phase.volume_A3**2
    )
    rows: list[list[float]] = []
    for k, (angle, value) in enumerate(zip(two_theta, height, strict=True)):
        if rows and angle - rows[-1][0] < merge_deg:
            stronger = value > rows[-1][3]
            rows[-1] = [
                angle if stronger else rows[-1][0],
                rows[-1][1] + value,
                k if stronger else rows[-1][2],
                max(value, rows[-1][3]),
            ]
        else:
            rows.append([angle, value, k, value])
    top = max(row[1] for row in rows) if rows else 1.0
    return tuple(
        Line(
            (int(h[0]), int(h[1]), int(h[2])),
            float(found.q[int(k)] ** -0.5),
            float(angle),
            float(100 * value / top),
            float(value),
        )
        for angle, value, k, _ in rows
        for h in [found.hkl[int(k)]]
    )


def _tied_intensity(phase: Phase, found: Reflections) -> Array:
    """Give multiplicity times |F|² with the tied site as the phase has it."""
    occupancy = next((a.occupancy for a in phase.atoms if phase.tie and a.label == phase.tie.site), 1.0)
    return found.intensity(occupancy)


def mass_of_tied(phase: Phase) -> float:
    """Give the mass that the tied site would have if it were full, in g/mol a cell; 0 without one."""
    if phase.tie is None:
        return 0.0
    atom = next(a for a in phase.atoms if a.label == phase.tie.site)
    return site_multiplicity(phase.space_group, atom.x, atom.y, atom.z) * atomic_weight(atom.element)


def reference_intensity_ratio(
    phase: Phase, standard: Phase, beam: Radiation, standard_hkl: tuple[int, int, int] = (1, 1, 3)
) -> float:
    """Give I/Ic: strongest line of a phase over a line of the standard, in a mixture of equal masses.

    Lines closer than 0.06° count as one. Never mix it with published ratios: they rest on peak heights of
    one specimen, and for corundum differ from calculated intensities by a tenth.
    """
    own = max(line.intensity for line in lines(phase, beam, 120.0, merge_deg=0.06)) / phase.density_g_cm3
    base = next(
        line.intensity for line in lines(standard, beam, 120.0) if _same_family(line.hkl, standard_hkl)
    )
    return own / (base / standard.density_g_cm3)


def _same_family(hkl: tuple[int, int, int], wanted: tuple[int, int, int]) -> bool:
    """Compare indices of hexagonal axes: l up to sign, h² + hk + k² alike."""
    h, k, l = hkl  # noqa: E741 - the trade's letters
    a, b, c = wanted
    return abs(l) == abs(c) and h * h + h * k + k * k == a * a + a * b + b * b
