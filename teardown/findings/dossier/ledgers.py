"""Recipes by their ledgers: where the capacity of their cells went, and which cells cannot tell."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import Exists, OuterRef, QuerySet

from teardown.cells.models import Cell, Recipe
from teardown.dissection.models import Dissection
from teardown.files.models import Run
from teardown.findings.models import Balance
from teardown.page.figures import Axis, DotPlot
from teardown.page.figures.description import Dot, Style
from teardown.page.typesetting import estimate_parts, interval, with_unit
from teardown.records.rules import subject_of
from teardown.science.balance.across import median_of
from teardown.science.estimate import Estimate

TERMS = {
    "ledger_locked_Ah": "oxide that can no longer be reduced",
    "ledger_metal_Ah": "metal that can no longer be reached",
    "ledger_shed_Ah": "iron shed or lost",
    "ledger_less_per_atom_Ah": "less charge from each atom still reached",
}
MEASURES = {"mAh_g": "mAh per g of iron", "share": "share of the loss"}
HEADS = ("recipe", "term", "median", "low", "high", "unit", "cells", "method")


@dataclass(frozen=True, slots=True)
class Term:
    """One term over the cells of a recipe; no estimate where no cell tells it."""

    key: str
    words: str
    estimate: Estimate | None

    @property
    def said(self) -> str:
        """Set median and interval."""
        if self.estimate is None:
            return ""
        percent = self.estimate.unit == "1"
        value, _, _, unit = estimate_parts(self.estimate, percent=percent)
        return f"{with_unit(value, unit)} ({interval(self.estimate, percent=percent)})"


@dataclass(frozen=True, slots=True)
class Lacking:
    """Cells whose ledger does not count, for one and the same reason."""

    cells: tuple[Cell, ...]
    why: str


@dataclass(frozen=True, slots=True)
class RecipeLedger:
    """The ledgers of a recipe's cells in one row a term, and the cells that lack one."""

    recipe: Recipe
    cells: tuple[Cell, ...]
    loss: Estimate | None
    terms: tuple[Term, ...]
    lacking: tuple[Lacking, ...]

    @property
    def rows(self) -> int:
        """Count the rows of its part of the table: the loss, and each of its parts."""
        return 1 + len(self.terms)

    @property
    def opened(self) -> int:
        """Count the cells that were opened."""
        return len(self.cells) + sum(len(each.cells) for each in self.lacking)


@dataclass(frozen=True, slots=True)
class LedgersPage:
    """Every recipe of which a cell was opened."""

    recipes: tuple[RecipeLedger, ...]
    measure: str

    @property
    def sentence(self) -> str:
        """Say first how much stands here."""
        counted = sum(len(each.cells) for each in self.recipes)
        lacking = sum(each.opened - len(each.cells) for each in self.recipes)
        told = sum(bool(each.cells) for each in self.recipes)
        if not counted:
            return "No balance of a cell can be relied on yet."
        cells = "cell" if counted == 1 else "cells"
        return f"The ledgers of {counted} {cells} in {told} recipe{'' if told == 1 else 's'}" + (
            f"; {lacking} opened cells do not count, each with its reason below." if lacking else "."
        )

    @property
    def unit(self) -> str:
        """Give the words of what is compared."""
        return MEASURES[self.measure]

    @property
    def plot(self) -> DotPlot | None:
        """Draw each term over the recipes, median with interval."""
        rows = tuple(
            Dot(
                each.recipe.code, *_numbers(term.estimate), note=f"{term.estimate.n}",
                style=_style(term.key), hollow="lowest" in term.estimate.method, group=term.words,
                key=f"recipe:{each.recipe.code}",
            )
            for place, words in enumerate(TERMS.values())
            for each in self.recipes
            for term in [each.terms[place]]
            if term.estimate is not None and term.words == words
        )  # fmt: skip
        if not rows:
            return None
        return DotPlot(
            title="Where the capacity went, by recipe",
            description=self.sentence,
            axis=Axis(self.unit, percent=self.measure == "share"),
            rows=rows,
            reference=0.0,
        )

    def table(self) -> Iterator[tuple[Any, ...]]:
        """Give the numbers as rows of a table."""
        for each in self.recipes:
            for term in each.terms:
                if term.estimate is not None:
                    e = term.estimate
                    yield each.recipe.code, term.words, e.value, e.low, e.high, e.unit, e.n, e.method


