"""Entries: what was seen, by whom, where and when. Only ever added to."""

import datetime as dt
from typing import Self

from django.conf import settings
from django.db import models
from django.db.models import Exists, OuterRef, Q

from teardown.dissection.models.opening import OPENED, BenchSession, Dissection, Instrument, Part
from teardown.dissection.models.photographs import TIMED, Photograph, Precision, when
from teardown.dissection.rules.places import Place, point_words
from teardown.dissection.rules.times import Moment, minutes_between
from teardown.records.models import AppendOnly


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

    def unconfirmed(self) -> Self:
        """Only current entries written by a scribe that their observer has not confirmed."""
        said = Confirmation.objects.filter(entry=OuterRef("pk"), by=OuterRef("observer"))
        scribed = self.current().filter(~Exists(said), scribe__isnull=False)
        return scribed.exclude(source=Entry.Source.TRANSCRIBED)  # there the original bears the signature

    def opening(self) -> "Entry | None":
        """Give the entry that counts as time zero; it may have been amended."""
        return self.current().filter(term__key=OPENED).order_by("pk").last()

    def with_words(self) -> Self:
        """Fetch what pages show of an entry."""
        return self.select_related(
            "term", "answer", "part__component", "sample", "not_done", "reason", "observer", "scribe",
            "instrument", "record", "photo", "supersedes__answer", "transcription",
        )  # fmt: skip


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
    transcription = models.ForeignKey(
        "dissection.Transcription", models.PROTECT, null=True, blank=True, related_name="entries"
    )
    observer_named = models.CharField(
        max_length=80,
        blank=True,
        help_text="Who saw it, where an older record names somebody without account.",
    )
    source_words = models.CharField(
        max_length=240, blank=True, help_text="Where the older record has it, and in its own words."
    )
    keyed_twice = models.BooleanField(default=False, help_text="The second time blind to the first.")
    moved_from = models.ForeignKey("self", models.PROTECT, null=True, blank=True, related_name="+")
    photo = models.ForeignKey(Photograph, models.PROTECT, null=True, blank=True, related_name="+")
    box = models.JSONField(
        null=True, blank=True, help_text="Rectangle on the photograph: x0, y0, x1, y1 as fractions."
    )
    audio = models.ForeignKey(
        "dissection.AudioNote", models.PROTECT, null=True, blank=True, related_name="entries"
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
                condition=Q(transcription__isnull=True) | Q(source="transcribed"),
                name="an_older_record_is_transcribed",
            ),
            models.CheckConstraint(
                condition=Q(depth_fraction__isnull=True) | Q(depth_fraction__gte=0, depth_fraction__lte=1),
                name="depth_0_to_1",
            ),
        ]

    @property
    def place(self) -> str:
        """Give the address on the electrode in short: ``A.M2``, or the name of a zone."""
        return self.where.address

    @property
    def point(self) -> str:
        """Say the point on the electrode in words, or nothing where none was put."""
        return "" if self.x is None or self.y is None else point_words(self.x, self.y)

    @property
    def place_words(self) -> str:
        """Give the address with the point, if one was put: "A.M2 (42 % across, 61 % down)"."""
        return f"{self.place} ({self.point})" if self.point else self.place

    @property
    def where(self) -> Place:
        """Give the place on the electrode."""
        return Place(self.face, self.height, self.width, self.zone, self.depth_fraction)

    @property
    def moment(self) -> Moment:
        """Give when it was seen."""
        return Moment(self.observed_at, self.device_ms, self.clock_id)

    def minutes_since(self, opened: Moment | None) -> float | None:
        """Give the minutes since opening, by the time zero that counts now; None before it or without it."""
        minutes = None if opened is None or not self.timed else minutes_between(opened, self.moment)
        return minutes if minutes is not None and minutes >= 0 else None

    @property
    def typed(self) -> str:
        """Give the number with the digits that were typed, and a point: "39,614 g" could be kilograms."""
        return self.value_text.replace(",", ".")

    @property
    def said(self) -> str:
        """Say what was found, in words with the unit: "green film", "41.18 g", "absent (looked for)"."""
        if self.state == self.State.NOT_DONE:
            return f"not done: {self.not_done}"
        if self.state != self.State.PRESENT:
            return self.get_state_display()
        number = f"{self.typed} {self.unit}".removesuffix(" 1") if self.value is not None else ""
        extent = f"{100 * self.extent_fraction:g} %" if self.extent_fraction is not None else ""
        words = [
            str(self.answer) if self.answer_id else number or self.value_text,
            extent or (self.get_extent_display() if self.extent else ""),
        ]
        note = self.value_text if self.answer_id and self.value_text else ""
        return ", ".join(filter(None, [*words, note])) or self.get_state_display()

    @property
    def timed(self) -> bool:
        """Tell whether its time of day is known; without it there are no minutes since opening."""
        return self.observed_precision in TIMED

    @property
    def when(self) -> str:
        """Say when it was seen, as well as that is known."""
        return when(self.observed_at, self.observed_precision)

    @property
    def transcribed(self) -> bool:
        """Tell whether it was taken over from an older record or from paper."""
        return self.source == self.Source.TRANSCRIBED

    @property
    def seen_by(self) -> str:
        """Say who saw it: the person here, or whom an older record names."""
        if self.transcribed and self.observer_named:
            return self.observer_named
        if self.transcribed and self.scribe_id == self.observer_id:
            return "the record does not say who"
        return str(self.observer)

    @property
    def transcribed_by(self) -> str:
        """Say who took it over from the older record."""
        return str(self.scribe or self.observer)

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
