"""Write a record."""

import datetime as dt
from collections.abc import Mapping
from typing import Any

from django.db import transaction
from django.utils import timezone

from teardown.records.models import ChainHead, Record
from teardown.records.rules import link, plain, request_number, subject_of


def record(
    *,
    verb: str,
    subject: Any,
    by: Any,
    reason: str = "",
    payload: Mapping[str, Any] | None = None,
    bench_session: str = "",
    at: dt.datetime | None = None,
) -> Record:
    """Append one record to the chain, inside the transaction of the deed that it tells of.

    Parameters
    ----------
    verb : str
        What was done, in the past: "added", "amended", "accepted".
    subject : model instance or str
        The row it was done to, or ``app.model:pk``.
    by : User or None
        Who did it; None for the application itself. Only the number of the person is kept.
    payload : mapping, optional
        What changed, before and after. Numbers that are not whole are kept as text.
    at : datetime, optional
        When; now, unless a past deed is told by its own time.
    """
    if not transaction.get_connection().in_atomic_block:
        raise transaction.TransactionManagementError("A record belongs into the transaction of its deed.")
    head = ChainHead.objects.select_for_update().get(pk=1)
    new = Record(
        seq=head.seq + 1,
        at=at or timezone.now(),
        actor=by if getattr(by, "pk", None) else None,
        bench_session=bench_session,
        request_id=request_number(),
        verb=verb,
        subject=subject if isinstance(subject, str) else subject_of(subject),
        reason=reason,
        payload=plain(payload or {}),
        prev_hash=head.hash,
    )
    new.hash = link(head.hash, new.fields())
    new.save(force_insert=True)
    ChainHead.objects.filter(pk=1).update(seq=new.seq, hash=new.hash)
    return new
