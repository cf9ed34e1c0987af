"""What was measured, on a field, a sample, an electrode; and what a person said of it."""

from django.db import models
from django.db.models import Q

from teardown.dissection.models import Part, Sample
from teardown.files.models import Run, StoredFile
from teardown.imaging.models.micrographs import Micrograph
from teardown.records.models import AppendOnly


class Measured(AppendOnly):
    """A number with its doubt, as a run found it."""

    run = models.ForeignKey(Run, models.PROTECT, related_name="+")
    quantity = models.CharField(max_length=40, db_index=True)
    value = models.FloatField()
    low = models.FloatField()
    high = models.FloatField()
    unit = models.CharField(max_length=10)
    n = models.PositiveIntegerField()
    method = models.CharField(max_length=160)
    details = models.JSONField(default=dict, blank=True)

    class Meta:
        abstract = True
        constraints = [
            models.CheckConstraint(
                condition=Q(low__lte=models.F("value")) & Q(high__gte=models.F("value")),
                name="%(class)s_inside_its_interval",
            )
        ]


class FieldMeasure(Measured):
    """What one field of view gave."""

    micrograph = models.ForeignKey(Micrograph, models.PROTECT, related_name="measures")

    class Meta(Measured.Meta):
        constraints = [
            *Measured.Meta.constraints,
            models.UniqueConstraint(fields=["run", "quantity"], name="a_quantity_once_a_field_run"),
        ]


class SampleMeasure(Measured):
    """What the fields of a sample, or the samples of an electrode, gave together."""

    sample = models.ForeignKey(Sample, models.PROTECT, null=True, blank=True, related_name="+")
    part = models.ForeignKey(Part, models.PROTECT, null=True, blank=True, related_name="+")

    class Meta(Measured.Meta):
        constraints = [
            *Measured.Meta.constraints,
            models.UniqueConstraint(fields=["run", "quantity"], name="a_quantity_once_a_sample_run"),
            models.CheckConstraint(
                condition=Q(sample__isnull=False, part__isnull=True)
                | Q(sample__isnull=True, part__isnull=False),
                name="of_a_sample_or_a_part",
            ),
        ]


class SectionResult(AppendOnly):
    """What a run on one field left beside its numbers: class map, overlay, levels, flags."""

    micrograph = models.ForeignKey(Micrograph, models.PROTECT, related_name="results")
    run = models.OneToOneField(Run, models.PROTECT, related_name="+")
    class_map = models.ForeignKey(StoredFile, models.PROTECT, null=True, blank=True, related_name="+")
    levels = models.JSONField(default=dict)
    sums = models.JSONField(default=dict, help_text="Additive counts, from which the numbers can be pooled.")
    flags = models.JSONField(default=list, blank=True)
    held = models.BooleanField(
        default=False, help_text="Measured again for comparison; counts only once someone accepts it."
    )

    class Meta:
        ordering = ["-pk"]


class Review(AppendOnly):
    """A person's word on a run's result."""

    class Verdict(models.TextChoices):
        """What was decided."""

        ACCEPT = "accept", "accepted"
        REJECT = "reject", "rejected"

    micrograph = models.ForeignKey(Micrograph, models.PROTECT, related_name="reviews")
    run = models.ForeignKey(Run, models.PROTECT, related_name="+")
    verdict = models.CharField(max_length=10, choices=Verdict)
    reason = models.TextField(blank=True)
    by = models.ForeignKey("accounts.User", models.PROTECT, related_name="+")
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(verdict="accept") | ~Q(reason=""),
                name="a_rejection_says_why",
                violation_error_message="Say why the measurement is rejected.",
            )
        ]
