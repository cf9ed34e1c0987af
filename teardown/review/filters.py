"""What may be asked of the list of cells; the address of the page is the question."""

from typing import Any

import django_filters as filters
from django import forms
from django.db.models import F, Q, QuerySet
from django.http import HttpRequest

from teardown.accounts.roles import may
from teardown.cells.models import Build, Cell, Material, RecipePart, Study
from teardown.cells.rules import fold
from teardown.page.fields import NumberField
from teardown.records.models import Record
from teardown.review.models import STATES, reached, with_factors, with_history, with_measure, with_mode
from teardown.vocabulary.models import Term


class AmountFilter(filters.NumberFilter):  # type: ignore[misc]
    """At least or at most a number, typed with comma or point, its unit beside the box.

    ``measure`` asks for a measured fraction and takes percent; else ``column`` is a column of the list.
    """

    field_class = NumberField

    def __init__(
        self, label: str, *, column: str = "", measure: str = "", most: bool = False, **limits: Any
    ) -> None:
        """Keep what is compared, and on which side."""
        super().__init__(label=label, **limits)
        self.column, self.measure, self.most = column or f"measured_{measure}", measure, most

    def filter(self, qs: QuerySet[Cell], value: float | None) -> QuerySet[Cell]:
        """Keep the cells on the asked side; a cell without the value is on neither."""
        if value is None:
            return qs
        if self.measure:
            qs, value = with_measure(qs, self.measure), value / 100
        elif self.column in FACTORS:
            qs = with_factors(qs)
        else:
            qs = with_history(qs)
        return qs.filter(**{f"{self.column}__{'lte' if self.most else 'gte'}": float(value)})


PERCENT: dict[str, Any] = {"unit": "%", "low": 0, "high": 100}


ROLES = (("", "in any role"), ("root", "as root"), ("contributing", "contributing"))
FACTORS = frozenset({"temperature_C", "alkali_mol_L", "additive_share"})
RECIPE_QUESTIONS = ("additive", "recipe", "build", "alkali_from", "alkali_to", "cycles_from")
HISTORY = frozenset({"end_words", "ended_at", "n_cycles", "q_ref_Ah", "retention"})
ORDERS = {
    "code": "code",
    "recipe": "build__revision__recipe__code",
    "temperature": "temperature_C",
    "end": "end_words",
    "ended": "ended_at",
    "cycles": "n_cycles",
    "peak": "q_ref_Ah",
    "retention": "retention",
    "coverage": "measured_oxide_coverage",
    "porosity": "measured_porosity",
}


def _materials(role: str) -> Any:
    def of_role(_request: HttpRequest | None) -> QuerySet[Material]:
        return Material.objects.filter(pk__in=RecipePart.objects.filter(role=role).values("material"))

    return of_role


