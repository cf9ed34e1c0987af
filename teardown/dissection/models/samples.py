"""Pieces of a cell, their mounts and sections, who has them, and what they were sent for."""

import datetime as dt
from typing import Self

from django.conf import settings
from django.db import models
from django.db.models import Exists, OuterRef, Q

from teardown.dissection.models.entries import Entry
from teardown.dissection.models.opening import BenchSession, Dissection, Part
from teardown.records.models import AppendOnly, Kept, Versioned
from teardown.vocabulary.models import Term


class SampleQuerySet(models.QuerySet["Sample"]):
    """Questions to samples."""

    def of(self, dissection: Dissection) -> Self:
        """Only pieces of this cell, pieces of pieces included to the third step."""
        return self.filter(
            Q(part__dissection=dissection)
            | Q(parent__part__dissection=dissection)
            | Q(parent__parent__part__dissection=dissection)
            | Q(parent__parent__parent__part__dissection=dissection)
        )

    def unplaced(self) -> Self:
        """Only those that were handed to no place and no person, and lie in no mount."""
        handed = Transfer.objects.filter(sample=OuterRef("pk"))
        mounted = Mounted.objects.filter(sample=OuterRef("pk"))
        return self.filter(~Exists(handed), ~Exists(mounted))

    def with_custody(self) -> Self:
        """Fetch what lists show: where it comes from, and its last hand-over."""
        return self.select_related(
            "part__component", "part__dissection__cell", "parent__part__dissection__cell",
            "parent__part__component", "lot__material", "session", "by",
        ).prefetch_related(
            models.Prefetch("transfers", queryset=Transfer.objects.select_related("to_person").order_by("pk"))
        )  # fmt: skip


class Sample(AppendOnly):
    """A piece with a code of its own, from exactly one thing: a sample, a part, a sitting (blank), a lot."""

    code = models.CharField(max_length=12, unique=True, help_text="Seven characters and a check character.")
    parent = models.ForeignKey("self", models.PROTECT, null=True, blank=True, related_name="children")
    part = models.ForeignKey(Part, models.PROTECT, null=True, blank=True, related_name="samples")
    session = models.ForeignKey(BenchSession, models.PROTECT, null=True, blank=True, related_name="+")
    lot = models.ForeignKey("cells.Lot", models.PROTECT, null=True, blank=True, related_name="+")
    cut = models.ForeignKey(Entry, models.PROTECT, null=True, blank=True, related_name="+")
    place = models.CharField(max_length=40, blank=True)
    purpose = models.CharField(max_length=80, blank=True)
    mass_mg = models.FloatField(null=True, blank=True)
    size_mm = models.CharField(max_length=40, blank=True)
    face_up = models.CharField(max_length=1, blank=True)
    rinsed = models.BooleanField(null=True, blank=True)
    atmosphere = models.CharField(max_length=40, blank=True)
    minutes_since_opening = models.FloatField(null=True, blank=True)
    container = models.CharField(max_length=40, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()

    objects = SampleQuerySet.as_manager()

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(
                name="a_sample_comes_from_one_thing",
                violation_error_message="A sample comes from exactly one thing.",
                condition=Q(parent__isnull=False, part__isnull=True, session__isnull=True, lot__isnull=True)
                | Q(parent__isnull=True, part__isnull=False, session__isnull=True, lot__isnull=True)
                | Q(parent__isnull=True, part__isnull=True, session__isnull=False, lot__isnull=True)
                | Q(parent__isnull=True, part__isnull=True, session__isnull=True, lot__isnull=False),
            ),
            models.CheckConstraint(
                condition=Q(mass_mg__isnull=True) | Q(mass_mg__gt=0), name="sample_mass_above_zero"
            ),
        ]

    def __str__(self) -> str:
        """Give its code."""
        return self.code

    @property
    def origin(self) -> Part | None:
        """Follow it up to the part of the cell that it came from."""
        return self.part or (self.parent.origin if self.parent else None)

    @property
    def lies(self) -> str:
        """Say where it is now, by its last hand-over."""
        transfers = list(self.transfers.all())
        if not transfers:
            return "not placed yet"
        last = transfers[-1]
        return "disposed of" if last.disposal else last.to_place or str(last.to_person)


