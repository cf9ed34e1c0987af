"""Marks on images, views that the team keeps, and what a cell has come to, asked of the rows."""

from collections.abc import Iterable
from typing import Any, Self

from django.conf import settings
from django.db import models
from django.db.models import Exists, F, OuterRef, Q, QuerySet, Subquery, Value
from django.db.models.functions import Coalesce, Concat

from teardown.cells.models import Cell, RecipePart, Seat, Test
from teardown.cycling.models import TestSummary
from teardown.diffraction.models import PhaseFraction
from teardown.dissection.models import Entry, Sample
from teardown.files.models import RunInput
from teardown.findings.models import Judgement, ModeAssignment
from teardown.imaging.models import FieldMeasure, Review, SampleMeasure
from teardown.imaging.rules import COVERAGE
from teardown.records.models import AppendOnly, Kept, Versioned
from teardown.vocabulary.models import Term

STATES = ("built", "on test", "ended", "opened", "sampled", "measured", "judged", "closed")
GENERATIONS = 3  # how often a piece may have been cut again and still be found


class MarkQuerySet(models.QuerySet["Mark"]):
    """Questions to marks."""

    def standing(self) -> Self:
        """Only marks that nobody took away."""
        return self.filter(withdrawn=False, superseded_by=None)


class Mark(AppendOnly):
    """A place on an image that someone points at, with words."""

    photograph = models.ForeignKey(
        "dissection.Photograph", models.PROTECT, null=True, blank=True, related_name="+"
    )
    micrograph = models.ForeignKey(
        "imaging.Micrograph", models.PROTECT, null=True, blank=True, related_name="+"
    )
    box = models.JSONField(help_text="x0, y0, x1, y1 as fractions of the image.")
    words = models.CharField(max_length=200)
    supersedes = models.OneToOneField(
        "self", models.PROTECT, null=True, blank=True, related_name="superseded_by"
    )
    withdrawn = models.BooleanField(default=False)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField(auto_now_add=True)

    objects = MarkQuerySet.as_manager()

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(photograph__isnull=False, micrograph__isnull=True)
                | Q(photograph__isnull=True, micrograph__isnull=False),
                name="a_mark_is_on_one_image",
            )
        ]


