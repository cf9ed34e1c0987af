"""Measuring again by another version: what it gives is held back until a person takes it up."""

from django.db import models
from django.db.models import Q

from teardown.files.models import Run
from teardown.imaging.models.micrographs import Micrograph
from teardown.imaging.models.results import Measured
from teardown.records.models import AppendOnly


class HeldMeasure(Measured):
    """What a held run gave on one field: no number of the books before someone takes it up."""

    micrograph = models.ForeignKey(Micrograph, models.PROTECT, related_name="+")

    class Meta(Measured.Meta):
        constraints = [
            *Measured.Meta.constraints,
            models.UniqueConstraint(fields=["run", "quantity"], name="a_quantity_once_a_held_run"),
        ]


class Remeasuring(AppendOnly):
    """A set of fields that are measured again, so that old and new numbers can be laid side by side."""

    version = models.CharField(max_length=20, help_text="The version of the method that measures.")
    reason = models.CharField(max_length=200)
    by = models.ForeignKey("accounts.User", models.PROTECT, related_name="+")
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["-pk"]
        constraints = [models.CheckConstraint(condition=~Q(reason=""), name="measuring_again_says_why")]

    def __str__(self) -> str:
        """Name it by its number."""
        return f"Measuring again {self.pk}"


class RemeasuredField(AppendOnly):
    """One field of such a set: the run that stood when it was asked for, and the run that was asked for."""

    remeasuring = models.ForeignKey(Remeasuring, models.PROTECT, related_name="fields")
    micrograph = models.ForeignKey(Micrograph, models.PROTECT, related_name="+")
    before = models.ForeignKey(Run, models.PROTECT, null=True, blank=True, related_name="+")
    after = models.ForeignKey(Run, models.PROTECT, related_name="+")

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(fields=["remeasuring", "micrograph"], name="a_field_once_a_remeasuring")
        ]
