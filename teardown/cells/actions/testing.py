"""Tests: started, moved, ended for a reason."""

import datetime as dt
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Max, Q
from django.dispatch import Signal

from teardown.accounts.roles import demand
from teardown.cells.models import Cell, Channel, Position, ProtocolRevision, Seat, Test
from teardown.records.actions import record
from teardown.vocabulary.models import Term

# sent with ``test`` and ``by`` inside the transaction that ends a test, for what is computed from its end
test_ended = Signal()


def start_test(
    *,
    cell: Cell,
    protocol: ProtocolRevision,
    started_at: dt.datetime,
    by: Any,
    position: Position | None = None,
    channel: Channel | None = None,
    set_temperature_C: float | None = None,
    at: dt.datetime | None = None,
) -> Test:
    """Put a cell on test; the protocol revision is frozen by it.

    Tests of the past are told in the order of time, since a place holds one test at a time.

    Raises
    ------
    ValidationError
        If the cell is on test already, or the place or channel is taken.
    """
    if by is not None:
        demand(by, "tests.manage")
    with transaction.atomic():
        last = cell.tests.aggregate(last=Max("number"))["last"] or 0
        test = Test(cell=cell, number=last + 1, protocol=protocol, started_at=started_at)
        test.full_clean()
        test.save()
        if position is not None:
            _sit(test, position, channel, set_temperature_C, started_at)
        protocol.freeze(at)
        record(
            verb="started",
            subject=test,
            by=by,
            at=at,
            payload={
                "cell": cell.code,
                "protocol": str(protocol),
                "started_at": started_at,
                "place": str(position or ""),
                "channel": str(channel or ""),
                "set_temperature_C": set_temperature_C,
            },
        )
    return test


def move_seat(
    *,
    test: Test,
    moved_at: dt.datetime,
    position: Position,
    by: Any,
    channel: Channel | None = None,
    set_temperature_C: float | None = None,
    reason: str = "",
    at: dt.datetime | None = None,
) -> Seat:
    """Move a running test to another place, channel or temperature.

    Raises
    ------
    ValidationError
        If the test has ended, or the place or channel is taken.
    """
    if by is not None:
        demand(by, "tests.manage")
    if test.ended_at is not None:
        raise ValidationError(f"{test} has ended; it no longer sits anywhere.")
    with transaction.atomic():
        before = _rise(test, moved_at)
        seat = _sit(test, position, channel, set_temperature_C, moved_at)
        record(
            verb="moved",
            subject=test,
            by=by,
            reason=reason,
            at=at,
            payload={
                "from": str(before.position) if before else "",
                "to": str(position),
                "channel": str(channel or ""),
                "set_temperature_C": set_temperature_C,
                "moved_at": moved_at,
            },
        )
    return seat


def end_test(
    *,
    test: Test,
    ended_at: dt.datetime,
    end: Term,
    by: Any,
    state_at_stop: str = "",
    note: str = "",
    at: dt.datetime | None = None,
) -> Test:
    """End a test with its reason; the place and channel are free again.

    Parameters
    ----------
    end : Term
        Of the kind "end": whether it censors is in its ``data``.
    state_at_stop : str
        "charged", "discharged", "part", "unknown" or empty.

    Raises
    ------
    ValidationError
        If it has ended already, ends before it starts, or the term is no end of a test.
    """
    if by is not None:
        demand(by, "tests.manage")
    if end.kind != Term.Kind.END:
        raise ValidationError({"end": f"“{end}” is {end.get_kind_display()}, not the end of a test."})
    if end.retired_at is not None:
        raise ValidationError({"end": f"“{end}” is no longer in use."})
    with transaction.atomic():
        test = Test.objects.select_for_update().get(pk=test.pk)
        if test.ended_at is not None:
            raise ValidationError(f"{test} ended already, on {test.ended_at:%-d %B %Y}: {test.end}.")
        test.change(
            seen=test.version,
            ended_at=ended_at,
            end=end,
            state_at_stop=state_at_stop,
            end_note=note,
        )
        _rise(test, ended_at)
        record(
            verb="ended",
            subject=test,
            by=by,
            reason=end.words,
            at=at,
            payload={
                "cell": test.cell.code,
                "ended_at": ended_at,
                "end": end.key,
                "state_at_stop": state_at_stop,
                "note": note,
            },
        )
        test_ended.send(Test, test=test, by=by)
    return test


def _sit(
    test: Test,
    position: Position,
    channel: Channel | None,
    set_temperature_C: float | None,
    since: dt.datetime,
) -> Seat:
    later = Seat.objects.filter(Q(until=None) | Q(until__gt=since))
    if taken := later.filter(position=position).select_related("test__cell").first():
        raise ValidationError(
            {"position": f"{position} is taken by {taken.test}. End or move that test first."}
        )
    if channel and (taken := later.filter(channel=channel).select_related("test__cell").first()):
        raise ValidationError(
            {"channel": f"Channel {channel} is taken by {taken.test}. End or move that test first."}
        )
    seat = Seat(
        test=test, position=position, channel=channel, set_temperature_C=set_temperature_C, since=since
    )
    seat.full_clean()
    seat.save()
    return seat


def _rise(test: Test, until: dt.datetime) -> Seat | None:
    seat = test.seats.filter(until=None).select_related("position__chamber").first()
    if seat is not None:
        seat.change(seen=seat.version, until=until)
    return seat