class KeptView(Kept, Versioned):
    """A set of cells side by side that the team wants to find again."""

    name = models.CharField(max_length=120, unique=True)
    query = models.TextField(help_text="The address of the view after its question mark.")
    note = models.TextField(blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["-pk"]

    def __str__(self) -> str:
        """Give its name."""
        return self.name


def samples_of(cells: Iterable[int]) -> dict[int, int]:
    """Tell of each sample from which of these cells it was cut, pieces of pieces included."""
    first = Sample.objects.filter(part__dissection__cell__in=list(cells))
    found = last = dict(first.values_list("pk", "part__dissection__cell"))
    for _ in range(GENERATIONS - 1):
        pieces = Sample.objects.filter(parent__in=last).values_list("pk", "parent") if last else ()
        last = {pk: found[parent] for pk, parent in pieces}  # type: ignore[index]
        found = found | last
    return found


def _cut_from(path: str, rows: QuerySet[Any]) -> Q:
    """Say of a cell that such rows exist for a sample of it, reached over ``path``.

    One question a generation of pieces: each goes down the indexes from the cell, where one question with
    "or" in it would walk through every row for every cell.
    """
    found = Q()
    for cuts in range(GENERATIONS):
        line = f"{path}{'parent__' * cuts}part__dissection__cell"
        found |= Q(Exists(rows.filter(**{line: OuterRef("pk")})))
    return found


def reached(state: str) -> Q:
    """Say of a cell that it has come to a state. States are asked of the rows, never typed and never kept."""
    tests = Test.objects.filter(cell=OuterRef("pk"))
    match state:
        case "built":
            return Q(pk__isnull=False)
        case "on test":
            return Q(Exists(tests))
        case "ended":
            return Q(Exists(tests)) & ~Q(Exists(tests.filter(ended_at=None)))
        case "opened":
            opened = Entry.objects.current().filter(term__key="opening.opened", state=Entry.State.PRESENT)
            return Q(Exists(opened.filter(dissection__cell=OuterRef("pk"))))
        case "sampled":
            return Q(Exists(Sample.objects.filter(part__dissection__cell=OuterRef("pk"))))
        case "measured":
            whole = SampleMeasure.objects.filter(part__dissection__cell=OuterRef("pk"))
            return (
                Q(Exists(whole))
                | _cut_from("sample__", SampleMeasure.objects.all())
                | _cut_from("micrograph__ties__sample__", FieldMeasure.objects.all())
                | _cut_from("fit__sample__", PhaseFraction.objects.all())
                | _cut_from("fit__pattern__sample__", PhaseFraction.objects.all())
            )
        case "judged":
            return Q(Exists(Judgement.objects.filter(cell=OuterRef("pk"), proposal=False)))
        case "closed":
            return Q(closed_at__isnull=False)
    raise ValueError(f"{state} is no state of a cell.")


def key_of(state: str) -> str:
    """Give the name under which `with_states` hangs a state on a cell."""
    return f"is_{state.replace(' ', '_')}"


def with_states(cells: QuerySet[Cell]) -> QuerySet[Cell]:
    """Add each state of the fixed list as a column that is true once the cell has come to it."""
    conditions = {key_of(s): models.ExpressionWrapper(reached(s), models.BooleanField()) for s in STATES}
    return cells.annotate(**conditions)


def with_factors(cells: QuerySet[Cell]) -> QuerySet[Cell]:
    """Add what recipe and chamber hold constant: iron, additive, its share, alkali, air electrode, warmth."""

    def part(role: str, field: str) -> Subquery:
        parts = RecipePart.objects.filter(revision=OuterRef("build__revision"), role=role).order_by("pk")
        return Subquery(parts.values(field)[:1])

    seats = Seat.objects.filter(test__cell=OuterRef("pk")).order_by("-test__number", "-since")
    return cells.annotate(
        iron=part("iron", "material__name"),
        additive=part("additive", "material__name"),
        additive_share=part("additive", "amount"),
        alkali_mol_L=part("alkali", "amount"),
        air_electrode=part("air electrode", "material__name"),
        temperature_C=Subquery(seats.values("set_temperature_C")[:1]),
    )


def with_history(cells: QuerySet[Cell]) -> QuerySet[Cell]:
    """Add how the last test went: its end, cycles, reference capacity, retention, fade."""
    tests = Test.objects.filter(cell=OuterRef("pk")).order_by("-number")
    summaries = TestSummary.objects.filter(test__cell=OuterRef("pk")).order_by("-test__number", "-pk")

    def of_summary(field: str) -> Subquery:
        return Subquery(summaries.values(field)[:1])

    return cells.annotate(
        end_words=Subquery(tests.values("end__words")[:1]),
        started_at=Subquery(tests.values("started_at")[:1]),
        ended_at=Subquery(tests.values("ended_at")[:1]),
        n_cycles=of_summary("n_complete"),
        q_ref_Ah=of_summary("q_ref_Ah"),
        retention=of_summary("retention"),
        fade_per_cycle=of_summary("fade_per_cycle"),
        knee_cycle=of_summary("knee_cycle"),
        cycles_to_80=of_summary("cycles_to_80"),
    )


def with_measure(cells: QuerySet[Cell], quantity: str) -> QuerySet[Cell]:
    """Add the latest pooled value of an image measure as ``measured_QUANTITY``, for filters and sorting.

    The whole electrode counts before its samples, a sample before pieces of it. A pool that rests on a field
    which a person rejected counts no more, here as on the page of its cell.
    """
    later = Review.objects.filter(run=OuterRef("run"), pk__gt=OuterRef("pk"))
    rejected = Review.objects.filter(~Exists(later), verdict=Review.Verdict.REJECT).values("run")
    doubtful = RunInput.objects.filter(source_run__in=rejected).values("run")
    lines = ["part", *(f"sample__{'parent__' * cuts}part" for cuts in range(GENERATIONS))]
    # A computed key keeps SQLite from walking all measures backwards, or all of a quantity, for every cell.
    named = SampleMeasure.objects.annotate(named=Concat("quantity", Value(""))).filter(named=quantity)
    latest = (
        named.exclude(run__in=rejected)
        .exclude(run__in=doubtful)
        .order_by((F("pk") + 0).desc())
        .values("value")
    )
    if quantity in COVERAGE:  # what a later pool left out, for an artefact of its section, counts no more
        pools = SampleMeasure.objects.exclude(run__in=rejected).exclude(run__in=doubtful)
        newer = pools.filter(run__gt=OuterRef("run"), details__has_key="marked")
        latest = latest.exclude(Exists(newer.filter(sample=OuterRef("sample")))).exclude(
            Exists(newer.filter(part=OuterRef("part")))
        )
    values = [Subquery(latest.filter(**{f"{line}__dissection__cell": OuterRef("pk")})[:1]) for line in lines]
    return cells.annotate(**{f"measured_{quantity}": Coalesce(*values)})


def with_mode(cells: QuerySet[Cell], modes: Iterable[Term], *, user: Any, role: str = "") -> QuerySet[Cell]:
    """Only cells to which a standing judgement that this person may see gives one of these failure modes."""
    seen = Judgement.objects.standing().visible_to(user)
    given = ModeAssignment.objects.filter(judgement__in=seen, judgement__cell=OuterRef("pk"), mode__in=modes)
    return cells.filter(Exists(given.filter(role=role) if role else given))
