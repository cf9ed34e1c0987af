"""What a reader of a fit must know, each in a plain sentence with what to do."""

from collections.abc import Iterator, Sequence

import numpy as np

from teardown.science.crystallography.absorption import linear_absorption_per_cm
from teardown.science.crystallography.anode import better_anode
from teardown.science.crystallography.fractions import Amorphous, Shares
from teardown.science.crystallography.microabsorption import VALID, contrast_times_diameter
from teardown.science.crystallography.phases import Phase
from teardown.science.crystallography.profile import mixture
from teardown.science.crystallography.radiation import NAMES
from teardown.science.crystallography.refinement import Refinement
from teardown.science.crystallography.residuals import Unexplained
from teardown.science.crystallography.results import ASSUMED_SIZE_UM, CONTRAST_REFUSED, PhaseResult
from teardown.science.crystallography.settings import Settings
from teardown.science.crystallography.statistics import Statistics
from teardown.science.errors import Remark


def after_fit(
    fit: Refinement,
    refined: Sequence[Phase],
    rows: Sequence[PhaseResult],
    mixed: Shares,
    numbers: Statistics,
    amorphous: Amorphous | None,
    more: Sequence[Unexplained],
    chosen: Settings,
    ruler: str | None,
) -> tuple[Remark, ...]:
    """Collect the remarks of a finished fit, those on trust in the whole first."""
    offered = fit.phases
    found = [
        *_of_tube(fit, offered, numbers, chosen),
        *_of_quality(fit, numbers),
        *_of_leftovers(more),
        *_of_grains(refined, mixed, fit, chosen),
        *_of_phases(fit, refined, rows),
        *_of_spinel(fit, refined, rows, ruler, numbers),
        *_of_what_is_missing(rows, amorphous),
        *_of_scales(fit, mixed),
    ]
    return tuple(found)


def _of_tube(
    fit: Refinement, offered: Sequence[Phase], numbers: Statistics, chosen: Settings
) -> Iterator[Remark]:
    """Remark on a tube that is not the one named."""
    if not chosen.check_anode or numbers.unexplained < 0.3:
        return
    other = better_anode(fit, offered)
    if other:
        message = (
            f"The pattern fits far better as {NAMES[other[0]]} ({100 * other[1]:.0f} % left over) "
            f"than as {NAMES[fit.beam.anode]} ({100 * other[2]:.0f} %)."
        )
        yield Remark(
            "ANODE_MISMATCH",
            "error",
            message,
            other[1],
            remedy="Check which tube was in the instrument, and fit again.",
        )


