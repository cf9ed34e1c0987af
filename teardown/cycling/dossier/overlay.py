"""Histories of many cells over each other: every cell of a recipe, and recipes beside each other."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from teardown.cells.models import Recipe, Test
from teardown.cycling.dossier.axes import ACROSS, PER, Column, View
from teardown.cycling.dossier.figures import LINES, end_of
from teardown.cycling.models import Curves
from teardown.cycling.store import Columns, unpack
from teardown.page.figures import Axis, Curve, Figure

LEAST_CELLS = 3
PLACES = 200  # along an axis that does not count


@dataclass(frozen=True, slots=True)
class Spread:
    """Median and quartiles over the cells of a recipe, as far as at least three of them run.

    ``n`` tells how many cells still ran at each place.
    """

    x: Column
    low: Column
    middle: Column
    high: Column
    n: Column


@dataclass(frozen=True, slots=True)
class Group:
    """A recipe with the histories of its cells."""

    recipe: Recipe
    tests: tuple[Test, ...]
    series: tuple[tuple[Column, Column], ...]
    columns: tuple[Columns, ...]
    spread: Spread

    @property
    def ends(self) -> list[str]:
        """Say how each of its tests ended."""
        return [end_of(test) for test in self.tests]

    @property
    def failed(self) -> int:
        """Count the tests that ended by failing."""
        return self.ends.count("failed")

    @property
    def censored(self) -> int:
        """Count the tests that were stopped before failing."""
        return self.ends.count("censored")

    @property
    def running(self) -> int:
        """Count the tests that still run."""
        return self.ends.count("")

    @property
    def until(self) -> float | None:
        """Give the place up to which a median can be drawn."""
        return float(self.spread.x[-1]) if self.spread.x.size else None

    @property
    def best(self) -> float | None:
        """Give the largest median."""
        return float(self.spread.middle.max()) if self.spread.x.size else None


@dataclass(frozen=True, slots=True)
class Overlay:
    """Recipes over each other, and the view that was asked for."""

    groups: tuple[Group, ...]
    view: View
    every_cell: bool
    figure: Figure | None

    @property
    def n_cells(self) -> int:
        """Count the cells."""
        return len({test.cell_id for group in self.groups for test in group.tests})

    @property
    def choices(self) -> tuple[tuple[str, str, str, tuple[tuple[str, str], ...]], ...]:
        """Give what a reader may choose: name, words, what is chosen, and the options."""
        return (
            ("across", "Against", self.view.across, tuple(ACROSS.items())),
            ("per", "Capacity in", self.view.per, tuple(PER.items())),
            (
                "cells",
                "Draw",
                "every" if self.every_cell else "median",
                (("every", "every cell"), ("median", "medians and quartiles")),
            ),
        )


def overlay(
    recipes: Sequence[Recipe], tests: Mapping[int, Sequence[Test]], query: Mapping[str, str]
) -> Overlay:
    """Lay the histories of recipes over each other. One query for the curves, however many cells.

    Parameters
    ----------
    recipes : sequence of Recipe
    tests : mapping of int to sequence of Test
        Tests of each recipe, by its key, with their cells.
    query : mapping
        ``across``, ``per`` and ``cells`` as asked in the address.
    """
    view = View.asked(query, iron_mass_g=1.0)
    wanted = [test.pk for recipe in recipes for test in tests.get(recipe.pk, ())]
    columns = {c.test_id: unpack(c) for c in Curves.objects.filter(test__in=wanted, n__gt=0)}
    groups = tuple(_group(recipe, tests.get(recipe.pk, ()), columns, view) for recipe in recipes)
    every = query.get("cells") == "every" if query.get("cells") in ("every", "median") else len(recipes) == 1
    shown = tuple(group for group in groups if group.series)
    return Overlay(groups, view, every, _figure(shown, view, every=every) if shown else None)


def _group(recipe: Recipe, tests: Sequence[Test], columns: Mapping[int, Columns], view: View) -> Group:
    shown = tuple(t for t in tests if t.pk in columns and (view.per == "Ah" or t.cell.iron_mass_g))
    series = tuple(_capacity(t, columns[t.pk], view) for t in shown)
    return Group(
        recipe,
        shown,
        series,
        tuple(columns[t.pk] for t in shown),
        spread(series, whole=view.across == "cycle"),
    )


def _capacity(test: Test, columns: Columns, view: View) -> tuple[Column, Column]:
    """Give places and capacities of the complete cycles at the reference rate."""
    like = (columns["complete"] > 0.5) & (columns["check_up"] < 0.5)
    factor = 1000 / (test.cell.iron_mass_g or 1.0) if view.per == "mAh_g" else 1.0
    return view.x(columns)[like], columns["discharge_Ah"][like] * factor


def spread(series: Sequence[tuple[Column, Column]], *, whole: bool = True) -> Spread:
    """Give median and quartiles as far as at least three cells run: behind that, those left are no sample.

    Parameters
    ----------
    series : sequence of (ndarray, ndarray)
        Places and capacities of each cell; between its own cycles a cell is interpolated.
    whole : bool
        Take every whole number (cycles), else 200 places.
    """
    held = [(x, q) for x, q in series if x.size]
    nothing = np.zeros(0)
    if len(held) < LEAST_CELLS:
        return Spread(nothing, nothing, nothing, nothing, nothing)
    last = sorted((float(x[-1]) for x, _ in held), reverse=True)[LEAST_CELLS - 1]
    first = min(float(x[0]) for x, _ in held)
    at = np.arange(1.0, last + 1) if whole else np.linspace(first, max(last, first), PLACES)
    rows = np.array([np.interp(at, x, q, left=np.nan, right=np.nan) for x, q in held])
    n = np.isfinite(rows).sum(axis=0)
    known = n >= LEAST_CELLS
    if not known.any():
        return Spread(nothing, nothing, nothing, nothing, nothing)
    low, middle, high = np.nanquantile(rows[:, known], (0.25, 0.5, 0.75), axis=0)
    return Spread(at[known], low, middle, high, n[known].astype(float))


def _figure(groups: tuple[Group, ...], view: View, *, every: bool) -> Figure:
    curves: list[Curve] = []
    alone = len(groups) == 1
    for group, (style, dash) in zip(groups, LINES, strict=False):
        if every:
            curves += _cells(group, alone=alone)
        if group.spread.x.size:
            found = group.spread
            curves.append(
                Curve(
                    "median" if alone else group.recipe.code,
                    _list(found.x),
                    _list(found.middle),
                    style=style,
                    dash=dash,
                    low=_list(found.low),
                    high=_list(found.high),
                    key=f"recipe:{group.recipe.code}",
                    name=f"{group.recipe.code}: median, quartiles around",
                )
            )
        elif not every:
            # too few cells for a median: they are drawn themselves
            curves += [replace(c, style=style, dash=dash) for c in _cells(group, alone=False)]
    cells = sum(len(group.tests) for group in groups)
    codes = ", ".join(group.recipe.code for group in groups)
    return Figure(
        title=f"Capacity of the cells of {codes}",
        description=f"{cells} cells; medians with quartiles as far as three cells of a recipe run.",
        x=view.x_axis(),
        y=Axis(view.y_label, low=0.0),
        curves=tuple(curves),
        width=1000,
        height=450,
    )


def _cells(group: Group, *, alone: bool) -> list[Curve]:
    """Draw every cell thin; those still running darker where one recipe stands alone."""
    return [
        Curve(
            "",
            _list(x),
            _list(q),
            style="soft" if alone and not end_of(test) else "faint",
            end=end_of(test),
            key=f"cell:{test.cell.code}",
            name=f"{test.cell.code}, {group.recipe.code}",
        )
        for test, (x, q) in zip(group.tests, group.series, strict=True)
    ]


def _list(values: Column) -> tuple[float, ...]:
    return tuple(values.tolist())
