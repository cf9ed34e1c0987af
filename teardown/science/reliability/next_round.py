"""What to build next: repeats of what lasted, and recipes that part factors which changed together.

No life is predicted here. A gap-filler is a tested recipe with one factor changed to a level that was
tested in another recipe, so nothing is ever proposed that the laboratory has not used.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from math import log

import numpy as np
from numpy.typing import NDArray

from teardown.science.errors import MeasurementError

Recipe = Mapping[str, str]
RIDGE = 1e-3
"""Added to the diagonal of the information matrix, so that combinations never tested count as wide open."""


class TooFewRecipes(MeasurementError):
    """Two recipes at least are needed before anything can be told apart."""

    code = "reliability.E006"
    hint = "Build recipes that differ in one factor at a time."


@dataclass(frozen=True, slots=True)
class GapFiller:
    """A recipe that would part levels which never varied apart.

    ``base`` is the recipe it starts from, ``factor`` what changes and to which ``level``; ``pairs`` are the
    pairs of levels that it would bring together for the first time; ``gain`` is the rise of the logarithm of
    the determinant of the information matrix of main effects.
    """

    base: str
    factor: str
    was: str
    level: str
    pairs: tuple[tuple[str, str], ...]
    gain: float


def gap_fillers(tested: Mapping[str, Recipe], number: int) -> tuple[GapFiller, ...]:
    """Propose recipes one change away from a tested one, each with the largest gain given those before it.

    Parameters
    ----------
    tested : mapping of str to mapping of str to str
        Each tested recipe by its code: the level of each factor. All have the same factors.
    number : int
        How many to propose at most.

    Raises
    ------
    TooFewRecipes
        If fewer than two recipes were tested.

    References
    ----------
    Fedorov, V. V., *Theory of Optimal Experiments* (1972): the gain of one more run x is log(1 + x' M^-1
    x), by the matrix determinant lemma.
    """
    if len(tested) < 2:
        raise TooFewRecipes(f"{len(tested)} recipe was tested.")
    design = _Design(list(tested.values()))
    made = {tuple(recipe[factor] for factor in design.factors) for recipe in tested.values()}
    seen = {pair for recipe in tested.values() for pair in _pairs(recipe, design.factors)}
    candidates = _candidates(tested, design, made)
    chosen: list[GapFiller] = []
    while candidates and len(chosen) < number:
        best, recipe = max(
            (_rated(code, factor, recipe, tested[code], design, seen) for code, factor, recipe in candidates),
            key=lambda rated: (bool(rated[0].pairs), rated[0].gain, len(rated[0].pairs), rated[0].base),
        )
        if not best.pairs:
            break
        chosen.append(best)
        design.add(recipe)
        seen |= set(_pairs(recipe, design.factors))
        key = tuple(recipe[factor] for factor in design.factors)
        candidates = [each for each in candidates if tuple(each[2][f] for f in design.factors) != key]
    return tuple(chosen)


class _Design:
    """The information matrix of main effects; one level of each factor is the reference."""

    def __init__(self, recipes: Sequence[Recipe]) -> None:
        self.factors = sorted(recipes[0])
        self.levels = {factor: sorted({recipe[factor] for recipe in recipes}) for factor in self.factors}
        self.columns = {
            (factor, level): i + 1
            for i, (factor, level) in enumerate(
                (factor, level) for factor in self.factors for level in self.levels[factor][1:]
            )
        }
        size = len(self.columns) + 1
        self.information = RIDGE * np.eye(size)
        for recipe in recipes:
            self.add(recipe)

    def row(self, recipe: Recipe) -> NDArray[np.float64]:
        row = np.zeros(len(self.columns) + 1)
        row[0] = 1.0
        for factor in self.factors:
            if (column := self.columns.get((factor, recipe[factor]))) is not None:
                row[column] = 1.0
        return row

    def add(self, recipe: Recipe) -> None:
        row = self.row(recipe)
        self.information = self.information + np.outer(row, row)

    def gain(self, recipe: Recipe) -> float:
        row = self.row(recipe)
        return log(1.0 + float(row @ np.linalg.solve(self.information, row)))


def _candidates(
    tested: Mapping[str, Recipe], design: _Design, made: set[tuple[str, ...]]
) -> list[tuple[str, str, Recipe]]:
    found: dict[tuple[str, ...], tuple[str, str, Recipe]] = {}
    for code, recipe in sorted(tested.items()):
        for factor in design.factors:
            for level in design.levels[factor]:
                changed = {**recipe, factor: level}
                key = tuple(changed[name] for name in design.factors)
                if key not in made:
                    found.setdefault(key, (code, factor, changed))
    return list(found.values())


def _rated(
    code: str, factor: str, recipe: Recipe, base: Recipe, design: _Design, seen: set[tuple[str, str]]
) -> tuple[GapFiller, Recipe]:
    fresh = tuple(sorted(set(_pairs(recipe, design.factors)) - seen))
    return GapFiller(code, factor, base[factor], recipe[factor], fresh, design.gain(recipe)), recipe


def _pairs(recipe: Recipe, factors: Sequence[str]) -> list[tuple[str, str]]:
    """Give every pair of levels that a recipe holds together, each level named with its factor."""
    return [(f"{one} {recipe[one]}", f"{other} {recipe[other]}") for one, other in combinations(factors, 2)]
