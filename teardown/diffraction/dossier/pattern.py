"""One pattern, or one result from elsewhere, as its page shows it."""

from collections import Counter
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from teardown.accounts.roles import may
from teardown.diffraction.dossier.figures import View, figures_of, unpacked
from teardown.diffraction.dossier.fractions import GroupLine, PhaseLine, group_lines, phase_lines
from teardown.diffraction.dossier.making import making_of
from teardown.diffraction.models import Fit, Pattern, Review
from teardown.diffraction.runs import calibration_for, standing, verdicts_on
from teardown.files.models import Run
from teardown.page.figures import Figure
from teardown.page.typesetting import number
from teardown.science.crystallography.phases import phase_table


@dataclass(frozen=True, slots=True)
class PastFit:
    """A fit in the history: what was asked, how well it went, what was said of it."""

    fit: Fit
    words: str
    phases: str
    GoF: str
    at: datetime | None
    status: str
    by: str
    reason: str
    shown: bool


@dataclass(frozen=True, slots=True)
class FitPage:
    """A fit in numbers: phases, groups, figures of merit, remarks, and whether one may judge it."""

    fit: Fit
    source: str
    status: str
    reason: str
    lines: tuple[PhaseLine, ...]
    groups: tuple[GroupLine, ...]
    facts: tuple[tuple[str, str], ...]
    flags: tuple[dict[str, Any], ...]
    has_esd: bool
    has_corrected: bool
    has_absolute: bool
    missing: tuple[tuple[str, str], ...]
    offered: tuple[str, ...]
    may_review: bool
    external: bool


@dataclass(frozen=True, slots=True)
class PatternPage:
    """A pattern with the fit that is looked at, its history, and what goes on."""

    pattern: Pattern
    cell: str
    sentence: str
    about: tuple[tuple[str, str], ...]
    shown: FitPage | None
    figures: tuple[Figure, ...]
    past: tuple[PastFit, ...]
    pending: Run | None
    view: View
    may_fit: bool


def cell_code(pattern: Pattern | Fit) -> str:
    """Give the code of the cell that a pattern or fit is of, or nothing."""
    part = pattern.sample.origin if pattern.sample else None
    return part.dissection.cell.code if part else ""


def page_of(
    pattern: Pattern, user: Any, view: View | None = None, fit_number: int | None = None
) -> PatternPage:
    """Gather what the page of a pattern shows."""
    view = view or View()
    fits = list(
        Fit.objects.filter(pattern=pattern)
        .defer("curves")
        .select_related("run", "run__asked_by")
        .prefetch_related("fractions")
    )
    words = verdicts_on([fit.pk for fit in fits])
    stands = standing([pattern]).get(pattern.pk)
    chosen = next((f for f in fits if f.pk == fit_number), None) or stands
    shown = None if chosen is None else fit_page(chosen, user, words.get(chosen.pk), stands)
    return PatternPage(
        pattern=pattern,
        cell=cell_code(pattern),
        sentence=_sentence(pattern, shown),
        about=tuple(_about(pattern)),
        shown=shown,
        figures=_figures(chosen, view),
        past=tuple(_past(f, words.get(f.pk), chosen) for f in fits),
        pending=_pending(pattern),
        view=view,
        may_fit=may(user, "patterns.add"),
    )


def _figures(fit: Fit | None, view: View) -> tuple[Figure, ...]:
    """Draw a fit that has curves."""
    if fit is None or not fit.curves:
        return ()
    names = {f.phase: f.details.get("name") or f.phase for f in fit.fractions.all()}
    standard = fit.statistics.get("standard") or {}
    names |= {standard["phase"]: f"{standard['name']} (standard)"} if standard else {}
    names |= {row["phase"]: row["name"] for row in fit.statistics.get("identified", [])}
    return figures_of(unpacked(fit.curves), names, view)


def _pending(pattern: Pattern) -> Run | None:
    """Give the latest run on a pattern that is not done."""
    runs = Run.objects.filter(subject=f"diffraction.pattern:{pattern.pk}").exclude(state=Run.State.DONE)
    latest = runs.order_by("-pk").first()
    if latest is not None and latest.state == Run.State.FAILED:
        later = Run.objects.filter(subject=latest.subject, state=Run.State.DONE, pk__gt=latest.pk)
        return None if later.exists() else latest
    return latest


def fit_page(fit: Fit, user: Any, word: Review | None = None, stands: Fit | None = None) -> FitPage:
    """Gather what is shown of one fit."""
    lines = phase_lines(fit)
    external = fit.run.function == "diffraction.external"
    return FitPage(
        fit=fit,
        source=fit.source or "fitted here",
        status=_status(fit, word, stands),
        reason=word.reason if word else "",
        lines=lines,
        groups=group_lines(fit),
        facts=tuple(_facts(fit)),
        flags=tuple(
            sorted([*fit.flags, *_stale(fit)], key=lambda f: ("error", "warning", "info").index(f["level"]))
        ),
        has_esd=any(line.esd for line in lines),
        has_corrected=any(line.corrected for line in lines),
        has_absolute=any(line.absolute for line in lines),
        missing=_missing(fit),
        offered=tuple(fit.run.settings.get("phases", ())),
        may_review=may(user, "measures.review"),
        external=external,
    )


