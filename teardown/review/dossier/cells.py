"""The list of cells, and its export: what is shown is what is written."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from django.db.models import QuerySet

from teardown.accounts.roles import may
from teardown.cells.models import Cell
from teardown.page.typesetting import plain_number
from teardown.review.dossier.measures import ShownMeasure, measures_of
from teardown.review.dossier.verdicts import Standing, standing_of
from teardown.review.models import STATES, key_of, with_factors, with_history, with_states

A_PAGE = 50
COUNTED_TO = 10_000


@dataclass(frozen=True, slots=True)
class CellRow:
    """One cell in the list; where ``blind``, its curve is hidden from this reader until it is closed."""

    cell: Any
    measures: dict[str, ShownMeasure]
    standing: Standing
    blind: bool

    @property
    def state(self) -> str:
        """Name the furthest state."""
        return next(s for s in reversed(STATES) if getattr(self.cell, key_of(s)))

    @property
    def stands(self) -> list[str]:
        """Give the class of each of the eight small bars."""
        return [
            ""
            if not getattr(self.cell, key_of(s))
            else "here"
            if s == self.state and s != "closed"
            else "done"
            for s in STATES
        ]

    @property
    def coverage(self) -> ShownMeasure | None:
        """Give the oxide coverage, where measured."""
        return self.measures.get("oxide_coverage")

    @property
    def porosity(self) -> ShownMeasure | None:
        """Give the porosity, where measured."""
        return self.measures.get("porosity")


@dataclass(frozen=True, slots=True)
class Pages:
    """Which part of the list is shown; counting stops where it would cost more than it tells."""

    number: int
    count: int
    more: bool

    @property
    def first(self) -> int:
        """Give the number of the first row shown."""
        return (self.number - 1) * A_PAGE + 1

    @property
    def last(self) -> int:
        """Give the number of the last row shown."""
        return self.number * A_PAGE if self.more else min(self.number * A_PAGE, self.count)

    @property
    def counted(self) -> str:
        """Say how many there are."""
        return f"more than {COUNTED_TO}" if self.count > COUNTED_TO else str(self.count)

    @property
    def previous(self) -> int:
        """Give the page before, 0 where there is none."""
        return self.number - 1

    @property
    def following(self) -> int:
        """Give the page after, 0 where there is none."""
        return self.number + 1 if self.more else 0


def rows_of(cells: QuerySet[Cell], user: Any) -> list[CellRow]:
    """Collect the rows of a sorted list, as this person may see them. A fixed number of queries."""
    keys = list(cells.values_list("pk", flat=True))
    whole = with_history(with_factors(with_states(Cell.all_ever.filter(pk__in=keys))))
    known = {cell.pk: cell for cell in whole.select_related("build__revision__recipe")}
    measures, standing = measures_of(keys), standing_of(keys, user)
    sees = may(user, "recipes.see")
    return [
        CellRow(known[key], measures.get(key, {}), standing[key], not sees and known[key].closed_at is None)
        for key in keys
    ]


def page_of(cells: QuerySet[Cell], number: int, user: Any) -> tuple[list[CellRow], Pages]:
    """Give one page of the list."""
    number = max(1, number)
    count = cells.order_by()[: COUNTED_TO + 1].count()
    start = (number - 1) * A_PAGE
    if start >= count > 0:
        number = -(-count // A_PAGE)
        start = (number - 1) * A_PAGE
    return rows_of(cells[start : start + A_PAGE], user), Pages(number, count, start + A_PAGE < count)


HEADS = (
    "cell", "recipe", "revision", "iron", "additive", "additive_share", "alkali_mol_L", "temperature_C",
    "build", "built_on", "state", "end", "ended_at", "complete_cycles", "reference_capacity_Ah",
    "retention", "fade_per_cycle", "knee_cycle", "cycles_to_80", "oxide_coverage", "oxide_coverage_low",
    "oxide_coverage_high", "oxide_coverage_n", "oxide_coverage_status", "porosity", "porosity_low",
    "porosity_high", "porosity_n", "porosity_status", "root_mode", "confidence",
)  # fmt: skip


def table_of(rows: Iterable[CellRow], *, recipes: bool) -> Iterator[list[str]]:
    """Write the rows for a file: fractions from 0 to 1, times in UTC, every interval beside its value.

    Without ``recipes`` what a recipe holds stays empty, for those who may not see it.
    """
    yield list(HEADS)
    for row in rows:
        cell, root = row.cell, row.standing.root
        revision = cell.build.revision
        recipe = (
            (
                revision.recipe.code,
                revision.number,
                cell.iron,
                cell.additive,
                cell.additive_share,
                cell.alkali_mol_L,
            )
            if recipes
            else ("",) * 6
        )
        history = (
            (
                cell.n_cycles,
                cell.q_ref_Ah,
                cell.retention,
                cell.fade_per_cycle,
                cell.knee_cycle,
                cell.cycles_to_80,
            )
            if not row.blind
            else ("",) * 6
        )
        values = (
            cell.code, *recipe, cell.temperature_C, cell.build.code, cell.build.built_on, row.state,
            cell.end_words, cell.ended_at, *history, *_numbers(row.coverage), *_numbers(row.porosity),
            root.mode.words if root else row.standing.words, root.confidence if root else "",
        )  # fmt: skip
        yield [_written(v) for v in values]


def _numbers(measure: ShownMeasure | None) -> tuple[Any, ...]:
    if measure is None:
        return ("",) * 5
    e = measure.estimate
    return e.value, e.low, e.high, e.n, measure.status


def _written(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, float):
        return plain_number(value)
    if hasattr(value, "isoformat"):
        return str(value.isoformat())
    text = str(value)
    # a sheet program would run a cell that begins like a formula
    return f"'{text}" if text.startswith(("=", "+", "-", "@", "\t", "\r")) else text
