"""One row for each phase that was offered: found, below its limit, or seen and not weighed."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import exp, pi, sqrt
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from teardown.science.crystallography.fractions import (
    Amorphous,
    Shares,
    amorphous_share,
    amorphous_u,
    honest,
)
from teardown.science.crystallography.limits import Limit
from teardown.science.crystallography.microabsorption import contrast_times_diameter, corrected
from teardown.science.crystallography.parameters import size_nm
from teardown.science.crystallography.phases import Phase
from teardown.science.crystallography.refinement import Refinement

Array = NDArray[np.float64]
Status = Literal["found", "below limit", "standard", "identified"]

ASSUMED_SIZE_UM = (1.0, 5.0)  # where no grain size is known; common practice, no source
# Both our own; no source
WIDTH_SEEN = 0.2  # of the width of the instrument
CONTRAST_REFUSED = 0.05  # (µ - µ) D beyond which a standard makes false amorphous content
CELL_MOVED = 0.004  # of an edge, beyond which a phase may be another one
MOST_IN_DOUBT = 0.05  # share that another phase, or what line shapes leave over, may lend it


@dataclass(frozen=True, slots=True)
class Standard:
    """An internal standard: its phase, its weighed share of the mixture, and how crystalline it is itself."""

    phase: str
    share: float
    crystallinity: float = 1.0
    u_crystallinity: float = 0.01


@dataclass(frozen=True, slots=True)
class Corrected:
    """A share after Brindley's correction for a range of grain size: beside the plain one, never instead."""

    weight_fraction: float
    low: float
    high: float
    u: float
    size_um: tuple[float, float]


@dataclass(frozen=True, slots=True)
class PhaseResult:
    """What the fit says of one phase. Shares are 0 to 1; None where there is nothing to state.

    ``esd`` is the precision of the fit, ``u`` the honest uncertainty. ``weight_fraction_absolute`` is of the
    whole specimen, amorphous part in, and needs an internal standard. ``oxidation`` is 0 for maghemite and 1
    for magnetite.
    """

    phase: str
    name: str
    group: str
    status: Status
    weight_fraction: float | None
    esd: float | None
    u: float | None
    limit: float | None
    weight_fraction_absolute: float | None
    brindley: Corrected | None
    cell: tuple[float, ...] | None
    cell_esd: tuple[float, ...] | None
    size_nm: float | None
    width_measured: bool
    texture_r: float | None
    delta_B_A2: float | None
    oxidation: float | None
    scale: float | None
    # Lorentzian widths beyond those of the instrument, in degrees: X / cos θ and Y tan θ; of plates, whose
    # lines differ in width by direction, X is the mean over all directions, and so is the size
    width_X_deg: float | None = None
    width_Y_deg: float | None = None
    # with a calibrated instrument only; lines no wider than its own give a least size; strain has no unit
    size_at_least_nm: float | None = None
    strain: float | None = None


@dataclass(frozen=True, slots=True)
class Shifts:
    """Shift of each plain share by microabsorption, and shares corrected for three grain sizes."""

    plain: Array
    low: Array
    middle: Array
    high: Array
    size_um: tuple[float, float]
    known: bool


def size_shifts(
    phases: Sequence[Phase],
    mixed: Shares,
    anode: str,
    size_um: tuple[float, float] | None,
    standard: Standard | None,
) -> Shifts:
    """Correct the shares for both ends and the middle of the grain size, a standard left out."""
    span = size_um or ASSUMED_SIZE_UM
    middle = sqrt(span[0] * span[1])
    weighed = np.array([not p.identification_only for p in phases])
    inside = np.array(
        [w and (standard is None or p.key != standard.phase) for p, w in zip(phases, weighed, strict=True)]
    )

    def at(size: float) -> Array:
        out = np.zeros(len(phases))
        index = np.flatnonzero(weighed & (mixed.weight > 0))
        out[index] = corrected(
            [phases[int(i)] for i in index], mixed.weight[index] / mixed.weight[index].sum(), anode, size
        )
        out *= inside
        return np.asarray(out / out.sum() if out.sum() > 0 else out, dtype=np.float64)

    found = mixed.weight * inside
    found = found / found.sum() if found.sum() > 0 else found
    best = at(middle)
    # With no size known, grains that absorb alike need no allowance; others get that of usual ones.
    there = [p for p, w in zip(phases, mixed.weight, strict=True) if w > 0 and not p.identification_only]
    apart = bool(there) and contrast_times_diameter(there, anode, middle) > CONTRAST_REFUSED
    shift = best - found if size_um or apart else np.zeros(len(phases))
    return Shifts(shift, at(span[0]), best, at(span[1]), span, size_um is not None)


