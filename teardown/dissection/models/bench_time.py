"""Who opens which cell, and when; how many hours of work the bench has."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from teardown.cells.models import Cell
from teardown.records.models import AppendOnly, Kept, Versioned


class BenchTime(Kept, Versioned):
    """Bench time given to one cell: person, day, part of the day; and how the cell came by its place."""

    class Slot(models.TextChoices):
        """Part of a day."""

        WHOLE = "whole day", "whole day"
        MORNING = "morning", "morning"
        AFTERNOON = "afternoon", "afternoon"

    cell = models.OneToOneField(Cell, models.PROTECT, related_name="bench_time")
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )
    day = models.DateField(null=True, blank=True)
    slot = models.CharField(max_length=12, choices=Slot, blank=True)
    drawn = models.BooleanField(
        default=True, help_text="It came by the balanced draw, so that rates may rest on it."
    )
    reason = models.CharField(max_length=200, blank=True, help_text="Why it stood where it stood.")

    class Meta:
        ordering = ["day", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(day__isnull=False) | Q(slot=""),
                name="a_slot_is_of_a_day",
                violation_error_message="Give the day of which this is a part.",
            )
        ]

    def __str__(self) -> str:
        """Say of which cell."""
        return f"bench time of {self.cell}"


class BenchHours(AppendOnly):
    """How many person-hours the bench has on a working day, since when; the latest row of a day counts."""

    hours_a_day = models.FloatField()
    hours_a_cell = models.FloatField(null=True, blank=True, help_text="Empty: from the cells done so far.")
    since = models.DateField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["since", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(hours_a_day__gt=0, hours_a_day__lte=240),
                name="bench_hours_above_zero",
                violation_error_message="A bench has between 0 and 240 person-hours a day.",
            ),
            models.CheckConstraint(
                condition=Q(hours_a_cell__isnull=True) | Q(hours_a_cell__gt=0, hours_a_cell__lte=100),
                name="hours_a_cell_above_zero",
                violation_error_message="A cell takes between 0 and 100 hours.",
            ),
        ]
