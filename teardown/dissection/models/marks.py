"""What photographs show of an electrode: where its corners lie, and the outlines of pieces on it."""

from typing import Any, Self

from django.conf import settings
from django.db import models
from django.db.models import Q

from teardown.dissection.models.opening import Part
from teardown.dissection.models.photographs import Photograph
from teardown.dissection.models.samples import Sample
from teardown.dissection.rules.frames import Frame, Point
from teardown.records.models import AppendOnly

FRACTIONS = "As fractions of the upright picture, x from its left and y from its top."


class StandingQuerySet(models.QuerySet[Any]):
    """Questions to rows of which a later one may take the place."""

    def current(self) -> Self:
        """Only rows that nothing supersedes."""
        return self.filter(superseded_by__isnull=True)


class PhotoFrameQuerySet(StandingQuerySet):
    """Questions to corners."""

    def on(self, photograph: Photograph) -> "PhotoFrame | None":
        """Give the corners that count on a photograph."""
        rows = self.filter(photograph=photograph).current().select_related("part__component")
        return rows.order_by("pk").last()


class PhotoFrame(AppendOnly):
    """Where the four corners of an electrode lie on a photograph. Tapped again, the later one counts."""

    photograph = models.ForeignKey(Photograph, models.PROTECT, related_name="frames")
    part = models.ForeignKey(Part, models.PROTECT, related_name="+")
    face = models.CharField(max_length=1, choices=[("A", "face A"), ("B", "face B")])
    corners = models.JSONField(
        help_text=f"Top left, top right, bottom right, bottom left as it lies before the eye. {FRACTIONS}"
    )
    supersedes = models.OneToOneField(
        "self", models.PROTECT, null=True, blank=True, related_name="superseded_by"
    )
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()

    objects = PhotoFrameQuerySet.as_manager()

    class Meta:
        ordering = ["pk"]
        constraints = [models.CheckConstraint(condition=Q(face__in=["A", "B"]), name="a_frame_is_of_a_face")]

    @property
    def frame(self) -> Frame:
        """Give the map between the photograph and the electrode."""
        return Frame(tuple((float(x), float(y)) for x, y in self.corners), self.face)


class Outline(AppendOnly):
    """The outline of a piece on a photograph. Drawn again, the later one counts."""

    sample = models.ForeignKey(Sample, models.PROTECT, related_name="outlines")
    photograph = models.ForeignKey(Photograph, models.PROTECT, related_name="outlines")
    frame = models.ForeignKey(PhotoFrame, models.PROTECT, null=True, blank=True, related_name="+")
    points = models.JSONField(help_text=f"Corners of a polygon in their order. {FRACTIONS}")
    supersedes = models.OneToOneField(
        "self", models.PROTECT, null=True, blank=True, related_name="superseded_by"
    )
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()

    objects = StandingQuerySet.as_manager()

    class Meta:
        ordering = ["pk"]

    @property
    def on_electrode(self) -> tuple[Point, ...]:
        """Give its corners as fractions of the electrode; empty where no corners were tapped."""
        if self.frame is None:
            return ()
        frame = self.frame.frame
        return tuple(frame.to_electrode(float(x), float(y)) for x, y in self.points)
