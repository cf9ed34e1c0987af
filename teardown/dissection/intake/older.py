"""Rows of an older table as observations: whose cell, which day, what was said. It looks up words alone."""

import datetime as dt
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from django.utils import timezone

from teardown.cells.intake.columns import Unread, read_day
from teardown.cells.rules import fold
from teardown.dissection.intake import words
from teardown.dissection.intake.heads import Meaning, split_unit
from teardown.dissection.rules.places import NotAPlace, read_place
from teardown.formats.tables import RefusedRow, Row
from teardown.vocabulary.models import Term

NOON = dt.time(12)
CERTAIN = {"sure": "sure", "think so": "think so", "probably": "think so", "guess": "guess", "maybe": "guess"}


@dataclass(frozen=True, slots=True)
class Found:
    """One thing that a row says: the cell, the item that it would be, and what stands in the table."""

    row: int
    head: str
    cell: str
    term: Term
    said: dict[str, Any]
    text: str


@dataclass(slots=True)
class Reading:
    """What a table says; what was refused; words that nobody knows yet, by field."""

    found: list[Found] = field(default_factory=list)
    refused: list[RefusedRow] = field(default_factory=list)
    unknown: dict[str, dict[str, str]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Asked:
    """How a table is to be read: its columns, words that were explained, and what holds for all its rows."""

    columns: Mapping[str, Meaning]
    told: Mapping[str, Mapping[str, str]]
    day: str = ""
    seen_by: str = ""


class _Reader:
    def __init__(self, asked: Asked, terms: Sequence[Term]) -> None:
        self.asked = asked
        self.terms = {term.key: term for term in terms}
        self.by_words: dict[str, list[Term]] = {}
        for term in terms:
            self.by_words.setdefault(fold(term.words), []).append(term)
        self.parts = {
            fold(term.words): term.key for term in Term.objects.of("component")
        }  # "iron electrode" -> component.iron_electrode
        self.parts |= {key.removeprefix("component.").replace("_", " "): key for key in self.parts.values()}
        self.roles = {meaning.role: head for head, meaning in asked.columns.items() if meaning.role}
        self.reading = Reading()

    def of(self, row: Row, role: str) -> str:
        return row.cells.get(self.roles.get(role, ""), "").strip()

    def refuse(self, row: Row, head: str, said: str) -> None:
        self.reading.refused.append(RefusedRow(row.number, head, row.cells.get(head, "")[:60], said))

    def row(self, row: Row) -> None:
        cell = self.of(row, "cell")
        if not cell:
            if any(text.strip() for text in row.cells.values()):
                self.refuse(row, self.roles.get("cell", ""), "The row names no cell.")
            return
        try:
            about = self._when(row) | self._who(row) | self._place(row)
        except (Unread, NotAPlace, words.NotRead) as error:
            head = next(
                (h for h in self.roles.values() if row.cells.get(h, "") and row.cells[h] in str(error)), ""
            )
            self.refuse(row, head, str(error))
            return
        for head, term, text, meaning in self._asked(row):
            self._one(row, head, term, text, meaning, cell, about)

    def _when(self, row: Row) -> dict[str, Any]:
        text = self.of(row, "day") or self.asked.day
        if not text:
            raise words.NotRead("It is of no day. Name the column of the day, or the day of the whole table.")
        written = re.fullmatch(r"(.+?)[T ](\d{1,2}:\d{2})(?::\d{2})?", text)
        day = read_day(written[1] if written else text)
        clock = self.of(row, "clock") or (written[2] if written and written[2] != "00:00" else "")
        return when(day, clock)

    def _who(self, row: Row) -> dict[str, Any]:
        return {"seen_by": (self.of(row, "seen_by") or self.asked.seen_by)[:80]}

    def _place(self, row: Row) -> dict[str, Any]:
        said: dict[str, Any] = {}
        if place := self.of(row, "place"):
            said["place"] = read_place(place).address
        if part := self.of(row, "part"):
            name, number = re.fullmatch(r"(.*?)\s*(\d?)", fold(part)).groups()  # type: ignore[union-attr]
            if name not in self.parts:
                raise words.NotRead(f"“{part}” is no part of a cell; parts are {', '.join(self.parts)}.")
            said |= {"component": self.parts[name], "number": int(number or 1)}
        if sure := fold(self.of(row, "certainty")):
            if sure not in CERTAIN:
                raise words.NotRead(f"“{sure}” is none of: sure, think so, guess.")
            said["certainty"] = CERTAIN[sure]
        return said

    def _asked(self, row: Row) -> Iterator[tuple[str, Term, str, Meaning]]:
        if "asked" in self.roles and (term := self._field(row)):
            unit = self.of(row, "unit") or split_unit(self.of(row, "asked"))[1]
            yield self.roles["said"], term, self.of(row, "said"), Meaning(term=term.key, unit=unit)
        for head, meaning in self.asked.columns.items():
            if meaning.term in self.terms and meaning.term:
                yield head, self.terms[meaning.term], row.cells.get(head, "").strip(), meaning
            elif meaning.role == "note" and row.cells.get(head, "").strip():
                yield head, self.terms["note.words"], row.cells[head].strip(), Meaning(term="note.words")

    def _field(self, row: Row) -> Term | None:
        """Find the field that a row names; where two bear the same words, the part tells which."""
        text = self.of(row, "asked")
        name = fold(split_unit(text)[0].replace("_", " "))
        if text in self.terms:
            return self.terms[text]
        told = self.asked.told.get("asked", {}).get(fold(text))
        if told:
            return None if told == "skip" else self.terms.get(told)
        found = self.by_words.get(name, [])
        part = self._place(row).get("component", "")
        if len(found) > 1 and part:
            found = [term for term in found if term.data.get("component", "") == part] or found
        if len(found) == 1:
            return found[0]
        self.reading.unknown.setdefault("asked", {})[fold(text)] = text
        self.refuse(row, self.roles["asked"], f"“{text}” is nothing that the bench asks by this name.")
        return None

    def _one(
        self, row: Row, head: str, term: Term, text: str, meaning: Meaning, cell: str, about: dict[str, Any]
    ) -> None:
        try:
            said = self._said(term, text, meaning)
        except words.UnknownWord as error:
            self.reading.unknown.setdefault(term.key, {})[fold(text)] = text
            self.refuse(row, head, str(error))
            return
        except (words.NotRead, Unread) as error:
            self.refuse(row, head, str(error))
            return
        if said is None:
            return
        where: dict[str, Any] = {}
        if term.data.get("per") in ("place", "part") or meaning.component:
            component = about.get("component") or meaning.component or term.data.get("component", "")
            where = {"component": component, "number": about.get("number", meaning.number)}
        if term.data.get("per") == "place":
            where["place"] = about.get("place") or meaning.place or "whole"
        rest = {name: about[name] for name in ("observed_at", "observed_precision", "seen_by")}
        if "certainty" in about:
            rest["certainty"] = about["certainty"]
        self.reading.found.append(Found(row.number, head, cell, term, rest | where | said, text))

    def _said(self, term: Term, text: str, meaning: Meaning) -> dict[str, Any] | None:
        if term.data["kind"] != "moment":
            return words.read(text, term, meaning.unit, self.asked.told.get(term.key, {}))
        if fold(text) in words.NOT_ASKED:
            return None
        if fold(text) in words.PRESENT:
            return {"state": "present"}
        written = re.fullmatch(r"(.+?)[T ](\d{1,2}:\d{2})(?::\d{2})?", text)
        clock = written[2] if written and written[2] != "00:00" else ""
        return {"state": "present"} | when(read_day(written[1] if written else text), clock)


def when(day: dt.date, clock: str) -> dict[str, Any]:
    """Date an observation: to the minute where its clock was written, else to the day and no nearer.

    Raises
    ------
    NotRead
        If the clock is none.
    """
    time = NOON
    if clock:
        shape = re.fullmatch(r"([01]?\d|2[0-3])[:.h]([0-5]\d)", clock.strip())
        if shape is None:
            raise words.NotRead(f"“{clock}” is no time of day; write it as 14:10.")
        time = dt.time(int(shape[1]), int(shape[2]))
    at = timezone.make_aware(dt.datetime.combine(day, time))
    return {"observed_at": at.isoformat(), "observed_precision": "minute" if clock else "day"}


def read(rows: Sequence[Row], asked: Asked, terms: Sequence[Term]) -> Reading:
    """Read the rows of a table as the person said that it is to be read."""
    reader = _Reader(asked, terms)
    for row in rows:
        reader.row(row)
    return reader.reading
