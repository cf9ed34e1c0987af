"""What an older table would bring: each value checked as the bench would, on the books as they stand."""

import datetime as dt
import uuid
from collections.abc import Iterable, Mapping
from dataclasses import asdict, replace
from typing import Any

from django.core.exceptions import ValidationError
from django.utils import timezone

from teardown.accounts.models import User
from teardown.cells.models import Cell, FormerCode
from teardown.cells.rules import fold
from teardown.dissection.actions.items import Item
from teardown.dissection.actions.reading import Reader, Unusual
from teardown.dissection.intake import heads as columns_of
from teardown.dissection.intake import older
from teardown.dissection.intake.heads import Meaning
from teardown.dissection.models import Dissection, Entry
from teardown.files.models import Delivery
from teardown.files.store import read
from teardown.formats.tables import RefusedRow, read_table
from teardown.vocabulary.models import Term


def people_by_name() -> dict[str, str]:
    """Give who signs in here, by folded name and by sign-in name."""
    rows = User.objects.values_list("username", "name")
    return {fold(name): username for username, name in rows} | {
        fold(username): username for username, _ in rows
    }


def as_transcribed(said: Mapping[str, Any], people: Mapping[str, str]) -> dict[str, Any]:
    """Give what an older record says as it is logged: who saw it signs in here, or is only named."""
    named = said["seen_by"]
    known = people.get(fold(named), "") if named else ""
    rest = {name: value for name, value in said.items() if name != "seen_by"}
    return rest | {
        "source": "transcribed", "observer": known, "observer_named": "" if known else named,
    }  # fmt: skip


def plan_of(
    delivery: Delivery, by: User
) -> tuple[list[dict[str, Any]], list[dict[str, Any]], dict[str, Any]]:
    """Give what a table would bring on the books as they stand: steps, refusals, words nobody explained."""
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
    words = f"row {one.row}, {one.head}: {one.text}"[:240]
    said = one.said | {"term": one.term.key, "key": uuid.uuid4(), "source_words": words}
    return Item.read(as_transcribed(said, people))


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
