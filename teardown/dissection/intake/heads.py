"""What the columns of an older table are: asked once, remembered by their heads."""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from teardown.cells.rules import fold
from teardown.dissection.rules.units import plain_unit, units_beside
from teardown.vocabulary.models import Term

ROLES = {
    "cell": "code of the cell",
    "day": "day",
    "clock": "time of day",
    "seen_by": "who saw it",
    "part": "part of the cell",
    "place": "place on the electrode",
    "asked": "what was asked (one row an observation)",
    "said": "what was found (one row an observation)",
    "unit": "unit of what was found",
    "certainty": "how sure",
    "note": "in words, about the cell",
}
"""What a column may be beside a field of the bench."""

_NAMES = {
    "cell": ("cell", "cell code", "code", "cell no", "cell id"),
    "day": ("day", "date", "opened on", "dissected on", "day of dissection"),
    "clock": ("time", "clock", "hour", "time of day"),
    "seen_by": ("seen by", "observer", "who", "operator", "by", "done by", "chemist"),
    "part": ("part", "component"),
    "place": ("place", "where", "location", "position"),
    "asked": ("asked", "what", "observation", "measure", "property", "field"),
    "said": ("said", "found", "value", "result", "finding", "reading"),
    "unit": ("unit", "units"),
    "certainty": ("how sure", "certainty", "sure"),
    "note": ("note", "notes", "remark", "remarks", "comment", "comments"),
}
NOT_BY_TABLE = frozenset({"titration", "titration_about", "timers"})
"""Cards whose fields are of single samples, which an older table does not name."""


@dataclass(frozen=True, slots=True)
class Meaning:
    """What one column is: a role, a field with part, place and unit, or nothing."""

    role: str = ""
    term: str = ""
    component: str = ""
    number: int = 1
    place: str = ""
    unit: str = ""

    def plain(self) -> dict[str, Any]:
        """Give it as what JSON holds."""
        return asdict(self)

    @property
    def choice(self) -> str:
        """Give it as the choice of a form: ``role:cell``, ``term:dry.mass_g``, or nothing."""
        return f"role:{self.role}" if self.role else f"term:{self.term}" if self.term else ""


def fields_of_tables() -> list[Term]:
    """Give the fields that a column may be."""
    rows = Term.objects.of("field").filter(merged_into=None).prefetch_related("answers")
    return [term for term in rows if term.data.get("card") not in NOT_BY_TABLE and term.data["kind"] != "cut"]


def split_unit(head: str) -> tuple[str, str]:
    """Part a head from the unit that it names: "dry mass (mg)", "dry mass [mg]", "dry mass / mg".

    >>> split_unit("dry mass / mg"), split_unit("colour")
    (('dry mass', 'mg'), ('colour', ''))
    """
    shape = re.fullmatch(r"(.+?)\s*(?:\(([^()]*)\)|\[([^\[\]]*)\]|\s/\s*(\S+)|,\s*(\S+))", head.strip())
    if shape is None:
        return head.strip(), ""
    unit = next((part.strip() for part in shape.groups()[1:] if part is not None), "")
    return shape[1], plain_unit(unit)


def guess(
    heads: Sequence[str], terms: Iterable[Term], remembered: Mapping[str, Mapping[str, Any]]
) -> dict[str, Meaning]:
    """Say what each column probably is: as it was said before, else by its words. A person confirms it.

    Two fields of the same words are told apart by the part that the head names; else neither is guessed.
    """
    terms = list(terms)
    found: dict[str, Meaning] = {}
    for head in heads:
        known = remembered.get(fold(head))
        found[head] = Meaning(**known) if known else _guess_one(head, terms)
    roles = [meaning.role for meaning in found.values() if meaning.role]
    return {
        head: meaning if roles.count(meaning.role) < 2 or not meaning.role else Meaning()
        for head, meaning in found.items()
    }


def _guess_one(head: str, terms: Sequence[Term]) -> Meaning:
    name, unit = split_unit(head)
    plain = fold(name.replace("_", " "))
    role = next((key for key, names in _NAMES.items() if plain in names), "")
    if role:
        return Meaning(role=role)
    exact = [term for term in terms if plain in {fold(term.words), fold(term.key)}]
    close = [term for term in terms if plain in _longer_names(term)]
    for some in (exact, close):
        if len(some) == 1 and (not unit or unit in units_beside(some[0].data.get("unit", ""))):
            return field(some[0], unit)
    return Meaning()


def _longer_names(term: Term) -> set[str]:
    part = term.data.get("component", "").removeprefix("component.").replace("_", " ")
    short = part.split(" ")[0]
    words = fold(term.words)
    return {fold(f"{name} {words}") for name in (part, short) if name} | {
        fold(f"{words} of {name}") for name in (part, short) if name
    }


def field(term: Term, unit: str = "", component: str = "", place: str = "", number: int = 1) -> Meaning:
    """Give the column of a field, whole where it is asked place by place and nothing else is said."""
    per = term.data.get("per", "cell")
    return Meaning(
        term=term.key,
        component=component or (term.data.get("component", "") if per in ("part", "place") else ""),
        number=number,
        place=place or ("whole" if per == "place" else ""),
        unit=unit or term.data.get("unit", ""),
    )


def in_order(how: Mapping[str, Any]) -> dict[str, dict[str, Any]]:
    """Give the columns as they stand in the table: a database may order the names of a map otherwise."""
    columns: dict[str, dict[str, Any]] = how["columns"]
    return {head: columns[head] for head in how.get("heads", columns) if head in columns}


def shape_of(columns: Mapping[str, Meaning]) -> str:
    """Tell how the table lies: a row an observation, or a row a cell."""
    roles = {meaning.role for meaning in columns.values()}
    return "observations" if {"asked", "said"} <= roles else "cells"


def faults_of(columns: Mapping[str, Meaning], terms: Mapping[str, Term]) -> list[str]:
    """Say what keeps a map of columns from being read."""
    roles = [meaning.role for meaning in columns.values() if meaning.role]
    faults = [f"Two columns are said to be the {ROLES[role]}." for role in ROLES if roles.count(role) > 1]
    if "cell" not in roles:
        faults.append("Say which column holds the code of the cell.")
    if ("asked" in roles) != ("said" in roles):
        faults.append("A row an observation needs both: what was asked, and what was found.")
    named = [meaning for meaning in columns.values() if meaning.term]
    if not named and "asked" not in roles and "note" not in roles:
        faults.append("Say of at least one column what it tells of the cell.")
    for head, meaning in columns.items():
        term = terms.get(meaning.term)
        if term is None:
            continue
        if term.data.get("per") == "part" and not meaning.component:
            faults.append(f"“{head}”: say of which part “{term}” is.")
        unit = term.data.get("unit", "")
        if unit and meaning.unit and plain_unit(meaning.unit) not in units_beside(unit):
            may_be = ", ".join(units_beside(unit))
            faults.append(f"“{head}”: {meaning.unit} cannot be turned into {unit}; it may be in {may_be}.")
    return faults