def _stale(fit: Fit) -> list[dict[str, Any]]:
    """Say where a result rests on an older phase table, or on an older calibration than there is now."""
    said = []
    edition, made_with = phase_table().version, {f.phase_table_version for f in fit.fractions.all()} - {""}
    if made_with - {edition}:
        older = ", ".join(sorted(made_with))
        said.append(f"The phase table is at edition {edition} now; this rests on edition {older}.")
    pattern = fit.pattern if fit.run.function == "diffraction.fit" else None
    if pattern is not None and pattern.diffractometer is not None:
        now = calibration_for(pattern.diffractometer, pattern)
        if now.get("calibration") != (fit.run.settings.get("instrument") or {}).get("calibration"):
            on = now.get("calibrated_on", "")
            said.append(
                f"{pattern.diffractometer} was calibrated on {on}; this rests on another calibration."
            )
    return [
        {"code": "STALE", "level": "warning", "message": words, "where": "", "remedy": "Fit again."}
        for words in said
    ]


def _missing(fit: Fit) -> tuple[tuple[str, str], ...]:
    """Name the phases that would explain most of the peaks left over: key and name, the likeliest first."""
    peaks = [u["candidates"] for u in fit.statistics.get("unexplained", []) if not u["ghost"]]
    counted = Counter(key for candidates in peaks for key in candidates[:2])
    names = {flag: phase.name for flag, phase in phase_table().phases.items()}
    return tuple((key, names[key]) for key, _ in counted.most_common(2) if key in names)


def _status(fit: Fit, word: Review | None, stands: Fit | None) -> str:
    """Say where a fit stands, in the words of all computed results."""
    if word is not None and word.verdict == Review.Verdict.REJECT:
        return "rejected"
    if word is not None:
        return "accepted" if stands is None or stands.pk == fit.pk else "superseded"
    return "proposed" if stands is None or stands.pk == fit.pk else "superseded"


def _facts(fit: Fit) -> Any:
    """Give the figures of merit and what the fit moved, as name and words."""
    if fit.Rwp is not None:
        yield "Rwp", f"{number(100 * fit.Rwp, 1)} %"
    if fit.GoF is not None:
        yield "GoF", number(fit.GoF, 2)
    inner = fit.statistics.get("statistics", {})
    if inner:
        yield "left over beyond noise", f"{number(100 * inner['unexplained'], 1)} %"
        yield "Durbin-Watson", number(inner["durbin_watson"], 2)
    moved = fit.statistics.get("parameters", {})
    if "displacement" in moved:
        shift = round(moved["displacement"], 3) or 0.0
        yield "specimen off its place", f"{shift:+.3f}°".replace("-", "−")
    amorphous = fit.statistics.get("amorphous")
    if amorphous and amorphous["value"] is not None:
        yield (
            "without sharp lines",
            f"{number(100 * amorphous['value'], 1)} ± {number(100 * amorphous['u'], 1)} %",
        )
    yield from fit.statistics.get("about", {}).items()
    yield from making_of(fit)


def _about(pattern: Pattern) -> Any:
    """Give what is known of the pattern, as name and words."""
    facts = pattern.facts
    if pattern.diffractometer is not None:
        yield "instrument", pattern.diffractometer.name
    yield "tube", pattern.get_radiation_display()
    if pattern.slits != "fixed":
        yield "slit", pattern.get_slits_display()
    if facts.get("points"):
        yield "range", f"{facts['first_deg']:.1f}–{facts['last_deg']:.1f}°, step {facts['step_deg']:.3f}°"
    if pattern.preparation:
        yield "the beam saw", pattern.get_preparation_display()
    sample = pattern.sample
    if sample is not None and sample.minutes_since_opening is not None:
        where = f", {sample.atmosphere}" if sample.atmosphere else ""
        yield "cut", f"{number(sample.minutes_since_opening, 0)} min after opening{where}"
    if sample is not None and sample.rinsed is not None:
        yield "rinsed", "yes" if sample.rinsed else "no"
    if pattern.standard:
        yield "standard", f"{pattern.standard}, {number(100 * (pattern.standard_fraction or 0), 2)} %"
    if pattern.grain_low_um is not None and pattern.grain_high_um is not None:
        yield "grains", f"{number(pattern.grain_low_um)}–{number(pattern.grain_high_um)} µm"
    else:
        yield "grains", "size not given"


def _sentence(pattern: Pattern, shown: FitPage | None) -> str:
    """Say what the page is about, from the record."""
    of = (
        f"A powder pattern of sample {pattern.sample}"
        if pattern.sample
        else "A powder pattern of no sample yet"
    )
    if shown is None:
        return f"{of}, taken with {pattern.get_radiation_display()}; nothing was found in it so far."
    found = [line for line in shown.lines if not line.below_limit]
    names = [f"{line.name} {line.brief}" for line in found[:3]]
    rest = f" and {len(found) - 3} more" if len(found) > 3 else ""
    tube = pattern.get_radiation_display()
    return f"{of}, taken with {tube}: by mass {', '.join(names)}{rest} ({shown.status})."


def _name_of(key: str) -> str:
    """Name a phase of the table; another keeps its key."""
    phase = phase_table().phases.get(key)
    return phase.name if phase else key


def _past(fit: Fit, word: Review | None, shown: Fit | None) -> PastFit:
    """Give a fit as a line of the history."""
    asked = fit.run.settings
    external = fit.run.function == "diffraction.external"
    return PastFit(
        fit=fit,
        words=fit.source if external else "fitted here",
        phases=", ".join(f.details.get("name") or f.phase for f in fit.fractions.all())
        if external
        else ", ".join(_name_of(key) for key in asked.get("phases", [])),
        GoF="" if fit.GoF is None else number(fit.GoF, 2),
        at=fit.run.finished_at,
        status={"accept": "accepted", "reject": "rejected"}.get(word.verdict, "") if word else "proposed",
        by=str(word.by) if word else str(fit.run.asked_by or ""),
        reason=word.reason if word else "",
        shown=shown is not None and shown.pk == fit.pk,
    )
