"""Dissections of before: a table or a folder shown, explained, applied whole, withdrawn.

What comes in is told apart for ever: each entry says that it was transcribed, by whom, from which file and
where in it, and who had seen it as the record says. Its time is no nearer than the record has it.
"""

import datetime as dt
import uuid
from collections.abc import Iterable, Mapping
from dataclasses import asdict
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone

from teardown.accounts.models import User
from teardown.accounts.roles import demand
from teardown.cells.models import Cell
from teardown.cells.rules import fold
from teardown.dissection.actions.entries import log_entries, withdraw
from teardown.dissection.actions.older_plan import as_transcribed, people_by_name, plan_of
from teardown.dissection.actions.opening import start_dissection
from teardown.dissection.intake import heads as columns_of
from teardown.dissection.intake.heads import Meaning
from teardown.dissection.models import Dissection, Entry, TranscribedPage, Transcription
from teardown.files.models import Delivery
from teardown.files.store import keep, read
from teardown.formats.tables import read_table
from teardown.records.actions import record

TABLE = "dissection.findings"
BATCH = 400
"""Entries logged in one call: few enough that a cell's are checked together."""


def show_older(
    *, upload: Any, by: User, name: str = "", day: str = "", seen_by: str = "", at: dt.datetime | None = None
) -> Delivery:
    """Keep an older table as it came and look at it; what its columns are is guessed, and asked.

    Parameters
    ----------
    upload : File or bytes
        CSV or XLSX, one row a cell or one row an observation.
    day, seen_by : str
        What holds for rows that do not say it themselves.

    Raises
    ------
    ReadingError
        If it is no table; the file is kept all the same.
    """
    demand(by, "older.bring")
    receipt = keep(upload, by=by, name=name)
    table = read_table(read(receipt.file))
    terms = columns_of.fields_of_tables()
    guessed = columns_of.guess(table.heads, terms, remembered_columns())
    how = {
        "asked": True,
        "heads": list(table.heads),
        "columns": {head: meaning.plain() for head, meaning in guessed.items()},
        "words": remembered_words(),
        "day": day,
        "seen_by": seen_by,
        "samples": {head: _some_of(head, table.rows) for head in table.heads},
        "encoding": table.encoding,
        "remarks": [asdict(remark) for remark in table.remarks],
    }
    with transaction.atomic():
        delivery = Delivery.objects.create(kind=TABLE, receipt=receipt, column_map=how, by=by)
        record(verb="showed", subject=delivery, by=by, at=at, payload={"file": receipt.file.sha256})
    return delivery


def _some_of(head: str, rows: Iterable[Any]) -> list[str]:
    found = dict.fromkeys(row.cells.get(head, "")[:30] for row in rows)
    return [text for text in found if text][:4]


def remembered_columns() -> dict[str, dict[str, Any]]:
    """Give what each head was last said to be, over all tables that were brought."""
    found: dict[str, dict[str, Any]] = {}
    rows = Delivery.objects.filter(kind=TABLE, state=Delivery.State.APPLIED).order_by("pk")
    for how in rows.values_list("column_map", flat=True):
        found |= {fold(head): meaning for head, meaning in how["columns"].items()}
    return found


def remembered_words() -> dict[str, dict[str, str]]:
    """Give what each word was last said to mean, by field."""
    found: dict[str, dict[str, str]] = {}
    rows = Delivery.objects.filter(kind=TABLE, state=Delivery.State.APPLIED).order_by("pk")
    for how in rows.values_list("column_map", flat=True):
        for term, told in how.get("words", {}).items():
            found.setdefault(term, {}).update(told)
    return found


def explain_older(
    *,
    delivery: Delivery,
    by: User,
    columns: Mapping[str, Meaning],
    words: Mapping[str, Mapping[str, str]] | None = None,
    day: str = "",
    seen_by: str = "",
    opened: bool = False,
) -> Delivery:
    """Say what the columns of a table are and what its words mean; it is planned anew, nothing is written.

    ``opened`` says that each cell was opened on the day of its first row, where nothing else says when; else
    a cell of which only findings are known would go on waiting for the bench.

    Raises
    ------
    ValidationError
        If the columns cannot be read so.
    """
    demand(by, "older.bring")
    terms = {term.key: term for term in columns_of.fields_of_tables()}
    if faults := columns_of.faults_of(columns, terms):
        raise ValidationError(faults)
    with transaction.atomic():
        delivery = standing(delivery, Delivery.State.SHOWN)
        told = delivery.column_map.get("words", {})
        for term, meant in (words or {}).items():
            told = told | {term: told.get(term, {}) | dict(meant)}
        delivery.column_map |= {
            "asked": False,
            "columns": {head: meaning.plain() for head, meaning in columns.items()},
            "words": told,
            "day": day,
            "seen_by": seen_by,
            "opened": opened,
        }
        delivery.save()
    return plan_older(delivery, by)


def plan_older(delivery: Delivery, by: User) -> Delivery:
    """Work out what a table would bring, on the books as they stand, and keep that as its plan."""
    steps, refused, unknown = plan_of(delivery, by)
    with transaction.atomic():
        delivery = standing(delivery, Delivery.State.SHOWN)
        delivery.planned, delivery.refusals = steps, refused
        delivery.column_map |= {"unknown": unknown}
        delivery.save()
    return delivery


