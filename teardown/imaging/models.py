"""Micrographs: what they are of, how large their pixels are, and what was measured."""

from typing import Any, Self

from django.db import models
from django.db.models import Q

from teardown.accounts.roles import may
from teardown.cells.models import Cell
from teardown.dissection.models import Part, Sample, Section
from teardown.files.models import Receipt, Run, StoredFile
from teardown.records.models import AppendOnly, Kept, Versioned


class ImagingSession(Kept, Versioned):
    """A sitting at the microscope, with one setting of brightness and contrast."""

    name = models.CharField(max_length=80, unique=True)
    on = models.DateField(null=True, blank=True)
    settings = models.JSONField(
        default=dict, blank=True, help_text="Voltage, detector, working distance, as known."
    )
    note = models.TextField(blank=True)

    class Meta:
        ordering = ["-pk"]

    def __str__(self) -> str:
        """Give its name."""
        return self.name


class Levels(AppendOnly):
    """Grey levels of resin, oxide and metal that hold for a session; the latest counts."""

    session = models.ForeignKey(ImagingSession, models.PROTECT, related_name="levels")
    pore = models.FloatField()
    oxide = models.FloatField()
    metal = models.FloatField()
    edge_sigma_px = models.FloatField(null=True, blank=True)
    source = models.CharField(max_length=20, choices=[("confirmed", "confirmed"), ("clicked", "clicked")])
    by = models.ForeignKey("accounts.User", models.PROTECT, related_name="+")
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(pore__lt=models.F("oxide")) & Q(oxide__lt=models.F("metal")),
                name="levels_in_order",
                violation_error_message="Resin is darkest, metal brightest, oxide between them.",
            )
        ]


class MicrographQuerySet(models.QuerySet["Micrograph"]):
    """Questions to micrographs."""

    def visible_to(self, user: Any) -> Self:
        """Only those that this person may see: a guest sees those of closed cells."""
        if may(user, "cells.see_open"):
            return self
        cells = Cell.objects.visible_to(user)
        piece = "ties__sample"
        wanted = Q()
        for _ in range(4):
            wanted |= Q(**{f"{piece}__part__dissection__cell__in": cells})
            piece += "__parent"
        return self.filter(wanted).distinct()

    def of_sample(self, code: str) -> Self:
        """Only those tied to the sample with this code."""
        return self.filter(ties__sample__code__iexact=code).distinct()


class Micrograph(AppendOnly):
    """An image of a section, as it came."""

    class Kind(models.TextChoices):
        """What kind of image it is."""

        SECTION = "section", "cross section"
        SURFACE = "surface", "surface"
        OVERVIEW = "overview", "overview"

    receipt = models.ForeignKey(Receipt, models.PROTECT, related_name="+")
    kind = models.CharField(max_length=10, choices=Kind, default=Kind.SECTION)
    page = models.PositiveSmallIntegerField(default=0)
    width_px = models.PositiveIntegerField()
    height_px = models.PositiveIntegerField()
    bit_depth = models.PositiveSmallIntegerField()
    session = models.ForeignKey(
        ImagingSession, models.PROTECT, null=True, blank=True, related_name="micrographs"
    )
    metadata = models.JSONField(default=dict, blank=True)
    by = models.ForeignKey("accounts.User", models.PROTECT, null=True, blank=True, related_name="+")
    at = models.DateTimeField(auto_now_add=True)

    objects = MicrographQuerySet.as_manager()

    class Meta:
        ordering = ["-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(width_px__gt=0, height_px__gt=0), name="a_micrograph_has_pixels"
            )
        ]

    def __str__(self) -> str:
        """Give the name it came by."""
        return self.receipt.name


class Tie(AppendOnly):
    """What a micrograph is of; the latest counts."""

    micrograph = models.ForeignKey(Micrograph, models.PROTECT, related_name="ties")
    sample = models.ForeignKey(Sample, models.PROTECT, null=True, blank=True, related_name="+")
    section = models.ForeignKey(Section, models.PROTECT, null=True, blank=True, related_name="+")
    field_number = models.PositiveSmallIntegerField(null=True, blank=True)
    reason = models.CharField(max_length=200, blank=True)
    by = models.ForeignKey("accounts.User", models.PROTECT, null=True, blank=True, related_name="+")
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(sample__isnull=False) | Q(section__isnull=False), name="a_tie_ties_to_something"
            )
        ]


class ScaleClaim(AppendOnly):
    """One way of knowing how large a pixel is; every candidate is kept, the latest chosen one counts."""

    class Source(models.TextChoices):
        """Where it comes from, in the order of trust."""

        FIELD_WIDTH = "field width", "field width in the file"
        PIXEL_TAG = "pixel tag", "pixel size in the file"
        OME = "ome", "open microscopy metadata"
        RESOLUTION = "resolution", "resolution tag"
        SIDECAR = "sidecar", "text file beside the image"
        SCALE_BAR = "scale bar", "scale bar, length typed by a person"
        TYPED = "typed", "typed by a person"

    micrograph = models.ForeignKey(Micrograph, models.PROTECT, related_name="scale_claims")
    pixel_width_um = models.FloatField()
    pixel_height_um = models.FloatField()
    source = models.CharField(max_length=12, choices=Source)
    chosen = models.BooleanField(default=False)
    evidence = models.JSONField(default=dict, blank=True)
    by = models.ForeignKey("accounts.User", models.PROTECT, null=True, blank=True, related_name="+")
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(pixel_width_um__gt=0, pixel_height_um__gt=0),
                name="scale_above_zero",
                violation_error_message="A pixel has a size above zero.",
            )
        ]


class Region(AppendOnly):
    """A polygon on a micrograph; the highest version of each kind and name counts."""

    class Kind(models.TextChoices):
        """What it outlines."""

        OUTLINE = "outline", "outline of the electrode"
        FACE = "face", "face of the electrode"
        EXCLUSION = "exclusion", "left out"
        STRIP = "strip", "information strip"

    micrograph = models.ForeignKey(Micrograph, models.PROTECT, related_name="regions")
    kind = models.CharField(max_length=10, choices=Kind)
    name = models.CharField(max_length=40, blank=True)
    version = models.PositiveSmallIntegerField(default=1)
    points = models.JSONField(help_text="Pixel coordinates [x, y]; empty takes the region away.")
    confirmed = models.BooleanField(default=True)
    by = models.ForeignKey("accounts.User", models.PROTECT, null=True, blank=True, related_name="+")
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["micrograph", "kind", "name", "version"], name="one_region_of_a_version"
            )
        ]


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

    class Meta:
        ordering = ["-pk"]


class Count(AppendOnly):
    """A count by eye on a micrograph: points of a grid, or crossings of the metal outline, set before
    looking."""

    class Kind(models.TextChoices):
        """What was counted."""

        POINTS = "points", "points"
        CROSSINGS = "crossings", "crossings"

    micrograph = models.ForeignKey(Micrograph, models.PROTECT, related_name="counts")
    kind = models.CharField(max_length=10, choices=Kind)
    seed = models.PositiveIntegerField(help_text="From which the places follow.")
    answers = models.JSONField(help_text="Rows of x, y and what was seen there.")
    found = models.JSONField(default=dict, help_text="What the count says, and how the classes compare.")
    run = models.ForeignKey(Run, models.PROTECT, null=True, blank=True, related_name="+")
    by = models.ForeignKey("accounts.User", models.PROTECT, related_name="+")
    at = models.DateTimeField(auto_now_add=True)

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
