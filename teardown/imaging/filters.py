"""What may be asked of the list of micrographs; the address of the page is the question."""

from typing import Any

import django_filters as filters
from django.db.models import Exists, OuterRef, QuerySet

from teardown.files.models import Run
from teardown.imaging.models import ImagingSession, Micrograph, Review, SectionResult

STANDING = (
    ("proposed", "measured, nobody has looked"),
    ("accepted", "accepted"),
    ("rejected", "rejected"),
    ("waiting", "not measured yet"),
    ("flagged", "flagged"),
)


class MicrographFilter(filters.FilterSet):  # type: ignore[misc]
    """By sample, session, kind, and where the measurement stands."""

    sample = filters.CharFilter(label="Sample", field_name="ties__sample__code", lookup_expr="icontains")
    session = filters.ModelChoiceFilter(
        label="Session", queryset=ImagingSession.objects.all(), empty_label="any"
    )
    kind = filters.ChoiceFilter(label="Kind", choices=Micrograph.Kind.choices, empty_label="any")
    standing = filters.ChoiceFilter(
        label="Measurement", choices=STANDING, method="by_standing", empty_label="any"
    )

    class Meta:
        model = Micrograph
        fields = ["sample", "session", "kind"]

    def by_standing(self, queryset: QuerySet[Micrograph], _: str, value: Any) -> QuerySet[Micrograph]:
        """Keep those whose latest word or result is the asked one."""
        results = SectionResult.objects.filter(micrograph=OuterRef("pk"))
        reviews = Review.objects.filter(micrograph=OuterRef("pk"))
        if value == "waiting":
            return queryset.filter(~Exists(results))
        if value == "proposed":
            return queryset.filter(Exists(results), ~Exists(reviews))
        if value == "flagged":
            return queryset.filter(Exists(results.filter(flags__icontains='"warning"')))
        verdict = Review.Verdict.ACCEPT if value == "accepted" else Review.Verdict.REJECT
        return queryset.filter(Exists(reviews.filter(verdict=verdict)))


def running(micrographs: list[Micrograph]) -> dict[int, Run]:
    """Give the latest unfinished or failed run of each micrograph. One query."""
    subjects = {f"imaging.micrograph:{micrograph.pk}": micrograph.pk for micrograph in micrographs}
    runs = Run.objects.filter(subject__in=subjects).exclude(state=Run.State.DONE).order_by("pk")
    return {subjects[run.subject]: run for run in runs}
