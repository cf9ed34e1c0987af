"""What a reader of a fit must know, each in a plain sentence with what to do."""

from collections.abc import Mapping, Sequence

from teardown.science.crystallography.fractions import Amorphous, Shares
from teardown.science.crystallography.limits import Limit
from teardown.science.crystallography.phases import Phase
from teardown.science.crystallography.presence import likeness
from teardown.science.crystallography.refinement import Refinement
from teardown.science.crystallography.remarks import pattern, specimen
from teardown.science.crystallography.residuals import Unexplained
from teardown.science.crystallography.results import PhaseResult
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
    limits: Mapping[str, Limit],
    names: Mapping[str, str],
) -> tuple[Remark, ...]:
    """Collect the remarks of a finished fit, those on trust in the whole first."""
    return (
        *pattern.of_tube(fit, fit.phases, numbers, chosen),
        *pattern.of_optics(fit, chosen),
        *pattern.of_quality(fit, numbers),
        *pattern.of_leftovers(more),
        *specimen.of_grains(refined, mixed, fit, chosen),
        *specimen.of_phases(fit, refined, rows),
        *specimen.of_spinel(fit, refined, rows, ruler),
        *pattern.of_what_is_missing(rows, amorphous),
        *pattern.of_scales(fit, mixed),
        *pattern.of_phases_in_doubt(limits, names, likeness(fit.solved.linear.residual)),
    )
