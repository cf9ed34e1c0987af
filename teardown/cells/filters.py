"""What may be asked of recipes, tests, materials; the address of a list is the question."""

from typing import Any

import django_filters as filters
from django.db.models import Exists, OuterRef, QuerySet

from teardown.cells.models import Build, Chamber, Material, Protocol, RecipePart, RecipeRevision, Test
from teardown.cells.rules import fold
from teardown.page.fields import NumberField
from teardown.vocabulary.models import Term


class Amount(filters.NumberFilter):  # type: ignore[misc]
    """A number typed with comma or point, its unit beside the box."""

    field_class = NumberField


def _of_role(role: str) -> Any:
    def materials(_request: Any) -> QuerySet[Material]:
        used = RecipePart.objects.filter(role=role).values("material")
        return Material.objects.filter(pk__in=used)

    return materials


def _holds(needle: str, *texts: str) -> bool:
    """Tell whether texts hold every word, folded here: SQLite folds no letter beyond ASCII.

    Recipes and materials are hundreds, so that reading them all is cheap.
    """
    hay = fold(*texts)
    return all(word in hay for word in fold(needle).split())


class RecipeFilter(filters.FilterSet):  # type: ignore[misc]
    """Which recipes, by their newest revision."""

    words = filters.CharFilter(label="words", method="by_words")
    iron = filters.ModelChoiceFilter(
        queryset=_of_role("iron"), label="iron", empty_label="any", method="by_part"
    )
    additive = filters.ModelChoiceFilter(
        queryset=_of_role("additive"), label="additive", empty_label="any", method="by_part"
    )
    air_electrode = filters.ModelChoiceFilter(
        queryset=_of_role("air electrode"), label="air electrode", empty_label="any", method="by_part"
    )
    alkali_least = Amount(field_name="alkali_mol_L", lookup_expr="gte", label="alkali at least", unit="mol/L")
    alkali_most = Amount(field_name="alkali_mol_L", lookup_expr="lte", label="alkali at most", unit="mol/L")
    built = filters.ChoiceFilter(
        choices=[("yes", "built"), ("no", "not built yet")],
        label="built",
        empty_label="either",
        method="by_built",
    )

    class Meta:
        model = RecipeRevision
        fields: list[str] = []

    def by_words(self, rows: QuerySet[RecipeRevision], _name: str, value: str) -> QuerySet[RecipeRevision]:
        """Find folded words in code, title, note and materials."""
        texts = rows.prefetch_related("parts__material")
        return rows.filter(
            pk__in=[
                row.pk
                for row in texts
                if _holds(
                    value,
                    row.recipe.code,
                    row.recipe.title,
                    row.recipe.note,
                    *(part.material.name for part in row.parts.all()),
                )
            ]
        )

    def by_part(self, rows: QuerySet[RecipeRevision], name: str, value: Any) -> QuerySet[RecipeRevision]:
        """Keep those that hold a material in a role."""
        return rows.filter(
            pk__in=RecipePart.objects.filter(role=name.replace("_", " "), material=value).values("revision")
        )

    def by_built(self, rows: QuerySet[RecipeRevision], _name: str, value: str) -> QuerySet[RecipeRevision]:
        """Keep those whose recipe has been built, or has not."""
        built = Build.objects.filter(revision__recipe=OuterRef("recipe"))
        return rows.filter(Exists(built) if value == "yes" else ~Exists(built))


class TestFilter(filters.FilterSet):  # type: ignore[misc]
    """Which tests."""

    __test__ = False
    words = filters.CharFilter(label="cell, recipe, words", method="by_words")
    running = filters.ChoiceFilter(
        choices=[("yes", "running"), ("no", "ended")],
        label="running or ended",
        empty_label="either",
        method="by_running",
    )
    end = filters.ModelChoiceFilter(
        queryset=lambda _request: Term.objects.filter(kind=Term.Kind.END),
        label="ended because of",
        empty_label="any reason",
    )
    protocol = filters.ModelChoiceFilter(
        field_name="protocol__protocol",
        queryset=lambda _request: Protocol.objects.all(),
        label="protocol",
        empty_label="any",
    )
    chamber = filters.ModelChoiceFilter(
        queryset=lambda _request: Chamber.objects.all(),
        label="chamber",
        empty_label="any",
        method="by_chamber",
    )
    warmest = Amount(field_name="temperature_C", lookup_expr="lte", label="held at most at", unit="°C")
    coldest = Amount(field_name="temperature_C", lookup_expr="gte", label="held at least at", unit="°C")

    class Meta:
        model = Test
        fields: list[str] = []

    def by_words(self, rows: QuerySet[Test], _name: str, value: str) -> QuerySet[Test]:
        """Find the folded words by which cells are found."""
        for word in fold(value).split():
            rows = rows.filter(cell__search_text__contains=word)
        return rows

    def by_running(self, rows: QuerySet[Test], _name: str, value: str) -> QuerySet[Test]:
        """Keep those that run, or those that ended."""
        return rows.filter(ended_at__isnull=value == "yes")

    def by_chamber(self, rows: QuerySet[Test], _name: str, value: Any) -> QuerySet[Test]:
        """Keep those that ever sat in a chamber."""
        return rows.filter(seats__position__chamber=value).distinct()


class MaterialFilter(filters.FilterSet):  # type: ignore[misc]
    """Which materials."""

    words = filters.CharFilter(label="words", method="by_words")
    kind = filters.ChoiceFilter(choices=Material.Kind.choices, label="used as", empty_label="anything")

    class Meta:
        model = Material
        fields = ["kind"]

    def by_words(self, rows: QuerySet[Material], _name: str, value: str) -> QuerySet[Material]:
        """Find folded words in name, formula, note and lots."""
        texts = rows.prefetch_related("lots")
        return rows.filter(
            pk__in=[
                row.pk
                for row in texts
                if _holds(value, row.name, row.formula, row.note, *(lot.code for lot in row.lots.all()))
            ]
        )


RECIPE_ORDERS = {
    "code": "recipe__code",
    "title": "recipe__title",
    "iron": "iron",
    "additive": "additive",
    "share": "additive_share",
    "alkali": "alkali_mol_L",
    "air": "air_electrode",
    "cells": "n_cells",
}
TEST_ORDERS = {
    "cell": "cell__code",
    "recipe": "cell__build__revision__recipe__code",
    "protocol": "protocol__protocol__code",
    "temperature": "temperature_C",
    "started": "started_at",
    "ended": "ended_at",
    "end": "end__words",
}
MATERIAL_ORDERS = {"name": "name", "kind": "kind", "lots": "n_lots"}
