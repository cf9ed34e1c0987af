"""Words that the laboratory agreed on, with the version since which each has been asked."""

from typing import Any, ClassVar, Self

from django.db import models
from django.db.models import Q

from teardown.records.guards import NEVER, Guard
from teardown.records.models import AppendOnly, Kept


class Version(AppendOnly):
    """A state of the vocabulary; entries name the one they were made under."""

    number = models.PositiveIntegerField(unique=True)
    since = models.DateTimeField()
    note = models.TextField(blank=True)

    class Meta:
        ordering = ["number"]

    def __str__(self) -> str:
        """Give its number."""
        return f"version {self.number}"


class TermQuerySet(models.QuerySet["Term"]):
    """Questions to the vocabulary."""

    def of(self, kind: str) -> Self:
        """Only terms of one kind that are in use, in their fixed order."""
        return self.filter(kind=kind, retired_at=None).order_by("order", "pk")


class Term(Kept):
    """A word: an end of test, something to look for, one of its answers, a failure mode, a reason.

    Keys are never used again; words may change; a term is retired, never taken away.
    ``data`` holds what a kind needs beyond words: unit, tiers, card, component, whether an end censors.
    """

    class Kind(models.TextChoices):
        """What a term is for."""

        END = "end", "end of a test"
        COMPONENT = "component", "component"
        FIELD = "field", "what is asked at the bench"
        ANSWER = "answer", "answer to what is asked"
        MODE = "mode", "failure mode"
        ROLE = "role", "role of a mode"
        CONFIDENCE = "confidence", "confidence of a judgement"
        REASON = "reason", "reason for an amendment"
        NOT_DONE = "not_done", "why something was not done"
        ARTEFACT = "artefact", "artefact of dissection or preparation"
        TECHNIQUE = "technique", "technique"

    guards: ClassVar[list[Guard]] = [
        Guard("DELETE", NEVER),
        Guard(
            "UPDATE",
            "OLD.key <> NEW.key OR OLD.kind <> NEW.kind",
            "vocabulary_term: the key of a term never changes",
        ),
    ]
    key = models.CharField(max_length=60, unique=True)
    kind = models.CharField(max_length=12, choices=Kind, db_index=True)
    words = models.CharField(max_length=120)
    family = models.CharField(max_length=40, blank=True)
    parent = models.ForeignKey("self", models.PROTECT, null=True, blank=True, related_name="answers")
    asked_since = models.ForeignKey(Version, models.PROTECT, related_name="+")
    retired_at = models.DateTimeField(null=True, blank=True)
    merged_into = models.ForeignKey("self", models.PROTECT, null=True, blank=True, related_name="+")
    help = models.TextField(blank=True)
    order = models.PositiveSmallIntegerField(default=0)
    data: models.JSONField[dict[str, Any], dict[str, Any]] = models.JSONField(default=dict, blank=True)

    objects = TermQuerySet.as_manager()

    class Meta:
        ordering = ["kind", "order", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=~Q(kind="answer") | Q(parent__isnull=False), name="an_answer_answers_something"
            )
        ]

    def __str__(self) -> str:
        """Give the words."""
        return self.words