def _of_quality(fit: Refinement, numbers: Statistics) -> Iterator[Remark]:
    """Remark on how well the calculated pattern follows the measured one."""
    if numbers.unexplained > 0.20:
        yield Remark(
            "RWP_B_HIGH",
            "warning",
            (
                f"{100 * numbers.unexplained:.0f} % of the pattern above its background is not "
                "explained, beyond counting noise."
            ),
            numbers.unexplained,
            remedy=(
                "Look at the difference curve: a phase may be missing, or its structure may not be this one."
            ),
        )
    if numbers.GoF > 3:
        yield Remark(
            "GOF_HIGH",
            "warning",
            f"The misfit is {numbers.GoF:.1f} times what counting explains.",
            numbers.GoF,
            remedy="The e.s.d. are widened by it; look at the difference curve.",
        )
    if numbers.GoF < 0.6:
        yield Remark(
            "SMOOTHED",
            "warning",
            (
                f"The misfit is only {numbers.GoF:.2f} of what counting explains: the counts were "
                "smoothed or scaled, and the e.s.d. are not to be trusted."
            ),
            numbers.GoF,
            remedy="Give the pattern as measured.",
        )
    if numbers.durbin_watson < 0.5:
        yield Remark(
            "SERIAL",
            "info",
            (
                f"Neighbouring residuals are alike (Durbin-Watson {numbers.durbin_watson:.2f}); "
                f"serial correlation alone would widen an e.s.d. {numbers.serial_factor:.1f} "
                "times."
            ),
            numbers.durbin_watson,
        )
    step, width = float(np.median(np.diff(fit.x))), _sharpest_deg(fit)
    if width / step < 4:
        yield Remark(
            "STEP_COARSE",
            "warning",
            f"The step of {step:.3f}° puts only {width / step:.1f} points on the width of a sharp line.",
            step,
            remedy="Use at least five points on a line.",
        )
    if len(fit.phases) == 1 and fit.scales[0] < 5 * float(np.sqrt(fit.covariance()[0, 0])):
        yield Remark(
            "NOTHING_SURE",
            "warning",
            (
                f"{fit.phases[0].name.capitalize()} is all that is left, and stands less than "
                "five e.s.d. above nothing."
            ),
            remedy="Count longer, and check radiation and phases.",
        )
    shift = fit.theta[fit.index("displacement") or 0]
    if abs(shift) > 0.2:
        yield Remark(
            "DISP_LARGE",
            "warning",
            f"The specimen sat {shift:+.2f}° off its place; lines were moved for it.",
            float(shift),
            remedy="Check the mounting height.",
        )
    background, by_phase = fit.curves
    if fit.recipe.humps:
        hump = (
            fit.background_columns[:, -len(fit.recipe.humps) :]
            @ fit.solution.linear.coefficients[-len(fit.recipe.humps) :]
            if fit.solution
            else background * 0
        )
        share = float(hump.sum() / max(hump.sum() + by_phase.sum(), 1e-300))
        if share > 0.1:
            yield Remark(
                "BROAD_HUMP",
                "info",
                (
                    f"A broad hump holds {100 * share:.0f} % of the intensity above the smooth "
                    "background: something without sharp lines is there."
                ),
                share,
                remedy="Its mass shows only against an internal standard.",
            )


def _sharpest_deg(fit: Refinement) -> float:
    """Give the full width of the sharpest line of the strongest phase, at low angles."""
    at, own = fit.index("log_W"), fit.index("log_X", int(np.argmax(fit.scales)))
    if at is None or own is None:
        return 0.1
    gauss, lorentz = np.exp(fit.theta[[at]] / 2), np.exp(fit.theta[[own]])
    return float(mixture(gauss, lorentz).width[0])


def _of_leftovers(more: Sequence[Unexplained]) -> Iterator[Remark]:
    """Remark on peaks that the model leaves over."""
    real = [u for u in more if not u.ghost]
    ghosts = [u for u in more if u.ghost]
    if real:
        names = list(dict.fromkeys(name for u in real for name in u.candidates))
        strongest = max(real, key=lambda u: u.sigmas)
        at = ", ".join(f"{u.two_theta_deg:.2f}°" for u in real[:5])
        could = (
            f" They would fit {', '.join(names[:3])}."
            if names
            else " No phase of the table has two of its strong lines there."
        )
        yield Remark(
            "UNEXPLAINED_PEAKS",
            "warning",
            f"{len(real)} peaks are left over, at {at}.{could}",
            strongest.sigmas,
            where=f"{strongest.two_theta_deg:.2f}°, d = {strongest.d_A:.3f} Å",
            remedy="Add the phase if it can be there, and fit again.",
        )
    for ghost in ghosts:
        yield Remark(
            "GHOST_LINE",
            "info",
            (
                f"A peak at {ghost.two_theta_deg:.2f}° lies where {ghost.ghost} of the tube would "
                "put the strongest line."
            ),
            ghost.sigmas,
            remedy="Check the filter or monochromator.",
        )