def cell_moved(fit: Refinement, i: int) -> float:
    """Give by which part an edge of a phase's cell lies off the table at most; 0 where it is free to."""
    if fit.phases[i].tie is not None:
        return 0.0
    edges = (k for k in fit.patterns[i].cell_at if fit.parameters[k].part < 3)
    return max(abs(float(fit.theta[k])) for k in edges)


def with_doubt_of_cells(shifts: Shifts, fit: Refinement, weight: Array) -> Shifts:
    """Allow half the share, or half of 5 wt%, for phases whose cell is not that of the table.

    What another phase or an imperfect line shape leaves over draws the cell of a weak phase to itself; half
    of what may be so lent is the standard uncertainty that reaches nothing within two of it.
    """
    moved = np.array([cell_moved(fit, i) > CELL_MOVED for i in range(len(fit.phases))])
    doubt = np.where(moved, np.minimum(weight, MOST_IN_DOUBT) / 2, 0.0)
    return replace(shifts, plain=np.copysign(np.hypot(shifts.plain, doubt), shifts.plain))


def amorphous_of(
    phases: Sequence[Phase],
    mixed: Shares,
    standard: Standard | None,
    anode: str,
    size_um: tuple[float, float] | None,
) -> Amorphous | None:
    """State the share that no line shows, or say why it is not stated."""
    if standard is None:
        return None
    at = next(i for i, p in enumerate(phases) if p.key == standard.phase)
    found = float(mixed.weight[at])
    if not 0 < found < 1:
        return Amorphous(
            standard.phase,
            standard.share,
            found,
            None,
            None,
            "The standard was not found beside other phases.",
        )
    if anode == "co" and standard.phase == "ceria":
        return Amorphous(
            standard.phase,
            standard.share,
            found,
            None,
            None,
            "Ceria absorbs Co Kα far more strongly than iron phases do; it is no standard for this tube.",
        )
    span = size_um or (2.0, 2.0)
    contrast = contrast_times_diameter([p for p in phases if not p.identification_only], anode, span[1])
    if anode == "cu" and contrast > CONTRAST_REFUSED:
        known = f"grains up to {span[1]:g} µm" if size_um else "grains of about 2 µm, as no size is given"
        return Amorphous(
            standard.phase,
            standard.share,
            found,
            None,
            None,
            (
                f"With Cu Kα and {known}, microabsorption ((µ - µ) D = {contrast:.2f}) would make "
                "or hide amorphous content; use Co or Mo, or finer grains."
            ),
        )
    value = amorphous_share(standard.share, found, standard.crystallinity)
    true = corrected(phases, mixed.weight, anode, sqrt(span[0] * span[1]))[at]
    shift = amorphous_share(standard.share, float(true), standard.crystallinity) - value
    u = amorphous_u(
        standard.share, found, float(mixed.esd[at]), shift, standard.crystallinity, standard.u_crystallinity
    )
    return Amorphous(standard.phase, standard.share, found, value, u)


