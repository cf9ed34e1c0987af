"""Entries and photographs: what was seen, by whom, where and when. Only ever added to."""

import datetime as dt
from typing import Self

from django.conf import settings
from django.db import models
from django.db.models import Exists, OuterRef, Q

from teardown.dissection.models.opening import BenchSession, Dissection, Instrument, Part
from teardown.files.models import Receipt
from teardown.records.models import AppendOnly


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
    received_at = models.DateTimeField(auto_now_add=True)
    minutes_since_opening = models.FloatField(
        null=True, blank=True, help_text="By the device's own clock, at the time."
    )
    device_ms = models.BigIntegerField(null=True, blank=True)
    clock_id = models.CharField(max_length=40, blank=True)
    clock_offset_ms = models.BigIntegerField(null=True, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")

    class Meta:
        ordering = ["pk"]


class EntryQuerySet(models.QuerySet["Entry"]):
    """Questions to entries."""

    def current(self) -> Self:
        """Only entries that nothing supersedes and that were not withdrawn."""
        return self.filter(~Exists(Entry.objects.filter(supersedes=OuterRef("pk")))).exclude(
            state=Entry.State.WITHDRAWN
        )

    def as_known_at(self, seq: int) -> Self:
        """Only entries that counted when the chain of records had come to ``seq``."""
        later = Entry.objects.filter(supersedes=OuterRef("pk"), record__seq__lte=seq)
        return self.filter(~Exists(later), record__seq__lte=seq).exclude(state=Entry.State.WITHDRAWN)


class Entry(AppendOnly):
    """One thing seen or measured. Amended by a later entry that supersedes it and says why."""

    class State(models.TextChoices):
        """Answer at the bench. What was not asked has no entry."""

        PRESENT = "present", "present"
        ABSENT = "absent", "absent (looked for)"
        CANNOT_TELL = "cannot tell", "cannot tell"
        NOT_DONE = "not done", "not done, because"
        WITHDRAWN = "withdrawn", "withdrawn"

    class Certainty(models.TextChoices):
        """How sure the observer is."""

        SURE = "sure", "sure"
        THINK_SO = "think so", "think so"
        GUESS = "guess", "guess"

    class Extent(models.TextChoices):
        """How much of it."""

        NONE = "none", "none"
        TRACE = "trace", "trace (< 5 %)"
        SOME = "some", "some (5–25 %)"
        MUCH = "much", "much (25–75 %)"
        NEARLY_ALL = "nearly all", "nearly all (> 75 %)"

    class Source(models.TextChoices):
        """How it came to be known."""

        SEEN = "seen", "seen at the bench"
        PHOTO = "photo", "from a photograph"
        TRANSCRIBED = "transcribed", "transcribed from an older record"

    class Precision(models.TextChoices):
        """How well the time is known."""

        SECOND = "second", "to the second"
        MINUTE = "minute", "about that minute"
        DAY = "day", "that day"
        UNKNOWN = "unknown", "time of day unknown"

    key = models.UUIDField(unique=True, help_text="Made by the device, so that a repeat is recognised.")
    payload_sha256 = models.CharField(max_length=64)
    record = models.OneToOneField("records.Record", models.PROTECT, related_name="+")
    dissection = models.ForeignKey(Dissection, models.PROTECT, related_name="entries")
    session = models.ForeignKey(BenchSession, models.PROTECT, null=True, blank=True, related_name="+")
    part = models.ForeignKey(Part, models.PROTECT, null=True, blank=True, related_name="+")
    sample = models.ForeignKey("dissection.Sample", models.PROTECT, null=True, blank=True, related_name="+")
    face = models.CharField(max_length=1, blank=True, choices=[("A", "face A"), ("B", "face B")])
    height = models.CharField(
        max_length=1, blank=True, choices=[("T", "top"), ("M", "middle"), ("B", "bottom")]
    )
    width = models.CharField(
        max_length=1, blank=True, choices=[("1", "left"), ("2", "centre"), ("3", "right")]
    )
    grid = models.CharField(max_length=8, blank=True)
    zone = models.CharField(max_length=40, blank=True)
    x = models.FloatField(null=True, blank=True)
    y = models.FloatField(null=True, blank=True)
    depth_um = models.FloatField(null=True, blank=True)
    depth_fraction = models.FloatField(null=True, blank=True)
    step = models.CharField(max_length=40, blank=True)
    term = models.ForeignKey("vocabulary.Term", models.PROTECT, related_name="+")
    vocabulary = models.ForeignKey("vocabulary.Version", models.PROTECT, related_name="+")
    state = models.CharField(max_length=12, choices=State, default=State.PRESENT)
    not_done = models.ForeignKey("vocabulary.Term", models.PROTECT, null=True, blank=True, related_name="+")
    certainty = models.CharField(max_length=10, choices=Certainty, blank=True)
    extent = models.CharField(max_length=12, choices=Extent, blank=True)
    extent_fraction = models.FloatField(null=True, blank=True)
    answer = models.ForeignKey("vocabulary.Term", models.PROTECT, null=True, blank=True, related_name="+")
    value_text = models.TextField(blank=True, help_text="Words, or the number exactly as typed.")
    value = models.FloatField(null=True, blank=True)
    unit = models.CharField(max_length=12, blank=True)
    u = models.FloatField(null=True, blank=True)
    instrument = models.ForeignKey(Instrument, models.PROTECT, null=True, blank=True, related_name="+")
    confirmed_unusual = models.BooleanField(default=False, help_text="Read twice, and so it is.")
    uniform = models.BooleanField(default=False, help_text="Said of all places at once.")
    carried_over = models.BooleanField(default=False)
    observed_at = models.DateTimeField()
    observed_precision = models.CharField(max_length=8, choices=Precision, default=Precision.SECOND)
    entered_at = models.DateTimeField()
    received_at = models.DateTimeField()
    device_ms = models.BigIntegerField(null=True, blank=True)
    clock_id = models.CharField(max_length=40, blank=True)
    clock_offset_ms = models.BigIntegerField(null=True, blank=True)
    minutes_since_opening = models.FloatField(
        null=True, blank=True, help_text="As the device's own clock had it."
    )
    observer = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    scribe = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )
    release = models.CharField(max_length=40, blank=True)
    source = models.CharField(max_length=12, choices=Source, default=Source.SEEN)
    supersedes = models.ForeignKey(
        "self", models.PROTECT, null=True, blank=True, related_name="superseded_by"
    )
    reason = models.ForeignKey("vocabulary.Term", models.PROTECT, null=True, blank=True, related_name="+")
    reason_text = models.TextField(blank=True)
    moved_from = models.ForeignKey("self", models.PROTECT, null=True, blank=True, related_name="+")
    photo = models.ForeignKey(Photograph, models.PROTECT, null=True, blank=True, related_name="+")
    box = models.JSONField(
        null=True, blank=True, help_text="Rectangle on the photograph: x0, y0, x1, y1 as fractions."
    )

    objects = EntryQuerySet.as_manager()

    class Meta:
        ordering = ["pk"]
        indexes = [
            models.Index(fields=["term", "state"], name="entry_term_state"),
            models.Index(fields=["dissection", "step"], name="entry_dissection_step"),
        ]
        constraints = [
            models.CheckConstraint(
                condition=Q(value__isnull=True) | ~Q(unit=""),
                name="a_value_has_a_unit",
                violation_error_message="A number needs its unit.",
            ),
            models.CheckConstraint(
                condition=~Q(state="not done") | Q(not_done__isnull=False),
                name="not_done_says_why",
                violation_error_message="Say why it was not done.",
            ),
            models.CheckConstraint(
                condition=Q(supersedes__isnull=True) | Q(reason__isnull=False),
                name="an_amendment_says_why",
                violation_error_message="Give the reason for the amendment.",
            ),
            models.CheckConstraint(
                condition=Q(part__isnull=True) | Q(sample__isnull=True), name="of_a_part_or_a_sample"
            ),
            models.CheckConstraint(
                condition=Q(extent_fraction__isnull=True) | Q(extent_fraction__gte=0, extent_fraction__lte=1),
                name="extent_0_to_1",
            ),
            models.CheckConstraint(
                condition=Q(x__isnull=True, y__isnull=True) | Q(x__gte=0, x__lte=1, y__gte=0, y__lte=1),
                name="place_inside_the_electrode",
            ),
            models.CheckConstraint(
                condition=Q(depth_fraction__isnull=True) | Q(depth_fraction__gte=0, depth_fraction__lte=1),
                name="depth_0_to_1",
            ),
        ]

    @property
    def place(self) -> str:
        """Give the address on the electrode in short: ``A.M2``, or the name of a zone."""
        return self.zone or ".".join(filter(None, [self.face, f"{self.height}{self.width}"]))

    @property
    def late_by(self) -> dt.timedelta:
        """How long after it was seen it was entered."""
        return self.entered_at - self.observed_at


class Confirmation(AppendOnly):
    """An observer's word that the scribe wrote down what was said."""

    entry = models.ForeignKey(Entry, models.PROTECT, related_name="confirmations")
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["entry", "by"], name="confirmed_once_by_a_person")]


class PhotoLabel(AppendOnly):
    """What a photograph shows; the latest label that nothing supersedes counts."""

    photograph = models.ForeignKey(Photograph, models.PROTECT, related_name="labels")
    part = models.ForeignKey(Part, models.PROTECT, null=True, blank=True, related_name="+")
    sample = models.ForeignKey("dissection.Sample", models.PROTECT, null=True, blank=True, related_name="+")
    place = models.CharField(max_length=40, blank=True)
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

    class Meta:
        ordering = ["pk"]
