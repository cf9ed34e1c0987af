"""A folder of older photographs: of which cell, part, place and day each is, by its name or a table."""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import PurePosixPath
from typing import Any

from django.core.files.base import File

from teardown.cells.intake.columns import Unread, read_day
from teardown.cells.rules import fold
from teardown.dissection.intake.older import when
from teardown.dissection.intake.words import NotRead
from teardown.dissection.models import Entry
from teardown.dissection.rules.places import NotAPlace, read_place
from teardown.files.intake import unfold as unfold_drop
from teardown.formats.tables import Table, read_table
from teardown.science.errors import ReadingError

PICTURES = (".jpg", ".jpeg", ".png", ".tif", ".tiff")
TABLES = (".csv", ".xlsx")
MOST_MEMBERS = 300
MOST_BYTES = 4 * 2**30
COLUMNS = {
    "file": ("file", "file name", "filename", "photograph", "picture", "image"),
    "cell": ("cell", "cell code", "code"),
    "part": ("part", "component"),
    "place": ("place", "where", "location"),
    "frame": ("frame", "view", "what is in the picture"),
    "caption": ("caption", "words", "note", "remark"),
    "day": ("day", "date", "taken on"),
    "clock": ("time", "clock"),
    "seen_by": ("taken by", "by", "who", "photographer"),
}
"""Columns of the table beside the photographs; only the file is needed."""
OUTSIDE = frozenset({"", "component.case", "component.terminals", "component.vent", "component.seal"})
"""Parts that are seen on a cell that nobody has opened."""
_PLACE = re.compile(r"(?<![A-Za-z0-9])([AB][ ._-]?[TMB][123]|[TMB][123])(?![A-Za-z0-9])")
_DAY = re.compile(r"(?<!\d)((?:19|20)\d{2})[-_.]?([01]\d)[-_.]?([0-3]\d)(?!\d)")
_FACE = re.compile(r"(?:^|[^A-Za-z])face[ _-]?([AB])(?![A-Za-z])", re.IGNORECASE)


@dataclass(slots=True)
class About:
    """What is known of one photograph, and from where: its name, or the table beside it."""

    name: str
    cell: str = ""
    part: str = ""
    number: int = 1
    place: str = ""
    frame: str = ""
    caption: str = ""
    seen_by: str = ""
    time: dict[str, Any] = field(default_factory=dict)
    faults: list[str] = field(default_factory=list)
    by_table: bool = False


def unfold(files: Iterable[File[Any]]) -> list[File[Any]]:
    """Give the pictures and tables of a drop, zips unfolded; other files are left out."""
    return unfold_drop(files, wanted=_wanted, most_members=MOST_MEMBERS, most_bytes=MOST_BYTES)


def _wanted(name: str) -> bool:
    path = PurePosixPath(name.replace("\\", "/"))
    return path.suffix.lower() in PICTURES + TABLES and not path.name.startswith((".", "~"))


def is_table(file: File[Any]) -> bool:
    """Tell whether a file is a table beside the photographs."""
    return str(file.name).lower().endswith(TABLES)


@dataclass(frozen=True, slots=True)
class Known:
    """What names can be told by: codes of cells and words of parts, both folded."""

    cells: Mapping[str, str]
    parts: Mapping[str, str]
    day: str = ""
    seen_by: str = ""


def read_names(names: Sequence[str], tables: Sequence[bytes], known: Known) -> tuple[list[About], list[str]]:
    """Say of each photograph what its row in a table tells, else what its name and its folder tell.

    Returns
    -------
    list of About
        One a name, in their order, with sentences of what is amiss.
    list of str
        What is amiss with the tables as a whole.
    """
    rows, faults = _rows(tables)
    found = [_about(name, rows.pop(_key(name), None), known) for name in names]
    faults += [
        f"The table names “{row['file'][:80]}”, which is not among the files." for row in rows.values()
    ]
    return found, faults


def _key(name: str) -> str:
    return fold(PurePosixPath(name.replace("\\", "/")).name)


def _rows(tables: Sequence[bytes]) -> tuple[dict[str, dict[str, str]], list[str]]:
    rows: dict[str, dict[str, str]] = {}
    faults: list[str] = []
    for data in tables:
        try:
            table = read_table(data)
        except ReadingError as error:
            faults.append(f"The table beside the photographs: {error}")
            continue
        heads = _heads(table)
        if "file" not in heads:
            faults.append("The table beside the photographs has no column “file”.")
            continue
        for row in table.rows:
            said = {key: row.cells.get(head, "").strip() for key, head in heads.items()}
            if said["file"] and _key(said["file"]) in rows:
                faults.append(f"Row {row.number}: “{said['file']}” stands in the table twice.")
            elif said["file"]:
                rows[_key(said["file"])] = said
        faults += [f"Row {one.row} of the table: {one.message}" for one in table.refused]
    return rows, faults