def _of_grains(
    refined: Sequence[Phase], mixed: Shares, fit: Refinement, chosen: Settings
) -> Iterator[Remark]:
    """Remark on grains that hide themselves."""
    there = [p for p, w in zip(refined, mixed.weight, strict=True) if w > 0]
    anode, size = fit.beam.anode, chosen.particle_size_um
    if len(there) < 2:
        return
    metal = any(p.key == "iron" for p in there)
    largest = size[1] if size else ASSUMED_SIZE_UM[1] if metal else 2.0
    contrast = contrast_times_diameter(there, anode, largest)
    if metal and size is None:
        yield Remark(
            "NO_PARTICLE_SIZE",
            "warning",
            (
                f"Iron stands beside other phases and no grain size is given. With {NAMES[anode]} "
                "and grains of 2 µm iron is hidden by several percent with Cu, by under 1 % with "
                "Co or Mo; the uncertainty allows for 1 to 5 µm."
            ),
            remedy="Give the grain size, from a micrograph if there is one.",
        )
    if contrast > CONTRAST_REFUSED:
        yield Remark(
            "MICROABSORPTION",
            "warning",
            (
                f"Strongly absorbing grains hide themselves: the spread of µ times {largest:g} µm "
                f"is {contrast:.2f} (above 0.05)."
            ),
            contrast,
            remedy=(
                "Read the corrected values beside the plain ones; Co or Mo Kα make the effect "
                "several times smaller for iron."
            ),
        )
    highest = max(linear_absorption_per_cm(p, anode) for p in there) * largest * 1e-4
    if highest > VALID and contrast > CONTRAST_REFUSED:
        yield Remark(
            "BRINDLEY_OUT",
            "warning",
            (
                f"µD reaches {highest:.2f}, beyond the {VALID} up to which the microabsorption "
                "correction holds: it shows a direction, not a value."
            ),
            highest,
            remedy="Grind finer, or use Co or Mo Kα.",
        )
    if metal and any(p.group in {"spinel", "oxide"} for p in there):
        yield Remark(
            "METAL_CORE_SHELL",
            "info",
            "Where oxide coats the metal, it hides the core, and no correction exists for that.",
            remedy="Look at a micrograph: skins on grains mean that metal is under-read.",
        )


def _of_phases(fit: Refinement, refined: Sequence[Phase], rows: Sequence[PhaseResult]) -> Iterator[Remark]:
    """Remark on single phases: cells, widths, texture, displacement factors, salts."""
    by_key = {r.phase: r for r in rows}
    for i, phase in enumerate(refined):
        row = by_key[phase.key]
        moves = [(float(fit.theta[k]), fit.parameters[k]) for k in fit.patterns[i].cell_at]
        if phase.tie is None and any(abs(m) > 0.004 for m, p in moves if p.part < 3):
            yield Remark(
                "CELL_OFF",
                "warning",
                f"The cell of {phase.name} is {100 * max(abs(m) for m, _ in moves):.1f} % from the table.",
                where=phase.key,
                remedy="Check that it is this phase, and the displacement.",
            )
        if any(m <= p.low + 1e-9 or m >= p.high - 1e-9 for m, p in moves):
            yield Remark(
                "CELL_AT_BOUND",
                "warning",
                f"The cell of {phase.name} ran to the end of its range.",
                where=phase.key,
                remedy="It is probably not this phase.",
            )
        if not row.width_measured:
            yield Remark(
                "SIZE_PRIOR",
                "info",
                f"The line width of {phase.name} is assumed, not measured.",
                where=phase.key,
            )
        if row.texture_r is not None and not 0.7 <= row.texture_r <= 1.3:
            yield Remark(
                "TEXTURE",
                "warning",
                f"Grains of {phase.name} do not lie at random (March-Dollase r = {row.texture_r:.2f}).",
                row.texture_r,
                phase.key,
                "Fill the holder from the side, or spin the specimen.",
            )
        if phase.platy and row.texture_r is None:
            yield Remark(
                "TEXTURE_UNMODELLED",
                "info",
                f"{phase.name.capitalize()} is platy, and is too weak here to show whether it lies flat.",
                where=phase.key,
            )
        if row.delta_B_A2 is not None and abs(row.delta_B_A2) > 0.5:
            yield Remark(
                "B_EXTREME",
                "warning",
                (
                    f"The displacement factor of {phase.name} moved by {row.delta_B_A2:+.2f} Å²: "
                    "intensities fall off unlike the structure's."
                ),
                row.delta_B_A2,
                phase.key,
                "Check absorption, roughness and the monochromator term.",
            )
    if any(p.group == "salt" for p in refined):
        yield Remark(
            "SALTS_PRESENT",
            "info",
            "Salts of the dried electrolyte are in the sum.",
            remedy="Read the shares without salt when comparing electrodes.",
        )


