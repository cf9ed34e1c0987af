"""Tables: a query of what a person may see, and for each column its path, unit and words."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import BooleanField, Case, Exists, F, OuterRef, QuerySet, Subquery, When
from django.db.models.functions import Coalesce

from teardown.accounts.models import User
from teardown.cells.models import Cell, Test
from teardown.cycling.models import TestSummary
from teardown.diffraction.models import Fit, PhaseFraction, of_cells
from teardown.diffraction.runs import results
from teardown.dissection.models import Entry
from teardown.findings.models import Judgement, ModeAssignment
from teardown.imaging.models import FieldMeasure, Micrograph, Review, Tie
from teardown.imaging.runs import standing as standing_results


@dataclass(frozen=True, slots=True)
class Column:
    """A column: its name, where its value is, its unit and what it is."""

    name: str
    path: str
    unit: str = ""
    words: str = ""
    confidential: bool = False


@dataclass(frozen=True, slots=True)
class Table:
    """A table that can be taken away."""

    name: str
    words: str
    columns: tuple[Column, ...]
    rows: Callable[[User], QuerySet[Any]]

    def columns_for(self, user: User) -> tuple[Column, ...]:
        """Leave out the columns that tell recipes to those who may not see them."""
        return tuple(c for c in self.columns if not c.confidential or user.may("recipes.see"))


def rows_of(table: Table, user: User, *, cell: str = "", first: int = 0, most: int | None = None) -> Any:
    """Give the rows of a table that a person may see, as tuples in the order of its columns.

    ``cell`` keeps those of one cell; ``first`` and ``most`` cut a piece out.
    """
    rows = table.rows(user)
    if cell:
        path = next(c.path for c in table.columns if c.name == "cell")
        rows = rows.filter(**{f"{path}__iexact": cell})
    values = rows.values_list(*(column.path for column in table.columns_for(user)))
    return values[first : first + most] if most is not None else values[first:]


def _same(*names: str, unit: str = "") -> tuple[Column, ...]:
    return tuple(Column(name, name, unit) for name in names)


CELL_OF_SAMPLE = ("part", "parent__part", "parent__parent__part", "parent__parent__parent__part")


def _cell_of(sample: str) -> Coalesce:
    return Coalesce(*(F(f"{sample}__{path}__dissection__cell__code") for path in CELL_OF_SAMPLE))


def _cells(user: User) -> QuerySet[Any]:
    return Cell.objects.visible_to(user).order_by("code")


def _tests(user: User) -> QuerySet[Any]:
    rows = Test.objects.visible_to(user).with_seat()
    censored = Case(
        When(ended_at=None, then=True),
        When(end__data__censors=True, then=True),
        default=False,
        output_field=BooleanField(),
    )
    return rows.annotate(censored=censored).order_by("cell__code", "number")


def _summaries(user: User) -> QuerySet[Any]:
    later = TestSummary.objects.filter(test=OuterRef("test"), pk__gt=OuterRef("pk"))
    rows = TestSummary.objects.filter(~Exists(later), test__in=Test.objects.visible_to(user))
    return rows.order_by("test__cell__code", "test__number")


def _measures(user: User) -> QuerySet[Any]:
    seen = Micrograph.objects.visible_to(user)
    runs = [result.run_id for result in standing_results(seen).values()]
    tie = Tie.objects.filter(micrograph=OuterRef("micrograph")).order_by("-pk")
    verdict = Review.objects.filter(run=OuterRef("run")).order_by("-pk").values("verdict")[:1]
    return (
        FieldMeasure.objects.filter(run__in=runs, micrograph__in=seen)
        .annotate(
            verdict=Subquery(verdict),
            sample_code=Subquery(tie.values("sample__code")[:1]),
            cell_code=Subquery(tie.annotate(code=_cell_of("sample")).values("code")[:1]),
        )
        .order_by("micrograph", "quantity")
    )


def _phases(user: User) -> QuerySet[Any]:
    seen = Fit.objects.all()
    if not user.may("cells.see_open"):
        cells = Cell.objects.visible_to(user)
        seen = seen.filter(of_cells(cells) | of_cells(cells, "pattern__sample"))
    told, current = results(seen)
    return (
        PhaseFraction.objects.filter(fit__in=told)
        .annotate(
            cell_code=Coalesce(_cell_of("fit__pattern__sample"), _cell_of("fit__sample")),
            sample_code=Coalesce("fit__pattern__sample__code", "fit__sample__code"),
            current=Case(When(fit__in=current, then=True), default=False, output_field=BooleanField()),
            external=Case(
                When(fit__run__function="diffraction.external", then=True),
                default=False,
                output_field=BooleanField(),
            ),
        )
        .order_by("sample_code", "fit__pattern", "pk")
    )


def _judgements(user: User) -> QuerySet[Any]:
    judged = Judgement.objects.visible_to(user).standing().filter(cell__in=Cell.objects.visible_to(user))
    return ModeAssignment.objects.filter(judgement__in=judged).order_by("judgement__cell__code", "pk")


def _entries(user: User) -> QuerySet[Any]:
    rows = Entry.objects.current().filter(dissection__cell__in=Cell.objects.visible_to(user))
    return rows.order_by("dissection__cell__code", "pk")


def _columns(*groups: Sequence[Column] | Column) -> tuple[Column, ...]:
    flat: list[Column] = []
    for group in groups:
        flat.extend([group] if isinstance(group, Column) else group)
    return tuple(flat)


TABLES: dict[str, Table] = {
    table.name: table
    for table in (
        Table(
            "cells",
            "Cells as built.",
            _columns(
                Column("cell", "code", words="code of the cell"),
                Column("build", "build__code"),
                Column("built_on", "build__built_on", words="ISO 8601"),
                Column("recipe", "build__revision__recipe__code", confidential=True),
                Column("revision", "build__revision__number", confidential=True),
                Column("time_zero", "time_zero", words="opened right after formation"),
                Column("twin_of", "twin_of__code"),
                Column("closed_at", "closed_at", words="when its dissection was signed"),
                _same(
                    "build_mass_g",
                    "iron_mass_g",
                    "iron_mass_u_g",
                    "inert_mass_g",
                    "collector_mass_g",
                    unit="g",
                ),
                _same("electrode_width_mm", "electrode_height_mm", unit="mm"),
                _same("electrode_thickness_um", "electrode_thickness_u_um", unit="µm"),
                _same("porosity", "porosity_u", unit="1"),
                _same("electrolyte_volume_mL", unit="mL"),
                Column("electrolyte_KOH_mol_L", "electrolyte_KOH_mol_L", "mol/L", confidential=True),
                _same("nominal_capacity_Ah", unit="Ah"),
            ),
            _cells,
        ),
        Table(
            "tests",
            "Tests with their last seat and their end; censored where the end says nothing of failure.",
            _columns(
                Column("cell", "cell__code"),
                Column("test", "number"),
                Column("protocol", "protocol__protocol__code"),
                Column("protocol_revision", "protocol__number"),
                Column("temperature_C", "temperature_C", "°C", "held temperature"),
                _same("chamber", "place", "channel"),
                Column("started_at", "started_at", words="ISO 8601"),
                Column("ended_at", "ended_at", words="ISO 8601; empty while running"),
                Column("end", "end__key"),
                Column("end_words", "end__words"),
                Column("censored", "censored", words="also while it runs"),
                Column("state_at_stop", "state_at_stop"),
            ),
            _tests,
        ),
        Table(
            "cycling",
            "The standing summary of each test's cycling history.",
            _columns(
                Column("cell", "test__cell__code"),
                Column("test", "test__number"),
                Column("run", "run_id", words="the run that made it"),
                Column("version", "run__function_version"),
                Column("status", "status"),
                _same("n_cycles", "n_complete"),
                _same("q_ref_Ah", "q_ref_u_Ah", "q_first_Ah", "q_last_Ah", unit="Ah"),
                _same("q_ref_first_plateau_Ah", "q_last_first_plateau_Ah", unit="Ah"),
                _same("retention", "utilisation_2e", "coulombic_efficiency", "energy_efficiency", unit="1"),
                _same("fade_per_cycle", "fade_low", "fade_high", unit="1"),
                _same("cycles_to_80", "knee_cycle", "knee_low", "knee_high"),
                _same("charge_total_Ah", "discharge_total_Ah", "net_u_Ah", unit="Ah"),
                _same("duration_h", "rate_h", unit="h"),
            ),
            _summaries,
        ),
        Table(
            "measures",
            "The standing measures of each micrograph, with their 95 % intervals; fractions are 0 to 1.",
            _columns(
                Column("cell", "cell_code"),
                Column("sample", "sample_code"),
                Column("micrograph", "micrograph_id"),
                _same("quantity", "value", "low", "high", "unit", "n", "method"),
                Column("levels", "details__levels", words="automatic, prior, pinned, manual or trained"),
                Column("verdict", "verdict", words="accept, or empty where nobody has judged it yet"),
                Column("run", "run_id", words="the run that made it"),
                Column("version", "run__function_version"),
            ),
            _measures,
        ),
        Table(
            "phase_fractions",
            "Phase fractions fitted here and brought from elsewhere; one result of a specimen is current.",
            _columns(
                Column("cell", "cell_code"),
                Column("sample", "sample_code"),
                Column("pattern", "fit__pattern_id", words="empty where the result came without one"),
                Column("radiation", "fit__pattern__radiation"),
                Column("phase", "phase"),
                Column("weight_fraction", "weight_fraction", "1"),
                Column("esd", "esd", "1", "from the fit alone"),
                Column("u", "u", "1", "standard uncertainty with what the fit cannot see"),
                Column("below_limit", "below_limit", words="the fraction is a limit: less than this"),
                Column("Rwp", "fit__Rwp"),
                Column("GoF", "fit__GoF"),
                Column("current", "current", words="this result counts; others stand beside it"),
                Column("external", "external", words="refined elsewhere, not recalculated here"),
                Column("source", "fit__source", words="who or what refined it elsewhere"),
                Column("run", "fit__run_id"),
                Column("version", "fit__run__function_version"),
            ),
            _phases,
        ),
        Table(
            "judgements",
            "Failure modes as judged; those of others are hidden from a judge who has not judged yet.",
            _columns(
                Column("cell", "judgement__cell__code"),
                Column("judgement", "judgement_id"),
                Column("assessor", "judgement__assessor__username"),
                Column("at", "judgement__at", words="ISO 8601"),
                Column("blind", "judgement__blind"),
                Column("proposal", "judgement__proposal"),
                Column("mode", "mode__key"),
                Column("mode_words", "mode__words"),
                _same("role", "confidence", "severity"),
            ),
            _judgements,
        ),
        Table(
            "observations",
            "What was observed at the bench, as it stands now; what is not there was not asked.",
            _columns(
                Column("cell", "dissection__cell__code"),
                Column("entry", "key"),
                Column("field", "term__key"),
                Column("field_words", "term__words"),
                Column("state", "state"),
                Column("answer", "answer__key"),
                Column("value", "value"),
                Column("value_text", "value_text"),
                Column("unit", "unit"),
                _same("certainty", "extent"),
                Column("observed_at", "observed_at", words="ISO 8601"),
                Column("observed_precision", "observed_precision", words="second, minute, day, unknown"),
                Column("source", "source", words="seen at the bench, from a photograph, or transcribed"),
                Column("keyed_twice", "keyed_twice", words="the second time blind to the first"),
                Column("vocabulary", "vocabulary__number", words="version it was asked under"),
            ),
            _entries,
        ),
    )
}