def _heads(table: Table) -> dict[str, str]:
    plain = {fold(head): head for head in table.heads}
    return {
        key: next(plain[n] for n in names if n in plain)
        for key, names in COLUMNS.items()
        if plain.keys() & set(names)
    }


def _about(name: str, row: Mapping[str, str] | None, known: Known) -> About:
    about = About(name, by_table=row is not None)
    said = dict(row or {})
    _cell(about, said.get("cell", ""), known)
    _part(about, said.get("part", ""), known)
    _place(about, said.get("place", ""))
    _time(about, said.get("day", ""), said.get("clock", ""), known)
    about.frame = said.get("frame", "")[:80] or _frame(name)
    about.caption = said.get("caption", "")[:200]
    about.seen_by = (said.get("seen_by", "") or known.seen_by)[:80]
    if not (about.part or about.frame):
        about.frame = about.frame or PurePosixPath(name.replace("\\", "/")).stem[:80]
    return about


def _cell(about: About, text: str, known: Known) -> None:
    if text:
        about.cell = known.cells.get(fold(text), "")
        if not about.cell:
            about.faults.append(f"No cell {text} is known.")
        return
    plain = fold(about.name)
    found = {
        code
        for folded, code in known.cells.items()
        if re.search(rf"(?<![a-z0-9]){re.escape(folded)}(?![a-z0-9])", plain)
    }
    if len(found) == 1:
        about.cell = found.pop()
    elif found:
        about.faults.append(f"Its name holds the codes of several cells: {', '.join(sorted(found))}.")
    else:
        about.faults.append("Neither its name nor a table says of which cell it is.")


def _part(about: About, text: str, known: Known) -> None:
    plain = fold(text or re.sub(r"[_\-./\\]+", " ", about.name))
    names = sorted(
        (name for name in known.parts if re.search(rf"(?<![a-z]){re.escape(name)}(?![a-z])", plain)), key=len
    )
    if names:
        about.part = known.parts[names[-1]]
        after = re.search(rf"{re.escape(names[-1])} ?([1-9])(?!\d)", plain)
        about.number = int(after[1]) if after else 1
    elif text:
        about.faults.append(f"“{text}” is no part of a cell.")


def _place(about: About, text: str) -> None:
    try:
        if text:
            about.place = read_place(text).address
            return
    except NotAPlace as error:
        about.faults.append(str(error))
        return
    stem = PurePosixPath(about.name.replace("\\", "/")).stem
    if about.cell:
        stem = re.sub(re.escape(about.cell), " ", stem, flags=re.IGNORECASE)
    if found := _PLACE.search(stem.replace("_", " ")):
        plain = re.sub(r"[ ._-]", "", found[1])
        about.place = read_place(plain if len(plain) == 2 else f"{plain[0]}.{plain[1:]}").address
    elif face := _FACE.search(stem):
        about.place = face[1].upper()


def _time(about: About, day: str, clock: str, known: Known) -> None:
    named = _DAY.search(PurePosixPath(about.name.replace("\\", "/")).as_posix())
    written = day or ("-".join(named.groups()) if named else "") or known.day
    if not written:
        about.faults.append(
            "It is of no day: give the day in the table, in its name, or for the whole folder."
        )
        return
    try:
        about.time = when(read_day(written), clock)
    except (Unread, NotRead) as error:
        about.faults.append(str(error))


def _frame(name: str) -> str:
    face = _FACE.search(PurePosixPath(name.replace("\\", "/")).stem)
    return f"face {face[1].upper()}" if face else ""


def openings_of(steps: Iterable[Mapping[str, Any]]) -> dict[str, Mapping[str, Any]]:
    """Give the first photograph of an inner part of each cell whose opening is not on record.

    Parameters
    ----------
    steps : iterable of mapping
        What a folder would bring, as its plan holds it.
    """
    shown: dict[str, Mapping[str, Any]] = {}
    for step in sorted(steps, key=lambda step: str(step["observed_at"])):
        if step["does"] == "new" and step["part"] not in OUTSIDE:
            shown.setdefault(step["code"], step)
    known = Entry.objects.current().filter(
        term__key="opening.opened", state="present", dissection__cell__code__in=shown
    )
    there = set(known.values_list("dissection__cell__code", flat=True))
    return {code: step for code, step in shown.items() if code not in there}
