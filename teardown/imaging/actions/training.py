"""Show by strokes what is what, have it learned, and measure with what was learned."""

from collections.abc import Mapping, Sequence
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from teardown.accounts.roles import demand
from teardown.files.models import Run
from teardown.imaging.models import Classifier, Micrograph, StrokeSet
from teardown.imaging.runs import ask_section, ask_training
from teardown.records.actions import record

CLASSES = ("pore", "oxide", "metal", "brighter than metal")
MOST_STROKES, MOST_POINTS, WIDEST_PX = 400, 2000, 60
MISSING = (
    "The optional library that grows decision trees is not installed here. Whoever keeps this installation "
    "adds it with: pip install 'teardown[trained]'."
)


@transaction.atomic
def keep_strokes(*, micrograph: Micrograph, strokes: Sequence[Mapping[str, Any]], by: Any) -> StrokeSet:
    """Keep the strokes on a micrograph as its next version; none take them away. Earlier versions stay.

    Parameters
    ----------
    strokes : sequence of mapping
        Each with ``class`` of :data:`CLASSES`, ``width_px`` and ``points`` [x, y] in pixels.

    Raises
    ------
    ValidationError
        If a class is none of those, or a stroke leaves the picture, is too wide, or has too many points.
    """
    demand(by, "micrographs.add")
    kept = [_checked(micrograph, stroke) for stroke in strokes]
    if len(kept) > MOST_STROKES:
        raise ValidationError(f"{len(kept)} strokes are too many; {MOST_STROKES} are enough for any picture.")
    before = micrograph.strokes.order_by("-version").first()
    made = StrokeSet(micrograph=micrograph, version=before.version + 1 if before else 1, strokes=kept, by=by)
    made.full_clean()
    made.save()
    payload = {"version": made.version, "strokes": len(kept)}
    record(verb="drew strokes" if kept else "took strokes away", subject=micrograph, by=by, payload=payload)
    return made


@transaction.atomic
def bring_back_strokes(*, micrograph: Micrograph, version: int, by: Any) -> StrokeSet:
    """Bring an earlier version of the strokes back, as a new version.

    Raises
    ------
    ValidationError
        If there is no such version.
    """
    earlier = micrograph.strokes.filter(version=version).first()
    if earlier is None:
        raise ValidationError(f"There is no version {version} of the strokes on this picture.")
    return keep_strokes(micrograph=micrograph, strokes=earlier.strokes, by=by)


@transaction.atomic
def train_on_strokes(*, micrograph: Micrograph, by: Any) -> Run:
    """Have classes learned from all strokes of the micrograph's session, in the background.

    Raises
    ------
    ValidationError
        If no strokes are drawn, or the optional library is missing.
    """
    demand(by, "measures.run")
    if not can_learn():
        raise ValidationError(MISSING)
    run = ask_training(micrograph, by=by)
    if run is None:
        raise ValidationError("Draw strokes over pore, metal and oxide first, and keep them.")
    subject = micrograph.session or micrograph
    record(verb="asked to learn from strokes", subject=subject, by=by, payload={"run": run.pk})
    return run


@transaction.atomic
def measure_by_strokes(
    *, micrographs: Sequence[Micrograph], classifier: Classifier, reason: str, by: Any
) -> list[Run]:
    """Have micrographs measured with what was learned; what was measured before stays.

    Raises
    ------
    ValidationError
        If no reason is given, a micrograph is not of the classifier's session, or the library is missing.
    """
    demand(by, "measures.run")
    if not can_learn():
        raise ValidationError(MISSING)
    if not reason.strip():
        raise ValidationError("Say why grey levels do not separate the classes here.")
    runs = []
    for one in micrographs:
        mine = (
            one.session_id == classifier.session_id
            if classifier.session_id
            else one.pk == classifier.micrograph_id
        )
        if not mine:
            raise ValidationError(f"What was learned is of another session than {one}.")
        run = ask_section(one, by=by, classifier=classifier, reason=reason.strip())
        payload = {"run": run.pk, "classifier": classifier.pk}
        record(verb="asked to measure by strokes", subject=one, by=by, reason=reason, payload=payload)
        runs.append(run)
    return runs


def _taught(classifier: Classifier, micrograph: Micrograph) -> bool:
    if classifier.session_id:
        return micrograph.session_id == classifier.session_id
    return micrograph.pk == classifier.micrograph_id


def can_learn() -> bool:
    """Tell whether the optional library that grows decision trees is installed."""
    from teardown.science.stereology.trained import extra_is_there

    return extra_is_there()


def _checked(micrograph: Micrograph, stroke: Mapping[str, Any]) -> dict[str, Any]:
    try:
        name, width = str(stroke["class"]), float(stroke["width_px"])
        points = [[round(float(x), 1), round(float(y), 1)] for x, y in stroke["points"]]
    except (KeyError, TypeError, ValueError) as error:
        raise ValidationError("The strokes could not be read. Nothing was kept.") from error
    if name not in CLASSES:
        raise ValidationError(f"{name} is no class. Strokes show {', '.join(CLASSES)}.")
    if not 1 <= width <= WIDEST_PX:
        raise ValidationError(f"A stroke is 1 to {WIDEST_PX} pixels wide; this one is {width:g}.")
    if not 1 <= len(points) <= MOST_POINTS:
        raise ValidationError(f"A stroke has 1 to {MOST_POINTS} points; this one has {len(points)}.")
    for x, y in points:
        if not (0 <= x <= micrograph.width_px and 0 <= y <= micrograph.height_px):
            raise ValidationError(f"The stroke at {x:.0f}, {y:.0f} lies outside the picture. Draw it again.")
    return {"class": name, "width_px": width, "points": points}
