"""Waiting: cells whose test has ended and that nobody has opened, in the order proposed."""

import datetime as dt
from collections import Counter
from dataclasses import dataclass
from typing import Any

from django.db.models import Exists, OuterRef, QuerySet

from teardown.accounts.roles import may
from teardown.cells.models import Cell, Test
from teardown.cycling.models import TestSummary
from teardown.dissection.models import BenchTime, Dissection, Entry
from teardown.page.typesetting import as_count, fraction_as_percent, short_day
from teardown.science.reliability.bench_order import Place, Waiting, order

OPENED = "opening.opened"
PERISHES = {
    "end.leak": "it leaked: air and drying change it day by day",
    "end.gas": "it made gas: what is left keeps badly",
    "end.short": "it lost its voltage: it goes on changing by itself",
}
"""Ends of a test after which a cell keeps badly (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Row:
    """One waiting cell in its place."""

    place: Place
    cell: Cell
    ended_at: dt.datetime
    end: str
    censored: bool
    history: str
    assigned: str
    reason: str
    given: BenchTime | None = None


@dataclass(frozen=True, slots=True)
class WaitingPage:
    """The whole list; ``opened`` is how many cells were opened so far."""

    rows: tuple[Row, ...]
    opened: int
    recipes_shown: bool

    @property
    def sentence(self) -> str:
        """Say how many wait, and how long the first to end has waited."""
        if not self.rows:
            return "No cell waits for the bench: every test that has ended was followed by an opening."
        longest = as_count(round(max(row.place.cell.days for row in self.rows)), "day")
        waits = "waits" if len(self.rows) == 1 else "wait"
        return (
            f"{as_count(len(self.rows), 'cell')} {waits} for the bench, the longest for {longest};"
            f" {as_count(self.opened, 'cell')} opened so far."
        )


def unopened(cells: QuerySet[Cell]) -> QuerySet[Cell]:
    """Only cells whose test has ended and that nobody has opened."""
    opening = Entry.objects.current().filter(dissection__cell=OuterRef("pk"), term__key=OPENED)
    return cells.ended().filter(~Exists(opening), closed_at=None)  # type: ignore[attr-defined,no-any-return]


def count_waiting(user: Any) -> int:
    """Count the cells that wait, for the head of each page."""
    return unopened(Cell.objects.visible_to(user)).count()


def waiting_for(user: Any, now: dt.datetime) -> WaitingPage:
    """Propose the order, in a fixed number of questions."""
    cells = {
        cell.pk: cell
        for cell in unopened(Cell.objects.visible_to(user)).select_related("build__revision__recipe")
    }
    ends = {
        test.cell_id: test
        for test in Test.objects.filter(cell__in=cells).select_related("end").order_by("number")
    }
    latest = TestSummary.objects.filter(test__cell__in=cells).order_by("pk").select_related("test")
    summaries = {summary.test_id: summary for summary in latest}
    given = {row.cell_id: row for row in BenchTime.objects.filter(cell__in=cells).select_related("person")}
    begun = dict(
        Dissection.objects.filter(cell__in=cells, assigned_to__isnull=False).values_list(
            "cell_id", "assigned_to__name"
        )
    )
    opened = _opened_by_recipe()
    shown = may(user, "recipes.see")
    rows = []
    by_code = {cell.code: cell for cell in cells.values()}
    for place in order((_waiting(cell, ends[pk], now) for pk, cell in cells.items()), opened):
        cell = by_code[place.cell.code]
        test = ends[cell.pk]
        assert test.ended_at is not None
        assert test.end is not None
        rows.append(
            Row(
                place=place,
                cell=cell,
                ended_at=test.ended_at,
                end=test.end.words,
                censored=bool(test.end.data.get("censors")),
                history=_history(summaries.get(test.pk)) if shown else "",
                assigned=_assigned(given.get(cell.pk), begun.get(cell.pk, "")),
                reason=_reason(place, shown=shown),
                given=given.get(cell.pk),
            )
        )
    return WaitingPage(tuple(rows), sum(opened.values()), shown)


def _assigned(given: BenchTime | None, begun: str) -> str:
    """Say who opens it and when, by the bench time given, else by the dissection that was begun."""
    if given is None or not (given.person or given.day):
        return begun
    who = str(given.person) if given.person else "nobody yet"
    when = short_day(given.day) if given.day else ""
    return ", ".join(filter(None, [who, when, given.slot]))


def _opened_by_recipe() -> Counter[str]:
    opening = Entry.objects.current().filter(term__key=OPENED).values("dissection__cell")
    codes = Cell.objects.filter(pk__in=opening).values_list("build__revision__recipe__code", flat=True)
    return Counter(codes)


def _waiting(cell: Cell, test: Test, now: dt.datetime) -> Waiting:
    assert test.ended_at is not None
    key = test.end.key if test.end else ""
    days = (now - test.ended_at).total_seconds() / 86_400
    return Waiting(cell.code, cell.build.revision.recipe.code, days, PERISHES.get(key, ""))


def _history(summary: TestSummary | None) -> str:
    if summary is None:
        return "no cycling file yet"
    cycles = as_count(summary.n_complete, "cycle")
    if summary.retention is None:
        return cycles
    return f"{cycles}, {fraction_as_percent(summary.retention)} of the reference capacity left"


def _reason(place: Place, *, shown: bool) -> str:
    """Say why a cell stands where it stands; the recipe is named only to those who may see recipes."""
    if place.cell.perishes:
        return f"First, because {place.cell.perishes}. It was not drawn, so rates must say so."
    recipe = f"Recipe {place.cell.recipe}" if shown else "Its recipe"
    if place.opened == 0:
        return f"{recipe} has not been opened yet."
    return f"{recipe} will have been opened {as_count(place.opened, 'time')} by then, no more than any other."
