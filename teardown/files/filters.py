"""What may be asked of runs and arrivals."""

import django_filters as filters
from django import forms

from teardown.files.models import Receipt, Run
from teardown.files.rules import FUNCTIONS


class RunFilter(filters.FilterSet):  # type: ignore[misc]
    """Which runs."""

    state = filters.ChoiceFilter(choices=Run.State.choices, label="state", empty_label="any")
    function = filters.ChoiceFilter(choices=list(FUNCTIONS.items()), label="what", empty_label="anything")

    class Meta:
        model = Run
        fields = ["state", "function"]


class ArrivalFilter(filters.FilterSet):  # type: ignore[misc]
    """Which arrivals."""

    name = filters.CharFilter(lookup_expr="icontains", label="name contains")
    sha256 = filters.CharFilter(
        field_name="file__sha256", lookup_expr="startswith", label="digest begins with"
    )
    since = filters.DateFilter(
        field_name="at",
        lookup_expr="date__gte",
        label="since",
        widget=forms.DateInput(attrs={"type": "date"}),
    )

    class Meta:
        model = Receipt
        fields = ["name", "sha256", "since"]