def _of_spinel(
    fit: Refinement,
    refined: Sequence[Phase],
    rows: Sequence[PhaseResult],
    ruler: str | None,
    numbers: Statistics,
) -> Iterator[Remark]:
    """Remark on what X-rays cannot tell of magnetite and maghemite."""
    spinels = [r for r in rows if r.group == "spinel" and r.status == "found"]
    if not spinels:
        return
    there = {p.key for p in refined}
    if ruler is None or ruler not in there:
        yield Remark(
            "SPINEL_NO_RULER",
            "warning",
            (
                "Magnetite and maghemite differ here by a cell edge alone, and no line of known "
                "place (iron, a standard) is in the pattern: read their sum only."
            ),
            remedy="Add an internal standard, or ask for Mössbauer spectroscopy.",
        )
    elif len(spinels) == 1:
        yield Remark(
            "SPINEL_BY_CELL",
            "info",
            (
                "How far the spinel is oxidised is read from its cell edge; diffraction does not "
                "replace Mössbauer spectroscopy for it."
            ),
            spinels[0].oxidation,
        )
    if len(spinels) > 1:
        yield Remark(
            "SPINEL_DOUBLE",
            "warning",
            "Two spinels overlap nearly everywhere: their sum is safe, their split carries several percent.",
            remedy='Offer one "spinel" whose occupancy follows its cell.',
        )


def _of_what_is_missing(rows: Sequence[PhaseResult], amorphous: Amorphous | None) -> Iterator[Remark]:
    """Remark on what the shares are shares of."""
    if amorphous is None:
        yield Remark(
            "CRYSTALLINE_ONLY",
            "info",
            (
                "The shares are of the crystalline phases in the model; ferrihydrite, gels, "
                "binder and carbon black are not in them."
            ),
            remedy="An internal standard shows what is missing.",
        )
    elif amorphous.value is None:
        yield Remark(
            "AMORPHOUS_REFUSED",
            "warning",
            f"No amorphous share is stated. {amorphous.reason}",
            where=amorphous.standard,
        )
    elif amorphous.value < -2 * (amorphous.u or 0.0):
        yield Remark(
            "AMORPHOUS_NEGATIVE",
            "warning",
            (
                "The standard reads too low for its weighed share: the amorphous share comes out "
                f"at {100 * amorphous.value:.1f} %."
            ),
            amorphous.value,
            amorphous.standard,
            "Check the weighing, the mixing and the grain sizes.",
        )
    for row in rows:
        if row.status == "identified":
            yield Remark(
                "IDENTIFIED_ONLY",
                "info",
                (
                    f"{row.name.capitalize()} is modelled so that its lines are explained, but "
                    "not weighed: its structure is not known well enough."
                ),
                where=row.phase,
            )


def _of_scales(fit: Refinement, mixed: Shares) -> Iterator[Remark]:
    """Remark on phases that the pattern cannot keep apart."""
    esd = np.maximum(mixed.esd, 1e-12)
    n = len(fit.phases)
    if n < 3:  # two shares that add up to one are always opposite
        return
    correlation = mixed.covariance / np.outer(esd, esd)
    for i in range(n):
        for j in range(i + 1, n):
            if correlation[i, j] < -0.95:
                yield Remark(
                    "CORRELATED",
                    "warning",
                    (
                        f"{fit.phases[i].name.capitalize()} and {fit.phases[j].name} can stand "
                        "for one another here; their sum is safer than either."
                    ),
                    float(correlation[i, j]),
                )