class Transfer(AppendOnly):
    """A sample given to a place or a person; disposal is one too."""

    sample = models.ForeignKey(Sample, models.PROTECT, related_name="transfers")
    to_place = models.CharField(max_length=80, blank=True)
    to_person = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )
    disposal = models.BooleanField(default=False)
    note = models.CharField(max_length=200, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(
                condition=~Q(to_place="") | Q(to_person__isnull=False), name="handed_to_someone_or_somewhere"
            )
        ]


class Mount(AppendOnly):
    """A block of resin with one or more samples in it."""

    code = models.CharField(max_length=20, unique=True)
    resin = models.CharField(max_length=80, blank=True)
    resin_batch = models.CharField(max_length=40, blank=True)
    ratio = models.CharField(max_length=20, blank=True)
    dye = models.CharField(max_length=40, blank=True)
    vacuum_mbar = models.FloatField(null=True, blank=True)
    cure_C = models.FloatField(null=True, blank=True)
    cure_h = models.FloatField(null=True, blank=True)
    note = models.TextField(blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        """Give its code."""
        return self.code


class Mounted(AppendOnly):
    """A sample in a mount, and how it lies."""

    mount = models.ForeignKey(Mount, models.PROTECT, related_name="contents")
    sample = models.ForeignKey(Sample, models.PROTECT, related_name="mounted")
    orientation = models.CharField(max_length=80, help_text="Section plane, and which edge is the air face.")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["mount", "sample"], name="a_sample_once_in_a_mount")]


class Section(AppendOnly):
    """A polished plane of a mount. Polishing again makes a new section."""

    mount = models.ForeignKey(Mount, models.PROTECT, related_name="sections")
    number = models.PositiveSmallIntegerField(default=1)
    depth_removed_um = models.FloatField(null=True, blank=True)
    stages = models.JSONField(
        default=list, blank=True, help_text="Abrasive, size, lubricant, force, time of each stage."
    )
    artefacts = models.JSONField(
        default=list, blank=True, help_text="Keys of artefacts seen: they leave its images out of coverage."
    )
    note = models.TextField(blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]
        constraints = [models.UniqueConstraint(fields=["mount", "number"], name="one_section_of_a_number")]

    def __str__(self) -> str:
        """Give mount and number."""
        return f"{self.mount}, section {self.number}"

    def out_of_coverage(self) -> tuple[str, ...]:
        """Give those of its artefacts that leave its images out of oxide coverage, in words."""
        if not self.artefacts:
            return ()
        marks = Term.objects.filter(key__in=self.artefacts, data__out_of_coverage=True)
        return tuple(marks.order_by("order", "pk").values_list("words", flat=True))


class OrderQuerySet(models.QuerySet["Order"]):
    """Questions to orders."""

    def awaited(self) -> Self:
        """Only those whose result is not back."""
        return self.filter(state=Order.State.SENT)

    def overdue(self, today: dt.date) -> Self:
        """Only awaited ones whose day has passed."""
        return self.awaited().filter(due_on__lt=today)


class Order(Kept, Versioned):
    """A sample sent to a technique, and awaited."""

    class State(models.TextChoices):
        """How far it is."""

        SENT = "sent", "sent"
        BACK = "back", "result is back"
        NOTHING = "nothing usable", "measured, nothing usable"
        CALLED_OFF = "called off", "called off"

    sample = models.ForeignKey(Sample, models.PROTECT, related_name="orders")
    technique = models.ForeignKey("vocabulary.Term", models.PROTECT, related_name="+")
    sent_on = models.DateField()
    due_on = models.DateField(null=True, blank=True)
    state = models.CharField(max_length=16, choices=State, default=State.SENT)
    note = models.CharField(max_length=200, blank=True)

    objects = OrderQuerySet.as_manager()

    class Meta:
        ordering = ["due_on", "pk"]

    def __str__(self) -> str:
        """Give sample and technique."""
        return f"{self.sample}, {self.technique}"
