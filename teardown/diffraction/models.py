"""Patterns, fits and the phases in them."""

from typing import Any, Self

from django.db import models
from django.db.models import Q

from teardown.accounts.roles import may
from teardown.cells.models import Cell
from teardown.dissection.models import Sample
from teardown.files.models import Receipt, Run
from teardown.records.models import AppendOnly, Kept, Versioned


class PatternQuerySet(models.QuerySet["Pattern"]):
    """Questions to patterns."""

    def visible_to(self, user: Any) -> Self:
        """Only those that this person may see: a guest sees those of closed cells."""
        return self if may(user, "cells.see_open") else self.filter(of_cells(Cell.objects.visible_to(user)))

    def of_cell(self, code: str) -> Self:
        """Only those of samples that were cut from this cell."""
        return self.filter(of_cells(Cell.objects.filter(code__iexact=code)))

    def with_sample(self) -> Self:
        """Fetch what pages show: the file, and the sample up to its cell."""
        return self.select_related(
            "receipt__file", "by", "diffractometer",
            "sample__part__dissection__cell", "sample__part__component",
            "sample__parent__part__dissection__cell", "sample__parent__part__component",
        )  # fmt: skip


def of_cells(cells: models.QuerySet[Cell], piece: str = "sample") -> Q:
    """Say of a row with a sample that it was cut from one of these cells, in up to three steps."""
    wanted = Q()
    for _ in range(4):
        wanted |= Q(**{f"{piece}__part__dissection__cell__in": cells})
        piece += "__parent"
    return wanted


class Radiation(models.TextChoices):
    """Tubes in use."""

    CU = "cu", "Cu Kα"
    CO = "co", "Co Kα"
    MO = "mo", "Mo Kα"
    CR = "cr", "Cr Kα"
    FE = "fe", "Fe Kα"


class Slits(models.TextChoices):
    """What the divergence slit does as the angle grows."""

    FIXED = "fixed", "fixed"
    VARIABLE = "variable", "opening with the angle"


class Diffractometer(Kept, Versioned):
    """An instrument that takes patterns: its tube and optics, and since when they are as they are."""

    name = models.CharField(max_length=60, unique=True)
    radiation = models.CharField("tube", max_length=4, choices=Radiation)
    monochromator_2theta_deg = models.FloatField(null=True, blank=True)
    alpha_1_only = models.BooleanField(default=False)
    slits = models.CharField(max_length=10, choices=Slits, default=Slits.FIXED)
    calibration_days = models.PositiveIntegerField(
        default=365, help_text="For how many days the scan of a standard is trusted."
    )
    changed_on = models.DateField(
        null=True, blank=True, help_text="When tube, optics or alignment were last changed."
    )
    note = models.TextField(blank=True)
    by = models.ForeignKey("accounts.User", models.PROTECT, related_name="+")
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        """Give its name."""
        return self.name


class Pattern(AppendOnly):
    """A diffraction pattern of a sample, as it came."""

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
    grain_low_um = models.FloatField(null=True, blank=True, help_text="Grain diameter, µm: at least.")
    grain_high_um = models.FloatField(null=True, blank=True, help_text="Grain diameter, µm: at most.")
    monochromator_2theta_deg = models.FloatField(
        null=True, blank=True, help_text="Angle of a monochromator behind the specimen; none if empty."
    )
    alpha_1_only = models.BooleanField(default=False)
    diffractometer = models.ForeignKey(
        Diffractometer, models.PROTECT, null=True, blank=True, related_name="patterns"
    )
    slits = models.CharField(max_length=10, choices=Slits, default=Slits.FIXED)
    facts = models.JSONField(
        default=dict, blank=True, help_text="Points, range, step, header and remarks, as read at arrival."
    )
    measured_on = models.DateField(null=True, blank=True)
    note = models.TextField(blank=True)
    by = models.ForeignKey("accounts.User", models.PROTECT, null=True, blank=True, related_name="+")
    at = models.DateTimeField(auto_now_add=True)

    objects = PatternQuerySet.as_manager()

    class Meta:
        ordering = ["-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(grain_low_um__isnull=True, grain_high_um__isnull=True)
                | Q(grain_low_um__gt=0, grain_high_um__gte=models.F("grain_low_um")),
                name="grain_size_rises_from_above_zero",
                violation_error_message="A grain size has both ends, above zero, the smaller first.",
            ),
            models.CheckConstraint(
                condition=Q(standard="", standard_fraction__isnull=True)
                | (
                    ~Q(standard="")
                    & Q(standard_fraction__isnull=False, standard_fraction__gt=0, standard_fraction__lt=1)
                ),
                name="a_standard_has_its_share",
                violation_error_message="An internal standard comes with its weighed share, between 0 and 1.",
            ),
        ]

    def __str__(self) -> str:
        """Give the name of its file."""
        return self.receipt.name


class Calibration(AppendOnly):
    """The line shape of an instrument, from the scan of a standard; the latest of a tube counts."""

    diffractometer = models.ForeignKey(Diffractometer, models.PROTECT, related_name="calibrations")
    pattern = models.ForeignKey(Pattern, models.PROTECT, related_name="calibrations")
    run = models.OneToOneField(Run, models.PROTECT, related_name="+")
    phase = models.CharField(max_length=40)
    measured_on = models.DateField()
    optics = models.JSONField(help_text="U, V, W, X, Y in degrees, and the axial opening.")
    widths_deg = models.JSONField(help_text="Full width at half maximum, by angle.")
    GoF = models.FloatField()
    flags = models.JSONField(default=list, blank=True)

    class Meta:
        ordering = ["measured_on", "pk"]


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
    curves = models.BinaryField(blank=True, default=b"", help_text="The fit point by point, packed.")

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
    details = models.JSONField(
        default=dict, blank=True, help_text="Cell, size, texture, corrected value, group, as found."
    )

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
