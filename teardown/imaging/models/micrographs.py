"""Micrographs: what they are of, how large their pixels are, what on them counts."""

from collections.abc import Iterable
from typing import Any, ClassVar, Self

from django.db import models
from django.db.models import Q

from teardown.accounts.roles import may
from teardown.cells.models import Cell
from teardown.dissection.models import Sample, Section
from teardown.files.models import Receipt
from teardown.imaging.models.sessions import ImagingSession
from teardown.records.guards import NEVER, Guard
from teardown.records.models import AppendOnly


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


COLUMNS = ("id", "receipt_id", "kind", "page", "width_px", "height_px", "bit_depth", "metadata", "at")
# the latest record of a move must say exactly this change, so that no earlier one can be used again
NO_RECORD = (
    "NOT EXISTS (SELECT 1 FROM imaging_sessionmove m WHERE m.micrograph_id = OLD.id"
    " AND m.before_id = OLD.session_id AND COALESCE(m.after_id, 0) = COALESCE(NEW.session_id, 0)"
    " AND m.id = (SELECT MAX(n.id) FROM imaging_sessionmove n WHERE n.micrograph_id = OLD.id))"
)
MORE_THAN_ITS_SESSION = " OR ".join(
    [
        "(OLD.session_id IS NULL AND NEW.session_id IS NULL)",
        f"(OLD.session_id IS NOT NULL AND {NO_RECORD})",
        "COALESCE(OLD.by_id, 0) <> COALESCE(NEW.by_id, 0)",
        *(f"OLD.{name} <> NEW.{name}" for name in COLUMNS),
    ]
)


class Micrograph(AppendOnly):
    """An image of a section, as it came; only its session may be named later, or changed with a record."""

    guards: ClassVar[list[Guard]] = [
        Guard(
            "UPDATE",
            MORE_THAN_ITS_SESSION,
            "imaging_micrograph: only a session that is missing may be named, or changed with a record of it",
        ),
        Guard("DELETE", NEVER),
    ]

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
        """Give the name it came by, and which page it is of several."""
        return f"{self.receipt.name}, page {self.page + 1}" if self.page else self.receipt.name


class SessionMove(AppendOnly):
    """A micrograph left a session and joined another, or none, for a reason; the latest says where it is."""

    micrograph = models.ForeignKey(Micrograph, models.PROTECT, related_name="session_moves")
    before = models.ForeignKey(ImagingSession, models.PROTECT, null=True, blank=True, related_name="+")
    after = models.ForeignKey(ImagingSession, models.PROTECT, null=True, blank=True, related_name="+")
    reason = models.CharField(max_length=200)
    by = models.ForeignKey("accounts.User", models.PROTECT, related_name="+")
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(
                condition=(Q(before__isnull=False) | Q(after__isnull=False)) & ~Q(before=models.F("after")),
                name="a_move_leads_elsewhere",
            ),
            models.CheckConstraint(condition=~Q(reason=""), name="a_move_says_why"),
        ]


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

    def plane(self, planes: Iterable[Section] | None = None) -> Section | None:
        """Give the section: the one named, else the plane of its sample polished last before the tie.

        ``planes`` are all of its sample, the latest first, where they were asked for already.
        """
        if self.section is not None or self.sample_id is None:
            return self.section
        planes = planes_of(self.sample_id) if planes is None else planes
        return next((plane for plane in planes if plane.at <= self.at), None)


def planes_of(sample: int) -> models.QuerySet[Section]:
    """Give the planes of a sample that were polished, the latest first."""
    return Section.objects.filter(mount__contents__sample=sample).select_related("mount").order_by("-pk")


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


class ReferenceField(AppendOnly):
    """The field of a session that shows resin, clean metal and thick oxide; the latest named one counts."""

    session = models.ForeignKey(ImagingSession, models.PROTECT, related_name="reference_fields")
    micrograph = models.ForeignKey(Micrograph, models.PROTECT, related_name="+")
    by = models.ForeignKey("accounts.User", models.PROTECT, related_name="+")
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["pk"]
