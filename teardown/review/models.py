"""Marks that the team leaves on images, and views that it keeps."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from teardown.records.models import AppendOnly, Kept, Versioned


class Mark(AppendOnly):
    """A place on an image that someone points at, with words."""

    photograph = models.ForeignKey(
        "dissection.Photograph", models.PROTECT, null=True, blank=True, related_name="+"
    )
    micrograph = models.ForeignKey(
        "imaging.Micrograph", models.PROTECT, null=True, blank=True, related_name="+"
    )
    box = models.JSONField(help_text="x0, y0, x1, y1 as fractions of the image.")
    words = models.CharField(max_length=200)
    supersedes = models.OneToOneField(
        "self", models.PROTECT, null=True, blank=True, related_name="superseded_by"
    )
    withdrawn = models.BooleanField(default=False)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(photograph__isnull=False, micrograph__isnull=True)
                | Q(photograph__isnull=True, micrograph__isnull=False),
                name="a_mark_is_on_one_image",
            )
        ]


class KeptView(Kept, Versioned):
    """A set of cells side by side that the team wants to find again."""

    name = models.CharField(max_length=120, unique=True)
    query = models.TextField(help_text="The address of the view after its question mark.")
    note = models.TextField(blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["-pk"]

    def __str__(self) -> str:
        """Give its name."""
        return self.name
