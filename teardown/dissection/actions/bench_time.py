"""Bench time: who opens which cell, and when; how many hours the bench has."""

import datetime as dt

from django.core.exceptions import ValidationError
from django.db import transaction

from teardown.accounts.models import User
from teardown.accounts.roles import demand
from teardown.cells.models import Cell
from teardown.dissection.models import BenchHours, BenchTime, Dissection
from teardown.records.actions import record
from teardown.records.models import StaleVersion


def give_bench_time(
    *,
    cell: Cell,
    by: User,
    person: User | None,
    day: dt.date | None,
    slot: str = "",
    seen: int = 0,
    drawn: bool = True,
    reason: str = "",
    at: dt.datetime | None = None,
) -> BenchTime:
    """Give bench time to a cell whose test has ended, or change what was given.

    Parameters
    ----------
    person, day
        None takes them away again.
    seen : int
        Version that the person saw; 0 where nothing was given yet.
    drawn, reason
        Whether the cell's place came by the balanced draw, and why it stood there: kept, so that rates can be
        weighted by how each cell came to be opened.

    Raises
    ------
    ValidationError
        If the test still runs, the dissection is closed, the person does not work at the bench, or there is a
        part of a day without a day.
    StaleVersion
        If somebody else gave it meanwhile.
    """
    demand(by, "bench.assign")
    if not Cell.objects.ended().filter(pk=cell.pk).exists():
        raise ValidationError(f"The test of {cell} has not ended.")
    if cell.closed_at is not None:
        raise ValidationError(f"The dissection of {cell} is closed.")
    if person is not None and not person.may("entries.add"):
        raise ValidationError({"person": f"{person} does not log at the bench."})
    with transaction.atomic():
        given = _write(cell, seen, person, day, slot, drawn, reason)
        dissection = Dissection.objects.filter(cell=cell).first()
        if dissection is not None:
            dissection.change(seen=dissection.version, assigned_to=person, day=day)
        record(
            verb="gave bench time",
            subject=given,
            by=by,
            reason=reason,
            at=at,
            payload={
                "cell": cell.code,
                "to": getattr(person, "pk", None),
                "day": day,
                "slot": slot,
                "drawn": drawn,
            },
        )
    return given


def _write(
    cell: Cell, seen: int, person: User | None, day: dt.date | None, slot: str, drawn: bool, reason: str
) -> BenchTime:
    before = BenchTime.objects.select_for_update().filter(cell=cell).first()
    if before is None:
        given = BenchTime(cell=cell, person=person, day=day, slot=slot, drawn=drawn, reason=reason[:200])
        given.full_clean()
        given.save()
        return given
    if before.version != seen:
        raise StaleVersion(before, seen)
    return before.change(seen=seen, person=person, day=day, slot=slot, drawn=drawn, reason=reason[:200])


def set_bench_hours(
    *,
    hours_a_day: float,
    by: User,
    since: dt.date,
    hours_a_cell: float | None = None,
    at: dt.datetime | None = None,
) -> BenchHours:
    """Say how many person-hours the bench has on a working day, and how many a cell takes."""
    demand(by, "bench.assign")
    with transaction.atomic():
        hours = BenchHours(hours_a_day=hours_a_day, hours_a_cell=hours_a_cell, since=since, by=by)
        hours.full_clean()
        hours.save()
        record(
            verb="set bench hours",
            subject=hours,
            by=by,
            at=at,
            payload={"hours_a_day": hours_a_day, "hours_a_cell": hours_a_cell, "since": since},
        )
    return hours
