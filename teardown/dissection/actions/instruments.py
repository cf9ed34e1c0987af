"""Instruments and their checks, and set-up carried over from the cell before."""

import datetime as dt
import uuid
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone

from teardown.accounts.models import User
from teardown.accounts.roles import demand
from teardown.dissection.actions.entries import Outcome, log_entries
from teardown.dissection.actions.reading import as_item
from teardown.dissection.models import BenchSession, Check, Dissection, Instrument
from teardown.dissection.rules.cards import BY_KEY
from teardown.records.actions import record


def add_instrument(
    *,
    code: str,
    name: str,
    by: User,
    quantity: str = "",
    u: float | None = None,
    unit: str = "",
    at: dt.datetime | None = None,
) -> Instrument:
    """Make an instrument known: what it reads, and its usual standard uncertainty in its unit."""
    demand(by, "instruments.keep")
    with transaction.atomic():
        instrument = Instrument(code=code, name=name, quantity=quantity, u=u, unit=unit)
        instrument.full_clean()
        instrument.save()
        record(verb="added", subject=instrument, by=by, payload={"code": code, "u": u, "unit": unit}, at=at)
    return instrument


def check_instrument(
    *,
    instrument: Instrument,
    against: str,
    passed: bool,
    by: User,
    note: str = "",
    at: dt.datetime | None = None,
) -> Check:
    """Note that an instrument was checked, against what, and what came out."""
    demand(by, "instruments.keep")
    now = at or timezone.now()
    with transaction.atomic():
        check = Check(instrument=instrument, at=now, against=against, passed=passed, note=note, by=by)
        check.full_clean()
        check.save()
        record(
            verb="checked",
            subject=instrument,
            by=by,
            payload={"against": against, "passed": passed, "note": note},
            at=now,
        )
    return check


def carry_over(
    *,
    step: str,
    source: Dissection,
    to: Dissection,
    by: User,
    session: BenchSession | None = None,
    at: dt.datetime | None = None,
) -> list[Outcome]:
    """Copy the set-up of a step from another cell, each entry marked as carried over.

    What was observed is never copied.

    Raises
    ------
    ValidationError
        If the step holds observations, or there is nothing to copy.
    """
    card = BY_KEY.get(step)
    if card is None or not card.copies:
        raise ValidationError("Only set-up is copied from one cell to another, never what was observed.")
    there = set(to.entries.current().filter(step=step).values_list("term", flat=True))
    entries = source.entries.current().filter(step=step, sample=None, value=None).exclude(term__in=there)
    now = at or timezone.now()
    said: dict[str, Any] = {
        "carried_over": True,
        "observed_at": now,
        "entered_at": now,
        "device_ms": None,
        "clock": "",
        "photo": None,
        "box": None,
    }
    rows = entries.with_words().order_by("pk")
    items = [as_item(entry, key=uuid.uuid4(), **said) for entry in rows]
    if not items:
        raise ValidationError(
            f"There is nothing to carry over from {source.cell} that {to.cell} does not have."
        )
    return log_entries(dissection=to, items=items, by=by, session=session, at=now)
