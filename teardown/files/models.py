"""Bytes as received, arrivals, runs and deliveries."""

from typing import ClassVar

from django.apps import apps
from django.conf import settings
from django.db import models
from django.db.models import Q

from teardown.files.rules import DELIVERIES, FUNCTIONS
from teardown.records.guards import NEVER, Guard
from teardown.records.models import AppendOnly, Kept


class StoredFile(AppendOnly):
    """Bytes that are kept once, under their digest, exactly as they came."""

    sha256 = models.CharField(max_length=64, unique=True)
    bytes = models.BigIntegerField()
    kind = models.CharField(
        max_length=40, help_text="What the bytes were found to be, not what their name says."
    )
    facts = models.JSONField(
        default=dict, blank=True, help_text="What the first look in the limited process found."
    )
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(bytes__gte=0), name="file_size_not_negative")]

    @property
    def path(self) -> str:
        """Where the bytes lie in the store of originals."""
        return f"sha256/{self.sha256[:2]}/{self.sha256[2:4]}/{self.sha256}"


class Receipt(AppendOnly):
    """One arrival of a file. The same bytes may arrive twice, by other names and hands."""

    file = models.ForeignKey(StoredFile, models.PROTECT, related_name="receipts")
    name = models.CharField(max_length=255, help_text="As given by the sender; text, never a path.")
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    device = models.ForeignKey("accounts.Device", models.PROTECT, null=True, blank=True, related_name="+")
    digest_claimed = models.CharField(max_length=64, blank=True)
    at = models.DateTimeField(auto_now_add=True)

    def __str__(self) -> str:
        """Give the name it came by."""
        return self.name


class Run(Kept):
    """Which function, of which release, with which settings and inputs, made a number.

    The truth of background work: the queue only rings.
    """

    class State(models.TextChoices):
        """How far the work is."""

        QUEUED = "queued", "waiting"
        RUNNING = "running", "running"
        DONE = "done", "done"
        FAILED = "failed", "failed"

    # A refusal ends with its code in brackets: the reason is known, and somebody can mend it.
    SAYS_WHY: ClassVar[Q] = Q(error__endswith="]")
    guards: ClassVar[list[Guard]] = [
        Guard("DELETE", NEVER),
        Guard("UPDATE", "OLD.state = 'done'", "files_run: a finished run is never changed"),
    ]
    key = models.CharField(max_length=64, unique=True)
    function = models.CharField(max_length=60, db_index=True)
    function_version = models.CharField(max_length=20)
    release = models.CharField(max_length=40, blank=True)
    settings = models.JSONField(default=dict, blank=True)
    subject = models.CharField(max_length=80, db_index=True)
    state = models.CharField(max_length=10, choices=State, default=State.QUEUED, db_index=True)
    lease_owner = models.CharField(max_length=60, blank=True)
    lease_until = models.DateTimeField(null=True, blank=True)
    attempts = models.PositiveSmallIntegerField(default=0)
    max_attempts = models.PositiveSmallIntegerField(default=3)
    progress = models.FloatField(default=0)
    note = models.CharField(max_length=200, blank=True)
    error = models.TextField(blank=True)
    asked_by = models.ForeignKey("accounts.User", models.PROTECT, null=True, blank=True, related_name="+")
    asked_at = models.DateTimeField()
    finished_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(condition=Q(progress__gte=0, progress__lte=1), name="progress_0_to_1"),
            models.CheckConstraint(
                condition=~Q(state="running") | Q(lease_until__isnull=False), name="running_means_leased"
            ),
            models.CheckConstraint(condition=~Q(state="failed") | ~Q(error=""), name="failed_says_why"),
        ]

    def __str__(self) -> str:
        """Say what runs on what."""
        return f"{self.function} of {self.subject}"

    @property
    def words(self) -> str:
        """Say in words what is worked out."""
        return FUNCTIONS.get(self.function, self.function)

    @property
    def refused(self) -> bool:
        """Tell whether it came to nothing for a reason that is known, with its code."""
        return self.state == self.State.FAILED and self.error.endswith("]")

    @property
    def subject_words(self) -> str:
        """Say in words of what: "micrograph 12"."""
        label, _, pk = self.subject.rpartition(":")
        try:
            return f"{apps.get_model(label)._meta.verbose_name} {pk}"
        except (LookupError, ValueError):
            return self.subject

    @property
    def words_of_progress(self) -> str:
        """Say how far it is: "40 %, measuring oxide"."""
        return f"{self.progress:.0%}".replace("%", " %") + (f", {self.note}" if self.note else "")


class RunInput(AppendOnly):
    """One thing that a run was made from."""

    run = models.ForeignKey(Run, models.PROTECT, related_name="inputs")
    role = models.CharField(max_length=40)
    file = models.ForeignKey(StoredFile, models.PROTECT, null=True, blank=True, related_name="+")
    source_run = models.ForeignKey(Run, models.PROTECT, null=True, blank=True, related_name="+")
    subject = models.CharField(max_length=80, blank=True)
    digest = models.CharField(max_length=64, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                name="an_input_is_one_thing",
                condition=Q(file__isnull=False, source_run__isnull=True, subject="")
                | Q(file__isnull=True, source_run__isnull=False, subject="")
                | (Q(file__isnull=True, source_run__isnull=True) & ~Q(subject="")),
            )
        ]


class Delivery(Kept):
    """An import: what a file would bring, shown first, then applied whole or not at all."""

    class State(models.TextChoices):
        """How far it went."""

        SHOWN = "shown", "shown, not applied"
        APPLIED = "applied", "applied"
        WITHDRAWN = "withdrawn", "withdrawn"

    guards: ClassVar[list[Guard]] = [
        Guard("DELETE", NEVER),
        Guard("UPDATE", "OLD.state = 'withdrawn'", "files_delivery: a withdrawn import is never changed"),
    ]
    kind = models.CharField(max_length=40, help_text='What is brought: "cells.cells", "cycling.series", ...')
    receipt = models.ForeignKey(Receipt, models.PROTECT, related_name="+")
    subject = models.CharField(max_length=80, blank=True, db_index=True)
    column_map = models.JSONField(default=dict, blank=True)
    planned = models.JSONField(
        default=list, blank=True, help_text="Rows as understood, with what each would do."
    )
    refusals = models.JSONField(
        default=list, blank=True, help_text="Rows not understood: row, column, value, what to do."
    )
    state = models.CharField(max_length=10, choices=State, default=State.SHOWN)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["-pk"]

    @property
    def kind_words(self) -> str:
        """Say in words what it brings."""
        return DELIVERIES.get(self.kind, self.kind.rpartition(".")[2])
