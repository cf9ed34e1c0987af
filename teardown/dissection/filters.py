"""What lists of samples and photographs can be asked, in the address."""

import django_filters
from django import forms
from django.db.models import Q, QuerySet
from django.utils import timezone

from teardown.dissection.models import Order, Photograph, Sample
from teardown.vocabulary.models import Term


class SampleFilter(django_filters.FilterSet):  # type: ignore[misc]
    """Samples by cell, part, words, and what is awaited of them."""

    cell = django_filters.CharFilter(label="Cell", method="of_cell")
    component = django_filters.ModelChoiceFilter(
        label="Part", queryset=Term.objects.of("component"), method="of_component", empty_label="any"
    )
    q = django_filters.CharFilter(label="Code or purpose", method="words")
    stands = django_filters.ChoiceFilter(
        label="Stands",
        choices=[("unplaced", "not placed yet"), ("awaited", "result awaited"), ("overdue", "overdue")],
        empty_label="either way",
        method="standing",
    )

    class Meta:
        model = Sample
        fields: list[str] = []

    def of_cell(self, rows: QuerySet[Sample], name: str, value: str) -> QuerySet[Sample]:
        """Keep samples of cells whose code holds this, pieces of pieces too."""
        path = "part__dissection__cell__code__icontains"
        return rows.filter(
            Q(**{path: value}) | Q(**{f"parent__{path}": value}) | Q(**{f"parent__parent__{path}": value})
        )

    def of_component(self, rows: QuerySet[Sample], name: str, value: Term) -> QuerySet[Sample]:
        """Keep samples of this component, pieces of pieces too."""
        return rows.filter(Q(part__component=value) | Q(parent__part__component=value))

    def words(self, rows: QuerySet[Sample], name: str, value: str) -> QuerySet[Sample]:
        """Keep samples whose code or purpose holds this."""
        return rows.filter(Q(code__icontains=value) | Q(purpose__icontains=value))

    def standing(self, rows: QuerySet[Sample], name: str, value: str) -> QuerySet[Sample]:
        """Keep samples that wait for a place or for a result."""
        if value == "unplaced":
            return rows.filter(pk__in=Sample.objects.unplaced().values("pk"))
        today = timezone.localdate()
        orders = Order.objects.awaited() if value == "awaited" else Order.objects.overdue(today)
        return rows.filter(pk__in=orders.values("sample"))


class PhotographFilter(django_filters.FilterSet):  # type: ignore[misc]
    """Photographs by cell, part, and whether anybody has said what they show."""

    cell = django_filters.CharFilter(
        label="Cell", field_name="dissection__cell__code", lookup_expr="icontains"
    )
    component = django_filters.ModelChoiceFilter(
        label="Part",
        queryset=Term.objects.of("component"),
        field_name="labels__part__component",
        empty_label="any",
        distinct=True,
    )
    unlabelled = django_filters.BooleanFilter(
        label="Only without a label", field_name="labels", lookup_expr="isnull", widget=forms.CheckboxInput,
        method="without_label",
    )  # fmt: skip
    hidden = django_filters.BooleanFilter(
        label="Also what is no evidence", widget=forms.CheckboxInput, method="with_hidden"
    )

    class Meta:
        model = Photograph
        fields: list[str] = []

    def without_label(self, rows: QuerySet[Photograph], name: str, value: bool) -> QuerySet[Photograph]:
        """Keep those that nobody labelled."""
        return rows.filter(labels__isnull=True) if value else rows

    def with_hidden(self, rows: QuerySet[Photograph], name: str, value: bool) -> QuerySet[Photograph]:
        """Leave the choice to the view, which hides what is no evidence by default."""
        return rows
