"""What the evidence comes to: balance, judgements, decisions."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from teardown.cells.models import Cell
from teardown.files.models import Run
from teardown.records.models import AppendOnly


class Balance(AppendOnly):
    """Where the capacity of a cell went, as a run found it."""

    cell = models.ForeignKey(Cell, models.PROTECT, related_name="+")
    run = models.OneToOneField(Run, models.PROTECT, related_name="+")
    rows = models.JSONField(help_text="Each quantity with value, interval, unit and validity.")
    flags = models.JSONField(default=list, blank=True)

    class Meta:
        ordering = ["-pk"]


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

    class Meta:
        ordering = ["-pk"]


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

    KINDS = ("entry", "photograph", "field_measure", "sample_measure", "phase", "test_summary", "balance")

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(
                name="evidence_is_one_thing",
                condition=Q(
                    entry__isnull=False,
                    photograph__isnull=True,
                    field_measure__isnull=True,
                    sample_measure__isnull=True,
                    phase__isnull=True,
                    test_summary__isnull=True,
                    balance__isnull=True,
                )
                | Q(
                    entry__isnull=True,
                    photograph__isnull=False,
                    field_measure__isnull=True,
                    sample_measure__isnull=True,
                    phase__isnull=True,
                    test_summary__isnull=True,
                    balance__isnull=True,
                )
                | Q(
                    entry__isnull=True,
                    photograph__isnull=True,
                    field_measure__isnull=False,
                    sample_measure__isnull=True,
                    phase__isnull=True,
                    test_summary__isnull=True,
                    balance__isnull=True,
                )
                | Q(
                    entry__isnull=True,
                    photograph__isnull=True,
                    field_measure__isnull=True,
                    sample_measure__isnull=False,
                    phase__isnull=True,
                    test_summary__isnull=True,
                    balance__isnull=True,
                )
                | Q(
                    entry__isnull=True,
                    photograph__isnull=True,
                    field_measure__isnull=True,
                    sample_measure__isnull=True,
                    phase__isnull=False,
                    test_summary__isnull=True,
                    balance__isnull=True,
                )
                | Q(
                    entry__isnull=True,
                    photograph__isnull=True,
                    field_measure__isnull=True,
                    sample_measure__isnull=True,
                    phase__isnull=True,
                    test_summary__isnull=False,
                    balance__isnull=True,
                )
                | Q(
                    entry__isnull=True,
                    photograph__isnull=True,
                    field_measure__isnull=True,
                    sample_measure__isnull=True,
                    phase__isnull=True,
                    test_summary__isnull=True,
                    balance__isnull=False,
                ),
            )
        ]


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

    class Meta:
        ordering = ["-pk"]