def apply_older(
    *,
    delivery: Delivery,
    by: User,
    leave_out_refused: bool = False,
    read_unusual: bool = False,
    at: dt.datetime | None = None,
) -> Delivery:
    """Write what was shown, whole or not at all; dissections that nobody began here are begun.

    Raises
    ------
    ValidationError
        If rows are refused or numbers unusual and nobody has said so, there is nothing to write, or the books
        changed since it was shown; then the new plan is shown and nothing is written.
    """
    demand(by, "older.bring")
    now = at or timezone.now()
    steps, refused, unknown = plan_of(delivery, by)
    with transaction.atomic():
        delivery = standing(delivery, Delivery.State.SHOWN)
        changed = steps != delivery.planned or refused != delivery.refusals
        if changed:
            delivery.planned, delivery.refusals = steps, refused
            delivery.column_map |= {"unknown": unknown}
            delivery.save()
        else:
            _apply(delivery, by, now, leave_out_refused=leave_out_refused, read_unusual=read_unusual)
    if changed:
        raise ValidationError(
            "The books changed since this was shown, and so did what it would do. Nothing was written: "
            "look at it again."
        )
    return delivery


def _apply(
    delivery: Delivery, by: User, now: dt.datetime, *, leave_out_refused: bool, read_unusual: bool
) -> None:
    coming = [step for step in delivery.planned if step["does"] == "new"]
    if delivery.column_map.get("asked"):
        raise ValidationError("Say first what its columns are.")
    if delivery.refusals and not leave_out_refused:
        raise ValidationError(
            f"{len(delivery.refusals)} values were refused. Mend them in the file and send it again, or say "
            "that they stay out."
        )
    if any(step["unusual"] for step in coming) and not read_unusual:
        raise ValidationError(
            "Some numbers are unusual. Read them again in the table, and say that they are so."
        )
    if not coming:
        raise ValidationError("There is nothing to write: all that was understood is in the record already.")
    source = transcription_of(delivery, Transcription.Kind.TABLE, by, now)
    by_cell: dict[str, list[dict[str, Any]]] = {}
    for step in coming:
        by_cell.setdefault(step["code"], []).append(step)
    for code, mine in by_cell.items():
        _write(_begun(code, mine, by, now), mine, source, by, now)
    delivery.state = Delivery.State.APPLIED
    delivery.save()
    record(
        verb="applied",
        subject=delivery,
        by=by,
        at=now,
        payload={"cells": sorted(by_cell), "entries": len(coming), "left out": len(delivery.refusals)},
    )


def transcription_of(delivery: Delivery, kind: str, by: User, now: dt.datetime) -> Transcription:
    """Note the older record that a delivery is, with its original."""
    source = Transcription.objects.create(kind=kind, delivery=delivery, by=by, at=now)
    TranscribedPage.objects.create(transcription=source, receipt=delivery.receipt)
    return source


def _begun(code: str, mine: list[dict[str, Any]], by: User, now: dt.datetime) -> Dissection:
    cell = Cell.objects.select_related("build").get(code=code)
    days = [step["said"]["observed_at"][:10] for step in mine]
    return begun(cell, dt.date.fromisoformat(min(days)), by, now)


def begun(cell: Cell, day: dt.date, by: User, now: dt.datetime) -> Dissection:
    """Give the dissection of a cell, begun where nobody had."""
    dissection = Dissection.objects.select_related("cell__build").filter(cell=cell).first()
    return dissection or start_dissection(cell=cell, by=by, day=day, at=now)


def _write(
    dissection: Dissection, mine: list[dict[str, Any]], source: Transcription, by: User, now: dt.datetime
) -> None:
    people = people_by_name()
    items = []
    for step in mine:
        said = step["said"] | {
            "key": str(uuid.uuid4()),
            "transcription": str(source.key),
            "source_words": f"row {step['rows'][0]}, {step['head']}: {step['shown']['in_table']}",
            "confirmed_unusual": step["unusual"],
        }
        items.append(as_transcribed(said, people))
    for start in range(0, len(items), BATCH):
        outcomes = log_entries(dissection=dissection, items=items[start : start + BATCH], by=by, at=now)
        for step, outcome in zip(mine[start : start + BATCH], outcomes, strict=True):
            if outcome.entry is None:
                raise ValidationError(
                    f"Row {step['rows'][0]}, {step['head']}: {' '.join(outcome.sentences)} "
                    "Nothing was written."
                )
            step["made"] = [str(outcome.entry.key)]


def withdraw_older(*, delivery: Delivery, reason: str, by: User, at: dt.datetime | None = None) -> Delivery:
    """Take a whole import back: each of its entries is withdrawn with the reason; file and plan stay.

    An entry that was amended since is withdrawn in its later form.
    """
    demand(by, "older.bring")
    if not reason.strip():
        raise ValidationError({"reason": "Say why it is withdrawn."})
    now = at or timezone.now()
    with transaction.atomic():
        delivery = standing(delivery, Delivery.State.SHOWN, Delivery.State.APPLIED)
        gone = take_back_entries(delivery, reason, by, now)
        delivery.state = Delivery.State.WITHDRAWN
        delivery.save()
        record(verb="withdrew", subject=delivery, by=by, reason=reason, at=now, payload={"entries": gone})
    return delivery


def take_back_entries(delivery: Delivery, reason: str, by: User, now: dt.datetime) -> int:
    """Withdraw every entry that an import brought, in the form in which it stands; give how many."""
    mine = Entry.objects.current().filter(transcription__delivery=delivery).with_words()
    words = f"import withdrawn: {reason}"
    found = list(mine.select_related("dissection__cell__build").order_by("pk"))
    for entry in found:
        withdraw(entry=entry, by=by, reason="reason.other", reason_text=words, at=now)
    return len(found)


def standing(delivery: Delivery, *states: str) -> Delivery:
    """Lock an import for a change; refused where it does not stand so any more."""
    now = Delivery.objects.select_for_update().get(pk=delivery.pk)
    if now.state not in states:
        raise ValidationError(f"This import is {now.get_state_display()} already.")
    return now
