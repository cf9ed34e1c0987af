"""Chambers and their places, channels and how far they may be off, protocols."""

import datetime as dt
from collections.abc import Iterable
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from teardown.accounts.roles import demand
from teardown.cells.models import Chamber, Channel, ChannelAccuracy, Position, Protocol, ProtocolRevision
from teardown.records.actions import record


def add_chamber(
    *, name: str, by: Any, places: Iterable[str] = (), note: str = "", at: dt.datetime | None = None
) -> Chamber:
    """Make a chamber known, with the names of its places."""
    _demand(by)
    places = [str(place) for place in places]
    with transaction.atomic():
        chamber = Chamber(name=name.strip(), note=note)
        chamber.full_clean()
        chamber.save()
        for place in places:
            position = Position(chamber=chamber, name=place)
            position.full_clean()
            position.save()
        record(verb="added", subject=chamber, by=by, at=at, payload={"places": places})
    return chamber


def add_channel(*, name: str, by: Any, at: dt.datetime | None = None) -> Channel:
    """Make a channel of a cycler known."""
    _demand(by)
    with transaction.atomic():
        channel = Channel(name=name.strip())
        channel.full_clean()
        channel.save()
        record(verb="added", subject=channel, by=by, at=at)
    return channel


def state_accuracy(
    *,
    channel: Channel,
    range_A: float,
    gain_pct: float,
    offset_pct: float,
    valid_from: dt.date,
    by: Any,
    at: dt.datetime | None = None,
) -> ChannelAccuracy:
    """Say how far a channel may be off from a day on: percent of reading, and percent of range."""
    _demand(by)
    with transaction.atomic():
        accuracy = ChannelAccuracy(
            channel=channel,
            range_A=range_A,
            gain_pct=gain_pct,
            offset_pct=offset_pct,
            valid_from=valid_from,
        )
        accuracy.full_clean()
        accuracy.save()
        record(
            verb="stated the accuracy of",
            subject=channel,
            by=by,
            at=at,
            payload={
                "range_A": range_A,
                "gain_pct": gain_pct,
                "offset_pct": offset_pct,
                "valid_from": valid_from,
            },
        )
    return accuracy


def add_protocol(
    *, code: str, title: str, by: Any, at: dt.datetime | None = None, **content: Any
) -> ProtocolRevision:
    """Write how cells are cycled; give its first revision.

    ``content`` holds the columns of `ProtocolRevision`: words, charge_current_A, discharge_current_A,
    charge_limit_Ah, discharge_limit_V, rest_h, capacity_limit (share of reference capacity, 0 to 1),
    first_plateau_limit_V, begins_with.
    """
    _demand(by)
    with transaction.atomic():
        protocol = Protocol(code=code.strip(), title=title)
        protocol.full_clean()
        protocol.save()
        revision = ProtocolRevision(protocol=protocol, number=1, **content)
        revision.full_clean()
        revision.save()
        record(verb="added", subject=revision, by=by, at=at, payload={"protocol": protocol.code, **content})
    return revision


def revise_protocol(
    *, protocol: Protocol, because: str, by: Any, at: dt.datetime | None = None, **content: Any
) -> ProtocolRevision:
    """Make a new revision of a protocol: the last one with what ``content`` changes."""
    _demand(by)
    if not because.strip():
        raise ValidationError({"because": "Say why the protocol changes."})
    last = protocol.revisions.order_by("-number").first()
    if last is None:
        raise ValidationError(f"{protocol} has no revision to start from.")
    kept = {
        f.attname: getattr(last, f.attname)
        for f in ProtocolRevision._meta.concrete_fields
        if f.attname not in {"id", "protocol_id", "number", "frozen_at"}
    }
    with transaction.atomic():
        revision = ProtocolRevision(protocol=protocol, number=last.number + 1, **(kept | content))
        revision.full_clean()
        revision.save()
        record(verb="revised", subject=revision, by=by, reason=because, at=at, payload={"after": content})
    return revision


def _demand(by: Any) -> None:
    if by is not None:
        demand(by, "tests.manage")
