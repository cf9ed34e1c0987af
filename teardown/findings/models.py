"""What the evidence comes to: balance, judgements, decisions."""

from collections.abc import Iterable
from functools import reduce
from operator import or_
from typing import Any, Self

from django.conf import settings
from django.db import models
from django.db.models import Exists, OuterRef, Prefetch, Q

from teardown.accounts.roles import may
from teardown.cells.models import Cell
from teardown.dissection.models import PhotoLabel
from teardown.files.models import Run
from teardown.records.models import AppendOnly, Record

LOOKED_AT = "looked at the judgements of"
"""Verb of the record that a judge looked at what others had judged before judging."""


class Balance(AppendOnly):
    """Where the capacity of a cell went, as a run found it."""

    cell = models.ForeignKey(Cell, models.PROTECT, related_name="+")
    run = models.OneToOneField(Run, models.PROTECT, related_name="+")
    rows = models.JSONField(help_text="Each quantity with value, interval, unit and validity.")
    flags = models.JSONField(default=list, blank=True)

    class Meta:
        ordering = ["-pk"]


class Stated(AppendOnly):
    """What a person states of a cell where its balance would assume; the latest row of a key counts."""

    cell = models.ForeignKey(Cell, models.PROTECT, related_name="+")
    key = models.CharField(max_length=24, help_text="Which assumption it takes the place of.")
    value = models.FloatField(
        null=True, blank=True, help_text="Value, or middle of a range; none takes the statement back."
    )
    doubt = models.FloatField(default=0.0, help_text="Standard uncertainty, or half of a range.")
    source = models.CharField(max_length=200, help_text="Where it is from.")
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(doubt__gte=0),
                name="a_doubt_is_not_below_zero",
                violation_error_message="An uncertainty is not below zero.",
            )
        ]


class JudgementQuerySet(models.QuerySet["Judgement"]):
    """Questions to judgements."""

    def standing(self) -> Self:
        """Only the latest of each assessor, proposals left out."""
        return self.filter(superseded_by=None, proposal=False)

    def visible_to(self, user: Any) -> Self:
        """Hide from a judge what others judged until the judge has judged, has looked, or it is decided.

        Who may not judge is not blinded.
        """
        if not may(user, "modes.judge"):
            return self
        looked = Record.objects.filter(actor=user, verb=LOOKED_AT).values_list("subject", flat=True)
        cells = [int(subject.rpartition(":")[2]) for subject in looked]
        own = Judgement.objects.filter(cell=OuterRef("cell"), assessor=user, proposal=False)
        decided = Decision.objects.filter(cell=OuterRef("cell"))
        return self.filter(Q(assessor=user) | Q(cell__in=cells) | Exists(own) | Exists(decided))

    def with_grounds(self) -> Self:
        """Fetch what pages show of a judgement, in a fixed number of questions."""
        labels = PhotoLabel.objects.current().select_related("part__component", "sample")
        evidence = Evidence.objects.select_related(
            "entry__term", "entry__answer", "entry__part__component", "photograph", "balance__cell",
            "field_measure", "sample_measure", "phase__fit", "test_summary",
        )  # fmt: skip
        evidence = evidence.prefetch_related(
            Prefetch("photograph__labels", queryset=labels, to_attr="current_labels")
        )
        assignments = ModeAssignment.objects.select_related("mode").prefetch_related(
            Prefetch("evidence", queryset=evidence)
        )
        return self.select_related("assessor").prefetch_related(Prefetch("assignments", queryset=assignments))


class Judgement(AppendOnly):
    """One assessor's reading of why a cell ended; a later one by the same assessor supersedes it."""

    cell = models.ForeignKey(Cell, models.PROTECT, related_name="+")
    assessor = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    blind = models.BooleanField(
        default=False, help_text="Made without sight of the other assessor's judgement."
    )
    proposal = models.BooleanField(default=False, help_text="Proposed at the bench, to be judged by others.")
    note = models.TextField(blank=True)
    supersedes = models.OneToOneField(
        "self", models.PROTECT, null=True, blank=True, related_name="superseded_by"
    )
    at = models.DateTimeField(auto_now_add=True)

    objects = JudgementQuerySet.as_manager()

    class Meta:
        ordering = ["-pk"]

    @property
    def root(self) -> "ModeAssignment | None":
        """Give the assignment that is the root, from what was fetched."""
        return next((each for each in self.assignments.all() if each.role == "root"), None)


