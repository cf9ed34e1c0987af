"""A dissection and what surrounds it: sittings, parts, plan, instruments, cautions, signature."""

import uuid
from typing import Any, Self

from django.conf import settings
from django.db import models
from django.db.models import Exists, OuterRef, Q

from teardown.cells.models import Cell, RecipePart
from teardown.dissection.rules.cautions import Situation
from teardown.dissection.rules.times import Moment
from teardown.records.models import AppendOnly, Kept, Versioned

OPENED = "opening.opened"


class PlanTemplate(Kept, Versioned):
    """What is usually sampled from a family of recipes."""

    name = models.CharField(max_length=80, unique=True)
    family = models.CharField(
        max_length=40, blank=True, help_text="Part of a recipe code that it fits; empty fits all."
    )
    items = models.JSONField(default=list, help_text="Rows of component, place, technique, purpose, amount.")
    retired_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        """Give its name."""
        return self.name


class Plan(Kept, Versioned):
    """What is to be asked of one cell, decided before it is opened."""

    cell = models.OneToOneField(Cell, models.PROTECT, related_name="plan")
    template = models.ForeignKey(PlanTemplate, models.PROTECT, null=True, blank=True, related_name="+")
    questions = models.JSONField(default=list, blank=True, help_text="At most three.")
    made_at = models.DateTimeField(auto_now_add=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")

    def __str__(self) -> str:
        """Give the cell."""
        return f"the plan of {self.cell}"


class PlanItem(Kept, Versioned):
    """One sample to be taken."""

    plan = models.ForeignKey(Plan, models.PROTECT, related_name="items")
    component = models.ForeignKey("vocabulary.Term", models.PROTECT, related_name="+")
    place = models.CharField(max_length=40, blank=True)
    technique = models.ForeignKey("vocabulary.Term", models.PROTECT, related_name="+")
    purpose = models.CharField(max_length=120, blank=True)
    amount = models.CharField(max_length=60, blank=True)
    not_done = models.ForeignKey("vocabulary.Term", models.PROTECT, null=True, blank=True, related_name="+")
    not_done_note = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        """Give part, place and technique."""
        return ", ".join(filter(None, [str(self.component), self.place, str(self.technique)]))


class DissectionQuerySet(models.QuerySet["Dissection"]):
    """Questions to dissections."""

    def visible_to(self, user: Any) -> Self:
        """Only those of cells that this person may see."""
        return self.filter(cell__in=Cell.objects.visible_to(user))

    def underway(self) -> Self:
        """Only those that were not closed yet."""
        return self.filter(cell__closed_at__isnull=True)


class Dissection(Kept, Versioned):
    """The opening of one cell, from the first look to the signature."""

    cell = models.OneToOneField(Cell, models.PROTECT, related_name="dissection")
    plan_version = models.PositiveIntegerField(null=True, blank=True)
    assigned_to = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )
    day = models.DateField(null=True, blank=True)
    blinded = models.BooleanField(default=True, help_text="Recipe amounts and curve are hidden at the bench.")
    started_at = models.DateTimeField(auto_now_add=True)

    objects = DissectionQuerySet.as_manager()

    def __str__(self) -> str:
        """Say of which cell."""
        return f"dissection of {self.cell}"

    def opened(self) -> Moment | None:
        """Give time zero: wall clock and, where the device told it, its steady clock.

        None too where an older record gives its day alone: no minutes may be counted from a day.
        """
        entry = self.entries.opening()
        return None if entry is None or not entry.timed else entry.moment

    def constituents(self) -> frozenset[str]:
        """Tell what the recipe holds that a caution must know."""
        lists = RecipePart.objects.filter(revision=self.cell.build.revision_id).values_list(
            "material__constituents", flat=True
        )
        return frozenset(str(name) for held in lists for name in held)

    def states(self) -> frozenset[str]:
        """Tell how the cell stood when its test stopped, and whether it is open."""
        last = self.cell.tests.order_by("number").last()
        stood = [last.get_state_at_stop_display()] if last and last.state_at_stop else ["state not known"]
        return frozenset([*stood, *(["opened"] if self.entries.opening() else [])])

    def situation(self, step: str, techniques: frozenset[str] = frozenset()) -> Situation:
        """Say what is known when a step opens, for its caution cards."""
        return Situation(step, self.constituents() or None, self.states(), techniques)


