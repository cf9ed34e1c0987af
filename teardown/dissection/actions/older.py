"""Dissections of before: a table or a folder shown, explained, applied whole, withdrawn.

What comes in is told apart for ever: each entry says that it was transcribed, by whom, from which file and
where in it, and who had seen it as the record says. Its time is no nearer than the record has it.
"""

import datetime as dt
import uuid
from collections.abc import Iterable, Mapping
from dataclasses import asdict, replace
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone

from teardown.accounts.models import User
from teardown.accounts.roles import demand
from teardown.cells.models import Cell, FormerCode
from teardown.cells.rules import fold
from teardown.dissection.actions.entries import log_entries, withdraw
from teardown.dissection.actions.items import Item
from teardown.dissection.actions.opening import start_dissection
from teardown.dissection.actions.reading import Reader, Unusual
from teardown.dissection.intake import heads as columns_of
from teardown.dissection.intake import older
from teardown.dissection.intake.heads import Meaning
from teardown.dissection.models import Dissection, Entry, TranscribedPage, Transcription
from teardown.files.models import Delivery
from teardown.files.store import keep, read
from teardown.formats.tables import RefusedRow, read_table
from teardown.records.actions import record
from teardown.vocabulary.models import Term

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
        delivery = _standing(delivery, Delivery.State.SHOWN)
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
    steps, refused, unknown = _plan(delivery, by)
    with transaction.atomic():
        delivery = _standing(delivery, Delivery.State.SHOWN)
        delivery.planned, delivery.refusals = steps, refused
        delivery.column_map |= {"unknown": unknown}
        delivery.save()
    return delivery


def _plan(delivery: Delivery, by: User) -> tuple[list[dict[str, Any]], list[dict[str, Any]], dict[str, Any]]:
    how = delivery.column_map
    table = read_table(read(delivery.receipt.file))
    asked = older.Asked(
        {head: Meaning(**meaning) for head, meaning in columns_of.in_order(how).items()},
        how.get("words", {}),
        how.get("day", ""),
        how.get("seen_by", ""),
    )
    reading = older.read(table.rows, asked, columns_of.fields_of_tables())
    reading.refused += table.refused
    cells = _cells({found.cell for found in reading.found})
    people = people_by_name()
    steps: list[dict[str, Any]] = []
    for code, mine in _by_cell(reading.found).items():
        if isinstance(said := cells[code], str):
            reading.refused += [RefusedRow(row, "cell", code, said) for row in sorted({f.row for f in mine})]
        else:
            if how.get("opened") and (opening := _opening(said, mine)):
                mine.append(opening)
            steps += _steps_of(said, mine, by, people, reading.refused)
    refused = sorted(reading.refused, key=lambda one: one.row)
    return sorted(steps, key=lambda step: step["rows"]), [asdict(one) for one in refused], reading.unknown


def _opening(dissection: Dissection, mine: list[older.Found]) -> older.Found | None:
    """Give the opening on the day of a cell's first row, where neither record nor table has one."""
    if any(one.term.key == "opening.opened" for one in mine):
        return None
    if dissection.pk is not None and dissection.entries.opening() is not None:
        return None
    first = min(mine, key=lambda one: (one.said["observed_at"][:10], one.row))
    day = dt.date.fromisoformat(first.said["observed_at"][:10])
    said = older.when(day, "") | {"seen_by": first.said["seen_by"], "state": "present"}
    term = Term.objects.get(key="opening.opened")
    return older.Found(
        first.row, "day", first.cell, term, said, "opened that day, as said of the whole table"
    )


def _by_cell(found: Iterable[older.Found]) -> dict[str, list[older.Found]]:
    rows: dict[str, list[older.Found]] = {}
    for one in found:
        rows.setdefault(one.cell, []).append(one)
    return rows


def _cells(codes: set[str]) -> dict[str, "Dissection | str"]:
    """Give the dissection of each cell, not begun where there is none; or why it cannot be brought."""
    known = {
        fold(cell.code): cell for cell in Cell.objects.select_related("build").filter(code__in=_cased(codes))
    }
    former = {
        fold(row.code): row.cell
        for row in FormerCode.objects.filter(code__in=codes).select_related("cell__build")
        if row.cell.withdrawn_at is None
    }
    begun = {d.cell_id: d for d in Dissection.objects.select_related("cell__build").filter(
        cell__in=[cell.pk for cell in (*known.values(), *former.values())]
    )}  # fmt: skip
    running = set(
        Cell.objects.on_test().filter(pk__in=[c.pk for c in known.values()]).values_list("pk", flat=True)
    )
    found: dict[str, Dissection | str] = {}
    for code in codes:
        cell = known.get(fold(code)) or former.get(fold(code))
        if cell is None:
            found[code] = f"No cell {code} is known. Bring the cells first, then what was found in them."
        elif cell.pk in running:
            found[code] = f"The test of {cell} still runs here; nothing older can be of its dissection."
        else:
            found[code] = begun.get(cell.pk) or Dissection(cell=cell)
    return found


def _cased(codes: set[str]) -> set[str]:
    """Give the codes as the books write them, however the table does."""
    wanted = {fold(code) for code in codes}
    return {code for code in Cell.objects.values_list("code", flat=True) if fold(code) in wanted}


