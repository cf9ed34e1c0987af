"""Remarks on what the beam fell on: grains that hide, single phases, spinels."""

from collections.abc import Iterator, Sequence

import numpy as np

from teardown.science.crystallography.absorption import information_depth_um, linear_absorption_per_cm
from teardown.science.crystallography.fractions import Shares
from teardown.science.crystallography.microabsorption import VALID, contrast_times_diameter
from teardown.science.crystallography.phases import Phase
from teardown.science.crystallography.radiation import NAMES
from teardown.science.crystallography.refinement import Refinement
from teardown.science.crystallography.results import (
    ASSUMED_SIZE_UM,
    CELL_MOVED,
    CONTRAST_REFUSED,
    PhaseResult,
    cell_moved,
)
from teardown.science.crystallography.settings import Settings
from teardown.science.crystallography.spinels import two_spinels
from teardown.science.errors import Remark

B_FAR_A2 = 0.5  # our own, no source


def of_grains(refined: Sequence[Phase], mixed: Shares, fit: Refinement, chosen: Settings) -> Iterator[Remark]:
    """Remark on grains that hide themselves."""
    there = [p for p, w in zip(refined, mixed.weight, strict=True) if w > 0]
    anode, size = fit.beam.anode, chosen.particle_size_um
    if len(there) < 2:
        return
    metal = any(p.key == "iron" for p in there)
    read = (
        "Read the corrected values beside the plain ones"
        if size
        else "Give the grain size for corrected values"
    )
    largest = size[1] if size else ASSUMED_SIZE_UM[1] if metal else 2.0
    contrast = contrast_times_diameter(there, anode, largest)
    if metal and size is None:
        yield Remark(
            "NO_PARTICLE_SIZE",
            "warning",
            (
                "Iron stands beside other phases and no grain size is given. Grains of 2 µm hide several "
                "percent of the iron with Cu, under 1 % with Co or Mo; the uncertainty allows for 1 to 5 µm "
                f"with {NAMES[anode]}."
            ),
            remedy="Give the grain size, from a micrograph if there is one.",
        )
    if contrast > CONTRAST_REFUSED:
        yield Remark(
            "MICROABSORPTION",
            "warning",
            (
                "Strongly absorbing grains hide themselves: the absorption coefficients µ of the phases lie "
                f"apart by {contrast:.2f} over {largest:g} µm (more than 0.05 matters)."
            ),
            contrast,
            remedy=f"{read}; Co or Mo Kα make the effect several times smaller for iron.",
        )
    elif metal:
        yield Remark(
            "MICROABSORPTION",
            "info",
            (
                f"Metal stands beside its oxides; with {NAMES[anode]} the absorption coefficients µ of the "
                f"phases lie apart by {contrast:.2f} over {largest:g} µm (below 0.05), so it hides little."
            ),
            contrast,
            remedy=f"{read}.",
        )
    highest = max(linear_absorption_per_cm(p, anode) for p in there) * largest * 1e-4
    if highest > VALID and contrast > CONTRAST_REFUSED:
        yield Remark(
            "BRINDLEY_OUT",
            "warning",
            (
                f"Absorption coefficient times grain size (µD) reaches {highest:.2f}; up to {VALID} the "
                "correction for microabsorption holds, beyond it shows a direction, not a value."
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


def of_phases(fit: Refinement, refined: Sequence[Phase], rows: Sequence[PhaseResult]) -> Iterator[Remark]:
    """Remark on single phases: cells, widths, texture, displacement factors, salts."""
    by_key = {r.phase: r for r in rows}
    for i, phase in enumerate(refined):
        row = by_key[phase.key]
        moves = [(float(fit.theta[k]), fit.parameters[k]) for k in fit.patterns[i].cell_at]
        if (moved := cell_moved(fit, i)) > CELL_MOVED:
            yield Remark(
                "CELL_OFF",
                "warning",
                (
                    f"The cell of {phase.name} is {100 * moved:.1f} % from the table; its u allows for lines "
                    "that are another's."
                ),
                moved,
                phase.key,
                "Check that it is this phase, and the displacement.",
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
        thin = fit.index("log_thin", i)
        if thin in fit.free and abs(fit.theta[thin]) > max(0.4, 3 * fit.esd_theta.get(thin, 1.0)):
            ratio = float(np.exp(fit.theta[thin]))
            broader = ("along", "across") if ratio > 1 else ("across", "along")
            yield Remark(
                "LINES_BY_DIRECTION",
                "info",
                (
                    f"Lines of {phase.name} are {max(ratio, 1 / ratio):.1f} times broader {broader[0]} the "
                    f"normal of its plates than {broader[1]} it; widths and sizes are means over directions."
                ),
                ratio,
                phase.key,
            )
    yield from of_displacement([r for r in rows if r.delta_B_A2 is not None])
    yield from of_air(refined)
    if any(p.group == "salt" for p in refined):
        yield Remark(
            "SALTS_PRESENT",
            "info",
            "Salts of the dried electrolyte are in the sum.",
            remedy="Read the shares without salt when comparing electrodes.",
        )


def of_displacement(rows: Sequence[PhaseResult]) -> Iterator[Remark]:
    """Remark once on displacement factors that moved far, as surfaces and optics move those of all phases."""
    far = {r.name: r.delta_B_A2 for r in rows if r.delta_B_A2 is not None and abs(r.delta_B_A2) > B_FAR_A2}
    if not far:
        return
    low, high = min(far.values()), max(far.values())
    by = f"{low:+.2f} Å²" if low == high else f"{low:+.2f} to {high:+.2f} Å²"
    several = "factors" if len(far) > 1 else "factor"
    yield Remark(
        "B_EXTREME",
        "warning",
        (
            f"The displacement {several} of {' and of '.join(far)} moved by {by}: intensities fall off with "
            "the angle unlike those of the structure."
        ),
        max(far.values(), key=abs),
        next(r.phase for r in rows if r.name in far),
        "Check absorption, roughness and the monochromator term.",
    )


def of_air(refined: Sequence[Phase]) -> Iterator[Remark]:
    """Remark on what may have grown after the cell was opened (common practice, no source)."""
    there = {p.group for p in refined}
    if not any(p.key == "iron" for p in refined) and "hydroxide" not in there:
        return
    grown = there & {"oxyhydroxide", "spinel", "oxide"}
    yield Remark(
        "AIR",
        "warning" if "oxyhydroxide" in there else "info",
        (
            "Fine iron and iron(II) hydroxide oxidise in air within minutes to hours: "
            + ("part of the " + " and ".join(sorted(grown)) + " found" if grown else "oxide and oxyhydroxide")
            + " may have grown after the cell was opened."
        ),
        remedy="Note how long the specimen lay in air, and compare with one dried and scanned without it.",
    )


def of_surface(phases: Sequence[Phase], anode: str, two_theta_deg: float) -> Iterator[Remark]:
    """Remark on a flat surface: from which depth the strongest line comes, powder packed to a half.

    Parameters
    ----------
    phases : sequence of Phase
        Those found.
    anode : str
    two_theta_deg : float
        Where the strongest line of the pattern stands.
    """
    depths = [information_depth_um(p, anode, two_theta_deg) for p in phases]
    if depths:
        low, high = min(depths), max(depths)
        span = f"{low:.0f} µm" if round(low) == round(high) else f"{low:.0f} to {high:.0f} µm"
        yield Remark(
            "SURFACE_ONLY",
            "warning",
            (
                f"The beam saw a flat surface: 95 % of its strongest line comes from the outermost {span}, "
                "as phase and packing have it. The shares are of this skin, not of the electrode."
            ),
            high,
            remedy="Grind the whole electrode for its mean; never average the two.",
        )


def of_spinel(
    fit: Refinement, refined: Sequence[Phase], rows: Sequence[PhaseResult], ruler: str | None
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
    if (two := two_spinels(fit, ruler)) is not None:
        yield Remark(
            "SPINEL_SPLIT",
            "warning",
            (
                f"Two spinels explain the pattern better than one (Rwp falls by {100 * two.gain:.0f} %): "
                f"magnetite {100 * two.magnetite:.1f} ± {100 * two.magnetite_esd:.1f} %, maghemite "
                f"{100 * two.maghemite:.1f} ± {100 * two.maghemite_esd:.1f} %. A spinel whose oxidation "
                "changes from place to place looks the same; the sum stands either way."
            ),
            two.gain,
            remedy="Offer both if two are expected; Mössbauer spectroscopy decides.",
        )
    if len(spinels) > 1:
        yield Remark(
            "SPINEL_DOUBLE",
            "warning",
            "Two spinels overlap nearly everywhere: their sum is safe, their split carries several percent.",
            remedy='Offer one "spinel" whose occupancy follows its cell.',
        )
