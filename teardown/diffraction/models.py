"""Patterns, fits and the phases in them."""

from django.db import models
from django.db.models import Q

from teardown.dissection.models import Sample
from teardown.files.models import Receipt, Run
from teardown.records.models import AppendOnly


class Pattern(AppendOnly):
    """A diffraction pattern of a sample, as it came."""

    class Radiation(models.TextChoices):
        """Tubes in use."""

        CU = "cu", "Cu Kα"
        CO = "co", "Co Kα"
        MO = "mo", "Mo Kα"

    sample = models.ForeignKey(Sample, models.PROTECT, null=True, blank=True, related_name="+")
    receipt = models.ForeignKey(Receipt, models.PROTECT, related_name="+")
    radiation = models.CharField(max_length=4, choices=Radiation)
    standard = models.CharField(max_length=40, blank=True, help_text="Internal standard, by phase.")
    standard_fraction = models.FloatField(null=True, blank=True)
    preparation = models.CharField(
        max_length=12,
        blank=True,
        help_text="What the beam saw.",
        choices=[
            ("ground", "ground whole electrode"),
            ("piece", "ground piece of one place"),
            ("surface", "flat surface"),
            ("unknown", "unknown"),
        ],
    )
    measured_on = models.DateField(null=True, blank=True)
    note = models.TextField(blank=True)
    by = models.ForeignKey("accounts.User", models.PROTECT, null=True, blank=True, related_name="+")
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(standard="", standard_fraction__isnull=True)
                | (~Q(standard="") & Q(standard_fraction__gt=0, standard_fraction__lt=1)),
                name="a_standard_has_its_share",
            )
        ]


class Fit(AppendOnly):
    """Phase fractions of a sample: fitted here from a pattern, or brought from an external refinement."""

    pattern = models.ForeignKey(Pattern, models.PROTECT, null=True, blank=True, related_name="fits")
    sample = models.ForeignKey(Sample, models.PROTECT, null=True, blank=True, related_name="+")
    run = models.OneToOneField(Run, models.PROTECT, related_name="+")
    Rwp = models.FloatField(null=True, blank=True)
    GoF = models.FloatField(null=True, blank=True)
    amorphous = models.FloatField(null=True, blank=True)
    amorphous_u = models.FloatField(null=True, blank=True)
    statistics = models.JSONField(default=dict, blank=True)
    flags = models.JSONField(default=list, blank=True)
    source = models.CharField(max_length=120, blank=True, help_text="Where an external result came from.")

    class Meta:
        ordering = ["-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(pattern__isnull=False) | Q(sample__isnull=False), name="a_fit_is_of_something"
            )
        ]


class PhaseFraction(AppendOnly):
    """How much of a phase there is, with the e.s.d. of the fit and a second, honest uncertainty."""

    fit = models.ForeignKey(Fit, models.PROTECT, related_name="fractions")
    phase = models.CharField(max_length=40)
    phase_table_version = models.CharField(max_length=20, blank=True)
    weight_fraction = models.FloatField()
    esd = models.FloatField(null=True, blank=True)
    u = models.FloatField(null=True, blank=True)
    below_limit = models.BooleanField(default=False, help_text="The fraction is a limit: less than this.")

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(fields=["fit", "phase"], name="a_phase_once_in_a_fit"),
            models.CheckConstraint(
                condition=Q(weight_fraction__gte=0, weight_fraction__lte=1), name="weight_fraction_0_to_1"
            ),
            models.CheckConstraint(condition=Q(esd__isnull=True) | Q(esd__gte=0), name="esd_not_negative"),
        ]


class Review(AppendOnly):
    """A person's word on a fit."""

    class Verdict(models.TextChoices):
        """What was decided."""

        ACCEPT = "accept", "accepted"
        REJECT = "reject", "rejected"

    fit = models.ForeignKey(Fit, models.PROTECT, related_name="reviews")
    verdict = models.CharField(max_length=10, choices=Verdict)
    reason = models.TextField(blank=True)
    by = models.ForeignKey("accounts.User", models.PROTECT, related_name="+")
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(verdict="accept") | ~Q(reason=""),
                name="a_rejected_fit_says_why",
                violation_error_message="Say why the result is rejected.",
            )
        ]
