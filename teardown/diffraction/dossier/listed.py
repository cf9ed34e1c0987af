"""Patterns in a list, each with what stands of it."""

from collections.abc import Sequence
from dataclasses import dataclass

from teardown.diffraction.dossier.pattern import cell_code
from teardown.diffraction.models import Pattern
from teardown.diffraction.runs import standing, verdicts_on
from teardown.files.models import Run
from teardown.page.typesetting import fraction_as_percent


@dataclass(frozen=True, slots=True)
class ListedPattern:
    """One row of the list."""

    pattern: Pattern
    cell: str
    phases: str
    flags: int
    status: str


def rows_of(patterns: Sequence[Pattern]) -> list[ListedPattern]:
    """Give the rows of a page of patterns; five queries, however many."""
    fits = standing(patterns)
    words = verdicts_on([fit.pk for fit in fits.values()])
    pending = _pending(patterns)
    rows = []
    for pattern in patterns:
        fit = fits.get(pattern.pk)
        phases, flags, status = "", 0, pending.get(pattern.pk, "not fitted")
        if fit is not None:
            found = sorted(
                (f for f in fit.fractions.all() if not f.below_limit), key=lambda f: -f.weight_fraction
            )
            phases = ", ".join(
                f"{f.details.get('name') or f.phase} {fraction_as_percent(f.weight_fraction)}"
                for f in found[:4]
            )
            flags = sum(flag["level"] != "info" for flag in fit.flags)
            status = "accepted" if fit.pk in words else pending.get(pattern.pk, "proposed")
        rows.append(ListedPattern(pattern, cell_code(pattern), phases, flags, status))
    return rows


def _pending(patterns: Sequence[Pattern]) -> dict[int, str]:
    """Say for each pattern with an unfinished run how it is."""
    subjects = {f"diffraction.pattern:{p.pk}": p.pk for p in patterns}
    words = {"queued": "waiting", "running": "being fitted", "failed": "refused"}
    runs = Run.objects.filter(subject__in=subjects).exclude(state=Run.State.DONE).order_by("pk")
    return {subjects[run.subject]: words[run.state] for run in runs}
