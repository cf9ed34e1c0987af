"""All cells of a recipe over each other: median and quartiles, survivors and ends."""

from dataclasses import dataclass

import numpy as np

from teardown.cells.models import Recipe, Test
from teardown.cycling.dossier.axes import Column
from teardown.cycling.dossier.figures import end_of
from teardown.cycling.models import Curves
from teardown.cycling.store import Columns, unpack
from teardown.page.figures import Axis, Curve, Figure

LEAST_CELLS = 3


@dataclass(frozen=True, slots=True)
class RecipePage:
    """A recipe with the histories of its cells."""

    recipe: Recipe
    tests: tuple[Test, ...]
    figure: Figure | None
    median_until: int
    ended: int
    censored: int


def recipe_page(recipe: Recipe, tests: list[Test], *, per_gram: bool) -> RecipePage:
    """Lay the histories of a recipe's cells over each other. One query for the curves, however many cells.

    The median and the quartiles are drawn as far as at least three cells go on: behind that, those that
    are left are no sample of the recipe.
    """
    packed = Curves.objects.filter(test__in=[t.pk for t in tests], n__gt=0)
    columns = {c.test_id: unpack(c) for c in packed}
    shown = tuple(t for t in tests if t.pk in columns and not (per_gram and not t.cell.iron_mass_g))
    series = [_capacity(t, columns[t.pk], per_gram=per_gram) for t in shown]
    figure, until = (None, 0) if not series else _figure(recipe, shown, series, per_gram=per_gram)
    ends = [end_of(t) for t in shown]
    return RecipePage(recipe, shown, figure, until, ends.count("failed"), ends.count("censored"))


def _capacity(test: Test, columns: Columns, *, per_gram: bool) -> tuple[Column, Column]:
    """Give cycles and capacities of the complete cycles at the reference rate."""
    like = (columns["complete"] > 0.5) & (columns["check_up"] < 0.5)
    factor = 1000 / (test.cell.iron_mass_g or 1.0) if per_gram else 1.0
    return columns["cycle"][like], columns["discharge_Ah"][like] * factor


def spread(series: list[tuple[Column, Column]]) -> tuple[Column, Column]:
    """Give the cycles at which at least three cells still run, and there the quartiles, shape (3, cycles)."""
    last = sorted((float(c[-1]) for c, _ in series if c.size), reverse=True)
    if len(last) < LEAST_CELLS:
        return np.zeros(0), np.zeros((3, 0))
    cycle = np.arange(1.0, last[LEAST_CELLS - 1] + 1)
    rows = [np.interp(cycle, c, q, left=np.nan, right=np.nan) for c, q in series if c.size]
    known = np.isfinite(rows).sum(axis=0) >= LEAST_CELLS
    return cycle[known], np.nanquantile(np.array(rows)[:, known], (0.25, 0.5, 0.75), axis=0)


def _figure(
    recipe: Recipe, tests: tuple[Test, ...], series: list[tuple[Column, Column]], *, per_gram: bool
) -> tuple[Figure, int]:
    cycle, quartile = spread(series)
    curves = [
        Curve(
            "",
            tuple(c.tolist()),
            tuple(q.tolist()),
            style="soft" if not end_of(t) else "faint",
            end=end_of(t),
            key=f"cell:{t.cell.code}",
            name=t.cell.code,
        )
        for t, (c, q) in zip(tests, series, strict=True)
    ]
    if cycle.size:
        low, middle, high = (tuple(q.tolist()) for q in quartile)
        curves.append(
            Curve(
                "median", tuple(cycle.tolist()), middle, low=low, high=high, name="median, quartiles around"
            )
        )
    words = "capacity, mAh per g of iron" if per_gram else "capacity, Ah"
    figure = Figure(
        title=f"Capacity of the cells of {recipe.code}",
        description=f"{len(series)} cells; the median with quartiles as far as three of them run.",
        x=Axis("cycle", whole=True),
        y=Axis(words, low=0.0),
        curves=tuple(curves),
        width=900,
        height=420,
    )
    return figure, int(cycle[-1]) if cycle.size else 0