def _numbers(found: Estimate) -> tuple[float, float, float]:
    return found.value, found.low, found.high


def _style(key: str) -> Style:
    return "oxide" if key == "ledger_locked_Ah" else "metal" if key == "ledger_metal_Ah" else "soft"


def ledgers(cells: QuerySet[Cell], measure: str = "mAh_g") -> LedgersPage:
    """Compare recipes by the ledgers of the cells that were opened. Three questions, however many cells.

    A ledger counts only where the balance lets it stand; a term only where the cell tells it: without a
    time-zero cell, locked oxide and unreached metal are not told apart.

    Parameters
    ----------
    cells : queryset
        What this person may see.
    measure : "mAh_g" or "share"
    """
    measure = measure if measure in MEASURES else "mAh_g"
    opened = (
        cells.filter(Exists(Dissection.objects.filter(cell=OuterRef("pk"))))
        .select_related("build__revision__recipe")
        .order_by("build__revision__recipe__code", "code")
    )
    found = list(opened)
    latest: dict[int, Balance] = {}
    for row in Balance.objects.filter(cell__in=found).order_by("-pk"):
        latest.setdefault(row.cell_id, row)
    runs = Run.objects.filter(function="findings.balance", subject__in=[subject_of(cell) for cell in found])
    asked = {run.subject: run for run in runs.order_by("pk").defer("settings")}
    by_recipe: dict[Recipe, list[Cell]] = {}
    for cell in found:
        by_recipe.setdefault(cell.build.revision.recipe, []).append(cell)
    return LedgersPage(
        tuple(_of_recipe(recipe, held, latest, asked, measure) for recipe, held in by_recipe.items()), measure
    )


def _of_recipe(
    recipe: Recipe,
    cells: Sequence[Cell],
    latest: Mapping[int, Balance],
    asked: Mapping[str, Run],
    measure: str,
) -> RecipeLedger:
    counted, kept = [], []
    lacking: dict[str, list[Cell]] = {}
    for cell in cells:
        ledger = _ledger(latest.get(cell.pk))
        why = _why(ledger, asked.get(subject_of(cell)), cell, measure)
        if why or ledger is None:
            lacking.setdefault(why, []).append(cell)
        else:
            counted.append(cell)
            kept.append((cell, ledger))
    losses = [1000 * ledger["loss"]["value"] / cell.iron_mass_g for cell, ledger in kept if cell.iron_mass_g]
    terms = []
    for key, words in TERMS.items():
        values = [value for cell, ledger in kept if (value := _value(cell, ledger, key, measure)) is not None]
        unit = "1" if measure == "share" else "mAh/g"
        terms.append(Term(key, words, median_of(values, unit) if values else None))
    loss = median_of(losses, "mAh/g") if losses else None
    without = tuple(Lacking(tuple(held), why) for why, held in lacking.items())
    return RecipeLedger(recipe, tuple(counted), loss, tuple(terms), without)


def _ledger(balance: Balance | None) -> dict[str, Any] | None:
    rows = balance.rows if balance else []
    return next((row for row in rows if row["kind"] == "ledger"), None)


def _value(cell: Cell, ledger: Mapping[str, Any], key: str, measure: str) -> float | None:
    term = next((each for each in ledger["terms"] if each["key"] == key), None)
    if term is None:
        return None
    if measure == "share":
        return float(term["share"]["value"]) if term["share"] else None
    if not term["charge"] or not cell.iron_mass_g:
        return None
    return 1000 * float(term["charge"]["value"]) / cell.iron_mass_g


def _why(ledger: Mapping[str, Any] | None, run: Run | None, cell: Cell, measure: str) -> str:
    """Say why the ledger of a cell does not count; empty where it does."""
    if ledger is None:
        if run is None:
            return "Nobody has asked for its balance."
        if run.state == Run.State.FAILED:
            return run.error.split(" [")[0]
        return "Its balance is being made." if run.state != Run.State.DONE else "Its balance gave nothing."
    if cell.time_zero:
        return "It was opened at time zero: it is what the others are compared with."
    if ledger["greyed"]:
        return " ".join(ledger["greyed"])
    if measure == "share" and not ledger["shares_shown"]:
        return str(ledger["why_no_shares"])
    return ""
