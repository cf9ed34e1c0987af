"""Close and sign a dissection; acknowledge what is amended afterwards."""

import datetime as dt

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import transaction
from django.utils import timezone

from teardown.accounts.models import User
from teardown.accounts.roles import demand
from teardown.cells.models import Cell
from teardown.dissection.models import Dissection, Signature
from teardown.dissection.models.closing import later_than_signed, open_points
from teardown.records.actions import record
from teardown.records.models import ChainHead


def close(*, dissection: Dissection, by: User, answer: str = "", at: dt.datetime | None = None) -> Signature:
    """Close a dissection as complete, with name, time and meaning.

    Parameters
    ----------
    answer : str
        What is said to what the checklist asks, as masses that do not add up. It may be needed; nothing
        asked ever stops the closing.

    Raises
    ------
    ValidationError
        With each point that stands open.
    """
    demand(by, "dissection.close")
    now = at or timezone.now()
    points = open_points(dissection)
    stops = [point.sentence for point in points if not point.asks]
    if stops:
        raise ValidationError(stops, code="open points")
    asked = [point.sentence for point in points if point.asks]
    if asked and not answer.strip():
        raise ValidationError(
            [*asked, "Say in a few words what is known of it, and close again."], code="asked"
        )
    with transaction.atomic():
        signature = _sign(dissection, by, "closed", now, reason=answer)
        cell = dissection.cell
        cell.refresh_from_db()
        cell.change(seen=cell.version, closed_at=cell.closed_at or now)
    return signature


def acknowledge(*, dissection: Dissection, by: User, at: dt.datetime | None = None) -> Signature:
    """Acknowledge, as a reviewer, what was amended after the closing.

    Raises
    ------
    PermissionDenied
        If one of the amendments is the reviewer's own.
    ValidationError
        If nothing was amended since.
    """
    demand(by, "amendments.acknowledge")
    if not later_than_signed(dissection):
        raise ValidationError("Nothing was amended since the signature.")
    last = dissection.signatures.order_by("pk").last()
    since = last.record_seq if last else 0
    if dissection.entries.filter(record__seq__gt=since, record__actor=by).exists():
        raise PermissionDenied("One of these amendments is your own; another reviewer acknowledges it.")
    with transaction.atomic():
        return _sign(dissection, by, "acknowledged", at or timezone.now())


def review(*, dissection: Dissection, by: User, at: dt.datetime | None = None) -> Signature:
    """Sign a closed dissection as reviewed; not by the one who closed it.

    Raises
    ------
    PermissionDenied
        If the same person closed it.
    """
    demand(by, "amendments.acknowledge")
    closed = dissection.signatures.filter(meaning="closed").order_by("pk").last()
    if closed is None:
        raise ValidationError("It is not closed yet.")
    if closed.person_id == by.pk:
        raise PermissionDenied("You closed it yourself; another person reviews it.")
    with transaction.atomic():
        return _sign(dissection, by, "reviewed", at or timezone.now())


def _sign(dissection: Dissection, by: User, meaning: str, now: dt.datetime, reason: str = "") -> Signature:
    seq = ChainHead.objects.select_for_update().get(pk=1).seq
    told = record(
        verb="signed",
        subject=dissection,
        by=by,
        reason=reason,
        payload={"meaning": meaning, "up_to": seq},
        at=now,
    )
    signature = Signature(dissection=dissection, person=by, meaning=meaning, record_seq=told.seq)
    signature.full_clean()
    signature.save()
    return signature


def is_closed(cell: Cell) -> bool:
    """Tell whether its dissection was signed."""
    return cell.closed_at is not None
