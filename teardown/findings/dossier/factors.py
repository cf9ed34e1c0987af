"""The recipe factors of cells, and where each cell was tested, in a fixed number of questions."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from django.db.models import QuerySet

from teardown.cells.models import Cell, RecipePart, Seat, Test
from teardown.page.typesetting import fraction_as_percent, number

FACTORS = {
    "additive": "additive",
    "additive_amount": "amount of additive",
    "iron": "iron",
    "alkali": "strength of the alkali",
    "air_electrode": "air electrode",
    "temperature": "temperature",
    "protocol": "protocol",
    "chamber": "chamber",
    "recipe": "recipe",
    "build": "build",
}
"""What Modes can be asked by: key in the address, and the words."""

PHRASES = {
    "additive": "with {}",
    "additive_amount": "with {} of additive",
    "iron": "of {}",
    "alkali": "in {}",
    "air_electrode": "with {}",
    "temperature": "at {}",
    "protocol": "under {}",
    "chamber": "in {}",
    "recipe": "of {}",
    "build": "of build {}",
}

NONE = "none"
UNKNOWN = "not known"


@dataclass(frozen=True, slots=True)
class Place:
    """Where and how a cell was last tested."""

    chamber: str = ""
    temperature: str = UNKNOWN
    protocol: str = UNKNOWN
    running: bool = False
    ended: bool = False


@dataclass(frozen=True, slots=True)
class Known:
    """The levels of every factor for each cell, and the order in which levels are shown."""

    levels: Mapping[int, Mapping[str, str]]
    places: Mapping[int, Place]
    sort_keys: Mapping[tuple[str, str], tuple[Any, ...]] = field(default_factory=dict)

    def in_order(self, factor: str, names: set[str]) -> list[str]:
        """Sort levels: numbers by size, words by letters, "none" first and "not known" last."""
        return sorted(names, key=lambda name: self.sort_keys.get((factor, name), _sort_key(name, None)))


def phrase(factor: str, level: str) -> str:
    """Say a level within a sentence: "at 35 °C", "without additive"."""
    if level == NONE:
        return "without additive" if factor.startswith("additive") else f"without {FACTORS[factor]}"
    if level == UNKNOWN:
        return f"whose {FACTORS[factor]} is not known"
    return PHRASES[factor].format(level)


def factors_of(cells: QuerySet[Cell]) -> Known:
    """Look up the factors of cells: four questions, however many cells."""
    rows = list(
        cells.order_by("pk").values_list(
            "pk", "build__revision_id", "build__revision__recipe__code", "build__code"
        )
    )
    revisions = {row[1] for row in rows}
    parts = _parts(revisions)
    places = _places(cells)
    keys: dict[tuple[str, str], tuple[Any, ...]] = {}
    levels = {}
    for cell, revision, recipe, build in rows:
        made, place = parts.get(revision, {}), places.get(cell, Place())
        found = {factor: made.get(factor, (NONE, None)) for factor in ("additive", "additive_amount", "iron",
                 "alkali", "air_electrode")}  # fmt: skip
        found |= {"recipe": (recipe, None), "build": (build, None), "protocol": (place.protocol, None)}
        found |= {"chamber": (place.chamber or UNKNOWN, None), "temperature": (place.temperature, None)}
        for factor, (name, size) in found.items():
            keys[factor, name] = _sort_key(name, size)
        levels[cell] = {factor: name for factor, (name, _) in found.items()}
    return Known(levels, places, keys)


def _parts(revisions: set[int]) -> dict[int, dict[str, tuple[str, float | None]]]:
    """Give, for each revision, the words of its factors, with the number they sort by."""
    roles = {"iron": "iron", "iron oxide": "iron", "additive": "additive", "alkali": "alkali",
             "air electrode": "air_electrode"}  # fmt: skip
    found: dict[int, dict[str, tuple[str, float | None]]] = {}
    rows = RecipePart.objects.filter(revision__in=revisions, role__in=roles).order_by("pk")
    for row in rows.values("revision_id", "role", "material__name", "amount", "unit", "basis"):
        factor, made = roles[row["role"]], found.setdefault(row["revision_id"], {})
        amount = _amount(row["amount"], row["unit"])
        if factor == "alkali":
            made[factor] = (f"{amount} {row['material__name']}", row["amount"])
        elif factor in made:
            made[factor] = (f"{made[factor][0]} and {row['material__name']}", None)
        else:
            made[factor] = (row["material__name"], None)
        if factor == "additive" and "additive_amount" not in made:
            made["additive_amount"] = (amount, row["amount"])
    return found


def _places(cells: QuerySet[Cell]) -> dict[int, Place]:
    seats = Seat.objects.filter(test__cell__in=cells).order_by("test__number", "since")
    at = {
        cell: (chamber, temperature)
        for cell, chamber, temperature in seats.values_list(
            "test__cell_id", "position__chamber__name", "set_temperature_C"
        )
    }
    found = {}
    tests = Test.objects.filter(cell__in=cells).order_by("number")
    for cell, protocol, ended in tests.values_list("cell_id", "protocol__protocol__code", "ended_at"):
        chamber, temperature = at.get(cell, ("", None))
        words = UNKNOWN if temperature is None else f"{number(temperature)} °C"
        found[cell] = Place(chamber, words, protocol, running=ended is None, ended=ended is not None)
    return found


def _amount(amount: float, unit: str) -> str:
    if unit == RecipePart.Unit.FRACTION:
        return fraction_as_percent(amount, 0 if round(100 * amount, 6) % 1 == 0 else 1)
    words = dict(RecipePart.Unit.choices)[unit]
    return f"{number(amount)} {words}"


def _sort_key(name: str, size: float | None) -> tuple[Any, ...]:
    if name == NONE:
        return (0, 0.0, "")
    if name == UNKNOWN:
        return (3, 0.0, "")
    if size is None and name.endswith("°C"):
        size = float(name.split()[0].replace(",", ".").replace("−", "-"))
    return (1, size, name) if size is not None else (2, 0.0, name)
