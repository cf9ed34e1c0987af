"""Columns of an import: how a head is recognised, and how its values are read in the unit it names."""

import datetime as dt
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from teardown.cells.rules import fault_of_code, fold
from teardown.page.numbers import UnreadableNumber, read_number
from teardown.science.errors import ReadingError, Remark

MASS = {"g": 1.0, "mg": 1e-3, "kg": 1e3}
LENGTH_MM = {"mm": 1.0, "cm": 10.0, "µm": 1e-3}
LENGTH_UM = {"µm": 1.0, "mm": 1e3}
VOLUME = {"mL": 1.0, "L": 1e3, "µL": 1e-3}
MOLARITY = {"mol/L": 1.0, "mmol/L": 1e-3}
CHARGE = {"Ah": 1.0, "mAh": 1e-3}
FRACTION = {"1": 1.0, "%": 1e-2}

SAME_UNIT = {
    "um": "µm",
    "μm": "µm",
    "ul": "µL",
    "μl": "µL",
    "mol/dm3": "mol/L",
    "mol/dm³": "mol/L",
    "cm3": "mL",
    "cm³": "mL",
}
MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
YES, NO = frozenset(("yes", "y", "true", "1", "x")), frozenset(("no", "n", "false", "0", ""))
LONGEST_TEXT = 10_000


class UnknownHeads(ReadingError):
    """The heads of the table do not say what its columns are."""

    code = "cells.E001"
    hint = "The page of imports lists the columns, and gives an example to fill in."


class Unread(ValueError):
    """A value that was not understood; the message says why and what to write."""


@dataclass(frozen=True, slots=True)
class Column:
    """A column that may be sent.

    ``units`` maps each unit that a head may name to the factor that turns its values into those of the
    field. ``usual`` is what is met in practice (common practice, no source); values outside are remarked.
    """

    key: str
    words: str
    help: str
    kind: str = "text"
    required: bool = False
    names: tuple[str, ...] = ()
    units: Mapping[str, float] = field(default_factory=dict)
    usual: tuple[float, float] | None = None
    example: str = ""

    @property
    def head(self) -> str:
        """Give the head as the example file writes it."""
        return f"{self.words} ({next(iter(self.units))})" if self.units else self.words

    @property
    def unit_words(self) -> str:
        """List the units that a head may name."""
        return ", ".join(self.units)


@dataclass(frozen=True, slots=True)
class Found:
    """A column of a file, recognised: its head as it stands, and the unit that it names."""

    column: Column
    head: str
    unit: str = ""

    def read(self, text: str) -> tuple[Any, str]:
        """Read a value; give it with the text to show for it.

        Raises
        ------
        Unread
            With what is wrong and what to write.
        """
        if not text:
            if self.column.required:
                raise Unread("This may not be empty.")
            return None, ""
        read: tuple[Any, str] = _READ[self.column.kind](self, text)
        return read


def recognise(heads: Sequence[str], columns: Sequence[Column]) -> tuple[list[Found], list[Remark]]:
    """Match heads with columns.

    Raises
    ------
    UnknownHeads
        If a needed column is missing, a unit is missing or foreign, or two heads mean the same.
    """
    found: dict[str, Found] = {}
    faults: list[str] = []
    remarks: list[Remark] = []
    for head in heads:
        match = _match(head, columns)
        if match is None:
            remarks.append(
                Remark("cells.W001", "warning", f"The column “{head[:60]}” is not known and not read.")
            )
            continue
        if isinstance(match, str):
            faults.append(match)
        elif match.column.key in found:
            faults.append(f"“{found[match.column.key].head}” and “{head}” mean the same column.")
        else:
            found[match.column.key] = match
    missing = [column.head for column in columns if column.required and column.key not in found]
    if missing and not faults:
        faults.append(f"These columns are missing: {', '.join(missing)}.")
    if faults:
        raise UnknownHeads(" ".join(faults))
    return list(found.values()), remarks


def _match(head: str, columns: Sequence[Column]) -> Found | str | None:
    """Give the column that a head names, a sentence if its unit is amiss, or None if it names none."""
    for column in columns:
        names = {_plain(name) for name in (column.words, *column.names)}
        if _plain(head) == _plain(column.key):
            return Found(column, head, next(iter(column.units), ""))
        if not column.units:
            if _plain(head) in names:
                return Found(column, head)
            continue
        known = {fold(unit): unit for unit in column.units}
        name, unit = _split(head)
        if unit and _plain(name) in names:
            told = known.get(fold(SAME_UNIT.get(fold(unit), unit)))
            return (
                Found(column, head, told)
                if told
                else (f"“{head}”: the unit {unit} is not one of {column.unit_words}.")
            )
        bare, _, last = _plain(head).rpartition(" ")
        if bare in names and (told := known.get(fold(SAME_UNIT.get(last, last)))):
            return Found(column, head, told)
        if _plain(head) in names:
            return (
                Found(column, head, "1")
                if "1" in column.units
                else (f"“{head}” names no unit: write “{column.head}”.")
            )
    return None


