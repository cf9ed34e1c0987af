"""Counts by eye."""

from django.db import models

from teardown.files.models import Run
from teardown.imaging.models.micrographs import Micrograph
from teardown.records.models import AppendOnly


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
