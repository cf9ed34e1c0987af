"""What may be asked of the list of patterns; the address of the page is the question."""

from typing import Any

import django_filters as filters
from django.db.models import Exists, OuterRef, QuerySet

from teardown.diffraction.models import Fit, Pattern, PhaseFraction, Radiation, Review
from teardown.science.crystallography.phases import phase_table

STANDING = (
    ("proposed", "fitted, nobody has looked"),
    ("accepted", "accepted"),
    ("rejected", "rejected"),
    ("waiting", "not fitted yet"),
)


def _phases() -> list[tuple[str, str]]:
    """List the phase table."""
    return [(key, phase.name) for key, phase in phase_table().phases.items()]


class PatternFilter(filters.FilterSet):  # type: ignore[misc]
    """By cell, sample, tube, phase found, and where the fit stands."""

    cell = filters.CharFilter(label="Cell", method="by_cell")
    sample = filters.CharFilter(label="Sample", field_name="sample__code", lookup_expr="icontains")
    radiation = filters.ChoiceFilter(label="Tube", choices=Radiation.choices, empty_label="any")
    phase = filters.ChoiceFilter(label="Phase found", choices=_phases, method="by_phase", empty_label="any")
    standing = filters.ChoiceFilter(label="Fit", choices=STANDING, method="by_standing", empty_label="any")

    class Meta:
        model = Pattern
        fields = ["sample", "radiation"]

    def by_cell(self, queryset: QuerySet[Pattern], _: str, value: Any) -> QuerySet[Pattern]:
        """Keep those of samples that were cut from this cell."""
        return queryset & Pattern.objects.of_cell(value)

    def by_phase(self, queryset: QuerySet[Pattern], _: str, value: Any) -> QuerySet[Pattern]:
        """Keep those in which a fit that nobody rejected found this phase; a limit is no finding."""
        rejected = Review.objects.filter(fit=OuterRef("fit"), verdict=Review.Verdict.REJECT)
        found = PhaseFraction.objects.filter(
            ~Exists(rejected), fit__pattern=OuterRef("pk"), phase=value, below_limit=False
        )
        return queryset.filter(Exists(found))

    def by_standing(self, queryset: QuerySet[Pattern], _: str, value: Any) -> QuerySet[Pattern]:
        """Keep those whose fit or latest word is the asked one."""
        fits = Fit.objects.filter(pattern=OuterRef("pk"))
        reviews = Review.objects.filter(fit__pattern=OuterRef("pk"))
        if value == "waiting":
            return queryset.filter(~Exists(fits))
        if value == "proposed":
            return queryset.filter(Exists(fits), ~Exists(reviews))
        verdict = Review.Verdict.ACCEPT if value == "accepted" else Review.Verdict.REJECT
        return queryset.filter(Exists(reviews.filter(verdict=verdict)))
