"""Next round: which recipes to build again, and which to part what changed together."""

from collections import Counter
from dataclasses import dataclass
from typing import Any

from teardown.cells.models import Cell, Test
from teardown.cycling.models import TestSummary
from teardown.findings.dossier.factors import FACTORS, Known, factors_of, phrase
from teardown.page.typesetting import as_count, number
from teardown.science.reliability.aliasing import TOGETHER, association
from teardown.science.reliability.lifetimes import Survival, kaplan_meier
from teardown.science.reliability.next_round import GapFiller, gap_fillers

RECIPE_FACTORS = ("iron", "additive", "additive_amount", "alkali", "air_electrode")
REPEATS = 2
GAPS = 4
FEWEST_TO_REPEAT = 3
"""A recipe is repeated only if at least this many of its cells were cycled."""


@dataclass(frozen=True, slots=True)
class Repeat:
    """A recipe to build again, with how long its cells lasted."""

    recipe: str
    cells: int
    failed: int
    curve: Survival

    @property
    def reason(self) -> str:
        """Say why it leads."""
        low, high = self.curve.median_interval
        cells = f"{as_count(self.cells, 'cell')}, {number(self.failed, 0)} ended by a failure"
        if self.curve.median is None:
            return f"More than half of its cells still ran when last seen ({cells})."
        least = number(low, 0) if low is not None else "not reached"
        most = number(high, 0) if high is not None else "not reached"
        half = number(self.curve.median, 0)
        return f"Half of its cells reached {half} cycles (95 % interval {least} to {most}; {cells})."


@dataclass(frozen=True, slots=True)
class Gap:
    """A recipe to build for what it would tell apart."""

    filler: GapFiller
    factor_words: str

    @property
    def change(self) -> str:
        """Say what to build: a tested recipe with one thing changed."""
        return (
            f"{self.filler.base}, with {self.factor_words} {self.filler.level} in place of {self.filler.was}"
        )

    @property
    def pairs(self) -> list[str]:
        """Say which levels would stand together for the first time."""
        return [f"{_said(one)} with {_said(other)}" for one, other in self.filler.pairs]


@dataclass(frozen=True, slots=True)
class NextRound:
    """What is proposed, and what cannot be told apart as things stand."""

    recipes: int
    repeats: tuple[Repeat, ...]
    gaps: tuple[Gap, ...]
    together: tuple[tuple[str, str], ...]

    @property
    def sentence(self) -> str:
        """Say what the proposals rest on."""
        if not self.recipes:
            return "No recipe has been tested yet, so there is nothing to build on."
        proposed = f"{as_count(len(self.repeats), 'repeat')} and {as_count(len(self.gaps), 'gap-filler')}"
        return f"{as_count(self.recipes, 'recipe')} tested so far; {proposed} proposed. No life is predicted."


def next_round() -> NextRound:
    """Propose the next round, in a fixed number of questions."""
    cells = Cell.objects.filter(time_zero=False)
    known = factors_of(cells)
    tested = {cell for cell, place in known.places.items() if place.running or place.ended}
    recipes: dict[str, dict[str, str]] = {}
    for cell in sorted(tested):
        levels = known.levels[cell]
        # the latest revision tested stands for its recipe
        recipes[levels["recipe"]] = {factor: levels[factor] for factor in RECIPE_FACTORS}
    fillers = gap_fillers(_with_one_additive_factor(recipes), GAPS) if len(recipes) > 1 else ()
    return NextRound(
        recipes=len(recipes),
        repeats=_repeats(cells, known),
        gaps=tuple(Gap(filler, _words(filler.factor)) for filler in fillers),
        together=_together(list(recipes.values())),
    )


def _with_one_additive_factor(recipes: dict[str, dict[str, str]]) -> dict[str, dict[str, str]]:
    """Take an additive and its amount as one level: an amount of nothing cannot be built."""
    found = {}
    for code, recipe in recipes.items():
        kept = {factor: level for factor, level in recipe.items() if factor != "additive_amount"}
        if recipe["additive"] != "none":
            kept["additive"] = f"{recipe['additive_amount']} {recipe['additive']}"
        found[code] = kept
    return found


def _repeats(cells: Any, known: Known) -> tuple[Repeat, ...]:
    """Rank recipes by how long half of their cells lasted."""
    last = {
        cell: (test, end)
        for test, cell, end in Test.objects.filter(cell__in=cells)
        .order_by("number")
        .values_list("pk", "cell_id", "end__data")
    }
    rows = TestSummary.objects.filter(test__cell__in=cells).order_by("pk")
    cycles = dict(rows.values_list("test_id", "n_cycles"))
    lives: dict[str, list[tuple[int, bool]]] = {}
    for cell, (test, end) in last.items():
        if test in cycles:
            failed = end is not None and not end.get("censors")
            lives.setdefault(known.levels[cell]["recipe"], []).append((cycles[test], failed))
    found = [
        Repeat(
            recipe,
            len(own),
            sum(failed for _, failed in own),
            kaplan_meier([n for n, _ in own], [x for _, x in own]),
        )
        for recipe, own in lives.items()
        if len(own) >= FEWEST_TO_REPEAT
    ]
    reached = {each.recipe: each.curve.median for each in found}

    def lasted(each: Repeat) -> tuple[float, float, str]:
        median = reached[each.recipe]
        return (-(median if median is not None else float("inf")), -float(each.curve.time[-1]), each.recipe)

    return tuple(sorted(found, key=lasted)[:REPEATS])


def _together(recipes: list[dict[str, str]]) -> tuple[tuple[str, str], ...]:
    """Name the pairs of factors that changed together over the recipes."""
    names = [factor for factor in RECIPE_FACTORS if factor != "additive_amount"]
    counted = Counter(
        (one, other)
        for i, one in enumerate(names)
        for other in names[i + 1 :]
        if association([r[one] for r in recipes], [r[other] for r in recipes]) >= TOGETHER
    )
    return tuple((FACTORS[one], FACTORS[other]) for one, other in counted)


def _words(factor: str) -> str:
    return FACTORS[factor]


def _said(named: str) -> str:
    """Turn "iron fine powder" into words: the factor's name is the first word of the key."""
    factor, _, level = named.partition(" ")
    return level if level != "none" else phrase(factor, level)
