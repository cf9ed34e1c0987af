"""The chain of records, and the kinds of table that its guards know."""

from collections.abc import Iterator
from typing import Any, ClassVar, Self

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from teardown.records.guards import NEVER, Guard
from teardown.records.rules import CANON, FIRST_HASH, link


class StaleVersion(Exception):
    """Someone else changed this row after it was opened."""

    def __init__(self, row: models.Model, seen: int) -> None:
        """Keep the row as it is now, so that both versions can be shown."""
        self.row, self.seen = row, seen
        super().__init__(f"{row} was changed by someone else since you opened it (you saw version {seen}).")


class AppendOnly(models.Model):
    """Rows are added and never changed or taken away; the database itself refuses."""

    guards: ClassVar[list[Guard]] = [Guard("UPDATE", NEVER), Guard("DELETE", NEVER)]

    class Meta:
        abstract = True


class Kept(models.Model):
    """Rows may change but are never taken away."""

    guards: ClassVar[list[Guard]] = [Guard("DELETE", NEVER)]

    class Meta:
        abstract = True


class Versioned(models.Model):
    """A row that two people may have open at once: the second to save is told, never silently wins."""

    version = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        abstract = True

    def change(self, *, seen: int, **values: Any) -> Self:
        """Change fields if the row still is at the version that the person saw.

        Raises
        ------
        StaleVersion
            If it moved on in between; the row it carries is the newer one.
        """
        for name, value in values.items():
            setattr(self, name, value)
        self.full_clean(exclude=["version"])
        changed = (
            type(self)
            ._default_manager.filter(pk=self.pk, version=seen)
            .update(version=F("version") + 1, **values)
        )
        self.refresh_from_db()
        if not changed:
            raise StaleVersion(self, seen)
        return self


class ChainHead(models.Model):
    """One row: how far the chain of records goes."""

    guards: ClassVar[list[Guard]] = [Guard("DELETE", NEVER)]
    seq = models.BigIntegerField(default=0)
    hash = models.CharField(max_length=64, default=FIRST_HASH)

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(pk=1), name="one_chain_head")]


class RecordQuerySet(models.QuerySet["Record"]):
    """Questions to the chain."""

    def about(self, *subjects: str) -> Self:
        """Only what was done to these rows (``cells.cell:17``)."""
        return self.filter(subject__in=subjects)

    def broken(self) -> Iterator[tuple[int, str]]:
        """Walk the chain and give each sequence number that does not fit, with what is wrong."""
        previous, expected = FIRST_HASH, 1
        for record in self.order_by("seq").iterator(2000):
            if record.seq != expected:
                yield record.seq, f"record {expected} is missing"
            if record.prev_hash != previous:
                yield record.seq, "does not follow the record before it"
            if record.hash != link(record.prev_hash, record.fields()):
                yield record.seq, "was changed after it was written"
            previous, expected = record.hash, record.seq + 1


class Record(AppendOnly):
    """Who did what to which row, when and why. Each deed writes exactly one."""

    seq = models.BigIntegerField(primary_key=True)
    at = models.DateTimeField()
    actor = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )
    bench_session = models.CharField(max_length=36, blank=True)
    request_id = models.CharField(max_length=36, blank=True)
    verb = models.CharField(max_length=40)
    subject = models.CharField(max_length=80, db_index=True)
    reason = models.TextField(blank=True)
    payload = models.JSONField(default=dict, blank=True)
    canon = models.PositiveSmallIntegerField(default=CANON)
    prev_hash = models.CharField(max_length=64)
    hash = models.CharField(max_length=64, unique=True)

    objects = RecordQuerySet.as_manager()

    class Meta:
        ordering = ["seq"]

    def fields(self) -> dict[str, Any]:
        """Give what the hash covers."""
        return {
            "seq": self.seq,
            "at": self.at,
            "actor": self.actor_id,
            "bench_session": self.bench_session,
            "request_id": self.request_id,
            "verb": self.verb,
            "subject": self.subject,
            "reason": self.reason,
            "payload": self.payload,
            "canon": self.canon,
        }