def _split(head: str) -> tuple[str, str]:
    shape = re.fullmatch(r"(.+?)\s*(?:\(([^()]*)\)|\[([^\[\]]*)\]|\s/\s*(\S+)|,\s*(\S+))", head.strip())
    if shape is None:
        return head, ""
    return shape[1], next((part.strip() for part in shape.groups()[1:] if part is not None), "")


def _plain(name: str) -> str:
    return fold(name.replace("_", " ").replace("μ", "µ"))


def _number(found: Found, text: str) -> tuple[float, str]:
    if text.startswith("="):
        raise Unread(f"“{text[:40]}” is a formula. Paste its value in place of it.")
    try:
        entered = read_number(text)
    except UnreadableNumber as refusal:
        raise Unread(str(refusal)) from refusal
    factor = found.column.units.get(found.unit, 1.0)
    value = float(f"{float(entered) * factor:.15g}")  # 60 % is 0.6, not 0.6 and a bit
    if found.column.units and value <= 0:
        raise Unread(f"{entered.text} is not above zero, as {found.column.words} is.")
    unit = f" {found.unit}" if found.unit not in ("", "1") else ""
    return value, f"{entered.text}{unit}"


def _fraction(found: Found, text: str) -> tuple[float, str]:
    if text.endswith("%") and found.unit == "1":
        return _number(Found(found.column, found.head, "%"), text.removesuffix("%").rstrip())
    value, shown = _number(found, text)
    if not 0 < value < 1:
        if found.unit == "%":
            raise Unread(f"{shown} is no share of a whole: it lies between 0 and 100 %.")
        raise Unread(
            f"{shown} is no fraction between 0 and 1. "
            f"If it is percent, name the column “{found.column.words} (%)”."
        )
    return value, shown


def _day(_found: Found, text: str) -> tuple[str, str]:
    return read_day(text).isoformat(), text


def read_day(text: str) -> dt.date:
    """Read a day: 2031-03-04 (ISO 8601), 4.3.2031, or 4 March 2031.

    Raises
    ------
    Unread
        For anything else; slashes too, since they mean different days in different countries.
    """
    plain = re.sub(r"[T ]\d{2}:\d{2}(:\d{2})?$", "", text.strip())
    if iso := re.fullmatch(r"(\d{4})-(\d{1,2})-(\d{1,2})", plain, re.ASCII):
        year, month, day = iso.groups()
    elif dotted := re.fullmatch(r"(\d{1,2})\.\s?(\d{1,2})\.\s?(\d{4})", plain, re.ASCII):
        day, month, year = dotted.groups()
    elif worded := re.fullmatch(r"(\d{1,2})\.?[ -]([A-Za-z]{3,9})\.?[ -](\d{4})", plain, re.ASCII):
        day, name, year = worded.groups()
        if name[:3].lower() not in MONTHS:
            raise Unread(f"“{text[:40]}” names no month. Write the day as 2031-03-04.")
        month = str(MONTHS.index(name[:3].lower()) + 1)
    else:
        raise Unread(f"“{text[:40]}” is no day that reads the same everywhere. Write it as 2031-03-04.")
    try:
        return dt.date(int(year), int(month), int(day))
    except ValueError as error:
        raise Unread(f"“{text[:40]}”: there is no such day.") from error


def _whole(found: Found, text: str) -> tuple[int, str]:
    value, shown = _number(found, text)
    if value != int(value) or not 0 < value < 10_000:
        raise Unread(f"“{text[:40]}” is no whole number above zero.")
    return int(value), shown


def _code(_found: Found, text: str) -> tuple[str, str]:
    if fault := fault_of_code(text):
        raise Unread(fault)
    return text, text


def _text(_found: Found, text: str) -> tuple[str, str]:
    if len(text) > LONGEST_TEXT:
        raise Unread(f"The text has {len(text)} characters; {LONGEST_TEXT} are kept.")
    return text, text


def _name(_found: Found, text: str) -> tuple[str, str]:
    plain = " ".join(text.split())
    if len(plain) > 80 or plain.startswith(("=", "@")):
        raise Unread(f"“{text[:40]}” is no name: at most 80 characters, and not beginning with “=”.")
    return plain, text


def _yes_no(_found: Found, text: str) -> tuple[bool, str]:
    plain = fold(text)
    if plain not in YES | NO:
        raise Unread(f"“{text[:40]}” is neither yes nor no.")
    return plain in YES, text


_READ: dict[str, Any] = {
    "text": _text,
    "name": _name,
    "code": _code,
    "number": _number,
    "fraction": _fraction,
    "whole": _whole,
    "day": _day,
    "yes or no": _yes_no,
}