def people_by_name() -> dict[str, str]:
    """Give who signs in here, by folded name and by sign-in name."""
    rows = User.objects.values_list("username", "name")
    return {fold(name): username for username, name in rows} | {
        fold(username): username for username, _ in rows
    }


def _steps_of(
    dissection: Dissection,
    mine: list[older.Found],
    by: User,
    people: Mapping[str, str],
    refused: list[RefusedRow],
) -> list[dict[str, Any]]:
    """Check what a table says of one cell, as the bench would."""
    items = [_item(one, people) for one in mine]
    reader = Reader(dissection, items, timezone.now())
    standing = _standing_entries(dissection)
    opened = dissection.pk is not None and dissection.entries.opening() is not None
    steps = []
    for one, item in zip(mine, items, strict=True):
        notes: list[str] = []
        try:
            if one.term.key == "opening.opened" and opened and not _said_before(one, dissection):
                raise ValidationError("The cell has its time of opening; amend that, with the reason.")
            entry, unusual = _entry(reader, item, by)
        except ValidationError as error:
            refused.append(RefusedRow(one.row, one.head, one.text[:60], " ".join(error.messages)))
            continue
        where = (one.term.key, entry.part and (entry.part.component.key, entry.part.number), entry.place)
        others = standing.get(where, [])
        same = any(other.said == entry.said for other in others)
        if unusual:
            notes.append(unusual)
        if others and not same:
            notes.append(f"beside what stands: {', '.join(other.said for other in others[:3])}")
        if dissection.cell.closed_at and not same:
            notes.append("the cell is closed; this comes later than signed")
        steps.append(_step(one, entry, "same" if same else "new", notes, unusual=bool(unusual)))
        standing.setdefault(where, []).append(entry)
    return steps


def _said_before(one: older.Found, dissection: Dissection) -> bool:
    opening = dissection.entries.opening()
    return opening is not None and opening.observed_at == dt.datetime.fromisoformat(one.said["observed_at"])


def _entry(reader: Reader, item: Item, by: User) -> tuple[Entry, str]:
    try:
        return reader.entry(item, by), ""
    except Unusual as asked:
        return reader.entry(replace(item, confirmed_unusual=True), by), " ".join(asked.messages)


def _standing_entries(dissection: Dissection) -> dict[tuple[Any, ...], list[Entry]]:
    found: dict[tuple[Any, ...], list[Entry]] = {}
    if dissection.pk is None:
        return found
    for entry in dissection.entries.current().with_words():
        part = entry.part and (entry.part.component.key, entry.part.number)
        found.setdefault((entry.term.key, part, entry.place), []).append(entry)
    return found


def _item(one: older.Found, people: Mapping[str, str]) -> Item:
    said = dict(one.said)
    named = said.pop("seen_by")
    known = people.get(fold(named), "") if named else ""
    return Item.read(
        said
        | {
            "term": one.term.key,
            "key": uuid.uuid4(),
            "source": "transcribed",
            "observer": known,
            "observer_named": "" if known else named,
            "source_words": f"row {one.row}, {one.head}: {one.text}"[:240],
        }
    )


def _step(one: older.Found, entry: Entry, does: str, notes: list[str], *, unusual: bool) -> dict[str, Any]:
    return {
        "rows": [one.row],
        "code": entry.dissection.cell.code,
        "does": does,
        "head": one.head,
        "said": one.said | {"term": one.term.key},
        "unusual": unusual,
        "shown": {
            "what": str(one.term),
            "where": ", ".join(filter(None, [str(entry.part or ""), entry.place])),
            "found": entry.said,
            "when": entry.when,
            "seen_by": one.said["seen_by"] or "not said",
            "in_table": one.text[:60],
        },
        "notes": notes,
        "made": [],
    }


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
    steps, refused, unknown = _plan(delivery, by)
    with transaction.atomic():
        delivery = _standing(delivery, Delivery.State.SHOWN)
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
        said = dict(step["said"])
        named = said.pop("seen_by")
        known = people.get(fold(named), "") if named else ""
        items.append(
            said
            | {
                "key": str(uuid.uuid4()),
                "source": "transcribed",
                "transcription": str(source.key),
                "observer": known,
                "observer_named": "" if known else named,
                "source_words": f"row {step['rows'][0]}, {step['head']}: {step['shown']['in_table']}",
                "confirmed_unusual": step["unusual"],
            }
        )
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
        delivery = _standing(delivery, Delivery.State.SHOWN, Delivery.State.APPLIED)
        mine = Entry.objects.current().filter(transcription__delivery=delivery).with_words()
        gone = [
            withdraw(
                entry=entry, by=by, reason="reason.other", reason_text=f"import withdrawn: {reason}", at=now
            )
            for entry in mine.select_related("dissection__cell__build").order_by("pk")
        ]
        delivery.state = Delivery.State.WITHDRAWN
        delivery.save()
        record(
            verb="withdrew", subject=delivery, by=by, reason=reason, at=now, payload={"entries": len(gone)}
        )
    return delivery


def _standing(delivery: Delivery, *states: str) -> Delivery:
    now = Delivery.objects.select_for_update().get(pk=delivery.pk)
    if now.state not in states:
        raise ValidationError(f"This import is {now.get_state_display()} already.")
    return now


def terms_by_key(keys: Iterable[str]) -> dict[str, Term]:
    """Give fields with their answers by key."""
    return {term.key: term for term in Term.objects.filter(key__in=keys).prefetch_related("answers")}