def phase_results(
    fit: Refinement,
    offered: Sequence[Phase],
    refined: Sequence[Phase],
    shares: Shares,
    shifts: Shifts,
    limits: dict[str, Limit],
    amorphous: Amorphous | None,
    mixed: Shares,
    standard: Standard | None,
    ruler: str | None,
) -> tuple[PhaseResult, ...]:
    """Give the rows in the order in which the phases were offered."""
    there = {p.key: i for i, p in enumerate(refined)}
    crystalline = None if amorphous is None or amorphous.value is None else 1 - amorphous.value
    rows = []
    for phase in offered:
        if phase.key not in there:
            limit = limits[phase.key].weight_fraction if phase.key in limits else None
            rows.append(_absent(phase, limit))
            continue
        i = there[phase.key]
        is_standard = standard is not None and phase.key == standard.phase
        source = mixed if is_standard else shares
        rows.append(_present(fit, i, refined[i], source, shifts, crystalline, is_standard, ruler))
    return tuple(rows)


def _absent(phase: Phase, limit: float | None) -> PhaseResult:
    """Give the row of a phase that was not found."""
    return PhaseResult(
        phase.key,
        phase.name,
        phase.group,
        "below limit",
        None,
        None,
        None,
        limit,
        None,
        None,
        None,
        None,
        None,
        False,
        None,
        None,
        None,
        None,
    )


def _present(
    fit: Refinement,
    i: int,
    phase: Phase,
    shares: Shares,
    shifts: Shifts,
    crystalline: float | None,
    is_standard: bool,
    ruler: str | None,
) -> PhaseResult:
    """Give the row of a phase that is in the fit."""
    theta, esd = fit.theta, fit.esd_theta
    width = fit.index("log_X", i)
    r, b, overall = fit.index("log_r", i), fit.index("delta_B", i), fit.index("overall_B")
    assert width is not None
    weight, weight_esd = float(shares.weight[i]), float(shares.esd[i])
    status: Status = "standard" if is_standard else "identified" if phase.identification_only else "found"
    measured = esd.get(width, 1.0) < 0.7 * fit.sigma[width]
    x = exp(theta[width])
    weighed = status != "identified"
    optics = fit.recipe.optics
    calibrated = optics.calibrated
    # Lines broader than the instrument's by a fifth of its own width carry a size; others only a bound.
    own = WIDTH_SEEN * sqrt(max(optics.W, 4e-4)) + WIDTH_SEEN * optics.X
    seen = calibrated and measured and x > own
    strain = fit.index("Y", i)
    assert strain is not None
    doubt = esd.get(strain)
    strained = calibrated and doubt is not None and float(theta[strain]) > 3 * doubt
    brindley = None
    if shifts.known and status == "found":
        low, high = sorted((float(shifts.low[i]), float(shifts.high[i])))
        u = honest(weight_esd, float(shifts.middle[i]), (high - low) / 2)
        brindley = Corrected(float(shifts.middle[i]), low, high, u, shifts.size_um)
    cell_at = fit.patterns[i].cell_at
    return PhaseResult(
        phase=phase.key,
        name=phase.name,
        group=phase.group,
        status=status,
        weight_fraction=weight if weighed else None,
        esd=weight_esd if weighed else None,
        u=honest(weight_esd, weight, 0.0 if is_standard else float(shifts.plain[i])) if weighed else None,
        limit=None,
        weight_fraction_absolute=weight * crystalline
        if crystalline is not None and status == "found"
        else None,
        brindley=brindley,
        cell=phase.cell,
        cell_esd=tuple(float(esd.get(k, 0.0)) * phase.cell[min(j, 2)] for j, k in enumerate(cell_at)),
        size_nm=size_nm(x, fit.beam.wavelength_A) if seen else None,
        width_measured=measured,
        texture_r=exp(theta[r]) if r is not None and r in fit.free else None,
        delta_B_A2=float(theta[b]) + float(theta[overall])
        if b is not None and overall is not None and b in fit.free
        else None,
        oxidation=phase.tie.share(phase.cell[0]) if phase.tie and ruler else None,
        scale=float(fit.scales[i]),
        width_X_deg=x,
        width_Y_deg=float(theta[strain]),
        size_at_least_nm=size_nm(own, fit.beam.wavelength_A)
        if calibrated and measured and not seen
        else None,
        strain=float(theta[strain]) * pi / 720 if strained else None,
    )