class ModeAssignment(AppendOnly):
    """A failure mode in a judgement: its role, how sure, how severe."""

    judgement = models.ForeignKey(Judgement, models.PROTECT, related_name="assignments")
    mode = models.ForeignKey("vocabulary.Term", models.PROTECT, related_name="+")
    role = models.CharField(
        max_length=14,
        choices=[
            ("root", "root"),
            ("contributing", "contributing"),
            ("consequence", "consequence"),
            ("incidental", "incidental"),
        ],
    )
    confidence = models.CharField(
        max_length=14,
        choices=[
            ("confirmed", "confirmed"),
            ("probable", "probable"),
            ("possible", "possible"),
            ("undetermined", "undetermined"),
        ],
    )
    severity = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="1 negligible to 5 terminal."
    )
    consequence_of = models.ForeignKey(
        "self", models.PROTECT, null=True, blank=True, related_name="consequences"
    )
    words = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(fields=["judgement", "mode"], name="a_mode_once_in_a_judgement"),
            models.UniqueConstraint(
                fields=["judgement"],
                condition=Q(role="root"),
                name="one_root_a_judgement",
                violation_error_message="A judgement names one root at most.",
            ),
            models.CheckConstraint(
                condition=Q(severity__isnull=True) | Q(severity__gte=1, severity__lte=5),
                name="severity_1_to_5",
            ),
        ]


THINGS = ("entry", "photograph", "field_measure", "sample_measure", "phase", "test_summary", "balance")
"""What evidence can be: the names of its columns."""


def _alone(kind: str, kinds: Iterable[str]) -> Q:
    return Q(**{f"{name}__isnull": name != kind for name in kinds})


def found_in(cell: Cell, kind: str) -> Any:
    """Give all rows of a kind of evidence that were found in a cell, as the queryset of their model."""
    model: type[models.Model] = Evidence._meta.get_field(kind).related_model  # type: ignore[assignment]
    sample, up = "part__dissection__cell", "parent__part__dissection__cell"
    starts = {
        "field_measure": (
            "micrograph__ties__sample__",
            "micrograph__ties__section__mount__contents__sample__",
        ),
        "sample_measure": ("sample__",),
        "phase": ("fit__sample__", "fit__pattern__sample__"),
    }.get(kind, ())
    paths = [f"{start}{end}" for start in starts for end in (sample, up)]
    direct = {
        "entry": "dissection__cell",
        "photograph": "dissection__cell",
        "sample_measure": "part__dissection__cell",
        "test_summary": "test__cell",
        "balance": "cell",
    }
    if kind in direct:
        paths.append(direct[kind])
    chosen = reduce(or_, (Q(**{path: cell}) for path in paths))
    rows = model._default_manager.filter(chosen)
    return rows.distinct() if len(paths) > 1 else rows


class Evidence(AppendOnly):
    """What an assignment rests on, for or against: exactly one thing that can be looked at."""

    assignment = models.ForeignKey(ModeAssignment, models.PROTECT, related_name="evidence")
    side = models.CharField(max_length=8, choices=[("for", "for"), ("against", "against")])
    entry = models.ForeignKey("dissection.Entry", models.PROTECT, null=True, blank=True, related_name="+")
    photograph = models.ForeignKey(
        "dissection.Photograph", models.PROTECT, null=True, blank=True, related_name="+"
    )
    box = models.JSONField(null=True, blank=True)
    field_measure = models.ForeignKey(
        "imaging.FieldMeasure", models.PROTECT, null=True, blank=True, related_name="+"
    )
    sample_measure = models.ForeignKey(
        "imaging.SampleMeasure", models.PROTECT, null=True, blank=True, related_name="+"
    )
    phase = models.ForeignKey(
        "diffraction.PhaseFraction", models.PROTECT, null=True, blank=True, related_name="+"
    )
    test_summary = models.ForeignKey(
        "cycling.TestSummary", models.PROTECT, null=True, blank=True, related_name="+"
    )
    balance = models.ForeignKey(Balance, models.PROTECT, null=True, blank=True, related_name="+")
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(
                name="evidence_is_one_thing",
                condition=reduce(or_, (_alone(kind, THINGS) for kind in THINGS)),
            )
        ]

    @property
    def thing(self) -> tuple[str, models.Model]:
        """Give what can be looked at: the name of its kind, and the row."""
        kind = next(name for name in THINGS if getattr(self, f"{name}_id") is not None)
        return kind, getattr(self, kind)


class DecisionQuerySet(models.QuerySet["Decision"]):
    """Questions to decisions."""

    def latest_each(self) -> Self:
        """Only the latest of each cell."""
        return self.filter(~Exists(Decision.objects.filter(cell=OuterRef("cell"), pk__gt=OuterRef("pk"))))


class Decision(AppendOnly):
    """What was decided where judgements differ, or that they agree."""

    cell = models.ForeignKey(Cell, models.PROTECT, related_name="+")
    judgements = models.ManyToManyField(
        Judgement, related_name="decisions", help_text="Those that were considered."
    )
    outcome = models.ForeignKey(Judgement, models.PROTECT, related_name="+", help_text="The one that holds.")
    reason = models.TextField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField(auto_now_add=True)

    objects = DecisionQuerySet.as_manager()

    class Meta:
        ordering = ["-pk"]
