"""What the page shows on which classes are shown by strokes."""

from dataclasses import dataclass
from typing import Any

from teardown.accounts.roles import may
from teardown.files.models import Run
from teardown.imaging.dossier.numbers import count_levels
from teardown.imaging.models import Classifier, Micrograph, StrokeSet
from teardown.imaging.runs import classifiers_of, strokes_of, together_with
from teardown.records.rules import subject_of


@dataclass(frozen=True, slots=True)
class ShownClassifier:
    """What was learned: how rightly it calls the strokes it did not see, and from how much."""

    classifier: Classifier
    classes: tuple[tuple[str, float, int], ...]
    current: bool

    @property
    def n(self) -> int:
        """Give how many pixels it learned from."""
        return int(self.classifier.details.get("n", 0))


@dataclass(frozen=True, slots=True)
class StrokesPage:
    """Strokes on one micrograph, those of its session, and what was learned from them."""

    micrograph: Micrograph
    versions: tuple[StrokeSet, ...]
    drawn: tuple[dict[str, Any], ...]
    with_strokes: tuple[Micrograph, ...]
    of_session: int
    classifiers: tuple[ShownClassifier, ...]
    pending: Run | None
    tiles: int
    can_learn: bool
    may_draw: bool
    may_measure: bool


def strokes_page_of(micrograph: Micrograph, user: Any, *, can_learn: bool) -> StrokesPage:
    """Gather the page of strokes. Six queries."""
    together = together_with(micrograph)
    latest = strokes_of(together)
    mine = latest.get(micrograph.pk)
    current = sorted(one.pk for one in latest.values())
    subject = subject_of(micrograph.session or micrograph)
    return StrokesPage(
        micrograph=micrograph,
        versions=tuple(micrograph.strokes.select_related("by").order_by("-version")),
        drawn=tuple(mine.strokes) if mine else (),
        with_strokes=tuple(one for one in together if one.pk in latest),
        of_session=len(together),
        classifiers=tuple(
            ShownClassifier(one, _classes(one), one.details.get("strokes") == current)
            for one in classifiers_of(micrograph)
        ),
        pending=Run.objects.filter(function="imaging.train", subject=subject)
        .exclude(state=Run.State.DONE)
        .order_by("-pk")
        .first(),
        tiles=count_levels(micrograph.width_px, micrograph.height_px),
        can_learn=can_learn,
        may_draw=may(user, "micrographs.add"),
        may_measure=may(user, "measures.run"),
    )


def _classes(classifier: Classifier) -> tuple[tuple[str, float, int], ...]:
    counts = classifier.details.get("counts", {})
    return tuple(
        (name, share, counts.get(name, 0)) for name, share in classifier.details.get("per_class", {}).items()
    )
