"""How cells are put to the test: protocols, chambers, channels, tests and where they sat."""

import datetime as dt
from typing import Any, ClassVar, Self

from django.db import models
from django.db.models import F, OuterRef, Q, Subquery
from django.utils import timezone

from teardown.accounts.roles import may
from teardown.records.guards import NEVER, Guard
from teardown.records.models import AppendOnly, Kept, Versioned


class Protocol(Kept, Versioned):
    """How cells are cycled. Its content lives in revisions."""

    code = models.CharField(max_length=40, unique=True)
    title = models.CharField(max_length=160)

    class Meta:
        ordering = ["code"]

    def __str__(self) -> str:
        """Give its code."""
        return self.code


class ProtocolRevision(Kept):
    """One state of a protocol; frozen by the first test."""

    guards: ClassVar[list[Guard]] = [
        Guard("DELETE", NEVER),
        Guard(
            "UPDATE",
            "OLD.frozen_at IS NOT NULL",
            "A protocol that has been run is never edited: make a new revision",
        ),
    ]
    protocol = models.ForeignKey(Protocol, models.PROTECT, related_name="revisions")
    number = models.PositiveIntegerField()
    words = models.TextField(blank=True)
    charge_current_A = models.FloatField(null=True, blank=True)
    discharge_current_A = models.FloatField(null=True, blank=True)
    charge_limit_Ah = models.FloatField(null=True, blank=True)
    discharge_limit_V = models.FloatField(null=True, blank=True)
    rest_h = models.FloatField(null=True, blank=True)
    capacity_limit = models.FloatField(
        null=True, blank=True, help_text="The test ends below this share of reference capacity."
    )
    first_plateau_limit_V = models.FloatField(null=True, blank=True)
    begins_with = models.CharField(
        max_length=10, choices=[("charge", "charge"), ("discharge", "discharge")], default="charge"
    )
    frozen_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["protocol", "number"]
        constraints = [
            models.UniqueConstraint(fields=["protocol", "number"], name="one_protocol_revision_of_a_number")
        ]

    def __str__(self) -> str:
        """Give code and number."""
        return f"{self.protocol} rev {self.number}"

    def freeze(self, at: dt.datetime | None = None) -> None:
        """Freeze it, if nothing has yet."""
        type(self).objects.filter(pk=self.pk, frozen_at=None).update(frozen_at=at or timezone.now())


class Chamber(Kept, Versioned):
    """Where cells are held at a temperature."""

    name = models.CharField(max_length=40, unique=True)
    note = models.TextField(blank=True)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        """Give its name."""
        return self.name


class Position(Kept, Versioned):
    """A place in a chamber."""

    chamber = models.ForeignKey(Chamber, models.PROTECT, related_name="positions")
    name = models.CharField(max_length=40)

    class Meta:
        ordering = ["chamber", "name"]
        constraints = [models.UniqueConstraint(fields=["chamber", "name"], name="one_position_of_a_name")]

    def __str__(self) -> str:
        """Give chamber and place."""
        return f"{self.chamber}, place {self.name}"


class Channel(Kept, Versioned):
    """A channel of a cycler."""

    name = models.CharField(max_length=40, unique=True)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        """Give its name."""
        return self.name


class ChannelAccuracy(AppendOnly):
    """How far a channel may be off, from a day on."""

    channel = models.ForeignKey(Channel, models.PROTECT, related_name="accuracies")
    range_A = models.FloatField()
    gain_pct = models.FloatField(help_text="Of reading.")
    offset_pct = models.FloatField(help_text="Of range.")
    valid_from = models.DateField()

    class Meta:
        ordering = ["channel", "valid_from"]
        constraints = [
            models.CheckConstraint(
                condition=Q(range_A__gt=0, gain_pct__gte=0, offset_pct__gte=0), name="accuracy_makes_sense"
            )
        ]


