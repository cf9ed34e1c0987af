"""Claim, beat, finish, fail: a run is a row with a lease, the queue only a doorbell.

Whoever holds the lease works; a worker that lost it learns so at its next beat and writes nothing. The
conditions stand in the WHERE of single UPDATEs, so two workers can never both win.
"""

import datetime as dt
import hashlib
import json
from collections.abc import Iterable, Mapping
from typing import Any

from django.conf import settings
from django.db import IntegrityError, models, transaction
from django.db.models import F, Q
from django.utils import timezone

from teardown import __version__
from teardown.files.models import Run, RunInput, StoredFile
from teardown.records.rules import canonical, plain, subject_of


class LeaseLost(Exception):
    """Another worker has this run now."""


def key_of(
    function: str, subject: str, settings_: Mapping[str, Any], inputs: Iterable[tuple[str, str]]
) -> str:
    """Give the digest that makes the same question the same run."""
    version = settings.WORK[function][1]
    return hashlib.sha256(
        canonical([function, version, subject, settings_, sorted(inputs)]).encode()
    ).hexdigest()


def ask(
    function: str,
    *,
    subject: models.Model,
    by: Any,
    settings_: Mapping[str, Any] | None = None,
    inputs: Mapping[str, Any] | None = None,
) -> Run:
    """Ask for a number, inside the transaction of the deed that needs it.

    ``inputs`` maps a role to a StoredFile, a Run, or a pair (row, digest of what was read of it).
    Asking the same question twice gives the same run; a failed one is queued again.
    """
    named = subject_of(subject)
    parts = {role: _input(item) for role, item in (inputs or {}).items()}
    key = key_of(function, named, settings_ or {}, [(role, part["mark"]) for role, part in parts.items()])
    existing = Run.objects.filter(key=key).first()
    if existing is None:
        try:
            with transaction.atomic():
                existing = Run.objects.create(
                    key=key,
                    function=function,
                    function_version=settings.WORK[function][1],
                    settings=json.loads(json.dumps(settings_ or {}, default=plain, allow_nan=False)),
                    subject=named,
                    asked_by=by,
                    asked_at=timezone.now(),
                )
                RunInput.objects.bulk_create(
                    RunInput(run=existing, role=role, **part["row"]) for role, part in parts.items()
                )
        except IntegrityError:
            existing = Run.objects.get(key=key)
    elif existing.state == Run.State.FAILED:
        Run.objects.filter(pk=existing.pk, state=Run.State.FAILED).update(
            state=Run.State.QUEUED,
            attempts=0,
            progress=0,
            error="",
            note="",
            lease_owner="",
            lease_until=None,
            asked_by=by,
            asked_at=timezone.now(),
            finished_at=None,
        )
        existing.refresh_from_db()
    return existing


def _input(item: Any) -> dict[str, Any]:
    if isinstance(item, StoredFile):
        return {"mark": item.sha256, "row": {"file": item}}
    if isinstance(item, Run):
        return {"mark": item.key, "row": {"source_run": item}}
    row, digest = item
    return {"mark": f"{subject_of(row)} {digest}", "row": {"subject": subject_of(row), "digest": digest}}


def _until() -> dt.datetime:
    return timezone.now() + dt.timedelta(seconds=settings.WORK_LEASE_SECONDS)


def claim(run_id: int, owner: str) -> Run | None:
    """Take a run that waits, or whose worker fell silent; None if it is not to be had."""
    free = Q(state=Run.State.QUEUED) | Q(state=Run.State.RUNNING, lease_until__lt=timezone.now())
    taken = Run.objects.filter(free, pk=run_id, attempts__lt=F("max_attempts")).update(
        state=Run.State.RUNNING,
        lease_owner=owner,
        lease_until=_until(),
        attempts=F("attempts") + 1,
        release=__version__,
    )
    return Run.objects.get(pk=run_id) if taken else None


def beat(run_id: int, owner: str, progress: float, note: str = "") -> None:
    """Say that the work goes on.

    Raises
    ------
    LeaseLost
        If another worker has taken over.
    """
    held = Run.objects.filter(pk=run_id, lease_owner=owner, state=Run.State.RUNNING)
    if not held.update(progress=min(max(progress, 0), 1), note=note[:200], lease_until=_until()):
        raise LeaseLost(f"run {run_id} is no longer with {owner}")


def finish(run_id: int, owner: str, rows: Iterable[models.Model]) -> None:
    """Write what was found and mark the run done, both or neither.

    Raises
    ------
    LeaseLost
        If another worker has taken over; then nothing is written.
    """
    found = list(rows)  # whatever still has to be computed is computed before the lock is taken
    with transaction.atomic():
        held = Run.objects.filter(pk=run_id, lease_owner=owner, state=Run.State.RUNNING)
        if not held.update(
            state=Run.State.DONE, progress=1, note="", error="", finished_at=timezone.now(), lease_until=None
        ):
            raise LeaseLost(f"run {run_id} is no longer with {owner}")
        for row in found:
            row.save()


def fail(run_id: int, owner: str, error: str) -> None:
    """Mark a run failed, with the reason in words."""
    Run.objects.filter(pk=run_id, lease_owner=owner, state=Run.State.RUNNING).update(
        state=Run.State.FAILED,
        error=error or "failed without a word",
        finished_at=timezone.now(),
        lease_until=None,
    )


def let_go(owners: str, *, tried: bool = True) -> int:
    """Free the runs of workers whose owner begins so, because they are gone; give how many.

    A run that was only told to stop was not ``tried``: its try is given back, however often the machine is
    shut down over it.
    """
    held = Run.objects.filter(state=Run.State.RUNNING, lease_owner__startswith=owners)
    free: dict[str, Any] = {"state": Run.State.QUEUED, "lease_owner": "", "lease_until": None}
    if not tried:
        return held.filter(attempts__gt=0).update(attempts=F("attempts") - 1, **free)
    return held.filter(attempts__lt=F("max_attempts")).update(**free)


def take_back(now: dt.datetime) -> tuple[list[int], int]:
    """Take runs back from workers that fell silent.

    A run whose tries are used up becomes failed, so that a file that ends every worker does not come back
    for ever. Returns the ids of those that wait again, and how many were given up.
    """
    silent = Q(state=Run.State.RUNNING, lease_until__lt=now)
    given_up = Run.objects.filter(silent, attempts__gte=F("max_attempts")).update(
        state=Run.State.FAILED,
        error="The worker was lost each time it tried. Ask again, or look at what the run was made from.",
        finished_at=now,
        lease_until=None,
    )
    ids = list(Run.objects.filter(silent, attempts__lt=F("max_attempts")).values_list("pk", flat=True)[:200])
    waiting = [
        run_id
        for run_id in ids
        if Run.objects.filter(silent, pk=run_id).update(
            state=Run.State.QUEUED, lease_owner="", lease_until=None
        )
    ]
    return waiting, given_up


def unheard(now: dt.datetime, *, waiting_s: float = 15) -> list[int]:
    """Find runs that wait although nobody is at work: their doorbell was lost."""
    lately = now - dt.timedelta(seconds=waiting_s)
    at_work = Q(state=Run.State.RUNNING, lease_until__gte=now) | Q(finished_at__gte=lately)
    if Run.objects.filter(at_work).exists():
        return []
    waiting = Run.objects.filter(state=Run.State.QUEUED, asked_at__lt=lately)
    return list(waiting.values_list("pk", flat=True)[:200])
