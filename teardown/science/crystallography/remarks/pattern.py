"""Remarks on the pattern as a whole: tube, misfit, what is left over, what cannot be kept apart."""

from collections.abc import Iterator, Mapping, Sequence

import numpy as np

from teardown.science.crystallography.anode import angles_are_theta, better_anode
from teardown.science.crystallography.fractions import Amorphous, Shares
from teardown.science.crystallography.limits import Limit
from teardown.science.crystallography.phases import Phase, phase_table
from teardown.science.crystallography.profile import mixture
from teardown.science.crystallography.radiation import NAMES
from teardown.science.crystallography.refinement import Refinement
from teardown.science.crystallography.residuals import Unexplained
from teardown.science.crystallography.results import PhaseResult
from teardown.science.crystallography.settings import Settings
from teardown.science.crystallography.slits import better_slits
from teardown.science.crystallography.statistics import Statistics
from teardown.science.errors import Remark

IN_DOUBT = 2.0  # e.s.d. from which a phase not found is spoken of


def of_tube(
    fit: Refinement, offered: Sequence[Phase], numbers: Statistics, chosen: Settings
) -> Iterator[Remark]:
    """Remark on a tube that is not the one named."""
    if not chosen.check_anode or numbers.unexplained < 0.3:
        return
    if angles_are_theta(fit, offered):
        yield Remark(
            "ANGLES_ARE_THETA",
            "error",
            "The pattern fits far better with all angles doubled: the first column looks like θ, not 2θ.",
            remedy="Export the scan against 2θ in degrees.",
        )
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


def of_optics(fit: Refinement, chosen: Settings) -> Iterator[Remark]:
    """Remark on slits that are not the kind named, and on K-beta that comes through."""
    if chosen.check_slits and (kind := better_slits(fit)) is not None:
        named = "variable" if fit.recipe.optics.variable_slits else "fixed"
        yield Remark(
            "SLITS_MISMATCH",
            "error",
            f"Intensities fall with the angle as {kind} slits would have them, and {named} ones were named.",
            remedy="Check the divergence slit of the instrument, and fit again.",
        )
    at = fit.index("k_beta")
    if at is not None:
        share = float(fit.theta[at])
        yield Remark(
            "K_BETA",
            "warning" if share > 0.03 else "info",
            (
                f"Kβ of the tube shows with {100 * share:.1f} % of Kα; its lines are in the model, "
                "so that no phase is read into them."
            ),
            share,
            remedy="Check the filter or monochromator." if share > 0.03 else "",
        )


def of_quality(fit: Refinement, numbers: Statistics) -> Iterator[Remark]:
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
            remedy="Calculated lines are not quite of the measured shape: read u, not the e.s.d.",
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


def of_leftovers(more: Sequence[Unexplained]) -> Iterator[Remark]:
    """Remark on peaks that the model leaves over."""
    real = [u for u in more if not u.ghost]
    ghosts = [u for u in more if u.ghost]
    if real:
        table = phase_table().phases
        names = [table[key].name for key in dict.fromkeys(key for u in real for key in u.candidates)]
        strongest = max(real, key=lambda u: u.sigmas)
        at = ", ".join(f"{u.two_theta_deg:.2f}°" for u in real[:5])
        could = (
            f" {'It' if len(real) == 1 else 'They'} would fit {', '.join(names[:3])}."
            if names
            else " No phase of the table has two of its strong lines there."
        )
        hints = list(dict.fromkeys(u.hint for u in real if u.hint))
        if hints:
            could += f" {hints[0]} has its line at one of them; it has no structure here and is not weighed."
        yield Remark(
            "UNEXPLAINED_PEAKS",
            "warning",
            f"{'1 peak is' if len(real) == 1 else f'{len(real)} peaks are'} left over, at {at}.{could}",
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


def of_what_is_missing(rows: Sequence[PhaseResult], amorphous: Amorphous | None) -> Iterator[Remark]:
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


def of_phases_in_doubt(
    limits: Mapping[str, Limit], names: Mapping[str, str], alike: float
) -> Iterator[Remark]:
    """Remark on phases that are told by a limit although the fit would give them a share above its e.s.d.

    Parameters
    ----------
    limits, names : mapping
        By the keys of the phases: of those not found, and of all offered.
    alike : float
        How much more alike neighbouring residuals are than noise makes them.
    """
    for key, limit in limits.items():
        if limit.estimate < IN_DOUBT * limit.esd:
            continue
        why = f"chance lends one of {len(names)} phases offered so much too often"
        if alike > 1.1:
            why = (
                f"neighbouring residuals spread {alike:.1f} times wider than by noise alone, and what line "
                "shapes leave over may pass for it"
            )
        share = f"{100 * limit.estimate:.2f} ± {100 * limit.esd:.2f} wt% (e.s.d.)"
        yield Remark(
            "BELOW_ITS_LIMIT",
            "info",
            f"{names[key].capitalize()} would get {share}, and is told as below its limit: {why}.",
            limit.estimate,
            key,
            "Count longer if it matters, or ask another method.",
        )


def of_scales(fit: Refinement, mixed: Shares) -> Iterator[Remark]:
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
                    remedy="Read the sum, or offer the one that is known to be there.",
                )