class CellFilter(filters.FilterSet):  # type: ignore[misc]
    """Recipe factor, state, end, mode, measure. Only what is asked is computed."""

    q = filters.CharFilter(method="search", label="words", help_text="Code, recipe, material or note.")
    state = filters.ChoiceFilter(
        choices=[(s, s) for s in STATES], method="in_state", label="has come to", empty_label="any state"
    )
    not_state = filters.ChoiceFilter(
        choices=[(s, s) for s in STATES[1:]], method="not_in_state", label="but not yet to", empty_label="—"
    )
    iron = filters.ModelChoiceFilter(
        queryset=_materials("iron"), method="with_part", label="iron", empty_label="any iron"
    )
    additive = filters.ModelChoiceFilter(
        queryset=_materials("additive"), method="with_part", label="additive", empty_label="any or none"
    )
    build = filters.ModelChoiceFilter(
        queryset=Build.objects.all(), to_field_name="code", label="build", empty_label="any build"
    )
    recipe = filters.CharFilter(field_name="build__revision__recipe__code", label="recipe code")
    alkali_from = AmountFilter("alkali from", column="alkali_mol_L", unit="mol/L", low=0)
    alkali_to = AmountFilter("alkali to", column="alkali_mol_L", most=True, unit="mol/L", low=0)
    temperature_from = AmountFilter("held from", column="temperature_C", unit="°C")
    temperature_to = AmountFilter("held to", column="temperature_C", most=True, unit="°C")
    end = filters.ModelChoiceFilter(
        queryset=lambda _request: Term.objects.of("end"),
        to_field_name="key",
        method="ended_by",
        label="end of test",
        empty_label="any end",
    )
    mode = filters.ModelChoiceFilter(
        queryset=lambda _request: Term.objects.of("mode"),
        to_field_name="key",
        method="with_mode",
        label="judged mode",
        empty_label="any mode",
    )
    role = filters.ChoiceFilter(
        choices=ROLES[1:], method="nothing", label="role of the mode", empty_label=ROLES[0][1]
    )
    coverage_from = AmountFilter("oxide coverage from", measure="oxide_coverage", **PERCENT)
    coverage_to = AmountFilter("oxide coverage to", measure="oxide_coverage", most=True, **PERCENT)
    porosity_from = AmountFilter("porosity from", measure="porosity", **PERCENT)
    porosity_to = AmountFilter("porosity to", measure="porosity", most=True, **PERCENT)
    cycles_from = AmountFilter("complete cycles from", column="n_cycles", whole=True, low=0)
    study = filters.ModelChoiceFilter(
        queryset=Study.objects.all(), field_name="studies", label="study", empty_label="any cell"
    )

    class Meta:
        model = Cell
        fields: list[str] = []

    def __init__(self, *args: Any, user: Any, **kwargs: Any) -> None:
        """Ask as a person: who may not see recipes may not ask for them either."""
        super().__init__(*args, **kwargs)
        self.user = user
        if not may(user, "recipes.see"):
            for name in RECIPE_QUESTIONS:
                del self.filters[name]

    GROUPS = (
        ("", ("q", "state", "not_state")),
        (
            "Recipe and chamber",
            (
                "iron",
                "additive",
                "recipe",
                "build",
                "alkali_from",
                "alkali_to",
                "temperature_from",
                "temperature_to",
            ),
        ),
        ("Test and judgement", ("end", "cycles_from", "mode", "role")),
        ("Measured", ("coverage_from", "coverage_to", "porosity_from", "porosity_to")),
        ("Set", ("study",)),
    )

    def groups(self) -> list[tuple[str, list[forms.BoundField], bool]]:
        """Give the fields under their headings, and whether any of a group is in use."""
        given = self.form.fields
        return [
            (
                title,
                [self.form[name] for name in names if name in given],
                any(self.data.get(name) for name in names),
            )
            for title, names in self.GROUPS
        ]

    def search(self, cells: QuerySet[Cell], _name: str, value: str) -> QuerySet[Cell]:
        """Find every word, however typed; by code alone for those to whom recipes are closed."""
        if "recipe" not in self.filters:
            return cells.filter(code__icontains=value.strip())
        for word in fold(value).split():
            cells = cells.filter(search_text__contains=word)
        return cells

    def in_state(self, cells: QuerySet[Cell], _name: str, value: str) -> QuerySet[Cell]:
        """Only cells that came so far."""
        return cells.filter(reached(value))

    def not_in_state(self, cells: QuerySet[Cell], _name: str, value: str) -> QuerySet[Cell]:
        """Only cells that did not come so far."""
        return cells.filter(~reached(value))

    def with_part(self, cells: QuerySet[Cell], name: str, value: Material) -> QuerySet[Cell]:
        """Only cells whose recipe holds this material in this role."""
        parts = RecipePart.objects.filter(role=name, material=value)
        return cells.filter(build__revision__in=parts.values("revision"))

    def ended_by(self, cells: QuerySet[Cell], _name: str, value: Term) -> QuerySet[Cell]:
        """Only cells whose last test ended for this reason."""
        return with_history(cells).filter(Q(end_words=value.words))

    def with_mode(self, cells: QuerySet[Cell], _name: str, value: Term) -> QuerySet[Cell]:
        """Only cells to which a standing judgement gives this mode, in the role that was asked for."""
        return with_mode(cells, [value], role=self.data.get("role", ""), user=self.user)

    def nothing(self, cells: QuerySet[Cell], _name: str, _value: str) -> QuerySet[Cell]:
        """A role alone asks nothing: it goes with a mode."""
        return cells


def in_order(cells: QuerySet[Cell], order: str) -> QuerySet[Cell]:
    """Sort by a column; cells without a value come last either way, and codes decide between equals."""
    key = ORDERS.get(order.removeprefix("-"), "code")
    if key in FACTORS:
        cells = with_factors(cells)
    elif key in HISTORY:
        cells = with_history(cells)
    elif key.startswith("measured_"):
        cells = with_measure(cells, key.removeprefix("measured_"))
    by = F(key).desc(nulls_last=True) if order.startswith("-") else F(key).asc(nulls_last=True)
    return cells.order_by(by, "code")


class RecordFilter(filters.FilterSet):  # type: ignore[misc]
    """Who, what, about what, when."""

    actor = filters.CharFilter(method="by_name", label="who")
    verb = filters.CharFilter(lookup_expr="icontains", label="what was done")
    subject = filters.CharFilter(
        method="about", label="about", help_text="A cell code, or a row as records name it."
    )
    since = filters.DateFilter(
        field_name="at", lookup_expr="date__gte", label="from", widget=forms.DateInput(attrs={"type": "date"})
    )
    until = filters.DateFilter(
        field_name="at", lookup_expr="date__lte", label="to", widget=forms.DateInput(attrs={"type": "date"})
    )
    reason = filters.BooleanFilter(
        method="with_reason", label="with a reason given", widget=forms.CheckboxInput
    )

    class Meta:
        model = Record
        fields: list[str] = []

    def by_name(self, records: QuerySet[Record], _name: str, value: str) -> QuerySet[Record]:
        """Only what a person did whose name holds these letters."""
        return records.filter(Q(actor__name__icontains=value) | Q(actor__username__icontains=value))

    def about(self, records: QuerySet[Record], _name: str, value: str) -> QuerySet[Record]:
        """Only what concerns a cell, by its code, or one row of the books."""
        cell = Cell.all_ever.filter(code__iexact=value.strip()).values_list("pk", flat=True).first()
        return records.filter(subject=f"cells.cell:{cell}" if cell else value.strip())

    def with_reason(self, records: QuerySet[Record], _name: str, value: bool) -> QuerySet[Record]:
        """Only deeds that say why."""
        return records.exclude(reason="") if value else records