class BenchSession(Kept, Versioned):
    """One sitting at the bench: a day, a place, an atmosphere, a device, a person."""

    key = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    day = models.DateField()
    place = models.CharField(max_length=80, blank=True)
    atmosphere = models.CharField(max_length=40, blank=True)
    device = models.ForeignKey("accounts.Device", models.PROTECT, null=True, blank=True, related_name="+")
    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    credential_sha256 = models.CharField(max_length=64, blank=True)
    started_at = models.DateTimeField(auto_now_add=True)
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-pk"]


class Part(AppendOnly):
    """A component of an opened cell, numbered from the iron outward."""

    dissection = models.ForeignKey(Dissection, models.PROTECT, related_name="parts")
    component = models.ForeignKey("vocabulary.Term", models.PROTECT, related_name="+")
    number = models.PositiveSmallIntegerField(default=1)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(fields=["dissection", "component", "number"], name="one_part_of_a_number")
        ]

    def __str__(self) -> str:
        """Give component and number."""
        return f"{self.component} {self.number}" if self.number > 1 else str(self.component)


class Instrument(Kept, Versioned):
    """A balance, meter, caliper, burette or gauge."""

    code = models.CharField(max_length=40, unique=True)
    name = models.CharField(max_length=80)
    quantity = models.CharField(max_length=40, blank=True)
    u = models.FloatField(null=True, blank=True, help_text="Usual standard uncertainty, in its unit.")
    unit = models.CharField(max_length=10, blank=True)
    retired_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["code"]

    def __str__(self) -> str:
        """Give name and code."""
        return f"{self.name} {self.code}"

    @property
    def last_check(self) -> "Check | None":
        """Give the check that was made last."""
        checks = list(self.checks.all())
        return checks[-1] if checks else None


class Check(AppendOnly):
    """When an instrument was checked, against what, and what came out."""

    instrument = models.ForeignKey(Instrument, models.PROTECT, related_name="checks")
    at = models.DateTimeField()
    against = models.CharField(max_length=120)
    passed = models.BooleanField()
    note = models.TextField(blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")

    class Meta:
        ordering = ["pk"]


class CautionCardQuerySet(models.QuerySet["CautionCard"]):
    """Questions to caution cards."""

    def in_force(self) -> Self:
        """Only the latest version of each card that was not retired."""
        newer = CautionCard.objects.filter(key=OuterRef("key"), number__gt=OuterRef("number"))
        return self.filter(~Exists(newer), retired=False)


class CautionCard(AppendOnly):
    """A reminder of a hazard, in a version; the latest of a key counts. It permits nothing."""

    key = models.CharField(max_length=40, db_index=True)
    number = models.PositiveIntegerField(default=1)
    title = models.CharField(max_length=120)
    facts = models.TextField()
    cautions = models.TextField()
    source = models.CharField(max_length=200)
    rule = models.JSONField(
        default=dict, help_text="Constituents, steps and states that bring it up; empty means always."
    )
    owner = models.CharField(max_length=80, blank=True)
    review_by = models.DateField(null=True, blank=True)
    lab_text = models.TextField(blank=True, help_text="The laboratory's own instruction and contact.")
    retired = models.BooleanField(default=False)
    at = models.DateTimeField(auto_now_add=True)

    objects = CautionCardQuerySet.as_manager()

    class Meta:
        ordering = ["key", "-number"]
        constraints = [models.UniqueConstraint(fields=["key", "number"], name="one_card_of_a_version")]

    def __str__(self) -> str:
        """Give its title."""
        return self.title


class CautionShown(AppendOnly):
    """That a card was shown, or marked as read, at a step. It is not a permission."""

    dissection = models.ForeignKey(Dissection, models.PROTECT, related_name="cautions_shown")
    card = models.ForeignKey(CautionCard, models.PROTECT, related_name="+")
    session = models.ForeignKey(BenchSession, models.PROTECT, null=True, blank=True, related_name="+")
    step = models.CharField(max_length=40)
    read = models.BooleanField(default=False)
    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]


class Signature(AppendOnly):
    """Who closed a dissection, when, and what the signature means."""

    dissection = models.ForeignKey(Dissection, models.PROTECT, related_name="signatures")
    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    meaning = models.CharField(
        max_length=20,
        choices=[
            ("closed", "closed as complete"),
            ("reviewed", "reviewed"),
            ("acknowledged", "later amendment acknowledged"),
        ],
    )
    record_seq = models.BigIntegerField(help_text="The record up to which was signed.")
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(condition=Q(record_seq__gt=0), name="a_signature_signs_a_record")
        ]
