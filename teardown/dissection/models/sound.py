"""Notes spoken at the bench. They are kept as they were recorded; what they say is typed by a person."""

from typing import Self

from django.conf import settings
from django.db import models

from teardown.dissection.models.opening import BenchSession, Dissection
from teardown.files.models import Receipt
from teardown.records.models import AppendOnly


class AudioNoteQuerySet(models.QuerySet["AudioNote"]):
    """Questions to spoken notes."""

    def with_gist(self) -> Self:
        """Fetch what pages show of a note: its file, who spoke, and what was typed of it."""
        from teardown.dissection.models.entries import Entry

        typed = Entry.objects.current().select_related("observer").order_by("pk")
        return self.select_related("receipt__file", "by").prefetch_related(
            models.Prefetch("entries", queryset=typed, to_attr="typed")
        )


class AudioNote(AppendOnly):
    """Up to a minute of speech, kept as an attachment. Nothing is made of it by a machine."""

    key = models.UUIDField(unique=True)
    dissection = models.ForeignKey(Dissection, models.PROTECT, related_name="audio_notes")
    session = models.ForeignKey(BenchSession, models.PROTECT, null=True, blank=True, related_name="+")
    receipt = models.ForeignKey(Receipt, models.PROTECT, related_name="+")
    container = models.CharField(max_length=20)
    seconds = models.FloatField(null=True, blank=True, help_text="As the device counted them.")
    step = models.CharField(max_length=40, blank=True)
    spoken_at = models.DateTimeField()
    received_at = models.DateTimeField(auto_now_add=True)
    minutes_since_opening = models.FloatField(
        null=True, blank=True, help_text="By the device's own clock, at the time."
    )
    device_ms = models.BigIntegerField(null=True, blank=True)
    clock_id = models.CharField(max_length=40, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")

    objects = AudioNoteQuerySet.as_manager()

    class Meta:
        ordering = ["pk"]
