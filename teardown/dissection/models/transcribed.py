"""Records made before this application, or beside it: what was taken over from them, and their originals."""

import uuid

from django.conf import settings
from django.db import models

from teardown.dissection.models.opening import Dissection
from teardown.files.models import Delivery, Receipt
from teardown.records.models import AppendOnly


class Transcription(AppendOnly):
    """One old record that entries or photographs were taken over from: a table, a folder, a paper sheet."""

    class Kind(models.TextChoices):
        """What the record is."""

        TABLE = "table", "a table"
        PHOTOGRAPHS = "photographs", "a folder of photographs"
        PAPER = "paper", "a sheet of paper"

    key = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    kind = models.CharField(max_length=12, choices=Kind)
    dissection = models.ForeignKey(
        Dissection, models.PROTECT, null=True, blank=True, related_name="transcriptions"
    )
    delivery = models.OneToOneField(Delivery, models.PROTECT, null=True, blank=True, related_name="+")
    dated_on = models.DateField(null=True, blank=True, help_text="The day that the record itself bears.")
    observer = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )
    observer_named = models.CharField(max_length=80, blank=True, help_text="Who saw it, as the record says.")
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        """Say what it is, and of which day."""
        day = f" of {self.dated_on:%d %B %Y}" if self.dated_on else ""
        return f"{self.get_kind_display()}{day}"


class TranscribedPage(AppendOnly):
    """An original of a transcription as it came: the table, the archive, a photographed page."""

    transcription = models.ForeignKey(Transcription, models.PROTECT, related_name="pages")
    receipt = models.ForeignKey(Receipt, models.PROTECT, related_name="+")
    number = models.PositiveSmallIntegerField(default=1)

    class Meta:
        ordering = ["transcription", "number"]
        constraints = [
            models.UniqueConstraint(fields=["transcription", "number"], name="one_page_of_a_number")
        ]


class Keying(AppendOnly):
    """A critical number as keyed from paper: the first time, the second, or when both were compared."""

    class Turn(models.IntegerChoices):
        """Which keying."""

        FIRST = 1, "first"
        SECOND = 2, "second, blind to the first"
        COMPARED = 3, "both compared with the sheet"

    transcription = models.ForeignKey(Transcription, models.PROTECT, related_name="keyings")
    slot = models.CharField(max_length=200, help_text="Which number: field, part, place.")
    text = models.CharField(max_length=40)
    clock = models.CharField(max_length=8, blank=True, help_text="What the clock column says.")
    turn = models.PositiveSmallIntegerField(choices=Turn)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(fields=["transcription", "slot", "turn"], name="keyed_once_a_turn")
        ]
