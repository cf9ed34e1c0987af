"""Rows that leave the books with the import that brought them, and constraints that several tables share."""

from typing import Any

from django.db import models
from django.db.models import Q


def above_zero(*names: str, model: str) -> list[models.CheckConstraint]:
    """Say for each measure that it is above zero where it is known."""
    return [
        models.CheckConstraint(
            condition=Q(**{f"{name}__isnull": True}) | Q(**{f"{name}__gt": 0}),
            name=f"{model}_{name}_above_zero".lower(),
            violation_error_message=f"{name}: a measure like this is above zero.",
        )
        for name in names
    ]


class Withdrawable(models.Model):
    """A row that came with an import and leaves the books with it, marked and never deleted.

    ``objects`` gives what stands; ``all_ever`` gives withdrawn rows too. A code is free again once its row
    is withdrawn.
    """

    withdrawn_at = models.DateTimeField(
        null=True, blank=True, editable=False, help_text="When the import that brought it was withdrawn."
    )

    class Meta:
        abstract = True


class Standing(models.Manager[Any]):
    """Leaves out what was withdrawn."""

    def get_queryset(self) -> models.QuerySet[Any]:
        return super().get_queryset().filter(withdrawn_at=None)


class Ever(models.Manager[Any]):
    """Gives every row, withdrawn ones too."""


def one_standing(field: str, model: str) -> models.UniqueConstraint:
    return models.UniqueConstraint(
        fields=[field],
        condition=Q(withdrawn_at=None),
        name=f"one_{model}_of_a_{field}",
        violation_error_message=f"There is a {model} of this {field} already.",
    )
