"""Strokes by a person that show what is what, and the classifiers that learned from them."""

from django.db import models
from django.db.models import Q

from teardown.files.models import Run, StoredFile
from teardown.imaging.models.micrographs import Micrograph
from teardown.imaging.models.sessions import ImagingSession
from teardown.records.models import AppendOnly


class StrokeSet(AppendOnly):
    """The strokes on one micrograph; the highest version counts, an empty one takes them away."""

    micrograph = models.ForeignKey(Micrograph, models.PROTECT, related_name="strokes")
    version = models.PositiveSmallIntegerField(default=1)
    strokes = models.JSONField(
        blank=True, help_text='Rows of {"class", "width_px", "points"}; points are [x, y] in pixels.'
    )
    by = models.ForeignKey("accounts.User", models.PROTECT, related_name="+")
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(fields=["micrograph", "version"], name="one_stroke_set_of_a_version")
        ]


class Classifier(AppendOnly):
    """What was learned from strokes, for a session, or for one micrograph that belongs to none."""

    run = models.OneToOneField(Run, models.PROTECT, related_name="+")
    session = models.ForeignKey(
        ImagingSession, models.PROTECT, null=True, blank=True, related_name="classifiers"
    )
    micrograph = models.ForeignKey(Micrograph, models.PROTECT, null=True, blank=True, related_name="+")
    stored = models.ForeignKey(StoredFile, models.PROTECT, related_name="+")
    accuracy = models.FloatField(help_text="Share of the stroked pixels called rightly out of bag, 0 to 1.")
    details = models.JSONField(default=dict, help_text="Accuracy and number of pixels by class; settings.")
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(session__isnull=False) | Q(micrograph__isnull=False),
                name="a_classifier_has_a_scope",
            ),
            models.CheckConstraint(condition=Q(accuracy__gte=0, accuracy__lte=1), name="accuracy_is_a_share"),
        ]
