"""Photographs and what they are said to show. Only ever added to."""

import datetime as dt
from typing import Self

from django.conf import settings
from django.db import models
from django.db.models import Exists, OuterRef, Q
from django.utils import timezone

from teardown.dissection.models.opening import BenchSession, Dissection, Part
from teardown.dissection.rules.sharpness import blur_remark
from teardown.dissection.rules.times import Moment
from teardown.files.models import Receipt
from teardown.page.typesetting import day, moment
from teardown.records.models import AppendOnly
from teardown.science.errors import Remark


class Precision(models.TextChoices):
    """How well a time is known."""

    SECOND = "second", "to the second"
    MINUTE = "minute", "about that minute"
    DAY = "day", "that day"
    UNKNOWN = "unknown", "time of day unknown"


TIMED = frozenset({Precision.SECOND, Precision.MINUTE})
"""What minutes may be counted from: a day alone gives no time since opening."""


def when(at: dt.datetime, precision: str) -> str:
    """Write a time as well as it is known: a day that has no time of day gets none."""
    local = timezone.localtime(at)
    return moment(local) if precision in TIMED else f"{day(local.date())}, time of day not known"


class PhotographQuerySet(models.QuerySet["Photograph"]):
    """Questions to photographs."""

    def unlabelled(self) -> Self:
        """Only those that nobody has said anything about yet."""
        return self.filter(labels__isnull=True)

    def evidence(self) -> Self:
        """Leave out what was marked as no evidence."""
        marked = PhotoLabel.objects.current().filter(photograph=OuterRef("pk")).exclude(not_evidence="")
        return self.filter(~Exists(marked))

    def with_labels(self) -> Self:
        """Fetch what pages show beside a photograph."""
        current = PhotoLabel.objects.current().select_related("part__component", "sample")
        return self.select_related("receipt__file", "dissection__cell", "by").prefetch_related(
            models.Prefetch("labels", queryset=current, to_attr="current_labels")
        )


class Photograph(AppendOnly):
    """A photograph as the camera made it. It may be labelled later; it is never lost meanwhile."""

    key = models.UUIDField(unique=True)
    dissection = models.ForeignKey(
        Dissection, models.PROTECT, null=True, blank=True, related_name="photographs"
    )
    session = models.ForeignKey(BenchSession, models.PROTECT, null=True, blank=True, related_name="+")
    receipt = models.ForeignKey(Receipt, models.PROTECT, related_name="+")
    width_px = models.PositiveIntegerField(null=True, blank=True)
    height_px = models.PositiveIntegerField(null=True, blank=True)
    step = models.CharField(max_length=40, blank=True)
    taken_at = models.DateTimeField()
    taken_precision = models.CharField(max_length=8, choices=Precision, default=Precision.SECOND)
    received_at = models.DateTimeField(auto_now_add=True)
    minutes_since_opening = models.FloatField(
        null=True, blank=True, help_text="By the device's own clock, at the time."
    )
    device_ms = models.BigIntegerField(null=True, blank=True)
    clock_id = models.CharField(max_length=40, blank=True)
    clock_offset_ms = models.BigIntegerField(null=True, blank=True)
    sharpness = models.FloatField(
        null=True, blank=True, help_text="Laplacian over grey variance; see rules.sharpness."
    )
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    transcription = models.ForeignKey(
        "dissection.Transcription", models.PROTECT, null=True, blank=True, related_name="photographs"
    )
    taken_by = models.CharField(max_length=80, blank=True, help_text="Who took it, as an older record says.")

    objects = PhotographQuerySet.as_manager()

    class Meta:
        ordering = ["pk"]

    @property
    def taken(self) -> str:
        """Say when it was taken, as well as that is known."""
        return when(self.taken_at, self.taken_precision)

    @property
    def timed(self) -> bool:
        """Tell whether its time of day is known."""
        return self.taken_precision in TIMED

    @property
    def label(self) -> "PhotoLabel | None":
        """Give the label that counts, if there is one."""
        fetched = getattr(self, "current_labels", None)
        labels = list(self.labels.current()) if fetched is None else fetched
        return labels[-1] if labels else None

    @property
    def blur(self) -> Remark | None:
        """Give the remark that it looks blurred, if it does."""
        return blur_remark(self.sharpness)

    @property
    def moment(self) -> Moment:
        """Give when it was taken."""
        return Moment(self.taken_at, self.device_ms, self.clock_id)


class PhotoLabelQuerySet(models.QuerySet["PhotoLabel"]):
    """Questions to labels."""

    def current(self) -> Self:
        """Only labels that nothing supersedes."""
        return self.filter(superseded_by__isnull=True)


class PhotoLabel(AppendOnly):
    """What a photograph shows; the latest label that nothing supersedes counts."""

    photograph = models.ForeignKey(Photograph, models.PROTECT, related_name="labels")
    part = models.ForeignKey(Part, models.PROTECT, null=True, blank=True, related_name="+")
    sample = models.ForeignKey("dissection.Sample", models.PROTECT, null=True, blank=True, related_name="+")
    place = models.CharField(max_length=40, blank=True)
    x = models.FloatField(null=True, blank=True)
    y = models.FloatField(null=True, blank=True)
    frame = models.CharField(
        max_length=80, blank=True, help_text="What is in the picture: outside front, face A whole ..."
    )
    caption = models.CharField(max_length=200, blank=True)
    not_evidence = models.CharField(max_length=120, blank=True, help_text="Why it is none, if it is none.")
    supersedes = models.OneToOneField(
        "self", models.PROTECT, null=True, blank=True, related_name="superseded_by"
    )
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField(auto_now_add=True)

    objects = PhotoLabelQuerySet.as_manager()

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(x__isnull=True, y__isnull=True) | Q(x__gte=0, x__lte=1, y__gte=0, y__lte=1),
                name="labelled_inside_the_electrode",
            )
        ]

    @property
    def words(self) -> str:
        """Say what the photograph shows."""
        if self.not_evidence:
            return f"no evidence: {self.not_evidence}"
        of = self.sample or self.part
        return ", ".join(filter(None, [str(of) if of else "", self.place, self.frame, self.caption]))
