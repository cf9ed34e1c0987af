"""What a fit may move, where each begins, and how far it is expected to go.

Every parameter carries a prior: fixing the widths of minor phases, or leaving them free, both cost far more
than a restraint does.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import log, pi

import numpy as np
from numpy.typing import NDArray

from teardown.science.crystallography.phases import Phase
from teardown.science.crystallography.radiation import Radiation
from teardown.science.crystallography.symmetry import Cell, crystal_system

Array = NDArray[np.float64]
SCHERRER_K = 0.9  # common practice; from .87 to 1 by shape (Langford & Wilson 1978, J. Appl. Cryst. 11, 102)

# Which entries of a cell move together, for each crystal system.
_CELL_MOVES: dict[str, tuple[tuple[int, ...], ...]] = {
    "cubic": ((0, 1, 2),),
    "hexagonal": ((0, 1), (2,)),
    "tetragonal": ((0, 1), (2,)),
    "orthorhombic": ((0,), (1,), (2,)),
    "monoclinic": ((0,), (1,), (2,), (4,)),
    "trigonal": ((0, 1, 2), (3, 4, 5)),
    "triclinic": ((0,), (1,), (2,), (3,), (4,), (5,)),
}


@dataclass(frozen=True, slots=True)
class Optics:
    """What is known of the instrument before the fit, in degrees 2θ.

    Gaussian variance U tan² θ + V tan θ + W, Lorentzian width X / cos θ + Y tan θ, ``axial`` the sum of the
    half heights of source and receiver over the radius. ``calibrated`` says that a standard was measured for
    them: they then move little, and crystallite sizes may be stated. ``variable_slits`` says that the slits
    open with the angle so that the lit length stays the same.
    """

    U: float = 0.0
    V: float = 0.0
    W: float = 0.004
    X: float = 0.0
    Y: float = 0.0
    axial: float = 0.04
    calibrated: bool = False
    variable_slits: bool = False


@dataclass(frozen=True, slots=True)
class Parameter:
    """One quantity that the fit may move: its kind, its phase (or None), its prior and its bounds."""

    kind: str
    phase: int | None
    part: int
    mean: float
    sigma: float
    low: float = -np.inf
    high: float = np.inf


def cell_moves(phase: Phase) -> tuple[tuple[int, ...], ...]:
    """Say which entries of the cell are free, and which move together."""
    return _CELL_MOVES[crystal_system(phase.space_group)]


def moved_cell(phase: Phase, moves: Sequence[float]) -> Cell:
    """Give the cell after relative moves of its edges, and moves of its angles in hundredths of a radian."""
    cell = list(phase.cell)
    for entries, move in zip(cell_moves(phase), moves, strict=True):
        for k in entries:
            cell[k] = cell[k] * (1 + move) if k < 3 else cell[k] + 100 * move * 180 / pi / 100
    return (cell[0], cell[1], cell[2], cell[3], cell[4], cell[5])


def size_width_deg(size_nm: float, wavelength_A: float) -> float:
    """Give the Lorentzian X of a crystallite size, in degrees: K λ / L."""
    return SCHERRER_K * wavelength_A / (10 * size_nm) * 180 / pi


def size_nm(width_deg: float, wavelength_A: float) -> float:
    """Give the volume-weighted crystallite size of a Lorentzian X, in nm (Scherrer, K = 0.9)."""
    return SCHERRER_K * wavelength_A / 10 / (width_deg * pi / 180)


def parameters(
    phases: Sequence[Phase],
    beam: Radiation,
    optics: Optics,
    ruler: str | None,
    *,
    zero_free: bool = False,
    k_beta: bool = False,
) -> tuple[Parameter, ...]:
    """List the parameters of a fit with their priors, those of the instrument first.

    ``ruler`` is the key of the phase whose cell is trusted to 0.0004 Å; ``k_beta`` lets the tube's
    K-beta line show with a share of K-alpha.
    """
    # Widths of the priors are our own, set on drawn patterns; no source
    tight = 0.2 if optics.calibrated else 1.0
    shared = [
        Parameter("displacement", None, 0, 0.0, 0.15, -0.8, 0.8),
        Parameter("log_W", None, 0, log(optics.W), 1.0 * tight, log(1e-4), log(0.5)),
        Parameter("U", None, 0, optics.U, 0.01 * tight, -0.05, 0.2),
        Parameter("V", None, 0, optics.V, 0.005 * tight, -0.1, 0.1),
        Parameter("axial", None, 0, optics.axial, 0.03 * tight, 0.0, 0.15),
        # What optics, transparency and surface do to all phases alike; each phase moves around it.
        Parameter("overall_B", None, 0, 0.0, 0.5, -3.0, 3.0),
    ]
    if zero_free:
        shared.insert(1, Parameter("zero", None, 0, 0.0, 0.02, -0.3, 0.3))
    if k_beta:
        shared.append(Parameter("k_beta", None, 0, 0.0, 0.2, 0.0, 0.5))
    own: list[Parameter] = []
    for i, phase in enumerate(phases):
        own += _cell_parameters(i, phase, ruler)
        start = log(size_width_deg(phase.typical_size_nm, beam.wavelength_A))
        own.append(Parameter("log_X", i, 0, start, 0.5, log(0.001), log(6.0)))
        own.append(Parameter("Y", i, 0, 0.0, 0.15, -0.2, 3.0))
        own.append(Parameter("delta_B", i, 0, 0.0, 0.25, -2.0, 4.0))
        if phase.texture_axis:
            own.append(Parameter("log_r", i, 0, 0.0, 0.35, log(0.2), log(4.0)))
        if phase.texture_axis and phase.platy:
            # Plates are thin: lines of planes along them are broader than those across (ln of the ratio).
            own.append(Parameter("log_thin", i, 0, 0.0, 0.7, -3.0, 3.0))
    return tuple(shared + own)


def _cell_parameters(i: int, phase: Phase, ruler: str | None) -> list[Parameter]:
    """Give the moves of one cell; a tied spinel starts in the middle and may go from end to end."""
    found = []
    for k, entries in enumerate(cell_moves(phase)):
        mean, sigma = 0.0, 0.0015
        if entries[0] < 3 and phase.key == ruler:
            sigma = 0.0004 / phase.cell[entries[0]]
        if phase.tie is not None:
            mean = (phase.tie.a_oxidised + phase.tie.a_full) / 2 / phase.cell[0] - 1
            sigma = 0.003
        found.append(Parameter("cell", i, k, mean, sigma, mean - 0.012, mean + 0.012))
    return found
