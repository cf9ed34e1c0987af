"""Ask for fits, and tell which of a pattern's or sample's results stands."""

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from django.db import models
from django.db.models import Q

from teardown.cells.models import Material, RecipePart, Test
from teardown.diffraction.models import Calibration, Diffractometer, Fit, Pattern, Review
from teardown.diffraction.rules import standing_of
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


def stopped_discharged(sample: Sample | None) -> bool:
    """Say whether the last test of a sample's cell ended discharged."""
    part = sample.origin if sample else None
    if part is None:
        return False
    last = Test.objects.filter(cell=part.dissection.cell_id).order_by("-number").first()
    return last is not None and last.state_at_stop == "discharged"


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
    if pattern.slits != "fixed":
        asked["slits"] = pattern.slits
    if pattern.diffractometer is not None:
        asked["instrument"] = calibration_for(pattern.diffractometer, pattern)
    run = ask(
        "diffraction.fit",
        subject=pattern,
        by=by,
        settings_=asked | {k: v for k, v in more.items() if v is not None},
        inputs={"pattern": pattern.receipt.file},
    )
    ring_on_commit(run)
    return run


def day_of(pattern: Pattern) -> dt.date:
    """Give the day on which a pattern was measured, else that on which it came."""
    return pattern.measured_on or pattern.at.date()


def calibration_for(instrument: Diffractometer, pattern: Pattern) -> dict[str, Any]:
    """Give the line shape that an instrument had for a pattern, and how far it is to be trusted.

    The scan nearest in time counts, of those since the last change where the pattern came after that.
    """
    day, changed = day_of(pattern), instrument.changed_on
    known = list(Calibration.objects.filter(diffractometer=instrument, pattern__radiation=pattern.radiation))
    since = [c for c in known if changed is None or (c.measured_on >= changed) == (day >= changed)]
    best = min(since or known, key=lambda c: (abs((day - c.measured_on).days), -c.pk), default=None)
    on = best.measured_on if best else None
    standing = standing_of(on, changed, day, instrument.calibration_days)
    said: dict[str, Any] = {"name": instrument.name, "standing": standing}
    if best is None:
        return said
    said |= {"calibration": best.pk, "calibrated_on": best.measured_on.isoformat()}
    said |= {"trusted_days": instrument.calibration_days, "apart_days": abs((day - best.measured_on).days)}
    if standing == "changed" and changed is not None:
        return said | {"changed_on": changed.isoformat()}
    return said | {"optics": best.optics}


def ask_calibration(pattern: Pattern, phase: str, *, by: Any) -> Run:
    """Ask for the line shape of a pattern's instrument to be taken from it, inside the deed's transaction."""
    asked: dict[str, Any] = {
        "phase": phase,
        "radiation": pattern.radiation,
        "slits": pattern.slits,
        "alpha_1_only": pattern.alpha_1_only,
        "monochromator_2theta_deg": pattern.monochromator_2theta_deg,
        "measured_on": day_of(pattern),
    }
    run = ask(
        "diffraction.calibrate",
        subject=pattern,
        by=by,
        settings_=asked,
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


def results(seen: models.QuerySet[Fit]) -> tuple[list[int], list[int]]:
    """Choose of all results those that may stand side by side, and of these the current ones.

    Of each pattern, and of each sample without one, the latest fit made here and the latest result from
    elsewhere are told, accepted ones before others, rejected ones never. Current is one of them for each
    pattern; a result given for the sample as a whole is current instead of those of its patterns where it
    alone is accepted, or where they are none. Two queries, however many.
    """
    rows = list(seen.order_by("pk").values("pk", "pattern", "sample", "pattern__sample", "run__function"))
    words = {k: word.verdict for k, word in verdicts_on(row["pk"] for row in rows).items()}
    told: dict[Any, int] = {}
    best: dict[Any, int] = {}
    for wanted in ("", Review.Verdict.ACCEPT):
        for row in rows:
            if words.get(row["pk"], "") == wanted:
                of = ("pattern", row["pattern"]) if row["pattern"] else ("sample", row["sample"])
                told[of, row["run__function"]] = row["pk"]
                best[of] = row["pk"]
    sample_of = {row["pattern"]: row["pattern__sample"] for row in rows if row["pattern"]}
    for of in [of for of in best if of[0] == "sample"]:
        rivals = [key for key in best if key[0] == "pattern" and sample_of[key[1]] == of[1]]
        alone = words.get(best[of]) and not any(words.get(best[key]) for key in rivals)
        for key in rivals if alone else [of] if rivals else []:
            del best[key]
    return sorted(told.values()), sorted(best.values())


def fits_of(sample: Sample) -> list[Fit]:
    """Give all fits of a sample, of its patterns and from elsewhere, the latest first."""
    of = Q(sample=sample) | Q(pattern__sample=sample)
    return list(Fit.objects.filter(of).defer("curves").select_related("run").prefetch_related("fractions"))
