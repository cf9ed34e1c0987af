"""What Modes and Waiting may be asked, kept in the address."""

from typing import Any

import django_filters
from django.db.models import Exists, OuterRef, QuerySet

from teardown.accounts.roles import may
from teardown.cells.models import Cell, Chamber, Material, Protocol, Recipe, RecipePart, Seat, Study, Test
from teardown.dissection.models import Entry
from teardown.findings.dossier.factors import FACTORS
from teardown.page.fields import NumberField
from teardown.vocabulary.models import Term

BLINDED = ("additive_amount", "alkali", "recipe", "build")
"""Factors that would tell a recipe to those who may not see recipes."""


class NumberFilter(django_filters.Filter):  # type: ignore[misc]
    """A filter by a number as people type it."""

    field_class = NumberField


class ModesFilter(django_filters.FilterSet):  # type: ignore[misc]
    """Which cells, and what is asked of them."""

    factor = django_filters.ChoiceFilter(
        label="by", choices=list(FACTORS.items()), method="as_it_is", empty_label=None
    )
    mode = django_filters.ChoiceFilter(
        label="failure mode", choices=list, method="as_it_is", empty_label="found most often"
    )
    roles = django_filters.ChoiceFilter(
        label="counted as",
        choices=[("contributing", "root or contributing")],
        method="as_it_is",
        empty_label="root only",
    )
    grade = django_filters.ChoiceFilter(
        label="confidence",
        choices=[("probable", "probable and confirmed"), ("confirmed", "confirmed only")],
        method="as_it_is",
        empty_label="all",
    )
    recipe = django_filters.ModelChoiceFilter(
        label="recipe", queryset=Recipe.objects.all(), field_name="build__revision__recipe", empty_label="all"
    )
    iron = django_filters.ModelChoiceFilter(
        label="iron",
        queryset=Material.objects.filter(kind__in=["iron", "iron oxide"]),
        method="made_of",
        empty_label="all",
    )
    additive = django_filters.ModelChoiceFilter(
        label="additive",
        queryset=Material.objects.filter(kind="additive"),
        method="made_of",
        empty_label="all",
    )
    chamber = django_filters.ModelChoiceFilter(
        label="chamber", queryset=Chamber.objects.all(), method="sat_in", empty_label="all"
    )
    protocol = django_filters.ModelChoiceFilter(
        label="protocol", queryset=Protocol.objects.all(), method="run_by", empty_label="all"
    )
    warmest = NumberFilter(label="at most", method="not_above", unit="°C")
    coldest = NumberFilter(label="at least", method="not_below", unit="°C")
    study = django_filters.ModelChoiceFilter(
        label="study", queryset=Study.objects.all(), field_name="studies", empty_label="all"
    )

    record = django_filters.ChoiceFilter(
        label="record",
        choices=[
            ("bench", "logged at the bench, nothing transcribed"),
            ("transcribed", "transcribed, in part or whole"),
        ],
        method="recorded",
        empty_label="any",
    )

    class Meta:
        model = Cell
        fields: list[str] = []

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        """Offer the modes of the vocabulary, and hide from those who may not see recipes what tells them."""
        super().__init__(*args, **kwargs)
        modes = Term.objects.filter(kind="mode").exclude(key="mode.undetermined").values_list("key", "words")
        self.filters["mode"].extra["choices"] = list(modes)
        if self.request is not None and not may(self.request.user, "recipes.see"):
            open_ = [(key, words) for key, words in FACTORS.items() if key not in BLINDED]
            self.filters["factor"].extra["choices"] = open_
            for name in ("recipe", "study"):
                del self.filters[name]

    def as_it_is(self, cells: QuerySet[Cell], name: str, value: object) -> QuerySet[Cell]:
        """Leave the cells alone: this is about the question, not about them."""
        return cells

    def made_of(self, cells: QuerySet[Cell], name: str, value: Material) -> QuerySet[Cell]:
        """Only cells whose recipe holds a material."""
        parts = RecipePart.objects.filter(revision=OuterRef("build__revision"), material=value)
        return cells.filter(Exists(parts))

    def recorded(self, cells: QuerySet[Cell], name: str, value: str) -> QuerySet[Cell]:
        """Only cells whose dissection was logged here, or was taken over from older records."""
        taken = Entry.objects.current().filter(dissection__cell=OuterRef("pk"), source="transcribed")
        return cells.filter(Exists(taken) if value == "transcribed" else ~Exists(taken))

    def sat_in(self, cells: QuerySet[Cell], name: str, value: Chamber) -> QuerySet[Cell]:
        """Only cells that sat in a chamber."""
        return cells.filter(Exists(_seats().filter(position__chamber=value)))

    def run_by(self, cells: QuerySet[Cell], name: str, value: Protocol) -> QuerySet[Cell]:
        """Only cells tested by a protocol."""
        return cells.filter(Exists(Test.objects.filter(cell=OuterRef("pk"), protocol__protocol=value)))

    def not_above(self, cells: QuerySet[Cell], name: str, value: float) -> QuerySet[Cell]:
        """Only cells held at a temperature or below."""
        return cells.filter(Exists(_seats().filter(set_temperature_C__lte=value)))

    def not_below(self, cells: QuerySet[Cell], name: str, value: float) -> QuerySet[Cell]:
        """Only cells held at a temperature or above."""
        return cells.filter(Exists(_seats().filter(set_temperature_C__gte=value)))

    @property
    def words(self) -> str:
        """Say in words which cells were asked about."""
        if not self.form.is_valid():
            return ""
        asked = {name: self.form.cleaned_data.get(name) for name in self.filters}
        about = [name for name in asked if name not in ("factor", "mode", "roles", "grade")]
        return ", ".join(
            f"{self.filters[name].label} {asked[name]}" for name in about if asked[name] not in (None, "")
        )


def _seats() -> QuerySet[Seat]:
    return Seat.objects.filter(test__cell=OuterRef("pk"))
