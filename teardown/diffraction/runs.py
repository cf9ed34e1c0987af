"""Ask for fits, and tell which of a pattern's or sample's results stands."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from django.db.models import Q

from teardown.cells.models import Material, RecipePart
from teardown.diffraction.models import Fit, Pattern, Review
from teardown.dissection.models import Sample
from teardown.files.models import Run, StoredFile
from teardown.files.runs import ask
from teardown.files.tasks import ring_on_commit


def elements_of(sample: Sample | None) -> tuple[str, ...]:
    """Give the elements that the recipe of a sample's cell names; nothing where there is no cell."""
    part = sample.origin if sample else None
    if part is None:
        return ()
    materials = RecipePart.objects.filter(revision=part.dissection.cell.build.revision_id).values("material")
    named = Material.objects.filter(pk__in=materials).values_list("constituents", flat=True)
    return tuple(dict.fromkeys(element for row in named for element in row))


def ask_fit(pattern: Pattern, phases: Sequence[str], *, by: Any, **more: Any) -> Run:
    """Ask for a pattern to be fitted, inside the deed's transaction."""
    asked: dict[str, Any] = {"phases": list(phases), "radiation": pattern.radiation}
    if pattern.standard:
        asked["standard"] = [pattern.standard, pattern.standard_fraction]
    if pattern.grain_low_um is not None:
        asked["particle_size_um"] = [pattern.grain_low_um, pattern.grain_high_um]
    if pattern.monochromator_2theta_deg is not None:
        asked["monochromator_2theta_deg"] = pattern.monochromator_2theta_deg
    if pattern.alpha_1_only:
        asked["alpha_1_only"] = True
    run = ask(
        "diffraction.fit",
        subject=pattern,
        by=by,
        settings_=asked | {k: v for k, v in more.items() if v is not None},
        inputs={"pattern": pattern.receipt.file},
    )
    ring_on_commit(run)
    return run


def ask_external(of: Pattern | Sample, text: StoredFile, *, by: Any, settings_: Mapping[str, Any]) -> Run:
    """Ask for phase fractions from elsewhere to be read and booked, inside the deed's transaction."""
    run = ask("diffraction.external", subject=of, by=by, settings_=settings_, inputs={"result": text})
    ring_on_commit(run)
    return run


def verdicts_on(fits: Iterable[int]) -> dict[int, Review]:
    """Give the latest word on each fit."""
    words = Review.objects.filter(fit__in=list(fits)).select_related("by").order_by("pk")
    return {review.fit_id: review for review in words}


def standing(patterns: Iterable[Pattern]) -> dict[int, Fit]:
    """Give each pattern's standing fit: the latest accepted, else the latest that nobody rejected.

    Two queries, however many patterns.
    """
    fits = list(
        Fit.objects.filter(pattern__in=list(patterns))
        .defer("curves")
        .select_related("run")
        .prefetch_related("fractions")
        .order_by("pk")
    )
    words = verdicts_on([fit.pk for fit in fits])
    found: dict[int, Fit] = {}
    for wanted in ("", Review.Verdict.ACCEPT):
        for fit in fits:
            verdict = words[fit.pk].verdict if fit.pk in words else ""
            if verdict == wanted and fit.pattern_id is not None:
                found[fit.pattern_id] = fit
    return found


def fits_of(sample: Sample) -> list[Fit]:
    """Give all fits of a sample, of its patterns and from elsewhere, the latest first."""
    of = Q(sample=sample) | Q(pattern__sample=sample)
    return list(Fit.objects.filter(of).defer("curves").select_related("run").prefetch_related("fractions"))