class TestQuerySet(models.QuerySet["Test"]):
    """Questions to tests."""

    def running(self) -> Self:
        """Only tests that have not ended."""
        return self.filter(ended_at=None)

    def visible_to(self, user: Any) -> Self:
        """Only tests of cells that this person may see."""
        standing = self.filter(cell__withdrawn_at=None)
        return standing if may(user, "cells.see_open") else standing.filter(cell__closed_at__isnull=False)

    def with_seat(self) -> Self:
        """Add the last held temperature, chamber, place and channel as columns."""
        seats = Seat.objects.filter(test=OuterRef("pk")).order_by("-since", "-pk")

        def last(field: str) -> Subquery:
            return Subquery(seats.values(field)[:1])

        return self.annotate(
            temperature_C=last("set_temperature_C"),
            chamber=last("position__chamber__name"),
            place=last("position__name"),
            channel=last("channel__name"),
        )

    def censored(self) -> Self:
        """Only tests whose end says nothing about failure, and those that still run."""
        return self.filter(Q(ended_at=None) | Q(end__data__censors=True))


class Test(Kept, Versioned):
    """One test of a cell, from start to its end and the reason for it."""

    __test__ = False  # a row of the lab's books, not a case for pytest
    cell = models.ForeignKey("cells.Cell", models.PROTECT, related_name="tests")
    number = models.PositiveSmallIntegerField(default=1)
    protocol = models.ForeignKey(ProtocolRevision, models.PROTECT, related_name="+")
    started_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)
    end = models.ForeignKey("vocabulary.Term", models.PROTECT, null=True, blank=True, related_name="+")
    end_note = models.TextField(blank=True)
    state_at_stop = models.CharField(
        max_length=12,
        blank=True,
        choices=[
            ("charged", "charged"),
            ("discharged", "discharged"),
            ("part", "part charged"),
            ("unknown", "unknown"),
        ],
    )

    objects = TestQuerySet.as_manager()

    class Meta:
        ordering = ["cell", "number"]
        constraints = [
            models.UniqueConstraint(fields=["cell", "number"], name="one_test_of_a_number"),
            models.UniqueConstraint(
                fields=["cell"],
                condition=Q(ended_at=None),
                name="one_open_test_a_cell",
                violation_error_message="This cell is on test already: end that test first.",
            ),
            models.CheckConstraint(
                condition=Q(ended_at__isnull=True, end__isnull=True)
                | Q(ended_at__isnull=False, end__isnull=False),
                name="an_ended_test_has_a_reason",
                violation_error_message="Give the end its reason.",
            ),
            models.CheckConstraint(
                condition=Q(ended_at__isnull=True) | Q(ended_at__gte=F("started_at")),
                name="a_test_ends_after_it_starts",
                violation_error_message="A test ends after it starts.",
            ),
        ]

    def __str__(self) -> str:
        """Give cell and number."""
        return f"{self.cell}, test {self.number}"


class Seat(Kept, Versioned):
    """Where a test sat: place, channel and held temperature, from when to when."""

    test = models.ForeignKey(Test, models.PROTECT, related_name="seats")
    position = models.ForeignKey(Position, models.PROTECT, related_name="seats")
    channel = models.ForeignKey(Channel, models.PROTECT, null=True, blank=True, related_name="+")
    set_temperature_C = models.FloatField(null=True, blank=True)
    since = models.DateTimeField()
    until = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["test", "since"]
        constraints = [
            models.UniqueConstraint(
                fields=["position"],
                condition=Q(until=None),
                name="one_open_seat_a_position",
                violation_error_message="Another test still sits at this place.",
            ),
            models.UniqueConstraint(fields=["test"], condition=Q(until=None), name="one_open_seat_a_test"),
            models.CheckConstraint(
                condition=Q(until__isnull=True) | Q(until__gte=F("since")),
                name="a_seat_ends_after_it_starts",
                violation_error_message="A seat is left after it is taken.",
            ),
            models.CheckConstraint(
                condition=Q(set_temperature_C__isnull=True)
                | Q(set_temperature_C__gte=-40, set_temperature_C__lte=120),
                name="a_chamber_temperature",
                violation_error_message="A chamber holds between −40 and 120 °C.",
            ),
        ]
