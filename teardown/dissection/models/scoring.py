"""Photographs looked at again by a second person who has not seen what the first one said."""

import uuid

from django.conf import settings
from django.db import models

from teardown.dissection.models.entries import Entry
from teardown.dissection.models.photographs import Photograph
from teardown.records.models import AppendOnly


class Score(AppendOnly):
    """What a second person says of one photograph, for one field: beside the entry, never over it."""

    key = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    photograph = models.ForeignKey(Photograph, models.PROTECT, related_name="scores")
    term = models.ForeignKey("vocabulary.Term", models.PROTECT, related_name="+")
    vocabulary = models.ForeignKey("vocabulary.Version", models.PROTECT, related_name="+")
    first = models.ForeignKey(
        Entry, models.PROTECT, related_name="scores", help_text="What the first person had said."
    )
    state = models.CharField(max_length=12, choices=Entry.State, default=Entry.State.PRESENT)
    answer = models.ForeignKey("vocabulary.Term", models.PROTECT, null=True, blank=True, related_name="+")
    extent = models.CharField(max_length=12, choices=Entry.Extent, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(fields=["first", "photograph", "by"], name="scored_once_by_a_person")
        ]

    @property
    def said(self) -> str:
        """Say it in words."""
        if self.state != Entry.State.PRESENT:
            return self.get_state_display()
        return str(self.answer) if self.answer_id else self.get_extent_display() or self.get_state_display()
